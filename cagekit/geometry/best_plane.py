"""The plane that a centre line lies in, or nearly."""

from __future__ import annotations

import numpy as np

from cagekit.geometry.centre_line import CentreLine, Vec, unit


def best_plane(path: CentreLine) -> tuple[Vec, Vec, float]:
    """Best plane through a centre line: a point, its unit normal (forward), largest gap (mm)."""
    p = path.points(np.linspace(0.0, path.length, 200))
    centre = p.mean(axis=0)
    _, _, axes = np.linalg.svd(p - centre, full_matrices=False)
    normal = axes[2] if axes[2][0] >= 0 else -axes[2]
    gap = float(np.abs((p - centre) @ normal).max())
    return centre, unit(normal), gap

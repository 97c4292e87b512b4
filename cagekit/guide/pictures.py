"""Shaded pictures of parts, as PNG."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from cagekit.view.camera import OBLIQUE
from cagekit.view.nearest import ViewFrame
from cagekit.view.raster import render
from cagekit.view.scene import bodies

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage

WIDTH, HEIGHT = 720, 480
EDGE = 24
"""Pixels kept free at each side."""
PAPER = (255, 255, 255)


def save_picture(cage: Cage, path: Path) -> None:
    """Write a picture of all that is in a cage, from the front and above.

    Args:
        cage: what is shown.
        path: the PNG file.
    """
    from PIL import Image

    scene = bodies(cage)
    flat = np.concatenate([OBLIQUE.project(b.mesh.vertices)[:, :2] for b in scene])
    low, high = flat.min(axis=0), flat.max(axis=0)
    size = np.maximum(high - low, 1.0)
    scale = float(min((WIDTH - 2 * EDGE) / size[0], (HEIGHT - 2 * EDGE) / size[1]))
    height = int(np.ceil(size[1] * scale)) + 2 * EDGE
    middle = (low + high) / 2
    frame = ViewFrame(
        camera=OBLIQUE,
        width=WIDTH,
        height=height,
        scale=scale,
        centre=(float(middle[0]), float(middle[1])),
    )
    Image.fromarray(render(scene, frame, paper=PAPER).image).save(path)

"""Frames for tests, from few numbers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cagekit.structure.frame import Frame
from cagekit.structure.solve import Loads


def frame(
    nodes: Sequence[Sequence[float]],
    ends: Sequence[tuple[int, int]],
    *,
    area: float = 1.0,
    inertia: float = 1.0,
    torsion: float = 1.0,
    young: float = 1.0,
    shear: float = 1.0,
    shear_area: float = np.inf,
    fixed: Sequence[int] = (),
    flat: bool = False,
    released: dict[int, Sequence[int]] | None = None,
) -> Frame:
    """A frame of equal beams; ``fixed`` nodes are held, ``flat`` keeps it in the x-y plane."""
    m, n = len(ends), len(nodes)
    held = np.zeros((n, 6), bool)
    held[list(fixed)] = True
    if flat:
        held[:, 2:5] = True
    free = np.zeros((m, 12), bool)
    for beam, freedoms in (released or {}).items():
        free[beam, list(freedoms)] = True

    def each(value: float) -> np.ndarray:
        return np.full(m, float(value))

    return Frame(
        nodes=np.array(nodes, float), ends=np.array(ends), area=each(area),
        inertia=each(inertia), torsion=each(torsion), shear_area=each(shear_area),
        young=each(young), shear=each(shear), across=np.tile([0.0, 0.0, 0.0], (m, 1)),
        released=free, fixed=held, spring=np.zeros((n, 6)),
    )  # fmt: skip


def loads(
    f: Frame,
    at: dict[int, Sequence[float]] | None = None,
    on: dict[int, Sequence[float]] | None = None,
) -> Loads:
    """Loads by node (six) and by beam (three for each mm)."""
    out = Loads.none(f)
    for node, six in (at or {}).items():
        out.at_nodes[node] = six
    for beam, three in (on or {}).items():
        out.on_beams[beam] = three
    return out


def column(pieces: int, length: float, **section: float) -> Frame:
    """A line of equal pieces along x in the x-y plane, nothing held but the plane."""
    nodes = [[length * i / pieces, 0.0, 0.0] for i in range(pieces + 1)]
    return frame(nodes, [(i, i + 1) for i in range(pieces)], flat=True, **section)

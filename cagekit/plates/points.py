"""Points all over a plate's metal, by which it is held against the car, tubes and other plates."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cagekit.cage.plate import Plate
from cagekit.geometry.arrays import Bools, Points, Points2, Vec, extent
from cagekit.geometry.outline import Outline
from cagekit.geometry.outline_tables import OutlineTables

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage

STEP = 5.0
"""Distance between the points that plates and centre lines are looked at in, mm."""
BLOCK = 16_000
"""Distances that are held at a time: their arrays stay in the processor's cache."""
MANY = 20_000_000
"""Distances from which on a tree of points is quicker than looking at all of them."""


def kept_points(cage: Cage, plate: Plate) -> Points:
    """Points all over a plate of a cage, laid once."""
    return cage.kept.once(("points", plate.body), lambda: lay_points(cage, [plate])[0])


def lay_points(cage: Cage, plates: Sequence[Plate]) -> list[Points]:
    """The points of plates of a cage, laid in fewer passes than one by one.

    A plate that lies elsewhere with the same folded sheet, as a bracket of a bar that was moved, is
    not laid anew.
    """

    def on_car(missing: Sequence[int]) -> list[Points]:
        some = [plates[i] for i in missing]
        keys = [("points of a sheet", plate.folded) for plate in some]
        folded = cage.kept.each(keys, lambda new: _laid([some[i] for i in new]))
        return [plate.to_car(points) for plate, points in zip(some, folded, strict=True)]

    return cage.kept.each([("points", plate.body) for plate in plates], on_car)


def _laid(plates: Sequence[Plate]) -> list[Points]:
    """The points of plates, folded: which of each grid lie on its metal is asked in one pass."""
    grids = [_grid(plate, STEP) for plate in plates]
    holes = [(i, hole.loop) for i, plate in enumerate(plates) for hole in plate.holes]
    loops = [plate.outline for plate in plates] + [loop for _, loop in holes]
    size, most = max(map(len, grids)), max(map(len, loops))
    if len(loops) * size * most > BLOCK * len(plates):
        return [_folded_points(plate) for plate in plates]
    table = np.zeros((len(plates), size, 2))
    for row, grid in zip(table, grids, strict=True):
        row[: len(grid)] = grid
    table = table[[*range(len(plates)), *(i for i, _ in holes)]]
    tables = OutlineTables.laid([loop.tables for loop in loops])
    within = tables.contains(table[:, None, :, 0], table[:, None, :, 1])
    inside = within[: len(plates)]
    for (i, _), out in zip(holes, within[len(plates) :], strict=True):
        inside[i] &= ~out
    return [
        plate.folded_faces(np.concatenate([grid[there[: len(grid)]], plate.outline.sampled(STEP)]))
        for plate, grid, there in zip(plates, grids, inside, strict=True)
    ]


def kept_box(cage: Cage, plate: Plate) -> tuple[Vec, Vec]:
    """Low and high corner ``(3,)`` mm of the box round these points, laid once."""
    return cage.kept.once(("plate's box", plate.body), lambda: extent(kept_points(cage, plate)))


def plate_points(
    plate: Plate,
    step: float = STEP,
    *,
    without: Outline | None = None,
    among: Sequence[Outline] | None = None,
) -> Points:
    """Points all over a plate's face and back, folded, in car axes, ``(n, 3)`` mm.

    Args:
        plate: the plate.
        step: distance of the points, mm.
        without: part of the flat pattern that is left out.
        among: parts of it in whose boxes, a step wider, alone there shall be points.
    """
    return plate.to_car(_folded_points(plate, step, without, among))


def _folded_points(
    plate: Plate,
    step: float = STEP,
    without: Outline | None = None,
    among: Sequence[Outline] | None = None,
) -> Points:
    """The same in the folded sheet's own frame."""
    grid, edge = _grid(plate, step), plate.outline.sampled(step)
    if among is not None:
        grid, edge = (p[_boxed(p, among, step)] for p in (grid, edge))
    if without is not None:
        grid, edge = (p[~without.contains(p)] for p in (grid, edge))
    inside = plate.outline.contains(grid)
    for hole in plate.holes:
        inside &= ~hole.loop.contains(grid)
    return plate.folded_faces(np.concatenate([grid[inside], edge]))


def _grid(plate: Plate, step: float) -> Points2:
    """A grid over the box of a plate's flat pattern, ``(n, 2)`` mm."""
    x, y = (np.arange(a, b, step) for a, b in zip(*plate.outline.box, strict=True))
    grid = np.empty((len(y), len(x), 2))
    grid[..., 0], grid[..., 1] = x, y[:, None]
    return grid.reshape(-1, 2)


def _boxed(points: Points2, parts: Iterable[Outline], reach: float) -> Bools:
    """Which flat points ``(n, 2)`` lie in a box, ``reach`` mm wider, of any of some parts."""
    boxes = [part.box for part in parts]
    inside = [((points > low - reach) & (points < high + reach)).all(1) for low, high in boxes]
    return np.asarray(np.any(inside, axis=0))


def within(points: Points, others: Points, reach: float) -> NDArray[np.intp]:
    """Rows of ``points`` ``(n, 3)`` that lie in the box of ``others``, ``reach`` mm wider."""
    return boxed(points, *extent(others), reach)


def boxed(points: Points, low: Vec, high: Vec, reach: float) -> NDArray[np.intp]:
    """Rows of ``points`` ``(n, 3)`` that lie in a box, ``reach`` mm wider.

    Args:
        points: ``(n, 3)`` mm.
        low: the box's low corner, ``(3,)`` mm.
        high: its high corner.
        reach: mm.
    """
    inside = np.ones(len(points), dtype=bool)
    for column, least, most in zip(points.T, low - reach, high + reach, strict=True):
        inside &= (column > least) & (column < most)
    return np.flatnonzero(inside)


def nearest(a: Points, b: Points) -> tuple[int, float]:
    """The point of ``a`` ``(n, 3)`` nearest to points ``b`` ``(m, 3)``: its row and distance, mm.

    Plates are looked at in blocks, large ones by a tree, so that the distances fill neither the
    memory nor the hour.
    """
    if len(a) * len(b) > MANY:
        from scipy.spatial import KDTree

        apart, _ = KDTree(b).query(a)
        i = int(np.argmin(apart))
        return i, float(apart[i])
    rows, best = max(BLOCK // len(b), 1), (0, np.inf)
    for start in range(0, len(a), rows):
        x, y, z = (a[start : start + rows, k, None] - b[:, k] for k in range(3))
        squares = (x * x + y * y + z * z).min(1)
        i = int(np.argmin(squares))
        if squares[i] < best[1]:
            best = (start + i, float(squares[i]))
    return best[0], float(np.sqrt(best[1]))

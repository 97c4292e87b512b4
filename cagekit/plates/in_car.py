"""Plates in the car: their room to its surfaces and to each other, and what lies on the floor.

By this a foot's plate is chosen, and by this it is judged.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial
from typing import NamedTuple

import numpy as np
from msgspec import Struct

from cagekit.cage.cage import Cage
from cagekit.cage.kept import Kept, Same
from cagekit.cage.plate import Plate
from cagekit.car.floor import Floor, floor_of
from cagekit.car.shell import FAR, ShellSurface, Skin, skin_of, surfaces
from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import Vec
from cagekit.inputs.car import Car
from cagekit.plates.points import kept_points, lay_points, nearest, within

NEAR = 30.0
"""Plates further than this (mm) from a surface or from each other are not told of."""
LIES = 4.0
"""A plate's back lies on the floor where it is nearer to it than this, mm: what a hammer closes."""
FOLLOWS = 6.0
"""A plate folded to the floor's section may be this far (mm) in what the section runs along."""
GRID = 5.0

Room = tuple[float, ShellSurface, Vec]
"""Room that is left (mm, negative: too little), the surface, and the spot ``(3,)``."""


class PlateGround(Struct, frozen=True, kw_only=True, eq=False):
    """All of a car that plates are held against: its surfaces, and the floor of each side."""

    shell: tuple[ShellSurface, ...]
    left: Floor
    right: Floor

    def floor_below(self, plate: Plate) -> Floor:
        """The floor of the side that a plate is on."""
        return self.left if float(plate.placement[1, 3]) >= 0 else self.right


def ground_of(kept: Kept, car: Car) -> PlateGround:
    """The same of a car, laid once.

    Of a car that differs elsewhere it is the very same, and so is each surface that did not change.
    """

    def laid() -> PlateGround:
        shell = tuple(map(kept.same, surfaces(car)))
        left, right = (kept.same(floor_of(car, side)) for side in ("left", "right"))
        key = ("ground", *map(Same, (*shell, left, right)))
        return kept.once(key, partial(PlateGround, shell=shell, left=left, right=right))

    return kept.once(("ground of", Same(car)), laid)


class LaidPlate(NamedTuple):
    """A plate as the car's surfaces see it: points ``(n, 3)`` all over it, in car axes, and how.

    Args:
        points: of the plate, mm.
        thickness: of the plate, mm.
        folded: it follows the floor's section, and may touch what it is folded to.
        below: it lies under the floor, or in an opening of it.
    """

    points: Points
    thickness: float
    folded: bool = False
    below: bool = False

    @classmethod
    def of(cls, cage: Cage, plate: Plate) -> LaidPlate:
        """A plate of a cage."""
        return cls(kept_points(cage, plate), plate.thickness, bool(plate.folds), _below(plate))


def _below(plate: Plate) -> bool:
    return plate.kind == "backing_plate" or plate.outrigger


def room_in_car(cage: Cage, plate: Plate, ground: PlateGround) -> Room | None:
    """The surface of the car that leaves a plate the least room; None when none is near.

    Args:
        cage: the cage.
        plate: on it.
        ground: of the car.
    """
    return rooms_in_car(cage, [plate], ground)[0]


def rooms_in_car(cage: Cage, plates: Sequence[Plate], ground: PlateGround) -> list[Room | None]:
    """The same for many plates, in fewer passes than one by one.

    Args:
        cage: the cage.
        plates: on it.
        ground: of the car.
    """

    def measured(missing: Sequence[int]) -> list[Room | None]:
        lay_points(cage, [plates[i] for i in missing])
        return least_rooms(ground.shell, [LaidPlate.of(cage, plates[i]) for i in missing])

    keys = [("room in the car", p.body, _below(p), Same(ground)) for p in plates]
    return cage.kept.each(keys, measured)


def least_rooms(shell: Iterable[ShellSurface], plates: Sequence[LaidPlate]) -> list[Room | None]:
    """The surface that leaves points of a plate the least room, for each; None when none is near.

    Args:
        shell: the car's surfaces.
        plates: as they lie.
    """
    low, high = (np.array([f(p.points, axis=0) for p in plates]) for f in (np.min, np.max))
    below = np.array([p.below for p in plates], dtype=bool)
    best: list[Room | None] = [None] * len(plates)
    for one in (surface for surface in shell if not surface.trimmed):
        near = np.flatnonzero(one.beside(low, high, NEAR) & ~(below & one.stood_on)).tolist()
        if not near:
            continue
        points, solid = np.concatenate([plates[i].points for i in near]), one.solid
        gaps = solid.gap_below(points, NEAR) if isinstance(solid, Skin) else solid.gap(points)
        ends = np.cumsum([len(plates[i].points) for i in near])[:-1]
        for i, own in zip(near, np.split(gaps, ends), strict=True):
            room, least = _room(plates[i], one, own), best[i]
            if room is not None and (least is None or room[0] < least[0]):
                best[i] = room
    return best


def _room(plate: LaidPlate, surface: ShellSurface, gaps: Vec) -> Room | None:
    """The least room of a plate to one surface, from its points' gaps ``(n,)`` mm."""
    if surface.stood_on:
        # beside the floor's edge there is none, and what reaches below its level is in the sill
        gaps = np.where(gaps < -3 * plate.thickness - LIES, FAR, gaps)
    i = int(np.argmin(gaps))
    gap = float(gaps[i])
    if gap >= NEAR:
        return None
    if plate.folded and not surface.moves and gap > -FOLLOWS:
        gap = max(gap, 0.0)
    keep = surface.keep if gap > -FAR else 0.0
    return gap - keep, surface, plate.points[i]


def apart(cage: Cage, plate: Plate, other: Plate) -> tuple[float, Vec]:
    """Room between two plates (mm, negative: they overlap) and where, ``(3,)``.

    Args:
        cage: the cage.
        plate: one plate.
        other: another.
    """
    return cage.kept.once(("apart", plate.body, other.body), partial(_apart, cage, plate, other))


def _apart(cage: Cage, plate: Plate, other: Plate) -> tuple[float, Vec]:
    mine, its = kept_points(cage, plate), kept_points(cage, other)
    # face and back lie one behind the other: the middle of the metal tells lying on from lying in
    middle = mine.reshape(2, -1, 3).mean(axis=0)
    near = middle[within(middle, its, NEAR)]
    if not len(near):
        return FAR, mine[0]
    flat = (near - other.placement[:3, 3]) @ other.placement[:3, :3]
    inside = other.outline.contains(flat[:, :2]) & (np.abs(flat[:, 2] + other.thickness / 2)
                                                    < other.thickness / 2 - 0.1)  # fmt: skip
    if inside.any() and not other.folds:
        return -GRID * float(np.sqrt(inside.sum() / 2)), near[int(np.argmax(inside))]
    beside = within(its, near, NEAR)
    if not len(beside):
        return FAR, mine[0]
    i, gap = nearest(near, its[beside])
    return gap, near[i]


def lying_area(cage: Cage, plate: Plate, ground: PlateGround, surface: str) -> float:
    """Area of a foot's plate that lies flat on the shell, mm2.

    Its flat parts without the bend zones, holes taken off, as far as there is floor under them.

    Args:
        cage: the cage.
        plate: on it.
        ground: of the car.
        surface: what the foot stands on.
    """
    flat = sum(f.loop.area for f in plate.facets) if plate.folds else plate.outline.area
    below = ground.floor_below(plate)
    key = ("contact share", plate.body, Same(below), surface)
    share = cage.kept.once(key, partial(contact_share, plate, below, surface))
    return share * (flat - sum(h.area for h in plate.holes))


def contact_share(plate: Plate, below: Floor, surface: str) -> float:
    """Share of a foot plate's back that lies on the car's floor, 0 to 1.

    All of it where the foot stands on something else or behind the cabin's floor, where the car
    sheet tells no shape.

    Args:
        plate: the plate.
        below: the floor of the side that it is on.
        surface: what the foot stands on.
    """
    if surface != "floor" or not below.reaches(float(plate.placement[0, 3])):
        return 1.0
    low, high = plate.outline.box
    x, y = (np.arange(a + GRID / 2, b, GRID) for a, b in zip(low, high, strict=True))
    grid = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
    grid = grid[plate.outline.contains(grid)]
    if not len(grid):
        return 1.0
    back = plate.car_points(grid, -plate.thickness)
    on = np.asarray(below.holds(back), dtype=bool)
    lies = np.logical_and(on, np.abs(skin_of(below).gap(back)) < LIES)
    return float(lies.mean())

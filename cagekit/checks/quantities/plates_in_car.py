"""Quantities of plates in the car: against shell, floor, keep-outs and each other."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from cagekit.cage.kept import Same
from cagekit.cage.plate import Plate
from cagekit.car.floor import floor_of
from cagekit.car.shell import FAR, ShellSurface, floor
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.plate_clash import nearest, within
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey
from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import Vec
from cagekit.inputs.car import Car

NEAR = 30.0
"""Plates further than this (mm) from a surface or from each other are not told of."""
LIES = 4.0
"""A plate's back lies on the floor where it is nearer to it than this, mm: what a hammer closes."""
FOLLOWS = 6.0
"""A plate folded to the floor's section may be this far (mm) in what the section runs along."""
GRID = 5.0


@quantity("plate_room_to_shell", "mm", "plate's room to the car", base="the gap to keep")
def plate_room_to_shell(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Room from each plate to the surface of the shell, floor or keep-out that it is nearest to.

    Backing plates lie below the floor and are held against the rest; a folded plate may touch what
    it is folded to.
    """
    for plate in s.plates:
        key = ("room in the car", plate, Same(s.car))
        least = s.cage.kept.once(key, partial(_least, s, plate))
        if least is not None:
            gap, surface, point = least
            yield Measure(
                subject=plate.id,
                value=gap,
                base=0.0,
                evidence=Evidence.of(*plate.members, plates=[plate.id], points=[point]),
                label=f"plate's room to the {surface.name}",
                cure=f"Make the plate smaller, give it a `shift` away from the {surface.name}, or "
                "fold it.",
            )


def _least(s: Survey, plate: Plate) -> tuple[float, ShellSurface, Vec] | None:
    points = s.plate_points(plate)
    known = (one for one in s.shell if not one.trimmed)
    rooms = [row for one in known if (row := _room(plate, points, one)) is not None]
    return min(rooms, key=lambda r: r[0], default=None)


def _room(
    plate: Plate, points: Points, surface: ShellSurface
) -> tuple[float, ShellSurface, Vec] | None:
    if surface.stood_on and plate.kind == "backing_plate":
        return None
    gaps = surface.solid.gap(points)
    if surface.stood_on:
        # beside the floor's edge there is none, and what reaches below its level is in the sill
        gaps = np.where(gaps < -3 * plate.thickness - LIES, FAR, gaps)
    i = int(np.argmin(gaps))
    gap = float(gaps[i])
    if gap >= NEAR:
        return None
    if plate.folds and not surface.moves and gap > -FOLLOWS:
        gap = max(gap, 0.0)
    keep = surface.keep if gap > -FAR else 0.0
    return gap - keep, surface, points[i]


@quantity("plate_to_plate", "mm", "room to the next plate")
def plate_to_plate(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Room between floor plates of different tubes on one side of the sheet, negative: overlap."""
    feet = [p for p in s.plates if p.kind in ("floor_plate", "backing_plate")]
    for n, plate in enumerate(feet):
        for other in feet[:n]:
            if set(plate.members) & set(other.members):
                continue
            key = ("apart", plate, other)
            gap, point = s.cage.kept.once(key, partial(_apart, s, plate, other))
            if gap < NEAR:
                e = Evidence.of(plates=[plate.id, other.id], points=[point])
                yield Measure(subject=plate.id, value=gap, evidence=e, label=f"room to {other.id}")


def _apart(s: Survey, plate: Plate, other: Plate) -> tuple[float, Vec]:
    mine, its = s.plate_points(plate), s.plate_points(other)
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


def contact_share(plate: Plate, car: Car | None, surface: str) -> float:
    """Share of a foot plate's back that lies on the car's floor, 0 to 1.

    All of it where the foot stands on something else, whose shape the car sheet does not tell.
    """
    if car is None or surface != "floor":
        return 1.0
    low, high = plate.outline.box
    x, y = (np.arange(a + GRID / 2, b, GRID) for a, b in zip(low, high, strict=True))
    grid = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
    grid = grid[plate.outline.contains(grid)]
    if not len(grid):
        return 1.0
    back = plate.car_points(grid, -plate.thickness)
    side = "left" if float(plate.placement[1, 3]) >= 0 else "right"
    on = np.asarray(floor_of(car, side).holds(back), dtype=bool)
    lies = np.logical_and(on, np.abs(floor(car, side).gap(back)) < LIES)
    return float(lies.mean())

"""Quantities of plates in the car: against shell, floor, keep-outs and each other."""

from __future__ import annotations

from collections.abc import Iterator

from cagekit.cage.plate import Plate
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey
from cagekit.plates.clearing import why_none
from cagekit.plates.in_car import NEAR, apart, rooms_in_car
from cagekit.plates.one_place import shared

FEET = ("floor_plate", "backing_plate")
"""Kinds of the flat or folded plates of a foot."""


@quantity("plate_room_to_shell", "mm", "plate's room to the car", base="the gap to keep")
def plate_room_to_shell(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Room from each plate to the surface of the shell, floor or keep-out that it is nearest to.

    Backing plates and plate outriggers lie below the floor and are held against the rest; a folded
    plate may touch what it is folded to.
    """
    for plate, least in zip(s.plates, rooms_in_car(s.cage, s.plates, s.ground), strict=True):
        if least is not None:
            gap, surface, point = least
            yield Measure(
                subject=plate.id,
                value=gap,
                base=0.0,
                evidence=Evidence.of(*plate.members, plates=[plate.id], points=[point]),
                label=f"plate's room to the {surface.name}",
                cure=why_none(plate) or _away(plate, surface.name),
            )


def _away(plate: Plate, surface: str) -> str:
    """What a file can say of a plate that lies in a surface of the car."""
    if plate.outrigger:
        return "Set the box's ends by `inner_y` and `outer_y`, or give it less `width` or `height`."
    if plate.kind in FEET or plate.box:
        return f"Make the plate smaller, give it a `shift` away from the {surface}, or fold it."
    return f"Make it smaller, turn it or move it away from the {surface}."


@quantity("plate_to_plate", "mm", "room to the next plate")
def plate_to_plate(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Room between floor plates of different tubes on one side of the sheet, negative: overlap."""
    feet = [p for p in s.plates if p.kind in FEET]
    for n, plate in enumerate(feet):
        for other in feet[:n]:
            if set(plate.members) & set(other.members):
                continue
            gap, point = apart(s.cage, plate, other)
            if gap < NEAR:
                e = Evidence.of(plates=[plate.id, other.id], points=[point])
                yield Measure(subject=plate.id, value=gap, evidence=e, label=f"room to {other.id}")


@quantity("plates_in_one_place", "mm", "steel that two plates share")
def plates_in_one_place(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How deep two plates lie in each other that stand on tubes: tabs, gussets, plates at feet."""
    for one in shared(s.cage, s.plates):
        e = Evidence.of(plates=[one.plate, one.other], points=[one.point])
        yield Measure(
            subject=one.plate, value=one.depth, evidence=e, label=f"steel shared with {one.other}"
        )

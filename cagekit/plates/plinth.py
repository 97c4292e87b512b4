"""Plinths: a box foot of tab-and-slot plates between the floor sheet and a tube's foot."""

from __future__ import annotations

from dataclasses import replace

from cagekit.cage.plate import Mark, Plate, PlateWeld
from cagekit.errors import GeometryError
from cagekit.plates.box import BoxSpec, box, with_details
from cagekit.plates.floor_plate import FloorPlateSpec
from cagekit.plates.foot import Foot

FLANGE = 20.0
"""How far the base stands out round the box to be welded to the sheet, mm (common practice)."""


def plinth(
    plate_id: str, foot: Foot, spec: FloorPlateSpec, height: float, wall: float | None
) -> tuple[Plate, ...]:
    """Make a box foot: its top's face is the foot's plane, its base lies on the sheet.

    Args:
        plate_id: id of the plate.
        foot: the foot that stands on it.
        spec: its sizes.
        height: from the sheet to the foot, mm.
        wall: thickness of the walls, mm; the top's when None.

    Raises:
        GeometryError: it is to be bolted, or too low for its walls.
    """
    if spec.bolt is not None:
        raise GeometryError(
            plate_id, "a plinth is welded to the sheet, it has no bolts.", "Use fix = 'welded'."
        )
    size = BoxSpec(
        length=spec.length,
        width=spec.width,
        height=height,
        top=spec.thickness,
        wall=wall or spec.thickness,
        base=spec.thickness,
        material=spec.material,
        centre=(spec.shift[0], spec.shift[1] * foot.side),
        foot_lip=6.0 + FLANGE,
        radius=spec.corner_radius,
        weld_leg=spec.weld_leg,
    )
    mark = Mark(kind="foot", line=foot.print, text=foot.name)
    plates = with_details(box(plate_id, foot.frame, size, (mark,)), members=(foot.member,))
    top, *walls, base = plates
    top = replace(
        top,
        ends=(f"{foot.member}.{foot.end}",),
        welds=(PlateWeld(to=foot.name, length=foot.weld_length, leg=spec.weld_leg),),
    )
    base = replace(
        base, welds=(PlateWeld(to="car", length=base.outline.length, leg=foot.sheet * 1.5),)
    )
    return (top, *walls, base)

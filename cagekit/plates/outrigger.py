"""Outriggers made of plate: a box from frame or tunnel out to the sill that carries a foot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

from cagekit.cage.plate import Mark, Plate, PlateWeld
from cagekit.errors import GeometryError, InputError
from cagekit.hints import did_you_mean
from cagekit.inputs.places import FootName
from cagekit.inputs.plate import PLATE_STEEL, OutriggerBox, OutriggerBoxEntry, PlateEntry
from cagekit.plates.box import BoxSpec, box, with_details
from cagekit.plates.foot import Foot

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.inputs.build import Build

LIP = 6.0
"""How far top and base stand out over the walls, mm; less on a narrow box (from memory)."""


def make(build: Build, cage: Cage, entry: PlateEntry, where: str) -> Sequence[Plate]:
    """Make the box under each foot that the entry means.

    Args:
        build: the build, with car, tooling and presets.
        cage: the cage.
        entry: what the file says.
        where: what a message names.

    Raises:
        InputError: no tube stands there.
    """
    from cagekit.plates.feet import feet_of, foot_names

    assert isinstance(entry, OutriggerBoxEntry)
    out: list[Plate] = []
    known: list[FootName] = []
    for member, end in feet_of(cage):
        names = foot_names(cage, member, end)
        known += names
        foot = Foot.of(cage, member, end, build.car)
        side = "left" if foot.side > 0 else "right"
        if entry.at in names and entry.side in (None, side):
            out += outrigger_box(entry.id or f"outrigger_box_{side}", foot, entry, build, where)
    if not out:
        raise InputError(
            where,
            "at",
            str(entry.at or ""),
            problem="no tube stands there.",
            hint=did_you_mean(str(entry.at), map(str, known), what="Feet"),
        )
    return out


def outrigger_box(
    plate_id: str, foot: Foot, entry: OutriggerBoxEntry, build: Build, where: str
) -> tuple[Plate, ...]:
    """Make one box: the foot stands on its top, its ends meet tunnel or frame and sill.

    Args:
        plate_id: id of the plate.
        foot: the foot that stands on it.
        entry: what the file says.
        build: the build, with car, tooling and presets.
        where: what a message names.

    Raises:
        InputError: the car sheet has no tunnel to start from.
        GeometryError: the foot does not stand on the box.
    """
    car = build.car
    side = car.left if foot.side > 0 else car.right
    inner = entry.inner_y
    if inner is None and car.tunnel is not None:
        inner = car.tunnel.half("left" if foot.side > 0 else "right")
    if inner is None:
        raise InputError(
            where,
            "inner_y",
            problem="the car sheet has no tunnel to start from.",
            hint="Give inner_y.",
        )
    outer = entry.outer_y if entry.outer_y is not None else side.sill_top_y[0]
    at = abs(float(foot.frame[1, 3]))
    if not inner + foot.od / 2 <= at <= outer - foot.od / 2:
        raise GeometryError(
            plate_id,
            f"the foot of {foot.name} at y {at:.0f} mm does not stand on a box from {inner:.0f} to "
            f"{outer:.0f} mm.",
            "Change inner_y or outer_y.",
        )
    spec = box_spec(entry, outer - inner, entry.thickness or build.foot_plate, build.units)
    spec = replace(spec, centre=(0.0, foot.side * ((inner + outer) / 2 - at)))
    mark = Mark(kind="foot", line=foot.print, text=foot.name)
    plates = box(plate_id, foot.frame, spec, (mark,))
    top, *walls, base = with_details(plates, members=(foot.member,), outrigger=True)
    weld = PlateWeld(to=foot.name, length=foot.weld_length, leg=entry.weld_leg)
    # both ends of top and base meet the car; the walls stand back from them
    car_leg = min(entry.weld_leg, foot.sheet * 1.5)
    ends = PlateWeld(to="car", length=2 * spec.length, leg=car_leg)
    top = replace(top, ends=(f"{foot.member}.{foot.end}",), welds=(weld, ends))
    return (top, *walls, replace(base, welds=(ends,)))


def box_spec(
    size: OutriggerBox, span: float, thickness: float, units: Literal["mm", "in"] = "mm"
) -> BoxSpec:
    """The box of an outrigger, its middle at the foot.

    Args:
        size: the sizes.
        span: from frame or tunnel to the sill, mm.
        thickness: of its plates, mm.
        units: that decide over the usual steel.
    """
    lip = min(LIP, size.width / 10)
    return BoxSpec(
        length=size.width,
        width=span,
        height=size.height,
        top=thickness,
        wall=thickness,
        base=thickness,
        material=size.material or PLATE_STEEL[units],
        lip=lip,
        foot_lip=lip,
        radius=size.corner_radius,
        weld_leg=size.weld_leg,
    )

"""Outriggers made of plate: a box from frame or tunnel out to the sill that carries a foot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace as with_fields
from typing import TYPE_CHECKING, Literal

from msgspec.structs import replace

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
"""How far top and base stand out over front and rear wall, mm; less on a narrow box (from
memory)."""
SIDES = ("outer", "inner")
"""What the side walls of a box on the left are called, that on the left first: as its two ends."""


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
    from cagekit.plates.feet import feet_of, foot_names, require_foot, side_of

    assert isinstance(entry, OutriggerBoxEntry)
    found: list[tuple[Foot, str]] = []
    known: dict[FootName, set[str]] = {}
    for member, end in feet_of(cage):
        names, side = foot_names(cage, member, end), side_of(cage.member(member), end)
        for one in names:
            known.setdefault(one, set()).add(side)
        if entry.at in names and entry.side in (None, side):
            found.append((Foot.of(cage, member, end, build.car), side))
    if entry.at is None:
        hint = did_you_mean("", dict.fromkeys(map(str, known)), what="Feet")
        problem = "must name the foot that the box carries."
        raise InputError(where, "at", "", problem=problem, hint=hint)
    require_foot(where, entry.at, entry.side, known)
    ids = _ids(entry, [side for _, side in found])
    return [
        plate
        for id_, (foot, _) in zip(ids, found, strict=True)
        for plate in outrigger_box(id_, foot, entry, build, where)
    ]


def _ids(entry: OutriggerBoxEntry, sides: Sequence[str]) -> list[str]:
    """Ids of the boxes of an entry, by the sides that their feet are on.

    A box alone has the entry's own name; several have their side behind it, and a number where a
    side has more than one.
    """
    if entry.id and len(sides) == 1:
        return [entry.id]
    stems = [f"{entry.id or 'outrigger_box'}_{side}" for side in sides]
    return [
        stem if stems.count(stem) == 1 else f"{stem}_{stems[: i + 1].count(stem)}"
        for i, stem in enumerate(stems)
    ]


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
    # the sill's inner face may lean: where the box is set in it is as narrow as at its foot or top
    sill = min(side.sill_top_y[0], side.hoop.half_width_floor)
    outer = sill if entry.outer_y is None else entry.outer_y
    at = abs(float(foot.frame[1, 3]))
    if not inner + foot.od / 2 <= at <= outer - foot.od / 2:
        raise GeometryError(
            plate_id,
            f"the foot of {foot.name} at y {at:.0f} mm does not stand on a box from {inner:.0f} to "
            f"{outer:.0f} mm.",
            "Change inner_y or outer_y.",
        )
    spec = box_spec(
        plate_id, entry, outer - inner, entry.thickness or build.foot_plate, build.units
    )
    spec = replace(
        spec,
        centre=(0.0, foot.side * ((inner + outer) / 2 - at)),
        sides=SIDES if foot.side > 0 else SIDES[::-1],
    )
    mark = Mark(kind="foot", line=foot.print, text=foot.name)
    plates = box(plate_id, foot.frame, spec, (mark,))
    top, front, rear, *sides, base = with_details(plates, members=(foot.member,), outrigger=True)
    weld = PlateWeld(to=foot.name, length=foot.weld_length, leg=entry.weld_leg)
    # both ends of all but the side walls meet the car: its section, all round
    car_leg = min(entry.weld_leg, foot.sheet * 1.5)
    ends = PlateWeld(to="car", length=2 * spec.length, leg=car_leg)
    edges = PlateWeld(to="car", length=2 * spec.high, leg=car_leg)
    return (
        with_fields(top, ends=(f"{foot.member}.{foot.end}",), welds=(weld, ends)),
        *(with_fields(wall, welds=(*wall.welds, edges)) for wall in (front, rear)),
        *sides,
        with_fields(base, welds=(ends,)),
    )


def box_spec(
    plate_id: str,
    size: OutriggerBox,
    span: float,
    thickness: float,
    units: Literal["mm", "in"] = "mm",
) -> BoxSpec:
    """The box of an outrigger, its middle at the foot.

    Args:
        plate_id: id of the box.
        size: the sizes.
        span: from frame or tunnel to the sill, mm.
        thickness: of its plates, mm.
        units: that decide over the usual steel.

    Raises:
        GeometryError: corners are rounded so far that the walls would stand out of them.
    """
    lip = min(LIP, size.width / 10)
    if size.corner_radius > lip:
        raise GeometryError(
            plate_id,
            f"corners rounded by {size.corner_radius:.1f} mm leave the ends of front and rear wall "
            f"bare, which stand {lip:.1f} mm back.",
            f"Use a corner_radius of {lip:.1f} mm or less.",
        )
    return BoxSpec(
        length=size.width,
        width=span,
        height=size.height,
        top=thickness,
        wall=thickness,
        base=thickness,
        material=size.material or PLATE_STEEL[units],
        lip=lip,
        end_lip=0.0,
        foot_lip=lip,
        radius=size.corner_radius,
        weld_leg=size.weld_leg,
        sides=SIDES,
    )

"""What a car or driver sheet cannot mean: signs, sides, order along the car, proportions.

A number may be a length that exists and still be wrong: a floor above the sills, a pillar upside
down, a person whose head is where the feet should be. The sheets are looked through before anything
is built, so that what bends and copes say later is what they mean. The limits are wide: they part
mistakes from odd cars (from memory, where a row says nothing else).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from math import dist
from pathlib import Path
from typing import Any

from msgspec import Struct

from cagekit.hints import did_you_mean
from cagekit.inputs.car import Car, CarSide, FootSpot, HoopSection, Seat
from cagekit.inputs.driver import Driver
from cagekit.inputs.messages import FileInputError, Problem, table_and_field
from cagekit.inputs.presets import read_toml, shown
from cagekit.inputs.toml_lines import TomlKey, line_map, line_of, value_at
from cagekit.units import LengthUnit, format_length

SIDES = ("left", "right")
_Point = tuple[float, float, float]
OFF_PLANE = 25.0
"""Feet of the main hoop may stand this far (mm) off the plane X = 0 that they define."""
OFF_AXIS = 10.0
"""A foot that is coped to a tube lies this far (mm) outside of that tube at most."""
ABOVE_SILL = 20.0
"""A cabin floor ends this far (mm) above the sills' tops at most."""
THICK = {"floor": 5.0, "tower": 8.0, "outrigger": 12.0, "frame": 15.0}
"""Metal of a car where a foot lands is not thicker than this, mm."""
WHEEL = (200.0, 560.0)
"""Outside of steering wheels from karts to lorries, mm."""
BESIDE = 150.0
"""A driver sits at most this far (mm) beside the middle of the wheel."""
ARM = (120.0, 800.0)
"""Wheel ahead of the driver's hip point, mm."""
APART = 250.0
"""Hip points of two people are further apart than this, mm."""
STATURE = (1200.0, 2300.0)
"""Standing heights of people who drive, mm."""
SHARES: Mapping[str, tuple[float, float]] = {
    "sitting_height": (0.46, 0.59),
    "eye_height": (0.40, 0.54),
    "shoulder_height": (0.27, 0.41),
    "shoulder_breadth": (0.20, 0.40),
    "shoulder_joint_breadth": (0.15, 0.31),
    "upper_arm_length": (0.15, 0.26),
    "forearm_grip_length": (0.14, 0.27),
    "hip_breadth": (0.15, 0.36),
    "buttock_knee_length": (0.28, 0.42),
    "knee_height": (0.24, 0.38),
    "thigh_clearance": (0.06, 0.16),
    "chest_depth": (0.08, 0.25),
    "head_breadth": (0.07, 0.11),
    "head_length": (0.09, 0.14),
    "head_circumference": (0.27, 0.41),
    "eye_spacing": (0.025, 0.05),
    "foot_length": (0.11, 0.19),
}
"""Body dimensions as shares of stature, wider than the survey's first and last percentile of
either sex by about a tenth (ANSUR II 2012, from memory)."""
HELMET = {"width": (210.0, 340.0), "length": (250.0, 430.0), "above_crown": (15.0, 90.0)}
"""Outside of helmets, mm."""


class Fault(Struct, frozen=True, kw_only=True):
    """A field that cannot be meant: its key, what is wrong, what it should be."""

    key: TomlKey
    problem: str
    hint: str = ""


def require_plausible(
    car: Car,
    drivers: Sequence[Driver],
    car_file: Path,
    driver_files: Sequence[Path],
    changed: Mapping[Path, Mapping[str, Any]] | None = None,
) -> None:
    """Refuse sheets that cannot be meant.

    Args:
        car: the car sheet.
        drivers: the driver sheets.
        car_file: where the car sheet stands.
        driver_files: where those of the drivers do.
        changed: tables of files that say something else by now, and are not written yet.

    Raises:
        FileInputError: everything that is wrong with the first sheet that has a fault.
    """
    now = changed or {}
    _refuse(list(car_faults(car, len(drivers))), car_file, now.get(car_file))
    from cagekit.inputs.sitting import seats_of, sitting_faults

    places = seats_of(car, drivers)
    for person, path in zip(drivers, driver_files, strict=True):
        seats = [seat for seat, one in places if one is person]
        sitting = [fault for seat in seats for fault in sitting_faults(seat, person)]
        _refuse([*driver_faults(person), *sitting], path, now.get(path))


def _refuse(faults: Sequence[Fault], path: Path, now: Mapping[str, Any] | None) -> None:
    if not faults:
        return
    data, text = read_toml(path)
    data, lines = data if now is None else dict(now), line_map(text)
    rows = {str(p): p for p in (problem_of(f, data, lines, shown(path)) for f in faults)}
    raise FileInputError(sorted(rows.values(), key=lambda p: p.line or 0))


def problem_of(
    fault: Fault, data: Mapping[str, Any], lines: dict[TomlKey, int], file: str
) -> Problem:
    """Return the message about a fault; what stands under ``[side]`` is told there.

    Args:
        fault: what is wrong.
        data: the tables of the file.
        lines: line of every key.
        file: as messages name it.
    """
    key, value = fault.key, value_at(data, fault.key)
    if value is None and key[0] in SIDES and "side" in data:
        key = ("side", *key[1:])
        value = value_at(data, key)
    table, field = table_and_field(key)
    return Problem(
        file=file,
        line=line_of(lines, key) or 1,
        table=table,
        field=field,
        value=None if isinstance(value, dict) else value,
        problem=fault.problem,
        hint=fault.hint,
    )


# --- the car --------------------------------------------------------------------------------


def car_faults(car: Car, people: int = 0) -> Iterator[Fault]:
    """What a car sheet cannot mean; ``people`` are to sit in it."""
    said = _Lengths(car.units)
    yield from _heights(car, said)
    for name in SIDES:
        yield from _side(car, name, car.side(name), said)
    yield from _frame(car, said)
    yield from _seating(car, people, said)
    yield from _ahead(car, said)


class _Lengths(Struct, frozen=True):
    units: LengthUnit

    def __call__(self, mm: float) -> str:
        return format_length(mm, self.units)


def _heights(car: Car, said: _Lengths) -> Iterator[Fault]:
    if car.floor_z > ABOVE_SILL:
        yield Fault(
            key=("floor_z",),
            problem="is above the tops of the sills.",
            hint=f"Z counts up from the sills, so a floor below them is negative: "
            f"{said(-car.floor_z)}.",
        )
    roof = car.roof
    if roof is None:
        if car.body == "closed":
            yield Fault(
                key=("roof",),
                problem="is missing: a closed car has one, and nothing is held against it.",
                hint="Measure it, or say body = 'open'.",
            )
        return
    if roof.header_x <= 0:
        yield Fault(
            key=("roof", "header_x"),
            problem="is behind the main hoop.",
            hint=f"X counts forward from the hoop's feet: {said(abs(roof.header_x))}?",
        )
    for name in ("height_at_hoop", "height_at_header"):
        height = getattr(roof, name)
        for side in SIDES:
            belt = car.side(side).hoop.height_belt
            if belt is not None and height <= belt:
                yield Fault(
                    key=("roof", name),
                    problem=f"is below the {side} belt line at {said(belt)}.",
                    hint="Both are measured from the sill plane up.",
                )
    if roof.height_at_header > roof.height_at_hoop + 150:
        yield Fault(
            key=("roof", "height_at_header"),
            problem=f"is {said(roof.height_at_header - roof.height_at_hoop)} above the roof at "
            "the hoop.",
            hint="Were the two mixed up?",
        )


def _side(car: Car, name: str, own: CarSide, said: _Lengths) -> Iterator[Fault]:
    yield from _hoop_section(car, name, own.hoop, said)
    inner, outer = own.sill_top_y
    if not 0 < inner < outer:
        yield Fault(
            key=(name, "sill_top_y"),
            problem="is not the inner and then the outer edge, from the centre plane out.",
            hint=f"[{said(min(abs(inner), abs(outer)))}, {said(max(abs(inner), abs(outer)))}]?",
        )
    for spot, foot in own.feet().items():
        key = (name, spot) if spot not in own.spots else (name, "spots", spot)
        yield from _foot(car, key, spot, foot, outer, said)
    yield from _pillar(car, name, own, said)
    yield from _door(name, own, said)


def _hoop_section(car: Car, name: str, h: HoopSection, said: _Lengths) -> Iterator[Fault]:
    if car.body == "closed":
        for field in ("half_width_belt", "half_width_rail"):
            if getattr(h, field) is None:
                yield Fault(
                    key=(name, "hoop", field),
                    problem="is missing, and its height: a closed car has one.",
                    hint="Measure both, or say body = 'open'.",
                )
    if h.belt is not None:
        wide, belt = h.belt
        top = None if h.rail is None else h.rail[1]
        if not car.floor_z < belt or (top is not None and belt >= top):
            over = "" if top is None else f" and the roof rail at {said(top)}"
            yield Fault(
                key=(name, "hoop", "height_belt"),
                problem=f"does not lie between the floor at {said(car.floor_z)}{over}."
                if over
                else f"is not above the floor at {said(car.floor_z)}.",
                hint="Heights count up from the sill plane.",
            )
        if h.rail is not None and h.rail[0] > 1.25 * wide:
            yield Fault(
                key=(name, "hoop", "half_width_rail"),
                problem=f"is far wider than the belt line, {said(wide)}.",
                hint="Half widths count from the centre plane.",
            )
    if h.rail is not None and h.rail[1] <= car.floor_z:
        yield Fault(
            key=(name, "hoop", "height_rail"),
            problem=f"is not above the floor at {said(car.floor_z)}.",
            hint="Heights count up from the sill plane.",
        )
    if car.roof and h.rail is not None and h.rail[1] > car.roof.height_at_hoop + OFF_PLANE:
        yield Fault(
            key=(name, "hoop", "height_rail"),
            problem=f"is above the roof skin at {said(car.roof.height_at_hoop)}.",
            hint="The rail's inner face lies below the skin.",
        )


def _foot(
    car: Car, key: TomlKey, spot: str, foot: FootSpot, outer: float, said: _Lengths
) -> Iterator[Fault]:
    x, y, z = foot.point
    point = (*key, "point")
    if foot.sheet > THICK[foot.surface] or foot.sheet <= 0:
        yield Fault(
            key=(*key, "sheet"),
            problem=f"is no thickness of {'a ' if foot.surface != 'floor' else ''}{foot.surface}'s "
            "metal.",
            hint=f"The car's own metal there, up to {said(THICK[foot.surface])}; the plate that is "
            "welded to it is another field.",
        )
    if y < 0:
        yield Fault(
            key=point,
            problem="has a negative y.",
            hint="In the table of one side y is the distance from the centre plane.",
        )
    for n, (out, _) in enumerate(foot.profile):
        if out < 0:
            yield Fault(
                key=(*key, "profile", n),
                problem="has a negative y.",
                hint="The section of the floor runs from the centre plane out to the sill.",
            )
    if spot == "main_foot" and abs(x) > OFF_PLANE:
        yield Fault(
            key=point,
            problem=f"lies {said(abs(x))} off the plane X = 0, which goes through it.",
            hint="X = 0 is the plane of the main hoop's feet; measure every x from there.",
        )
    if spot == "front_foot" and x <= 0:
        yield Fault(key=point, problem="is behind the main hoop.", hint="X counts forward.")
    if spot == "rear_foot" and x >= 0:
        yield Fault(
            key=point,
            problem="is not behind the main hoop.",
            hint="X counts forward, so the rear feet have a negative x.",
        )
    if spot in ("main_foot", "front_foot"):
        if abs(y) > outer + OFF_PLANE:
            yield Fault(
                key=point,
                problem=f"is outside of the sill, whose outer edge is at {said(outer)}.",
                hint="y counts from the centre plane.",
            )
        if car.floor_z < 0 and z > 200:
            yield Fault(
                key=point,
                problem=f"is {said(z)} above the sills, where no floor is.",
                hint=f"The cabin floor is at {said(car.floor_z)}.",
            )
    nx, ny, nz = foot.normal
    if nx == ny == nz == 0:
        yield Fault(key=(*key, "normal"), problem="points nowhere.", hint="e.g. [0, 0, 1].")
    elif spot in ("main_foot", "front_foot") and nz <= 0:
        yield Fault(
            key=(*key, "normal"),
            problem="points down through the floor.",
            hint="It points away from the sheet, into the cabin: [0, 0, 1] on a level floor.",
        )


def _frame(car: Car, said: _Lengths) -> Iterator[Fault]:
    """Tubes of the car's own frame, and the feet that are coped to them."""
    for n, tube in enumerate(car.chassis.tube):
        for end in ("start", "end"):
            if tube.side != "centre" and getattr(tube, end)[1] < 0:
                yield Fault(
                    key=("chassis", "tube", n, end),
                    problem="has a negative y.",
                    hint="With a side, y is the distance from the centre plane; a tube that "
                    "crosses it has side = 'centre' and y signed.",
                )
    tubes = {name: (t, ends) for t in car.chassis.tube for name, ends in t.axes().items()}
    for side in SIDES:
        own = car.side(side)
        for spot, foot in own.feet().items():
            if foot.tube is None:
                continue
            key = (side, spot) if spot not in own.spots else (side, "spots", spot)
            found = tubes.get(f"{foot.tube}_{side}") or tubes.get(foot.tube)
            if found is None:
                yield Fault(
                    key=(*key, "tube"),
                    problem="the car sheet has no such tube on this side.",
                    hint=did_you_mean(foot.tube, tubes, what="[[chassis.tube]] has"),
                )
                continue
            x, y, z = foot.point
            point = (x, y if side == "left" else -y, z)
            gap = _off_axis(point, *found[1])
            if gap > found[0].od / 2 + OFF_AXIS:
                yield Fault(
                    key=(*key, "point"),
                    problem=f"is {said(gap)} from the axis of {foot.tube}, to which the foot is "
                    "coped.",
                    hint="Measure the foot and both ends of that tube again from the same planes.",
                )


def _off_axis(point: _Point, start: _Point, end: _Point) -> float:
    """Distance of a point from the stretch between two others, mm."""
    along = [b - a for a, b in zip(start, end, strict=True)]
    out = [p - a for a, p in zip(start, point, strict=True)]
    share = sum(a * b for a, b in zip(along, out, strict=True)) / sum(a * a for a in along)
    share = min(max(share, 0.0), 1.0)
    return dist(point, [a + share * d for a, d in zip(start, along, strict=True)])


def _pillar(car: Car, name: str, own: CarSide, said: _Lengths) -> Iterator[Fault]:
    p = own.pillar
    if p is not None:
        for end in ("top", "base"):
            if getattr(p, end)[1] < 0:
                yield Fault(
                    key=(name, "pillar", end),
                    problem="has a negative y.",
                    hint="In the table of one side y is the distance from the centre plane.",
                )
        if p.top[2] <= p.base[2] or p.top[0] > p.base[0] + OFF_PLANE:
            yield Fault(
                key=(name, "pillar", "top"),
                problem=f"is {'below' if p.top[2] <= p.base[2] else 'ahead of'} the pillar's base.",
                hint="Were top and base mixed up? The top meets the roof, behind and above.",
            )
        if not 0 < p.width < 250:
            yield Fault(
                key=(name, "pillar", "width"),
                problem="is no width of a windscreen pillar.",
                hint=f"They are {said(40)} to {said(150)} wide.",
            )
    c = own.roof_corner
    if c is None:
        return
    if c[1] < 0:
        yield Fault(
            key=(name, "roof_corner"),
            problem="has a negative y.",
            hint="In the table of one side y is the distance from the centre plane.",
        )
    if car.roof and abs(c[0] - car.roof.header_x) > 350:
        yield Fault(
            key=(name, "roof_corner"),
            problem=f"is {said(abs(c[0] - car.roof.header_x))} from the header at "
            f"{said(car.roof.header_x)} along the car.",
            hint="It is the inside of the roof's front corner, beside the header: x, y, z.",
        )
    if car.roof and not 0 < c[2] <= car.roof.height_at_header + 150:
        yield Fault(
            key=(name, "roof_corner"),
            problem=f"is not at the roof, whose header is at {said(car.roof.height_at_header)}.",
            hint="Its z counts up from the sill plane.",
        )


def _door(name: str, own: CarSide, said: _Lengths) -> Iterator[Fault]:
    d = own.door
    if d is None:
        return
    if not d.y_inner > 0:
        yield Fault(key=(name, "door", "y_inner"), problem="counts from the centre plane out.")
    if d.y_trim < d.y_inner - 100 or d.y_trim > d.y_inner + 250:
        yield Fault(
            key=(name, "door", "y_trim"),
            problem=f"is far from the sill's inner face at {said(d.y_inner)}.",
            hint="Inner face of the trim that must still move, from the centre plane.",
        )
    if d.outline and max(x for x, _ in d.outline) <= 0:
        yield Fault(
            key=(name, "door", "outline"),
            problem="lies behind the main hoop.",
            hint="x counts forward from the hoop's feet.",
        )
    if d.outline and abs(d.quarter_x - min(x for x, _ in d.outline)) > 250:
        yield Fault(
            key=(name, "door", "quarter_x"),
            problem=f"is not the rear edge of the outline, {said(min(x for x, _ in d.outline))}.",
        )


def _seating(car: Car, people: int, said: _Lengths) -> Iterator[Fault]:
    for n, seat in enumerate(car.seats):
        yield from _seat(car, n, seat, said)
        for m, other in enumerate(car.seats[:n]):
            if dist(seat.hip, other.hip) < APART:
                yield Fault(
                    key=("seats", n, "hip"),
                    problem=f"is {said(dist(seat.hip, other.hip))} from that of seat {m + 1}.",
                    hint="y is signed here: left positive.",
                )
    if people > len(car.seats):
        yield Fault(
            key=("seats",),
            problem=f"there are {len(car.seats)} for {people} people.",
            hint="Add another [[seats]] table, or name fewer driver sheets in the build.",
        )
    w, driver = car.wheel, car.driver_seat
    n = car.seats.index(driver)
    if not WHEEL[0] <= w.diameter <= WHEEL[1]:
        yield Fault(
            key=("wheel", "diameter"),
            problem="is no size of a steering wheel.",
            hint=f"They are {said(WHEEL[0])} to {said(WHEEL[1])} across.",
        )
    if driver.side not in ("centre", car.driver_side):
        yield Fault(
            key=("driver_side",),
            problem=f"is {car.driver_side}, but no seat is there and the wheel is on the "
            f"{driver.side}.",
            hint=f"Say driver_side = '{driver.side}', as the driver sits.",
        )
    if abs(w.centre[1] - driver.hip[1]) > BESIDE:
        yield Fault(
            key=("wheel", "centre"),
            problem=f"is {said(abs(w.centre[1] - driver.hip[1]))} beside the driver, whose hip is "
            f"at y {said(driver.hip[1])}.",
            hint="y is signed here, left positive; is driver_side right?",
        )
    reach = w.centre[0] - driver.hip[0]
    if not ARM[0] <= reach <= ARM[1]:
        yield Fault(
            key=("seats", n, "hip"),
            problem=f"is {said(abs(reach))} {'behind' if reach > 0 else 'ahead of'} the wheel.",
            hint=f"A driver sits {said(ARM[0])} to {said(ARM[1])} behind it.",
        )
    if not -50 <= w.centre[2] - driver.hip[2] <= 800:
        yield Fault(
            key=("wheel", "centre"),
            problem=f"is {said(w.centre[2] - driver.hip[2])} above the driver's hip.",
            hint="z counts up from the sill plane.",
        )


def _seat(car: Car, n: int, seat: Seat, said: _Lengths) -> Iterator[Fault]:
    x, y, z = seat.hip
    if (seat.side == "left" and y < 0) or (seat.side == "right" and y > 0):
        yield Fault(
            key=("seats", n, "side"),
            problem=f"says {seat.side}, but the hip point is at y {said(y)}.",
            hint="Left is positive, as the driver sits.",
        )
    width = max(car.left.sill_top_y[1], car.right.sill_top_y[1])
    if seat.side == "centre" and abs(y) > BESIDE:
        yield Fault(
            key=("seats", n, "side"),
            problem=f"says centre, but the hip point is at y {said(y)}.",
            hint="Left is positive.",
        )
    if abs(y) > width:
        yield Fault(key=("seats", n, "hip"), problem="is outside of the car.")
    if x <= 0:
        yield Fault(
            key=("seats", n, "hip"),
            problem="is behind the main hoop.",
            hint="X counts forward from the hoop's feet; leave out a seat that stands behind it.",
        )
    if not -400 <= z <= 800:
        yield Fault(
            key=("seats", n, "hip"),
            problem=f"is {said(z)} above the sill plane.",
            hint="z of the hip point, from the sill plane.",
        )
    if not -0.1 <= seat.back_angle <= 1.1:
        yield Fault(
            key=("seats", n, "back_angle"),
            problem="is no angle of a seat's back.",
            hint="Degrees back from vertical: 10 to 30 is usual.",
        )


def _ahead(car: Car, said: _Lengths) -> Iterator[Fault]:
    driver = car.driver_seat
    if car.pedals and car.pedals.x <= driver.hip[0] + 300:
        yield Fault(
            key=("pedals", "x"),
            problem=f"is not a leg's length ahead of the driver's hip at {said(driver.hip[0])}.",
            hint="X counts forward from the hoop's feet.",
        )
    if car.pedals and car.pedals.heel_z > car.pedals.z:
        yield Fault(
            key=("pedals", "heel_z"),
            problem=f"is above the pedals at {said(car.pedals.z)}.",
            hint="It is the floor under them.",
        )
    if car.dash:
        d = car.dash
        if d.top_z <= d.bottom_z:
            yield Fault(
                key=("dash", "top_z"), problem=f"is below the dash's bottom, {said(d.bottom_z)}."
            )
        if d.cowl_z <= d.bottom_z:
            yield Fault(
                key=("dash", "cowl_z"),
                problem=f"is below the dash's bottom, {said(d.bottom_z)}.",
                hint="It is the base of the windscreen.",
            )
        if d.face_x <= driver.hip[0]:
            yield Fault(
                key=("dash", "face_x"), problem="is behind the driver.", hint="X counts forward."
            )
        if d.cowl_x < d.face_x - 100:
            yield Fault(
                key=("dash", "cowl_x"),
                problem=f"is behind the dash's face at {said(d.face_x)}.",
                hint="It is the base of the windscreen.",
            )
    if car.tunnel:
        for s in SIDES:
            narrow = abs(car.side(s).main_foot.point[1])
            if car.tunnel.half(s) >= narrow:
                own = getattr(car.tunnel, f"half_width_{s}") is not None
                yield Fault(
                    key=("tunnel", f"half_width_{s}" if own else "half_width"),
                    problem=f"reaches to the {s} main foot at y {said(narrow)}.",
                    hint="It is taken from the centre plane to one side of the tunnel.",
                )
                break
        if car.tunnel.top_z < car.floor_z:
            yield Fault(key=("tunnel", "top_z"), problem="is below the floor.")
    if car.suspension_x and not car.suspension_x[0] < 0 < car.suspension_x[1]:
        yield Fault(
            key=("suspension_x",),
            problem="is not the rear and then the front of the car, with the hoop between.",
            hint="Behind the hoop x is negative.",
        )


# --- people ---------------------------------------------------------------------------------


def driver_faults(person: Driver) -> Iterator[Fault]:
    """What a driver sheet cannot mean."""
    said = _Lengths(person.units)
    b = person.body
    if b.stature is not None and not STATURE[0] <= b.stature <= STATURE[1]:
        hint = f"In the sheet's units ({person.units}) that is {said(STATURE[0])} to "
        yield Fault(
            key=("body", "stature"),
            problem=f"is no height of a driver: {said(b.stature)}.",
            hint=hint + f"{said(STATURE[1])}.",
        )
    tall = b.stature if b.stature and STATURE[0] <= b.stature <= STATURE[1] else 1750.0
    wide = 0.0 if tall == b.stature else 0.2
    for name, (low, high) in SHARES.items():
        value = getattr(b, name)
        low, high = low * (1 - wide) * tall, high * (1 + wide) * tall
        if value is not None and not low <= value <= high:
            whose = f" of somebody {said(b.stature)} tall" if b.stature else ""
            yield Fault(
                key=("body", name),
                problem=f"cannot be that{whose}: {said(value)}.",
                hint=f"Between {said(low)} and {said(high)}; measure again.",
            )
    order = ("shoulder_height", "eye_height", "sitting_height")
    for low_name, high_name in pairwise(order):
        below, above = getattr(b, low_name), getattr(b, high_name)
        if below is not None and above is not None and below >= above:
            yield Fault(
                key=("body", low_name),
                problem=f"is not below {high_name} = {said(above)}.",
                hint="Both count from the chair.",
            )
    for name, (low, high) in HELMET.items():
        value = getattr(person.helmet, name)
        if value is not None and not low <= value <= high:
            yield Fault(
                key=("helmet", name),
                problem=f"is no size of a helmet: {said(value)}.",
                hint=f"Between {said(low)} and {said(high)}.",
            )

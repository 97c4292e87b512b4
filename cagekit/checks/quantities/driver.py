"""Quantities of the people in the cage that rulebooks limit: head, shoulder, arm.

The posture and the readings come from ``cagekit.people``; without a driver sheet every one of
them needs input.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from math import degrees

import numpy as np
from msgspec.structs import replace

from cagekit.cage.kept import Same
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey, side_of
from cagekit.fit import readings
from cagekit.fit.cockpit import Cockpit, Reading
from cagekit.fit.own_car import ON_PEDALS, car_rooms
from cagekit.people import Occupant

ALONG = np.linspace(0.0, 1.0, 9)
"""Places along the middle of a helmet that are looked at, as shares."""
NO_DRIVER = "a driver sheet (`drivers` in the build file)"


Take = Callable[[Cockpit, Occupant], Reading]


def read(s: Survey, pick: Pick, take: Take, *, at_wheel: bool = False) -> Iterator[Measure]:
    """One measure for each person on the picked side of the car.

    Args:
        s: the cage.
        pick: its side, if any, is that of the person's door.
        take: measures one person.
        at_wheel: leave out those who have no wheel.
    """
    if not s.cockpit.occupants:
        yield Measure(subject="driver", missing=NO_DRIVER)
    for who in s.cockpit.occupants:
        if (at_wheel and not who.at_wheel) or (pick.side and who.door_side != pick.side):
            continue
        r = take(s.cockpit, who)
        yield replace(measure(who.name, r), cure=_at_own_tube(s, r))


def _at_own_tube(s: Survey, r: Reading) -> str:
    """The cure where the tube is one that the car has: only people and seats can be moved."""
    if not r.members or r.members[0] not in s.cage.chassis:
        return ""
    note = f" ({r.note})" if r.note else ""
    return f"At {r.members[0]}{note}: it is the car's own tube; move, lower or change the seat."


def measure(subject: str, r: Reading, *, factor: float = 1.0) -> Measure:
    """A reading as a measure of ``subject``; ``factor`` turns it into the quantity's unit.

    Args:
        subject: what the finding is about.
        r: the reading.
        factor: from mm or rad.
    """
    evidence = Evidence.of(*r.members, points=r.points, note=r.note)
    if r.value is None:
        return Measure(subject=subject, evidence=evidence, missing=r.missing, absent=r.absent)
    return Measure(subject=subject, value=r.value * factor, evidence=evidence)


@quantity("helmet_to_main_hoop", "mm", "helmet to the main hoop")
def helmet_to_main_hoop(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Free gap between each person's helmet and the main hoop, padding included, any direction."""
    yield from read(s, pick, readings.helmet_to_hoop)


@quantity("helmet_to_nearest_tube", "mm", "helmet to the nearest tube")
def helmet_to_nearest_tube(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Free gap between each person's helmet and the nearest tube or its padding."""
    yield from read(s, pick, readings.helmet_to_nearest)


@quantity("hoop_above_helmet", "mm", "main hoop above the helmet")
def hoop_above_helmet(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Height of the main hoop's tube above the top of each person's helmet, in its own plane."""
    yield from read(s, pick, readings.hoop_over_helmet)


@quantity("helmet_to_shell", "mm", "helmet to the inside of the car")
def helmet_to_shell(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Free gap between each person's helmet and roof, glass, pillars, doors and panels.

    Negative beyond them. Keep-outs are left out: they keep tubes away.
    """
    for who in s.cockpit.occupants:
        if not pick.side or who.door_side == pick.side:
            key = ("helmet to the shell", Same(s.car), Same(who))
            yield s.cage.kept.once(key, partial(_helmet_to_shell, s, who))


def _helmet_to_shell(s: Survey, who: Occupant) -> Measure:
    keep_outs = {k.name for k in s.car.keepouts}
    around = [x for x in s.shell if not (x.stood_on or x.trimmed or x.name in keep_outs)]
    line = who.helmet.start + (who.helmet.end - who.helmet.start) * ALONG[:, None]
    rows = [(x.solid.gap(line), x) for x in around]
    if not rows:
        return Measure(subject=who.name, absent="the car sheet has no roof")
    gaps, nearest = min(rows, key=lambda row: float(row[0].min()))
    at = line[int(gaps.argmin())]
    return Measure(
        subject=who.name,
        value=float(gaps.min()) - who.helmet.radius,
        evidence=Evidence.of(points=(at, nearest.solid.nearest(at[None])[0])),
        cure=f"At the {nearest.name}: lower or move the seat, lean its back further, or measure "
        "there again.",
    )


@quantity("person_in_car", "mm", "person clear of the car's own floor, tunnel, sills, dash, roof")
def person_in_car(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Least room between each person or seat and floor, tunnel, sills, dash and roof of the car.

    Negative beyond them: then seat, body or car were measured wrong. The helmet has its own check;
    what the car sheet does not tell is not judged, and named.
    """
    for who in s.cockpit.occupants:
        if not pick.side or who.door_side == pick.side:
            key = ("person in the car", Same(s.car), Same(who))
            yield s.cage.kept.once(key, partial(_person_in_car, s, who))


MEND = {
    "floor": "raise the hip point of the seat, or measure the floor there again",
    "tunnel": "move the seat outboard, or measure the tunnel beside the seat again",
    "sill": "move the seat inboard, or measure the sill again",
    "dash": "move the seat back, or measure face and lower edge of the dash again",
    "roof": "lower the seat, lean its back further, or measure `back_height` and the roof again",
}
"""What mends a person in a part of the car, by the last word of its name."""
MEND_FEET = "measure heel and pedals (`heel_z`), or the floor at the front feet, again"
"""The same for a foot on a pedal that is in the floor."""


def _person_in_car(s: Survey, who: Occupant) -> Measure:
    keep_outs = {k.name for k in s.car.keepouts}
    found = sorted(
        car_rooms(
            who,
            [x for x in s.shell if x.name not in keep_outs],
            pedals=who.at_wheel and s.car.pedals is not None,
        ),
        key=lambda room: room.value,
    )
    told = {room.surface.split()[-1] for room in found}
    if not told:
        return Measure(subject=who.name, absent="the car sheet tells nothing around the seat")
    worst = found[0]
    where = worst.surface.split()[-1]
    standing = where == "floor" and worst.part.endswith(ON_PEDALS)
    has_no = {"roof"} if s.car.body == "open" else set[str]()
    unknown = [name for name in MEND if name not in told | has_no]
    return Measure(
        subject=who.name,
        value=worst.value,
        evidence=Evidence.of(points=worst.points, note=f"{worst.part} at the {worst.surface}"),
        label=f"room between {worst.part} and {worst.surface}",
        text=f"The car sheet has no {', no '.join(unknown)} to hold against." if unknown else "",
        cure=f"At the {worst.surface}: {MEND_FEET if standing else MEND[where]}.",
    )


@quantity("helmet_ahead_of_hoop", "mm", "helmet ahead of the main hoop")
def helmet_ahead_of_hoop(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far the back of each helmet lies ahead of the main hoop's front; negative below it."""
    yield from read(s, pick, readings.helmet_ahead_of_hoop)


@quantity("helmet_under_hoop_line", "mm", "helmet under the line between hoops")
def helmet_under_hoop_line(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Height of the straight from main hoop to front hoop, halo or cowl above each helmet."""
    yield from read(s, pick, readings.helmet_line)


@quantity("harness_bar_drop", "mm", "harness bar below the shoulder")
def harness_bar_drop(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far the top of the harness bar lies below each person's shoulder; negative above it."""
    yield from read(s, pick, readings.harness_drop)


@quantity("belt_angle", "deg", "shoulder belts below level")
def belt_angle(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Angle of each person's shoulder belts below level, from shoulder to the top of the bar."""
    for who in s.cockpit.occupants:
        yield measure(who.name, readings.belt_angle(s.cockpit, who), factor=degrees(1.0))


@quantity("side_bar_on_arm", "ratio", "door bar along the upper arm, 0 shoulder to 1 elbow")
def side_bar_on_arm(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Where the door bar passes each person's upper arm: 0 at the shoulder, 1 at the elbow."""
    yield from read(s, pick, readings.door_bar_share)


@quantity("hoop_width_over_shoulders", "mm", "hoop width over the driver's shoulders")
def hoop_width_over_shoulders(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Outside width of the main hoop at shoulder height less the driver's shoulder breadth."""
    if s.main_hoop is not None:
        yield from read(s, pick, lambda _, who: _width_over_shoulders(s, who), at_wheel=True)


def _width_over_shoulders(s: Survey, who: Occupant) -> Reading:
    hoop = s.main_hoop
    assert hoop is not None
    spots = hoop.path.at_height(float(who.shoulder[2]))
    if len(spots) < 2:
        return Reading(value=None, absent="the main hoop ends below the shoulder")
    y = [float(p.point[1]) for p in spots]
    value = max(y) - min(y) + hoop.tube.od - who.body.shoulder_breadth
    return Reading(value=value, members=(hoop.id,), points=tuple(p.point for p in spots))


@quantity("hoop_gap_to_driver_door", "mm", "hoop to the driver's door")
def hoop_gap_to_driver_door(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Free gap at the belt line from the main hoop to the driver's door or its trim."""
    hoop = s.main_hoop
    if hoop is None:
        return
    sheet = s.car.side(s.driver_side)
    if sheet.hoop.belt is None:
        return
    wall, belt = sheet.hoop.belt
    level = hoop.path.at_height(belt)
    spots = [p for p in level if side_of(p.point) == s.driver_side]
    if spots:
        if sheet.door is not None:
            wall = min(wall, sheet.door.y_trim)
        value = wall - abs(float(spots[0].point[1])) - hoop.tube.outer_radius
        evidence = Evidence.of(hoop.id, points=[spots[0].point])
        yield Measure(subject=hoop.id, value=value, evidence=evidence)

"""Quantities of the people in the cage that rulebooks limit: head, shoulder, arm.

The posture and the readings come from ``cagekit.people``; without a driver sheet every one of
them needs input.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey, side_of
from cagekit.fit import readings
from cagekit.fit.cockpit import Cockpit, Reading
from cagekit.people import Occupant

NO_DRIVER = "a driver sheet (`drivers` in the build file)"


def _read(
    s: Survey, take: Callable[[Cockpit, Occupant], Reading], *, wheel_only: bool = False
) -> Iterator[Measure]:
    """One measure for each person; what the person lacks is said, what the cage lacks is not."""
    if not s.cockpit.occupants:
        yield Measure(subject="driver", missing=NO_DRIVER)
    for who in s.cockpit.occupants:
        if wheel_only and not who.at_wheel:
            continue
        r = take(s.cockpit, who)
        evidence = Evidence.of(*r.members, points=r.points, note=r.note)
        if r.value is not None:
            yield Measure(subject=who.name, value=r.value, evidence=evidence)
        elif r.missing:
            yield Measure(subject=who.name, evidence=evidence, missing=r.missing)


@quantity("helmet_to_main_hoop", "mm", "helmet to main hoop")
def helmet_to_main_hoop(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Free gap between each person's helmet and the main hoop, padding included, any direction."""
    if s.main_hoop is not None:
        yield from _read(s, readings.helmet_to_hoop)


@quantity("helmet_to_nearest_tube", "mm", "helmet to the nearest tube")
def helmet_to_nearest_tube(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Free gap between each person's helmet and the nearest tube or its padding."""
    yield from _read(s, _nearest_tube)


def _nearest_tube(cockpit: Cockpit, who: Occupant) -> Reading:
    best = min(readings.helmet_to_bar(cockpit, who).items(), key=lambda kv: (kv[1].value, kv[0]))
    return best[1]


@quantity("hoop_above_helmet", "mm", "main hoop above the helmet")
def hoop_above_helmet(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Height of the main hoop's tube above the top of each person's helmet, in its own plane."""
    if s.main_hoop is not None:
        yield from _read(s, readings.hoop_over_helmet)


@quantity("helmet_ahead_of_hoop", "mm", "helmet ahead of the main hoop")
def helmet_ahead_of_hoop(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far the back of each helmet lies ahead of the main hoop's front; negative below it."""
    if s.main_hoop is not None:
        yield from _read(s, readings.helmet_ahead_of_hoop)


@quantity("helmet_under_hoop_line", "mm", "helmet under the line between hoops")
def helmet_under_hoop_line(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Height of the straight from main hoop to front hoop above each helmet."""
    if s.main_hoop is not None and s.one("front_hoop") is not None:
        yield from _read(s, readings.helmet_line)


@quantity("harness_bar_drop", "mm", "harness bar below the shoulder")
def harness_bar_drop(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far the top of the harness bar lies below each person's shoulder; negative above it."""
    if s.one("harness_bar") is not None:
        yield from _read(s, readings.harness_drop)


@quantity("side_bar_on_arm", "ratio", "door bar between shoulder (0) and elbow (1)")
def side_bar_on_arm(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Where the door bar passes the driver's upper arm: 0 at the shoulder, 1 at the elbow."""
    if s.one("door_bar") is not None:
        yield from _read(s, readings.door_bar_share, wheel_only=True)


@quantity("hoop_width_over_shoulders", "mm", "hoop width over the driver's shoulders")
def hoop_width_over_shoulders(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Outside width of the main hoop at shoulder height less the driver's shoulder breadth."""
    if s.main_hoop is not None:
        yield from _read(s, lambda _, who: _width_over_shoulders(s, who), wheel_only=True)


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
    level = hoop.path.at_height(sheet.hoop.height_belt)
    spots = [p for p in level if side_of(p.point) == s.driver_side]
    if spots:
        wall = sheet.hoop.half_width_belt
        if sheet.door is not None:
            wall = min(wall, sheet.door.y_trim)
        value = wall - abs(float(spots[0].point[1])) - hoop.tube.outer_radius
        evidence = Evidence.of(hoop.id, points=[spots[0].point])
        yield Measure(subject=hoop.id, value=value, evidence=evidence)

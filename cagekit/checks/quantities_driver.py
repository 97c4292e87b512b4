"""Quantities of the driver in the cage that rulebooks limit: head, shoulder, arm.

The posture comes from ``cagekit.occupant``; without a driver sheet every one of them needs input.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cagekit.cage.model import Member
from cagekit.checks.finding import Evidence
from cagekit.checks.quantity import Measure, Pick, quantity
from cagekit.checks.survey import Survey, extreme, side_of
from cagekit.geometry.path import Vec, unit
from cagekit.occupant import Occupant

NO_DRIVER = "a driver sheet (`drivers` in the build file)"


def _people(s: Survey, subject: str) -> tuple[list[Occupant], list[Measure]]:
    people = list(s.occupants)
    return people, [] if people else [Measure(subject=subject, missing=NO_DRIVER)]


def _driver(s: Survey) -> Occupant | None:
    return next((p for p in s.occupants if p.at_wheel), None)


@quantity("helmet_to_main_hoop", "mm", "helmet to main hoop")
def helmet_to_main_hoop(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Free gap between each occupant's helmet and the main hoop's tube, in any direction."""
    hoop = s.main_hoop
    if hoop is None:
        return
    people, missing = _people(s, "helmet")
    yield from missing
    for who, gaps in s.helmet_gaps:
        g = next(g for g in gaps if g.member == hoop.id)
        evidence = Evidence.of(hoop.id, points=[g.on_solid, g.on_tube])
        yield Measure(subject=f"{who.role} helmet", value=g.gap, evidence=evidence)


@quantity("helmet_to_nearest_tube", "mm", "helmet to the nearest tube")
def helmet_to_nearest_tube(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Free gap between each occupant's helmet and the nearest tube of the cage, without padding."""
    people, missing = _people(s, "helmet")
    yield from missing
    for who, gaps in s.helmet_gaps:
        if not gaps:
            continue
        g = min(gaps, key=lambda x: x.gap)
        evidence = Evidence.of(g.member, points=[g.on_solid, g.on_tube])
        yield Measure(subject=f"{who.role} helmet", value=g.gap, evidence=evidence)


@quantity("hoop_above_helmet", "mm", "main hoop above the helmet")
def hoop_above_helmet(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Height of the top of the main hoop's tube above the top of each occupant's helmet."""
    hoop = s.main_hoop
    if hoop is None:
        return
    people, missing = _people(s, "helmet")
    yield from missing
    top, point = extreme(hoop.path, (0.0, 0.0, 1.0))
    for who in people:
        value = top + hoop.tube.outer_radius - float(who.helmet_top[2])
        evidence = Evidence.of(hoop.id, points=[who.helmet_top, point])
        yield Measure(subject=f"{who.role} helmet", value=value, evidence=evidence)


@quantity("helmet_ahead_of_hoop", "mm", "helmet ahead of the main hoop")
def helmet_ahead_of_hoop(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far the rearmost point of each occupant's helmet lies ahead of the front of the main
    hoop's tube at its top; negative when the helmet reaches under or behind the hoop.
    """
    hoop = s.main_hoop
    if hoop is None:
        return
    people, missing = _people(s, "helmet")
    yield from missing
    _, top = extreme(hoop.path, (0.0, 0.0, 1.0))
    for who in people:
        rear = min(float(who.helmet.start[0]), float(who.helmet.end[0])) - who.helmet.radius
        value = rear - float(top[0]) - hoop.tube.outer_radius
        point = min((who.helmet.start, who.helmet.end), key=lambda p: float(p[0]))
        evidence = Evidence.of(hoop.id, points=[point, top])
        yield Measure(subject=f"{who.role} helmet", value=value, evidence=evidence)


@quantity("helmet_under_hoop_line", "mm", "helmet under the line between hoops")
def helmet_under_hoop_line(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Height of the straight from the main hoop's top to the front hoop's top above each helmet;
    without a front hoop the rule has nothing to look at.
    """
    hoop, front = s.main_hoop, s.one("front_hoop")
    if hoop is None or front is None:
        return
    people, missing = _people(s, "helmet")
    yield from missing
    up = (0.0, 0.0, 1.0)
    a = extreme(hoop.path, up)[1] + np.array([0.0, 0.0, hoop.tube.outer_radius])
    b = extreme(front.path, up)[1] + np.array([0.0, 0.0, front.tube.outer_radius])
    for who in people:
        p = who.helmet_top
        t = (float(p[0]) - float(a[0])) / (float(b[0]) - float(a[0]))
        value = float(a[2] + t * (b[2] - a[2])) - float(p[2])
        evidence = Evidence.of(hoop.id, front.id, points=[a, b, p])
        yield Measure(subject=f"{who.role} helmet", value=value, evidence=evidence)


@quantity("hoop_width_over_shoulders", "mm", "hoop width over the driver's shoulders")
def hoop_width_over_shoulders(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Outside width of the main hoop at the driver's shoulder height less the driver's breadth over
    the shoulders.
    """
    hoop = s.main_hoop
    if hoop is None:
        return
    who = _driver(s)
    if who is None:
        yield Measure(subject=hoop.id, missing=NO_DRIVER)
        return
    z = float(who.shoulder[2])
    spots = hoop.path.at_height(z)
    if len(spots) >= 2:
        y = [float(p.point[1]) for p in spots]
        value = max(y) - min(y) + hoop.tube.od - who.body.shoulder_breadth
        evidence = Evidence.of(hoop.id, points=[p.point for p in spots])
        yield Measure(subject=hoop.id, value=value, evidence=evidence)


@quantity("harness_bar_drop", "mm", "harness bar below the shoulder")
def harness_bar_drop(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far the harness bar's axis lies below the top of each occupant's shoulder, level with the
    occupant's middle; negative when it is above.
    """
    bars = s.of_role("harness_bar")
    if not bars:
        return
    people, missing = _people(s, "harness_bar")
    yield from missing
    for who in people:
        y = float(who.shoulder[1])
        for m in bars:
            spots = m.path.crossings((0.0, y, 0.0), (0.0, 1.0, 0.0))
            if spots:
                p = spots[0].point
                value = float(who.shoulder[2] - p[2])
                evidence = Evidence.of(m.id, points=[who.shoulder, p])
                yield Measure(subject=f"{m.id}, {who.role}", value=value, evidence=evidence)


@quantity("side_bar_on_arm", "ratio", "door bar between elbow (0) and shoulder (1)")
def side_bar_on_arm(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Where the highest door bar passes the driver's upper arm on the door side: 0 at the height of
    the elbow joint, 1 at the top of the shoulder, taken halfway along the arm.
    """
    who = _driver(s)
    if who is None:
        if s.of_role("door_bar"):
            yield Measure(subject="door_bar", missing=NO_DRIVER)
        return
    elbow, shoulder = who.arms[who.door_side].middle, who.shoulders[who.door_side]
    x = float(elbow[0] + shoulder[0]) / 2
    best: tuple[float, Member, Vec] | None = None
    for m in s.of_role("door_bar"):
        if m.side != who.door_side:
            continue
        for spot in m.path.crossings((x, 0.0, 0.0), (1.0, 0.0, 0.0)):
            z = float(spot.point[2])
            if best is None or z > best[0]:
                best = z, m, spot.point
    if best is not None:
        value = (best[0] - float(elbow[2])) / float(shoulder[2] - elbow[2])
        evidence = Evidence.of(best[1].id, points=[best[2], elbow, shoulder])
        yield Measure(subject=best[1].id, value=value, evidence=evidence)


@quantity("hoop_gap_to_driver_door", "mm", "hoop to the driver's door")
def hoop_gap_to_driver_door(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Free gap between the main hoop's tube and the inner face of the driver's door or the belt
    line's metal, whichever is nearer the hoop.
    """
    hoop = s.main_hoop
    if hoop is None:
        return
    sheet = s.car.side(s.driver_side)
    z = sheet.hoop.height_belt
    spots = [p for p in hoop.path.at_height(z) if side_of(p.point) == s.driver_side]
    if spots:
        wall = sheet.hoop.half_width_belt
        if sheet.door is not None:
            wall = min(wall, sheet.door.y_trim)
        value = wall - abs(float(spots[0].point[1])) - hoop.tube.outer_radius
        evidence = Evidence.of(hoop.id, points=[spots[0].point])
        yield Measure(subject=hoop.id, value=value, evidence=evidence)


@quantity("helmet_in_cage_hull", "mm", "helmet below the roof members")
def helmet_in_cage_hull(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Height of the lowest roof member (halo, rails, header, hoops' tops, roof bars) above each
    occupant's helmet, surfaces of the tubes, over the helmet's own length and width.
    """
    roof = s.of_role("halo", "roof_rail", "header_bar", "roof_diagonal", "half_hoop", "front_hoop")
    if not roof:
        return
    people, missing = _people(s, "helmet")
    yield from missing
    for who in people:
        got = _lowest_over(roof, who)
        if got:
            value, m, point = got
            evidence = Evidence.of(m.id, points=[who.helmet_top, point])
            yield Measure(subject=f"{who.role} helmet", value=value, evidence=evidence)


def _lowest_over(roof: tuple[Member, ...], who: Occupant) -> tuple[float, Member, Vec] | None:
    """The lowest tube over the helmet's footprint grown by the tube: height, member, point."""
    axis = who.helmet.end - who.helmet.start
    length = float(np.linalg.norm(axis))
    way = unit(axis) if length > 1e-9 else np.array([1.0, 0.0, 0.0])
    best: tuple[float, Member, Vec] | None = None
    for m in roof:
        p = m.path.points(np.linspace(0.0, m.path.length, max(int(m.path.length / 6), 8)))
        w = p - who.helmet.start
        t = np.clip(w @ way, 0.0, length)
        off = w - np.multiply.outer(t, way)
        near = np.hypot(off[:, 0], off[:, 1]) <= who.helmet.radius + m.tube.outer_radius
        high = near & (p[:, 2] > float(who.eye[2]))
        if high.any():
            i = int(np.argmin(np.where(high, p[:, 2], np.inf)))
            z = float(p[i, 2]) - m.tube.outer_radius - float(who.helmet_top[2])
            if best is None or z < best[0]:
                best = z, m, p[i]
    return best

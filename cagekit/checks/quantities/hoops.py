"""Quantities of hoops: plane, lean, legs, feet, and the base structure they make."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from math import asin, degrees

import numpy as np

from cagekit.cage.member import EndKind, Member
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.quantity import LAYOUTS, Measure, Pick, quantity
from cagekit.checks.quantities.survey import SIDES, Survey, extreme, side_of
from cagekit.checks.quantities.ties import reached, ties_of
from cagekit.geometry.best_plane import best_plane
from cagekit.geometry.centre_line import Arc, CentreLine, Vec
from cagekit.units.tolerance import MICRON

LEVEL = degrees(asin(0.5))
"""A tube that climbs less than this (30 deg) runs along the roof, not up the pillar. Source:
windscreen pillars stand 30 to 45 degrees from the horizontal (from memory)."""


IN_PLANE = 100.0
"""A tube that stays this near (mm) to a hoop's plane does not hold it fore and aft."""


def hoop_plane(s: Survey, hoop: Member) -> tuple[Vec, Vec, float]:
    """Best plane through a hoop's corners: a point, its unit normal (forward), largest gap (mm)."""
    return s.cage.kept.once(("best plane", hoop), partial(best_plane, hoop.path))


@quantity("hoop_lean", "deg", "lean from the vertical")
def hoop_lean(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Angle between the vertical and the best plane through each picked hoop's centre line."""
    for m in s.pick(pick):
        if len(m.path.bends) < 2:
            continue
        _, normal, _ = hoop_plane(s, m)
        value = degrees(asin(min(abs(float(normal[2])), 1.0)))
        top = extreme(m.path, (0.0, 0.0, 1.0))[1]
        yield Measure(
            subject=m.id, value=value, evidence=Evidence.of(m.id, points=[m.path.start, top])
        )


@quantity("hoop_out_of_plane", "mm", "largest gap to its plane")
def hoop_out_of_plane(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Largest distance of each picked hoop's centre line from the best plane through it."""
    for m in s.pick(pick):
        if len(m.path.bends) >= 2:
            yield Measure(subject=m.id, value=hoop_plane(s, m)[2], evidence=Evidence.of(m.id))


@quantity("hoop_holders", "count", "tubes that hold it fore and aft")
def hoop_holders(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Tubes that tie each picked hoop, or what lies in its plane with it, to a place off the plane.

    One whose ends both lie within 100 mm of the plane holds nothing; 0 counts.
    """
    members, ties = s.cage.members, ties_of(s.cage)
    ends = np.array([(m.path.start, m.path.end) for m in members.values()])
    for hoop in s.pick(pick):
        point, normal, _ = hoop_plane(s, hoop)
        away = np.abs((ends - point) @ normal).max(axis=1) > IN_PLANE
        off = {id_ for id_, one in zip(members, away.tolist(), strict=True) if one}
        # beyond a tube of the car's own, which is firm ground, nothing holds the hoop
        met = reached(ties, hoop.id, past=(members.keys() - off).__contains__)
        holders = sorted(off.intersection(met))
        evidence = Evidence.of(hoop.id, *holders)
        yield Measure(subject=hoop.id, value=len(holders), evidence=evidence)


@quantity("leg_spacing", "mm", "free width between the legs")
def leg_spacing(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Free width between the legs of each picked hoop at their narrowest below half its height."""
    for m in s.pick(pick):
        legs = [s.leg(m, side) for side in SIDES]
        if legs[0] is None or legs[1] is None:
            continue
        low = max(float(m.path.start[2]), float(m.path.end[2]))
        top = extreme(m.path, (0.0, 0.0, 1.0))[0]
        widths = []
        for z in np.linspace(low + MICRON, low + 0.5 * (top - low), 40):
            spots = m.path.at_height(float(z))
            if len(spots) >= 2:
                y = [float(p.point[1]) for p in spots]
                widths.append(max(y) - min(y) - m.tube.od)
        if widths:
            yield Measure(subject=m.id, value=min(widths), evidence=Evidence.of(m.id))


@quantity("mountings_per_leg", "count", "mountings of the leg")
def mountings_per_leg(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Feet of each leg of the picked hoops: one per lower end that stands on the car; 0 counts."""
    for m in s.pick(pick):
        for name, _ in m.ends:
            if m.side in SIDES and m.path.end_point(name)[2] > m.path.end_point(_other(name))[2]:
                continue
            if m.end(name).kind is EndKind.PINNED:
                continue  # the rest of the leg is bolted on here
            feet = [f for f in s.feet if f.member is m and f.end == name]
            point = m.path.end_point(name)
            subject = m.id if m.side in SIDES else f"{m.id} {side_of(point)}"
            evidence = Evidence.of(m.id, points=[point])
            yield Measure(subject=subject, value=len(feet), evidence=evidence)


def _other(end: str) -> str:
    return "b" if end == "a" else "a"


@quantity("mounting_points", "count", "mounting points", feet=True)
def mounting_points(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Tube ends of the cage that stand on the car.

    On a plate, on sheet metal or on an outrigger.
    """
    feet = s.feet_of(pick)
    ids = dict.fromkeys(f.member.id for f in feet)
    points = [f.point for f in feet]
    yield Measure(subject="cage", value=len(feet), evidence=Evidence.of(*ids, points=points))


@quantity("base_layout", "text", "base structure", words=LAYOUTS)
def base_layout(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Which hoops carry the cage.

    'front_hoop' (main and front hoop), 'lateral_hoops', 'half_hoops', 'halo', 'roll_bar' or
    'none'.
    """
    yield Measure(subject="cage", value=s.layout)


@quantity("front_leg_bends", "count", "bends in the front leg")
def front_leg_bends(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bends in each front leg between its foot and the bend that leads into the roof."""
    for member, side, leg in front_legs(s, pick):
        bends = leg_bends(leg)
        points = [q.point(q.length / 2) for q in bends]
        evidence = Evidence.of(member.id, points=points)
        yield Measure(subject=_leg_name(member, side), value=len(bends), evidence=evidence)


def front_legs(s: Survey, pick: Pick) -> Iterator[tuple[Member, str, CentreLine]]:
    """Front legs of front hoop, half hoops and A-pillar bars: member, side, path from the foot."""
    for m in s.of_role("front_hoop", "half_hoop", "lateral_hoop", "a_pillar_bar"):
        for side in SIDES:
            leg = s.leg(m, side)
            if leg is None or pick.side not in ("", side):
                continue
            yield m, side, leg if m.role != "lateral_hoop" else _front_half(leg)


def _front_half(path: CentreLine) -> CentreLine:
    return path if path.start[0] >= path.end[0] else path.reversed()


def leg_bends(leg: CentreLine) -> tuple[Arc, ...]:
    """Bends of a front leg that are not the one into the roof: the tube still climbs after them."""
    out: list[Arc] = []
    for i, q in enumerate(leg.pieces):
        if not isinstance(q, Arc):
            continue
        t = q.tangent(q.length)
        if degrees(asin(min(max(float(t[2]), -1.0), 1.0))) < LEVEL and i < len(leg.pieces) - 1:
            break
        out.append(q)
    return tuple(out)


def leg_top(leg: CentreLine) -> Vec:
    """Upper end of a front leg: where the bend into the roof has its corner, or the tube's end."""
    for i, q in enumerate(leg.pieces):
        if isinstance(q, Arc) and i < len(leg.pieces) - 1:
            t = q.tangent(q.length)
            if degrees(asin(min(max(float(t[2]), -1.0), 1.0))) < LEVEL:
                tail = q.radius * np.tan(q.angle / 2)
                return np.asarray(q.start + tail * q.direction)
    return leg.end


def _leg_name(member: Member, side: str) -> str:
    return member.id if member.side in SIDES else f"{member.id} {side}"


@quantity("half_hoop_drop", "mm", "junction below the main hoop's top")
def half_hoop_drop(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far below the top of the main hoop's centre line each half hoop meets it."""
    hoop = s.main_hoop
    if hoop is None:
        return
    top = extreme(hoop.path, (0.0, 0.0, 1.0))[0]
    for m in s.of_role("half_hoop"):
        rear = min((m.path.start, m.path.end), key=lambda p: float(p[0]))
        evidence = Evidence.of(m.id, hoop.id, points=[rear])
        yield Measure(subject=m.id, value=top - float(rear[2]), evidence=evidence)


@quantity("hoop_share_over_door", "ratio", "hoop width kept above the door")
def hoop_share_over_door(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Width of the main hoop's straight top over its width at the belt line, outside to outside."""
    hoop = s.main_hoop
    if hoop is None:
        return
    belt = s.car.left.hoop.belt
    spots = hoop.path.at_height(belt[1]) if belt is not None else []
    if len(spots) < 2:
        return
    y = [float(p.point[1]) for p in spots]
    width = max(y) - min(y) + hoop.tube.od
    top = extreme(hoop.path, (0.0, 0.0, 1.0))[0]
    high = [float(p.point[1]) for p in hoop.path.at_height(top - hoop.tube.od)]
    value = (max(high) - min(high) + hoop.tube.od) / width if len(high) >= 2 else 0.0
    yield Measure(subject=hoop.id, value=value, evidence=Evidence.of(hoop.id))


@quantity("hoop_gap_to_shell", "mm", "gap from hoop to shell")
def hoop_gap_to_shell(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Free gap from the main hoop's surface to the narrowest metal at the belt line, each side."""
    hoop = s.main_hoop
    if hoop is None:
        return
    for side in SIDES:
        belt = s.car.side(side).hoop.belt
        if belt is None:
            continue
        spots = [p for p in hoop.path.at_height(belt[1]) if side_of(p.point) == side]
        if spots:
            p = spots[0].point
            value = belt[0] - abs(float(p[1])) - hoop.tube.outer_radius
            evidence = Evidence.of(hoop.id, points=[p])
            yield Measure(subject=f"{hoop.id} {side}", value=value, evidence=evidence)


@quantity("hoop_roof_gap", "mm", "gap from hoop to roof")
def hoop_roof_gap(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Free gap between the top of the main hoop's tube and the inside of the roof skin."""
    hoop = s.main_hoop
    if hoop is None:
        return
    if s.car.roof is None:
        if s.car.body == "closed":
            yield Measure(subject=hoop.id, missing="`[roof]` in the car sheet")
        return
    top, point = extreme(hoop.path, (0.0, 0.0, 1.0))
    value = s.car.roof.height_at_hoop - top - hoop.tube.outer_radius
    yield Measure(subject=hoop.id, value=value, evidence=Evidence.of(hoop.id, points=[point]))

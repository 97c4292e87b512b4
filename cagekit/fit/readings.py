"""What is measured between a person and the cage, one function each.

Every function takes the cockpit and one occupant and returns a ``Reading``; lengths in mm,
angles in rad, tube surfaces with their padding.
"""

from __future__ import annotations

from math import atan2

import numpy as np

from cagekit.cage.kept import Same
from cagekit.cage.member import Member
from cagekit.fit.cockpit import Cockpit, Reading, bearing
from cagekit.fit.tubes import TubeRoom
from cagekit.geometry.centre_line import Spot, Vec, unit, vec
from cagekit.names import named
from cagekit.people.posture import Occupant, moved

ACROSS = vec((0.0, 1.0, 0.0))
NO_HOOP = "the cage has no main hoop"
NO_MEMBERS = "the cage has no members"


def _of(gap: TubeRoom, note: str) -> Reading:
    where = bearing(gap.direction)
    return Reading(
        value=gap.gap,
        members=(gap.member,),
        points=(gap.on_solid, gap.on_tube),
        note=f"{note}, tube {where}" if note else f"tube {where}",
    )


def helmet_to_bar(cockpit: Cockpit, who: Occupant) -> dict[str, Reading]:
    """Room from the helmet's surface to every bar, mm, by member id."""
    rooms = cockpit.gaps(who, "helmet")
    keys = [("reading", Same(gap)) for gap in rooms.values()]
    found = list(rooms.values())
    read = cockpit.kept.each(keys, lambda missing: [_of(found[i], "") for i in missing])
    return dict(zip(rooms, read, strict=True))


def helmet_to_nearest(cockpit: Cockpit, who: Occupant) -> Reading:
    """Room from the helmet's surface to the nearest bar or its padding, mm."""
    best = cockpit.closest(who, ["helmet"])
    return Reading(value=None, absent=NO_MEMBERS) if best is None else _of(best[1], "")


def reach(cockpit: Cockpit, who: Occupant) -> Reading:
    """How far the worst hand or foot is short of wheel or pedal, mm."""
    if not who.short:
        return Reading(value=0.0)
    worst = max(who.short, key=lambda k: (who.short[k], k))
    return Reading(value=who.short[worst], note=worst)


def helmet_to_hoop(cockpit: Cockpit, who: Occupant) -> Reading:
    """Room from the helmet's surface to the main hoop, mm."""
    best = cockpit.closest(who, ["helmet"], roles=["main_hoop"])
    return Reading(value=None, absent=NO_HOOP) if best is None else _of(best[1], "")


def hoop_over_helmet(cockpit: Cockpit, who: Occupant) -> Reading:
    """Top of the main hoop above the top of the helmet, in the helmet's own plane Y, mm."""
    top = who.helmet_top
    spots = cockpit.crossing(cockpit.with_role("main_hoop"), top, ACROSS)
    if not spots:
        return Reading(value=None, absent=NO_HOOP)
    member, spot = max(spots, key=lambda row: float(row[1].point[2]))
    high = moved(spot.point, dz=_rise(member, spot))
    return Reading(value=float(high[2] - top[2]), members=(member.id,), points=(vec(top), high))


def helmet_ahead_of_hoop(cockpit: Cockpit, who: Occupant) -> Reading:
    """Back of the helmet ahead of the main hoop's front surface at the helmet's height, mm."""
    middle = who.helmet.start
    spots = cockpit.crossing(cockpit.with_role("main_hoop"), middle, vec((0, 0, 1)))
    if not spots:
        return Reading(value=None, absent=NO_HOOP)
    member, spot = max(spots, key=lambda row: float(row[1].point[0]))
    back = moved(who.helmet.start, dx=-who.helmet.radius)
    front = float(spot.point[0]) + member.tube.outer_radius
    return Reading(value=float(back[0]) - front, members=(member.id,), points=(back, spot.point))


def _rise(member: Member, spot: Spot) -> float:
    """How far the tube's surface is above its axis, straight up, at a spot, mm."""
    level = float(np.hypot(spot.tangent[0], spot.tangent[1]))
    return member.tube.outer_radius / max(level, 0.2)


def helmet_line(cockpit: Cockpit, who: Occupant) -> Reading:
    """Top of the helmet below the line from the main hoop's top to the front hoop's or halo's.

    In the helmet's plane Y; for a cage with nothing in front the dash's top edge ends the line.
    """
    top = who.helmet_top
    back = cockpit.crossing(cockpit.with_role("main_hoop"), top, ACROSS)
    roles = ("front_hoop", "halo", "header_bar", "half_hoop")
    front = cockpit.crossing(cockpit.with_role(*roles), top, ACROSS)
    front = [r for r in front if float(r[1].point[0]) > float(top[0])]
    if not back:
        return Reading(value=None, absent=NO_HOOP)
    hoop, rear = max(back, key=lambda row: float(row[1].point[2]))
    a = moved(rear.point, dz=_rise(hoop, rear))
    members: tuple[str, ...] = (hoop.id,)
    if front:
        bar, ahead = max(front, key=lambda row: float(row[1].point[2]))
        b = moved(ahead.point, dz=_rise(bar, ahead))
        members = (hoop.id, bar.id)
    elif cockpit.car.dash is not None:
        b = np.array([cockpit.car.dash.cowl_x, top[1], cockpit.car.dash.cowl_z])
    else:
        return Reading(value=None, members=members, missing="the car sheet has no [dash]")
    share = float((top[0] - a[0]) / (b[0] - a[0]))
    line = a + share * (b - a)
    return Reading(
        value=float(line[2] - top[2]), members=members, points=(vec(top), vec(line), vec(a), vec(b))
    )


def harness_drop(cockpit: Cockpit, who: Occupant) -> Reading:
    """Top of the harness bar below the shoulder, at the middle of the person, mm."""
    bar = _harness(cockpit, who)
    if bar is None:
        return Reading(value=None, absent="the cage has no harness bar behind this seat")
    member, _, top = bar
    return Reading(
        value=float(who.shoulder[2] - top[2]), members=(member.id,), points=(who.shoulder, top)
    )


def belt_angle(cockpit: Cockpit, who: Occupant) -> Reading:
    """Angle of the shoulder belts below level from shoulder to harness bar, rad.

    Positive when the belt runs down towards the bar; the belt is taken over the top of the bar.
    """
    bar = _harness(cockpit, who)
    if bar is None:
        return Reading(value=None, absent="the cage has no harness bar behind this seat")
    member, _, top = bar
    way = who.shoulder - top
    return Reading(
        value=atan2(float(way[2]), float(way[0])), members=(member.id,), points=(who.shoulder, top)
    )


def _harness(cockpit: Cockpit, who: Occupant) -> tuple[Member, Spot, Vec] | None:
    """The harness bar behind this person: member, spot on its axis, top of the tube there."""
    spots = cockpit.crossing(cockpit.with_role("harness_bar"), who.hip, ACROSS)
    spots = [row for row in spots if float(row[1].point[0]) < float(who.shoulder[0])]
    if not spots:
        return None
    member, spot = max(spots, key=lambda row: float(row[1].point[2]))
    return member, spot, moved(spot.point, dz=_rise(member, spot))


def door_bars(cockpit: Cockpit, who: Occupant) -> tuple[Member, ...]:
    """Door bars on this person's side."""
    sign = 1.0 if who.door_side == "left" else -1.0
    return tuple(m for m in cockpit.with_role("door_bar") if sign * float(m.path.start[1]) > 0)


def door_bar_share(cockpit: Cockpit, who: Occupant) -> Reading:
    """Where the door bar crosses the upper arm in side view: 0 at the shoulder, 1 at the elbow.

    The arm hangs down along the torso, unless the elbow was measured in the car. Of several bars
    the one that crosses nearest to the middle counts.
    """
    bars = door_bars(cockpit, who)
    if not bars:
        return Reading(value=None, absent=f"no door bar on the {who.door_side}")
    shoulder, elbow = who.shoulders[who.door_side], who.elbows_at_rest[who.door_side]
    arm = elbow - shoulder
    flat = np.array([arm[0], 0.0, arm[2]])
    normal = np.cross(unit(flat), ACROSS)
    found = [
        (float((s.point - shoulder) @ flat / (flat @ flat)), m, s)
        for m, s in cockpit.crossing(bars, shoulder, vec(normal))
    ]
    if not found:
        return Reading(value=None, absent="no door bar passes the driver's arm in side view")
    share, member, spot = min(found, key=lambda row: (round(abs(row[0] - 0.5), 9), row[1].id))
    return Reading(value=share, members=(member.id,), points=(shoulder, elbow, spot.point))


def shoulder_to_hoop(cockpit: Cockpit, who: Occupant) -> Reading:
    """Inside of the main hoop outboard of the shoulder at shoulder height, mm.

    Negative: the hoop is narrower than the shoulders on that side.
    """
    sign = 1.0 if who.door_side == "left" else -1.0
    level = cockpit.crossing(cockpit.with_role("main_hoop"), who.shoulder, vec((0, 0, 1)))
    spots = [row for row in level if sign * float(row[1].point[1]) > 0]
    if not spots:
        return _hoop_ends_below(cockpit, who)
    member, spot = max(spots, key=lambda row: sign * float(row[1].point[1]))
    upright = float(np.hypot(spot.tangent[0], spot.tangent[2]))
    inner = sign * float(spot.point[1]) - member.tube.outer_radius / max(upright, 0.2)
    outer = sign * float(who.hip[1]) + who.body.shoulder_breadth / 2
    points = (
        vec((who.shoulder[0], sign * outer, who.shoulder[2])),
        vec((spot.point[0], sign * inner, spot.point[2])),
    )
    return Reading(value=inner - outer, members=(member.id,), points=points)


def _hoop_ends_below(cockpit: Cockpit, who: Occupant) -> Reading:
    """A hoop that does not reach the shoulder: by how much its top is below it, negative, mm."""
    hoops = cockpit.with_role("main_hoop")
    if not hoops:
        return Reading(value=None, absent=NO_HOOP)
    member = hoops[0]
    points = member.path.points(np.linspace(0.0, member.path.length, 400))
    top = points[int(np.argmax(points[:, 2]))]
    value = float(top[2]) + member.tube.outer_radius - float(who.shoulder[2])
    note = "the hoop ends below the shoulder"
    return Reading(
        value=min(value, 0.0), members=(member.id,), points=(who.shoulder, vec(top)), note=note
    )


ROOM: dict[str, tuple[str, ...]] = {
    "elbow": ("upper arm", "forearm"),
    "knee": ("knee", "thigh", "shin"),
    "foot": ("foot",),
}
"""Parts of each side that a named room is measured at."""


def room(cockpit: Cockpit, who: Occupant, name: str) -> Reading:
    """Least room, mm, between a pair of limbs (a key of ``ROOM``) and any bar.

    Args:
        cockpit: car, people and tubes.
        who: the person.
        name: of the pair.
    """
    parts = [f"{side} {part}" for side in ("left", "right") for part in ROOM[name]]
    best = cockpit.closest(who, parts)
    if best is None:
        return Reading(value=None, absent=NO_MEMBERS)
    return _of(best[1], best[0])


def torso_room(cockpit: Cockpit, who: Occupant) -> Reading:
    """Least room between chest, neck or hips and any bar, mm."""
    best = cockpit.closest(who, ["chest", "neck", "hips"])
    if best is None:
        return Reading(value=None, absent=NO_MEMBERS)
    return _of(best[1], best[0])


DASH_ROLES = ("dash_bar",)
PILLAR_ROLES = ("a_pillar_bar", "front_hoop", "half_hoop", "windscreen_brace")


def wheel_room(cockpit: Cockpit, who: Occupant, roles: tuple[str, ...]) -> Reading:
    """Knuckle room: from gloved fists anywhere on the wheel's rim to bars of ``roles``, mm.

    Args:
        cockpit: car, people and tubes.
        who: the person.
        roles: of the bars.
    """
    if not who.at_wheel:
        return Reading(value=None, absent="this person has no wheel")
    best = cockpit.closest(who, ["hands on the wheel"], roles=roles)
    if best is None:
        names = " or ".join(named(r) for r in roles)
        return Reading(value=None, absent=f"the cage has no {names}")
    return _of(best[1], "knuckles")


def seat_room(cockpit: Cockpit, who: Occupant) -> Reading:
    """Least room between the seat's shell, up to the shoulders, and any bar, mm."""
    best = cockpit.closest(who, ["seat back"])
    if best is None:
        return Reading(value=None, absent=NO_MEMBERS)
    return _of(best[1], best[0])


def head_rest_room(cockpit: Cockpit, who: Occupant) -> Reading:
    """Least room between what of the seat stands above the shoulders and any bar, mm."""
    if who.back_height is None:
        return Reading(value=None, missing="back_height of the seat, its head rest included")
    if who.head_rest is None:
        return Reading(value=None, absent="the seat ends at the shoulders")
    best = cockpit.closest(who, ["head rest"])
    if best is None:
        return Reading(value=None, absent=NO_MEMBERS)
    return _of(best[1], best[0])

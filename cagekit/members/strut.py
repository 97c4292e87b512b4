"""Struts: straight tubes between two places, and the usual places of each kind."""

from __future__ import annotations

from collections.abc import Sequence

from cagekit.cage.member import Member, Side
from cagekit.cage.places import Place
from cagekit.errors import GeometryError, InputError
from cagekit.geometry.centre_line import CentreLine, Vec, vec
from cagekit.inputs.entries import (
    DashBarEntry,
    DashBarForm,
    MemberEntry,
    OutriggerEntry,
    RockerBraceEntry,
    StrutEntry,
    WindscreenBraceEntry,
)
from cagekit.inputs.member_kinds import FRONT_LEG, MEMBER_KINDS, RowPlace
from cagekit.inputs.places import Location, OnCar, OnTube, filled
from cagekit.members.site import Site, crossing

SIDES = ("left", "right")
BACK = vec((-1.0, 0.0, 0.0))
"""Towards the rear of the car."""
BEHIND_CORNER = 140.0
"""Upper node of a windscreen-pillar brace behind the middle of the front bend, mm (from memory)."""
ALONG_RAIL = 80.0
"""The same on a roof rail, from its front end, mm (from memory)."""
ABOVE_FOOT = 60.0
"""Lowest node on a leg above its foot, mm: clear of the foot's weld (from memory)."""
SET_BACK_TOL = 0.5
"""A dash bar set back by less than this (mm) is straight."""
BEND_SHARE = 0.2
"""Bends of a dash bar that is set back, from each node over its length."""


def between(
    site: Site,
    entry: StrutEntry,
    role: str,
    start: Location,
    end: Location,
    *,
    side: Side | None = None,
) -> list[Member]:
    """Make a strut between the entry's places, or these usual ones where it names none.

    Args:
        site: where it is made.
        entry: what it is made from.
        role: its role, when the entry names none.
        start: the usual place of end a.
        end: the usual place of end b.
        side: the leg of an entry that makes one on each side; named after it.
    """
    a = site.place(entry, entry.from_ or start, "from")
    b = site.place(entry, entry.to or end, "to")
    bar = f"{entry.id}_{side}" if side else entry.id
    return site.struts(entry, role, a, b, bar=bar, side=side)


def second(
    site: Site,
    entry: StrutEntry,
    role: str,
    word: str,
    ends: tuple[Location, Location],
    split_by: Sequence[str] = (),
) -> list[Member]:
    """Make the other bar of an entry that makes two; the entry's own places are of the first.

    Args:
        site: where it is made.
        entry: what both are made from.
        role: their role, when the entry names none.
        word: what tells it from the first, ``cross`` or ``lower``.
        ends: its places.
        split_by: members that run through, besides those that the entry names.
    """
    a, b = site.place(entry, ends[0], "from"), site.place(entry, ends[1], "to")
    return site.struts(entry, role, a, b, bar=f"{entry.id}_{word}", split_by=split_by)


def crossed(
    site: Site,
    entry: StrutEntry,
    role: str,
    first: tuple[Location, Location],
    other: tuple[Location, Location],
) -> list[Member]:
    """Make two struts that cross: the second is cut and coped to the first.

    Args:
        site: the build and the members made so far.
        entry: what the file says.
        role: of both.
        first: places of the one that runs through.
        other: of the one that is cut.
    """
    made = between(site, entry, role, *first)
    site.add(made)
    return made + second(site, entry, role, "cross", other, (entry.id,))


def crossed_bent(
    site: Site,
    entry: StrutEntry,
    role: str,
    first: tuple[Location, Location],
    other: tuple[Location, Location],
    move: Vec,
) -> list[Member]:
    """Make two struts that cross in a bend of the first; the halves of the second meet it there.

    Args:
        site: the build and the members made so far.
        entry: what the file says.
        role: of both.
        first: places of the one that runs through, with one bend.
        other: of the one that is cut.
        move: from where straight struts would cross to the corner of the bend, ``(3,)`` mm.
    """
    a, b = (
        site.place(entry, own or usual, field)
        for own, usual, field in zip((entry.from_, entry.to), first, ("from", "to"), strict=True)
    )
    low, high = (site.place(entry, p, f) for p, f in zip(other, ("from", "to"), strict=True))
    corner = crossing(CentreLine.straight(a.point, b.point), low.point, high.point) + move
    made = site.struts(entry, role, a, b, via=[vec(corner)])
    site.add(made)
    node = Place(point=made[0].path.nearest(corner).point, members=(made[0].id,))
    stops = [low, node, high]
    return made + site.cut_bar(entry, entry.role or role, stops, bar=f"{entry.id}_cross")


def hoop(site: Site, side: str = "") -> OnTube:
    """The main hoop, or one side of it."""
    return site.tube_of("main_hoop", side)


def front_leg(site: Site, entry: MemberEntry, side: str) -> OnTube:
    """The member that stands at the front on this side."""
    return site.first(entry.id, "a_pillar_bar", "half_hoop", "front_hoop", side=side)[1]


def above_foot(site: Site, entry: MemberEntry, side: str, foot: str) -> float:
    """Height of the lowest node on the leg that stands on a foot, mm.

    Args:
        site: the build and the members made so far.
        entry: what hangs there.
        side: ``left`` or ``right``.
        foot: its name on the car sheet.
    """
    return float(site.foot(side, foot, owner=entry.id).point[2]) + ABOVE_FOOT


def make_strut(site: Site, entry: StrutEntry) -> list[Member]:
    """Make a free strut; both places must be given.

    Raises:
        InputError: a place is missing.
    """
    if entry.from_ is None or entry.to is None:
        raise InputError(
            site.where(entry, "from" if entry.from_ is None else "to"),
            problem="a free strut needs both places.",
            hint="e.g. `on main_hoop.left at height 450`.",
        )
    return between(site, entry, "strut", entry.from_, entry.to)


def make_row(site: Site, entry: StrutEntry) -> list[Member]:
    """Make a strut that needs no code: between the two places of its row."""
    if entry.from_ and entry.to:
        return between(site, entry, entry.kind, entry.from_, entry.to)
    start, end = (_row_place(site, entry, place) for place in MEMBER_KINDS[entry.kind].places)
    return between(site, entry, entry.kind, start, end)


def _row_place(site: Site, entry: StrutEntry, place: RowPlace) -> Location:
    """The place of a row on the entry's side, its numbers from the entry's fields."""
    side = filled(place.side, str(entry.side))
    if place.car:
        return OnCar(side=side, spot=place.car)
    value, by = (
        float(getattr(entry, n)) if isinstance(n, str) else n for n in (place.value, place.by)
    )
    if place.tube == FRONT_LEG:
        tube = getattr(entry, "front_member", None) or front_leg(site, entry, side)
    else:
        tube = site.tube_of(place.tube, side)
    return tube.spot(place.at, value, place.move, by)


def make_windscreen_brace(site: Site, entry: WindscreenBraceEntry) -> list[Member]:
    """Make a windscreen-pillar brace from the rail behind the front corner to the lower leg."""
    if entry.from_ and entry.to:
        return between(site, entry, "windscreen_brace", entry.from_, entry.to)
    side = str(entry.side)
    kind, holder = site.first(entry.id, "halo", "roof_rail", "half_hoop", side=side)
    start = holder.spot("front bend", move="back", by=BEHIND_CORNER)
    if kind == "roof_rail":
        start = holder.spot("station", ALONG_RAIL)
    low = above_foot(site, entry, side, "front_foot") if entry.low is None else entry.low
    end = front_leg(site, entry, side).spot("height", low)
    return between(site, entry, "windscreen_brace", start, end)


def make_dash_bar(site: Site, entry: DashBarEntry) -> list[Member]:
    """Make a dash bar across the front legs, tucked under the top of the dash.

    Raises:
        InputError: neither entry nor car sheet tells the height.
    """
    if entry.from_ and entry.to:
        return _dash_bar(site, entry, entry.from_, entry.to)
    height = entry.height
    if height is None:
        dash = site.car.dash
        if dash is None:
            raise InputError(
                site.where(entry, "height"),
                problem="the car sheet has no dash to take it from.",
                hint="Give the bar's height.",
            )
        height = dash.top_z - site.tube(entry, "dash_bar").od
    ends = [
        (entry.member.for_side(side) if entry.member else front_leg(site, entry, side)).spot(
            "height", height
        )
        for side in SIDES
    ]
    return _dash_bar(site, entry, ends[0], ends[1])


def _dash_bar(site: Site, entry: DashBarEntry, start: Location, end: Location) -> list[Member]:
    """The bar between these usual places, its middle set back."""
    a = site.place(entry, entry.from_ or start, "from")
    b = site.place(entry, entry.to or end, "to")
    via = None if entry.via else set_back_corners(entry, a.point, b.point, BACK)
    return site.struts(entry, "dash_bar", a, b, via=via)


def set_back_corners(form: DashBarForm, a: Vec, b: Vec, back: Vec) -> list[Vec]:
    """Corners of a dash bar between its nodes, ``(3,)`` mm each; none of a straight one.

    Args:
        form: how the bar is made.
        a: left node.
        b: right node.
        back: which way is back, a unit vector.
    """
    if abs(form.set_back) <= SET_BACK_TOL:
        return []
    shares = (BEND_SHARE, 1 - BEND_SHARE)
    return [vec(a + share * (b - a) + form.set_back * back) for share in shares]


def make_outrigger(site: Site, entry: OutriggerEntry) -> list[Member]:
    """Make an outrigger: a level tube under the main foot, from tunnel or frame out to the sill."""
    usual = [None, None] if entry.from_ and entry.to else _outrigger_ends(site, entry)
    a, b = (
        site.place(entry, own, field) if own else place
        for own, field, place in zip((entry.from_, entry.to), ("from", "to"), usual, strict=True)
    )
    assert a is not None
    assert b is not None
    return site.struts(entry, "outrigger", a, b)


def _outrigger_ends(site: Site, entry: OutriggerEntry) -> list[Place]:
    """The usual ends of an outrigger, inner first."""
    side = str(entry.side)
    sign = 1.0 if side == "left" else -1.0
    car = site.car
    foot = site.places.car_foot(side, "main_foot", where=site.where(entry, "id"))
    inner = (
        entry.inner_y
        if entry.inner_y is not None
        else (car.tunnel.half(side) if car.tunnel else None)
    )
    if inner is None:
        raise InputError(
            site.where(entry, "inner_y"),
            problem="the car sheet has no tunnel to start from.",
            hint="Give inner_y.",
        )
    outer = entry.outer_y if entry.outer_y is not None else car.side(side).sill_top_y[0]
    if not inner < abs(float(foot.point[1])) < outer:
        raise GeometryError(
            entry.id,
            f"must pass under the foot at y {abs(float(foot.point[1])):.0f} mm, but runs from "
            f"{inner:.0f} to {outer:.0f} mm.",
            "Change inner_y or outer_y.",
        )
    z = float(foot.point[2]) - entry.below - site.tube(entry, "outrigger").od / 2
    x = float(foot.point[0])
    places = [
        Place(
            point=vec((x, sign * y, z)),
            normal=vec((0.0, n * sign, 0.0)),
            foot=f"{side}.outrigger_{name}",
            surface="frame",
        )
        for y, n, name in ((inner, 1.0, "inner"), (outer, -1.0, "outer"))
    ]
    return [site.on_plate(p) for p in places]


def make_rocker_brace(site: Site, entry: RockerBraceEntry) -> list[Member]:
    """Make a rocker brace from the main hoop's leg down and forward to the top of the sill."""
    side = str(entry.side)
    sign = 1.0 if side == "left" else -1.0
    start = site.place(entry, entry.from_ or hoop(site, side).spot("height", entry.height), "from")
    if entry.to:
        return site.struts(entry, "rocker_brace", start, site.place(entry, entry.to, "to"))
    inner, outer = site.car.side(side).sill_top_y
    end = Place(
        point=vec((float(start.point[0]) + entry.forward, sign * (inner + outer) / 2, 0.0)),
        normal=vec((0.0, 0.0, 1.0)),
        foot=f"{side}.rocker",
        surface="frame",  # the top of the sill is no floor sheet
    )
    return site.struts(entry, "rocker_brace", start, site.on_plate(end))


def spot_along(member: Member, from_end: str, distance: float) -> Place:
    """Place ``distance`` mm along a member from one of its ends.

    Args:
        member: the tube.
        from_end: ``a`` or ``b``.
        distance: mm.
    """
    path = member.path
    spot = path.spot(distance if from_end == "a" else path.length - distance)
    return Place(point=spot.point, members=(member.id,), spot=spot)

"""Members that follow roof and windscreen: halo, front hoop, half hoop, A-pillar bar."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cagekit.cage.member import Member
from cagekit.cage.places import Place
from cagekit.errors import InputError
from cagekit.geometry.centre_line import Vec, unit, vec
from cagekit.inputs.entries import (
    FrontHoopEntry,
    HalfHoopEntry,
    HaloEntry,
    HaloForm,
    PillarBarEntry,
    PillarBarForm,
)
from cagekit.inputs.places import OnTube
from cagekit.members.main_hoop import leg_corners
from cagekit.members.site import Site

SIDES = ("left", "right")

BEHIND_BEND = 60.0
"""Upper node of an A-pillar bar behind the middle of the halo's front bend, mm: outside of the
bend, where it gains room at the wheel (common practice)."""


def make_halo(site: Site, entry: HaloEntry) -> list[Member]:
    """Make the halo: main hoop, rail, header, rail, main hoop."""
    tube = site.tube(entry, "halo")
    inset = entry.gap + tube.od / 2
    nodes = [hoop_node(site, entry, side) for side in SIDES]
    corners = [roof_corner(site, entry.id, side, inset) for side in SIDES]
    points = halo_points(entry, [n.point for n in nodes], corners)
    return [site.member(entry, "halo", points, *nodes)]


def halo_points(form: HaloForm, nodes: Sequence[Vec], corners: Sequence[Vec]) -> list[Vec]:
    """Corners of a halo from its left node round to its right one, ``(3,)`` mm each.

    Args:
        form: how the halo is made.
        nodes: left and right node on the legs.
        corners: left and right corner of the front bends.
    """
    rails = [
        [node, *_bow(node, corner, form.rail_bow), corner]
        for node, corner in zip(nodes, corners, strict=True)
    ]
    return [*rails[0], *reversed(rails[1])]


def make_front_hoop(site: Site, entry: FrontHoopEntry) -> list[Member]:
    """Make the front hoop: foot, pillar base, roof corner, and down the other side."""
    inset = entry.gap + site.tube(entry, "front_hoop").od / 2
    feet = [site.foot(side, "front_foot", owner=entry.id) for side in SIDES]
    legs = [
        (
            feet[i].point,
            pillar_base(site, entry.id, side, inset),
            roof_corner(site, entry.id, side, inset),
        )
        for i, side in enumerate(SIDES)
    ]
    return [site.member(entry, "front_hoop", front_hoop_points(*legs), *feet)]


def front_hoop_points(*legs: tuple[Vec, Vec, Vec]) -> list[Vec]:
    """Corners of a front hoop from left foot to right foot, ``(3,)`` mm each.

    Args:
        *legs: left and right: axis at the foot, at the pillar's base, corner of the top bend.
    """
    left, right = (leg_corners(*leg) for leg in legs)
    return [*left, *reversed(right)]


def make_half_hoop(site: Site, entry: HalfHoopEntry) -> list[Member]:
    """Make a half hoop: foot, pillar base, roof corner, and back to the main hoop."""
    side = str(entry.side)
    inset = entry.gap + site.tube(entry, "half_hoop").od / 2
    foot = site.foot(side, "front_foot", owner=entry.id)
    node = hoop_node(site, entry, side)
    base = pillar_base(site, entry.id, side, inset)
    corner = roof_corner(site, entry.id, side, inset)
    points = half_hoop_points(foot.point, base, corner, node.point)
    return [site.member(entry, "half_hoop", points, foot, node)]


def half_hoop_points(foot: Vec, base: Vec, corner: Vec, node: Vec) -> list[Vec]:
    """Corners of a half hoop from its foot to the main hoop, ``(3,)`` mm each.

    Args:
        foot: axis at the foot.
        base: corner of the bend at the pillar's base.
        corner: of the bend at the roof's front corner.
        node: on the main hoop.
    """
    return [foot, base, corner, node]


def make_a_pillar_bar(site: Site, entry: PillarBarEntry) -> list[Member]:
    """Make an A-pillar bar: upper node, along the pillar, bend at its base, down to the foot."""
    side = str(entry.side)
    inset = entry.gap + site.tube(entry, "a_pillar_bar").od / 2
    top = site.place(entry, entry.top or _pillar_top(site, entry.id, side), "top")
    foot = site.foot(side, "front_foot", owner=entry.id)
    knee = np.array(pillar_base(site, entry.id, side, inset))
    if entry.knee_height is not None:
        rise = entry.knee_height - knee[2]
        slope = top.point - knee
        knee = knee + slope * (rise / slope[2])
    sign = 1.0 if side == "left" else -1.0
    points = pillar_points(entry, top.point, knee, foot.point, sign)
    return [site.member(entry, "a_pillar_bar", points, top, foot)]


def _pillar_top(site: Site, owner: str, side: str) -> OnTube:
    """Where the upper node of an A-pillar bar usually is."""
    kind, holder = site.first(owner, "halo", "front_hoop", "header_bar", side=side)
    if kind == "header_bar":
        return site.tube_of("half_hoop", side, ahead=True).spot("top bend")
    return holder.spot("front bend", move="back", by=BEHIND_BEND)


def pillar_points(form: PillarBarForm, top: Vec, knee: Vec, foot: Vec, sign: float) -> list[Vec]:
    """Corners of an A-pillar bar from its upper node to its foot, ``(3,)`` mm each.

    Args:
        form: how the bar is made.
        top: upper node.
        knee: corner of the bend in the line of the pillar.
        foot: axis at the foot.
        sign: 1 on the left, -1 on the right.
    """
    return [top, vec((knee[0], knee[1] + sign * form.outboard, knee[2])), foot]


def hoop_node(site: Site, entry: HaloEntry | HalfHoopEntry, side: str) -> Place:
    """Node on the main hoop ``drop`` mm below the middle of its top bend, along the tube.

    In the bend or beside it, where a roof member stands in line with the rear brace behind
    (common practice).

    Args:
        site: the build and the members made so far.
        entry: what the file says.
        side: ``left`` or ``right``.
    """
    spot = site.tube_of("main_hoop", side).spot("top bend", move="down", by=entry.drop)
    return site.place(entry, spot, "drop")


def roof_corner(site: Site, owner: str, side: str, inset: float) -> Vec:
    """Axis of a tube tucked into the roof's front corner, ``inset`` from header, rail and skin.

    Args:
        site: the build and the members made so far.
        owner: what a message names.
        side: ``left`` or ``right``.
        inset: mm from header, rail and skin to the axis.

    Raises:
        InputError: the corner is not measured.
    """
    corner = site.car.side(side).roof_corner
    if corner is None:
        raise InputError(
            f"car {site.car.name}",
            f"{side}.roof_corner",
            problem=f"{owner} needs it.",
            hint="Measure the inside of the roof's front corner.",
        )
    sign = 1.0 if side == "left" else -1.0
    x, y, z = corner
    return vec((x - inset, sign * (y - inset), z - inset))


def pillar_base(site: Site, owner: str, side: str, inset: float) -> Vec:
    """Axis of a tube at the base of the pillar, ``inset`` inboard of and square to its line.

    Args:
        site: the build and the members made so far.
        owner: what a message names.
        side: ``left`` or ``right``.
        inset: mm from the inner face to the axis.

    Raises:
        InputError: the pillar is not measured.
    """
    pillar = site.car.side(side).pillar
    if pillar is None:
        raise InputError(
            f"car {site.car.name}",
            f"{side}.pillar",
            problem=f"{owner} needs it.",
            hint="Measure top and base of the windscreen pillar.",
        )
    sign = 1.0 if side == "left" else -1.0
    x, y, z = pillar.base
    line = unit(np.subtract(pillar.top, pillar.base))
    inward = np.array([0.0, -1.0, 0.0]) - (-line[1]) * line
    at = np.array([x, y, z]) + inset * unit(inward)
    return vec((at[0], sign * at[1], at[2]))


def _bow(node: Vec, corner: Vec, bow: float) -> list[Vec]:
    """A corner half way along the rail that stands ``bow`` mm outboard of the straight."""
    if bow <= 0:
        return []
    mid = (node + corner) / 2
    mid[1] += bow * np.sign(mid[1])
    return [vec(mid)]

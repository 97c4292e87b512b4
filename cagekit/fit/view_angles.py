"""How much of the driver's sight the cage takes beyond what the car takes.

Measured like the pillar obstruction of UN R125: on two directions of sight, 2 degrees up and 5
degrees down, the azimuths hidden from both eyes (plane angles from memory). A pillar is what stands
ahead of the eyes: steel beside and behind them hides none.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import partial
from math import inf, pi, radians

import numpy as np
from msgspec import Struct

from cagekit.cage.kept import Same
from cagekit.cage.member import CHASSIS, Member
from cagekit.fit.cockpit import Cockpit, Reading
from cagekit.fit.readings import PILLAR_ROLES
from cagekit.fit.sight import BallRow, Eyes, Interval, extent, within
from cagekit.inputs.car import Car
from cagekit.people.posture import Occupant
from cagekit.units.tolerance import ANGLE_ROUNDING, ROUNDING

PLANES = (radians(2.0), radians(-5.0))
"""Elevations at which the pillar is measured, rad. Source: UN R125 5.1.1, from memory."""
AHEAD = 68.0
"""Of pillar and bars counts what is so far ahead of the eyes or more, mm: the regulation has it of
its V points. Source: UN R125 2 (definition of the A pillar), from memory."""
SCREEN = tuple(radians(a) for a in range(-15, 16, 5))
"""Azimuths at which the height of view through the windscreen is measured, rad."""
OVERHEAD_ROLES = ("halo", "front_hoop", "half_hoop", "header_bar", "roof_diagonal", "roof_rail")
BESIDE_ROLES = ("a_pillar_bar", "windscreen_brace")
"""Tubes that follow the windscreen's pillars, whose share is measured there."""
_EDGE = 1.0


class PillarView(Struct, frozen=True, eq=False):
    """What is hidden at one windscreen pillar, rad: the worse of the two planes.

    ``alone`` is the car's own pillar, ``total`` pillar and bars together; ``added`` is the
    difference in the plane where it is largest; ``by_member`` what each bar adds on its own.
    """

    side: str
    alone: float
    total: float
    added: float
    by_member: dict[str, float]


def car_rows(car: Car) -> dict[str, BallRow]:
    """The car's own pillars, header and lower edge of the windscreen as rows of balls."""
    rows: dict[str, BallRow] = {}
    for side, sign in (("left", 1.0), ("right", -1.0)):
        pillar = car.side(side).pillar
        if pillar is not None:
            ends = [(x, sign * y, z) for x, y, z in (pillar.top, pillar.base)]
            rows[f"pillar_{side}"] = BallRow.along(f"pillar_{side}", ends, pillar.width / 2)
    header = header_edge(car)
    if header is not None:
        rows["header"] = BallRow.along("header", header, _EDGE)
    for i, edge in enumerate(lower_edges(car)):
        rows[f"lower_{i}"] = BallRow.along(f"lower_{i}", edge, _EDGE)
    return rows


def header_edge(car: Car) -> list[tuple[float, float, float]] | None:
    """Corners of the header's lower edge from left to right, mm; None for an open car."""
    if car.roof is None:
        return None
    middle = (car.roof.header_x, 0.0, car.roof.height_at_header)
    corners = []
    for side, sign in (("left", 1.0), ("right", -1.0)):
        own = car.side(side)
        at = own.roof_corner or (own.pillar.top if own.pillar else None)
        if at is not None:
            corners.append((at[0], sign * at[1], at[2]))
    if len(corners) < 2:
        half = 450.0
        return [(middle[0], half, middle[2]), (middle[0], -half, middle[2])]
    return [corners[0], middle, corners[1]]


def lower_edges(car: Car) -> list[list[tuple[float, float, float]]]:
    """Edges below which the car hides everything: dash top and cowl, left to right, mm.

    The cowl runs from pillar base to pillar base through its middle.
    """
    if car.dash is None:
        return []
    dash = car.dash
    half = min(car.left.hoop.side_width, car.right.hoop.side_width)
    cowl = [(dash.cowl_x, half, dash.cowl_z), (dash.cowl_x, -half, dash.cowl_z)]
    left, right = car.left.pillar, car.right.pillar
    if left is not None and right is not None:
        half = min(left.base[1], right.base[1])
        (xl, yl, zl), (xr, yr, zr) = left.base, right.base
        cowl = [(xl, yl, zl), (dash.cowl_x, 0.0, dash.cowl_z), (xr, -yr, zr)]
    return [[(dash.face_x, half, dash.top_z), (dash.face_x, -half, dash.top_z)], cowl]


def eyes_of(who: Occupant) -> Eyes:
    """The person's two eyes."""
    return Eyes(who.eyes["left"], who.eyes["right"])


def pillar_view(cockpit: Cockpit, who: Occupant, side: str) -> PillarView | None:
    """Measure one windscreen pillar; None when neither pillar nor bar stands there.

    Args:
        cockpit: car, people and tubes.
        who: the person.
        side: ``left`` or ``right``.
    """
    sign = 1.0 if side == "left" else -1.0
    pillar = car_rows(cockpit.car).get(f"pillar_{side}")
    own = [] if pillar is None else [pillar]
    bars = _on_side(cockpit, sign, *PILLAR_ROLES)
    frame = [m for m in _on_side(cockpit, sign, CHASSIS) if _pillar_of_frame(m, who)]
    own += [BallRow.of(_half(m, sign), cockpit.padding.get(m.id, 0.0)) for m in frame]
    pads = [cockpit.padding.get(m.id, 0.0) for m in bars]
    padded = tuple((m, cockpit.padding.get(m.id, 0.0)) for m in (*frame, *bars))
    key = ("pillar", Same(cockpit.car), Same(who), side, padded)
    return cockpit.kept.once(key, partial(_pillar_view, who, side, own, bars, pads))


def _ahead(who: Occupant, rows: Iterable[BallRow]) -> list[BallRow]:
    """What of some rows stands where a pillar can be."""
    found = [row.only(row.points[:, 0] >= who.eye[0] + AHEAD) for row in rows]
    return [row for row in found if len(row.points)]


def _pillar_view(
    who: Occupant, side: str, own: list[BallRow], bars: Sequence[Member], pads: Sequence[float]
) -> PillarView | None:
    sign = 1.0 if side == "left" else -1.0
    halves = [_half(m, sign) for m in bars]
    rows = _ahead(who, (BallRow.of(m, thick) for m, thick in zip(halves, pads, strict=True)))
    own = _ahead(who, own)
    if not own and not rows:
        return None
    eyes = eyes_of(who)
    alone, totals, gains = [], [], []
    single: dict[str, float] = {}
    for plane in PLANES:
        base = _hidden(eyes, own, plane, sign)
        total = _hidden(eyes, [*own, *rows], plane, sign)
        alone.append(base)
        totals.append(total)
        gains.append(total - base)
        for row in rows:
            more = _hidden(eyes, [*own, row], plane, sign) - base
            single[row.name] = max(single.get(row.name, 0.0), more)
    return PillarView(
        side=side, alone=max(alone), total=max(totals), added=max(gains), by_member=single
    )


def _pillar_of_frame(tube: Member, who: Occupant) -> bool:
    """Whether a tube of the car's frame stands where a pillar does: up past the eyes and ahead.

    Rails below and tubes beside or behind the person are no part of a pillar.
    """
    at_eye = tube.path.crossings(who.eye, (0.0, 0.0, 1.0))
    return any(s.point[0] >= who.eye[0] + AHEAD for s in at_eye)


def _on_side(cockpit: Cockpit, sign: float, *roles: str) -> list[Member]:
    """Tubes of these roles that stand on one side."""
    found = []
    for m in cockpit.with_role(*roles):
        y = m.path.points(np.linspace(0, m.path.length, 9))[:, 1]
        if (sign * y > 0).any() and (m.side == "centre" or sign * float(y.sum()) > 0):
            found.append(m)
    return found


def _half(member: Member, sign: float) -> Member:
    """The part of a member on one side of the car: a front hoop counts with one leg."""
    path = member.path
    cut = path.crossings((0.0, 0.0, 0.0), (0.0, 1.0, 0.0))
    if not cut:
        return member
    parts = path.split(*(s.station for s in cut if 1.0 < s.station < path.length - 1.0))
    best = max(parts, key=lambda p: sign * float(p.points([p.length / 2])[0][1]))
    return replace(member, path=best)


def _hidden(eyes: Eyes, rows: Sequence[BallRow], plane: float, sign: float) -> float:
    if not rows:
        return 0.0
    low, high = (0.0, pi / 2) if sign > 0 else (-pi / 2, 0.0)
    return extent(within(eyes.hidden_across(rows, plane), low, high))


def screen_height(
    eyes: Eyes, rows: dict[str, BallRow], azimuth: float
) -> tuple[float, float] | None:
    """Elevations of the lower and the upper edge of the windscreen at ``azimuth``, rad.

    ``rows`` are those of the car (``car_rows``); an open car's view ends 60 degrees up.

    Args:
        eyes: where they are.
        rows: what hides, by name.
        azimuth: from straight ahead, left positive.
    """
    # all above the header is roof, all below the edges is dash: hidden from both eyes where the
    # edge is above (below) for both
    header = [] if "header" not in rows else _edges(eyes, rows["header"], azimuth)
    high = max((low for low, _ in header), default=radians(60.0))
    lows = [
        min(top for _, top in spans)
        for name, row in rows.items()
        if name.startswith("lower") and (spans := _edges(eyes, row, azimuth))
    ]
    low = max(lows, default=-radians(40.0))
    return (low, high) if high > low else None


def _edges(eyes: Eyes, row: BallRow, azimuth: float) -> list[Interval]:
    """Where each eye sees a thin edge at ``azimuth``: elevations, one per eye that sees it."""
    found = [caps.upright([azimuth])[0] for caps in eyes.seen(row)]
    return [(spans[0][0], spans[-1][1]) for spans in found if spans]


def view_up(cockpit: Cockpit, who: Occupant) -> Reading:
    """Clear view up: lowest elevation that a bar hides above eye level, rad.

    Looking ahead to 15 degrees to each side. Bars that stay behind the header leave the car's
    own edge.
    """
    return _screen(cockpit, who, OVERHEAD_ROLES, "no bar at the header", up=True)


def view_down(cockpit: Cockpit, who: Occupant) -> Reading:
    """Clear view down: highest elevation that a bar hides below eye level, rad.

    Looking ahead to 15 degrees to each side. A dash bar that stays below the dash leaves the
    car's own edge.
    """
    return _screen(cockpit, who, ("dash_bar",), "no bar stands in the view down", up=False)


def _screen(
    cockpit: Cockpit, who: Occupant, usual: Sequence[str], absent: str, *, up: bool
) -> Reading:
    """The view up or down past every tube but those that follow the pillars, judged apart.

    Which way a tube counts is told by where it stands: one at eye level or above hides the view
    up, whatever its role.
    """
    members = [m for m in cockpit.members.values() if m.role not in BESIDE_ROLES]
    expected = [m.id for m in members if m.role in usual]
    scene = (Same(cockpit.car), Same(who))
    windows = cockpit.kept.once(("windscreen", *scene), partial(_windows, cockpit, who))
    rows = []
    for m in members:
        thick = cockpit.padding.get(m.id, 0.0)
        key = ("hidden ahead", *scene, m, thick)
        rows.append((m.id, cockpit.kept.once(key, partial(_hidden_ahead, who, windows, m, thick))))
    worst, at, added, name = inf, 0.0, 0.0, expected[0] if expected else ""
    for k, (azimuth, window) in enumerate(zip(SCREEN, windows, strict=True)):
        if window is None:
            continue
        edge = window[1] if up else -window[0]
        for id_, spans in rows:
            hidden = [(a, b) for a, b in spans[k] if (a + b >= 0) == up]
            if not hidden and id_ not in expected:
                continue
            least = min((a if up else -b for a, b in hidden), default=edge)
            if least < worst - ROUNDING:
                worst, at, name, added = least, azimuth, id_, extent(hidden)
    if worst is inf and expected:
        return Reading(value=None, members=(name,), missing="the car sheet leaves no view ahead")
    if worst is inf:
        return Reading(value=None, absent=absent)
    return Reading(
        value=worst if up else -worst,
        members=(name,),
        points=(who.eye,),
        note=f"{_where(at)}, hides {np.degrees(added):.1f} deg beyond the car",
    )


def _windows(cockpit: Cockpit, who: Occupant) -> tuple[Interval | None, ...]:
    """Elevations between which the windscreen is seen through, at every azimuth of ``SCREEN``."""
    eyes, edges = eyes_of(who), car_rows(cockpit.car)
    return tuple(screen_height(eyes, edges, azimuth) for azimuth in SCREEN)


def _hidden_ahead(
    who: Occupant, windows: Sequence[Interval | None], member: Member, thick: float
) -> tuple[list[Interval], ...]:
    """Elevations that a tube and its padding hide in the windscreen, at every azimuth."""
    hidden = eyes_of(who).hidden_upright(BallRow.of(member, thick), SCREEN)
    return tuple(
        [] if window is None or not spans else within(spans, *window)
        for spans, window in zip(hidden, windows, strict=True)
    )


def _where(azimuth: float) -> str:
    if abs(azimuth) < ANGLE_ROUNDING:
        return "straight ahead"
    side = "left" if azimuth > 0 else "right"
    return f"{abs(np.degrees(azimuth)):.0f} deg to the {side}"

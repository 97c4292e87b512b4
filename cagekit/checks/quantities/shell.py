"""Quantities of the car round the cage: every tube against shell, doors and keep-outs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import ceil

import numpy as np
from numpy.typing import NDArray

from cagekit.cage.cage import Cage
from cagekit.cage.kept import Kept, Same
from cagekit.cage.member import CHASSIS, EndKind, Member
from cagekit.car.shell import FAR, ShellSurface, Skin
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey
from cagekit.fit.tubes import STEP, TubeRoom
from cagekit.geometry.arrays import Points, even, size3
from cagekit.geometry.centre_line import Vec, vec
from cagekit.units.tolerance import NO_LENGTH

TOUCH = 0.01
"""Less than this (mm) into a surface is touching it, not running into it."""
LANDING = 3.0
"""A tube that stands on the floor may come down to it over this many diameters."""


@quantity("room_to_shell", "mm", "room to the shell", base="the gap to keep")
def room_to_shell(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Room from each surface of the shell and each keep-out to the tube nearest to it.

    Where a tube lands on the floor, its last three diameters may come down to it.
    """
    for surface in s.shell:
        if surface.stood_on:
            gaps = floor_gaps(s.cage, surface)
        else:
            gaps = [] if surface.trimmed else shell_gaps(s, surface)
        if surface.holed:
            passing = _passing(s, surface)
            gaps = [g for g in gaps if g.member not in passing]
        if gaps:
            yield _room(s.cage, surface, gaps)


@quantity("tubes_through_trim", "count", "tubes through the trim")
def tubes_through_trim(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How many tubes pass through each part of the car that is cut for them, as the dash."""
    for surface in (one for one in s.shell if one.trimmed or one.holed):
        through = [g for g in shell_gaps(s, surface) if g.gap < -TOUCH]
        if surface.holed:
            passing = _passing(s, surface)
            through = [g for g in through if g.member in passing]
        if through:
            yield Measure(
                subject=surface.name,
                value=len(through),
                evidence=Evidence.of(
                    *sorted(g.member for g in through), points=[g.on_tube for g in through]
                ),
                label=f"tubes through the {surface.name}",
                topic=surface.name.replace(" ", "-"),
            )


def _passing(s: Survey, surface: ShellSurface) -> set[str]:
    """Tubes that pass a panel through a hole of its own; one that lies in it is none of them."""
    from cagekit.shop.papers.holes import panel_holes

    return {h.member for h in panel_holes(s.cage, s.car) if h.panel == surface.name}


def shell_gaps(s: Survey, surface: ShellSurface) -> list[TubeRoom]:
    """Room between a surface and the tubes of the cage near it, tightest first.

    Told are the tightest and all that come nearer than the gap to keep; others may be. How the
    car's own frame lies in the car's own shell is the car's business.
    """
    rooms = s.design.once("rooms to the shell", lambda _: _shell_rooms(s))[surface]
    exempt, members = _exempt(surface), s.cockpit.members
    found = [
        gap for gap in rooms if gap.axis_gap < FAR / 2 and members[gap.member].role not in exempt
    ]
    return sorted(found, key=lambda g: (round(g.gap, 6), g.member))


def _exempt(surface: ShellSurface) -> set[str]:
    return {*surface.exempt, CHASSIS}


def _shell_rooms(s: Survey) -> dict[ShellSurface, list[TubeRoom]]:
    """Room of tubes to every surface that none stands on.

    Of all tubes where they may pass through holes, and where what a skin tells is no true
    distance, by which the nearest could be told beforehand.
    """
    walls = [surface for surface in s.shell if not surface.stood_on]
    whole = [one for one in walls if one.holed or isinstance(one.solid, Skin)]
    rooms = s.cockpit.gaps_to([(Same(one), one.solid) for one in whole])
    others = [one for one in walls if one not in whole]
    rooms += s.cockpit.close_to(
        ("shell", Same(s.shell)),
        [(Same(one), one.solid) for one in others],
        [one.keep for one in others],
        [_exempt(one) for one in others],
    )
    return {one: list(r.values()) for one, r in zip((*whole, *others), rooms, strict=True)}


def floor_gaps(cage: Cage, surface: ShellSurface) -> list[TubeRoom]:
    """Room between a surface that tubes stand on and every tube over it, tightest first."""
    over = [m for m in cage.members.values() if m.role not in surface.exempt]
    stands = [
        tuple(
            end.kind is EndKind.FLAT
            or any(cage.member(p).role in surface.exempt for p in end.parents)
            for _, end in m.ends
        )
        for m in over
    ]
    keys = [("floor", Same(surface), m, s) for m, s in zip(over, stands, strict=True)]

    def measured(missing: Sequence[int]) -> list[TubeRoom | None]:
        lines = [_line(cage.kept, over[i]) for i in missing]
        axis = surface.solid.gap(np.concatenate([points for _, points in lines]))
        ends = np.cumsum([len(points) for _, points in lines])[:-1]
        found: list[tuple[Member, int, float, float]] = []
        rows = zip(missing, lines, np.split(axis, ends), strict=True)
        for i, (stations, _), gaps in rows:
            gaps = np.where(_landing(over[i], surface, stands[i], stations, gaps), FAR, gaps)
            k = int(np.argmin(gaps))
            found.append((over[i], k, float(gaps[k]), float(stations[k])))
        points = np.array([line[k] for (_, line), (_, k, *_) in zip(lines, found, strict=True)])
        spots = surface.solid.nearest(points)
        return [
            None if gap >= FAR / 2 else _floor_gap(m, gap, station, point, spot)
            for (m, _, gap, station), point, spot in zip(found, points, spots, strict=True)
        ]

    found = [room for room in cage.kept.each(keys, measured) if room is not None]
    return sorted(found, key=lambda g: (round(g.gap, 6), g.member))


def _line(kept: Kept, m: Member) -> tuple[Vec, Points]:
    """Stations (mm) along a tube and the points of its axis there."""

    def line() -> tuple[Vec, Points]:
        stations = even(m.path.length, max(ceil(m.path.length / STEP), 1) + 1)
        return stations, m.path.points(stations)

    return kept.once(("over the floor", m), line)


def _floor_gap(m: Member, axis_gap: float, station: float, point: Vec, spot: Vec) -> TubeRoom:
    """Room between a tube and a surface, from the point of its axis and the surface's next to it.

    Args:
        m: the tube.
        axis_gap: of the point from the surface, mm.
        station: of the point, mm.
        point: on the axis, ``(3,)`` mm.
        spot: on the surface, ``(3,)`` mm.
    """
    r = m.tube.outer_radius
    way = spot - point
    size = max(size3(way), NO_LENGTH)
    return TubeRoom(
        member=m.id,
        gap=axis_gap - r,
        axis_gap=axis_gap,
        on_tube=vec(point + way * (r / size) * (1.0 if axis_gap >= 0 else -1.0)),
        on_solid=vec(spot),
        station=station,
    )


def _landing(
    member: Member, surface: ShellSurface, stands: tuple[bool, ...], stations: Vec, axis: Vec
) -> NDArray[np.bool_]:
    """Which stations are the ends of a tube that come down to the surface it stands on."""
    out = np.zeros(len(stations), dtype=bool)
    if not any(stands):
        return out
    near = axis < member.tube.outer_radius + surface.keep + TOUCH + 1.0
    for name, standing in zip("ab", stands, strict=True):
        if not standing:
            continue
        from_end = stations if name == "a" else stations[-1] - stations
        run = near & (from_end <= LANDING * member.tube.od)
        order = np.argsort(from_end)
        rising = np.cumprod(run[order]).astype(bool)
        out[order[rising]] = True
    return out


def _room(cage: Cage, surface: ShellSurface, gaps: list[TubeRoom]) -> Measure:
    """The tightest tube against the gap to keep, with all that are too near."""
    bad = [g for g in gaps if g.gap < surface.keep - TOUCH]
    shown = bad or gaps[:1]
    others = ", ".join(f"{g.member} {g.gap:.0f} mm" for g in bad[1:])
    cure = ""
    if surface.moves:
        cure = f"Move the tube inboard so that the {surface.name} can move, or trim its lining."
    elif (fitting := cage.fittings.get(gaps[0].member)) is not None:
        cure = (
            f"Move the joint ({fitting.bar}) along its tube by its `at`, away from the "
            f"{surface.name}."
        )
    return Measure(
        subject=gaps[0].member,
        value=gaps[0].gap,
        base=surface.keep,
        evidence=Evidence.of(
            *(g.member for g in shown),
            points=[p for g in shown for p in (g.on_tube, g.on_solid)],
            note=f"also {others}" if others else "",
        ),
        label=f"room to {surface.name}",
        topic=surface.name.replace(" ", "-"),
        cure=cure,
        text="Doors, windows and seats must work before anything is welded out."
        if surface.moves
        else "",
    )

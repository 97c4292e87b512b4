"""Quantities of front and roof: pillar braces, roof bars, dash bar, gussets at crossings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import tan

import numpy as np

from cagekit.cage.member import Member
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.bars import WholeBar, cross, joined
from cagekit.checks.quantities.hoops import front_legs, leg_top
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import SIDES, Survey, side_of
from cagekit.geometry.centre_line import CentreLine, Vec, unit

UP = unit((0.0, 0.0, 1.0))
ACROSS = unit((0.0, 1.0, 0.0))
AHEAD = unit((1.0, 0.0, 0.0))
APEX = 350.0
"""Two roof bars whose ends come within this distance form a V, mm (common practice)."""


@quantity("front_leg_bow", "mm", "bow of an unbraced front leg")
def front_leg_bow(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bow in side view of each front leg without a windscreen-pillar brace.

    Largest distance between its centre line and the straight from its foot to its upper
    corner: how the dimension of the pillar figure is read (from memory).
    """
    braced = {m.side for m in s.of_role("windscreen_brace")}
    for member, side, leg in front_legs(s, pick):
        if side in braced:
            continue
        found = _bow(leg)
        if found is None:
            continue
        value, point = found
        name = member.id if member.side in SIDES else f"{member.id} {side}"
        yield Measure(subject=name, value=value, evidence=Evidence.of(member.id, points=[point]))


def _bow(leg: CentreLine) -> tuple[float, Vec] | None:
    """Largest gap to the chord in side view and where; None for a leg without height or run."""
    top = leg_top(leg)
    stop = leg.nearest(top).station
    p = leg.points(np.linspace(0.0, stop, 200))
    a, b = leg.start[[0, 2]], top[[0, 2]]
    chord = float(np.linalg.norm(b - a))
    if chord < 1.0:
        return None
    d = (b - a) / chord
    w = p[:, [0, 2]] - a
    gaps = np.abs(w[:, 0] * d[1] - w[:, 1] * d[0])
    i = int(np.argmax(gaps))
    return float(gaps[i]), p[i]


@quantity("pillar_brace_upper_gap", "mm", "upper end from the corner")
def pillar_brace_upper_gap(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Distance from the upper end of each windscreen-pillar brace to the nearest junction.

    Junctions of hoop or pillar bar with a roof member on that side count.
    """
    for bar in s.bars("windscreen_brace", side=pick.side):
        nodes = [j.point for j in s.junctions if side_of(j.point) == bar.side]
        yield from _nearest(bar, bar.upper, nodes)


@quantity("pillar_brace_lower_gap", "mm", "lower end from the front foot")
def pillar_brace_lower_gap(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Distance from the lower end of each windscreen-pillar brace to the front foot of its side."""
    for bar in s.bars("windscreen_brace", side=pick.side):
        foot = s.front_foot("left" if bar.side == "left" else "right")
        yield from _nearest(bar, bar.lower, [foot.point] if foot else [])


def _nearest(bar: WholeBar, point: Vec, nodes: Iterable[Vec]) -> Iterator[Measure]:
    found = min(nodes, key=lambda n: float(np.linalg.norm(n - point)), default=None)
    if found is not None:
        gap = float(np.linalg.norm(found - point))
        yield Measure(
            subject=bar.name, value=gap, evidence=Evidence.of(*bar.ids, points=[point, found])
        )


# --- roof ----------------------------------------------------------------------------------


def _roof(s: Survey) -> tuple[WholeBar, ...]:
    return s.bars("roof_diagonal")


PATTERNS = ("none", "single", "x", "v", "pair", "several")


@quantity("roof_pattern", "text", "pattern of the roof bars", words=PATTERNS)
def roof_pattern(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How the roof bars are laid out in top view: 'none', 'single', 'x', 'v', 'pair', 'several'."""
    bars = _roof(s)
    ids = [i for b in bars for i in b.ids]
    yield Measure(subject="roof_diagonal", value=_pattern(bars), evidence=Evidence.of(*ids))


def _pattern(bars: tuple[WholeBar, ...]) -> str:
    if len(bars) < 2:
        return "single" if bars else "none"
    if len(bars) > 2:
        return "several"
    if cross(bars[0], bars[1], UP) is not None:
        return "x"
    return "v" if _apex(bars)[0] <= APEX else "pair"


def _apex(bars: tuple[WholeBar, ...]) -> tuple[float, Vec, Vec]:
    """Smallest distance between ends of two bars, and those ends."""
    pairs = [(p, q) for p in (bars[0].start, bars[0].end) for q in (bars[1].start, bars[1].end)]
    p, q = min(pairs, key=lambda x: float(np.linalg.norm(x[0] - x[1])))
    return float(np.linalg.norm(p - q)), p, q


@quantity("roof_bars", "count", "roof bars")
def roof_bars(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Diagonal roof bars, pieces joined; 0 counts."""
    bars = _roof(s)
    ids = [i for b in bars for i in b.ids]
    yield Measure(subject="roof_diagonal", value=len(bars), evidence=Evidence.of(*ids))


@quantity("roof_end_gap", "mm", "end from the junction")
def roof_end_gap(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Distance from each end of each roof bar to the nearest junction of the roof's frame.

    The apex of a V is left out.
    """
    bars = _roof(s)
    apex: list[Vec] = []
    if _pattern(bars) == "v":
        _, p, q = _apex(bars)
        apex = [p, q]
    nodes = [j.point for j in s.junctions]
    for bar in bars:
        for point in (bar.start, bar.end):
            if not any(np.array_equal(point, a) for a in apex):
                yield from _nearest(bar, point, nodes)


@quantity("roof_apex_gap", "mm", "gap at the apex")
def roof_apex_gap(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Distance between the two tubes' ends at the apex of a V of roof bars."""
    bars = _roof(s)
    if _pattern(bars) == "v":
        gap, p, q = _apex(bars)
        ids = [i for b in bars for i in b.ids]
        evidence = Evidence.of(*ids, points=[p, q])
        yield Measure(subject="roof_diagonal", value=gap, evidence=evidence)


@quantity("roof_front_on_driver_side", "flag", "front end on the driver's side")
def roof_front_on_driver_side(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Whether a single roof diagonal has its front end on the driver's side."""
    bars = _roof(s)
    if len(bars) == 1:
        front = max((bars[0].start, bars[0].end), key=lambda p: float(p[0]))
        value = side_of(front) == s.driver_side
        evidence = Evidence.of(*bars[0].ids, points=[front])
        yield Measure(subject=bars[0].name, value=value, evidence=evidence)


# --- dash bar ------------------------------------------------------------------------------


@quantity("front_bar_over_dash", "mm", "lower edge over the dash top")
def front_bar_over_dash(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Height of the lower edge of each dash bar above the top of the dashboard.

    Measured at the bar's highest point; negative below the dash top.
    """
    for m in s.of_role("dash_bar"):
        if s.car.dash is None:
            yield Measure(
                subject=m.id, evidence=Evidence.of(m.id), missing="`[dash]` in the car sheet"
            )
            continue
        z, point = _highest(m)
        value = z - m.tube.outer_radius - s.car.dash.top_z
        yield Measure(subject=m.id, value=value, evidence=Evidence.of(m.id, points=[point]))


@quantity("front_bar_over_column", "mm", "axis over the steering column")
def front_bar_over_column(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Height of the axis of each dash bar above the steering column's axis.

    Measured where the bar passes the column, which runs from the wheel's centre forward and
    down at the car sheet's column angle; negative below it.
    """
    wheel = s.car.wheel
    for m in s.of_role("dash_bar"):
        spots = m.path.crossings((0.0, wheel.centre[1], 0.0), ACROSS)
        if not spots:
            continue
        p = spots[0].point
        column = wheel.centre[2] - tan(wheel.column_angle) * (float(p[0]) - wheel.centre[0])
        value = float(p[2]) - column
        yield Measure(subject=m.id, value=value, evidence=Evidence.of(m.id, points=[p]))


def _highest(m: Member) -> tuple[float, Vec]:
    p = m.path.points(np.linspace(0.0, m.path.length, 100))
    i = int(np.argmax(p[:, 2]))
    return float(p[i, 2]), p[i]


# --- gussets at crossings ------------------------------------------------------------------


@quantity("gussets_at_crossing", "count", "gussets at the crossing")
def gussets_at_crossing(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Gussets (plates or short tubes) where two bars of one role in `of` cross; 0 counts."""
    view = {"hoop_diagonal": AHEAD, "roof_diagonal": UP, "door_bar": ACROSS}
    for role in pick.named or tuple(view):
        for side in ("left", "right", "centre"):
            bars = joined(m for m in s.of_role(role) if m.side == side)
            for i, one in enumerate(bars):
                for two in bars[i + 1 :]:
                    at = cross(one, two, view.get(role, AHEAD))
                    if at is not None:
                        yield _gussets(s, one, two, at)


@quantity("gussets_at_pillar_brace", "count", "gussets at the pillar brace")
def gussets_at_pillar_brace(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Gussets (plates or short tubes) where a door bar meets a pillar brace; 0 counts."""
    for bar in s.bars("door_bar"):
        for brace in s.bars("windscreen_brace", side=bar.side):
            for member, end in bar.ends:
                if set(member.end(end).parents) & set(brace.ids):
                    yield _gussets(s, bar, brace, member.path.end_point(end))


def _gussets(s: Survey, one: WholeBar, two: WholeBar, at: Vec) -> Measure:
    ids = set(one.ids) | set(two.ids)
    plates = [p.id for p in s.plates if "gusset" in p.kind and len(ids & set(p.members)) >= 2]
    tubes = [m.id for m in s.of_role("tube_gusset") if all(set(e.parents) & ids for _, e in m.ends)]
    n = sum(p.quantity for p in s.plates if p.id in plates) + len(tubes)
    evidence = Evidence.of(*sorted(ids), *tubes, plates=plates, points=[at])
    return Measure(subject=f"{one.name} x {two.name}", value=n, evidence=evidence)


@quantity("tube_gusset_share", "ratio", "gusset's reach along the member")
def tube_gusset_share(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far along the member that it stiffens each tube gusset ends.

    From the joint to the gusset's end over the length of the branch.
    """
    for g in s.of_role("tube_gusset"):
        parents = [p for _, e in g.ends for p in e.parents[:1]]
        if len(parents) < 2:
            continue
        for this, other, end in ((0, 1, g.a), (1, 0, g.b)):
            branch = s.cage.member(parents[this])
            stem = s.cage.member(parents[other])
            at = [n for n, e in branch.ends if stem.id in e.parents]
            if not at or not end.parents:
                continue
            corner = branch.path.end_point(at[0])
            point = g.path.end_point("a" if this == 0 else "b")
            share = float(np.linalg.norm(point - corner)) / branch.path.length
            evidence = Evidence.of(g.id, branch.id, points=[corner, point])
            yield Measure(subject=g.id, value=share, evidence=evidence)

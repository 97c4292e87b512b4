"""Quantities of what holds the main hoop: rear braces, hoop diagonals, harness bar."""

from __future__ import annotations

from collections.abc import Iterator
from math import asin, atan2, degrees, hypot

import numpy as np

from cagekit.cage.member import Member
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.bars import WholeBar, cross
from cagekit.checks.quantities.hoops import hoop_plane
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey, extreme, side_of
from cagekit.geometry.centre_line import Arc, Vec, unit

DIAGONALS = ("hoop_diagonal", "rear_diagonal", "brace_diagonal")
"""Roles that count as a diagonal of the main hoop or between the rear braces."""


def _braces(s: Survey, pick: Pick) -> Iterator[tuple[WholeBar, Vec, Member]]:
    """Rear braces that meet the main hoop: bar, node on the hoop, hoop."""
    for bar in s.bars("rear_brace", side=pick.side):
        found = s.brace_node(bar)
        if found:
            yield bar, *found


def _away(bar: WholeBar, node: Vec) -> Vec:
    """Unit vector from the node along the bar."""
    far = (
        bar.end if np.linalg.norm(bar.start - node) < np.linalg.norm(bar.end - node) else bar.start
    )
    return unit(far - node)


@quantity("rear_brace_angle", "deg", "angle from the vertical")
def rear_brace_angle(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Angle between the vertical and each rear brace, from the hoop to its foot."""
    for bar, node, _ in _braces(s, pick):
        d = _away(bar, node)
        value = degrees(atan2(hypot(float(d[0]), float(d[1])), -float(d[2])))
        evidence = Evidence.of(*bar.ids, points=[bar.start, bar.end])
        yield Measure(subject=bar.name, value=value, evidence=evidence)


@quantity("rear_brace_hoop_angle", "deg", "included angle with the hoop")
def rear_brace_hoop_angle(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Angle between each rear brace and the plane of the main hoop."""
    for bar, node, hoop in _braces(s, pick):
        _, normal, _ = hoop_plane(s, hoop)
        value = degrees(asin(min(abs(float(_away(bar, node) @ normal)), 1.0)))
        evidence = Evidence.of(*bar.ids, hoop.id, points=[node])
        yield Measure(subject=bar.name, value=value, evidence=evidence)


@quantity("rear_brace_drop", "mm", "junction below the hoop's top")
def rear_brace_drop(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far below the top of the hoop each rear brace meets it, centre line to centre line."""
    for bar, node, hoop in _braces(s, pick):
        top, point = extreme(hoop.path, (0.0, 0.0, 1.0))
        evidence = Evidence.of(*bar.ids, hoop.id, points=[node, point])
        yield Measure(subject=bar.name, value=top - float(node[2]), evidence=evidence)


@quantity("rear_brace_to_bend", "mm", "junction from the top outer bend")
def rear_brace_to_bend(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Distance along the hoop from each rear brace's junction to the top outer bend.

    The bend of that side counts; 0 on the bend.
    """
    for bar, node, hoop in _braces(s, pick):
        spot = hoop.path.nearest(node)
        gaps = []
        for i, q in enumerate(hoop.path.pieces):
            middle = q.point(q.length / 2)
            if isinstance(q, Arc) and side_of(middle) == side_of(node):
                lo, hi = float(hoop.path.starts[i]), float(hoop.path.starts[i + 1])
                gap = max(lo - spot.station, spot.station - hi, 0.0)
                gaps.append((-float(middle[2]), gap))
        if gaps:
            evidence = Evidence.of(*bar.ids, hoop.id, points=[node])
            yield Measure(subject=bar.name, value=min(gaps)[1], evidence=evidence)


@quantity("rear_brace_rearward", "flag", "runs rearwards")
def rear_brace_rearward(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Whether each rear brace runs rearwards from the hoop."""
    for bar, node, _ in _braces(s, pick):
        value = bool(_away(bar, node)[0] < 0)
        yield Measure(subject=bar.name, value=value, evidence=Evidence.of(*bar.ids))


@quantity("rear_brace_bends", "count", "bends in the brace")
def rear_brace_bends(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bends in each rear brace, all its pieces."""
    for bar in s.bars("rear_brace", side=pick.side):
        yield Measure(subject=bar.name, value=bar.bends, evidence=Evidence.of(*bar.ids))


# --- diagonals -----------------------------------------------------------------------------


def hoop_diagonals(s: Survey) -> tuple[WholeBar, ...]:
    """Diagonals of the main hoop, or between the rear braces where the hoop has none."""
    return s.bars("hoop_diagonal") or s.bars(*DIAGONALS)


@quantity("hoop_diagonals", "count", "diagonals of hoop or braces")
def hoop_diagonal_count(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Diagonals of the main hoop or between the rear braces, pieces joined; 0 counts."""
    bars = s.bars(*DIAGONALS)
    ids = [i for b in bars for i in b.ids]
    yield Measure(subject="hoop_diagonal", value=len(bars), evidence=Evidence.of(*ids))


@quantity("hoop_diagonals_crossed", "count", "crossing diagonals of the hoop")
def hoop_diagonals_crossed(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Diagonals of the main hoop that cross another one as seen from ahead; 0 counts."""
    bars = s.bars("hoop_diagonal")
    hits = [b for b in bars if any(o is not b and cross(b, o, _AHEAD) is not None for o in bars)]
    ids = [i for b in hits for i in b.ids]
    yield Measure(subject="hoop_diagonal", value=len(hits), evidence=Evidence.of(*ids))


_AHEAD = unit((1.0, 0.0, 0.0))


@quantity("diagonal_one_piece_legs", "count", "legs in one piece")
def diagonal_one_piece_legs(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Of crossing diagonals of the main hoop, how many are one piece of tube."""
    bars = s.bars("hoop_diagonal")
    hits = [b for b in bars if any(o is not b and cross(b, o, _AHEAD) is not None for o in bars)]
    if hits:
        whole = sum(len(b.pieces) == 1 for b in hits)
        ids = [i for b in hits for i in b.ids]
        yield Measure(subject="hoop_diagonal", value=whole, evidence=Evidence.of(*ids))


@quantity("diagonal_bends", "count", "bends in the diagonal")
def diagonal_bends(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bends in each diagonal of the main hoop or the rear braces."""
    for bar in hoop_diagonals(s):
        yield Measure(subject=bar.name, value=bar.bends, evidence=Evidence.of(*bar.ids))


@quantity("diagonal_foot_gap", "mm", "lower end from the foot")
def diagonal_foot_gap(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Distance from the lower end of each diagonal to the nearest foot.

    Feet of the main hoop and the rear braces count, axis end to axis end.
    """
    feet = [f for f in s.feet if f.member.role in ("main_hoop", "rear_brace")]
    for bar in hoop_diagonals(s):
        low = bar.lower
        found = min(feet, key=lambda f: float(np.linalg.norm(f.point - low)), default=None)
        if found is not None:
            gap = float(np.linalg.norm(found.point - low))
            evidence = Evidence.of(*bar.ids, found.member.id, points=[low, found.point])
            yield Measure(subject=bar.name, value=gap, evidence=evidence)


@quantity("diagonal_brace_gap", "mm", "upper end from the brace junction")
def diagonal_brace_gap(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Distance from the upper end of each diagonal to the nearest brace junction.

    The junction is that of main hoop and rear brace, centre line to centre line.
    """
    nodes = [(bar, node) for bar, node, _ in _braces(s, Pick())]
    for bar in hoop_diagonals(s):
        up = bar.upper
        found = min(nodes, key=lambda n: float(np.linalg.norm(n[1] - up)), default=None)
        if found is not None:
            gap = float(np.linalg.norm(found[1] - up))
            evidence = Evidence.of(*bar.ids, *found[0].ids, points=[up, found[1]])
            yield Measure(subject=bar.name, value=gap, evidence=evidence)


@quantity("diagonal_corner_gap", "mm", "upper end from the driver's corner")
def diagonal_corner_gap(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Smallest distance from a diagonal's upper end to the driver's upper corner of the hoop.

    The corner is where the straights of the top bend would meet.
    """
    hoop, bars = s.main_hoop, s.bars("hoop_diagonal")
    if hoop is None or not bars:
        return
    corners = [c for c in hoop.path.corners()[1:-1] if side_of(c) == s.driver_side]
    if not corners:
        return
    corner = max(corners, key=lambda c: float(c[2]))
    gap, bar = min(((float(np.linalg.norm(b.upper - corner)), b) for b in bars), key=lambda x: x[0])
    evidence = Evidence.of(*bar.ids, hoop.id, points=[bar.upper, corner])
    yield Measure(subject=bar.name, value=gap, evidence=evidence)


@quantity("diagonal_from_driver_corner", "flag", "starts on the driver's side")
def diagonal_from_driver_corner(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Whether a diagonal of the main hoop has its upper end on the driver's side."""
    bars = s.bars("hoop_diagonal")
    if bars:
        value = any(side_of(b.upper) == s.driver_side for b in bars)
        ids = [i for b in bars for i in b.ids]
        yield Measure(subject="hoop_diagonal", value=value, evidence=Evidence.of(*ids))


@quantity("diagonal_out_of_plane", "mm", "gap to the hoop's plane")
def diagonal_out_of_plane(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Largest distance of each hoop diagonal's ends from the plane of the main hoop."""
    hoop = s.main_hoop
    if hoop is None:
        return
    centre, normal, _ = hoop_plane(s, hoop)
    for bar in s.bars("hoop_diagonal"):
        gap = max(abs(float((p - centre) @ normal)) for p in (bar.start, bar.end))
        yield Measure(subject=bar.name, value=gap, evidence=Evidence.of(*bar.ids, hoop.id))


# --- harness bar ---------------------------------------------------------------------------


@quantity("harness_bar_out_of_plane", "mm", "gap to the hoop's plane")
def harness_bar_out_of_plane(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Largest distance of each harness bar's corners from the plane of the main hoop."""
    hoop = s.main_hoop
    if hoop is None:
        return
    centre, normal, _ = hoop_plane(s, hoop)
    for bar in s.bars("harness_bar"):
        gap = float(np.abs((bar.vertices - centre) @ normal).max())
        yield Measure(subject=bar.name, value=gap, evidence=Evidence.of(*bar.ids, hoop.id))

"""Quantities of tubes: size, steel, bends, pieces."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from math import atan2, degrees, hypot

import numpy as np

from cagekit.cage.member import Member
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.bars import WholeBar, joined
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import SIDES, Survey, extreme
from cagekit.errors import NotFoundError
from cagekit.geometry.centre_line import Arc, CentreLine
from cagekit.materials.steels import family, steel
from cagekit.shop.bending.section import expected_roundness
from cagekit.units.tolerance import NO_LENGTH

_PROCESS = (
    ("as welded", "as welded"),
    ("drawn over mandrel", "drawn over mandrel"),
)
_SEAMLESS_COLD = ("EN 10305-1",)
_SEAMLESS = ("AMS 6360", "EN 10297-1", "EN 10216")


def process(material: str) -> str:
    """How the tube is made: as welded, drawn over mandrel, cold drawn seamless, seamless, unknown.

    Source: the delivery standards in the table of steels (ASTM A513 types 1 and 5, EN 10305-1,
    AMS 6360, EN 10297-1).
    """
    try:
        row = steel(material)
    except NotFoundError:
        return "unknown"
    for word, name in _PROCESS:
        if word in row.condition:
            return name
    if row.standard.startswith(_SEAMLESS_COLD):
        return "cold drawn seamless"
    return "seamless" if row.standard.startswith(_SEAMLESS) else "unknown"


def _each(s: Survey, pick: Pick) -> Iterator[tuple[Member, Evidence]]:
    for m in s.pick(pick):
        yield m, Evidence.of(m.id)


@quantity("tube_size", "pair", "outside diameter x wall")
def tube_size(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Nominal outside diameter and wall of each tube, as bought."""
    for m, e in _each(s, pick):
        yield Measure(subject=m.id, value=(m.tube.od, m.tube.wall), evidence=e)


@quantity("tube_od", "mm", "outside diameter")
def tube_od(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Nominal outside diameter of each tube."""
    for m, e in _each(s, pick):
        yield Measure(subject=m.id, value=m.tube.od, evidence=e)


@quantity("tube_wall", "mm", "wall")
def tube_wall(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Nominal wall of each tube."""
    for m, e in _each(s, pick):
        yield Measure(subject=m.id, value=m.tube.wall, evidence=e)


@quantity("tube_size_as_main_hoop", "flag", "same tube as the main hoop")
def tube_size_as_main_hoop(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Whether each tube has the diameter and wall of the main hoop, within 0.02 mm."""
    hoop = s.main_hoop
    if hoop is None:
        return
    for m, e in _each(s, pick):
        same = abs(m.tube.od - hoop.tube.od) <= 0.02 and abs(m.tube.wall - hoop.tube.wall) <= 0.02
        yield Measure(subject=m.id, value=same, evidence=e)


@quantity("tube_process", "text", "making of the tube")
def tube_process(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How each tube is made, from its steel's standard.

    'as welded', 'drawn over mandrel', 'cold drawn seamless', 'seamless' or 'unknown'.
    """
    for m, e in _each(s, pick):
        yield Measure(subject=m.id, value=process(m.tube.material), evidence=e)


@quantity("steel_family", "text", "family of the steel", words=("mild", "alloy"))
def steel_family(s: Survey, pick: Pick) -> Iterator[Measure]:
    """'mild' for carbon steel or 'alloy' for chromium-molybdenum steel, of each tube."""
    for m, e in _each(s, pick):
        yield Measure(subject=m.id, value=family(m.tube.material), evidence=e)


@quantity("steel_tensile", "MPa", "tensile strength")
def steel_tensile(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Smallest tensile strength of each tube's steel by its standard, not beside a weld."""
    for m, e in _each(s, pick):
        try:
            yield Measure(subject=m.id, value=steel(m.tube.material).fu, evidence=e)
        except NotFoundError:
            yield Measure(subject=m.id, evidence=e, missing="the steel's mill certificate")


@quantity("steel_yield", "MPa", "yield strength")
def steel_yield(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Smallest yield strength of each tube's steel by its standard, not beside a weld."""
    for m, e in _each(s, pick):
        try:
            fy = steel(m.tube.material).fy
        except NotFoundError:
            fy = None
        missing = "" if fy is not None else "the yield strength from the mill certificate"
        yield Measure(subject=m.id, value=fy, evidence=e, missing=missing)


@quantity("bend_radius_over_od", "ratio", "bend radius over diameter")
def bend_radius_over_od(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Centre-line radius over outside diameter of the tightest bend of each bent tube."""
    for m in s.pick(pick):
        if m.path.bends:
            q = min(m.path.bends, key=lambda b: b.radius)
            at = q.point(q.length / 2)
            yield Measure(
                subject=m.id, value=q.radius / m.tube.od, evidence=Evidence.of(m.id, points=[at])
            )


@quantity("bend_roundness", "ratio", "smallest over largest diameter")
def bend_roundness(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Smallest over largest diameter in the bends of each bent tube.

    From the test bend of the die in the tooling sheet that bends it.
    """
    for m in s.pick(pick):
        if not m.path.bends:
            continue
        e = Evidence.of(m.id)
        need = (
            f"`min_over_max_od` of a test bend for the {m.tube.od:.1f} mm die in the tooling sheet"
        )
        try:
            die = s.build.tooling.die_for(m.tube.od, m.path.bends[0].radius)
        except NotFoundError:
            yield Measure(subject=m.id, evidence=e, missing=need)
            continue
        value = die.min_over_max_od
        guess = expected_roundness(m.tube.od, die.clr)
        said = f"estimated {guess:.2f}, by 20 D / R percent of out-of-roundness, from memory"
        yield Measure(
            subject=m.id,
            value=value,
            evidence=e,
            missing="" if value else need,
            text="" if value else said,
        )


@quantity("bend_count", "count", "number of bends")
def bend_count(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bends in each tube."""
    for m, e in _each(s, pick):
        yield Measure(subject=m.id, value=len(m.path.bends), evidence=e)


@quantity("bend_sum", "deg", "sum of bend angles")
def bend_sum(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Sum of the bend angles of each tube."""
    for m, e in _each(s, pick):
        total = sum(degrees(q.angle) for q in m.path.bends)
        yield Measure(subject=m.id, value=total, evidence=e)


@quantity("side_view_turn", "deg", "turn in side view")
def side_view_turn(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far each tube turns in side view (seen along Y), bends added up; 0 is straight."""
    for m, e in _each(s, pick):
        yield Measure(subject=m.id, value=_turn_seen(m.path), evidence=e)


def _turn_seen(path: CentreLine) -> float:
    """Turn of a centre line in side view, degrees, sampled every half degree of bend."""
    total = 0.0
    for q in path.pieces:
        if not isinstance(q, Arc):
            continue
        n = max(int(degrees(q.angle) * 2), 4)
        t = q.tangent(np.linspace(0.0, q.length, n + 1))[:, [0, 2]]
        size = np.hypot(t[:, 0], t[:, 1])
        keep = t[size > NO_LENGTH]
        a, b = keep[:-1], keep[1:]
        cross = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
        dot = (a * b).sum(axis=1)
        total += float(np.abs(np.arctan2(cross, dot)).sum())
    return degrees(total)


@quantity("lean_from_vertical", "deg", "angle from the vertical")
def lean_from_vertical(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Angle between the vertical and the straight from end to end of each bar, 0 to 90."""
    for bar in joined(s.pick(pick)):
        d = bar.direction
        value = degrees(atan2(hypot(float(d[0]), float(d[1])), abs(float(d[2]))))
        yield Measure(subject=bar.name, value=value, evidence=_ends(bar))


@quantity("bar_count", "count", "number of bars")
def bar_count(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bars of the roles in `of`, pieces that a crossing tube divides counted as one; 0 counts."""
    bars = joined(s.pick(pick))
    name = pick.named[0] if pick.named else "cage"
    ids = [i for b in bars for i in b.ids]
    yield Measure(subject=name, value=len(bars), evidence=Evidence.of(*ids))


@quantity("bars_each_side", "count", "bars on the side")
def bars_each_side(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bars of the roles in `of` on each side of the car (or on `side`), pieces joined; 0 counts."""
    for side in SIDES:
        if pick.side in ("", side):
            bars = s.bars(*pick.named, side=side)
            ids = [i for b in bars for i in b.ids]
            name = pick.named[0] if pick.named else "bars"
            yield Measure(
                subject=f"{name} {side}", both=name, value=len(bars), evidence=Evidence.of(*ids)
            )


@quantity("pieces", "count", "pieces of tube")
def pieces(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Pieces of tube that each bar (or hoop) is made of; 1 is one piece."""
    for bar in joined(s.pick(pick)):
        evidence = Evidence.of(*bar.ids, points=_inner_ends(bar))
        yield Measure(subject=bar.name, value=len(bar.pieces), evidence=evidence)


def _inner_ends(bar: WholeBar) -> list[np.ndarray]:
    points = [m.path.end_point(n) for m in bar.pieces for n in ("a", "b")]
    keep = []
    for p in points:
        outer = min(float(np.linalg.norm(p - q)) for q in (bar.start, bar.end))
        if outer > 1.0:
            keep.append(p)
    return keep


def _ends(bar: WholeBar) -> Evidence:
    return Evidence.of(*bar.ids, points=[bar.start, bar.end])


@quantity("beyond_suspension", "mm", "reach beyond the suspension points")
def beyond_suspension(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Reach of each tube's surface beyond the suspension mounting points along X.

    Ahead of the front or behind the rear ones of the car sheet; negative between them.
    """
    span = s.car.suspension_x
    for m in s.pick(pick):
        if span is None:
            need = "`suspension_x` (rear and front suspension mounting points) in the car sheet"
            yield Measure(subject=m.id, evidence=Evidence.of(m.id), missing=need)
            continue
        key = ("beyond the suspension", m, span)
        yield s.cage.kept.once(key, partial(_beyond_suspension, m, span))


def _beyond_suspension(m: Member, span: tuple[float, float]) -> Measure:
    rear, front = min(span), max(span)
    ahead, tip = extreme(m.path, (1.0, 0.0, 0.0))
    behind, tail = extreme(m.path, (-1.0, 0.0, 0.0))
    over = max((ahead - front, tuple(tip)), (behind + rear, tuple(tail)))
    value = over[0] + m.tube.outer_radius
    return Measure(subject=m.id, value=value, evidence=Evidence.of(m.id, points=[over[1]]))


@quantity("member_length", "mm", "length of the axis")
def member_length(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Length of each tube's centre line between its theoretical ends."""
    for m, e in _each(s, pick):
        yield Measure(subject=m.id, value=m.path.length, evidence=e)


@quantity("joint_count", "count", "joints on the tube")
def joint_count(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Joints on each tube: its own coped ends and the ends of others that are coped to it."""
    for m, e in _each(s, pick):
        own = sum(bool(end.parents) for _, end in m.ends)
        others = sum(m.id in end.parents for o in s.cage.members.values() for _, end in o.ends)
        yield Measure(subject=m.id, value=own + others, evidence=e)

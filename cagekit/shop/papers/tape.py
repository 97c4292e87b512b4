"""Tape checks: distances over the outside of tubes, between spots that a tape can touch."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from msgspec import Struct

from cagekit.cage.cage import Cage
from cagekit.cage.member import EndKind, EndName, Member
from cagekit.geometry.centre_line import Arc, Vec, unit
from cagekit.geometry.end_cut import EndCut
from cagekit.names import named
from cagekit.units.tolerance import SAME_POINT


class TapeCheck(Struct, frozen=True, kw_only=True):
    """A distance to check with a tape over the outside of two tubes, mm.

    ``twin`` is the same distance on the other side; on a symmetrical cage both agree.
    """

    start: str
    end: str
    distance: float
    twin: float | None = None


class Held(Struct, frozen=True, kw_only=True, eq=False):
    """Where a tape is held on a tube.

    Attributes:
        point: on the centre line, ``(3,)`` mm.
        along: direction of the centre line there, ``(3,)``.
        radius: of the tube's outside, mm.
        cut: how the tube ends there; None between its ends.
    """

    point: Vec
    along: Vec
    radius: float
    cut: EndCut | None = None


def tape_checks(cage: Cage, group: Sequence[Member], fitted: Iterable[str]) -> list[TapeCheck]:
    """Checks for tubes that go in together: diagonals, crossed distances, both sides to the hoop.

    Args:
        cage: the cage.
        group: the tubes.
        fitted: ids of those that stand already.
    """
    out: list[TapeCheck] = []
    for member in group:
        if _spans(member):
            out.extend(_hoop_checks(cage, member))
    twins: Mapping[str, Member] = {m.id: m for m in group}
    for member in group:
        other = twins.get(member.id.replace("_left", "_right"))
        if member.side == "left" and other is not None and other is not member:
            out.append(_crossed(cage, member, other))
    base = next((m for m in cage.of_role("main_hoop") if m.id in set(fitted)), None)
    if base is not None:
        for member in group:
            if _spans(member):
                out.extend(_from_hoop(cage, base, member))
    if base is not None and not out:
        # tubes of both sides are held against each other; what has no like is held from the feet
        out.extend(_from_feet(cage, base, member) for member in group)
    return out


def over_outside(a: Held, b: Held) -> float:
    """Distance between the far sides of two tubes, each touched square to its own axis, mm."""
    return float(np.linalg.norm(touched(a, b.point) - touched(b, a.point)))


def touched(spot: Held, other: Vec) -> Vec:
    """Where the tape lies on a tube, ``(3,)`` mm: on the side turned away from the other spot.

    At an end it is the corner there: what lies deeper is inside the parent or below the plate.
    """
    away = spot.point - other
    across = away - (away @ spot.along) * spot.along
    size = float(np.linalg.norm(across))
    side = unit(across) if size > SAME_POINT else np.zeros(3)
    cut = spot.cut
    if cut is None or size <= SAME_POINT:
        return np.asarray(spot.point + spot.radius * side)
    phi = float(np.arctan2(side @ cut.side, side @ cut.zero))
    return np.asarray(cut.points([phi], spot.radius)[0])


def end_spot(cage: Cage, member: Member, end: EndName) -> Held:
    """The end of a tube, as a place to hold a tape.

    Args:
        cage: the cage.
        member: the tube.
        end: which of its ends.
    """
    return Held(
        point=member.path.end_point(end),
        along=member.path.out_direction(end),
        radius=member.tube.outer_radius,
        cut=cage.cut(member.id, end),
    )


def _spans(member: Member) -> bool:
    """Whether a bent tube runs from one side of the car to the other."""
    return bool(member.path.bends) and float(member.path.start[1] * member.path.end[1]) < 0


def _corner(cage: Cage, member: Member, side: str) -> Held:
    """Middle of the bend of that side farthest from the tube's ends."""
    sign = 1.0 if side == "left" else -1.0
    path = member.path
    mids = [
        float(path.starts[i]) + q.length / 2
        for i, q in enumerate(path.pieces)
        if isinstance(q, Arc) and sign * q.point(q.length / 2)[1] > 0
    ]
    if not mids:
        return _end(cage, member, side)
    at = path.spot(min(mids, key=lambda s: abs(s - path.length / 2)))
    return Held(point=at.point, along=at.tangent, radius=member.tube.outer_radius)


def _end(cage: Cage, member: Member, side: str) -> Held:
    sign = 1.0 if side == "left" else -1.0
    return end_spot(cage, member, "a" if sign * float(member.path.start[1]) > 0 else "b")


def _hoop_checks(cage: Cage, member: Member) -> list[TapeCheck]:
    left, right = _end(cage, member, "left"), _end(cage, member, "right")
    name = named(member.id)
    # two bends stand above each other on a side
    upper = "upper " if len(member.path.bends) > 2 else ""
    return [
        TapeCheck(
            start=f"{name}, left end",
            end=f"{name}, middle of {upper}right bend",
            distance=over_outside(left, _corner(cage, member, "right")),
            twin=over_outside(right, _corner(cage, member, "left")),
        ),
        TapeCheck(
            start=f"{name}, left end",
            end=f"{name}, right end",
            distance=over_outside(left, right),
        ),
    ]


def _from_hoop(cage: Cage, hoop: Member, member: Member) -> list[TapeCheck]:
    """A loop ahead of the hoop, held to the hoop's ends: its feet on the car, and its corners."""
    name = named(member.id)
    spots = [("middle of right bend", _corner)]
    if all(e.kind is EndKind.FLAT for _, e in member.ends):
        spots.insert(0, ("right end", _end))
    return [
        TapeCheck(
            start=f"{named(hoop.id)}, left end",
            end=f"{name}, {words}",
            distance=over_outside(_end(cage, hoop, "left"), spot(cage, member, "right")),
            twin=over_outside(_end(cage, hoop, "right"), spot(cage, member, "left")),
        )
        for words, spot in spots
    ]


def _crossed(cage: Cage, left: Member, right: Member) -> TapeCheck:
    return TapeCheck(
        start=f"{named(left.id)}, end A",
        end=f"{named(right.id)}, end B",
        distance=over_outside(end_spot(cage, left, "a"), end_spot(cage, right, "b")),
        twin=over_outside(end_spot(cage, right, "a"), end_spot(cage, left, "b")),
    )


def _from_feet(cage: Cage, hoop: Member, member: Member) -> TapeCheck:
    """A tube without its like on the other side, held from both feet of the hoop."""
    feet = [_end(cage, hoop, s) for s in ("left", "right")]
    ends = {n: end_spot(cage, member, n) for n, _ in member.ends}
    far = max(ends, key=lambda n: min(over_outside(f, ends[n]) for f in feet))
    return TapeCheck(
        start="main hoop, left end (crossed: right end)",
        end=f"{named(member.id)}, end {far.upper()}",
        distance=over_outside(feet[0], ends[far]),
        twin=over_outside(feet[1], ends[far]),
    )

"""Tape checks: distances over the outside of tubes, between spots that a tape can touch."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cagekit.cage.cage import Cage
from cagekit.cage.member import Member
from cagekit.geometry.centre_line import Arc, Vec, unit
from cagekit.units.tolerance import SAME_POINT


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeCheck:
    """A distance to check with a tape over the outside of two tubes, mm.

    ``twin`` is the same distance on the other side; on a symmetrical cage both agree.
    """

    start: str
    end: str
    distance: float
    twin: float | None = None


Station = tuple[Member, float]
"""A spot on a tube: the member and the station on its centre line, mm from end a."""


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
            out.extend(_hoop_checks(member))
    twins: Mapping[str, Member] = {m.id: m for m in group}
    for member in group:
        other = twins.get(member.id.replace("_left", "_right"))
        if member.side == "left" and other is not None:
            out.append(_crossed(member, other))
    base = next((m for m in cage.of_role("main_hoop") if m.id in set(fitted)), None)
    if base is not None and not out:
        out.extend(_from_feet(base, member) for member in group if member.side == "centre")
    return out


def over_outside(a: Station, b: Station) -> float:
    """Distance between the far sides of two tubes, each touched square to its own axis, mm."""
    return float(np.linalg.norm(touched(a, b) - touched(b, a)))


def touched(spot: Station, other: Station) -> Vec:
    """Where the tape lies on a tube: on the side turned away from the other end, ``(3,)`` mm."""
    member, station = spot
    here = member.path.spot(station)
    away = here.point - other[0].path.spot(other[1]).point
    across = away - (away @ here.tangent) * here.tangent
    size = float(np.linalg.norm(across))
    side = unit(across) if size > SAME_POINT else np.zeros(3)
    return np.asarray(here.point + member.tube.outer_radius * side)


def _spans(member: Member) -> bool:
    """Whether a bent tube runs from one side of the car to the other."""
    return bool(member.path.bends) and float(member.path.start[1] * member.path.end[1]) < 0


def _corner(member: Member, side: str) -> Station:
    """Middle of the bend of that side farthest from the tube's ends."""
    sign = 1.0 if side == "left" else -1.0
    path = member.path
    mids = [
        float(path.starts[i]) + q.length / 2
        for i, q in enumerate(path.pieces)
        if isinstance(q, Arc) and sign * q.point(q.length / 2)[1] > 0
    ]
    if not mids:
        return _end(member, side)
    return member, min(mids, key=lambda s: abs(s - path.length / 2))


def _end(member: Member, side: str) -> Station:
    sign = 1.0 if side == "left" else -1.0
    return member, 0.0 if sign * float(member.path.start[1]) > 0 else member.path.length


def _hoop_checks(member: Member) -> list[TapeCheck]:
    left, right = _end(member, "left"), _end(member, "right")
    name = _plain(member.id)
    return [
        TapeCheck(
            start=f"{name}, left end",
            end=f"{name}, middle of right bend",
            distance=over_outside(left, _corner(member, "right")),
            twin=over_outside(right, _corner(member, "left")),
        ),
        TapeCheck(
            start=f"{name}, left end",
            end=f"{name}, right end",
            distance=over_outside(left, right),
        ),
    ]


def _crossed(left: Member, right: Member) -> TapeCheck:
    return TapeCheck(
        start=f"{_plain(left.id)}, end A",
        end=f"{_plain(right.id)}, end B",
        distance=over_outside((left, 0.0), (right, right.path.length)),
        twin=over_outside((right, 0.0), (left, left.path.length)),
    )


def _from_feet(hoop: Member, member: Member) -> TapeCheck:
    """A tube in the middle of the car, held from both feet of the hoop."""
    feet = [_end(hoop, s) for s in ("left", "right")]
    ends = [(member, 0.0), (member, member.path.length)]
    far = max(ends, key=lambda e: min(over_outside(f, e) for f in feet))
    return TapeCheck(
        start="main hoop, left end (crossed: right end)",
        end=f"{_plain(member.id)}, end {'A' if far[1] == 0.0 else 'B'}",
        distance=over_outside(feet[0], far),
        twin=over_outside(feet[1], far),
    )


def _plain(id_: str) -> str:
    return id_.replace("_", " ")

"""Inspection sheet of the builder: what to measure on every tube and weld, with room to sign."""

from __future__ import annotations

from collections.abc import Callable

from msgspec import Struct

from cagekit.cage.cage import Cage
from cagekit.cage.member import Member
from cagekit.geometry.centre_line import Line
from cagekit.names import named

AWAY = 75.0
"""Distance (mm) that a wall reading keeps from bends and welds: common practice; the rulebooks
that ask for a hole want it three inches away."""


class WallSpot(Struct, frozen=True, kw_only=True):
    """Where to measure a wall: ``station`` from end a's tip, ``clear`` of bends and cuts, mm."""

    member: str
    station: float
    clear: float


def wall_spot(cage: Cage, member: Member) -> WallSpot:
    """The middle of the longest straight between the cuts, away from bends and welds."""
    path = member.path
    low = cage.cut(member.id, "a").longest
    high = path.length - cage.cut(member.id, "b").longest
    best = (0.0, 0.0)
    for start, piece in zip(path.starts, path.pieces, strict=False):
        if not isinstance(piece, Line):
            continue
        a, b = max(float(start), low), min(float(start) + piece.length, high)
        if b - a > best[0]:
            best = (b - a, (a + b) / 2)
    room, middle = best
    tip = cage.cut(member.id, "a").shortest
    return WallSpot(member=member.id, station=middle - tip, clear=room / 2)


def inspection_rows(
    cage: Cage, size: Callable[[float], str], length: Callable[[float], str]
) -> list[list[str]]:
    """Rows of the sheet: number and name, tube, where to measure, and blanks for the readings.

    Args:
        cage: the cage.
        size: says a stock size.
        length: says a length for the tape.
    """
    rows = []
    for n, member in enumerate(cage.members.values(), start=1):
        spot = wall_spot(cage, member)
        near = "" if spot.clear >= AWAY else f", only {length(spot.clear)} clear"
        rows.append(
            [
                f"{n} {named(member.id)}",
                f"{size(member.tube.od)} x {size(member.tube.wall)}",
                f"{length(spot.station)} from end A's tip{near}",
            ]
        )
    return rows

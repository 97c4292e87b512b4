"""Bars as a scrutineer counts them: pieces that a crossing tube divides are one bar again."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from msgspec import Struct

from cagekit.cage.member import EndName, Member
from cagekit.geometry.arrays import Points, cross3, size3
from cagekit.geometry.centre_line import Vec, unit
from cagekit.units.tolerance import ALIGNED

IN_LINE = 0.9962
"""Cosine of the largest kink (5 deg) between two pieces of one bar."""
GAP = 1.5
"""Pieces of one bar end within this many diameters of each other (the crossing tube between)."""


class WholeBar(Struct, frozen=True, eq=False):
    """One bar: its pieces in order, its theoretical end points ``(3,)`` and their members' ends."""

    pieces: tuple[Member, ...]
    ends: tuple[tuple[Member, EndName], tuple[Member, EndName]]

    @property
    def ids(self) -> tuple[str, ...]:
        """Ids of the pieces, in order."""
        return tuple(m.id for m in self.pieces)

    @property
    def name(self) -> str:
        """The first piece's id: what a table calls the bar."""
        return min(self.ids)

    @property
    def side(self) -> str:
        """Side of the car, or centre."""
        return self.pieces[0].side

    @property
    def start(self) -> Vec:
        """First theoretical end point, ``(3,)`` mm."""
        member, end = self.ends[0]
        return member.path.end_point(end)

    @property
    def end(self) -> Vec:
        """Last theoretical end point, ``(3,)`` mm."""
        member, end = self.ends[1]
        return member.path.end_point(end)

    @property
    def upper(self) -> Vec:
        """The higher end point."""
        return self.start if self.start[2] >= self.end[2] else self.end

    @property
    def lower(self) -> Vec:
        """The lower end point."""
        return self.end if self.start[2] >= self.end[2] else self.start

    @property
    def bends(self) -> int:
        """Bends in all pieces."""
        return sum(len(m.path.bends) for m in self.pieces)

    @property
    def vertices(self) -> Points:
        """Corners of the pieces, ``(n, 3)`` mm."""
        return np.vstack([m.path.corners() for m in self.pieces])

    @property
    def direction(self) -> Vec:
        """Unit vector from the first end to the second."""
        return unit(self.end - self.start)


def joined(members: Iterable[Member]) -> tuple[WholeBar, ...]:
    """Put the pieces of each bar together again, and bars of one role and side that run in line.

    A tube in the way may also be met by two bars of the file's own, one on each side of it.
    """
    bars: dict[str, list[Member]] = {}
    for member in members:
        bars.setdefault(member.bar, []).append(member)
    free = [[(m, False) for m in pieces] for pieces in bars.values()]
    out: list[WholeBar] = []
    while free:
        chain = free.pop(0)
        while True:
            for grow_end in (True, False):
                member, turned = chain[-1] if grow_end else chain[0]
                name: EndName = "b" if turned is not grow_end else "a"
                found = _next(member, name, free)
                if found is not None:
                    bar, at = found
                    free.remove(bar)
                    # the far chain runs on from the end that was met
                    runs_on = (at == "a") is grow_end
                    more = bar if runs_on else [(m, not t) for m, t in reversed(bar)]
                    chain = [*chain, *more] if grow_end else [*more, *chain]
                    break
            else:
                break
        first, last = chain[0], chain[-1]
        out.append(
            WholeBar(
                tuple(m for m, _ in chain),
                ((first[0], "b" if first[1] else "a"), (last[0], "a" if last[1] else "b")),
            )
        )
    return tuple(sorted(out, key=lambda b: b.name))


Chain = list[tuple[Member, bool]]
"""Pieces in order, each with whether it is turned: its end b first."""


def _next(member: Member, end: EndName, free: list[Chain]) -> tuple[Chain, EndName] | None:
    """The chain that runs on in line from an end, and which of the chain's ends is met."""
    point, out = member.path.end_point(end), member.path.out_direction(end)
    best: tuple[float, Chain, EndName] | None = None
    for chain in free:
        if chain[0][0].side != member.side or chain[0][0].role != member.role:
            continue
        for at in ("a", "b"):
            other, turned = chain[0] if at == "a" else chain[-1]
            name: EndName = "a" if (at == "a") is not turned else "b"
            step = other.path.end_point(name) - point
            gap = size3(step)
            if gap > GAP * (member.tube.od + other.tube.od):
                continue
            if float(out @ other.path.out_direction(name)) > -IN_LINE:
                continue
            aside = float(np.linalg.norm(step - (step @ out) * out))
            if aside > 0.5 * member.tube.od:
                continue
            if best is None or gap < best[0]:
                best = (gap, chain, "a" if at == "a" else "b")
    return None if best is None else (best[1], best[2])


def cross(one: WholeBar, other: WholeBar, along: Vec) -> Vec | None:
    """Where two bars cross as seen along ``along`` (unit, ``(3,)``), away from their ends.

    Returns the point on ``one``, or None when they do not cross.

    Args:
        one: the first bar.
        other: the second.
        along: direction of sight.
    """
    aside = (0.0, 0.0, 1.0) if abs(along[2]) < 0.9 else (1.0, 0.0, 0.0)
    e1 = unit(cross3(along, np.array(aside)))
    e2 = cross3(along, e1)
    flat = np.array([e1, e2])
    a, b = flat @ one.start, flat @ one.end
    c, d = flat @ other.start, flat @ other.end
    m = np.array([b - a, c - d]).T
    if abs(float(np.linalg.det(m))) < ALIGNED:
        return None
    t, u = np.linalg.solve(m, c - a)
    if not (0.05 < t < 0.95 and 0.05 < u < 0.95):
        return None
    return np.asarray(one.start + t * (one.end - one.start))

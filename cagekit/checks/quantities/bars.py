"""Bars as a scrutineer counts them: pieces that a crossing tube divides are one bar again."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from cagekit.cage.member import EndName, Member
from cagekit.geometry.centre_line import Vec, unit

IN_LINE = 0.9962
"""Cosine of the largest kink (5 deg) between two pieces of one bar."""
GAP = 1.5
"""Pieces of one bar end within this many diameters of each other (the crossing tube between)."""


@dataclass(frozen=True, slots=True, eq=False)
class Bar:
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
    def vertices(self) -> Vec:
        """Corners of the pieces, ``(n, 3)`` mm."""
        return np.vstack([m.path.corners() for m in self.pieces])

    @property
    def direction(self) -> Vec:
        """Unit vector from the first end to the second."""
        return unit(self.end - self.start)


def joined(members: Iterable[Member]) -> tuple[Bar, ...]:
    """Join members of one role and side whose ends meet in line."""
    free = list(members)
    out: list[Bar] = []
    while free:
        chain = [(free.pop(0), False)]
        while True:
            for grow_end in (True, False):
                member, turned = chain[-1] if grow_end else chain[0]
                name: EndName = "b" if turned is not grow_end else "a"
                found = _next(member, name, free)
                if found:
                    piece, at = found
                    free.remove(piece)
                    if grow_end:
                        chain.append((piece, at == "b"))
                    else:
                        chain.insert(0, (piece, at == "a"))
                    break
            else:
                break
        first, last = chain[0], chain[-1]
        out.append(
            Bar(
                tuple(m for m, _ in chain),
                ((first[0], "b" if first[1] else "a"), (last[0], "a" if last[1] else "b")),
            )
        )
    return tuple(sorted(out, key=lambda b: b.name))


def _next(member: Member, end: EndName, free: list[Member]) -> tuple[Member, EndName] | None:
    point, out = member.path.end_point(end), member.path.out_direction(end)
    best: tuple[float, Member, EndName] | None = None
    for other in free:
        if other.side != member.side or other.role != member.role:
            continue
        for name, _ in other.ends:
            step = other.path.end_point(name) - point
            gap = float(np.linalg.norm(step))
            if gap > GAP * (member.tube.od + other.tube.od):
                continue
            if float(out @ other.path.out_direction(name)) > -IN_LINE:
                continue
            aside = float(np.linalg.norm(step - (step @ out) * out))
            if aside > 0.5 * member.tube.od:
                continue
            if best is None or gap < best[0]:
                best = (gap, other, name)
    return None if best is None else (best[1], best[2])


def cross(one: Bar, other: Bar, along: Vec) -> Vec | None:
    """Where two bars cross as seen along ``along`` (unit, ``(3,)``), away from their ends.

    Returns the point on ``one``, or None when they do not cross.
    """
    e1 = unit(np.cross(along, (0.0, 0.0, 1.0) if abs(along[2]) < 0.9 else (1.0, 0.0, 0.0)))
    e2 = np.cross(along, e1)
    flat = np.array([e1, e2])
    a, b = flat @ one.start, flat @ one.end
    c, d = flat @ other.start, flat @ other.end
    m = np.array([b - a, c - d]).T
    if abs(float(np.linalg.det(m))) < 1e-6:
        return None
    t, u = np.linalg.solve(m, c - a)
    if not (0.05 < t < 0.95 and 0.05 < u < 0.95):
        return None
    return np.asarray(one.start + t * (one.end - one.start))

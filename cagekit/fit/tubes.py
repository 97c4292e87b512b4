"""All tubes of a cage at once: spots on their centre lines as arrays, nearest points to solids."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import ceil

import numpy as np

from cagekit.cage.member import Member
from cagekit.geometry.arrays import Ints
from cagekit.geometry.centre_line import Arc, Vec, vec
from cagekit.geometry.shapes import Solid
from cagekit.units.tolerance import NO_LENGTH

STEP = 12.0
"""Spacing of the first search along a centre line, mm."""
_ROUNDS, _SPOTS = 5, 9
"""Each round searches a quarter of the step before: 12 mm become 0.01 mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TubeRoom:
    """Room between a tube and a solid.

    Args:
        member: id of the tube.
        gap: between the surfaces (padding counted as part of the tube), mm; negative when they
            run into each other.
        axis_gap: from the tube's centre line to the solid, mm.
        on_tube: spot on the surface of tube or padding, ``(3,)``.
        on_solid: spot on the solid, ``(3,)``.
        station: where along the member, mm from end a.
    """

    member: str
    gap: float
    axis_gap: float
    on_tube: Vec
    on_solid: Vec
    station: float

    @property
    def direction(self) -> Vec:
        """Unit vector from the solid to the tube, ``(3,)``; zero when both spots coincide."""
        d = self.on_tube - self.on_solid
        size = float(np.linalg.norm(d))
        return (
            vec(d / size * (1.0 if self.gap >= 0 else -1.0)) if size > NO_LENGTH else vec((0, 0, 0))
        )


class Tubes:
    """Centre lines of members, as arrays over their pieces.

    Args:
        members: the tubes, in order.
        padding: thickness of padding (mm) by member id.
    """

    def __init__(
        self, members: Iterable[Member], padding: Mapping[str, float] | None = None
    ) -> None:
        self.members = tuple(members)
        pads = padding or {}
        self.ids = tuple(m.id for m in self.members)
        self.radii = np.array([m.tube.outer_radius + pads.get(m.id, 0.0) for m in self.members])
        self._load()
        self._sample()

    def _load(self) -> None:
        owner, low, arc = [], [], []
        base, ahead, out = [], [], []
        radius = []
        for i, member in enumerate(self.members):
            for start, piece in zip(member.path.starts, member.path.pieces, strict=False):
                owner.append(i)
                low.append(float(start))
                bent = isinstance(piece, Arc)
                arc.append(bent)
                base.append(piece.centre if isinstance(piece, Arc) else piece.start)
                ahead.append(piece.direction)
                out.append(piece.radial if isinstance(piece, Arc) else np.zeros(3))
                radius.append(piece.radius if isinstance(piece, Arc) else 1.0)
        self._owner = np.array(owner, dtype=np.intp)
        self._low = np.array(low)
        self._arc = np.array(arc, dtype=bool)
        self._base, self._ahead, self._out = (
            np.array(v, dtype=float).reshape(-1, 3) for v in (base, ahead, out)
        )
        self._radius = np.array(radius)
        self._first = np.searchsorted(self._owner, np.arange(len(self.members)))
        self._count = np.bincount(self._owner, minlength=len(self.members))
        self.lengths = np.array([m.path.length for m in self.members])

    def _sample(self) -> None:
        stations = [np.linspace(0.0, size, max(ceil(size / STEP), 1) + 1) for size in self.lengths]
        self.owner = np.repeat(np.arange(len(stations), dtype=np.intp), [len(s) for s in stations])
        self.stations = np.concatenate(stations) if stations else np.zeros(0)
        self.points = self.at(self.owner, self.stations)
        self._begin = np.searchsorted(self.owner, np.arange(len(stations)))

    def _piece(self, owner: Ints, stations: Vec) -> Ints:
        key = self._owner * 1e7 + self._low
        want = owner * 1e7 + np.maximum(stations, 0.0)
        return np.asarray(np.searchsorted(key, want, side="right") - 1, dtype=np.intp)

    def at(self, owner: Ints, stations: Vec) -> Vec:
        """Centre-line points ``(n, 3)`` at stations ``(n,)`` of the members ``owner`` ``(n,)``."""
        if not len(stations):
            return np.zeros((0, 3))
        i = self._piece(owner, stations)
        s, r = stations - self._low[i], self._radius[i]
        ahead = np.where(self._arc[i], r * np.sin(s / r), s)
        # on a straight the way out has no length
        out = r * np.cos(s / r)
        return np.asarray(
            self._base[i] + ahead[:, None] * self._ahead[i] + out[:, None] * self._out[i]
        )

    def nearest(self, solid: Solid) -> tuple[TubeRoom, ...]:
        """The nearest spot of every member to ``solid``, in the members' order."""
        if not self.members:
            return ()
        coarse = solid.gap(self.points)
        least = np.minimum.reduceat(coarse, self._begin)
        hits = np.flatnonzero(coarse == least[self.owner])
        best = hits[np.searchsorted(self.owner[hits], np.arange(len(self.members)))]
        owner = np.arange(len(self.members), dtype=np.intp)
        station, gap = self._refine(solid, owner, self.stations[best], coarse[best])
        points = self.at(owner, station)
        spots = solid.nearest(points)
        return tuple(
            self._gap(i, points[i], spots[i], gap[i], station[i]) for i in range(len(owner))
        )

    def _refine(self, solid: Solid, owner: Ints, station: Vec, gap: Vec) -> tuple[Vec, Vec]:
        reach = STEP
        for _ in range(_ROUNDS):
            offsets = np.linspace(-reach, reach, _SPOTS)
            tries = np.clip(station[:, None] + offsets, 0.0, self.lengths[:, None])
            who = np.repeat(owner, _SPOTS)
            gaps = solid.gap(self.at(who, tries.ravel())).reshape(tries.shape)
            pick = np.argmin(gaps, axis=1)
            rows = np.arange(len(owner))
            better = gaps[rows, pick] < gap
            station = np.where(better, tries[rows, pick], station)
            gap = np.where(better, gaps[rows, pick], gap)
            reach /= (_SPOTS - 1) / 2
        return station, gap

    def _gap(self, i: int, point: Vec, spot: Vec, axis_gap: float, station: float) -> TubeRoom:
        r = float(self.radii[i])
        way = spot - point
        size = float(np.sqrt(way @ way))
        inside = axis_gap < 0
        surface = point + (r / size) * (-way if inside else way) if size > NO_LENGTH else point
        return TubeRoom(
            member=self.ids[i],
            gap=float(axis_gap) - r,
            axis_gap=float(axis_gap),
            on_tube=vec(surface),
            on_solid=vec(spot),
            station=float(station),
        )

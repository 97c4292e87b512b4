"""All tubes of a cage at once: spots on their centre lines as arrays, nearest points to solids."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from cagekit.cage.member import Member
from cagekit.geometry.arrays import Array, Ints, size_rows
from cagekit.geometry.centre_line import Arc, Vec, vec
from cagekit.geometry.shapes import Solid, gaps
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

    def nearest(self, solids: Sequence[Solid]) -> list[tuple[TubeRoom, ...]]:
        """The nearest spot of every member to each solid, in the members' order.

        What a solid gets is the same to the last bit whatever solids stand beside it.
        """
        if not self.members or not solids:
            return [() for _ in solids]
        coarse = gaps(solids, self.points[None])
        least = np.minimum.reduceat(coarse, self._begin, axis=1)
        row, spot = np.nonzero(coarse == least[:, self.owner])
        # the first of equals: rows and, in them, members rise
        _, first = np.unique(row * len(self.members) + self.owner[spot], return_index=True)
        best = spot[first].reshape(len(solids), -1)
        station, gap = self._refine(solids, self.stations[best], least)
        points = self._at_all(station)
        spots = np.array([s.nearest(p) for s, p in zip(solids, points, strict=True)])
        return self._rooms(points, spots, gap, station)

    def _at_all(self, stations: Array) -> Array:
        """Points ``(k, n, .., 3)`` of all n members at stations ``(k, n, ..)``."""
        shape = stations.shape
        owner = np.arange(len(self.members)).reshape(1, -1, *(1,) * (len(shape) - 2))
        return self.at(np.broadcast_to(owner, shape).ravel(), stations.ravel()).reshape(*shape, 3)

    def _refine(self, solids: Sequence[Solid], station: Array, gap: Array) -> tuple[Array, Array]:
        reach = STEP
        k, n = station.shape
        for _ in range(_ROUNDS):
            offsets = np.linspace(-reach, reach, _SPOTS)
            tries = np.clip(station[..., None] + offsets, 0.0, self.lengths[:, None])
            found = gaps(solids, self._at_all(tries).reshape(k, -1, 3)).reshape(k, n, _SPOTS)
            pick = np.argmin(found, axis=2)[..., None]
            new, at = (np.take_along_axis(v, pick, axis=2)[..., 0] for v in (found, tries))
            better = new < gap
            station, gap = np.where(better, at, station), np.where(better, new, gap)
            reach /= (_SPOTS - 1) / 2
        return station, gap

    def _rooms(
        self, points: Array, spots: Array, axis_gap: Array, station: Array
    ) -> list[tuple[TubeRoom, ...]]:
        """The rooms of nearest points ``(k, n, 3)`` on axes and on solids."""
        way = spots - points
        size = size_rows(way)
        some = size > NO_LENGTH
        scale = np.where(some, self.radii / np.where(some, size, 1.0), 0.0)
        surface = points + np.where(axis_gap < 0, -scale, scale)[..., None] * way
        surface.setflags(write=False)
        spots.setflags(write=False)
        gap, axis, along = (v.tolist() for v in (axis_gap - self.radii, axis_gap, station))
        return [
            tuple(
                TubeRoom(
                    member=name, gap=gap[k][i], axis_gap=axis[k][i],
                    on_tube=surface[k, i], on_solid=spots[k, i], station=along[k][i],
                )
                for i, name in enumerate(self.ids)
            )
            for k in range(len(points))
        ]  # fmt: skip

"""All tubes of a cage at once: spots on their centre lines as arrays, nearest points to solids."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from math import ceil
from typing import NamedTuple, Self

import numpy as np
from msgspec import Struct

from cagekit.cage.member import Member
from cagekit.geometry.arrays import Array, Ints, Points, even, size3, size_rows
from cagekit.geometry.centre_line import Arc, Vec, vec
from cagekit.geometry.shapes import Solid, Solids
from cagekit.units.tolerance import NO_LENGTH

STEP = 12.0
"""Spacing of the first search along a centre line, mm."""
_ROUNDS, _SPOTS = 5, 9
"""Each round searches a quarter of the step before: 12 mm become 0.01 mm."""


class TubeRoom(Struct, frozen=True, kw_only=True, eq=False):
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
        size = size3(d)
        return (
            vec(d / size * (1.0 if self.gap >= 0 else -1.0)) if size > NO_LENGTH else vec((0, 0, 0))
        )


class _Spots(NamedTuple):
    """Spots along all axes: the member and station (mm) of each, points, where a member begins."""

    owner: Ints
    stations: Vec
    points: Points
    begin: Ints


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
        self._key = self._owner * 1e7 + self._low
        self.lengths = np.array([m.path.length for m in self.members])

    def some(self, places: Sequence[int]) -> Self:
        """Some of them, by their places, which rise."""
        new = object.__new__(type(self))
        new.members = tuple(self.members[i] for i in places)
        new.ids = tuple(self.ids[i] for i in places)
        at = list(places)
        new.radii, new.lengths = self.radii[at], self.lengths[at]
        number = np.full(len(self.members), -1)
        number[at] = np.arange(len(at))
        owner = number[self._owner]
        rows = np.flatnonzero(owner >= 0)
        new._owner = owner[rows]
        for name in ("_low", "_arc", "_base", "_ahead", "_out", "_radius"):
            setattr(new, name, getattr(self, name)[rows])
        new._key = new._owner * 1e7 + new._low
        return new

    def bare(self) -> Self:
        """The same without padding."""
        new = object.__new__(type(self))
        vars(new).update(vars(self), radii=np.array([m.tube.outer_radius for m in self.members]))
        return new

    @cached_property
    def _spots(self) -> _Spots:
        stations = [even(size, max(ceil(size / STEP), 1) + 1) for size in self.lengths.tolist()]
        owner = np.repeat(np.arange(len(stations), dtype=np.intp), [len(s) for s in stations])
        along = np.concatenate(stations) if stations else np.zeros(0)
        begin = np.searchsorted(owner, np.arange(len(stations)))
        return _Spots(owner, along, self.at(owner, along), begin)

    def _piece(self, owner: Ints, stations: Vec) -> Ints:
        want = owner * 1e7 + np.maximum(stations, 0.0)
        return np.asarray(np.searchsorted(self._key, want, side="right") - 1, dtype=np.intp)

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
        shape = len(solids), len(self.members)
        tube = np.broadcast_to(np.arange(len(self.members)), shape)
        return self.rooms(solids, tube, *self.swept(solids), np.broadcast_to(self.radii, shape))

    def swept(self, solids: Sequence[Solid]) -> tuple[Array, Array]:
        """Least distance (mm) of spots on every axis from each solid, and their stations.

        ``(k, n)`` for k solids and n members. Between two spots an axis may come nearer to a solid
        by half a step at most.
        """
        spots = self._spots
        coarse = Solids(solids).gaps(spots.points[None])
        least = np.minimum.reduceat(coarse, spots.begin, axis=1)
        row, spot = np.nonzero(coarse == least[:, spots.owner])
        # the first of equals: rows and, in them, members rise
        _, first = np.unique(row * len(self.members) + spots.owner[spot], return_index=True)
        return least, spots.stations[spot[first]].reshape(least.shape)

    def among(
        self,
        solids: Sequence[Solid],
        asked: Sequence[tuple[int, int]],
        least: Array,
        station: Array,
        radii: Array,
    ) -> list[TubeRoom]:
        """The rooms of some members to some solids, from spots swept: one for each that is asked.

        Args:
            solids: k of them.
            asked: places of solid and member.
            least: distances of all n members as swept, ``(k, n)`` mm.
            station: where along them, ``(k, n)`` mm.
            radii: of each with what is on it, ``(k, n)`` mm.
        """
        of: dict[int, list[int]] = {}
        for solid, tube in asked:
            of.setdefault(solid, []).append(tube)
        most = max(map(len, of.values()))
        rows = list(of)
        # rows of one length: what is too much is looked at twice
        at = np.array([those + those[:1] * (most - len(those)) for those in of.values()])
        these = np.array(rows)[:, None], at
        found = self.rooms(
            [solids[i] for i in rows], at, least[these], station[these], radii[these]
        )
        rooms = {i: iter(row) for i, row in zip(rows, found, strict=True)}
        return [next(rooms[solid]) for solid, _ in asked]

    def rooms(
        self, solids: Sequence[Solid], tube: Ints, least: Array, station: Array, radii: Array
    ) -> list[tuple[TubeRoom, ...]]:
        """Close in on the nearest spots, from those swept: a row of rooms for each solid.

        What a tube gets is the same to the last bit whatever tubes and solids stand beside it.

        Args:
            solids: k of them.
            tube: places of the members to look at, ``(k, c)``.
            least: their distance as swept, ``(k, c)`` mm.
            station: where along them, ``(k, c)`` mm.
            radii: of each with what is on it, ``(k, c)`` mm.
        """
        together = Solids(solids)
        station, gap = self._refine(together, tube, station, least)
        points = self._at_all(tube, station)
        spots = together.nearest(points)
        return self._rooms(tube, radii, points, spots, gap, station)

    def _at_all(self, tube: Ints, stations: Array) -> Array:
        """Points ``(k, c, .., 3)`` of members ``(k, c)`` at stations ``(k, c, ..)``."""
        owner = tube.reshape(*tube.shape, *(1,) * (stations.ndim - 2))
        points = self.at(np.broadcast_to(owner, stations.shape).ravel(), stations.ravel())
        return points.reshape(*stations.shape, 3)

    def _refine(
        self, solids: Solids, tube: Ints, station: Array, gap: Array
    ) -> tuple[Array, Array]:
        shape, k = station.shape, len(solids)
        station, gap = station.ravel(), gap.ravel()
        rows, most = np.arange(len(gap)), self.lengths[tube].reshape(-1, 1)
        offsets = np.linspace(-STEP, STEP, _SPOTS)
        for _ in range(_ROUNDS):
            tries = np.minimum(np.maximum(station[:, None] + offsets, 0.0), most)
            points = self._at_all(tube, tries.reshape(*shape, _SPOTS))
            found = solids.gaps(points.reshape(k, -1, 3)).reshape(-1, _SPOTS)
            pick = np.argmin(found, axis=1)
            new = found[rows, pick]
            better = new < gap
            station = np.where(better, tries[rows, pick], station)
            gap = np.where(better, new, gap)
            offsets = offsets / ((_SPOTS - 1) / 2)
        return station.reshape(shape), gap.reshape(shape)

    def _rooms(
        self, tube: Ints, radii: Array, points: Array, spots: Array, axis_gap: Array, station: Array
    ) -> list[tuple[TubeRoom, ...]]:
        """The rooms of nearest points ``(k, c, 3)`` on axes and on solids."""
        way = spots - points
        size = size_rows(way)
        some = size > NO_LENGTH
        scale = np.where(some, radii / np.where(some, size, 1.0), 0.0)
        surface = points + np.where(axis_gap < 0, -scale, scale)[..., None] * way
        surface.setflags(write=False)
        spots.setflags(write=False)
        numbers = (v.tolist() for v in (tube, axis_gap - radii, axis_gap, station))
        rows = zip(*numbers, surface, spots, strict=True)
        return [
            tuple(
                TubeRoom(
                    member=self.ids[i], gap=gap, axis_gap=axis,
                    on_tube=on_tube, on_solid=on_solid, station=along,
                )
                for i, gap, axis, along, on_tube, on_solid in zip(*row, strict=True)
            )
            for row in rows
        ]  # fmt: skip

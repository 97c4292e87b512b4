"""Places found on a cage: which point, and what a tube that ends there meets.

How places are written is told in ``cagekit.inputs.places``.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from difflib import get_close_matches
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from cagekit.cage.made import words_of
from cagekit.cage.member import Member
from cagekit.errors import GeometryError, InputError
from cagekit.geometry.arrays import size3
from cagekit.geometry.centre_line import Arc, Spot, Vec, unit, vec
from cagekit.inputs.car import Car
from cagekit.inputs.places import AtPoint, Location, OnCar, OnTube
from cagekit.units.tolerance import SAME_POINT

if TYPE_CHECKING:
    from cagekit.cage.bolted import BoltedTube
    from cagekit.cage.door import SwingDoor

MOVES: Mapping[str, tuple[int, float]] = {
    "up": (2, 1.0),
    "down": (2, -1.0),
    "forward": (0, 1.0),
    "back": (0, -1.0),
    "inboard": (1, -1.0),
    "outboard": (1, 1.0),
}


EXTREMES: Mapping[str, tuple[int, int]] = {
    "top": (2, 1),
    "low": (2, -1),
    "front": (0, 1),
    "rear": (0, -1),
}
"""Axis and sign by which a bend is the ``top`` one."""
OF_THE_WHOLE = ("fraction", "station", "middle", "end a", "end b")
"""Places that are counted along the whole of a bar in pieces."""


class Place(Struct, frozen=True, kw_only=True, eq=False):
    """A place found: the node, and what a tube that ends there meets.

    ``members`` are the parents, ``normal`` the direction away from the surface it stands on.
    """

    point: Vec
    members: tuple[str, ...] = ()
    spot: Spot | None = None
    normal: Vec | None = None
    foot: str = ""
    surface: str = ""


def _along(pieces: Sequence[Member], p: OnTube) -> Iterable[tuple[Member, OnTube]]:
    """The pieces of a bar that may have a place, and what it is on each.

    A share, a station, the middle and an end are counted along all of them, from end a of the
    first; else it is the first piece that has the place.
    """
    if len(pieces) == 1 or p.at not in OF_THE_WHOLE:
        return [(m, p) for m in pieces]
    ends = np.cumsum([m.path.length for m in pieces])
    whole = float(ends[-1])
    station = {
        "fraction": p.value * whole, "station": p.value, "middle": whole / 2, "end a": 0.0,
        "end b": whole,
    }[p.at]  # fmt: skip
    n = min(int(np.searchsorted(ends, station - SAME_POINT)), len(pieces) - 1)
    start = float(ends[n] - pieces[n].path.length)
    return [(pieces[n], replace(p, at="station", value=station - start))]


def _keys(name: str, side: str) -> tuple[str, ...]:
    """What a name of a place may mean, by its side first."""
    return (f"{name}_{side}", name) if side else (name,)


class Places:
    """Finds places on the members made so far.

    Args:
        car: on whose metal places are too.
        members: by id.
        left_out: names that the build leaves out.
        divided: tubes of which the members are pieces, by the name that the files call them by: a
            place on one is counted along the whole of it.
    """

    def __init__(
        self,
        car: Car,
        members: Mapping[str, Member],
        left_out: Collection[str] = (),
        divided: Mapping[str, SwingDoor | BoltedTube] = MappingProxyType({}),
    ) -> None:
        self.car, self.members, self.left_out, self.divided = car, members, left_out, divided

    def find(self, p: Location, *, where: str) -> Place:
        """Find a place; InputError for a wrong name, GeometryError off the tube.

        Raises:
            InputError: a name is wrong.
            GeometryError: the tube has no such place.
        """
        if isinstance(p, AtPoint):
            return Place(point=vec(p.point))
        if isinstance(p, OnCar):
            return self.car_foot(p.side, p.spot, where=where)
        others = tuple(self.member(o, "", where=where, text=p).id for o in p.others)
        for key in _keys(p.member, p.side):
            if key in self.divided:
                member, spot = self._on_piece(self.divided[key], p, where)
                names = dict.fromkeys((*_node_of(member, spot), member.id, *others))
                return Place(point=spot.point, members=tuple(names), spot=spot)
        pieces = self.pieces(p.member, p.side, where=where, text=p)
        for member, its in _along(pieces, p):
            try:
                spot = self._spot(member, its, where)
            except GeometryError:
                if len(pieces) == 1:
                    raise
                continue
            names = dict.fromkeys((*_node_of(member, spot), member.id, *others))
            return Place(point=spot.point, members=tuple(names), spot=spot)
        raise GeometryError(
            p.member, f"has no such place on any of its {len(pieces)} pieces: {str(p)!r}."
        )

    def _on_piece(self, tube: SwingDoor | BoltedTube, p: OnTube, where: str) -> tuple[Member, Spot]:
        """The piece of a tube that comes apart which has a place, and where; else the nearest."""
        point = self._spot(tube.fitted, p, where).point
        near = [(m, m.path.nearest(point)) for m in (self.members[i] for i in tube.pieces)]
        return min(near, key=lambda found: size3(found[1].point - point))

    def _spot(self, member: Member, p: OnTube, where: str) -> Spot:
        station = self._station(member, p, where)
        if p.move:
            station = self._moved(member, station, p, where)
        return member.path.spot(station)

    def pieces(
        self, name: str, side: str = "", *, where: str, text: OnTube | str = ""
    ) -> tuple[Member, ...]:
        """The member of that name, or the pieces of the bar of that name, from its end a.

        Args:
            name: of the member or bar.
            side: of the member, when the name leaves it open.
            where: what a message names.
            text: the place as written, for messages.
        """
        for key in _keys(name, side):
            if key in self.members:
                return (self.members[key],)
            pieces = tuple(self.members[w.id] for w in words_of(self.members) if w.bar == key)
            if pieces:
                return pieces
        return (self.member(name, side, where=where, text=text),)

    def member(self, name: str, side: str = "", *, where: str, text: OnTube | str = "") -> Member:
        """The member of that name (and side); InputError names the closest one there is.

        Args:
            name: of the member.
            side: of the member, when the name leaves it open.
            where: what a message names.
            text: the place as written, for messages.

        Raises:
            InputError: there is none of that name yet; tells the nearest.
        """
        for key in _keys(name, side):
            if key in self.members:
                return self.members[key]
        if name in self.left_out:
            raise InputError(
                where,
                "",
                str(text) or name,
                problem=f"the build leaves {name!r} out (omit = true).",
                hint="Leave this out too, or write it on another member.",
            )
        own = {i for tube in self.car.chassis.tube for i in tube.axes()}.intersection(
            _keys(name, side)
        )
        if own:
            raise InputError(
                where,
                "",
                str(text) or name,
                problem=f"{min(own)!r} is a tube of the car's own frame, which is not made here.",
                hint="Name a tube of the cage.",
            )
        near = get_close_matches(f"{name}_{side}" if side else name, list(self.members), 1)
        hint = (
            f"Did you mean {near[0]!r}?"
            if near
            else f"So far there are: {', '.join(self.members) or 'none'}."
        )
        raise InputError(
            where,
            "",
            str(text) or name,
            problem=f"there is no member {name!r} yet (members are made in order).",
            hint=hint,
        )

    def car_foot(self, side: str, foot: str, *, where: str) -> Place:
        """The place on the car's sheet metal where a foot lands.

        Args:
            side: ``left`` or ``right``.
            foot: name of the foot on the car sheet.
            where: what a message names.

        Raises:
            InputError: the car sheet has no such measurement; tells those it has.
        """
        measured = self.car.side(side).feet()
        if foot not in measured:
            raise InputError(
                where,
                f"{side}.{foot}",
                problem="the car sheet has no such measurement.",
                hint=f"Measured on that side: {', '.join(measured)}. Measure it and add it to the "
                f"car sheet, under [{side}.spots.{foot}] when it is a place of your own.",
            )
        spot = measured[foot]
        sign = 1.0 if side == "left" else -1.0
        x, y, z = spot.point
        if spot.tube is not None:
            found = self.member(spot.tube, side, where=where, text=f"{side}.{foot}")
            axis = found.path.nearest(vec((x, sign * y, z)))
            return Place(point=axis.point, members=(found.id,), spot=axis, foot=f"{side}.{foot}")
        nx, ny, nz = spot.normal
        return Place(
            point=vec((x, sign * y, z)),
            normal=unit((nx, sign * ny, nz)),
            foot=f"{side}.{foot}",
            surface=spot.surface,
        )

    def _station(self, member: Member, p: OnTube, where: str) -> float:
        low, high = _half(member, p.side)
        station = self._counted(member, p, low, high, where)
        on_half = low - SAME_POINT <= station <= high + SAME_POINT
        if not on_half and p.at != "middle":  # it is that of both halves
            raise GeometryError(
                member.id,
                f"has that place on its other half, not on the {p.side} ({where}: {str(p)!r}); "
                "a station, a fraction and a bend's number count from end a of the whole tube.",
                f"The {p.side} half is fraction {low / member.path.length:.3g} to "
                f"{high / member.path.length:.3g}.",
            )
        return station

    def _counted(self, member: Member, p: OnTube, low: float, high: float, where: str) -> float:
        path = member.path
        match p.at:
            case "middle":
                return path.length / 2
            case "fraction":
                return p.value * path.length
            case "station":
                if not -SAME_POINT <= p.value <= path.length + SAME_POINT:
                    raise GeometryError(
                        member.id,
                        f"has no station {p.value:.1f} mm ({where}: {str(p)!r}); from end a to end "
                        f"b it is {path.length:.1f} mm long.",
                        "Give a station from 0 to that.",
                    )
                return path.spot(p.value).station
            case "end a":
                return 0.0
            case "end b":
                return path.length
            case "foot":
                return self._foot(member, p, where)
            case "height" | "x" | "y":
                return self._crossing(member, p, low, high, where)
            case _:
                return self._bend(member, p, low, high, where)

    def _foot(self, member: Member, p: OnTube, where: str) -> float:
        """Station of the lower end, on the side asked for."""
        ends = [(n, member.path.end_point(n)) for n, _ in member.ends]
        here = [(n, q) for n, q in ends if not p.side or (q[1] > 0) == (p.side == "left")]
        if not here:
            raise InputError(where, "", str(p), problem=f"{member.id} has no foot there.")
        name = min(here, key=lambda e: float(e[1][2]))[0]
        return 0.0 if name == "a" else member.path.length

    def _crossing(self, member: Member, p: OnTube, low: float, high: float, where: str) -> float:
        axis = {"x": 0, "y": 1, "height": 2}[p.at]
        value = p.value
        if p.at == "y" and p.side == "right":
            value = -abs(value)
        for s in member.path.level_stations(axis, value):
            if low - SAME_POINT <= s <= high + SAME_POINT:
                return s
        reach = member.path.points(np.linspace(low, high, 200))[:, axis]
        raise GeometryError(
            member.id,
            f"has no place at {p.at} {value:.1f} mm ({where}: {str(p)!r}); "
            f"it runs from {reach.min():.0f} to {reach.max():.0f} mm there.",
            f"Give {'an x' if p.at == 'x' else f'a {p.at}'} between these.",
        )

    def _bend(self, member: Member, p: OnTube, low: float, high: float, where: str) -> float:
        path = member.path
        starts: list[float] = path.starts.tolist()
        bends = [(s, q) for s, q in zip(starts, path.pieces, strict=False) if isinstance(q, Arc)]
        middles = [s + q.length / 2 for s, q in bends]
        if p.at == "bend":
            n = int(p.value)
            if n > len(bends):
                raise GeometryError(
                    member.id,
                    f"has {len(bends)} bends, no bend {n} ({where}: {str(p)!r}).",
                    "They count from end a." if bends else "Say a fraction or a height.",
                )
            return middles[n - 1]
        here = [n for n, s in enumerate(middles) if low - SAME_POINT <= s <= high + SAME_POINT]
        if not here:
            raise GeometryError(
                member.id,
                f"has no bend there ({where}: {str(p)!r}).",
                "Say a fraction or a height.",
            )
        if len(here) > 1:
            axis, sign = EXTREMES[p.at.split()[0]]
            points = path.bend_middles
            return middles[max(here, key=lambda n: sign * points[n][axis])]
        return middles[here[0]]

    def _moved(self, member: Member, station: float, p: OnTube, where: str) -> float:
        axis, sign = MOVES[p.move]
        path = member.path
        spot = path.spot(station)
        if axis == 1:
            sign *= 1.0 if spot.point[1] >= 0 else -1.0
        slope = float(spot.tangent[axis]) * sign
        if abs(slope) < 0.05:
            raise GeometryError(
                member.id,
                f"does not run {p.move} there ({where}: {str(p)!r}).",
                "Say another way along the tube.",
            )
        out = station + p.by * (1.0 if slope > 0 else -1.0)
        if not 0 <= out <= path.length:
            raise GeometryError(
                member.id,
                f"ends before {p.by:.0f} mm {p.move} ({where}: {str(p)!r}).",
                "Move it less far.",
            )
        return out


def _node_of(member: Member, spot: Spot) -> tuple[str, ...]:
    """What a tube is coped to at its end, where a place is that end: they share the node."""
    for name, end in member.ends:
        station = 0.0 if name == "a" else member.path.length
        if abs(spot.station - station) < SAME_POINT:
            return end.parents
    return ()


def _half(member: Member, side: str) -> tuple[float, float]:
    """Stations between which the member lies on ``side``; the whole tube when it never crosses."""
    path = member.path
    if not side or len(path.mids) != 1:
        return 0.0, path.length
    mids = path.mids
    left_first = float(path.start[1]) > 0
    if (side == "left") == left_first:
        return 0.0, mids[0].station
    return mids[0].station, path.length

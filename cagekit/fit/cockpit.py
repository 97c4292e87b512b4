"""The cockpit: everybody in the car together with the tubes around them."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial

import numpy as np
from msgspec import Struct

from cagekit.cage.kept import Kept, Same, hashed
from cagekit.cage.member import Member
from cagekit.errors import NotFoundError
from cagekit.fit.tubes import STEP, TubeRoom, Tubes
from cagekit.geometry.arrays import Array
from cagekit.geometry.centre_line import Spot, Vec, vec
from cagekit.geometry.shapes import Ring, Solid
from cagekit.inputs.car import Car
from cagekit.inputs.driver import Driver
from cagekit.people.posture import FIST, Occupant, seated
from cagekit.units.tolerance import MICRON, NO_LENGTH

_BARE = ("seat back", "head rest")
"""Padding faces people; against a seat it is cut away."""


class Reading(Struct, frozen=True, kw_only=True, eq=False):
    """One measured quantity.

    Args:
        value: the number (mm, rad or a share, as the measuring function says); None when
            nothing could be measured.
        members: tubes it was measured on.
        points: spots that show it, ``(3,)`` each, mm.
        note: which way, which part, what was assumed.
        missing: what is needed before it can be measured.
        absent: what the cage does not have, so that there is nothing to measure.
    """

    value: float | None
    members: tuple[str, ...] = ()
    points: tuple[Vec, ...] = ()
    note: str = ""
    missing: str = ""
    absent: str = ""


@dataclass(eq=False)
class Cockpit:
    """Occupants and tubes.

    Args:
        car: the car sheet.
        occupants: who sits in it, the driver first.
        members: tubes of the cage, and of the car's own frame, by id.
        padding: thickness of padding by member id, mm.
        kept: room of tubes among the same people and in the same car, from before.
    """

    car: Car
    occupants: tuple[Occupant, ...]
    members: Mapping[str, Member]
    padding: Mapping[str, float] = field(default_factory=dict)
    kept: Kept = field(default_factory=Kept, repr=False)
    _gaps: dict[tuple[int, str], dict[str, TubeRoom]] = field(default_factory=dict, repr=False)
    _tight: dict[tuple[int, str], dict[str, TubeRoom]] = field(default_factory=dict, repr=False)
    _some: dict[tuple[int, ...], Tubes] = field(default_factory=dict, repr=False)

    @classmethod
    def of(
        cls,
        car: Car,
        drivers: Sequence[Driver],
        members: Mapping[str, Member],
        padding: Mapping[str, float] | None = None,
    ) -> Cockpit:
        """Seat the drivers among the members.

        Args:
            car: the car sheet.
            drivers: one for each seat that is taken, the driver first.
            members: the tubes, by id.
            padding: its thickness by member id, mm.
        """
        return cls(car, seated(car, drivers), members, dict(padding or {}))

    @cached_property
    def tubes(self) -> Tubes:
        """All members, padding included."""
        return Tubes(self.members.values(), self.padding)

    @cached_property
    def bare(self) -> Tubes:
        """All members, steel only."""
        return self.tubes.bare() if self.padding else self.tubes

    def with_role(self, *roles: str) -> tuple[Member, ...]:
        """Members of any of ``roles``, in build order."""
        return tuple(m for m in self.members.values() if m.role in roles)

    def gaps(self, who: Occupant, part: str) -> dict[str, TubeRoom]:
        """Room between one part of a body, or what is beside it, and every tube, by member id."""
        if (who.index, part) not in self._gaps:
            # who asks for one asks for all in turn
            people = self.occupants if part in self._bodies[who.index] else (who,)
            named = [self._named(w, part) for w in people]
            found = self.gaps_to(named, padded=part not in _BARE)
            self._gaps.update(zip([(w.index, part) for w in people], found, strict=True))
        return self._gaps[who.index, part]

    def nearest(self, who: Occupant, part: str) -> dict[str, TubeRoom]:
        """The same for those tubes alone that may be the nearest to it."""
        key = who.index, part
        if not self._tight:
            self._close_in()
        return self._tight[key] if key in self._tight else self.gaps(who, part)

    def _to(self, roles: Collection[str], who: Occupant, part: str) -> dict[str, TubeRoom]:
        """The same to tubes of some roles, others may be told of: of a body all are asked for."""
        if part in self._bodies[who.index]:
            return self.gaps(who, part)
        (found,) = self.gaps_to([self._named(who, part)], padded=part not in _BARE, roles=roles)
        return found

    @cached_property
    def _bodies(self) -> dict[int, Mapping[str, Solid]]:
        return {w.index: self.kept.once(("body", Same(w)), w.parts) for w in self.occupants}

    def _named(self, who: Occupant, part: str) -> tuple[Hashable, Solid]:
        """A part of a body, or what is beside it, after what it hangs on."""
        solid = self._bodies[who.index].get(part) or self._beside(who, part)
        return (Same(self.car), Same(who), part), solid

    def _close_in(self) -> None:
        """The rooms of all parts of all people and their seats to the tubes next to them."""
        asked = [(who, part) for who in self.occupants for part in self._bodies[who.index]]
        asked += [(who, "seat back") for who in self.occupants]
        asked += [(who, "head rest") for who in self.occupants if who.head_rest is not None]
        named = [self._named(*row) for row in asked]
        padded = np.array([part not in _BARE for _, part in asked])
        radii = np.where(padded[:, None], self.tubes.radii, self.bare.radii)
        people = hashed([Same(self.car), *map(Same, self.occupants)])
        found = self._next_to(people, named, radii) if radii.size else [{} for _ in named]
        for (who, part), rooms in zip(asked, found, strict=True):
            self._tight[who.index, part] = rooms

    def close_to(
        self,
        of: Hashable,
        named: Sequence[tuple[Hashable, Solid]],
        limits: Sequence[float],
        roles: Sequence[Collection[str]],
    ) -> list[dict[str, TubeRoom]]:
        """Room between solids and the tubes that may be nearer than a limit, or the nearest.

        Args:
            of: what stands for all the solids together where they may be met again.
            named: solids whose distances are true ones, each with what stands for it.
            limits: of each, mm.
            roles: of tubes that do not count at each.
        """
        members = self.bare.members
        if not members or not named:
            return [{} for _ in named]
        radii = np.broadcast_to(self.bare.radii, (len(named), len(members)))
        counted = np.array([[m.role not in out for m in members] for out in roles])
        return self._next_to(of, named, np.where(counted, radii, -np.inf), limits)

    def _next_to(
        self,
        of: Hashable,
        named: Sequence[tuple[Hashable, Solid]],
        radii: Array,
        limits: Sequence[float] | float = -np.inf,
    ) -> list[dict[str, TubeRoom]]:
        """Room between each solid and the tubes that may be the nearest, or nearer than a limit.

        Args:
            of: what stands for all the solids together.
            named: the solids.
            radii: of the tubes at each solid, ``(k, n)`` mm; minus infinity of those not asked for.
            limits: mm, of all or of each.
        """
        members, solids = self.tubes.members, [solid for _, solid in named]
        least, station = self._swept(of, solids)
        room = least - radii
        bound = np.maximum(room.min(axis=1), limits)[:, None] + MICRON
        near = (room - STEP / 2 <= bound) & (room < np.inf)
        solid, tube = (v.tolist() for v in np.nonzero(near))
        sizes = radii[near].tolist()
        names = [hashed(("room", name)) for name, _ in named]
        keys = [(names[i], members[j], r) for i, j, r in zip(solid, tube, sizes, strict=True)]

        def measured(places: list[int]) -> list[TubeRoom]:
            asked = [(solid[place], tube[place]) for place in places]
            return self.tubes.among(solids, asked, least, station, radii)

        out: list[dict[str, TubeRoom]] = [{} for _ in named]
        for i, gap in zip(solid, self.kept.each(keys, measured), strict=True):
            out[i][gap.member] = gap
        return out

    def _swept(self, of: Hashable, solids: Sequence[Solid]) -> tuple[Array, Array]:
        """How near the spots of all tubes come to solids, kept for each tube and all of them."""

        def measured(places: list[int]) -> list[tuple[Vec, Vec]]:
            least, station = self._only(tuple(places)).swept(solids)
            return list(zip(least.T, station.T, strict=True))

        keys = [("swept", of, m) for m in self.tubes.members]
        least, station = zip(*self.kept.each(keys, measured), strict=True)
        return np.array(least).T, np.array(station).T

    def gaps_to(
        self,
        named: Sequence[tuple[Hashable, Solid]],
        *,
        padded: bool = False,
        roles: Collection[str] | None = None,
    ) -> list[dict[str, TubeRoom]]:
        """Room between solids and every tube, or its padding, by member id.

        Args:
            named: solids, each with what stands for it where it may be met again.
            padded: padding is part of its tube.
            roles: of the tubes; all when None.
        """
        whole = self.tubes if padded else self.bare
        rows = zip(whole.members, whole.radii.tolist(), strict=True)
        tubes = [(i, m, r) for i, (m, r) in enumerate(rows) if roles is None or m.role in roles]
        if not tubes:
            return [{} for _ in named]
        names = [hashed(("room", name)) for name, _ in named]
        keys = [(name, m, r) for name in names for _, m, r in tubes]

        def measured(missing: list[int]) -> list[TubeRoom]:
            asked = [divmod(n, len(tubes)) for n in missing]
            some = sorted({k for _, k in asked})
            at = tuple(tubes[k][0] for k in some)
            only = self._only(at)
            which = sorted({i for i, _ in asked})
            solids = [named[i][1] for i in which]
            row, column = ({n: i for i, n in enumerate(those)} for those in (which, some))
            least, station = only.swept(solids)
            radii = np.broadcast_to(whole.radii[list(at)], least.shape)
            here = [(row[i], column[k]) for i, k in asked]
            return only.among(solids, here, least, station, radii)

        found = self.kept.each(keys, measured)
        parts = (found[i : i + len(tubes)] for i in range(0, len(found), len(tubes)))
        return [{g.member: g for g in part} for part in parts]

    def _only(self, places: tuple[int, ...]) -> Tubes:
        """Some of the members, by their places: where they are, with padding or without."""
        if len(places) == len(self.tubes.members):
            return self.tubes
        if places not in self._some:
            self._some[places] = self.tubes.some(places)
        return self._some[places]

    def _beside(self, who: Occupant, part: str) -> Solid:
        """What belongs to a body without being a part of it."""
        if part == "seat back":
            return who.seat_back
        if part == "head rest":
            assert who.head_rest is not None
            return who.head_rest
        if part == "hands on the wheel":
            return self.wheel(FIST)
        raise NotFoundError(f"a body has no part {part}.")

    def wheel(self, radius: float) -> Ring:
        """The steering wheel's rim, its section ``radius`` mm."""
        wheel = self.car.wheel
        tilt = wheel.column_angle
        axis = vec((-np.cos(tilt), 0.0, np.sin(tilt)))
        return Ring(vec(wheel.centre), axis, wheel.diameter / 2, radius)

    def closest(
        self, who: Occupant, parts: Iterable[str], *, roles: Iterable[str] | None = None
    ) -> tuple[str, TubeRoom] | None:
        """The tightest of several parts against members of ``roles`` (all when None).

        Args:
            who: the person.
            parts: of the body.
            roles: of the tubes.

        Returns:
            Part and gap; None when there is no such member.
        """
        wanted = None if roles is None else set(roles)
        rooms = self.nearest if wanted is None else partial(self._to, wanted)
        found = [
            (gap.gap, i, part, gap)
            for i, part in enumerate(parts)
            for gap in rooms(who, part).values()
            if wanted is None or self.members[gap.member].role in wanted
        ]
        if not found:
            return None
        _, _, part, gap = min(found, key=lambda row: (round(row[0], 6), row[1], row[3].member))
        return part, gap

    def crossing(
        self, members: Iterable[Member], point: Vec, normal: Vec
    ) -> list[tuple[Member, Spot]]:
        """Every spot where the members meet a plane.

        Args:
            members: the tubes.
            point: on the plane, ``(3,)`` mm.
            normal: of the plane, ``(3,)``.
        """
        return [(m, s) for m in members for s in m.path.crossings(point, normal)]


def bearing(direction: Vec) -> str:
    """Say a direction in words: ahead, behind, above, below, left, right."""
    names = (("ahead", "behind"), ("left", "right"), ("above", "below"))
    along = direction.tolist()
    if max(map(abs, along)) < NO_LENGTH:
        return "through it"
    order = sorted(range(3), key=lambda i: -abs(along[i]))
    words = [names[i][0 if along[i] > 0 else 1] for i in order if abs(along[i]) > 0.38]
    return " and ".join(words[:2])

"""The cockpit: everybody in the car together with the tubes around them."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from cagekit.cage.kept import Kept, Same
from cagekit.cage.member import Member
from cagekit.errors import NotFoundError
from cagekit.fit.tubes import TubeRoom, Tubes
from cagekit.geometry.centre_line import Spot, Vec, vec
from cagekit.geometry.shapes import Ring, Solid
from cagekit.inputs.car import Car
from cagekit.inputs.driver import Driver
from cagekit.people.posture import FIST, Occupant, seated
from cagekit.units.tolerance import NO_LENGTH


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
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
    _some: dict[tuple[tuple[int, ...], bool], Tubes] = field(default_factory=dict, repr=False)

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
        return Tubes(self.members.values()) if self.padding else self.tubes

    def with_role(self, *roles: str) -> tuple[Member, ...]:
        """Members of any of ``roles``, in build order."""
        return tuple(m for m in self.members.values() if m.role in roles)

    def gaps(self, who: Occupant, part: str) -> dict[str, TubeRoom]:
        """Room between one part of a body and every tube, by member id."""
        if (who.index, part) not in self._gaps:
            self._reach(who, part)
        return self._gaps[who.index, part]

    def _reach(self, who: Occupant, part: str) -> None:
        """Measure a part of a body; all parts at one go, as whoever asks for one asks for more."""
        body: Mapping[str, Solid] = who.parts()
        solids = body if part in body else {part: self._beside(who, part)}
        named = [((Same(self.car), Same(who), name), s) for name, s in solids.items()]
        # padding faces people; against a seat it is cut away
        padded = part not in ("seat back", "head rest")
        for name, found in zip(solids, self.gaps_to(named, padded=padded), strict=True):
            self._gaps[who.index, name] = found

    def gaps_to(
        self, named: Sequence[tuple[Hashable, Solid]], *, padded: bool = False
    ) -> list[dict[str, TubeRoom]]:
        """Room between solids and every tube, or its padding, by member id.

        Args:
            named: solids, each with what stands for it where it may be met again.
            padded: padding is part of its tube.
        """
        whole = self.tubes if padded else self.bare
        tubes = list(zip(whole.members, whole.radii.tolist(), strict=True))
        keys = [(("room", name), m, r) for name, _ in named for m, r in tubes]

        def measured(places: list[int]) -> list[TubeRoom]:
            asked: dict[int, list[int]] = {}
            for place in places:
                asked.setdefault(place // len(tubes), []).append(place % len(tubes))
            alike: dict[tuple[int, ...], list[int]] = {}
            for solid, which in asked.items():
                alike.setdefault(tuple(which), []).append(solid)
            found: dict[int, tuple[TubeRoom, ...]] = {}
            for those, solids in alike.items():
                only = self._only(those, padded=padded)
                found.update(zip(solids, only.nearest([named[i][1] for i in solids]), strict=True))
            return [room for i in asked for room in found[i]]

        rooms = self.kept.each(keys, measured)
        rows = (rooms[i : i + len(tubes)] for i in range(0, len(rooms), max(len(tubes), 1)))
        return [{g.member: g for g in row} for row in rows] if tubes else [{} for _ in named]

    def _only(self, places: tuple[int, ...], *, padded: bool) -> Tubes:
        """Some of the members, by their places."""
        whole = self.tubes if padded else self.bare
        if len(places) == len(whole.members):
            return whole
        key = (places, padded)
        if key not in self._some:
            chosen = [whole.members[i] for i in places]
            self._some[key] = Tubes(chosen, self.padding if padded else None)
        return self._some[key]

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
        self,
        who: Occupant,
        parts: Iterable[str],
        *,
        roles: Iterable[str] | None = None,
        without: Iterable[str] = (),
    ) -> tuple[str, TubeRoom] | None:
        """The tightest of several parts against members of ``roles`` (all when None).

        Args:
            who: the person.
            parts: of the body.
            roles: of the tubes.
            without: ids of tubes to leave out.

        Returns:
            Part and gap; None when there is no such member.
        """
        wanted = None if roles is None else set(roles)
        leave = set(without)
        found = [
            (gap.gap, i, part, gap)
            for i, part in enumerate(parts)
            for gap in self.gaps(who, part).values()
            if (wanted is None or self.members[gap.member].role in wanted)
            and self.members[gap.member].role not in leave
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
    size = np.abs(direction)
    if float(size.max(initial=0.0)) < NO_LENGTH:
        return "through it"
    order = np.argsort(-size, kind="stable")
    words = [names[i][0] if direction[i] > 0 else names[i][1] for i in order if size[i] > 0.38]
    return " and ".join(words[:2])

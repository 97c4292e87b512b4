"""The survey of a cage: hoops, legs, feet and junctions found once, for every quantity to use."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cached_property, partial
from math import atan2, pi
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from cagekit.cage.kept import hashed
from cagekit.cage.member import CHASSIS, EndKind, EndName, Member
from cagekit.car.shell import ShellSurface
from cagekit.checks.quantities.bars import WholeBar, joined
from cagekit.checks.quantities.quantity import Measure, Pick, Quantity, quantities
from cagekit.design import Design
from cagekit.fit.cockpit import Cockpit
from cagekit.fit.view_angles import PillarView, pillar_view
from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import Arc, CentreLine, Vec, vec
from cagekit.materials.steels import family
from cagekit.plates.foot import HOOPS, foot_kind
from cagekit.plates.in_car import PlateGround, ground_of
from cagekit.plates.points import kept_points
from cagekit.units import lengths_in

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.cage.door import SwingDoor
    from cagekit.cage.plate import Plate
    from cagekit.inputs.build import Build
    from cagekit.inputs.car import Car
    from cagekit.inputs.driver import Driver
    from cagekit.inputs.tooling import Tooling
    from cagekit.people.posture import Occupant
    from cagekit.swing.motion import Swept

Asked: TypeAlias = tuple[str, Pick]
"""A quantity by name, and what it is measured on."""
Found: TypeAlias = Mapping[Asked, tuple[Measure, ...]]

HandSide = Literal["left", "right"]
SIDES: tuple[HandSide, HandSide] = ("left", "right")

FRAME_ROLES = (*HOOPS, "halo", "roof_rail", "header_bar", "rear_brace", "a_pillar_bar")
"""Roles whose mutual junctions the rulebooks measure from."""
CARRIERS = ("outrigger", CHASSIS)
"""Roles that are part of the car under the cage: a foot may land on them."""


class StandingEnd(Struct, frozen=True, eq=False):
    """Where a member stands on the car.

    ``kind`` is ``hoop`` (main, front, lateral, half hoop or A-pillar bar), ``backstay`` or
    ``other``; ``direct`` tells a foot that lands on a carrier tube without a plate.
    """

    member: Member
    end: EndName
    kind: Literal["hoop", "backstay", "other"]
    direct: bool

    @property
    def point(self) -> Vec:
        """Theoretical end point of the tube, ``(3,)`` mm."""
        return self.member.path.end_point(self.end)

    @property
    def name(self) -> str:
        """The member, with the side for a hoop that stands on both."""
        if self.member.side in SIDES:
            return self.member.id
        return f"{self.member.id} {side_of(self.point)}"


class Junction(Struct, frozen=True, eq=False):
    """A node where frame members meet: point ``(3,)`` and member ids."""

    point: Vec
    members: tuple[str, ...]
    roles: frozenset[str]


class Survey:
    """One cage as the rules see it.

    Args:
        design: the build and its cage.

    ``pause`` is called before each quantity, if there is one: it may wait, or raise to break off.
    """

    def __init__(self, design: Design) -> None:
        self.design = design
        self.pause: Callable[[], None] | None = None
        self._views: dict[tuple[int, str], PillarView | None] = {}
        self._swept: dict[str, Swept] = {}
        self._measured: dict[Asked, tuple[Measure, ...]] = {}
        self._picked: dict[Pick, tuple[Member, ...]] = {}
        self._joined: dict[tuple[tuple[str, ...], str], tuple[WholeBar, ...]] = {}
        self._nodes: dict[tuple[str, ...], tuple[Vec, Member] | None] = {}

    def __reduce__(self) -> tuple[type[Survey], tuple[Design]]:
        """Only the design goes into another process: what was measured is worked out there."""
        return type(self), (self.design,)

    def measured(self, quantity: Quantity, pick: Pick) -> tuple[Measure, ...]:
        """What a quantity measures on the picked members, each worked out once.

        Measures equal to those of a version before are the same objects: what was told of them
        holds.
        """
        key = (quantity.name, pick)
        if key not in self._measured:
            if self.pause is not None:
                self.pause()
            found = tuple(quantity.measure(self, pick))
            inches = self.design.units == "in"
            self._keep(key, tuple(map(_in_inches, found)) if inches else found)
        return self._measured[key]

    @property
    def found(self) -> Found:
        """All that was measured so far."""
        return MappingProxyType(self._measured)

    def measure(self, asked: Iterable[Asked]) -> None:
        """Measure what will be asked for."""
        known = quantities()
        for name, pick in asked:
            self.measured(known[name], pick)

    def take(self, found: Found) -> None:
        """Take what was measured elsewhere on the same cage: it is not measured again."""
        for key, measures in found.items():
            self._keep(key, measures)

    def _keep(self, key: Asked, found: tuple[Measure, ...]) -> None:
        same = hashed(("measures", *key, found))
        self._measured[key] = self.cage.kept.once(same, lambda: found)

    @cached_property
    def groups(self) -> Mapping[str, str]:
        """What tubes are called together with the same on the other side, by id.

        The same object for every version in which that is the same.
        """
        own = tuple((m.id, m.group) for m in self.cage.members.values() if m.id == m.entry)
        return self.cage.kept.once(("groups", own), lambda: MappingProxyType(dict(own)))

    def plate_points(self, plate: Plate) -> Points:
        """Points all over a plate of the cage in car axes, ``(n, 3)`` mm, laid once."""
        return kept_points(self.cage, plate)

    @cached_property
    def shell(self) -> tuple[ShellSurface, ...]:
        """Every surface of the car and the keep-outs."""
        return self.ground.shell

    @cached_property
    def ground(self) -> PlateGround:
        """What of the car plates are held against."""
        return ground_of(self.cage.kept, self.car)

    @property
    def build(self) -> Build:
        """The build."""
        return self.design.build

    @property
    def cage(self) -> Cage:
        """The cage."""
        return self.design.cage

    @property
    def car(self) -> Car:
        """The car sheet."""
        return self.build.car

    @property
    def drivers(self) -> tuple[Driver, ...]:
        """The driver sheets, the driver first."""
        return self.build.drivers

    @property
    def tooling(self) -> Tooling:
        """The shop."""
        return self.design.tooling

    @cached_property
    def members(self) -> tuple[Member, ...]:
        """The tubes of the cage itself, without the carriers under it, in build order."""
        return tuple(m for m in self.cage.members.values() if m.role not in CARRIERS)

    @property
    def driver_side(self) -> HandSide:
        """Side of the car that the driver sits on."""
        return self.car.driver_side

    @property
    def co_driver(self) -> bool:
        """Whether somebody rides beside the driver."""
        return any(d.role == "co_driver" for d in self.drivers)

    def side_named(self, word: str) -> Literal["", "left", "right"]:
        """``driver`` or ``passenger`` as left or right."""
        if word == "driver":
            return self.driver_side
        if word == "passenger":
            return other_side(self.driver_side)
        return word  # type: ignore[return-value]

    def pick(self, pick: Pick) -> tuple[Member, ...]:
        """The members a rule looks at, each pick made once."""
        if pick not in self._picked:
            those = self.cage.kept.once(("picked", pick, self._marks), partial(self._places, pick))
            self._picked[pick] = tuple([self.members[i] for i in those])
        return self._picked[pick]

    @cached_property
    def _marks(self) -> tuple[tuple[str, ...], ...]:
        """All of each member that a pick hangs on."""
        return hashed((m.role, m.id, m.side, m.tube.material) for m in self.members)

    def _places(self, pick: Pick) -> tuple[int, ...]:
        """Places of the members that a pick takes."""
        return tuple(
            i
            for i, m in enumerate(self.members)
            if (not pick.side or m.side == pick.side)
            and pick.takes(m.role, m.id)
            and (not pick.steel or self.steel_family(m) == pick.steel)
        )

    def of_role(self, *roles: str) -> tuple[Member, ...]:
        """Members of the given roles."""
        return tuple(m for m in self.members if m.role in roles)

    def one(self, role: str) -> Member | None:
        """The first member of a role."""
        return next(iter(self.of_role(role)), None)

    def bars(self, *roles: str, side: str = "") -> tuple[WholeBar, ...]:
        """Bars of the given roles, pieces joined, each once."""
        key = (roles, side)
        if key not in self._joined:
            rows = (m for m in self.of_role(*roles) if not side or m.side == side)
            self._joined[key] = joined(rows)
        return self._joined[key]

    def steel_family(self, member: Member) -> str:
        """``alloy`` for chromium-molybdenum tube, else ``mild``."""
        return family(member.tube.material)

    # --- hoops -------------------------------------------------------------------------

    @cached_property
    def main_hoop(self) -> Member | None:
        """The main hoop, or its first piece."""
        return self.one("main_hoop")

    @cached_property
    def layout(self) -> str:
        """Which base structure it is."""
        has = {m.role for m in self.members}
        if "front_hoop" in has and "main_hoop" in has:
            return "front_hoop"
        if "lateral_hoop" in has:
            return "lateral_hoops"
        if "half_hoop" in has and "main_hoop" in has:
            return "half_hoops"
        if "halo" in has and "main_hoop" in has:
            return "halo"
        return "roll_bar" if "main_hoop" in has else "none"

    def leg(self, hoop: Member, side: HandSide) -> CentreLine | None:
        """The leg of a hoop on one side, from its foot upwards to the centre plane (or its end)."""
        path = hoop.path
        if hoop.side in SIDES:
            if hoop.side != side:
                return None
            return path if path.start[2] <= path.end[2] else path.reversed()
        mids = path.crossings((0.0, 0.0, 0.0), (0.0, 1.0, 0.0))
        if len(mids) != 1 or not 1.0 < mids[0].station < path.length - 1.0:
            return None
        first, second = path.split(mids[0].station)
        return first if side_of(path.start) == side else second.reversed()

    # --- feet and junctions ------------------------------------------------------------

    @cached_property
    def feet(self) -> tuple[StandingEnd, ...]:
        """Every end that stands on the car: flat on plate or sheet, or on an outrigger."""
        boxed = {end for p in self.plates if p.outrigger for end in p.ends}
        hung = {i for door in self.cage.doors for i in door.pieces}
        there = {**self.cage.chassis, **self.cage.members}
        out = []
        for m in self.members:
            if m.id in hung:
                continue
            for name, end in m.ends:
                parents = [there[p] for p in end.parents if p in there]
                carried = bool(parents) and all(p.role in CARRIERS for p in parents)
                carried = carried or end.surface == "outrigger" or f"{m.id}.{name}" in boxed
                if end.kind is EndKind.FLAT or carried:
                    out.append(StandingEnd(m, name, foot_kind(m), carried))
        return tuple(out)

    def feet_of(self, pick: Pick) -> tuple[StandingEnd, ...]:
        """Feet by kind (``hoop``, ``backstay``, ``other``) or by role of their member."""
        return tuple(
            f
            for f in self.feet
            if pick.takes(f.kind, f.member.role, f.member.id)
            and (not pick.side or side_of(f.point) == pick.side)
        )

    def front_foot(self, side: HandSide) -> StandingEnd | None:
        """The foot of the front leg on one side, whichever member stands there."""
        for role in ("front_hoop", "half_hoop", "lateral_hoop", "a_pillar_bar"):
            feet = [f for f in self.feet if f.member.role == role and side_of(f.point) == side]
            if feet:
                return max(feet, key=lambda f: float(f.point[0]))
        return None

    @cached_property
    def junctions(self) -> tuple[Junction, ...]:
        """Nodes where frame members meet each other."""
        out: list[Junction] = []
        for m in self.of_role(*FRAME_ROLES):
            for name, end in m.ends:
                parents = [self.cage.members[p] for p in end.parents if p in self.cage.members]
                frame = [p for p in parents if p.role in FRAME_ROLES]
                if frame:
                    ids = (m.id, *(p.id for p in frame))
                    roles = frozenset([m.role, *(p.role for p in frame)])
                    out.append(Junction(m.path.end_point(name), ids, roles))
        return tuple(out)

    def brace_node(self, brace: WholeBar) -> tuple[Vec, Member] | None:
        """Where a rear brace meets the hoop: its upper end and the hoop, None when it does not."""
        if brace.ids not in self._nodes:
            self._nodes[brace.ids] = self._brace_node(brace)
        return self._nodes[brace.ids]

    def _brace_node(self, brace: WholeBar) -> tuple[Vec, Member] | None:
        hoop = self.main_hoop
        if hoop is None:
            return None
        best = min(
            ((gap_to(hoop.path, p), i) for i, p in enumerate((brace.start, brace.end))),
            key=lambda x: x[0],
        )
        if best[0] > hoop.tube.od:
            return None
        return (brace.start, brace.end)[best[1]], hoop

    # --- plates ------------------------------------------------------------------------

    @property
    def plates(self) -> tuple[Plate, ...]:
        """Every plate of the cage."""
        return tuple(self.cage.plates)

    # --- people ------------------------------------------------------------------------

    @property
    def cockpit(self) -> Cockpit:
        """Everybody as seated among the tubes, padding on; empty without driver sheets."""
        return self.design.cockpit

    def pillar_view(self, who: Occupant, side: str) -> PillarView | None:
        """What is hidden from somebody at one pillar, worked out once."""
        key = (who.index, side)
        if key not in self._views:
            self._views[key] = pillar_view(self.cockpit, who, side)
        return self._views[key]

    def swept(self, door: SwingDoor) -> Swept:
        """A swing-out bar swung open, worked out once."""
        from cagekit.swing.motion import sweep

        if door.bar not in self._swept:
            self._swept[door.bar] = sweep(self.cage, self.car, door)
        return self._swept[door.bar]

    # --- pillar and swing-out ----------------------------------------------------------

    @cached_property
    def pillar_braced(self) -> bool:
        """Whether both sides have a windscreen-pillar brace."""
        return {m.side for m in self.of_role("windscreen_brace")} >= set(SIDES)

    @cached_property
    def swing_out(self) -> bool:
        """Whether a door bar swings out."""
        return any(m.swing is not None for m in self.members)


def _in_inches(m: Measure) -> Measure:
    """A measure whose words tell lengths in inches, as the build's papers do."""
    said = {name: getattr(m, name) for name in _WORDS}
    told = {name: lengths_in(words, "in") for name, words in said.items() if " mm" in words}
    if " mm" in m.evidence.note:
        note = lengths_in(m.evidence.note, "in")
        return replace(m, evidence=replace(m.evidence, note=note), **told)
    return replace(m, **told) if told else m


_WORDS = ("missing", "absent", "broken", "met", "text", "cure")


def side_of(point: Iterable[float]) -> HandSide:
    """Which side of the centre plane a point is on."""
    _, y, _ = point
    return "left" if y >= 0 else "right"


def other_side(side: str) -> HandSide:
    """The opposite side."""
    return "right" if side == "left" else "left"


def extreme(path: CentreLine, direction: Iterable[float]) -> tuple[float, Vec]:
    """How far a centre line reaches along ``direction`` (unit, ``(3,)``): value (mm) and point."""
    d = np.asarray(tuple(direction), float)
    spots = [path.start]
    for q in path.pieces:
        spots.append(q.end)
        if isinstance(q, Arc):
            a = atan2(float(q.direction @ d), float(q.radial @ d)) % (2 * pi)
            if a < q.angle:
                spots.append(vec(q.point(a * q.radius)))
    values = [float(p @ d) for p in spots]
    i = int(np.argmax(values))
    return values[i], spots[i]


def gap_to(path: CentreLine, point: Vec) -> float:
    """Distance from a point to a centre line, mm."""
    return float(np.linalg.norm(path.nearest(point).point - point))

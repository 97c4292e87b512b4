"""One bolted joint as a build asks for it: where it is, what its bolts are, what is in its way."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil, cos, pi, sin
from typing import TYPE_CHECKING, Any, Generic, TypeVar

import numpy as np
from msgspec import Struct

from cagekit.cage.bolted import steep
from cagekit.cage.member import Member
from cagekit.errors import InputError, NotFoundError
from cagekit.geometry.centre_line import Vec, unit, vec
from cagekit.inputs.bolted import JointEntry
from cagekit.inputs.presets import key_error
from cagekit.materials.fasteners import fastener
from cagekit.materials.pins import PinSize, pin_size
from cagekit.materials.tubes import Tube
from cagekit.swing.hardware import PinChoice, choose_bolt
from cagekit.units import LengthUnit, format_length
from cagekit.units.tolerance import ROUNDING

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage

USUAL_GRADE: Mapping[bool, str] = {False: "10.9", True: "grade-8"}
"""Grade of a bolt that says none, by whether its size is in inches."""
EDGE = 0.5
"""Metal between a hole and an end or side, in hole diameters, that is no metal any more
(common practice)."""
WELD_ROOM = 10.0
"""Clear of the cope's weld at a node, mm (common practice)."""
SPIGOT = 0.6
"""Usual spigot in tube diameters (common practice)."""
STEP = 0.5
"""Usual sizes are whole steps of this, mm."""

Entry = TypeVar("Entry", bound=JointEntry)


def usual_size(mm: float) -> float:
    """The next whole step that is not below ``mm``: what is usual keeps to its own least."""
    return ceil(mm / STEP - ROUNDING) * STEP


def spigot_length(typed: float | None, tube: Tube) -> float:
    """Length of a spigot in its tube, mm: as typed, or what is usual in such a tube."""
    return usual_size(SPIGOT * tube.od) if typed is None else float(typed)


class Asked(Struct, Generic[Entry], frozen=True, eq=False):
    """One joint as asked for: on which tube, at which station, and where the file says it."""

    member: Member
    station: float
    entry: Entry
    index: int
    where: str
    typed: str
    units: LengthUnit

    def wrong(self, field: str, value: object, problem: str, hint: str) -> InputError:
        """What a field says cannot be."""
        return key_error(self.where, ("joint", self.index, field), value, problem, hint)

    def place_wrong(self, problem: str, hint: str) -> InputError:
        """The joint cannot be where it is."""
        return self.wrong("at", self.typed, problem, hint)

    def said(self, mm: float) -> str:
        """A length in the build's units."""
        return format_length(mm, self.units)

    def least(self, mm: float) -> str:
        """A length as the least that will do: typed as printed it does."""
        return format_length(mm, self.units, rounding="up")

    def most(self, mm: float) -> str:
        """A length as the most that will do: typed as printed it does."""
        return format_length(mm, self.units, rounding="down")

    @property
    def ground(self) -> Mapping[str, Any]:
        """What every kind of joint takes from its place on the tube."""
        along = vec(self.member.path.spot(self.station).tangent)
        turn = float(self.entry.turn)
        return {
            "station": self.station,
            "origin": self.member.path.spot(self.station).point,
            "along": along,
            "across": _across(along, turn),
            "turn": turn,
            "material": self.member.tube.material,
            "side": self.member.side,
        }

    def bolt(self, usual: Mapping[str, str]) -> tuple[PinSize, str]:
        """Size and grade of its bolts; ``usual`` are the kind's sizes by the build's units."""
        name = self.entry.bolt_size or usual[self.units]
        try:
            size = pin_size(name)
        except NotFoundError as error:
            raise self.wrong("bolt_size", name, str(error), "") from error
        grade = self.entry.bolt_grade or USUAL_GRADE["/" in size.size]
        try:
            fastener(size.thread, grade)
        except NotFoundError as error:
            raise self.wrong("bolt_grade", grade, str(error), "") from error
        return size, grade

    def long_enough(self, size: PinSize, grade: str, grip: float, outer: float) -> PinChoice:
        """The bolt that is bought; refuse a grip (mm) that none of the table holds."""
        choice = choose_bolt(size, grade, grip, outer)
        if not choice.found:
            raise self.wrong(
                "bolt_size", size.size,
                f"no bolt of that size in the table is long enough for {self.said(grip)} of "
                f"joint ({self.said(choice.needed)} under the head).",
                "Use a larger size or thinner parts.",
            )  # fmt: skip
        return choice

    def clear(self, cage: Cage, covers: float, what: str, cure: str) -> tuple[float, float]:
        """Stations between which the tube is clear round the joint, mm; refuse one on a weld.

        A branch on the tube bounds that stretch as the welds at its own ends do.

        Args:
            cage: the tubes, whole.
            covers: what the joint takes up to each side of its middle, mm.
            what: its name for people.
            cure: what makes it shorter.
        """
        bar, at = self.member, self.station
        low = _clear(cage, bar, "a")
        high = bar.path.length - _clear(cage, bar, "b")
        on = [
            (bar.path.nearest(j.point).station, cage.member(j.branch))
            for j in cage.children(bar.id)
        ]
        for before, after, name in [(s - m.tube.od, s + m.tube.od, m.id) for s, m in on]:
            if before < at + covers and after > at - covers:
                raise self.place_wrong(
                    f"its {what} would lie where {name} is welded to {bar.id}.",
                    "Move the joint along the tube.",
                )
            low = max(low, after) if after <= at else low
            high = min(high, before) if before >= at else high
        if at - covers < low or at + covers > high:
            raise self.place_wrong(
                f"its {what} of {self.said(2 * covers)} needs a place between "
                f"{self.said(low + covers)} and {self.said(high - covers)} along {bar.id}, clear "
                f"of the welds at its ends; this one is {self.said(at)} from end a.",
                f"Move the joint along the tube, or {cure}.",
            )
        return low, high


def _clear(cage: Cage, bar: Member, end: str) -> float:
    """From the theoretical end of a tube to where it is whole all round and its weld ends, mm."""
    cut = cage.cut(bar.id, "a" if end == "a" else "b")
    phi = np.linspace(0.0, 2 * pi, 72, endpoint=False)
    return float(np.max(cut.trim(phi, bar.tube.outer_radius))) + WELD_ROOM


def _across(along: Vec, turn: float) -> Vec:
    """Direction of the bolts: as upright as can be, turned about the tube."""
    up = np.array([1.0, 0.0, 0.0] if steep(along) else [0.0, 0.0, 1.0])
    first = unit(up - (up @ along) * along)
    return unit(cos(turn) * first + sin(turn) * np.cross(along, first))

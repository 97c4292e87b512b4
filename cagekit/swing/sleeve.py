"""Tubes that come apart: divided where a build says so, and bolted together in sleeves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil, cos, pi, sin, sqrt
from typing import TYPE_CHECKING

import numpy as np

from cagekit.cage.door import SmallPart, Stage
from cagekit.cage.member import Member, Plane
from cagekit.cage.places import Places
from cagekit.cage.sleeve import SLEEVE, SleevedTube, SleeveJoint, steep
from cagekit.errors import GeometryError, InputError, NotFoundError
from cagekit.geometry.centre_line import Line, Vec, unit, vec
from cagekit.geometry.drill import Drill
from cagekit.geometry.outline import Outline
from cagekit.inputs.presets import key_error
from cagekit.inputs.sleeve import BoltedJoint, spread_joints
from cagekit.materials.fasteners import fastener
from cagekit.materials.pins import PinSize, pin_size
from cagekit.swing.divide import SawCut, cut_apart
from cagekit.swing.hardware import PinSeat, bolt_set, choose_bolt, ring
from cagekit.swing.spec import MOST_SLEEVE
from cagekit.units import INCH, format_length, lengths_in
from cagekit.units.tolerance import ROUNDING

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.inputs.build import Build

USUAL_SIZE: Mapping[str, str] = {"mm": "M8", "in": "5/16"}
"""Bolts by the build's units (common practice)."""
USUAL_GRADE: Mapping[bool, str] = {False: "10.9", True: "grade-8"}
"""Grade of a bolt that says none, by whether its size is in inches."""
DIAMETERS = 3.0
"""Length of a sleeve in tube diameters (common practice)."""
LEAST_WALL = 3.0
"""Wall of a sleeve that says none, mm, where the tube's is thinner (common practice)."""
STEP: Mapping[str, float] = {"mm": 5.0, "in": INCH / 4}
"""The usual length is rounded up to this, mm."""
MOST_JOINTS = 2
"""Three sleeves in a row on one tube: the pieces between them hang on nothing."""
EDGE = 0.5
"""Metal between a hole and the end of its tube, in hole diameters, that is no metal any more
(common practice)."""
WELD_ROOM = 10.0
"""Clear of the cope's weld at a node, mm (common practice)."""
LETTERS = "abc"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sleeved:
    """A divided tube: its pieces from end a, what it is made of, and its small parts."""

    pieces: tuple[Member, ...]
    tube: SleevedTube
    hardware: tuple[SmallPart, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """One joint as asked for: on which tube, at which station, and where the file says it."""

    member: Member
    station: float
    entry: BoltedJoint
    index: int
    where: str
    typed: str

    def wrong(self, field: str, value: object, problem: str, hint: str) -> InputError:
        return key_error(self.where, ("joint", self.index, field), value, problem, hint)

    def place_wrong(self, problem: str, hint: str) -> InputError:
        return self.wrong("at", self.typed, problem, hint)


def sleeve_all(build: Build, cage: Cage) -> tuple[Sleeved, ...]:
    """Divide every tube of a build that has bolted sleeves.

    Args:
        build: the build.
        cage: its tubes, whole.

    Raises:
        InputError: a joint cannot be where the file says, with its line, and what would do.
    """
    where = str(build.files.get("build", build.name))
    places = Places(build.car, cage.members, build.names_left_out)
    by_tube: dict[str, list[_Asked]] = {}
    for n, place, entry in spread_joints(build.file.joint):
        typed = lengths_in(str(entry.at), build.units)
        if place.open:
            raise key_error(
                where, ("joint", n, "at"), typed, "the joint has no side to fill in.",
                "Give it side = 'left', 'right' or 'both'.",
            )  # fmt: skip
        try:
            found = places.find(place, where=where)
        except (InputError, GeometryError) as error:
            problem = getattr(error, "problem", "") or str(error)
            hint = getattr(error, "hint", "")
            raise key_error(where, ("joint", n, "at"), typed, problem, hint) from error
        assert found.spot is not None
        member = cage.members[found.members[0]]
        asked = _Asked(member, found.spot.station, entry, n, where, typed)
        by_tube.setdefault(member.id, []).append(asked)
    return tuple(_sleeved(cage, rows, build.units) for rows in by_tube.values())


def _sleeved(cage: Cage, asked: list[_Asked], units: str) -> Sleeved:
    asked = sorted(asked, key=lambda a: a.station)
    bar = asked[0].member
    _require_tube(asked)
    joints = [_joint(cage, a, i, units) for i, a in enumerate(asked, 1)]
    for (_, a), (later, b) in pairwise(zip(asked, joints, strict=True)):
        if a.span[1] > b.span[0]:
            raise later.place_wrong(
                f"this sleeve and the other one on {bar.id} overlap by "
                f"{_said(a.span[1] - b.span[0], units)}.",
                "Set them further apart, or make them shorter (`length`).",
            )
    names = [(f"{bar.id}_{LETTERS[i]}", f"piece {LETTERS[i]}") for i in range(len(joints) + 1)]
    pieces = cut_apart(bar, [_cut(j) for j in joints], names)
    drilled = tuple(_drilled(p, joints) for p in pieces)
    parts = [q for j in joints for q in _parts(j, bar, pieces)]
    tube = SleevedTube(
        fitted=bar,
        pieces=tuple(p.id for p in pieces),
        joints=tuple(joints),
        hardware=tuple(q.id for q in parts),
    )
    return Sleeved(pieces=drilled, tube=tube, hardware=tuple(parts))


def _require_tube(asked: Sequence[_Asked]) -> None:
    """A straight tube that does not swing out, with two joints at most."""
    bar, first = asked[0].member, asked[0]
    if bar.swing is not None:
        raise first.place_wrong(
            f"{bar.id} swings out: it comes apart at its pins already.",
            "Leave the joint out, or set swing_out = false.",
        )
    if len(bar.path.pieces) != 1 or not isinstance(bar.path.pieces[0], Line):
        raise first.place_wrong(
            f"{bar.id} is bent, and a sleeve joins straight tubes only.",
            "Put the joint on a straight tube.",
        )
    if len(asked) > MOST_JOINTS:
        raise asked[-1].place_wrong(
            f"{bar.id} has {len(asked)} joints; what is between three hangs on nothing.",
            f"Give one tube {MOST_JOINTS} at most.",
        )


def _joint(cage: Cage, asked: _Asked, number: int, units: str) -> SleeveJoint:
    bar, entry = asked.member, asked.entry
    size, grade = _bolt(asked, units)
    od = bar.tube.od
    usual = ceil(DIAMETERS * od / STEP[units] - ROUNDING) * STEP[units]
    length = usual if entry.length is None else float(entry.length)
    wall = max(bar.tube.wall, LEAST_WALL) if entry.wall is None else float(entry.wall)
    gap = float(entry.cut_gap)
    _require_bolts(asked, size, length, units)
    along = vec(bar.path.spot(asked.station).tangent)
    outer = od + entry.fit + 2 * wall
    choice = choose_bolt(size, grade, outer, wall)
    if not choice.found:
        raise asked.wrong(
            "bolt_size", size.size,
            f"no bolt of that size in the table is long enough for {_said(outer, units)} of sleeve "
            f"({_said(choice.needed, units)} under the head).",
            "Use a larger size or a thinner wall.",
        )  # fmt: skip
    half = (length - gap) / 2
    near = [gap / 2 + half * (i + 0.5) / entry.bolts for i in range(entry.bolts)]
    return SleeveJoint(
        id=f"{bar.id}_sleeve_{number}",
        station=asked.station,
        origin=bar.path.spot(asked.station).point,
        along=along,
        across=_across(along, float(entry.turn)),
        turn=float(entry.turn),
        gap=gap,
        od=outer,
        wall=wall,
        bore=od + entry.fit,
        length=length,
        material=bar.tube.material,
        side=bar.side,
        size=size,
        grade=grade,
        bolts=(*(-x for x in reversed(near)), *near),
        bush_length=2 * sqrt((od / 2) ** 2 - (size.sleeve_od / 2) ** 2),
        bolt_length=choice.length,
        grip=outer,
        slides=_slides(cage, asked, length, units),
    )


def _bolt(asked: _Asked, units: str) -> tuple[PinSize, str]:
    entry = asked.entry
    name = entry.bolt_size or USUAL_SIZE[units]
    try:
        size = pin_size(name)
    except NotFoundError as error:
        raise asked.wrong("bolt_size", name, str(error), "") from error
    grade = entry.bolt_grade or USUAL_GRADE["/" in size.size]
    try:
        fastener(size.thread, grade)
    except NotFoundError as error:
        raise asked.wrong("bolt_grade", grade, str(error), "") from error
    return size, grade


def _require_bolts(asked: _Asked, size: PinSize, length: float, units: str) -> None:
    """Bushes go into the tube with metal beside them, and the sleeve reaches past its holes."""
    bar, entry = asked.member, asked.entry
    if size.sleeve_od > MOST_SLEEVE * bar.tube.od or size.sleeve_od / 2 >= bar.tube.inner_radius:
        raise asked.wrong(
            "bolt_size", size.size,
            f"its bush of {_said(size.sleeve_od, units)} cuts the tube of "
            f"{_said(bar.tube.od, units)} nearly through "
            f"({_said(MOST_SLEEVE * bar.tube.od, units)} at most).",
            "Use smaller bolts.",
        )  # fmt: skip
    pitch = (length - entry.cut_gap) / 2 / entry.bolts
    least = size.sleeve_od * (1 + 2 * EDGE)
    if pitch < least:
        need = 2 * entry.bolts * least + entry.cut_gap
        raise asked.wrong(
            "length", _said(length, units),
            f"{entry.bolts} bolts in each piece need a sleeve of {_said(need, units)} at least.",
            "Make it longer, or use fewer or smaller bolts.",
        )  # fmt: skip


def _slides(cage: Cage, asked: _Asked, length: float, units: str) -> str:
    """The end to which the sleeve is slid off the cut; refuse one that cannot be, or covers a node.

    A branch on the tube stops it as its own end does.
    """
    bar, half, at = asked.member, length / 2, asked.station
    low = _clear(cage, bar, "a")
    high = bar.path.length - _clear(cage, bar, "b")
    on = [(bar.path.nearest(j.point).station, cage.member(j.branch)) for j in cage.children(bar.id)]
    stops = [(s - m.tube.od, s + m.tube.od, m.id) for s, m in on]
    for before, after, name in stops:
        if before < at + half and after > at - half:
            raise asked.place_wrong(
                f"its sleeve would lie where {name} is welded to {bar.id}.",
                "Move the joint along the tube.",
            )
        low = max(low, after) if after <= at else low
        high = min(high, before) if before >= at else high
    if at - half < low or at + half > high:
        raise asked.place_wrong(
            f"its sleeve of {_said(length, units)} needs a place between "
            f"{_said(low + half, units)} and {_said(high - half, units)} along {bar.id}, clear of "
            f"the welds at its ends; this one is {_said(at, units)} from end a.",
            "Move the joint along the tube, or make the sleeve shorter (`length`).",
        )
    free = asked.entry.cut_gap / 2
    if at - low >= length + free:
        return "a"
    if high - at >= length + free:
        return "b"
    raise asked.place_wrong(
        f"its sleeve of {_said(length, units)} cannot be slid off the cut to either side: "
        f"{_said(at - low, units)} of clear tube towards end a, {_said(high - at, units)} "
        "towards b.",
        "Move the joint to the middle of the tube, or make the sleeve shorter (`length`).",
    )


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


def _cut(joint: SleeveJoint) -> SawCut:
    shift = joint.gap / 2 * joint.along
    return SawCut(
        joint.station - joint.gap / 2,
        joint.station + joint.gap / 2,
        Plane.of(joint.origin - shift, -joint.along),
        Plane.of(joint.origin + shift, joint.along),
    )


def _drilled(piece: Member, joints: Sequence[SleeveJoint]) -> Member:
    """A piece with the holes for its bushes."""
    drills = tuple(
        Drill(point=at, axis=j.across, along=j.along, radius=j.size.sleeve_od / 2)
        for j, _, at in _bolts(joints)
        if _holds(piece, at)
    )
    return replace(piece, drills=(*piece.drills, *drills))


def _bolts(joints: Sequence[SleeveJoint]) -> list[tuple[SleeveJoint, int, Vec]]:
    """Every bolt: its joint, its number from end a, where its axis crosses the tube's."""
    return [
        (j, n, vec(j.origin + x * j.along)) for j in joints for n, x in enumerate(j.bolts, start=1)
    ]


def _holds(piece: Member, at: Vec) -> bool:
    """Whether a place on the whole tube's axis is on this piece."""
    return float(np.linalg.norm(piece.path.nearest(at).point - at)) < ROUNDING


def _parts(joint: SleeveJoint, bar: Member, pieces: Sequence[Member]) -> list[SmallPart]:
    """The sleeve, then bush, bolt, washers and nut of each bolt."""
    out = [_sleeve(joint, bar)]
    size = joint.size
    for _, n, at in _bolts([joint]):
        base = f"{joint.id}_{n}"
        piece = next(p for p in pieces if _holds(p, at))
        seat = PinSeat(
            origin=at, along=joint.along, pin=joint.across, size=size, joint="sleeve",
            hole=size.hole,
        )  # fmt: skip
        half = joint.bush_length / 2
        out.append(
            ring(f"{base}_bush", "bush", seat, size.sleeve_od, size.sleeve_bore, -half, 2 * half,
                 bar.tube.material, "tube {}, bore {}, {} long",
                 (size.sleeve_od, size.sleeve_bore, 2 * half), welded=piece.id)
        )  # fmt: skip
        choice = choose_bolt(size, joint.grade, joint.grip, joint.wall)
        out += bolt_set(base, seat, choice, joint.grade)
    return out


def _sleeve(joint: SleeveJoint, bar: Member) -> SmallPart:
    m = np.eye(4)
    m[:3, 0], m[:3, 1], m[:3, 2] = (
        joint.across, np.cross(joint.along, joint.across), joint.along,
    )  # fmt: skip
    m[:3, 3] = joint.origin - joint.length / 2 * joint.along
    return SmallPart(
        id=joint.id,
        kind=SLEEVE,
        material=bar.tube.material,
        stages=(Stage(Outline.circle((0.0, 0.0), joint.od), joint.length),),
        frame=m,
        bore=joint.bore,
        called="tube {}, bore {}, {} long",
        lengths=(joint.od, joint.bore, joint.length),
        joint="sleeve",
        source="sizes of the build, else common practice",
        drills=tuple(
            Drill(point=at, axis=joint.across, along=joint.along, radius=joint.size.sleeve_bore / 2)
            for _, _, at in _bolts([joint])
        ),
    )


def _said(mm: float, units: str) -> str:
    return format_length(mm, "in" if units == "in" else "mm", decimals=1 if units == "mm" else 3)

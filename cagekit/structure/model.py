"""The frame model of a cage: where its axes meet, its bends as chords, its feet and pins.

What is in it: every tube along its centre line with its exact section; joints as stiff nodes where
the axes meet; an axis that passes another at a distance hangs on it by a stiff link; pins of
swing-out bars turn about their own axis. What is not: plates and gussets, padding, the flexibility
of the tube's wall at a joint, ovalising of bends, the shell, play in the pins.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import ceil, radians, sin
from typing import Literal

import numpy as np
from msgspec import Struct

from cagekit.cage.bolted import BoltedJoint
from cagekit.cage.cage import CONCENTRIC, Cage, Joint
from cagekit.cage.member import EndKind, Member
from cagekit.errors import GeometryError
from cagekit.geometry.centre_line import Arc, CentreLine, Vec
from cagekit.materials.steels import steel
from cagekit.structure.frame import Frame, shear_area
from cagekit.structure.solve import MechanismError, Solver
from cagekit.units.tolerance import ROUNDING

CHORD = radians(15.0)
"""Most that one chord of a bend turns, rad: halving it moves no result of the demos by 1 %."""
LONGEST = 250.0
"""Longest beam on a straight, mm, so that a tube buckles between its joints as it would."""
SAME = 1.0
"""Stations closer than this are one node, mm."""
TURNING = 1e-3
"""Metres: a turn counts, in rad, as what it moves a point this far (mm) away, so that a node that
only turns is found too."""
LINK = 100.0
"""How much stiffer a link is than the tube that hangs on it."""

Hold = Literal["fixed", "pinned"]


class Ground(Struct, frozen=True, kw_only=True):
    """What holds a foot: all of it, its place alone, or a spring against its place, N/mm."""

    hold: Hold = "pinned"
    spring: float = 0.0


class Footing(Struct, frozen=True, kw_only=True, eq=False):
    """A tube end on the car: node, the spot of the car sheet, what is there."""

    member: str
    end: str
    node: int
    spot: str
    surface: str


class PinNode(Struct, frozen=True, kw_only=True, eq=False):
    """A pin of a swing-out bar: the beam that is its bracket; it turns freely at its second end."""

    bar: str
    joint: str
    node: int
    beam: int
    axis: Vec


class BoltNode(Struct, frozen=True, kw_only=True, eq=False):
    """A bolted joint: its ``pieces``, the node in its middle and the stiff beam from end a to it.

    A clevis turns freely about its bolt at the second end of that beam.
    """

    joint: BoltedJoint
    pieces: tuple[str, str]
    node: int
    beam: int


@dataclass(frozen=True, kw_only=True, eq=False)
class Model:
    """A cage as a frame, and which beam is whose.

    Args:
        frame: the frame.
        member: member of each beam, ``(m,)``; empty for a link.
        stations: where each beam runs on its member, ``(m, 2)`` mm from end a.
        welded: nodes with a weld, ``(n,)``.
        nodes_of: node by member and station, rising.
        joints: node of each joint by its id.
        joint_beams: beam of the branch beside each joint, and which of its ends, by joint id.
        feet: tube ends on the car.
        pins: pins of swing-out bars.
        bolted: bolted joints of tubes that come apart.
    """

    frame: Frame
    member: tuple[str, ...]
    stations: Vec
    welded: Vec
    nodes_of: Mapping[str, tuple[tuple[float, int], ...]]
    joints: Mapping[str, int]
    joint_beams: Mapping[str, tuple[int, int]]
    feet: tuple[Footing, ...]
    pins: tuple[PinNode, ...]
    bolted: tuple[BoltNode, ...]

    @cached_property
    def axes(self) -> Vec:
        """Own axes of the beams as rows, ``(m, 3, 3)``."""
        return self.frame.axes

    @cached_property
    def _beams(self) -> Mapping[str, tuple[int, ...]]:
        return _numbered(self.member)

    def beams_of(self, member: str) -> tuple[int, ...]:
        """Beams of one member, from end a."""
        return self._beams.get(member, ())

    def node_at(self, member: str, station: float) -> int:
        """The node of a member nearest to a station, mm from its end a."""
        return min(self.nodes_of[member], key=lambda s: abs(s[0] - station))[1]


def _numbered(names: Iterable[str]) -> dict[str, tuple[int, ...]]:
    """Places at which each name stands."""
    out: dict[str, list[int]] = defaultdict(list)
    for i, name in enumerate(names):
        out[name].append(i)
    return {name: tuple(places) for name, places in out.items()}


class _Builder:
    """Collects stations of every tube, then nodes, then beams."""

    def __init__(self, cage: Cage, chord: float, longest: float, *, stiff_ends: bool) -> None:
        self.cage, self.chord, self.longest = cage, chord, longest
        self.stiff_ends = stiff_ends
        self.stiff: dict[str, list[tuple[float, float]]] = defaultdict(list)
        self.stations: dict[str, list[float]] = defaultdict(list)
        self.same: list[tuple[tuple[str, float], tuple[str, float]]] = []
        self.links: list[tuple[tuple[str, float], tuple[str, float], str]] = []
        self.spans = {m.id: (0.0, m.path.length) for m in cage.members.values()}
        self.pins: list[tuple[str, str, tuple[str, float], tuple[str, float], Vec]] = []
        self.bolted: list[tuple[BoltedJoint, tuple[str, float], tuple[str, float]]] = []

    def need(self, member: str, station: float) -> tuple[str, float]:
        """A place on a member that gets a node; the place that stands for it."""
        low, high = self.spans[member]
        station = min(max(station, low), high)
        for s in (low, high, *self.stations[member]):
            if abs(s - station) < SAME:
                station = s
                break
        if station not in self.stations[member]:
            self.stations[member].append(station)
        return member, station

    def doors(self) -> None:
        """Pins: the bar begins and ends at them, the stubs reach them through their brackets."""
        for door in self.cage.doors:
            bar = self.cage.member(door.bar)
            at = {j.name: bar.path.nearest(j.origin).station for j in door.joints}
            self.spans[bar.id] = (min(at.values()), max(at.values()))
            for joint in door.joints:
                stub = self.cage.member(joint.stub)
                ends = {0.0: stub.path.start, stub.path.length: stub.path.end}
                near = min(ends, key=lambda s: float(np.linalg.norm(ends[s] - joint.origin)))
                self.pins.append(
                    (bar.id, joint.name, (stub.id, near), (bar.id, at[joint.name]), joint.pin)
                )

    def bolts(self) -> None:
        """Bolted joints: the ends of two pieces, as far apart as what is cut out."""
        for tube in self.cage.bolted:
            for joint, (before, after) in zip(tube.joints, pairwise(tube.pieces), strict=True):
                end = self.cage.member(before).path.length
                self.bolted.append((joint, self.need(before, end), self.need(after, 0.0)))

    def joints(self) -> None:
        """Branches meet their parents in one node, or hang on them by a link."""
        for j in self.cage.joints:
            path = self.cage.member(j.branch).path
            branch = (j.branch, 0.0 if j.branch_end == "a" else path.length)
            self.need(*branch)
            if self.stiff_ends and j.concentric and len(j.parents) == 1:
                self._stiffen(j, path.length)
            for p in j.parents:
                if p in self.cage.chassis:
                    continue  # that one holds it like the ground
                spot = self.cage.member(p).path.nearest(j.point)
                parent = self.need(p, spot.station)
                gap = float(np.linalg.norm(j.point - spot.point))
                if gap <= CONCENTRIC:
                    self.same.append((parent, branch))
                else:
                    self.links.append((parent, branch, j.branch))

    def _stiffen(self, j: Joint, length: float) -> None:
        """The end of a branch inside its parent, where it is no more than a third of it."""
        inside = self.cage.member(j.parents[0]).tube.outer_radius / sin(j.angle)
        if inside > length / 3:
            return
        face = inside if j.branch_end == "a" else length - inside
        _, face = self.need(j.branch, face)
        self.stiff[j.branch].append((0.0, face) if j.branch_end == "a" else (face, length))

    def is_stiff(self, member: str, a: float, b: float) -> bool:
        """Whether a stretch lies in a stiff end."""
        return any(low <= a and b <= high for low, high in self.stiff[member])

    def fill(self, member: Member) -> list[float]:
        """Stations of a member: what is needed, bends in chords, straights in short beams."""
        low, high = self.spans[member.id]
        path = member.path
        pieces = [float(s) for s in path.starts] + [path.length]
        marks = sorted({low, high, *self.stations[member.id]})
        for s in pieces:
            if low < s < high and min(abs(s - t) for t in marks) >= SAME:
                marks.append(s)
        marks.sort()
        out = [marks[0]]
        for a, b in pairwise(marks):
            n = self._parts(path, a, b)
            out += [a + (b - a) * i / n for i in range(1, n)] + [b]
        return out

    def _parts(self, path: CentreLine, a: float, b: float) -> int:
        piece = path.pieces[path.locate((a + b) / 2)[0]]
        n = ceil((b - a) / self.longest - ROUNDING)
        if isinstance(piece, Arc):
            n = max(n, ceil((b - a) / piece.radius / self.chord - ROUNDING))
        return max(n, 1)


def model_of(
    cage: Cage,
    ground: Callable[[str], Ground] = lambda surface: Ground(),
    *,
    marks: Iterable[tuple[str, float]] = (),
    chord: float = CHORD,
    longest: float = LONGEST,
    stiff_ends: bool = False,
) -> Model:
    """Make the frame model of a cage.

    Args:
        cage: members, joints and doors; plates do not count.
        ground: what holds a foot, by what the car sheet says is under it.
        marks: members and stations (mm) that get a node of their own, for loads.
        chord: most that a chord of a bend turns, rad.
        longest: longest beam on a straight, mm.
        stiff_ends: whether ends of branches are stiff inside their parent, up to its face.
    """
    b = _Builder(cage, chord, longest, stiff_ends=stiff_ends)
    b.doors()
    b.bolts()
    b.joints()
    for stub, bar in ((p[2], p[3]) for p in b.pins):
        b.need(*stub)
        b.need(*bar)
    for member, station in marks:
        b.need(member, station)
    return _assembled(b, ground)


def _assembled(b: _Builder, ground: Callable[[str], Ground]) -> Model:
    cage = b.cage
    filled = {m.id: b.fill(m) for m in cage.members.values()}
    leads = _leads(b.same)
    numbers: dict[tuple[str, float], int] = {}
    points: list[Vec] = []
    for name, stations in filled.items():
        for s in stations:
            lead = leads((name, s))
            if lead not in numbers:
                numbers[lead] = len(points)
                points.append(cage.member(lead[0]).path.spot(lead[1]).point)

    def node(place: tuple[str, float]) -> int:
        return numbers[leads(place)]

    beams = _Beams()
    nodes_of = {}
    for m in cage.members.values():
        at = [(s, node((m.id, s))) for s in filled[m.id]]
        nodes_of[m.id] = tuple(at)
        for (s0, n0), (s1, n1) in pairwise(at):
            if n0 != n1 and b.is_stiff(m.id, s0, s1):
                beams.add(n0, n1, m, "", (s0, s1), LINK)
            elif n0 != n1:
                beams.add(n0, n1, m, m.id, (s0, s1))
    for parent, branch, owner in b.links:
        if node(parent) != node(branch):
            beams.add(node(parent), node(branch), cage.member(owner), "", (0.0, 0.0), LINK)
    pins = []
    for bar, joint, stub, pin, axis in b.pins:
        along = points[node(pin)] - points[node(stub)]
        beam = beams.add(
            node(stub), node(pin), cage.member(bar), "", (0.0, 0.0), LINK,
            across=np.cross(axis, along), released=(11,),
        )  # fmt: skip
        pins.append(PinNode(bar=bar, joint=joint, node=node(pin), beam=beam, axis=axis))
    bolted = []
    for bolt, before, after in b.bolted:
        held, middle = cage.member(before[0]), len(points)
        points.append(bolt.origin)
        # a clevis turns freely about its bolt
        first = beams.add(
            node(before), middle, held, "", (0.0, 0.0), LINK,
            across=np.cross(bolt.across, bolt.along), released=(11,) if bolt.hinged else (),
        )  # fmt: skip
        beams.add(middle, node(after), held, "", (0.0, 0.0), LINK)
        bolted.append(BoltNode(joint=bolt, pieces=(before[0], after[0]), node=middle, beam=first))
    welded = np.zeros(len(points), bool)
    for bolt, before, after in b.bolted:
        welded[[node(before), node(after)]] |= bolt.welded
    joints, joint_beams = {}, {}
    beams_of = _numbered(beams.member)
    for j in cage.joints:
        s = 0.0 if j.branch_end == "a" else cage.member(j.branch).path.length
        joints[j.id] = node(b.need(j.branch, s))
        own = beams_of.get(j.branch, ())
        if own:
            beam, end = (own[0], 0) if j.branch_end == "a" else (own[-1], 1)
            joint_beams[j.id] = (beam, end)
            welded[beams.ends[beam][end]] = True
        welded[joints[j.id]] = True
        for p in j.parents:
            if p in cage.chassis:
                continue
            spot = cage.member(p).path.nearest(j.point)
            welded[node(b.need(p, spot.station))] = True
    feet = tuple(_feet(cage, node))
    fixed, spring = np.zeros((len(points), 6), bool), np.zeros((len(points), 6))
    for foot in feet:
        welded[foot.node] = True
        how = ground(foot.surface)
        if how.spring > 0:
            spring[foot.node, :3] = how.spring
        else:
            fixed[foot.node, : 6 if how.hold == "fixed" else 3] = True
    return Model(
        frame=beams.frame(np.array(points), fixed, spring),
        member=tuple(beams.member),
        stations=np.array(beams.stations, float).reshape(-1, 2),
        welded=welded,
        nodes_of=nodes_of,
        joints=joints,
        joint_beams=joint_beams,
        feet=feet,
        pins=tuple(pins),
        bolted=tuple(bolted),
    )


def _feet(cage: Cage, node: Callable[[tuple[str, float]], int]) -> Iterable[Footing]:
    for m in cage.members.values():
        for name, end in m.ends:
            if end.kind is EndKind.FLAT:
                at = node((m.id, 0.0 if name == "a" else m.path.length))
                yield Footing(member=m.id, end=name, node=at, spot=end.foot, surface=end.surface)
            elif on := [p for p in end.parents if p in cage.chassis]:
                at = node((m.id, 0.0 if name == "a" else m.path.length))
                yield Footing(member=m.id, end=name, node=at, spot=on[0], surface="frame")


class _Beams:
    """Beams as they are added."""

    def __init__(self) -> None:
        self.ends: list[tuple[int, int]] = []
        self.member: list[str] = []
        self.stations: list[tuple[float, float]] = []
        self.numbers: list[tuple[float, ...]] = []
        self.across: list[Vec] = []
        self.released: list[tuple[int, ...]] = []

    def add(
        self, a: int, b: int, owner: Member, member: str, stations: tuple[float, float],
        stiffer: float = 1.0, *, across: Vec | None = None, released: tuple[int, ...] = (),
    ) -> int:  # fmt: skip
        tube, metal = owner.tube, steel(owner.tube.material)
        self.ends.append((a, b))
        self.member.append(member)
        self.stations.append(stations)
        self.numbers.append(
            (
                tube.area, tube.second_moment, tube.torsion_constant,
                shear_area(tube, metal.poisson), stiffer * metal.e, stiffer * metal.shear_modulus,
            )
        )  # fmt: skip
        self.across.append(np.zeros(3) if across is None else across)
        self.released.append(released)
        return len(self.ends) - 1

    def frame(self, nodes: Vec, fixed: Vec, spring: Vec) -> Frame:
        numbers = np.array(self.numbers, float).reshape(-1, 6).T
        released = np.zeros((len(self.ends), 12), bool)
        for i, freedoms in enumerate(self.released):
            released[i, list(freedoms)] = True
        return Frame(
            nodes=nodes, ends=np.array(self.ends, np.int64).reshape(-1, 2), area=numbers[0],
            inertia=numbers[1], torsion=numbers[2], shear_area=numbers[3], young=numbers[4],
            shear=numbers[5], across=np.array(self.across, float).reshape(-1, 3),
            released=released, fixed=fixed.astype(np.bool_), spring=spring,
        )  # fmt: skip


def _leads(
    pairs: Iterable[tuple[tuple[str, float], tuple[str, float]]],
) -> Callable[[tuple[str, float]], tuple[str, float]]:
    """What stands for a place: the first parent whose node it shares."""
    lead: dict[tuple[str, float], tuple[str, float]] = {}

    def find(place: tuple[str, float]) -> tuple[str, float]:
        while place in lead:
            place = lead[place]
        return place

    for parent, branch in pairs:
        a, b = find(parent), find(branch)
        if a != b:
            lead[b] = a
    return find


def solver_of(model: Model, owner: str) -> Solver:
    """The model ready to be solved.

    Raises:
        GeometryError: the frame moves freely, or a part of it hangs on nothing; names members.
    """
    loose = sorted(_loose(model))
    if loose:
        raise GeometryError(
            owner,
            f"{', '.join(loose)}: held by nothing.",
            "Give an end a place on another tube or on the car.",
        )
    solver = Solver(model.frame)
    try:
        _ = solver.inverse
    except MechanismError as error:
        raise GeometryError(
            owner,
            f"moves freely: {', '.join(moving(model, error.motion))}.",
            _cure(model, moving(model, error.motion)),
        ) from None
    return solver


def _cure(model: Model, moves: Sequence[str]) -> str:
    """What would keep a frame from moving freely."""
    hinges = {p for b in model.bolted if b.joint.hinged for p in b.pieces}
    if hinges.isdisjoint(moves):
        return "Add a tube across, or hold a foot against turning."
    return (
        "Two clevises in a row with a foot that turns are a chain: use a sleeve in place of one, "
        "turn one by 90 degrees, or hold the foot against turning."
    )


def moving(model: Model, motion: Vec) -> tuple[str, ...]:
    """Members that move most, the furthest first, by how far nodes do, ``(n, 6)``."""
    size = np.linalg.norm(motion[:, :3], axis=1) + TURNING * np.abs(motion[:, 3:]).max(axis=1)
    far: dict[str, float] = {}
    for name, (a, b) in zip(model.member, model.frame.ends, strict=True):
        if name:
            far[name] = max(far.get(name, 0.0), float(size[a]), float(size[b]))
    most = max(far.values(), default=0.0)
    return tuple(
        sorted((m for m, v in far.items() if v > 0.3 * most), key=lambda m: (-round(far[m], 6), m))
    )


def _loose(model: Model) -> set[str]:
    """Members from which no way along the beams leads to the ground."""
    f = model.frame
    reached = np.asarray((f.fixed | (f.spring > 0)).any(axis=1))
    while True:
        a, b = reached[f.ends[:, 0]], reached[f.ends[:, 1]]
        new = f.ends[a != b].ravel()
        if not len(new):
            break
        reached[new] = True
    return {m for m, (a, _) in zip(model.member, f.ends, strict=True) if m and not reached[a]}

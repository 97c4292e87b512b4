"""Setting out: where feet and plates stand in the car, and what is marked on every tube.

A foot is told from X = 0, Y = 0, Z = 0 of the car. What lands on a tube is told on that tube: a
tape laid along its reference line from a square held against the tip of end A, and the clock, the
way round from that line, clockwise for one who looks along the tube from end A. A branch's middle
is where its axis passes the tube's. At a node of several tubes that may lie beside what the branch
touches of this one: its edges are then what can be marked, and the clock is of their middle. Angles
in rad, mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import degrees, pi
from typing import Literal

import numpy as np
from msgspec import Struct

from cagekit.cage.cage import Cage, Joint
from cagekit.cage.member import CHASSIS, EndKind, EndName, Member
from cagekit.cage.plate import Plate
from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import Arc, CentreLine, Vec, rotate, unit, vec
from cagekit.geometry.end_cut import contacts
from cagekit.inputs.car import Car
from cagekit.names import named
from cagekit.shop.papers.holes import PanelHole, panel_holes
from cagekit.units.tolerance import SHOP_ANGLE, SQUARE

TOUCHING = 6.0
"""A plate's edge nearer to a tube than this (mm) is welded to it: the fit-up gap and some."""
SCRIBED = 0.1
"""A middle no farther than this (mm) beyond an edge is scribed as one line with it."""
SPOTS = 48
"""Spots taken round a saddle for its edges."""
FINE = 1440
"""The same where a parent has so little of the saddle that none of those lies on it."""
UPRIGHT = 0.95
"""A tube whose axis rises by more than this share of its length stands upright."""
SAMPLE = 5.0
"""Spacing of the spots taken on a plate's edge, mm."""


class Standing(Struct, frozen=True, kw_only=True, eq=False):
    """Where a tube's end stands in the car.

    Attributes:
        member: id of the tube.
        end: the end.
        point: where its axis meets what it stands on, ``(3,)`` mm in car axes.
        place: the place of the car sheet under it, e.g. ``left.main_foot``; empty when none.
        surface: what is there: floor, frame, tower, outrigger, or the tube of the car's own frame
            that it is coped to; the point is then where the axes meet.
        lean: angle of the tube from plumb, rad.
        plates: ids of the plates under it.
    """

    member: str
    end: EndName
    point: Vec
    place: str
    surface: str
    lean: float
    plates: tuple[str, ...]


class PlatePlace(Struct, frozen=True, kw_only=True, eq=False):
    """Where a plate stands in the car.

    Attributes:
        plate: its id.
        kind: what it is.
        low: least x, y and z of the folded plate, ``(3,)`` mm in car axes.
        high: greatest x, y and z, ``(3,)`` mm.
        corners: corners of its base, the flat part that the tube stands on, on the face towards
            the tube, ``(n, 3)`` mm.
        slope: angle of the base from level, rad.
    """

    plate: str
    kind: str
    low: Vec
    high: Vec
    corners: Vec
    slope: float


class BranchMark(Struct, frozen=True, kw_only=True, eq=False):
    """A mark on a parent: where a branch lands on it.

    Attributes:
        parent: id of the tube that is marked.
        branch: id of the tube that lands there.
        end: which of its ends.
        joint: id of the joint.
        tape: from the tip of end A of the parent, along the reference line, to where the branch's
            axis passes the parent's, or to the middle of its edges where these are all, mm.
        low: the same to where its saddle begins, mm.
        high: the same to where its saddle ends, mm.
        clock: the side of the parent on which it lands, or on which the middle of its edges lies
            where these are all, degrees in 0 to 360.
        round: the same as a length round the outside of the parent, mm.
        angle: between the axes, rad.
        leans: the end of the parent to which the branch makes its acute angle; empty when square.
        point: the node in car axes, ``(3,)`` mm.
        in_bend: whether the mark lies on a bend.
        edges_only: whether the axes pass each other beside the edges, or past the parent's end.
    """

    parent: str
    branch: str
    end: EndName
    joint: str
    tape: float
    low: float
    high: float
    clock: float
    round: float
    angle: float
    leans: Literal["a", "b", ""]
    point: Vec
    in_bend: bool
    edges_only: bool = False


class PlateMark(Struct, frozen=True, kw_only=True, eq=False):
    """A mark on a tube for a plate that is welded to it: tab, gusset, bracket.

    Attributes:
        parent: id of the tube that is marked.
        plate: id of the plate.
        kind: what it is.
        low: tape from the tip of end A to where the plate begins, mm.
        high: the same to where it ends, mm.
        clock: the side of the tube on which it stands, degrees in 0 to 360.
        round: the same as a length round the outside of the tube, mm.
        turn: angle between the plate's plane and the tube's axis, rad: 0 lies along the tube.
        point: middle of the welded edge in car axes, ``(3,)`` mm.
    """

    parent: str
    plate: str
    kind: str
    low: float
    high: float
    clock: float
    round: float
    turn: float
    point: Vec


class SettingOut(Struct, frozen=True, kw_only=True):
    """Everything set out: feet, plates and holes in the car, marks on tubes in tape order."""

    feet: tuple[Standing, ...]
    plates: tuple[PlatePlace, ...]
    landings: tuple[BranchMark, ...]
    fixings: tuple[PlateMark, ...]
    holes: tuple[PanelHole, ...] = ()

    def on(self, member: str) -> tuple[BranchMark | PlateMark, ...]:
        """The mark list of one tube, from end A on."""
        every: tuple[BranchMark | PlateMark, ...] = (*self.landings, *self.fixings)
        found = [m for m in every if m.parent == member]
        return tuple(sorted(found, key=lambda m: (m.low, m.high)))


class Tape:
    """A tube with a tape along its reference line.

    Args:
        cage: the cage.
        member: id of the tube.
    """

    def __init__(self, cage: Cage, member: str) -> None:
        self.member: Member = cage.member(member)
        self.path: CentreLine = self.member.path
        self.radius = self.member.tube.outer_radius
        self.tip = cage.cut(member, "a").shortest
        # nobody has drawn a line on the car's own frame: its clock counts from the top
        own = self.member.role == CHASSIS
        self.lines = [_upward(self.path)] if own else self.path.reference_lines()
        self.lengths = [self._length(i) for i in range(len(self.path.pieces))]

    def _length(self, i: int) -> float:
        """Length of the reference line over a piece, mm: longer outside a bend, shorter inside."""
        piece = self.path.pieces[i]
        if not isinstance(piece, Arc):
            return piece.length
        return piece.length * (
            1.0 + self.radius / piece.radius * float(self.lines[i] @ piece.radial)
        )

    def at(self, station: float) -> float:
        """What the tape reads at a station of the centre line (mm from end a), mm."""
        i, s = self.path.locate(station)
        share = s / self.path.pieces[i].length
        return sum(self.lengths[:i]) + share * self.lengths[i] - self.tip

    def line(self, station: float) -> Vec:
        """Unit vector from the centre line to the reference line at a station, ``(3,)``."""
        i, s = self.path.locate(station)
        piece = self.path.pieces[i]
        if not isinstance(piece, Arc):
            return vec(self.lines[i])
        return vec(rotate(self.lines[i], piece.axis, s / piece.radius))

    def clock(self, station: float, way: Vec) -> float:
        """Clock of a direction at a station, degrees in 0 to 360."""
        zero, along = self.line(station), self.path.spot(station).tangent
        side = np.cross(along, zero)
        return degrees(float(np.arctan2(way @ side, way @ zero))) % 360.0

    def bent(self, station: float) -> bool:
        """Whether a station lies on a bend."""
        return isinstance(self.path.pieces[self.path.locate(station)[0]], Arc)


def _upward(path: CentreLine) -> Vec:
    """The way up square to a straight tube, ``(3,)``; ahead on one that stands upright."""
    along = path.spot(0.0).tangent
    up = vec((0.0, 0.0, 1.0) if abs(float(along[2])) < UPRIGHT else (1.0, 0.0, 0.0))
    return unit(up - float(up @ along) * along)


def set_out(cage: Cage, car: Car | None = None) -> SettingOut:
    """Work out the setting-out of a cage, swing-out bars whole.

    Args:
        cage: the cage as it is fitted.
        car: in whose panels it needs holes; None for a cage without a car.
    """
    tapes = {m: Tape(cage, m) for m in (*cage.members, *cage.chassis)}
    saddles = _saddles(cage.joints, SPOTS)
    return SettingOut(
        feet=tuple(_feet(cage)),
        plates=tuple(_place(p) for p in cage.plates if _on_the_car(p)),
        landings=tuple(
            mark
            for joint, saddle in zip(cage.joints, saddles, strict=True)
            for parent in joint.parents
            if (mark := _landing(cage, joint, tapes[parent], saddle[parent])) is not None
        ),
        fixings=tuple(
            _fixing(p, tapes[m])
            for p in cage.plates
            if not _on_the_car(p) and p.kind != "box_wall"
            for m in p.members
            if m in tapes
        ),
        holes=panel_holes(cage, car) if car else (),
    )


def _on_the_car(plate: Plate) -> bool:
    """Whether a plate stands on the car, under a foot, behind its sheet or as a box's base."""
    return bool(plate.ends) or plate.kind in ("backing_plate", "box_base")


def _feet(cage: Cage) -> list[Standing]:
    out = []
    for m in cage.members.values():
        for name, end in m.ends:
            frame = next((p for p in end.parents if p in cage.chassis), "")
            if end.kind is not EndKind.FLAT and not frame:
                continue
            way = m.path.out_direction(name)
            out.append(
                Standing(
                    member=m.id,
                    end=name,
                    point=m.path.end_point(name),
                    place=end.foot,
                    surface=named(frame) or end.surface,
                    lean=float(np.arccos(min(abs(float(way[2])), 1.0))),
                    plates=tuple(p.id for p in cage.plates if f"{m.id}.{name}" in p.ends),
                )
            )
    return out


def _place(plate: Plate) -> PlatePlace:
    edge = plate.outline.sampled(SAMPLE)
    metal = np.concatenate(plate.faces(edge))
    base = min(
        plate.facets,
        key=lambda f: (
            float(np.abs(f.loop.distance(plate.base[None])[0]))
            if not f.loop.contains(plate.base[None])[0]
            else -1.0
        ),
    )
    return PlatePlace(
        plate=plate.id,
        kind=plate.kind,
        low=vec(metal.min(axis=0)),
        high=vec(metal.max(axis=0)),
        corners=plate.car_points(base.loop.vertices),
        slope=float(np.arccos(min(abs(float(plate.normal[2])), 1.0))),
    )


def _landing(cage: Cage, joint: Joint, tape: Tape, saddle: Points) -> BranchMark | None:
    """The mark of a branch on one of its parents; None where it touches that one nowhere."""
    branch = cage.member(joint.branch)
    spot = tape.path.nearest(joint.point)
    into = -branch.path.out_direction(joint.branch_end)
    lean = float(into @ spot.tangent)
    if len(saddle) < 2:
        saddle = _saddles([joint], FINE)[0][tape.member.id]
    if len(saddle) < 2:
        return None
    spots = [tape.path.nearest(p) for p in saddle]
    low, high = min(s.station for s in spots), max(s.station for s in spots)
    clock = tape.clock(spot.station, into - lean * spot.tangent)
    edges_only = not low - SCRIBED <= spot.station <= high + SCRIBED
    if edges_only:
        ways = (tape.clock(s.station, p - s.point) for p, s in zip(saddle, spots, strict=True))
        turns = [(way - clock + 180.0) % 360.0 - 180.0 for way in ways]
        clock = (clock + (min(turns) + max(turns)) / 2) % 360.0
        spot = tape.path.spot((low + high) / 2)
    return BranchMark(
        parent=tape.member.id,
        branch=joint.branch,
        end=joint.branch_end,
        joint=joint.id,
        tape=tape.at(spot.station),
        low=tape.at(low),
        high=tape.at(high),
        clock=clock,
        round=clock / 360.0 * 2 * pi * tape.radius,
        angle=float(np.arccos(min(abs(lean), 1.0))),
        leans="" if abs(lean) < SQUARE else ("b" if lean > 0 else "a"),
        point=joint.point,
        in_bend=tape.bent(spot.station),
        edges_only=edges_only,
    )


def _saddles(joints: Sequence[Joint], spots: int) -> list[dict[str, Points]]:
    """For each joint the spots of its saddle's outer edge, ``(n, 3)`` mm by the parent under it."""
    even = np.arange(spots) * (2 * pi / spots)
    rims = [np.concatenate([even, _changes(j)]) for j in joints]
    asks = [(j.cut, phi, j.cut.outer_radius) for j, phi in zip(joints, rims, strict=True)]
    out = []
    for joint, phi, c in zip(joints, rims, contacts(asks), strict=True):
        points = joint.cut.points(phi, joint.cut.outer_radius, c.s)
        owners = np.array([joint.cut.surfaces[i].owner for i in c.active])
        out.append({parent: points[owners == parent] for parent in joint.parents})
    return out


def _changes(joint: Joint) -> Vec:
    """Angles on both sides of where a saddle goes from one parent to the next, ``(n,)`` rad."""
    if len(joint.parents) < 2:
        return np.empty(0)
    return np.concatenate([joint.cut.corners - SHOP_ANGLE, joint.cut.corners + SHOP_ANGLE])


def _fixing(plate: Plate, tape: Tape) -> PlateMark:
    edge = plate.car_points(plate.outline.sampled(SAMPLE), -plate.thickness / 2)
    gaps = tape.path.distances(edge) - tape.radius
    close = edge[gaps <= max(TOUCHING, float(gaps.min()) + 1.0)]
    spots = [tape.path.nearest(p) for p in close]
    stations = [s.station for s in spots]
    middle = tape.path.spot((min(stations) + max(stations)) / 2)
    way = np.mean([unit(p - s.point) for p, s in zip(close, spots, strict=True)], axis=0)
    clock = tape.clock(middle.station, way)
    along = min(abs(float(plate.normal @ middle.tangent)), 1.0)
    return PlateMark(
        parent=tape.member.id,
        plate=plate.id,
        kind=plate.kind,
        low=tape.at(min(stations)),
        high=tape.at(max(stations)),
        clock=clock,
        round=clock / 360.0 * 2 * pi * tape.radius,
        turn=float(np.arcsin(along)),
        point=vec(close.mean(axis=0)),
    )

"""Where members are made: the build, the car and the members made so far."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from math import acos, cos, hypot, sqrt

import numpy as np
from msgspec.structs import replace

from cagekit.cage.chassis import chassis_tubes
from cagekit.cage.made import MadeTubes
from cagekit.cage.member import End, Member, Side
from cagekit.cage.places import Place, Places
from cagekit.errors import GeometryError, InputError, NoHolderError
from cagekit.geometry.arrays import Points, cross3, size3
from cagekit.geometry.centre_line import CentreLine, Line, Vec, unit, vec
from cagekit.inputs.build import Build
from cagekit.inputs.entries import MemberEntry, StrutEntry
from cagekit.inputs.places import BY_HALF, Location, OnTube
from cagekit.materials.tubes import Tube
from cagekit.plates.entries import foot_rise
from cagekit.units.tolerance import ALONG, SAME_POINT, SETTLED, SHARED

TURNS_BACK = np.radians(150)
"""A bend (rad) beyond which a tube between two places goes back on itself: no such bend is in a
cage's struts (common practice)."""

TIP_ROOM = 0.1
"""Room between the tips of two pieces that turn at a node, as a share of what parts them just."""


class Site:
    """What a generator sees and the helpers that all of them use.

    Args:
        build: what is made.
        frame: tubes of the car's own frame, when they are made already.
        rises: what feet on plates of such a build are raised by, as far as it is known, mm.
        left_out: what the members answer to that the build leaves out, when it is known already.
    """

    def __init__(
        self,
        build: Build,
        frame: Mapping[str, Member] | None = None,
        rises: dict[tuple[str, str], float] | None = None,
        left_out: set[str] | None = None,
    ) -> None:
        self.build, self.car = build, build.car
        self._rises = {} if rises is None else rises
        self.chassis = chassis_tubes(build.car) if frame is None else frame
        self.members = MadeTubes(self.chassis.values())
        left_out = build.names_left_out if left_out is None else left_out
        self.places = Places(build.car, self.members, left_out=left_out)

    def add(self, members: Sequence[Member]) -> None:
        """Take in members, so that later ones can hang on them."""
        for m in members:
            if m.id in self.chassis:
                raise InputError(
                    f"{self.build.name} [members.{m.entry}]",
                    "id",
                    m.id,
                    problem="a tube of the car's own frame has this name too.",
                    hint="Give the member another `id`, or rename the [[chassis.tube]].",
                )
            self.members.add(m)

    @property
    def made(self) -> dict[str, Member]:
        """The members alone, without the tubes of the car's own frame."""
        return {i: m for i, m in self.members.items() if i not in self.chassis}

    def tube(self, entry: MemberEntry, role: str) -> Tube:
        """The tube of an entry."""
        return self.build.tube_for(entry, role)

    def radius(self, entry: MemberEntry, tube: Tube) -> float:
        """Centre-line radius: the entry's, else that of the die for this tube, mm."""
        if entry.bend_radius is not None:
            return entry.bend_radius
        return self.build.tooling.die_for(tube.od).clr

    def where(self, entry: MemberEntry, field: str) -> str:
        """Name of an entry's field, for messages."""
        return f"{self.build.name} [members.{entry.id}] {field}"

    def place(self, entry: MemberEntry, place: Location, field: str) -> Place:
        """Find a place; one on the car is raised by the plate that the tube stands on.

        Args:
            entry: what hangs there.
            place: the place.
            field: of the entry, for messages.
        """
        place = self._own_half(entry, place)
        return self.on_plate(self.places.find(place, where=self.where(entry, field)))

    def _own_half(self, entry: MemberEntry, place: Location) -> Location:
        """A place on a tube that spans the car, on the half of an entry that has a side."""
        if not isinstance(place, OnTube) or place.side or place.at not in BY_HALF:
            return place
        if entry.side not in ("left", "right"):
            return place
        named = (w for w in self.members.words if place.member in (w.id, w.bar))
        tubes = [self.members[w.id] for w in named]
        spans = len(tubes) == 1 and tubes[0].path.start[1] * tubes[0].path.end[1] < 0
        return replace(place, side=entry.side) if spans else place

    def of_kind(self, kind: str, side: str = "", *, ahead: bool = False) -> Member | None:
        """The first member of a kind (or that does its work), on a side or across the car.

        Args:
            kind: kind or role.
            side: ``left``, ``right`` or any.
            ahead: only one that reaches ahead of the main hoop.
        """
        sides = ("left", "right", "centre") if not side else (side, "centre")
        for w in self.members.words:
            if (w.kind == kind or w.role == kind) and w.side in sides:
                found = self.members[w.id]
                if not ahead or self._is_ahead(found):
                    return found
        return None

    def _is_ahead(self, member: Member) -> bool:
        """Whether a tube reaches further ahead than the main hoop, by more than the hoop's tube."""
        hoop = self.of_kind("main_hoop")
        if hoop is None:
            return True
        return member.path.foremost > hoop.path.foremost + hoop.tube.od

    def tube_of(self, kind: str, side: str = "", *, ahead: bool = False) -> OnTube:
        """The tube of a kind, whatever a file calls it; the half on a side of one that spans."""
        found = self.of_kind(kind, side, ahead=ahead)
        if found is None:  # the finder tells what there is
            return OnTube(member=kind, side=side)
        return OnTube(member=found.bar, side=side if found.side == "centre" else "")

    def first(self, owner: str, *kinds: str, side: str = "") -> tuple[str, OnTube]:
        """The first of ``kinds`` that is made already ahead of the main hoop, its tube on a side.

        Args:
            owner: id of what hangs there, for messages.
            *kinds: the best first.
            side: ``left``, ``right`` or any.

        Raises:
            NoHolderError: there is none of them.
        """
        for kind in kinds:
            if self.of_kind(kind, side, ahead=True) is not None:
                return kind, self.tube_of(kind, side, ahead=True)
        where = f" on the {side}" if side else ""
        behind = any(self.of_kind(kind, side) is not None for kind in kinds)
        where += " that stands ahead of the main hoop" if behind else ""
        raise NoHolderError(
            owner,
            f"hangs on one of {', '.join(kinds)}, and the cage has none of them{where}.",
            "Add one, write where it hangs (from, to), or leave it out (omit = true).",
        )

    def foot(self, side: str, which: str, *, owner: str) -> Place:
        """The foot of ``owner`` on the car, raised by the plate it stands on.

        Args:
            side: ``left`` or ``right``.
            which: name of the foot on the car sheet.
            owner: what a message names.
        """
        where = f"{self.build.name} [members.{owner}]"
        return self.on_plate(self.places.car_foot(side, which, where=where))

    def on_plate(self, place: Place) -> Place:
        """A place on the car raised by the plate that a tube stands on there."""
        if place.normal is None or place.surface == "outrigger":
            return place
        key = place.foot, place.surface
        if key not in self._rises:
            self._rises[key] = foot_rise(self.build, *key)
        return replace(place, point=vec(place.point + self._rises[key] * place.normal))

    def end_at(self, place: Place) -> End:
        """How a tube ends at a place: coped to its members, flat on its surface, or free."""
        if place.members:
            return End.coped(*place.members)
        if place.normal is not None:
            return End.flat(place.point, place.normal, foot=place.foot, surface=place.surface)
        return End()

    def member(
        self,
        entry: MemberEntry,
        role: str,
        points: Sequence[Vec] | Points,
        a: Place,
        b: Place,
        *,
        bar: str = "",
        piece: str = "",
        side: Side | None = None,
    ) -> Member:
        """One member through ``points`` (n, 3), its ends at the places ``a`` and ``b``.

        Args:
            entry: what it is made from.
            role: its role.
            points: corners of the axis, mm.
            a: place of end a.
            b: place of end b.
            bar: the whole tube it is, or is a piece of; the entry's id when empty.
            piece: which piece of that bar; empty for a whole one.
            side: when not the entry's.
        """
        tube = self.tube(entry, role)
        bar = bar or entry.id
        id_ = f"{bar}_{piece}" if piece else bar
        if side is None:
            side = entry.side if entry.side in ("left", "right") else "centre"
        path = CentreLine.from_polyline(
            points, self.radius(entry, tube) if len(points) > 2 else 0.0, owner=id_
        )
        return Member(
            id=id_,
            role=role,
            side=side,
            tube=tube,
            path=path,
            a=self.end_at(a),
            b=self.end_at(b),
            entry=entry.id,
            group=entry.group,
            kind=entry.kind,
            bar=bar,
            piece=piece,
        )

    def struts(
        self,
        entry: StrutEntry,
        role: str,
        a: Place,
        b: Place,
        *,
        via: Sequence[Vec] | None = None,
        bar: str = "",
        split_by: Sequence[str] = (),
        side: Side | None = None,
    ) -> list[Member]:
        """A tube from ``a`` to ``b``, cut and coped where it meets the members that run through.

        The pieces of a cut tube aim at the axis of the member that runs through, so that the
        joint is concentric even when the two axes pass each other a little.

        Args:
            entry: what it is made from.
            role: its role, when the entry names none.
            a: place of end a.
            b: place of end b.
            via: corners between them, ``(3,)`` mm each, when they are not the entry's.
            bar: id of the tube; the entry's id when empty.
            split_by: members that run through, besides those that the entry names.
            side: when not the entry's.

        Raises:
            GeometryError: a tube with corners is to be cut, or does not cross what is to cut it.
        """
        role, bar = entry.role or role, bar or entry.id
        points = [a.point, *(map(vec, entry.via) if via is None else via), b.point]
        _require_forward(bar, points)
        if side is None and entry.side is None and entry.kind == "strut":
            side = _side_of(points)
        cutters = (*entry.split_by, *split_by)
        if not cutters:
            return [self.member(entry, role, points, a, b, bar=bar, side=side)]
        if len(points) > 2:
            raise GeometryError(
                bar,
                "a tube with corners cannot be cut by another member.",
                "Make it of two struts.",
            )
        nodes = self._nodes(entry, bar, points[0], points[1], cutters)
        return self.cut_bar(entry, role, [a, *nodes, b], bar=bar, side=side)

    def cut_bar(
        self,
        entry: StrutEntry,
        role: str,
        stops: Sequence[Place],
        *,
        bar: str,
        side: Side | None = None,
    ) -> list[Member]:
        """The straight pieces of a bar that other tubes run through.

        Args:
            entry: what it is made from.
            role: its role.
            stops: its ends, and between them its nodes on the tubes that run through.
            bar: id of the whole bar.
            side: when not the entry's.
        """
        starts, ends = list(stops[:-1]), list(stops[1:])
        for i in range(1, len(stops) - 1):
            ends[i - 1], starts[i] = self._parted(
                bar, stops[i], stops[i - 1].point, stops[i + 1].point, self.tube(entry, role)
            )
        return [
            self.member(entry, role, [p.point, q.point], p, q, bar=bar, piece=str(i), side=side)
            for i, (p, q) in enumerate(zip(starts, ends, strict=True), start=1)
        ]

    def _parted(
        self, bar: str, node: Place, before: Vec, after: Vec, tube: Tube
    ) -> tuple[Place, Place]:
        """Where the piece before a node and the one after it meet the tube that runs through.

        Pieces that turn at the node, seen along that tube, wrap round it towards each other by
        half the turn: on the inside of the turn their tips would be in one place. Then each node is
        drawn back along the tube, until the tips lie beside each other.

        Args:
            bar: id of the whole bar.
            node: on the tube that runs through.
            before: where the piece before comes from, ``(3,)`` mm.
            after: where the piece after goes to, ``(3,)`` mm.
            tube: of both pieces.

        Raises:
            GeometryError: they would have to be drawn back past the end of that tube.
        """
        through = self.members[node.members[0]]
        spot = through.path.nearest(node.point)
        legs = [unit(node.point - before), unit(after - node.point)]
        across = [d - (d @ spot.tangent) * spot.tangent for d in legs]
        sines = [size3(v) for v in across]
        if min(sines) < SETTLED:
            return node, node  # along the tube: the cope tells
        cosine = float(across[0] @ across[1]) / (sines[0] * sines[1])
        wrap = acos(min(max(cosine, -1.0), 1.0)) / 2
        proud = tube.outer_radius / cos(wrap) - through.tube.outer_radius
        if proud <= SHARED:
            return node, node
        # a round tube falls off by this much at this distance beside its highest line
        beside = sqrt(2 * tube.outer_radius * proud) * (1 + TIP_ROOM)
        way = 1.0 if float((legs[0] / sines[0] + legs[1] / sines[1]) @ spot.tangent) >= 0 else -1.0
        stations = spot.station - way * beside / sines[0], spot.station + way * beside / sines[1]
        if min(stations) < 0 or max(stations) > through.path.length:
            raise GeometryError(
                bar,
                f"runs along {through.id}, by which it is to be cut, more than across it: its "
                f"pieces have no room on it beside each other.",
                f"Take {through.id} out of `split_by`, or move a node until the bar crosses it.",
            )
        before_it, after_it = (
            replace(node, point=through.path.spot(station).point) for station in stations
        )
        return before_it, after_it

    def _nodes(
        self, entry: StrutEntry, bar: str, start: Vec, end: Vec, cutters: Sequence[str]
    ) -> list[Place]:
        """Nodes on the cutters' axes, in order along the strut.

        A tube of one side need not cross what an entry of both names on the other.
        """
        pieces = {name: self._pieces(name, entry) for name in cutters}
        through = [piece for group in pieces.values() for piece in group]
        axis, length = unit(end - start), size3(end - start)
        found: list[tuple[float, Place]] = []
        own = self.tube(entry, entry.kind).outer_radius
        other = {"left": "right", "right": "left"}.get(str(entry.side))
        missed = {
            cutter: None
            for cutter, group in pieces.items()
            if any(self.members[name].side != other for name in group)
        }
        for cutter, group in pieces.items():
            for name in group:
                spot = crossing(self.members[name].path, start, end)
                gap, along = size3(cross3(spot - start, axis)), float((spot - start) @ axis)
                reach = self.members[name].tube.outer_radius + own
                if gap < reach and SAME_POINT < along < length - SAME_POINT:
                    missed.pop(cutter, None)
                    if not self._ends_on_cutter(name, spot, through):
                        found.append((along, Place(point=spot, members=(name,))))
        if missed or not found:
            raise GeometryError(
                bar,
                f"does not cross {', '.join(missed or cutters)} between its ends, where it is to "
                "be cut.",
                "Take it out of `split_by`, or move a node until the tubes cross.",
            )
        return [place for _, place in sorted(found, key=lambda f: f[0])]

    def _ends_on_cutter(self, name: str, spot: Vec, through: Sequence[str]) -> bool:
        """Whether a piece only ends near the strut, on a tube that cuts the strut itself.

        The strut passes such a piece by: a node in its end would bend the strut's pieces there.
        """
        member = self.members[name]
        return any(
            not set(end.parents).isdisjoint(through)
            and size3(member.path.end_point(which) - spot) < SAME_POINT
            for which, end in member.ends
        )

    def _pieces(self, cutter: str, entry: StrutEntry) -> list[str]:
        """Ids of all pieces of a cutter, its own id when it is whole."""
        where = self.where(entry, "split_by")
        return [m.id for m in self.places.pieces(cutter, where=where)]


def _side_of(points: Sequence[Vec]) -> Side:
    """The side of the car that a tube keeps to, with all its corners."""
    y = [float(p[1]) for p in points]
    if min(y) > SAME_POINT:
        return "left"
    return "right" if max(y) < -SAME_POINT else "centre"


def _require_forward(bar: str, points: Sequence[Vec]) -> None:
    """Refuse corners at which a tube turns back: the list is mixed up, or counted from end b.

    Raises:
        GeometryError: at one of them the tube would turn by more than ``TURNS_BACK``.
    """
    if len(points) < 3:
        return
    turns = _turns(points)
    if max(turns, default=0.0) <= TURNS_BACK:
        return
    n = int(np.argmax(turns))
    hint = f"Move corner {n + 1}, or leave it out."
    if max(_turns([points[0], *points[-2:0:-1], points[-1]])) <= TURNS_BACK:
        hint = "Turn the list of corners round."
    raise GeometryError(
        bar,
        f"turns back by {np.degrees(turns[n]):.0f} degrees at corner {n + 1} of `via`; corners "
        "count from the end that `from` places.",
        hint,
    )


def _turns(points: Sequence[Vec]) -> list[float]:
    """Turn at each corner of a polyline, rad; none where two points are one."""
    rows = [p.tolist() for p in points]
    legs = [[v - u for u, v in zip(p, q, strict=True)] for p, q in pairwise(rows)]
    sizes = [hypot(*leg) for leg in legs]
    if min(sizes) < SETTLED:
        return []
    ways = [[c / size for c in leg] for leg, size in zip(legs, sizes, strict=True)]
    cosines = (u * x + v * y + w * z for (u, v, w), (x, y, z) in pairwise(ways))
    return [acos(min(max(c, -1.0), 1.0)) for c in cosines]


def crossing(path: CentreLine, start: Vec, end: Vec) -> Vec:
    """The point of a path that lies nearest to the straight from ``start`` to ``end``.

    Args:
        path: the tube's.
        start: ``(3,)`` mm.
        end: ``(3,)`` mm.
    """
    axis = end - start
    length = size3(axis)
    axis = axis / length
    only = path.pieces[0]
    if len(path.pieces) == 1 and isinstance(only, Line):
        station = _where_nearest(only, start, axis, length)
        if station is not None:
            return path.spot(station).point

    def gap(stations: Vec) -> Vec:
        w = path.points(stations) - start
        t = np.clip(w @ axis, 0.0, length)
        return np.asarray(np.linalg.norm(w - t[:, None] * axis, axis=1))

    grid = np.linspace(0.0, path.length, 400)
    best = float(grid[int(np.argmin(gap(grid)))])
    step = path.length / 399
    while step > SETTLED:
        near = best + np.linspace(-step, step, 41)
        best = float(np.clip(near[int(np.argmin(gap(near)))], 0.0, path.length))
        step /= 10
    return path.spot(best).point


def _where_nearest(line: Line, start: Vec, axis: Vec, length: float) -> float | None:
    """Station (mm) of a straight that is nearest to a segment; None of one parallel to it.

    Source: closed form of two lines, held to both lengths one after the other.
    """
    way = line.direction
    cosine = float(way @ axis)
    across = 1.0 - cosine * cosine
    if across < ALONG:
        return None
    gap = start - line.start
    s = (float(gap @ way) - cosine * float(gap @ axis)) / across
    s = min(max(s, 0.0), line.length)
    t = min(max(s * cosine - float(gap @ axis), 0.0), length)
    return min(max(float(gap @ way) + t * cosine, 0.0), line.length)

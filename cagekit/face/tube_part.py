"""A tube as a script holds it: its path, its ends, the spots on it; tubes between spots."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from dataclasses import replace as with_fields
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from msgspec import Struct

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, EndKind, EndName, Member, Plane
from cagekit.design.part import part_design
from cagekit.errors import GeometryError, InputError
from cagekit.face.arguments import (
    AnyLength,
    length_of,
    name_of,
    number_of,
    place_of,
    point_of,
    tube_of,
    whole_of,
)
from cagekit.face.pieces import Piece
from cagekit.face.tables import Table
from cagekit.geometry.centre_line import CentreLine, Vec, vec
from cagekit.units.tolerance import ROUNDING

if TYPE_CHECKING:
    import cadquery

    from cagekit.design.design import Design
    from cagekit.geometry.cope import EndCut
    from cagekit.materials.tubes import Tube
    from cagekit.shop.bending.bends import BendStep


class TubeSpot(Struct, frozen=True, kw_only=True, eq=False):
    """A spot on a tube's centre line: ``station`` mm from end a, ``point`` and ``tangent``."""

    tube: TubePart
    station: float
    point: Vec
    tangent: Vec


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class TubePart(Piece):
    """One tube: path, ends and what follows from them."""

    _word: ClassVar[str] = "tube"

    @property
    def member(self) -> Member:
        """The tube in its cage."""
        return self.cage.member(self.id)

    @property
    def path(self) -> CentreLine:
        """Its centre line between the theoretical ends."""
        return self.member.path

    @property
    def tube(self) -> Tube:
        """Diameter, wall and steel."""
        return self.member.tube

    @property
    def length(self) -> float:
        """Centre-line length between the outermost tips, as it is sawn, mm."""
        return self.cage.cut_length(self.id)

    @property
    def volume(self) -> float:
        """Volume of the coped wall, mm3."""
        return self.cage.volume(self.id)

    @property
    def mass(self) -> float:
        """Mass of the coped tube, kg."""
        return self.cage.mass(self.id)

    def bends(self) -> Table[BendStep]:
        """The bends in the order of work: marks, settings, clocking."""
        return Table(step for sheet in self.design.bends for step in sheet.steps)

    def copes(self) -> Mapping[EndName, EndCut]:
        """How both ends are cut; ``copes()["a"].outer_curve(360)`` is the template's line."""
        return {"a": self.cage.cut(self.id, "a"), "b": self.cage.cut(self.id, "b")}

    def solid(self) -> cadquery.Solid:
        """The hollow, coped tube as a ``cadquery.Solid``, mm."""
        from cagekit.solids.bodies import member_solid

        return member_solid(self.cage, self.id)

    @property
    def frames(self) -> Mapping[str, cadquery.Location]:
        """Named frames: ``a``, ``b`` (Z out of the tube), ``bend_1`` ..., ``middle``."""
        from cagekit.solids.frames import tube_frames

        return tube_frames(self.path)

    @cached_property
    def design(self) -> Design:
        """The tube alone."""
        units = self.origin.units if self.origin else "mm"
        tooling = self.origin.tooling if self.origin else None
        return part_design(
            self.cage.pick([self.id]), units=units, tooling=tooling, dims=dict(self.parameters)
        )

    def at(
        self,
        *,
        station: AnyLength | None = None,
        fraction: float | None = None,
        height: AnyLength | None = None,
        x: AnyLength | None = None,
        y: AnyLength | None = None,
        which: int = 1,
    ) -> TubeSpot:
        """A spot on the tube, for :func:`cagekit.between` and for attaching things.

        Args:
            station: distance along the centre line from end a.
            fraction: the same as a share of its length.
            height: where it passes this Z.
            x: where it passes this X.
            y: where it passes this Y.
            which: the first, second ... such place from end a.

        Raises:
            InputError: not exactly one is given, or it cannot be read.
            GeometryError: the tube has no such place.
        """
        given = {"station": station, "height": height, "x": x, "y": y}
        asked = {k: v for k, v in given.items() if v is not None}
        if len(asked) + (fraction is not None) != 1:
            raise InputError(
                f"{self.id}.at", problem="takes exactly one of station, fraction, height, x, y."
            )
        where = f"{self.id}.at"
        if fraction is not None:
            return self._spot(number_of(fraction, where, "fraction", 0, 1) * self.path.length)
        ((name, value),) = asked.items()
        size = length_of(value, where, name)
        if name == "station":
            return self._spot(size)
        axis = {"x": 0, "y": 1, "height": 2}[name]
        normal = np.eye(3)[axis]
        found = self.path.crossings(size * normal, normal)
        nth = whole_of(which, where, "which")
        if nth > len(found):
            times = {0: "nowhere", 1: "once"}.get(len(found), f"{len(found)} times")
            low, high = np.sort(self.path.corners()[:, axis])[[0, -1]]
            raise GeometryError(
                self.id,
                f"passes {name} {size:g} mm {times}; there is no place {nth}.",
                f"Its corners lie from {low:g} to {high:g} mm there.",
            )
        return self._spot(found[nth - 1].station)

    def _spot(self, station: float) -> TubeSpot:
        if not -ROUNDING <= station <= self.path.length + ROUNDING:
            raise GeometryError(
                self.id, f"is {self.path.length:.1f} mm long; {station:.1f} mm is not on it."
            )
        spot = self.path.spot(min(max(station, 0.0), self.path.length))
        return TubeSpot(tube=self, station=spot.station, point=spot.point, tangent=spot.tangent)

    def coped_to(self, *parents: TubePart, end: EndName = "b") -> TubePart:
        """The same tube with one end coped to other tubes, the one that holds the node first.

        The theoretical end stays where it is: let it lie on the first parent's centre line.

        Raises:
            InputError: no tube is given, or there is no such end.
            CopeError: the end does not meet the parents, or cannot be cut to them; says why.
        """
        where = f"{self.id}.coped_to"
        if end not in ("a", "b"):
            raise InputError(where, "end", end, problem="must be 'a' or 'b'.")
        if not parents:
            raise InputError(where, "parents", problem="none is given: name the tubes it meets.")
        for parent in parents:
            if not isinstance(parent, TubePart):
                problem = "is no tube: give a part such as cagekit.main_hoop(), or design['id']."
                raise InputError(where, "parents", parent, problem=problem)
        others, names = _beside(self, parents)
        kept = self.member.end("a" if end == "b" else "b").parents
        cut = End.coped(*names)
        member = self.member
        member = with_fields(member, a=cut) if end == "a" else with_fields(member, b=cut)
        stay = [m for m in self.cage.members.values() if m.id in kept]
        new = TubePart(
            cage=Cage(self.cage.name, [*stay, *others, member]), id=self.id, origin=self.origin
        )
        new.cage.cut(new.id, end)
        return new

    def placed(self, place: Any) -> TubePart:
        """The same tube moved: a ``Location``, a ``Plane``, a 4x4 matrix or a shift ``(x, y, z)``.

        Raises:
            InputError: the place is none of these, or stretches or mirrors.
        """
        turn, shift = place_of(place, f"{self.id}.placed")
        members = [_moved(m, turn, shift) for m in self.cage.members.values()]
        return TubePart(cage=Cage(self.cage.name, members), id=self.id, origin=self.origin)


def between(
    start: TubeSpot | Sequence[float],
    end: TubeSpot | Sequence[float],
    *,
    tube: str | Tube,
    via: Sequence[Sequence[float]] = (),
    bend_radius: AnyLength | None = None,
    name: str = "strut",
) -> TubePart:
    """A tube between two spots, coped to the tubes that they lie on; free where it is a point.

    Args:
        start: end a: a spot of a tube, or a point ``(x, y, z)`` mm.
        end: end b.
        tube: tube preset, or a ``Tube``.
        via: corners on the way from ``start``, ``(n, 3)`` mm, bent on ``bend_radius``.
        bend_radius: centre-line radius; four diameters when left out (common practice).
        name: its id.

    Raises:
        InputError: an argument is none of these, or there is no such tube preset.
        GeometryError: the path or a cope cannot be made; says why.
    """
    where = "between()"
    name = name_of(name, where, "name")
    size = tube_of(tube, where)
    radius = 4.0 * size.od if bend_radius is None else length_of(bend_radius, where, "bend_radius")
    points = [_point(start, "start"), *_corners(via), _point(end, "end")]
    path = CentreLine.from_polyline(np.array(points), radius, owner=name)
    plain = Member(id=name, role="strut", tube=size, path=path)
    made = TubePart(cage=Cage(name, [plain]), id=name)
    for which, spot in (("a", start), ("b", end)):
        if isinstance(spot, TubeSpot):
            made = made.coped_to(spot.tube, end="a" if which == "a" else "b")
    return made


def _point(spot: TubeSpot | Sequence[float], name: str) -> Vec:
    if isinstance(spot, TubePart):
        problem = "is a whole tube: say where on it, such as tube.at(height=450)."
        raise InputError("between()", name, spot, problem=problem)
    return spot.point if isinstance(spot, TubeSpot) else point_of(spot, "between()", name)


def _corners(via: Sequence[Sequence[float]]) -> list[Vec]:
    try:
        rows = list(via)
    except TypeError:
        raise InputError("between()", "via", via, problem="must be a list of points.") from None
    return [point_of(p, "between()", f"via[{n}]") for n, p in enumerate(rows)]


def _beside(tube: TubePart, parents: Sequence[TubePart]) -> tuple[list[Member], list[str]]:
    """The parents as members beside a tube, under names that nobody else has."""
    taken = {tube.id}
    taken |= {p for _, e in tube.member.ends for p in e.parents}
    members: list[Member] = []
    names: list[str] = []
    for parent in parents:
        id_, n = parent.id, 2
        known = tube.cage.members.get(id_)
        if known is not None and known.path is parent.path:
            names.append(id_)
            if known not in members:
                members.append(known)
            continue
        while id_ in taken:
            id_, n = f"{parent.id}_{n}", n + 1
        taken.add(id_)
        names.append(id_)
        members.append(_uncut(parent.member, id_))
    return members, names


def _uncut(member: Member, id_: str) -> Member:
    """A parent's tube as others are coped to it: its own ends do not matter."""
    return with_fields(member, id=id_, a=_alone(member.a), b=_alone(member.b))


def _alone(end: End) -> End:
    return End() if end.kind is EndKind.COPE else end


def _moved(member: Member, turn: Vec, shift: Vec) -> Member:
    def end(e: End) -> End:
        if e.plane is None:
            return e
        plane = Plane(vec(turn @ e.plane.point + shift), vec(turn @ e.plane.normal))
        return with_fields(e, plane=plane)

    return with_fields(
        member, path=member.path.mapped(turn, shift), a=end(member.a), b=end(member.b)
    )

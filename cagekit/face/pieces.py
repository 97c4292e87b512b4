"""Tubes and plates as a script holds them: frozen, with what is worked out from them."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from dataclasses import replace as with_fields
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, ClassVar, Self

import numpy as np

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, EndKind, EndName, Member, Plane
from cagekit.design.part import part_design
from cagekit.errors import GeometryError, InputError, OutputError
from cagekit.face.tables import Table
from cagekit.geometry.centre_line import CentreLine, Vec, vec
from cagekit.units import LengthUnit, parse_length

if TYPE_CHECKING:
    import cadquery

    from cagekit.cage.door import SmallPart
    from cagekit.cage.plate import Plate
    from cagekit.design.design import Design
    from cagekit.geometry.cope import EndCut
    from cagekit.geometry.outline import Outline
    from cagekit.materials.tubes import Tube
    from cagekit.shop.bending.bends import BendStep

AnyLength = float | str
"""A length: a number in mm, or a text with its unit such as ``"1 5/8 in"``."""

BY_PRODUCT = {
    ".step": "step",
    ".stp": "step",
    ".dxf": "dxf",
    ".glb": "glb",
    ".csv": "bends",
    ".pdf": "copes",
    ".png": "png",
    ".json": "json",
}
"""Product of ``make`` that writes files of an ending."""
BY_CADQUERY = (".stl", ".3mf", ".svg", ".amf", ".vrml", ".brep")
"""Endings that CadQuery's own exporters write."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """How a part was made: its kind and its dimensions as typed."""

    kind: str
    given: Mapping[str, Any] = field(default_factory=dict)
    units: LengthUnit = "mm"
    tooling: str | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Piece:
    """What tubes and plates of a script have in common.

    Args:
        cage: the cage that it stands in, or itself with the stubs that it meets.
        id: of the tube or plate in it.
        origin: kind and dimensions of a part that a function of the face made.
    """

    cage: Cage
    id: str
    origin: Origin | None = None
    _word: ClassVar[str] = "piece"

    def __repr__(self) -> str:
        """The kind and name in a line."""
        kind = self.origin.kind if self.origin else self._word
        name = self.id if kind == self.id else f"{kind} {self.id}"
        return f"<{name}: {self.mass:.3g} kg>"

    @property
    def parameters(self) -> Mapping[str, Any]:
        """Every dimension by name, mm and degrees; empty for a tube of a whole cage."""
        if self.origin is None:
            return MappingProxyType({})
        from cagekit.face.kinds import typed_values

        o = self.origin
        return MappingProxyType(typed_values(o.kind, o.given, o.units))

    def replace(self, **dims: Any) -> Self:
        """The same part with other dimensions, its own left as it is.

        Raises:
            InputError: it is no part of a kind, or a dimension cannot be.
        """
        if self.origin is None:
            raise InputError(
                self.id,
                problem="belongs to a whole cage.",
                hint="Change the design instead: design.change({'members.ID.field': value}).",
            )
        from cagekit.face.kinds import make

        o = self.origin
        made = make(o.kind, {**o.given, **dims}, units=o.units, tooling=o.tooling)
        assert isinstance(made, type(self))
        return made

    @property
    def mass(self) -> float:
        """Mass, kg."""
        raise NotImplementedError

    @property
    def volume(self) -> float:
        """Volume of steel, mm3."""
        raise NotImplementedError

    def solid(self) -> cadquery.Solid | cadquery.Assembly:
        """The piece as CadQuery's own object."""
        raise NotImplementedError

    @cached_property
    def design(self) -> Design:
        """The piece alone, as writers and schedules take it."""
        raise NotImplementedError

    def save(self, path: str | Path) -> Path:
        """Write the piece into one file; the ending says which: step, dxf, glb, csv, pdf, stl ...

        ``.csv`` is the bend schedule, ``.pdf`` the templates of the ends, ``.dxf`` the flat
        pattern of a plate or the template of a tube's end (``hoop-a.dxf`` for end a).

        Raises:
            InputError: there is no such file of this piece.
            OutputError: it cannot be written.
        """
        target = Path(path)
        ending = target.suffix.lower()
        if not target.parent.is_dir():
            raise OutputError(f"{target}: there is no folder {target.parent}.")
        if ending in BY_CADQUERY:
            from cagekit.solids.frames import export

            export(_one_shape(self.solid()), target)
            return target
        if ending not in BY_PRODUCT:
            known = ", ".join([*BY_PRODUCT, *BY_CADQUERY])
            raise InputError(
                str(target), problem="no file of that ending.", hint=f"Known: {known}."
            )
        with tempfile.TemporaryDirectory() as folder:
            self._write(BY_PRODUCT[ending], Path(folder))
            made = self._choose(Path(folder), ending, target)
            try:
                shutil.copyfile(made, target)
            except OSError as error:
                raise OutputError(f"{target}: {error.strerror}.") from None
        return target

    def _write(self, product: str, folder: Path) -> None:
        from cagekit.make.products import chosen

        names = [product]
        if product == "dxf" and self.cage.members and self.id in self.cage.members:
            names = ["copes"]
        for one in chosen(names):
            check = one.load()(self.design, folder)
            if check is not None:
                try:
                    check.result()
                finally:
                    check.close()

    def _choose(self, folder: Path, ending: str, target: Path) -> Path:
        """The one file that is meant among those that were written."""
        files = sorted(p for p in folder.rglob(f"*{ending.replace('.stp', '.step')}"))
        if len(files) > 1:
            parts = [f for f in files if f.parent != folder and f.stem == self.id]
            wholes = [f for f in files if f.parent == folder]
            named = [f for f in files if target.stem.endswith(f.stem[-2:]) and f.stem[-2:-1] == "-"]
            files = named or (wholes if ending in (".step", ".stp") and wholes else parts) or files
        if not files:
            raise InputError(str(target), problem=f"{self.id} has no {ending} file.")
        if len(files) > 1:
            names = ", ".join(f.stem for f in files)
            raise InputError(
                str(target),
                problem=f"{self.id} has {len(files)} such files: {names}.",
                hint="End the name with -a or -b for the end of a tube, or save one plate.",
            )
        return files[0]

    def _repr_svg_(self) -> str:
        from cagekit.view.camera import OBLIQUE
        from cagekit.view.linework import cage_drawing

        return cage_drawing(self.design.cage, OBLIQUE, 150.0, 100.0, {}, margin=6.0).svg


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TubeSpot:
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
        if fraction is not None:
            return self._spot(fraction * self.path.length)
        ((name, value),) = asked.items()
        size = length_of(value, f"{self.id}.at", name)
        if name == "station":
            return self._spot(size)
        axis = {"x": 0, "y": 1, "height": 2}[name]
        normal = np.eye(3)[axis]
        found = self.path.crossings(size * normal, normal)
        if not 1 <= which <= len(found):
            raise GeometryError(
                self.id, f"passes {name} {size:g} mm {len(found)} times, not {which}."
            )
        return self._spot(found[which - 1].station)

    def _spot(self, station: float) -> TubeSpot:
        if not -1e-9 <= station <= self.path.length + 1e-9:
            raise GeometryError(
                self.id, f"is {self.path.length:.1f} mm long; {station:.1f} mm is not on it."
            )
        spot = self.path.spot(min(max(station, 0.0), self.path.length))
        return TubeSpot(tube=self, station=spot.station, point=spot.point, tangent=spot.tangent)

    def coped_to(self, *parents: TubePart, end: EndName = "b") -> TubePart:
        """The same tube with one end coped to other tubes, the one that holds the node first.

        The theoretical end stays where it is: let it lie on the first parent's centre line.

        Raises:
            CopeError: the end does not meet the parents, or cannot be cut to them; says why.
        """
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
            ValueError: the place is none of these.
        """
        from cagekit.solids.frames import rigid

        turn, shift = rigid(place)
        members = [_moved(m, turn, shift) for m in self.cage.members.values()]
        return TubePart(cage=Cage(self.cage.name, members), id=self.id, origin=self.origin)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class PlatePart(Piece):
    """A plate, or the plates and small parts that make one thing (a bracket, a box foot)."""

    _word: ClassVar[str] = "plate"

    ids: tuple[str, ...] = ()

    @property
    def plates(self) -> Mapping[str, Plate]:
        """The plates by id: flat patterns with holes, folds and placement."""
        wanted = self.ids or (self.id,)
        return {p.id: p for p in self.cage.plates if p.id in wanted}

    @property
    def hardware(self) -> tuple[SmallPart, ...]:
        """Sleeves, washers and pins that belong to it."""
        return self.cage.hardware if self.origin else ()

    @property
    def mass(self) -> float:
        """Mass of plates and small parts, kg."""
        return sum(p.mass for p in self.plates.values()) + sum(h.mass for h in self.hardware)

    @property
    def volume(self) -> float:
        """Volume of steel, mm3."""
        return sum(p.volume for p in self.plates.values()) + sum(h.volume for h in self.hardware)

    @property
    def length(self) -> float:
        """The flat pattern's longer side, mm."""
        return float(max(self._one().size))

    def outline(self) -> Outline:
        """Edge of the flat pattern, mm; InputError when there are several plates."""
        return self._one().outline

    def plate(self, id_: str) -> PlatePart:
        """One of several plates.

        Raises:
            InputError: there is no such plate.
        """
        if id_ not in self.plates:
            raise InputError(self.id, "plate", id_, problem=f"has {', '.join(self.plates)}.")
        alone = Cage(id_, (), plates=[self.plates[id_]])
        return PlatePart(cage=alone, id=id_, ids=(id_,))

    def _one(self) -> Plate:
        if len(self.plates) != 1:
            raise InputError(
                self.id,
                problem=f"is made of {len(self.plates)} plates: {', '.join(self.plates)}.",
                hint="Take one with .plate('ID').",
            )
        return next(iter(self.plates.values()))

    def bends(self) -> Table[Any]:
        """The folds in the order of the pattern."""
        return Table(f for p in self.plates.values() for f in p.folds)

    def solid(self) -> cadquery.Solid | cadquery.Assembly:
        """The plate as folded as a ``cadquery.Solid``; an ``Assembly`` where there are several."""
        from cagekit.solids.bodies import cage_assembly, plate_solid

        if len(self.plates) == 1 and not self.hardware:
            return plate_solid(self._one())
        return cage_assembly(self.design.cage)

    @property
    def frames(self) -> Mapping[str, cadquery.Location]:
        """Named frames: ``plate``, ``hole_1`` ...; of several plates with the id before."""
        from cagekit.solids.frames import plate_frames

        if len(self.plates) == 1:
            return plate_frames(self._one())
        return {
            f"{id_}.{name}": at
            for id_, plate in self.plates.items()
            for name, at in plate_frames(plate).items()
        }

    @cached_property
    def design(self) -> Design:
        """The plates alone."""
        cage = Cage(self.id, (), plates=self.plates.values(), hardware=self.hardware)
        units = self.origin.units if self.origin else "mm"
        tooling = self.origin.tooling if self.origin else None
        return part_design(cage, units=units, tooling=tooling, dims=dict(self.parameters))

    def placed(self, place: Any) -> PlatePart:
        """The same plates moved; see :meth:`TubePart.placed`.

        Raises:
            InputError: it has small parts, which stay with the bar that they are made for.
        """
        from cagekit.solids.frames import rigid

        if self.hardware:
            raise InputError(self.id, problem="has pins and sleeves; place its solid instead.")
        turn, shift = rigid(place)
        m = np.eye(4)
        m[:3, :3], m[:3, 3] = turn, shift
        plates = [p.placed(m @ p.placement) for p in self.plates.values()]
        cage = Cage(self.cage.name, (), plates=plates)
        return PlatePart(cage=cage, id=self.id, origin=self.origin, ids=self.ids)


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
        via: corners on the way, ``(n, 3)`` mm, bent on ``bend_radius``.
        bend_radius: centre-line radius; four diameters when left out (common practice).
        name: its id.

    Raises:
        NotFoundError: there is no such tube preset.
        GeometryError: the path or a cope cannot be made; says why.
    """
    from cagekit.face.kinds import tube_preset

    size = tube_preset(tube) if isinstance(tube, str) else tube
    radius = 4.0 * size.od if bend_radius is None else length_of(bend_radius, name, "bend_radius")
    points = [_point(start), *(vec(p) for p in via), _point(end)]
    path = CentreLine.from_polyline(np.array(points), radius, owner=name)
    plain = Member(id=name, role="strut", tube=size, path=path)
    made = TubePart(cage=Cage(name, [plain]), id=name)
    for which, spot in (("a", start), ("b", end)):
        if isinstance(spot, TubeSpot):
            made = made.coped_to(spot.tube, end="a" if which == "a" else "b")
    return made


def length_of(value: AnyLength, where: str, name: str) -> float:
    """A length in mm; InputError names the argument.

    Args:
        value: as typed.
        where: function whose argument it is.
        name: of the argument.

    Raises:
        InputError: it is no length.
    """
    try:
        return parse_length(value, default="mm")
    except ValueError as error:
        raise InputError(where, name, value, problem=str(error)) from None


def _point(spot: TubeSpot | Sequence[float]) -> Vec:
    return spot.point if isinstance(spot, TubeSpot) else vec(spot)


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


def _one_shape(solid: Any) -> Any:
    """A shape that CadQuery exports: the solid, or all of an assembly."""
    to_compound = getattr(solid, "toCompound", None)
    return solid if to_compound is None else to_compound()

"""A design as a script holds it: load it, change it, look into it, check and make it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Self

from msgspec.structs import replace
from pydantic import ValidationError

from cagekit.design.design import Design
from cagekit.design.makeable import makeable
from cagekit.errors import InputError, NotFoundError
from cagekit.face.arguments import names_of, number_of, units_of
from cagekit.face.tables import Table
from cagekit.hints import did_you_mean
from cagekit.inputs.build import BuildFile
from cagekit.inputs.messages import FileInputError, problems_of
from cagekit.inputs.presets import shown
from cagekit.inputs.resolve import resolve
from cagekit.units import LengthUnit

if TYPE_CHECKING:
    import cadquery

    from cagekit.checks.finding import Finding
    from cagekit.design.makeable import LeftOut
    from cagekit.face.plate_part import PlatePart
    from cagekit.face.tube_part import TubePart
    from cagekit.make.run import Made


class CageDesign(Design):
    """One build and all that follows from it, for scripts.

    ``design["main_hoop"]`` is a tube or plate; ``change`` gives another design; ``check`` the
    findings; ``assembly`` the solids; ``make`` writes the files.
    """

    def change(self, changes: Mapping[str, Any]) -> Self:
        """A new design with values of its build file changed; this one stays as it is.

        Args:
            changes: values by dotted name, written as in the file: ``{"tube": "cds-45x2.5",
                "members.harness_bar.height": "470 mm"}``.

        Raises:
            InputError: there is no such table or field, or a value cannot be.

        >>> import cagekit
        >>> wagon = cagekit.load("track-roadster")
        >>> lower = wagon.change({"members.harness_bar.height": 480})
        >>> round(float(lower["harness_bar_1"].path.start[2]), 1)
        480.0
        """
        if not isinstance(changes, Mapping) or not all(isinstance(k, str) for k in changes):
            problem = "must be a dictionary of values by dotted name, such as {'tube': '...'}."
            raise InputError(f"{self.name}.change", problem=problem)
        names = {name for entry in self.build.entries for name in entry.names}
        for key in changes:
            if key.partition(".")[0] in names - BuildFile.model_fields.keys():
                problem = "is not a field of a build."
                hint = f"What it says of a member stands under members: 'members.{key}'."
                raise InputError(f"{self.name}.change", key, problem=problem, hint=hint)
        try:
            return self._with(changes)
        except FileInputError as error:
            # the build's file was right before: what is wrong of it stands in the changes
            file = self.build.files.get("build")
            told = [
                replace(p, file=f"{self.name}.change", line=None)
                if file and p.file == shown(file)
                else p
                for p in error.problems
            ]
            raise FileInputError(told) from None

    def _with(self, changes: Mapping[str, Any]) -> Self:
        members = {k: v for k, v in changes.items() if _is_member_field(k)}
        if len(members) == len(changes):
            new = self
            for key, value in members.items():
                _, member, field = key.split(".")
                new = new.changed(member, **{field: value})
            return new
        data = self.build.file.model_dump(mode="json", by_alias=True, exclude_unset=True)
        for key, value in changes.items():
            _set(data, key.split("."), value, key)
        told = {**self.options.get("changed", {}), **changes}
        return type(self)._of(data, self.build.files.get("build"), {"changed": told}, self.units)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, units: LengthUnit | None = None) -> Self:
        """The design of a build that a script writes as a dictionary, like its file.

        Raises:
            InputError: a value cannot be, or a preset is missing; says field and what would do.
        """
        return cls._of(data, None, {"build": dict(data)}, units)

    @classmethod
    def _of(
        cls,
        data: Mapping[str, Any],
        path: Path | None,
        options: Mapping[str, Any],
        units: LengthUnit | None,
    ) -> Self:
        context = {"units": data.get("units", "mm")}
        try:
            file = BuildFile.model_validate(dict(data), context=context)
        except ValidationError as error:
            where = str(path) if path else "build"
            found = problems_of(error, BuildFile, data, file=where, lines={})
            raise FileInputError(found) from None
        build = resolve(file, path or Path.cwd() / f"{file.name}.toml")
        if path is None:
            build = replace(build, files={k: v for k, v in build.files.items() if k != "build"})
        return cls(build, units=units, options=options)

    def check(
        self,
        groups: str | Sequence[str] | None = None,
        rules: str | Sequence[str] | None = None,
    ) -> Table[Finding]:
        """Every finding, worst first; it approves nothing.

        What cannot be made is a finding, and the rest is checked without it.

        Args:
            groups: names of the groups to run; all when left out.
            rules: rulebooks to use instead of the build's.

        Raises:
            InputError: there is no such group or rulebook.
        """
        from cagekit.checks import run
        from cagekit.checks.finding import worst_first
        from cagekit.checks.left_out import left_out

        design, without = self.makeable
        found = run(design, names_of(groups), names_of(rules))
        return Table(worst_first((*left_out(without), *found)))

    @cached_property
    def makeable(self) -> tuple[Self, Sequence[LeftOut]]:
        """The design without entries that cannot be made, itself when all can; and these."""
        return makeable(self)

    def make(
        self,
        out: str | Path | None = None,
        only: str | Sequence[str] = (),
        *,
        jobs: int | None = None,
        progress: Callable[[str], None] = lambda name: None,
    ) -> Made:
        """Write the files of ``cagekit make`` into a folder, whole or not at all.

        Args:
            out: the folder; ``outputs/<name>`` when left out.
            only: names of products; all if empty.
            jobs: 2 for products made by two processes side by side, 1 for one after the other; as
                fits the machine when left out.
            progress: told the name of each product before it is made.

        Raises:
            InputError: ``only`` names no product, or ``jobs`` is neither 1 nor 2.
            OutputError: the folder cannot be written.
            GeometryError: a product cannot be made.
        """
        from cagekit.make.run import make

        target = Path(out) if out else Path("outputs") / self.name
        if jobs not in (None, 1, 2):
            raise InputError(f"{self.name}.make", "jobs", jobs, problem="can be 1 or 2.")
        return make(self, target, only=names_of(only) or (), jobs=jobs, progress=progress)

    def opened(self, share: float = 1.0) -> Self:
        """The design with its swing-out bars open.

        Args:
            share: 0 for closed, 1 for as far as each bar swings.

        Raises:
            InputError: the share is not from 0 to 1.
        """
        from cagekit.swing.opened import opened_cage

        share = number_of(share, f"{self.name}.opened", "share", 0, 1)
        angles = {d.bar: share * d.open_angle for d in self.cage.doors}
        return type(self)(
            self.build,
            cage=opened_cage(self.cage, angles),
            units=self.units,
            options=self.options,
            rules=self.rules,
            name=f"{self.name}_open",
        )

    def assembly(self) -> cadquery.Assembly:
        """The whole cage as a ``cadquery.Assembly``: cage / group / part, a colour for each role.

        Raises:
            KernelError: a solid cannot be made; names the part.
        """
        from cagekit.solids.bodies import cage_assembly

        return cage_assembly(self.cage)

    @cached_property
    def members(self) -> Mapping[str, TubePart]:
        """The tubes by id, in build order."""
        from cagekit.face.tube_part import TubePart

        return MappingProxyType({i: TubePart(cage=self.cage, id=i) for i in self.cage.members})

    @cached_property
    def plates(self) -> Mapping[str, PlatePart]:
        """The plates by id."""
        from cagekit.face.plate_part import PlatePart

        cage = self.cage
        return MappingProxyType(
            {p.id: PlatePart(cage=cage, id=p.id, ids=(p.id,)) for p in cage.plates}
        )

    def __getitem__(self, id_: str) -> TubePart | PlatePart:
        """A tube or plate by its id; NotFoundError tells what is near it."""
        if not isinstance(id_, str):
            problem = "takes the id of a tube or plate, such as 'main_hoop'."
            raise InputError(f"{self.name}[...]", "id", id_, problem=problem)
        found = self.members.get(id_) or self.plates.get(id_)
        if found is None:
            hint = did_you_mean(id_, {*self.members, *self.plates}, what="There are")
            raise NotFoundError(f"{self.name}: there is no {id_!r}. {hint}".rstrip())
        return found

    def _repr_svg_(self) -> str:
        from cagekit.view.camera import OBLIQUE
        from cagekit.view.linework import cage_drawing

        return cage_drawing(self.cage, OBLIQUE, 180.0, 120.0, {}, margin=6.0).svg


def load(build: str | Path | Mapping[str, Any], *, units: LengthUnit | None = None) -> CageDesign:
    """The design of a build: its cage, people and schedules, worked out when asked for.

    Args:
        build: name of a build preset, path to a build file, or a dictionary like one.
        units: of papers and pictures, ``"mm"`` or ``"in"``; the build's when left out.

    Raises:
        InputError: a file is missing or wrong; says file, line, field and what would do.

    >>> import cagekit
    >>> roadster = cagekit.load("track-roadster")
    >>> roadster.cage
    <Cage track-roadster: 6 members, 12 plates>
    >>> round(roadster["main_hoop"].tube.od, 1)
    45.0
    >>> lower = roadster.changed("harness_bar", height="480 mm")
    >>> lower.cage.cut("main_hoop", "a") is roadster.cage.cut("main_hoop", "a")
    True
    """
    if units is not None:
        units = units_of(units, "load()")
    if isinstance(build, Mapping):
        return CageDesign.from_dict(build, units=units)
    if not isinstance(build, str | Path):
        problem = "must be the name of a build, a path or a dictionary."
        raise InputError("load()", "build", build, problem=problem)
    return CageDesign.load(str(build), units=units)


def _is_member_field(key: str) -> bool:
    return key.startswith("members.") and key.count(".") == 2


def _set(data: dict[str, Any], names: Sequence[str], value: Any, key: str) -> None:
    """Set a value by its dotted name."""
    here: Any = data
    for name in names[:-1]:
        if isinstance(here, list):
            here = here[_index(name, here, key)]
            continue
        here = here.setdefault(name, {})
    if isinstance(here, list):
        here[_index(names[-1], here, key)] = value
    elif isinstance(here, dict):
        here[names[-1]] = value
    else:
        raise InputError("change", key, problem=f"{names[-2]} is a value, not a table.")


def _index(name: str, rows: Sequence[Any], key: str) -> int:
    if not name.isdigit() or int(name) >= len(rows):
        raise InputError("change", key, problem=f"{name} is no row: there are {len(rows)}, from 0.")
    return int(name)

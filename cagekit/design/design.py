"""One build with what is worked out from it, each once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Self, TypeVar, cast

from cagekit.assembly.assemble import members_only, with_plates
from cagekit.cage.kept import Kept
from cagekit.errors import GeometryError, InputError, NotFoundError
from cagekit.inputs.build import Build
from cagekit.inputs.resolve import load_build, with_changes

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.cage.member import Member
    from cagekit.fit.cockpit import Cockpit
    from cagekit.inputs.tooling import Tooling
    from cagekit.people.posture import Occupant
    from cagekit.shop.bending.bends import BendSchedule
    from cagekit.shop.papers.order import Step
    from cagekit.shop.papers.setting_out import SettingOut
    from cagekit.shop.papers.takeoff import Takeoff
    from cagekit.shop.sawing.plan import CutPlan
    from cagekit.shop.welding.weld_rows import WeldRow
    from cagekit.shop.welding.welds import Weld, WeldPlan
    from cagekit.structure.strength import StrengthResult
    from cagekit.units import LengthUnit

T = TypeVar("T")


class Design:
    """One build, its cage, its people and its schedules; each is worked out when first asked for.

    Rooms above keep what they work out here too, through :meth:`once`: findings, for one.

    Args:
        build: resolved input; None for a part made alone, which has ``cage`` and ``tooling``.
        cage: the cage, when it is made already; the build's own otherwise.
        units: of papers and pictures (the build's); data files stay in mm.
        options: further choices that a product understands, by name.
        rules: rule profiles to hold it against, when not the build's.
        name: of the output, when not the build's.
        tooling: the shop, when there is no build.
        files: input files by what they are, when there is no build.
        kept: results to start from; what goes into them is their key, so they fit any design.
    """

    def __init__(
        self,
        build: Build | None = None,
        *,
        cage: Cage | None = None,
        units: LengthUnit | None = None,
        options: Mapping[str, Any] | None = None,
        rules: Iterable[str] | None = None,
        name: str = "",
        tooling: Tooling | None = None,
        files: Mapping[str, Path] | None = None,
        kept: Kept | None = None,
    ) -> None:
        self._build, self._tooling = build, tooling
        self.units: LengthUnit = units or (build.units if build else "mm")
        self.options: Mapping[str, Any] = MappingProxyType(dict(options or {}))
        self.name = name or (build.name if build else "part")
        if files is None:
            files = build.files if build else {}
        self.files: Mapping[str, Path] = files
        if rules is None:
            rules = build.rules if build else ()
        self.rules: tuple[str, ...] = tuple(rules)
        self._worked_out: dict[object, Any] = {}
        if kept is None:
            kept = cage.kept if cage is not None else Kept()
        self.kept = kept
        if cage is not None:
            self.__dict__["cage"] = cage

    @classmethod
    def load(cls, reference: str, *, units: LengthUnit | None = None) -> Self:
        """The design of a build file: a preset's name or a path.

        Raises:
            InputError: a file is missing or wrong; says file, line, field and what would do.
        """
        return cls(load_build(reference), units=units)

    def against(self, rules: Iterable[str]) -> Self:
        """The same design held against other rule profiles; what was worked out stays."""
        new = type(self)(
            self._build,
            units=self.units,
            options=self.options,
            rules=rules,
            name=self.name,
            tooling=self._tooling,
            files=self.files,
            kept=self.kept,
        )
        worked_out = {k: v for k, v in self.__dict__.items() if k in WORKED_OUT}
        new.__dict__.update(worked_out)
        return new

    def changed(self, member: str, /, **dims: Any) -> Self:
        """A new design with dimensions of one member changed; this one stays as it is.

        What the change cannot touch is kept: cuts, masses, meshes and plates whose measurements
        are the same to the last bit, people and car.

        Args:
            member: id of a member as its entry has it, or a kind for all of that kind.
            **dims: values by field, written as in the build file: lengths in its units or with a
                unit of their own, angles in degrees.

        Raises:
            InputError: there is no such member or field, or a value cannot be.
        """
        changes = {**self.options.get("changed", {})}
        changes[member] = {**changes.get(member, {}), **dims}
        build = with_changes(self.build, member, dims)
        return self.of_build(build, options={**self.options, "changed": changes})

    def of_build(
        self,
        build: Build,
        *,
        options: Mapping[str, Any] | None = None,
        cage: Cage | None = None,
    ) -> Self:
        """A design of another version of the build; what the change cannot touch is kept.

        Args:
            build: the version, its car and drivers the same objects where nothing changed there.
            options: when they are others.
            cage: its cage, when it is made already.
        """
        new = type(self)(
            build,
            cage=cage,
            units=self.units,
            options=self.options if options is None else options,
            rules=self.rules,
            name=self.name,
            tooling=self._tooling,
            files={**build.files, **self.files},
            kept=self.kept,
        )
        old = self.build
        seated = build.car is old.car and build.drivers == old.drivers
        if seated and "people" in self.__dict__:
            new.__dict__["people"] = self.people
        return new

    def __repr__(self) -> str:
        """The name, and how many members when the cage is made."""
        has = f", {len(self.cage.members)} members" if "cage" in self.__dict__ else ""
        return f"<{type(self).__name__} {self.name}{has}>"

    @property
    def build(self) -> Build:
        """The build; NotFoundError for a part made alone.

        Raises:
            NotFoundError: a part made alone has none.
        """
        if self._build is None:
            raise NotFoundError(f"{self.name}: a part made alone has no build.")
        return self._build

    @property
    def tooling(self) -> Tooling:
        """The shop's bender, saw, table and paper."""
        return self._tooling or self.build.tooling

    def once(self, key: object, make: Callable[[Design], T]) -> T:
        """What ``make`` works out of this design, kept under ``key`` (hashable) for the next."""
        if key not in self._worked_out:
            self._worked_out[key] = make(self)
        return cast(T, self._worked_out[key])

    def forget(self, key: object) -> None:
        """Keep no longer what was worked out under ``key``: the next who asks makes it again."""
        self._worked_out.pop(key, None)

    # --- cage and people ---------------------------------------------------------------------

    @cached_property
    def cage(self) -> Cage:
        """The cage; GeometryError when a member cannot be made."""
        tubes = self.tubes
        with self._placed():
            return with_plates(self.build, tubes)

    @cached_property
    def tubes(self) -> Cage:
        """The cage without its plates; GeometryError when a member cannot be made."""
        with self._placed():
            return members_only(self.build, self.kept)

    @contextmanager
    def _placed(self) -> Iterator[None]:
        """Give errors the place of the file that they are about."""
        try:
            yield
        except (GeometryError, InputError, NotFoundError) as error:
            from cagekit.inputs.written import with_place

            raise with_place(error, self.build) from error

    @cached_property
    def fitted(self) -> Cage:
        """The cage as it is made: swing-out bars still whole."""
        return self.cage.as_fitted()

    @cached_property
    def people(self) -> tuple[Occupant, ...]:
        """Everybody as seated in the car; empty without driver sheets."""
        from cagekit.people.posture import seated

        return seated(self.build.car, self.build.drivers)

    @cached_property
    def cockpit(self) -> Cockpit:
        """Everybody as seated among the tubes, padding on; empty without driver sheets.

        What of the car's own frame runs under the floor is not among them.
        """
        from cagekit.fit.cockpit import Cockpit
        from cagekit.inputs.padding import thickness_by_member

        under = {m.id for m in self.cage.chassis.values() if _top(m) <= self.build.car.floor_z}
        members = {i: m for i, m in self.cage.tubes.items() if i not in under}
        names = {m.id: m.names for m in members.values()}
        padding = thickness_by_member(self.build.file.padding, names)
        return Cockpit(self.build.car, self.people, members, padding, self.kept)

    @cached_property
    def strength(self) -> StrengthResult:
        """Frame, cases, collapse and joints under the build's loads.

        Loads that the build does not name must not keep it from being made: what they cannot be
        put on is told as the result's problem.

        Raises:
            InputError: loads that the build names cannot act on it; says where.
        """
        try:
            return self.strength_under()
        except InputError as error:
            if "loads" in self.build.file.model_fields_set:
                raise
            from cagekit.inputs.loads import LoadsFile
            from cagekit.inputs.presets import find_preset, load_file
            from cagekit.structure.strength import StrengthResult

            file = load_file("loads", find_preset("loads", self.build.file.loads), LoadsFile)
            return StrengthResult(file=file, cases=(), weight=None, problem=str(error))

    def strength_under(self, loads: str = "", only: Sequence[str] = ()) -> StrengthResult:
        """The strength under another set of loads, or under some of its cases.

        Args:
            loads: loads preset or path; the build's when empty.
            only: ids of cases; all when empty.

        Raises:
            InputError: the file is missing or wrong, or a load lies off the cage.
        """
        from cagekit.inputs.loads import LoadsFile
        from cagekit.inputs.presets import find_preset, load_file, shown
        from cagekit.structure.cases import LoadScene
        from cagekit.structure.strength import strength_of

        self._require_yield()
        beside = self.files["build"].parent if "build" in self.files else None
        path = find_preset("loads", loads or self.build.file.loads, beside=beside)
        scene = LoadScene(
            cage=self.cage, car=self.build.car, people=len(self.build.drivers),
            file=load_file("loads", path, LoadsFile), where=shown(path),
            leg_over_wall=self.build.tooling.torch.leg_over_wall,
        )  # fmt: skip
        return strength_of(scene, only)

    def _require_yield(self) -> None:
        """Refuse a steel without a yield strength where its tube is written."""
        from cagekit.inputs.presets import shown
        from cagekit.structure.sections import yield_of

        used = {m.tube.material for m in self.cage.members.values()}
        for reference, tube in self.build.tubes.items():
            if tube.material in used and f"tube {reference}" in self.files:
                try:
                    yield_of(tube.material)
                except InputError as error:
                    raise InputError(
                        shown(self.files[f"tube {reference}"]), "material", tube.material,
                        problem=error.problem, hint=error.hint,
                    ) from None  # fmt: skip

    # --- the shop's schedules ----------------------------------------------------------------

    @cached_property
    def bends(self) -> tuple[BendSchedule, ...]:
        """Bend schedules of all tubes that are made, in build order, swing-out bars whole."""
        from cagekit.shop.bending.bends import schedules

        return schedules(self.fitted, self.tooling)

    @cached_property
    def pieces(self) -> tuple[BendSchedule, ...]:
        """What tubes that come apart are cut into: shapes only, the blank is the whole tube's."""
        from cagekit.shop.bending.bends import schedules

        cut = [m for m in self.cage.members if m not in self.fitted.members]
        return schedules(self.cage.pick(cut), self.tooling) if cut else ()

    @property
    def bar_of_piece(self) -> dict[str, str]:
        """Id of the whole tube by the id of the piece that is cut from it."""
        return {piece: d.fitted.id for d in self.cage.divided for piece in d.pieces}

    @cached_property
    def cuts(self) -> tuple[CutPlan, ...]:
        """Cutting plans, one per tube size."""
        from cagekit.shop.sawing.plan import cut_plans

        return cut_plans(self.bends, self.tooling)

    @cached_property
    def materials(self) -> Takeoff:
        """Material list and masses."""
        from cagekit.shop.papers.takeoff import take_off

        return take_off(self.build, self.cage, self.fitted, self.bends, self.cuts)

    @cached_property
    def weld_plan(self) -> WeldPlan:
        """In which order the tubes go in, and when each joint is welded."""
        from cagekit.shop.welding.welds import plan_welding

        return plan_welding(self.fitted, self.build.car, self.tooling.torch)

    @property
    def welds(self) -> tuple[Weld, ...]:
        """Weld map of the cage as it is made."""
        return self.weld_plan.welds

    @cached_property
    def weld_rows(self) -> tuple[WeldRow, ...]:
        """Every weld of the cage as it is made: joints, feet, plates, gussets, tabs, brackets."""
        from cagekit.shop.welding.weld_rows import weld_rows

        return weld_rows(self.fitted, self.welds, self.tooling.torch)

    @cached_property
    def setting_out(self) -> SettingOut:
        """Where feet and plates stand in the car, and what is marked on every tube."""
        from cagekit.shop.papers.setting_out import set_out

        return set_out(self.fitted, self.build.car)

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """Order of work, its words in the design's units."""
        return self.steps_in(self.units)

    def steps_in(self, units: LengthUnit) -> tuple[Step, ...]:
        """Order of work, its words in mm or inches."""
        from cagekit.shop.papers.order import order_of_work

        return self.once(
            ("steps", units),
            lambda d: order_of_work(
                d.fitted,
                d.weld_plan,
                d.cage.doors,
                units,
                bolted=d.cage.bolted,
                open_body=d.build.car.body == "open",
                holes=d.setting_out.holes,
            ),
        )


WORKED_OUT = frozenset(n for n, v in vars(Design).items() if isinstance(v, cached_property))
"""What a design keeps by name."""


def _top(straight: Member) -> float:
    """Height of the highest metal of a straight tube, mm."""
    return max(float(p[2]) for p in (straight.path.start, straight.path.end)) + (
        straight.tube.outer_radius
    )

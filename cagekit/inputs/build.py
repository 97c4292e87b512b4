"""A build: the file that says which car, driver, tube, tooling, layout and rules make this cage."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from msgspec import Struct, field
from pydantic import BeforeValidator, Field, ValidationError

from cagekit.errors import InputError, NotFoundError
from cagekit.hints import did_you_mean
from cagekit.inputs.car import Car
from cagekit.inputs.driver import Driver
from cagekit.inputs.entries import AnyEntry, FreeStrutEntry, MemberEntry, StrutEntry
from cagekit.inputs.fields import ByKind, EntrySide, FileModel, FileName, Length
from cagekit.inputs.grind import Grind
from cagekit.inputs.layout import Layout
from cagekit.inputs.member_kinds import MEMBER_KINDS
from cagekit.inputs.messages import problem_and_cure
from cagekit.inputs.most import MOST_TUBES
from cagekit.inputs.padding import Padding
from cagekit.inputs.places import AtPoint, OnCar, OnTube, TubeEnd, for_side
from cagekit.inputs.plate import AnyPlateEntry, PlateEntry
from cagekit.inputs.presets import key_error, table_error
from cagekit.inputs.toml_lines import TomlKey
from cagekit.inputs.tooling import Tooling
from cagekit.materials.tubes import Tube
from cagekit.names import named

if TYPE_CHECKING:
    from cagekit.inputs.bolted import JointEntry

OUTRIGGER = "outrigger"
"""A kind of member, and what a foot of the car sheet stands on that one is made for."""


def _usual_kind(value: Any) -> Any:
    """An entry that says no kind is a sleeve."""
    return {"kind": "sleeve", **value} if isinstance(value, Mapping) else value


if TYPE_CHECKING:
    AnyJoint = JointEntry
else:
    AnyJoint = Annotated[
        FileModel,
        ByKind(
            {
                "sleeve": "cagekit.inputs.bolted:SleeveEntry",
                "clevis": "cagekit.inputs.bolted:ClevisEntry",
                "plug": "cagekit.inputs.bolted:PlugEntry",
            }
        ),
        BeforeValidator(_usual_kind),
    ]
"""One entry of ``[[joint]]``, chosen by its ``kind``; a sleeve when it says none."""


class BuildFile(FileModel):
    """A build file as written."""

    kind: Literal["build"] = "build"
    name: FileName = Field(
        description="letters, digits, hyphen and underscore; files and folders are named by it"
    )
    description: str = ""
    units: Literal["mm", "in"] = "mm"
    car: str = Field(description="car sheet: preset name or path")
    drivers: tuple[str, ...] = Field((), description="driver sheets, the driver first")
    layout: str = Field(description="layout: preset name or path")
    tube: str = Field(description="tube preset for every member without one of its own")
    tubes: dict[str, str] = Field({}, description="tube preset by role, e.g. main_hoop = '...'")
    tooling: str = Field(description="tooling: preset name or path")
    rules: tuple[str, ...] = Field((), description="rulebook profiles to check against")
    loads: str = Field("screening", description="load cases: preset name or path")
    foot_plate: Length | None = Field(
        None,
        ge=0,
        description="thickness of plate between floor sheet and tube, when not the layout's",
    )
    padding: tuple[Padding, ...] = Field(
        (), description="padding on tubes that the people could touch"
    )
    members: dict[str, dict[str, Any]] = Field(
        {}, description="changes to the layout's members, by id or role"
    )
    add: tuple[AnyEntry, ...] = Field((), description="members beyond the layout")
    strut: tuple[FreeStrutEntry, ...] = Field((), description="free struts between two places")
    plate: tuple[AnyPlateEntry, ...] = Field(
        (), description="plates, gussets and tabs beyond the layout's"
    )
    grind: tuple[Grind, ...] = Field(
        (), description="grinding notes: tubes that are eased by hand where they touch another"
    )
    joint: tuple[AnyJoint, ...] = Field(
        (), description="bolted joints at which straight tubes come apart"
    )


class Build(Struct, frozen=True, kw_only=True):
    """A build with everything it refers to loaded and checked.

    ``entries`` are the layout's members with both sides spread out and the build's changes laid
    on, in the order they are made; ``plates`` likewise, their presets filled in. ``tubes`` is
    keyed by tube reference. ``files`` are the input files by what they are, for the manifest;
    ``remarks`` tell what they say that is possible and not usual. ``as_written`` is false where
    entries were taken out or changed that the files say otherwise.
    """

    name: str
    file: BuildFile
    car: Car
    drivers: tuple[Driver, ...]
    tooling: Tooling
    layout: Layout
    tubes: Mapping[str, Tube]
    entries: tuple[MemberEntry, ...]
    plates: tuple[PlateEntry, ...] = ()
    files: Mapping[str, Path] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    as_written: bool = True

    def __repr__(self) -> str:
        """The name and what it refers to."""
        return f"<Build {self.name}: car {self.file.car}, layout {self.file.layout}>"

    @property
    def units(self) -> Literal["mm", "in"]:
        """Units that papers and tables use."""
        return self.file.units

    @property
    def rules(self) -> tuple[str, ...]:
        """Rulebook profiles that the build is checked against."""
        return self.file.rules

    @property
    def foot_plate(self) -> float:
        """Thickness of plate between floor sheet and tube, mm."""
        own = self.file.foot_plate
        return self.layout.foot_plate_in(self.units) if own is None else own

    @property
    def names_left_out(self) -> set[str]:
        """What the members answer to that the build leaves out."""
        written = [*self.layout.member, *self.file.add, *self.file.strut]
        names = {n for e in written for id_, _ in _legs(e) for n in (e.kind, _group(e), id_)}
        return names - _names(self.entries)

    @property
    def tube(self) -> Tube:
        """The tube of every member that has none of its own."""
        return self.tubes[self.file.tube]

    def tube_ref(self, entry: MemberEntry, role: str) -> str:
        """The tube reference of a member: its own, its role's, or the build's."""
        return entry.tube or self.file.tubes.get(role) or self.file.tube

    def tube_for(self, entry: MemberEntry, role: str) -> Tube:
        """The tube of a member; NotFoundError when its reference was not loaded.

        Raises:
            NotFoundError: its tube preset was not loaded.
        """
        reference = self.tube_ref(entry, role)
        if reference not in self.tubes:
            raise NotFoundError(
                f"{self.name} [members.{entry.id}] tube = {reference!r}: no such tube preset."
            )
        return self.tubes[reference]


def spread(entries: Sequence[MemberEntry]) -> list[MemberEntry]:
    """Spread entries with ``side = "both"`` over left and right and fill in ids and sides."""
    out: list[MemberEntry] = []
    for entry in entries:
        for name, side in _legs(entry):
            changes: dict[str, Any] = {"id": name, "side": side}
            if side in ("left", "right"):
                changes |= for_side(entry, side)
            one = entry.model_copy(update={**changes, "group": _group(entry)})
            out.append(_mirrored(one) if entry.side == "both" and side == "right" else one)
    return out


def _legs(entry: MemberEntry) -> Iterator[tuple[str, EntrySide | None]]:
    """Id and side of each member that an entry stands for."""
    base = entry.id or entry.kind
    sides: tuple[EntrySide | None, ...] = ("left", "right")
    for side in sides if entry.side == "both" else (entry.side,):
        plain = side not in ("left", "right") or base.endswith(f"_{side}")
        yield base if plain else f"{base}_{side}", side


def _ids(entries: Iterable[MemberEntry]) -> set[str]:
    """Ids of all members that entries stand for."""
    return {id_ for entry in entries for id_, _ in _legs(entry)}


def _group(entry: MemberEntry) -> str:
    """What all members of an entry answer to."""
    return entry.group or entry.id or entry.kind


def _mirrored(entry: MemberEntry, said: Collection[str] = ("from", "to", "via")) -> MemberEntry:
    """An entry with what is said as on the left, ends and corners by x, y, z, on the right."""
    if not isinstance(entry, StrutEntry):
        return entry
    ends = {"from_": entry.from_, "to": entry.to}
    changes: dict[str, Any] = {
        name: end.across()
        for name, end in ends.items()
        if isinstance(end, AtPoint) and name.rstrip("_") in said
    }
    if "via" in said:
        changes["via"] = tuple((x, -y, z) for x, y, z in entry.via)
    return entry.model_copy(update=changes)


def entries_of(
    file: BuildFile, layout: Layout, where: str, car: Car | None = None
) -> tuple[MemberEntry, ...]:
    """The entries alone of :func:`entries_with_remarks`; arguments and errors as there.

    Args:
        file: the build file.
        layout: its layout.
        where: what a message names.
        car: its car.
    """
    return entries_with_remarks(file, layout, where, car)[0]


def entries_with_remarks(
    file: BuildFile, layout: Layout, where: str, car: Car | None = None
) -> tuple[tuple[MemberEntry, ...], tuple[str, ...]]:
    """Lay a build's additions and changes on its layout's members.

    What the layout hangs on a member that the build leaves out goes with it, and an outrigger of
    the layout goes where the car's foot stands on something already.

    Args:
        file: the build file.
        layout: its layout.
        where: what a message names.
        car: its car.

    Returns:
        The entries, and a remark for each that the layout has and the cage has not.

    Raises:
        InputError: a change names a member that the layout does not have, or a field that the
            member does not have, or gives it a value it cannot take.
    """
    entries = spread([*layout.member, *file.add, *file.strut])
    _require_few_tubes(entries, file, layout, where)
    _require_own_ids(file, layout, where)
    _require_roles(file, entries, where)
    used: set[str] = set()
    out: list[MemberEntry] = []
    on_left = {key for e in entries if e.side == "left" for key in e.names}
    for entry in entries:
        for key in entry.names:
            if key in file.members:
                used.add(key)
                entry = _changed(entry, file.members[key], file.units, where, key)
                if entry.side == "right" and key in on_left:
                    # said of both sides, as it is on the left
                    entry = _mirrored(entry, file.members[key])
        if not entry.omit:
            _require_side(entry, where)
            out.append(entry)
    known = sorted({k for e in entries for k in e.names})
    for key in file.members:
        if key not in used:
            near = get_close_matches(key, known, 1)
            hint = f"Did you mean {near[0]!r}?" if near else f"The layout has: {', '.join(known)}."
            problem = "the layout has no such member."
            raise key_error(where, ("members", key), None, problem, hint)
    _require_none_idle(file, entries, out, where)
    _require_all_read(file, out, where)
    out, idle = _without_idle_outriggers(file, layout, out, car)
    left, hanging = _without_hanging(file, layout, entries, out)
    return left, (*idle, *hanging)


def resized(build: Build, file: BuildFile, key: str, where: str) -> tuple[MemberEntry, ...] | None:
    """The entries of a build when its file says other numbers of a member; None for more than that.

    Which members there are and what hangs on which was looked at when the build was put together:
    other numbers change nothing of it. With more than numbers :func:`entries_of` looks anew.

    Args:
        build: the build.
        file: the same file with other or more fields in the table ``[members.key]``.
        key: what the table calls the member.
        where: what a message names.

    Raises:
        InputError: the table has a field that the member does not have, or a value it cannot take.
    """
    table = file.members[key]
    written = (*build.layout.member, *file.add, *file.strut)
    legs = sum(key in (e.kind, _group(e), id_) for e in written for id_, _ in _legs(e))
    named = [e for e in build.entries if key in e.names]
    if not build.as_written or "via" in table or not named or len(named) != legs:
        return None
    out = dict[str, MemberEntry]()
    for entry in named:
        tables = {n: file.members.get(n, {}) for n in entry.names}
        if any(n != key and not table.keys().isdisjoint(t) for n, t in tables.items()):
            return None  # the narrower of two names has the last word
        new = _changed(entry, table, file.units, where, key)
        said = {name for t in tables.values() for name in t}
        if not _differ_in_numbers(entry, new) or new.unread(said):
            return None
        out[entry.id] = new
    return tuple(out.get(e.id, e) for e in build.entries)


def _differ_in_numbers(old: MemberEntry, new: MemberEntry) -> bool:
    """Whether two entries of a kind are alike but for numbers, one of which may be new."""
    fields = vars(old)
    return all(
        value is fields[name] or value == fields[name]
        or (type(value) in _NUMBERS and (fields[name] is None or type(fields[name]) in _NUMBERS))
        for name, value in vars(new).items()
    )  # fmt: skip


_NUMBERS = (float, int)
"""Types of numbers; a truth is none."""


def _without_idle_outriggers(
    file: BuildFile, layout: Layout, kept: Sequence[MemberEntry], car: Car | None
) -> tuple[list[MemberEntry], tuple[str, ...]]:
    """Entries without the layout's outriggers under feet that stand on the car itself.

    One that the build file speaks of stays.
    """
    of_layout = _ids(layout.member)
    out, idle = list[MemberEntry](), dict[str, list[str]]()
    for entry in kept:
        foot = car.foot(f"{entry.side}.main_foot") if car and entry.side else None
        stands = "" if foot is None else foot.surface
        asked = entry.id not in of_layout or any(key in file.members for key in entry.names)
        if entry.kind != OUTRIGGER or asked or stands in ("", OUTRIGGER):
            out.append(entry)
            continue
        idle.setdefault(stands, []).append(entry.id)
    return out, tuple(
        f"{' and '.join(ids)}: left out, as the car's main_foot stands on the {stands} there. "
        f"Under [members.{OUTRIGGER if len(ids) > 1 else ids[0]}], omit = true says the same "
        "without this word, omit = false has them made."
        for stands, ids in idle.items()
    )


def _require_none_idle(
    file: BuildFile, written: Sequence[MemberEntry], kept: Sequence[MemberEntry], where: str
) -> None:
    """Refuse values for members that the layout leaves out: nothing would be made of them."""
    made = _names(kept)
    for key, said in file.members.items():
        idle = key not in made and all(e.omit for e in written if key in e.names)
        if said and idle and "omit" not in said:
            name = next(iter(said))
            problem = f"the layout leaves out {key}, so nothing is made of this."
            hint = "Add `omit = false` to the table to have it made."
            raise key_error(where, ("members", key, name), said[name], problem, hint)


def _require_all_read(file: BuildFile, kept: Sequence[MemberEntry], where: str) -> None:
    """Refuse a value that no member makes anything of, as its other fields stand."""
    said = {e.id: frozenset(n for key in e.names for n in file.members.get(key, {})) for e in kept}
    for key, table in file.members.items():
        rows = [e.unread(said[e.id]) for e in kept if key in e.names]
        for name in table:
            if rows and all(name in row for row in rows):
                why = problem_and_cure(rows[0][name])
                raise key_error(where, ("members", key, name), table[name], *why)
    by_id = {e.id: e for e in kept}
    for list_, written in (("add", file.add), ("strut", file.strut)):
        for n, entry in enumerate(written):
            legs = [by_id[id_] for id_, _ in _legs(entry) if id_ in by_id]
            idle = [leg.idle(said[leg.id]) for leg in legs]
            for name in idle[0] if idle else ():
                if all(name in row for row in idle):
                    why = problem_and_cure(idle[0][name])
                    raise key_error(where, (list_, n, name), getattr(entry, name), *why)


def _without_hanging(
    file: BuildFile,
    layout: Layout,
    written: Sequence[MemberEntry],
    kept: Sequence[MemberEntry],
) -> tuple[tuple[MemberEntry, ...], tuple[str, ...]]:
    """Entries without those of the layout that hang on a member left out, and what to say of them.

    What the build itself says stays, to be refused where it cannot be.
    """
    out, remarks = list(kept), list[str]()
    of_layout: set[str] = set()
    while True:
        names = _names(out)
        seconds = {f"{e.id}_{word}" for e in written for word in SECONDS} - _seconds(out)
        gone = (_names(written) | seconds) - names
        if not gone:
            return tuple(out), tuple(remarks)
        of_layout = of_layout or _ids(layout.member)
        present = names | _seconds(out)
        changed = False
        for n, entry in enumerate(out):
            if entry.id not in of_layout:
                continue
            own = {f for key in entry.names for f in file.members.get(key, {})}
            out[n] = entry = _split_by_kept(entry, own, gone, present)
            place = next((p for p in _places_of(entry, own) if _is_gone(p[1], gone, names)), None)
            if place is not None:
                remarks.append(
                    f"{entry.id} is left out too: its {place[0]} is on {place[1]}, which the "
                    "build leaves out."
                )
                del out[n]
                changed = True
                break
        if not changed:
            return tuple(out), tuple(remarks)


def _names(entries: Iterable[MemberEntry]) -> set[str]:
    """All that a file may call members of these entries."""
    return {n for e in entries for n in e.names}


SECONDS = ("cross", "lower")
"""What tells the second bar of an entry that makes two: ``hoop_diagonal_cross``."""
MAKES_SECOND = {"crossed": "cross", "x": "cross", "pair": "lower"}
"""Which one an entry of a style makes."""


def _seconds(entries: Iterable[MemberEntry]) -> set[str]:
    """Names of the second bars that these entries make."""
    words = ((e.id, MAKES_SECOND.get(getattr(e, "style", ""))) for e in entries)
    return {f"{id_}_{word}" for id_, word in words if word}


def _split_by_kept(
    entry: MemberEntry, own: Collection[str], gone: Collection[str], names: Collection[str]
) -> MemberEntry:
    """The entry split only by members that the cage has; what the build says of it stays."""
    by: tuple[str, ...] = getattr(entry, "split_by", ())
    if not by:
        return entry
    left = tuple(n for n in by if not _is_gone(n, gone, names))
    if left == by or "split_by" in own:
        return entry
    return entry.model_copy(update={"split_by": left})


def _places_of(entry: MemberEntry, own: Collection[str]) -> Iterator[tuple[str, str]]:
    """Fields of an entry that name a tube, and that tube, but for those that the build wrote."""
    for name, place in vars(entry).items():
        if isinstance(place, OnTube):
            written = type(entry).model_fields[name].alias or name
            if name not in own and written not in own:
                yield written, place.member


def _is_gone(name: str, gone: Collection[str], names: Collection[str]) -> bool:
    """Whether a name stands for a member that is left out, or for a leg or piece of one."""
    known = (n for n in (*names, *gone) if f"{name}_".startswith(f"{n}_"))
    return max(known, key=len, default="") in gone


def _require_few_tubes(
    entries: Sequence[MemberEntry], file: BuildFile, layout: Layout, where: str
) -> None:
    """Refuse more members than any cage has; the message is about the file that has most."""
    if len(entries) <= MOST_TUBES:
        return
    most = max(("add", file.add), ("strut", file.strut), key=lambda row: len(row[1]))
    problem = (
        f"the build has {len(entries)} members, both sides counted; at most {MOST_TUBES} are taken."
    )
    hint = "Leave out what the cage does not need."
    if len(most[1]) >= len(layout.member):
        raise key_error(where, (most[0], len(most[1]) - 1), None, problem, hint)
    raise InputError(f"layout {layout.name}", "member", problem=problem, hint=hint)


def _require_own_ids(file: BuildFile, layout: Layout, where: str) -> None:
    """Refuse two members of one name; the message is about the file that has the second."""
    written: list[tuple[MemberEntry, TomlKey]] = [
        *((e, tuple[str | int, ...]()) for e in layout.member),
        *((e, ("add", n, "id")) for n, e in enumerate(file.add)),
        *((e, ("strut", n, "id")) for n, e in enumerate(file.strut)),
    ]
    seen: dict[str, TomlKey] = {}
    for entry, key in written:
        for id_, _ in _legs(entry):
            if id_ not in seen:
                seen[id_] = key
                continue
            first = seen[id_]
            problem, hint = "two members have this id.", "Give one of them another `id`."
            if key:
                other = f"[[{first[0]}]] entry {int(first[1]) + 1}" if first else "the layout"
                raise key_error(where, key, id_, problem, f"The other is in {other}. {hint}")
            raise InputError(f"layout {layout.name}", "id", id_, problem=problem, hint=hint)


def _require_roles(file: BuildFile, entries: Sequence[MemberEntry], where: str) -> None:
    """Refuse a tube for a role that no member of the build has, written or left out."""
    roles = {getattr(e, "role", None) or e.kind for e in entries}
    for role in file.tubes:
        if role in roles:
            continue
        if role in BuildFile.model_fields:
            problem = "stands below [tubes] and so belongs to it, where only roles are named."
            hint = f"Move {role} above the first [table] of the file."
        else:
            problem = "no member has this role, so nothing would be made of that tube."
            hint = did_you_mean(role, roles, what="Roles")
        raise key_error(where, ("tubes", role), file.tubes[role], problem, hint)


def _require_side(entry: MemberEntry, where: str) -> None:
    """Refuse a kind or a place that leaves its side open on an entry without one."""
    if entry.side in ("left", "right"):
        return
    placed = None not in (getattr(entry, "from_", None), getattr(entry, "to", None))
    if MEMBER_KINDS[entry.kind].one_side and not placed:
        raise InputError(
            f"{where} [members.{entry.id}]",
            "side",
            entry.side,
            problem=f"each {named(entry.kind)} is on one side of the car.",
            hint="Give it side = 'left', 'right' or 'both'.",
        )
    for name, info in type(entry).model_fields.items():
        place = getattr(entry, name)
        if isinstance(place, OnTube | OnCar | TubeEnd) and place.open:
            if isinstance(place, OnTube) and not place.at:
                continue  # a tube alone: the entry says it of both sides
            raise InputError(
                f"{where} [members.{entry.id}]",
                info.alias or name,
                str(place),
                problem="the member has no side to fill in.",
                hint="Give it side = 'left', 'right' or 'both'.",
            )


def _changed(
    entry: MemberEntry, change: Mapping[str, Any], units: str, where: str, key: str
) -> MemberEntry:
    """Return ``entry`` with the fields of ``change``, the table ``[members.key]``, laid on."""
    kind = entry.kind
    if "kind" in change and change["kind"] != kind:
        raise InputError(
            f"{where} [members.{key}]",
            "kind",
            change["kind"],
            problem=f"the member is a {kind}.",
            hint="Leave it out (omit = true) and add another one.",
        )
    for name in ("id", "side"):
        if name in change and change[name] != getattr(entry, name):
            raise key_error(
                where,
                ("members", key, name),
                change[name],
                f"the {name} of a member of the layout stays as it is.",
                "Leave the member out (omit = true) and write one of your own under [[add]].",
            )
    data = {**change, "kind": kind}
    try:
        over = type(entry).model_validate(data, context={"units": units})
    except ValidationError as error:
        path, within = Path(where), ("members", key)
        raise table_error(error, type(entry), data, path=path, within=within) from None
    update = {n: getattr(over, n) for n in over.model_fields_set if n not in ("kind", "id", "side")}
    changed = entry.model_copy(update=update)
    if entry.side in ("left", "right"):
        changed = changed.model_copy(update=for_side(changed, entry.side))
    return changed

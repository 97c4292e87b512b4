"""Where the entry that an error is about was written: file and line, for messages."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from re import search

from msgspec import Struct

from cagekit.errors import CagekitError, GeometryError, InputError, NotFoundError, StandError
from cagekit.inputs.build import Build, spread
from cagekit.inputs.entries import MemberEntry
from cagekit.inputs.messages import FileInputError, Problem, table_and_field
from cagekit.inputs.plate import SWING_BRACKET, FloorPlateEntry, PlateEntry
from cagekit.inputs.presets import read_toml, shown
from cagekit.inputs.toml_lines import TomlKey, line_map, line_of
from cagekit.units import lengths_in


class Written(Struct, frozen=True):
    """A table of a file: the file as messages show it, the line, the table's name, its field.

    ``says`` tells that the line is the field's own, not that of its table.
    """

    file: str
    line: int
    table: str
    field: str = ""
    says: bool = False

    def __str__(self) -> str:
        return f"{self.file}:{self.line}"


def with_place(error: CagekitError, build: Build) -> CagekitError:
    """Return ``error`` with the places of the files that say what it is about, if they are found.

    Lengths are told in the build's units. What was typed is told by its file, line and table; a
    shape by the name of its part, and what a person can change about it is a line in a file.
    """
    if isinstance(error, NotFoundError):
        return _sheet_missing(error, build)
    if isinstance(error, FileInputError) or not isinstance(error, GeometryError | InputError):
        return error
    places = list(dict.fromkeys(_places(error, build)))
    # the lines that say the field; of one that none says, those of its tables
    places = [place for place in places if place.says] or places
    problem, hint = (lengths_in(s, build.units) for s in (error.problem, error.hint))
    if isinstance(error, GeometryError):
        if places:
            hint = f"{hint} Written at {_listed(places)}.".lstrip()
        return type(error)(error.owner, problem, hint)
    value = lengths_in(error.value, build.units) if isinstance(error.value, str) else error.value
    if not places:
        return InputError(error.where, error.field, value, problem=problem, hint=hint)
    first, *more = places
    if not more and first.file == shown(build.files.get(f"layout {build.file.layout}", Path())):
        hint = f"{hint} {_in_a_build(error, build)}".strip()
    if more:
        hint = f"{hint} See also {_listed(more)}.".lstrip()
    field = first.field or _field(error)
    if error.field and not first.field and field != error.field:
        problem = f"{error.field}: {problem}"
    return FileInputError(
        [
            Problem(
                file=first.file,
                line=first.line,
                table=first.table,
                field=field,
                value=value,
                problem=problem,
                hint=hint,
            )
        ]
    )


def _listed(places: Sequence[Written]) -> str:
    *first, last = map(str, places)
    return f"{', '.join(first)} and {last}" if first else last


def _in_a_build(error: CagekitError, build: Build) -> str:
    """Where a build says what its layout does."""
    if isinstance(error.about, FloorPlateEntry):
        return "A build says it in a [[plate]] of its own."
    entry = None if isinstance(error.about, PlateEntry) else entry_named(error, build)
    return f"A build says it under [members.{entry.group or entry.id}]." if entry else ""


def _sheet_missing(error: NotFoundError, build: Build) -> CagekitError:
    """The same about a table that a sheet or a plate names and that is nowhere."""
    if isinstance(error.about, PlateEntry):
        places = [f"{p} [{p.table}]" for p in _plate_table(error.about, "", build)]
        return NotFoundError(f"{' and '.join(places)}: {lengths_in(str(error), build.units)}")
    named = f"tooling {build.tooling.name!r}: "
    path = build.files.get(f"tooling {build.file.tooling}")
    if path is not None and str(error).startswith(named):
        said = lengths_in(str(error).removeprefix(named), build.units)
        where = next((str(w) for w in _in_file(path, [("die", 0)])), shown(path))
        return NotFoundError(f"{where} [die]: {said}")
    return error


def _of_car(error: InputError, build: Build) -> bool:
    return error.where == f"car {build.car.name}"


def _field(error: InputError) -> str:
    """The field that was typed: the error's own, or the one that ends the name of its table."""
    named = search(r"[^\]]\] (\w+)$", error.where)
    return named.group(1) if named else error.field


def _places(error: GeometryError | InputError, build: Build) -> Iterator[Written]:
    field = _field(error) if isinstance(error, InputError) else ""
    if isinstance(error, StandError) and error.foot:
        yield from _in_file(
            build.files.get(f"car {build.file.car}"), _car_keys(error.foot), "normal"
        )
    if isinstance(error, InputError) and _of_car(error, build):
        yield from _in_file(build.files.get(f"car {build.file.car}"), _car_keys(error.field))
        return
    if isinstance(error.about, PlateEntry):
        yield from _plate_table(error.about, field, build)
        if isinstance(error, InputError) or error.about.kind != SWING_BRACKET:
            return  # what brackets cannot do hangs on their bar too
    plate = search(r"\[\[plate\]\] (\w+)", str(error))
    if plate:
        yield from _plate_tables(plate.group(1), error, build)
        return
    entry = entry_named(error, build)
    if entry is None:
        return
    names = set(entry.names)
    keys: list[TomlKey] = [("members", n) for n in reversed(entry.names)]
    keys += [("add", n) for n, e in enumerate(build.file.add) if _is(e, names)]
    keys += [("strut", n) for n, e in enumerate(build.file.strut) if _is(e, names)]
    yield from _in_file(build.files.get("build"), keys, field)
    inner: list[TomlKey] = [
        ("member", n) for n, e in enumerate(build.layout.member) if _is(e, names)
    ]
    yield from _in_file(build.files.get(f"layout {build.file.layout}"), inner, field)


def _plate_table(entry: PlateEntry, field: str, build: Build) -> Iterator[Written]:
    """Where the table stands that an entry of the build was spread from, and its preset."""
    n = next((n for n, one in enumerate(build.plates) if one is entry), None)
    files = ((f"layout {build.file.layout}", build.layout.plate), ("build", build.file.plate))
    for what, tables in files:
        for number, table in enumerate(tables):
            if n is None or n < 0:
                return
            n -= 2 if table.side == "both" else 1
            if n < 0:
                yield from _in_file(build.files.get(what), [("plate", number)], field)
                yield from _in_file(build.files.get(f"plate {table.preset}"), [("plate",)], field)


def _plate_tables(name: str, error: GeometryError | InputError, build: Build) -> Iterator[Written]:
    """Where the plate table of an id, or of a kind when it has none, says what is wrong."""
    value = str(error.value) if isinstance(error, InputError) else ""
    found = [
        n
        for n, plate in enumerate(build.file.plate)
        if (plate.id and name in (plate.id, f"{plate.id}_left", f"{plate.id}_right"))
        or (not plate.id and plate.kind == name)
    ]
    exact = [n for n in found if value and str(getattr(build.file.plate[n], "at", "")) == value]
    field = _field(error) if isinstance(error, InputError) else ""
    keys: list[TomlKey] = [("plate", n) for n in (exact or found)[:1]]
    yield from _in_file(build.files.get("build"), keys, field)


def _is(written: MemberEntry, names: set[str]) -> bool:
    """Whether a table is the one that an entry of these names was spread from."""
    return any(e.id in names for e in spread([written]))


def entry_named(error: CagekitError, build: Build) -> MemberEntry | None:
    """The entry whose table an error's message names, or else whose member it names first."""
    message = str(error)
    named = search(r"\[members\.(\w+)\]", message)
    message = named.group(1) if named else message
    found = [(message.find(e.id), -len(e.id), e) for e in build.entries if e.id in message]
    return min(found, key=lambda row: row[:2])[2] if found else None


def _car_keys(field: str) -> list[TomlKey]:
    """Where a field of the car sheet may stand: its own side's table or the one for both."""
    key = tuple(field.split("."))
    return [key, ("side", *key[1:])] if key[0] in ("left", "right") else [key]


def _in_file(path: Path | None, keys: list[TomlKey], field: str = "") -> Iterator[Written]:
    """The first of the tables that stands in the file, or the one that it would stand in.

    The line is that of ``field`` where the table says it.
    """
    if path is None or not keys:
        return
    try:
        lines = line_map(read_toml(path)[1])
    except FileInputError:
        return
    key = next((k for k in keys if k in lines), None)
    if key is None and len(keys[-1]) > 1 and keys[-1][0] not in ("members", "member"):
        key = keys[-1]
    if key is None:
        return
    own = lines.get((*key, field)) if field else None
    line = own or line_of(lines, key)
    if line is not None:
        whole = key[0] in ("members", "add", "strut", "plate", "member")
        table, name = table_and_field(key, whole=whole)
        yield Written(shown(path), line, table, name, says=own is not None)

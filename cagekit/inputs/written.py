"""Where the entry that an error is about was written: file and line, for messages."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from re import search

from cagekit.errors import CagekitError, GeometryError, InputError
from cagekit.inputs.build import Build, spread
from cagekit.inputs.entries import MemberEntry
from cagekit.inputs.messages import FileInputError
from cagekit.inputs.presets import read_toml, shown
from cagekit.inputs.toml_lines import TomlKey, line_map, line_of
from cagekit.units import lengths_in


def with_place(error: CagekitError, build: Build) -> CagekitError:
    """Return ``error`` with the places of the files that say what it is about, if they are found.

    Lengths are told in the build's units. A shape is told by the name of its part; what a person
    can change is a line in a file.
    """
    if isinstance(error, FileInputError) or not isinstance(error, GeometryError | InputError):
        return error
    places = list(dict.fromkeys(_places(error, build)))
    problem, hint = (lengths_in(s, build.units) for s in (error.problem, error.hint))
    if places:
        hint = f"{hint} Written at {' and '.join(places)}.".lstrip()
    if isinstance(error, GeometryError):
        return type(error)(error.owner, problem, hint)
    return InputError(error.where, error.field, error.value, problem=problem, hint=hint)


def _places(error: GeometryError | InputError, build: Build) -> Iterator[str]:
    if isinstance(error, InputError) and error.where == f"car {build.car.name}":
        yield from _in_file(build.files.get(f"car {build.file.car}"), _car_keys(error.field))
        return
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
    yield from _in_file(build.files.get("build"), keys)
    inner: list[TomlKey] = [
        ("member", n) for n, e in enumerate(build.layout.member) if _is(e, names)
    ]
    yield from _in_file(build.files.get(f"layout {build.file.layout}"), inner)


def _plate_tables(name: str, error: GeometryError | InputError, build: Build) -> Iterator[str]:
    """Where the plate table of an id, or of a kind when it has none, says what is wrong."""
    value = str(error.value) if isinstance(error, InputError) else ""
    found = [
        n
        for n, plate in enumerate(build.file.plate)
        if (plate.id and name in (plate.id, f"{plate.id}_left", f"{plate.id}_right"))
        or (not plate.id and plate.kind == name)
    ]
    exact = [n for n in found if value and str(getattr(build.file.plate[n], "at", "")) == value]
    field = error.field if isinstance(error, InputError) else ""
    keys: list[TomlKey] = [("plate", n, *((field,) if field else ())) for n in (exact or found)[:1]]
    yield from _in_file(build.files.get("build"), keys)


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


def _in_file(path: Path | None, keys: list[TomlKey]) -> Iterator[str]:
    """The first of the keys that stands in the file, or the table that it would stand in."""
    if path is None or not keys:
        return
    try:
        lines = line_map(read_toml(path)[1])
    except FileInputError:
        return
    exact = next((k for k in keys if k in lines), None)
    line = lines[exact] if exact else None
    if line is None and len(keys[-1]) > 1 and keys[-1][0] not in ("members", "member"):
        line = line_of(lines, keys[-1])
    if line is not None:
        yield f"{shown(path)}:{line}"

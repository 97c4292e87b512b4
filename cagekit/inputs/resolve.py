"""Load a build file and everything that it refers to."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from msgspec import UNSET
from msgspec.structs import replace
from pydantic import BaseModel

from cagekit.errors import InputError, NotFoundError
from cagekit.inputs.build import (
    Build,
    BuildFile,
    entries_of,
    entries_with_remarks,
    resized,
    spread,
)
from cagekit.inputs.car import Car
from cagekit.inputs.doubts import doubts_in
from cagekit.inputs.driver import Driver
from cagekit.inputs.entries import MemberEntry
from cagekit.inputs.layout import Layout
from cagekit.inputs.odd_members import (
    require_possible_members,
    require_possible_numbers,
    unusual_members,
)
from cagekit.inputs.plate import PlateEntry, PlateFile
from cagekit.inputs.plate_presets import plates_of
from cagekit.inputs.plausible import require_plausible
from cagekit.inputs.presets import (
    find_preset,
    load_file,
    model_for,
    reference_error,
    unusual_in,
)
from cagekit.inputs.tooling import Tooling
from cagekit.inputs.tube import TubeFile, load_tube
from cagekit.materials.tubes import Tube


def load_build(reference: str) -> Build:
    """Load the build ``reference`` (preset name or path) and all its presets.

    Raises:
        InputError: a file is missing or wrong; says file, line, field, and what would do.
    """
    path = find_preset("build", reference)
    return resolve(load_file("build", path, BuildFile), path)


def resolve(file: BuildFile, path: Path) -> Build:
    """Load everything that a build file refers to; ``path`` is the file's own place."""
    files: dict[str, Path] = {"build": path}
    found = _finder(path, files)
    car = load_file("car", found("car", file.car, "car"), Car)
    layout = load_file("layout", found("layout", file.layout, "layout"), Layout)
    tooling = load_file("tooling", found("tooling", file.tooling, "tooling"), Tooling)
    drivers = tuple(
        load_file("driver", found("driver", d, "drivers", n), Driver)
        for n, d in enumerate(file.drivers)
    )
    require_plausible(
        car, drivers, files[f"car {file.car}"], [files[f"driver {d}"] for d in file.drivers]
    )
    for n, profile in enumerate(file.rules):
        found("rules", profile, "rules", n)
    loads = found("loads", file.loads, "loads")
    if "loads" in file.model_fields_set:  # a slip in it is told before anything is made
        load_file("loads", loads, model_for("loads"))
    try:
        entries, hanging = entries_with_remarks(file, layout, str(path), car)
    except InputError as error:
        from cagekit.inputs.written import with_place

        written = spread([*layout.member, *file.add, *file.strut])
        unresolved = Build(
            name=str(path), file=file, car=car, drivers=drivers, tooling=tooling, layout=layout,
            tubes={}, entries=tuple(written), files=files,
        )  # fmt: skip
        raise with_place(error, unresolved) from None
    tubes = _tubes(file, entries, {}, path, files)
    plates = _plates(file, layout, path, files)
    for preset in dict.fromkeys(p.preset for p in (*layout.plate, *file.plate) if p.preset):
        files[f"plate {preset}"] = find_preset("plate", preset, beside=path.parent)
    build = Build(
        name=file.name,
        file=file,
        car=car,
        drivers=drivers,
        tooling=tooling,
        layout=layout,
        tubes=tubes,
        entries=entries,
        plates=plates,
        files=files,
    )
    require_possible_members(build)
    told = (*_remarks(file, car, layout, tooling, drivers, files), *unusual_members(build))
    return replace(build, remarks=(*told, *hanging))


def _remarks(
    file: BuildFile,
    car: Car,
    layout: Layout,
    tooling: Tooling,
    drivers: Sequence[Driver],
    files: Mapping[str, Path],
) -> tuple[str, ...]:
    """What the files say that is possible and not usual, each once."""
    read: list[tuple[str, str, BaseModel]] = [
        ("build", "build", file),
        ("car", f"car {file.car}", car),
        ("layout", f"layout {file.layout}", layout),
        ("tooling", f"tooling {file.tooling}", tooling),
        *(("driver", f"driver {d}", one) for d, one in zip(file.drivers, drivers, strict=True)),
    ]
    read += [
        ("tube", what, load_file("tube", path, TubeFile))
        for what, path in files.items()
        if what.startswith("tube ")
    ]
    if "loads" in file.model_fields_set:
        what = f"loads {file.loads}"
        read.append(("loads", what, load_file("loads", files[what], model_for("loads"))))
    told = [r for kind, what, table in read for r in unusual_in(kind, files[what], table)]
    for preset in (what for what in files if what.startswith("plate ")):
        path = files[preset]
        plate = load_file("plate", path, PlateFile)
        told += (*unusual_in("plate", path, plate), *doubts_in(path, plate))
    told += [r for _, what, table in read for r in doubts_in(files[what], table)]
    return tuple(dict.fromkeys(told))


def with_changes(build: Build, member: str, changes: Mapping[str, Any]) -> Build:
    """The build with fields of a member changed, as its own table ``[members.<member>]`` would.

    Args:
        build: the build; its files are not read again.
        member: id of a member as its entry has it, or a kind for all of that kind.
        changes: values by field, written as in the file: lengths in the file's units or with a
            unit of their own, angles in degrees; ``UNSET`` for one that the file is no longer to
            say, so that the layout or the default does.

    Raises:
        InputError: there is no such member or field, or a value cannot be.
    """
    file, path = build.file, _path(build)
    table = {**file.members.get(member, {}), **changes}
    unsaid = [name for name, value in table.items() if value is UNSET]
    for name in unsaid:
        del table[name]
    file = file.model_copy(update={"members": {**file.members, member: table}})
    entries = None if unsaid else resized(build, file, member, str(path))
    return with_file(build, file, entries, changed=member)


def with_file(
    build: Build, file: BuildFile, entries: Sequence[MemberEntry] | None = None, changed: str = ""
) -> Build:
    """The build with another text of its file, which names the same presets but for tubes.

    Args:
        build: the build; its files are not read again.
        file: what its file says now.
        entries: its members, when known already.
        changed: name of a member that is new in any case.

    Raises:
        InputError: a member cannot be.
    """
    path = _path(build)
    if entries is None:
        entries = entries_of(file, build.layout, str(path), build.car)
    # one object as long as nothing is said of it: what was worked out of it is found at once
    was = {e.id: e for e in build.entries}
    entries = tuple(
        old if (old := was.get(e.id)) == e and old is not None and changed not in e.names else e
        for e in entries
    )
    files = dict(build.files)
    tubes = _tubes(file, entries, build.tubes, path, files)
    require_possible_numbers(build, (e for e in entries if e is not was.get(e.id)))
    return replace(build, file=file, entries=entries, tubes=tubes, files=files, as_written=True)


def with_plates(build: Build, tables: Sequence[PlateEntry]) -> Build:
    """The build whose file says other ``[[plate]]`` tables, of the same presets.

    Args:
        build: the build; its files are not read again.
        tables: in the order of the file. What is said as before stays the same object.

    Raises:
        FileInputError: a table gives a field that nothing is made of.
    """
    file = build.file.model_copy(update={"plate": _as_before(build.file.plate, tables)})
    plates = _plates(file, build.layout, _path(build), build.files)
    return replace(build, file=file, plates=_as_before(build.plates, plates), as_written=True)


def _as_before(was: Sequence[PlateEntry], now: Sequence[PlateEntry]) -> tuple[PlateEntry, ...]:
    known = [old if old == new else new for old, new in zip(was, now, strict=False)]
    return (*known, *now[len(known) :])


def _plates(
    file: BuildFile, layout: Layout, path: Path, files: Mapping[str, Path]
) -> tuple[PlateEntry, ...]:
    """The plate entries of layout and build, their presets filled in; ``path`` is the build's."""
    return (
        *plates_of(layout.plate, files[f"layout {file.layout}"], path.parent),
        *plates_of(file.plate, path, path.parent),
    )


def _path(build: Build) -> Path:
    """Where a build's file is, or what messages call it."""
    return build.files.get("build", Path(build.name))


Finder = Callable[..., Path]


def _finder(path: Path, files: dict[str, Path]) -> Finder:
    """What finds presets for the build file ``path`` and notes in ``files`` where they are."""

    def found(kind: str, reference: str, *key: str | int) -> Path:
        """Find a preset; a path in the build file is seen from where that file lies."""
        try:
            place = find_preset(kind, reference, beside=path.parent)
        except NotFoundError as error:
            raise reference_error(error, path, key) from None
        files[f"{kind} {reference}"] = place
        return place

    return found


def _tubes(
    file: BuildFile,
    entries: Sequence[MemberEntry],
    known: Mapping[str, Tube],
    path: Path,
    files: dict[str, Path],
) -> dict[str, Tube]:
    """Every tube that a build names, by its reference; those in ``known`` are not read.

    ``path`` is the build's file; files that are read are noted in ``files``.
    """
    references: dict[str, tuple[str, ...]] = {file.tube: ("tube",)}
    for role, tube in file.tubes.items():
        references.setdefault(tube, ("tubes", role))
    for entry in entries:
        if entry.tube:
            references.setdefault(entry.tube, ("members", entry.id, "tube"))
    tubes: dict[str, Tube] = {}
    for reference, key in references.items():
        if reference in known:
            tubes[reference] = known[reference]
        else:
            try:
                tubes[reference], place = load_tube(reference, beside=path.parent)
            except NotFoundError as error:
                raise reference_error(error, path, key) from None
            if place is not None:
                files[f"tube {reference}"] = place
    return tubes

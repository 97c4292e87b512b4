"""What a build says of its feet's plates and no plate makes anything of."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from cagekit.inputs.messages import problem_and_cure
from cagekit.inputs.places import FootName
from cagekit.inputs.plate import FloorPlateEntry, PlateEntry
from cagekit.inputs.plate_presets import spread
from cagekit.inputs.presets import key_error
from cagekit.names import named
from cagekit.plates.entries import asked_fields, floor_entry

if TYPE_CHECKING:
    from cagekit.inputs.build import Build


class PlatedFoot(NamedTuple):
    """A foot that gets a floor plate: what it answers to, its side of the car, what is there."""

    names: tuple[FootName, ...]
    side: str
    surface: str


def require_fields_act(build: Build, feet: Sequence[PlatedFoot]) -> tuple[str, ...]:
    """Refuse a field of build or layout that no foot which its entry names makes anything of.

    What a layout says is judged without the build's own entries: another build may have others.

    Args:
        build: the build.
        feet: those that get a floor plate.

    Returns:
        A remark for each field that acts at some of these feet and idles at others.

    Raises:
        FileInputError: a field acts at none; with its line.
    """
    return tuple(
        remark
        for what, tables, plates in plates_by_file(build)
        for remark in _require_act(build, what, tables, plates, feet)
    )


def plates_by_file(
    build: Build,
) -> Iterator[tuple[str, Sequence[PlateEntry], Sequence[PlateEntry]]]:
    """Layout and build: what the file is called in a build, its tables, what they are judged by."""
    of_layout = sum(len(spread(table)) for table in build.layout.plate)
    yield f"layout {build.file.layout}", build.layout.plate, build.plates[:of_layout]
    yield "build", build.file.plate, build.plates


def _require_act(
    build: Build,
    what: str,
    tables: Sequence[PlateEntry],
    plates: Sequence[PlateEntry],
    feet: Sequence[PlatedFoot],
) -> Iterator[str]:
    """The same of one file's tables, with the entries that it is judged by."""
    idle = {foot: has for foot in feet if (has := _idle_at(build, plates, foot)) is not None}
    for n, entry in enumerate(tables):
        if not isinstance(entry, FloorPlateEntry) or entry.omit:
            continue
        meant = [foot for foot in idle if _means(entry, foot)]
        for name in _said(entry) if meant else ():
            without = [foot for foot in meant if name in idle[foot]]
            if not without:
                continue
            why, hint = problem_and_cure(idle[without[0]][name])
            if len(without) == len(meant):
                which = "the plate there" if len(meant) == 1 else "each plate there"
                where = str(build.files.get(what, Path(build.name)))
                key, said = ("plate", n, name), getattr(entry, name)
                raise key_error(where, key, said, f"{which} {why}", hint)
            ends = ", ".join(map(_called, without))
            of = "" if what == "build" else f" of {what}"
            said = f"`{name}` of plate entry {n + 1}{of} does nothing at {ends}"
            yield f"{said}: the plate there {why}"


def _idle_at(
    build: Build, plates: Sequence[PlateEntry], foot: PlatedFoot
) -> Mapping[str, str] | None:
    """Fields that idle in the plate of a foot, and why; None where it has no plate."""
    entry = floor_entry(plates, foot.names, foot.side, build.units, foot.surface)
    asked = asked_fields(plates, foot.names, foot.side)
    return None if entry.omit else entry.idle(may_fold="style" not in asked)


def _means(entry: FloorPlateEntry, foot: PlatedFoot) -> bool:
    """Whether a table of the file speaks of a foot, on one of its sides."""
    return any(
        one.side in (None, foot.side) and getattr(one, "at", None) in (None, *foot.names)
        for one in spread(entry)
    )


def _said(entry: FloorPlateEntry) -> Iterator[str]:
    """Fields that a table names; what says no or none of something need not act."""
    for name in type(entry).model_fields:
        if name in entry.model_fields_set and getattr(entry, name):
            yield name


def _called(foot: PlatedFoot) -> str:
    end = foot.names[0]
    return named(f"{end.name}.{end.end}")

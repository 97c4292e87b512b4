"""The plate entries of a build: layout and build tables read, presets filled in, sides spread."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from pydantic import ValidationError

from cagekit.errors import InputError, NotFoundError
from cagekit.inputs.messages import models_in
from cagekit.inputs.plate import (
    PLATE_ENTRY,
    FloorPlateEntry,
    PlateEntry,
    PlateFile,
    TabEntry,
    laid_on,
)
from cagekit.inputs.presets import shown, table_error

if TYPE_CHECKING:
    from cagekit.inputs.build import Build

DEFAULT_PRESETS: Mapping[str, str] = {"mm": "floor-150", "in": "floor-6in"}
"""Plate of a foot on the floor that no entry speaks of, by the build's units."""
LANDING_PRESETS: Mapping[str, str] = {"mm": "landing-100", "in": "landing-4in"}
"""The same on a frame, tower or tunnel side."""


def plate_entries(build: Build) -> tuple[PlateEntry, ...]:
    """The layout's and the build's plate entries in order, one per side.

    Raises:
        InputError: an entry has a wrong field or names a preset that does not exist or is of
            another kind.
    """
    sources = (
        (build.layout.plate, build.layout.units, f"layout {build.file.layout}"),
        (build.file.plate, build.file.units, "build"),
    )
    beside = build.files.get("build")
    out: list[PlateEntry] = []
    for tables, units, name in sources:
        path = build.files.get(name, Path(name))
        for n, table in enumerate(tables):
            where = f"{shown(path)} [plate entry {n + 1}]"
            entry = read_entry(table, units, path, n)
            out.extend(spread(with_preset(entry, where, beside)))
    return tuple(out)


def read_entry(table: Mapping[str, Any], units: str, path: Path, index: int) -> PlateEntry:
    """Validate one ``[[plate]]`` table; FileInputError tells its faults with their lines."""
    try:
        return PLATE_ENTRY.validate_python(dict(table), context={"units": units})
    except ValidationError as error:
        kinds = models_in(PlateFile.model_fields["plate"].annotation)
        raise table_error(error, kinds, table, path=path, within=("plate", index)) from None


def with_preset(entry: PlateEntry, where: str, beside: Path | None = None) -> PlateEntry:
    """Fill in the values of the entry's preset."""
    if not entry.preset:
        return entry
    try:
        base = _preset(entry.preset, str(beside.parent) if beside else "")
    except NotFoundError as error:
        raise InputError(where, "preset", entry.preset, problem=str(error)) from error
    if type(base) is not type(entry):
        raise InputError(
            where,
            "preset",
            entry.preset,
            problem=f"is a {base.kind}, the entry is a {entry.kind}.",
        )
    return laid_on(base, entry)


def plate_preset(ref: str) -> PlateEntry:
    """The values of a plate preset; NotFoundError when there is none of that name."""
    return _preset(ref, "")


@lru_cache(maxsize=64)
def _preset(ref: str, beside: str) -> PlateEntry:
    from cagekit.inputs.presets import load

    return load("plate", ref, PlateFile, beside=Path(beside) if beside else None).plate


def default_floor_plate(units: Literal["mm", "in"], surface: str = "floor") -> FloorPlateEntry:
    """The plate of a foot that no entry speaks of, by what it stands on."""
    presets = DEFAULT_PRESETS if surface == "floor" else LANDING_PRESETS
    entry = _preset(presets[units], "")
    assert isinstance(entry, FloorPlateEntry)
    return entry


def spread(entry: PlateEntry) -> tuple[PlateEntry, ...]:
    """One entry per side, ``{side}`` and ``{other}`` filled in."""
    if entry.side not in ("left", "right", "both"):
        return (entry,)
    out = []
    for side in ("left", "right") if entry.side == "both" else (entry.side,):
        other = "right" if side == "left" else "left"
        texts = {
            n: getattr(entry, n).replace("{side}", side).replace("{other}", other)
            for n in ("at", "id")
        }
        if texts["id"] and entry.side == "both" and not texts["id"].endswith(side):
            texts["id"] += f"_{side}"
        update: dict[str, Any] = {**texts, "side": side}
        if isinstance(entry, TabEntry) and entry.side == "both" and side == "right":
            for name in ("toward", "pull"):
                v = getattr(entry, name)
                update[name] = (v[0], -v[1], v[2]) if v else v
        out.append(entry.model_copy(update=update))
    return tuple(out)


def floor_entry(
    entries: Sequence[PlateEntry],
    names: Sequence[str],
    side: str,
    units: Literal["mm", "in"],
    surface: str = "floor",
) -> FloorPlateEntry:
    """The floor plate entry for a foot: the default, then every entry that means this foot.

    Args:
        entries: the build's plate entries.
        names: what the foot answers to: ``main_hoop end a``, ``main_hoop``, ``left.main_foot``...
        side: side of the car the foot is on.
        units: the build's.
        surface: what the foot stands on.
    """
    out = default_floor_plate(units, surface)
    for entry in entries:
        if not isinstance(entry, FloorPlateEntry) or entry.side not in (None, side):
            continue
        if entry.at in names or entry.at in ("feet", ""):
            merged = laid_on(out, entry)
            assert isinstance(merged, FloorPlateEntry)
            out = merged
    return out


def foot_rise(build: Build, foot: str, surface: str = "floor") -> float:
    """How far the tube's foot stands above the sheet at a place of the car, mm.

    Args:
        build: the build.
        foot: place of the car sheet, ``left.main_foot``.
        surface: what is there.
    """
    side, _, place = foot.partition(".")
    entry = floor_entry(plate_entries(build), (foot, place), side, build.units, surface)
    if entry.style == "plinth":
        return entry.plinth_height
    return build.foot_plate if entry.thickness is None else entry.thickness

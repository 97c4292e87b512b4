"""Plate entries of a build: presets filled in, one entry a side."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

from cagekit.errors import NotFoundError
from cagekit.inputs.messages import problem_and_cure
from cagekit.inputs.places import for_side
from cagekit.inputs.plate import (
    FloorPlateEntry,
    GussetEntry,
    PlateEntry,
    PlateFile,
    TabEntry,
    laid_on,
)
from cagekit.inputs.presets import find_preset, key_error, load, load_file, reference_error

DEFAULT_PRESETS: Mapping[str, str] = {"mm": "floor-150", "in": "floor-6in"}
"""Plate of a foot on the floor that no entry speaks of, by the build's units."""
LANDING_PRESETS: Mapping[str, str] = {"mm": "landing-100", "in": "landing-4in"}
"""The same on a frame, tower or tunnel side."""


def plates_of(tables: Iterable[PlateEntry], path: Path, beside: Path) -> tuple[PlateEntry, ...]:
    """Fill in the presets of a file's plate entries and spread them over their sides.

    Args:
        tables: the file's ``[[plate]]`` tables.
        path: the file, for messages.
        beside: folder that paths of presets are seen from.

    Raises:
        FileInputError: an entry names a preset that does not exist or is of another kind, or
            gives a field that nothing is made of.
    """
    out: list[PlateEntry] = []
    for n, written in enumerate(tables):
        entry = filled_in(written, path, n, beside)
        if isinstance(entry, GussetEntry | TabEntry):
            _require_none_idle(written, entry.idle(), path, n)
        out.extend(spread(entry))
    return tuple(out)


def filled_in(written: PlateEntry, path: Path, number: int, beside: Path) -> PlateEntry:
    """A ``[[plate]]`` table with its preset's values where it says nothing itself.

    Args:
        written: the table.
        path: its file, for messages.
        number: place of the table in it.
        beside: folder that the path of a preset is seen from.

    Raises:
        FileInputError: it names a preset that does not exist or is of another kind.
    """
    return laid_on(_base(written, path, number, beside), written) if written.preset else written


def _require_none_idle(
    written: PlateEntry, idle: Mapping[str, str], path: Path, number: int
) -> None:
    """Refuse what the entry itself says and nothing is made of; a preset may serve others too."""
    for name, why in idle.items():
        said = getattr(written, name)
        if name in written.model_fields_set and said:
            raise key_error(str(path), ("plate", number, name), said, *problem_and_cure(why))


def _base(entry: PlateEntry, path: Path, number: int, beside: Path) -> PlateEntry:
    """The preset of an entry."""
    key = ("plate", number, "preset")
    try:
        base = _preset(str(entry.preset), beside)
    except NotFoundError as error:
        raise reference_error(error, path, key) from None
    if type(base) is not type(entry):
        wrong = NotFoundError(f"{entry.preset!r} is a {base.kind}, the entry is a {entry.kind}.")
        raise reference_error(wrong, path, key)
    return base


def plate_preset(ref: str) -> PlateEntry:
    """The values of a plate preset; NotFoundError when there is none of that name."""
    return _preset(ref)


def plate_source(ref: str) -> str:
    """Where the sizes of a plate preset come from; NotFoundError when there is none."""
    return load("plate", ref, PlateFile).source


def _preset(ref: str, beside: Path | None = None) -> PlateEntry:
    path = find_preset("plate", ref, beside=beside).absolute()
    seen = path.stat()
    return _read(path, seen.st_mtime_ns, seen.st_size)


@lru_cache(maxsize=64)
def _read(path: Path, *_: int) -> PlateEntry:
    return load_file("plate", path, PlateFile).plate


def default_floor_plate(units: Literal["mm", "in"], surface: str = "floor") -> FloorPlateEntry:
    """The plate of a foot that no entry speaks of, by what it stands on."""
    presets = DEFAULT_PRESETS if surface == "floor" else LANDING_PRESETS
    entry = plate_preset(presets[units])
    assert isinstance(entry, FloorPlateEntry)
    return entry


def spread(entry: PlateEntry) -> tuple[PlateEntry, ...]:
    """One entry per side, ``{side}`` and ``{other}`` filled in."""
    if entry.side not in ("left", "right", "both"):
        return (entry,)
    out = []
    for side in ("left", "right") if entry.side == "both" else (entry.side,):
        update: dict[str, Any] = {**for_side(entry, side), "side": side}
        name = update.get("id", entry.id)
        if name and entry.side == "both" and not name.endswith(side):
            update["id"] = f"{name}_{side}"
        if isinstance(entry, TabEntry) and entry.side == "both" and side == "right":
            for vector in ("toward", "pull"):
                v = getattr(entry, vector)
                update[vector] = (v[0], -v[1], v[2]) if v else v
        made = entry.model_copy(update=update)
        if isinstance(made, GussetEntry) and entry.side == "both" and side == "right":
            made = made.on_right()
        out.append(made)
    return tuple(out)

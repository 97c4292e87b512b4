"""Every kind of part by its name: tubes, plates, joints of swing-out bars."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING

from cagekit.data import tables
from cagekit.errors import InputError
from cagekit.hints import did_you_mean

if TYPE_CHECKING:
    from cagekit.parts.tubes import PartKind


PLATES: Mapping[str, str] = {
    "floor_plate": "floor plate, flat or folded, bolted or welded",
    "gusset": "flat sheet gusset with lightening hole",
    "folded_gusset": "folded gusset, a saddle over both tubes",
    "tab": "tab or clevis on a tube: harness, seat, net",
    "plinth": "box foot of tab-and-slot plates",
    "outrigger_box": "outrigger made of plate",
}
"""What each kind of plate is, in a line; that of a tube stands in its row of members.toml."""

JOINTS: Mapping[str, str] = {
    "hinge_bracket": "hinge of a swing-out bar: saddle or cheeks, sleeve, bolt",
    "latch_bracket": "latch of a swing-out bar: saddle or cheeks with half cup, sleeve, pin",
    "sleeve": "sleeve through a swing-out bar",
}
"""What each kind of part of a swing-out bar's joints is, in a line."""


@cache
def summaries() -> Mapping[str, str]:
    """Return what each kind of part is in a line, by name, without loading what makes them."""
    tubes = {kind: row["about"] for kind, row in tables("members").items()}
    return MappingProxyType({**tubes, **PLATES, **JOINTS})


def part_kinds() -> Mapping[str, PartKind]:
    """Return every kind of part, by name."""
    return {kind: part_kind(kind) for kind in summaries()}


def is_tube(name: str) -> bool:
    """Whether a kind of part of that name is a tube."""
    return name not in PLATES and name not in JOINTS


def part_kind(name: str) -> PartKind:
    """Return the kind of part of that name (``-`` or ``_``), loading what makes its like alone.

    Raises:
        InputError: there is no such kind; tells what is near it.
    """
    kind = name.replace("-", "_")
    if kind not in summaries():
        hint = did_you_mean(name, summaries(), what="Kinds")
        raise InputError("cagekit part", problem=f"there is no kind {name!r}.", hint=hint)
    if kind in PLATES:
        from cagekit.parts.plates import PLATE_KINDS

        return PLATE_KINDS[kind]
    if kind in JOINTS:
        from cagekit.parts.swing import SWING_KINDS

        return SWING_KINDS[kind]
    from cagekit.parts.tubes import KINDS

    return KINDS[kind]

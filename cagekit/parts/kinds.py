"""Every kind of part by its name: tubes, plates, joints of swing-out bars."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from cagekit.errors import InputError
from cagekit.hints import did_you_mean

if TYPE_CHECKING:
    from cagekit.parts.tubes import PartKind


def part_kinds() -> Mapping[str, PartKind]:
    """Return every kind of part, by name."""
    from cagekit.parts.plates import PLATE_KINDS
    from cagekit.parts.swing import SWING_KINDS
    from cagekit.parts.tubes import KINDS

    return {**KINDS, **PLATE_KINDS, **SWING_KINDS}


def part_kind(name: str) -> PartKind:
    """Return the kind of part of that name (``-`` or ``_``); InputError tells what is near it.

    Raises:
        InputError: there is no such kind.
    """
    kinds = part_kinds()
    found = kinds.get(name.replace("-", "_"))
    if found is None:
        hint = did_you_mean(name, kinds, what="Kinds")
        raise InputError("cagekit part", problem=f"there is no kind {name!r}.", hint=hint)
    return found

"""Which generator makes which kind of member."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from importlib import import_module
from typing import Any

from cagekit.cage.member import Member
from cagekit.errors import CagekitError, GeometryError
from cagekit.inputs.entries import MemberEntry
from cagekit.inputs.member_kinds import MEMBER_KINDS
from cagekit.members.site import Site

GENERATORS: Mapping[str, str] = {
    kind: row.code or "strut:make_row" for kind, row in MEMBER_KINDS.items()
}
"""Generator by kind, as ``module:function`` in this package, imported when first needed."""


@cache
def generator(kind: str) -> Callable[[Site, Any], list[Member]]:
    """The function that makes members of ``kind``."""
    module, _, name = GENERATORS[kind].partition(":")
    function: Callable[[Site, Any], list[Member]] = getattr(
        import_module(f"cagekit.members.{module}"), name
    )
    return function


def make(site: Site, entry: MemberEntry) -> list[Member]:
    """Make the members of one entry."""
    try:
        return generator(entry.kind)(site, entry)
    except CagekitError:
        raise
    except ValueError as error:  # two points that fall together, a line without a direction
        raise GeometryError(
            entry.id or entry.kind,
            f"cannot be drawn from its dimensions and places: {error}.",
            "Look at those that were changed last.",
        ) from error

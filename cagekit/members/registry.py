"""Which generator makes which kind of member."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any

from cagekit.cage.member import Member
from cagekit.errors import CagekitError, GeometryError
from cagekit.inputs.entries import MemberEntry
from cagekit.inputs.struts import STRUTS
from cagekit.members.site import Site

GENERATORS: Mapping[str, str] = {
    "main_hoop": "main_hoop:make",
    "halo": "front:make_halo",
    "front_hoop": "front:make_front_hoop",
    "half_hoop": "front:make_half_hoop",
    "a_pillar_bar": "front:make_a_pillar_bar",
    "windscreen_brace": "strut:make_windscreen_brace",
    "harness_bar": "across:make_harness_bar",
    "hoop_diagonal": "across:make_hoop_diagonal",
    "roof_diagonal": "across:make_roof_diagonal",
    "door_bar": "door_bar:make",
    "dash_bar": "strut:make_dash_bar",
    "outrigger": "strut:make_outrigger",
    "rocker_brace": "strut:make_rocker_brace",
    "tube_gusset": "tube_gusset:make",
    "strut": "strut:make_strut",
    **dict.fromkeys(STRUTS, "strut:make_row"),
}
"""Generator by kind, as ``module:function`` in this package, imported when first needed."""


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

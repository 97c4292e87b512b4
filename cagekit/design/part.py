"""The design of one part alone."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from cagekit.design.design import Design

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.units import LengthUnit

TOOLING: Mapping[LengthUnit, str] = {"mm": "metric-shop", "in": "inch-shop"}
"""Tooling preset for a part's schedules when none is named."""


def part_design(
    cage: Cage, *, units: LengthUnit, tooling: str | None = None, dims: Mapping[str, Any]
) -> Design:
    """The design of a part that is made.

    Args:
        cage: the part alone, cut to what it was fitted to.
        units: of papers and pictures.
        tooling: tooling preset or path, for the bend schedule; one in ``units`` when left out.
        dims: its dimensions by name, for the manifest.
    """
    from cagekit.inputs.presets import find_preset, load_file
    from cagekit.inputs.tooling import Tooling

    shop = find_preset("tooling", tooling or TOOLING[units])
    # in a STEP file the whole and its one member must not have the same name
    cage = cage.replace()
    cage.name = f"part_{cage.name}"
    return Design(
        cage=cage,
        name=cage.name,
        units=units,
        options={"dimensions": dict(dims)},
        tooling=load_file("tooling", shop, Tooling),
        files={"tooling": shop},
    )

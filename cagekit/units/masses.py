"""Masses as people write them, in kg."""

from __future__ import annotations

from collections.abc import Mapping

from cagekit.units.areas import scaled
from cagekit.units.scale import POUND

MASSES: Mapping[str, float] = {"kg": 1.0, "lb": POUND}
"""Units of mass that a file may write, in kg."""


def parse_mass(raw: str | float) -> float:
    """Read a mass into kg; a number without a unit is kg.

    Args:
        raw: a number, or a text with or without a unit of its own.

    Raises:
        ValueError: it is no mass, in words for a person.
    """
    return scaled(raw, MASSES, 1.0, "a mass")

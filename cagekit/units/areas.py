"""Areas as people write them, in mm2."""

from __future__ import annotations

import re
from collections.abc import Mapping

from cagekit.units.lengths import LengthUnit
from cagekit.units.scale import INCH

AREAS: Mapping[str, float] = {"mm2": 1.0, "cm2": 100.0, "in2": INCH**2, "sq in": INCH**2}
"""Units of area that a file may write, in mm2."""
NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)"
"""A decimal as people write it."""
_AMOUNT = re.compile(rf"^\s*({NUMBER})\s*([a-z%][a-z0-9 ]*)?\s*$")


def parse_area(raw: str | float, *, default: LengthUnit = "mm") -> float:
    """Read an area into mm2.

    Args:
        raw: a number, or a text with or without a unit of its own.
        default: what bare numbers count in, squared.

    Raises:
        ValueError: it is no area, in words for a person.
    """
    return scaled(raw, AREAS, INCH**2 if default == "in" else 1.0, "an area")


def scaled(raw: str | float, factors: Mapping[str, float], bare: float, what: str) -> float:
    """A number with one of several units.

    Args:
        raw: number or text.
        factors: what each unit is worth.
        bare: what a number without a unit is worth.
        what: word for it, with its article.

    Raises:
        ValueError: it is none, in words for a person.
    """
    if isinstance(raw, int | float):
        return float(raw) * bare
    found = _AMOUNT.match(raw)
    unit = (found[2] or "").strip() if found else ""
    if not found or (unit and unit not in factors):
        raise ValueError(f"{raw!r} is no {what.split()[1]}; units: {', '.join(factors)}")
    return float(found[1]) * (factors[unit] if unit else bare)

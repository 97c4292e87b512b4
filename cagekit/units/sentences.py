"""Lengths within a sentence, told again in another unit."""

from __future__ import annotations

import re
from functools import lru_cache

from cagekit.units.formats import format_length
from cagekit.units.lengths import LengthUnit
from cagekit.units.scale import INCH

_NUMBER = r"-?\d+(?:\.\d+)?(?:e[+-]?\d+)?"
_LENGTH = re.compile(rf"(?<![\w.])({_NUMBER})(?:( to | x | and |, )({_NUMBER}))? mm(?![\w²³])")
DECIMALS = 2
"""Of an inch, in a sentence: a quarter of a millimetre, finer than a message needs."""
KEPT = 4096
"""So many texts are kept as they were told: of one version and the next most are the same."""
THIN = 0.25
"""Inches below which a length is a wall or a sheet: told in one decimal more."""


@lru_cache(maxsize=KEPT)
def lengths_in(text: str, units: LengthUnit) -> str:
    """The text with every length in mm told in ``units``; mm stays as it is.

    A pair that shares its unit, as in "from 12 to 30 mm", is told in the new unit whole.
    """
    return text if units == "mm" else _LENGTH.sub(_inches, text)


def _inches(found: re.Match[str]) -> str:
    first, joint, second = found.groups()
    if second is None:
        return _one(first)
    return f"{_one(first).removesuffix(' in')}{joint}{_one(second)}"


def _one(mm: str) -> str:
    decimals = DECIMALS + (abs(float(mm)) < THIN * INCH)
    text = format_length(float(mm), "in", decimals=decimals).removesuffix(" in")
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} in"

"""Quantities in braces within a text, told in the reader's units.

``at least {100 mm}`` reads *at least 100 mm*, and *at least 3.937 in* where people read inches.
Sizes and ranges share one unit, ``{45 x 2.5 mm}``; where what is sold or asked for differs, both
stand there, ``{3 mm | 1/8 in}``, and the reader gets one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from cagekit.units.formats import in_unit
from cagekit.units.lengths import LengthError, LengthUnit, parse_length
from cagekit.units.scale import INCH_EXACT, KSI_EXACT, POUND_EXACT, exact


class _Unit(NamedTuple):
    """A unit: beside which lengths it is read, its size (mm, mm2, kg, MPa), how it is written."""

    beside: LengthUnit
    size: Fraction
    decimals: int
    other: str


_UNITS = {
    "mm": _Unit("mm", Fraction(1), 2, "in"),
    "in": _Unit("in", INCH_EXACT, 3, "mm"),
    "cm2": _Unit("mm", Fraction(100), 1, "sq in"),
    "sq in": _Unit("in", INCH_EXACT**2, 1, "cm2"),
    "kg": _Unit("mm", Fraction(1), 1, "lb"),
    "lb": _Unit("in", POUND_EXACT, 1, "kg"),
    "N/mm2": _Unit("mm", Fraction(1), 0, "ksi"),
    "ksi": _Unit("in", KSI_EXACT, 1, "N/mm2"),
}
_BRACED = re.compile(r"\{([^{}]*)\}")
_QUANTITY = re.compile(rf"\s*(.+?)\s*\b({'|'.join(sorted(_UNITS, key=len, reverse=True))})\s*")
_JOINT = re.compile(r"( x | to )")


class _Quantity(NamedTuple):
    """What stands between braces, or one of the two: as written, its numbers, its unit."""

    written: str
    parts: tuple[str, ...]
    unit: str


def told_in(text: str, units: LengthUnit | None) -> str:
    """A text with what stands in braces told in ``units``; None tells it as it is written.

    Other words in braces stay, as ``{where}`` in a cure.
    """
    if "{" not in text:
        return text
    return _BRACED.sub(lambda found: _told(found, units), text)


def odd_braces(text: str) -> Iterator[str]:
    """What stands in braces and is no quantity that can be told in other units."""
    for found in _BRACED.finditer(text):
        if not _quantities(found[1]):
            yield found[0]


def _told(found: re.Match[str], units: LengthUnit | None) -> str:
    choice = _quantities(found[1])
    if not choice:
        return found[0]
    own = (q for q in choice if units in (None, _UNITS[q.unit].beside))
    first = next(own, None)
    return first.written if first else _converted(choice[0])


def _converted(q: _Quantity) -> str:
    """A quantity in the other unit of its kind; between its numbers stands what stood there."""
    unit = _UNITS[q.unit]
    other = _UNITS[unit.other]
    words = [
        part if n % 2 else in_unit(float(_number(part) * unit.size), other.size, other.decimals)
        for n, part in enumerate(q.parts)
    ]
    return f"{''.join(map(_short, words))} {unit.other}"


def _quantities(inside: str) -> tuple[_Quantity, ...]:
    """The quantities between braces; none where one of them cannot be read."""
    out = []
    for one in inside.split("|"):
        found = _QUANTITY.fullmatch(one)
        parts = tuple(_JOINT.split(found[1])) if found else ()
        try:
            for part in parts[::2]:
                _number(part)
        except LengthError:
            return ()
        if not found:
            return ()
        out.append(_Quantity(one.strip(), parts, found[2]))
    return tuple(out)


def _number(text: str) -> Fraction:
    """A number as people write it, with a fraction too: ``1 5/8``."""
    return exact(parse_length(f"{text} in")) / INCH_EXACT


def _short(number: str) -> str:
    """Without zeros that say nothing."""
    return number.rstrip("0").rstrip(".") if "." in number else number

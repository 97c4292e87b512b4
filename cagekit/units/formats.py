"""Write quantities for people: mm or inches, decimals or the nearest 1/16, 1/32, 1/64.

Halves round away from zero, as a tape is read, and a value that rounds to nothing has no sign.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil, floor, isfinite, pi
from typing import Literal

from cagekit.units.lengths import LengthUnit
from cagekit.units.scale import INCH_EXACT, POUND_EXACT, exact

DENOMINATORS = (2, 4, 8, 16, 32, 64, 128)
Rounding = Literal["nearest", "up", "down"]
"""Which way a length is rounded: the most that there is up, the most that may be down."""
DECIMALS = {"mm": 1, "in": 3}
"""Decimals that are written when the caller does not say."""
ON_A_STEP = Fraction(1, 10**9)
"""Share of a step that is an error of arithmetic: what is that near lies on the step."""


def format_length(
    mm: float,
    units: LengthUnit = "mm",
    *,
    decimals: int | None = None,
    denominator: int | None = None,
    feet: bool = False,
    unit: bool = True,
    rounding: Rounding = "nearest",
) -> str:
    """Return a length as text that `parse_length` reads back.

    Args:
        mm: the length, mm.
        units: ``"mm"`` or ``"in"``.
        decimals: digits after the point; 1 for mm and 3 for inches if None.
        denominator: round inches to this part (16 gives sixteenths) and write a reduced
            fraction, ``1 5/8 in``. Inches only, and not together with ``decimals``.
        feet: write feet and inches, ``4' 3 1/2"``. Inches only.
        unit: False leaves the unit out (never with ``feet``).
        rounding: ``up`` and ``down`` for a bound that must hold as printed; what is within a
            billionth of a step counts as on it.

    Raises:
        ValueError: not a finite number, or options that do not go together.
    """
    _check_options(mm, units, decimals, denominator)
    if feet and not unit:
        raise ValueError("feet and inches always carry their marks")
    if units == "mm" and (denominator is not None or feet):
        raise ValueError("fractions and feet are for inches only")
    if units == "mm":
        digits = DECIMALS["mm"] if decimals is None else decimals
        text = _decimal(_rounded(exact(mm), Fraction(1, 10**digits), rounding), digits)
        return f"{text} mm" if unit else text
    step = Fraction(1, denominator or 10 ** (DECIMALS["in"] if decimals is None else decimals))
    inches = _rounded(exact(mm) / INCH_EXACT, step, rounding)
    sign = "-" if inches < 0 else ""
    size = abs(inches)
    if feet:
        whole, rest = divmod(size, 12)
        lead = f"{whole}' " if whole else ""
        return f'{sign}{lead}{_inches(rest, decimals, denominator)}"'
    text = sign + _inches(size, decimals, denominator)
    return f"{text} in" if unit else text


def format_angle(rad: float, *, decimals: int = 1) -> str:
    """Return an angle given in rad as degrees, ``45.0\u00b0``."""
    return f"{_quantity(rad * 180 / pi, decimals)}\u00b0"


def format_area(mm2: float, units: LengthUnit = "mm", *, decimals: int | None = None) -> str:
    """Return an area given in mm² as ``mm²`` (whole) or ``in²`` (3 decimals).

    Args:
        mm2: mm2.
        units: that the reader wants.
        decimals: digits after the point; the usual ones when None.
    """
    if units == "in":
        return f"{_scaled(mm2, INCH_EXACT**2, 3 if decimals is None else decimals)} in\u00b2"
    return f"{_quantity(mm2, 0 if decimals is None else decimals)} mm\u00b2"


def format_mass(kg: float, units: LengthUnit = "mm") -> str:
    """Return a mass given in kg as ``kg``, or as ``lb`` beside inches: to a tenth of them.

    What weighs less than one of them is told in whole grams, or in ounces to a tenth.

    Args:
        kg: kg.
        units: that the reader wants.
    """
    if units == "in":
        ounces = _scaled(kg, POUND_EXACT / 16, 1)
        return f"{ounces} oz" if abs(float(ounces)) < 16 else f"{_scaled(kg, POUND_EXACT, 1)} lb"
    grams = _scaled(kg, Fraction(1, 1000), 0)
    return f"{grams} g" if abs(float(grams)) < 1000 else f"{_quantity(kg, 1)} kg"


def in_unit(value: float, unit: Fraction, decimals: int) -> str:
    """Return a value counted in ``unit``, without its name.

    Args:
        value: what is counted.
        unit: one of the unit, in the same as the value.
        decimals: digits after the point.

    Raises:
        ValueError: no finite number.
    """
    return _scaled(value, unit, decimals)


def _check_options(mm: float, units: str, decimals: int | None, denominator: int | None) -> None:
    if units not in DECIMALS:
        raise ValueError(f"units {units!r} (allowed: 'mm', 'in')")
    if not isfinite(mm):
        raise ValueError(f"a length must be a finite number, not {mm}")
    if decimals is not None and not 0 <= decimals <= 12:
        raise ValueError(f"decimals {decimals} (allowed: 0 to 12)")
    if denominator is not None and denominator not in DENOMINATORS:
        allowed = ", ".join(map(str, DENOMINATORS))
        raise ValueError(f"denominator {denominator} (allowed: {allowed})")
    if denominator is not None and decimals is not None:
        raise ValueError("write inches with decimals or with a denominator, not both")


def _quantity(value: float, decimals: int) -> str:
    return _scaled(value, Fraction(1), decimals)


def _scaled(value: float, unit: Fraction, decimals: int) -> str:
    if not isfinite(value):
        raise ValueError(f"a quantity must be a finite number, not {value}")
    return _decimal(exact(value) / unit, decimals)


def _inches(size: Fraction, decimals: int | None, denominator: int | None) -> str:
    """Return inches without sign: decimals, or whole and reduced fraction."""
    if denominator is None:
        return _decimal(size, DECIMALS["in"] if decimals is None else decimals)
    whole, rest = divmod(size, 1)
    if not rest:
        return str(whole)
    return f"{whole} {rest}" if whole else str(rest)


def _decimal(value: Fraction, decimals: int) -> str:
    """Return ``value`` rounded to ``decimals`` digits after the point."""
    # in whole numbers: to add fractions is to look for their common divisor each time
    size, of = abs(value.numerator), value.denominator
    parts = (2 * size * 10**decimals + of) // (2 * of)
    parts = -parts if value < 0 else parts
    sign = "-" if parts < 0 else ""
    if decimals == 0:
        return f"{sign}{abs(parts)}"
    whole, rest = divmod(abs(parts), 10**decimals)
    return f"{sign}{whole}.{rest:0{decimals}d}"


def _rounded(value: Fraction, step: Fraction, rounding: Rounding) -> Fraction:
    """Return ``value`` as a multiple of ``step``; to the nearest, halves away from zero."""
    if rounding == "up":
        return ceil(value / step - ON_A_STEP) * step
    if rounding == "down":
        return floor(value / step + ON_A_STEP) * step
    size = floor(abs(value) / step + Fraction(1, 2)) * step
    return -size if value < 0 else size

"""Read a length as people write it: ``1 5/8 in``, ``4' 3-1/2"``, ``41.3 mm``, a plain number.

The arithmetic is exact (fractions) until the single rounding to a float at the end, so that
``1 5/8 in``, ``1.625"`` and the number 1.625 in a file in inches are the same length.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from fractions import Fraction
from math import isfinite
from numbers import Real
from typing import Literal

from msgspec import Struct

from cagekit.errors import CagekitError
from cagekit.units.scale import FOOT_EXACT, INCH_EXACT, exact

LengthUnit = Literal["mm", "in"]
"""Units in which a file or a face may count its lengths."""

LONGEST_TEXT = 80
BLANK = "?"
"""What stands in a car sheet until somebody has measured there."""

_MM, _CM, _M = Fraction(1), Fraction(10), Fraction(1000)
_UNITS: dict[str, Fraction] = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), _MM),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), _CM),
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), _M),
    **dict.fromkeys(("in", "inch", "inches", '"', "\u2033", "\u201d", "''"), INCH_EXACT),
    **dict.fromkeys(("ft", "foot", "feet", "'", "\u2032", "\u2019"), FOOT_EXACT),
}
_VULGAR = "\u00bc-\u00be\u2150-\u215e"
_TOKEN = re.compile(
    rf"""(?P<space>\s+)
    |(?P<decimal>[0-9]+\.[0-9]*|\.[0-9]+)
    |(?P<ratio>[0-9]+[/\u2044][0-9]+)
    |(?P<whole>[0-9]+)
    |(?P<vulgar>[{_VULGAR}])
    |(?P<sign>[-+\u2212])
    |(?P<unit>[^\W\d_]+\.?|''|["'\u2032\u2033\u2019\u201d])""",
    re.VERBOSE,
)


class LengthError(CagekitError, ValueError):
    """A text or number that is not a length.

    Args:
        text: what was given, as typed.
        problem: what is wrong with it.
        column: place of the fault in the text, counted from 1; None for a number.
    """

    def __init__(self, text: str, problem: str, column: int | None = None) -> None:
        self.text, self.column = text, column
        self.problem = problem if column is None else f"column {column}: {problem}"
        shown = text if text.strip() and text.isprintable() else repr(text)
        super().__init__(f"length {shown}: {self.problem}")


class OtherUnitsError(LengthError):
    """A length that is meant in other units than it is read in, by all likelihood."""


def parse_length(value: str | float, default: LengthUnit = "mm") -> float:
    """Return a length in mm.

    Args:
        value: a number in ``default`` units, or a text: a whole number, a decimal or a fraction
            (``5/8``, ``1 5/8``, ``1-5/8``, ``1\u215d``), then a unit: mm, cm, m, in (or ``"``), ft
            (or ``'``). Feet may be followed by inches. Without a unit it counts in ``default``.
        default: ``"mm"`` or ``"in"``.

    Raises:
        LengthError: (a ValueError) not a length; tells the column of the fault. A decimal comma
            is refused because it could mean thousands, and a fraction without a unit where
            ``default`` is mm because it is an inch size by all likelihood.
    """
    if default not in ("mm", "in"):
        raise ValueError(f"default unit {default!r} (allowed: 'mm', 'in')")
    scale = INCH_EXACT if default == "in" else _MM
    if isinstance(value, str):
        return _finite(value, _LengthReader(value, scale).length())
    plain = value.__class__ is float or value.__class__ is int  # an abstract type is a long look
    if not plain and (isinstance(value, bool) or not isinstance(value, Real)):
        raise LengthError(str(value), f"a length is a number or a text, not {_kind(value)}")
    try:
        number = float(value)
    except OverflowError:
        raise LengthError("of many digits", "too large for a length") from None
    if not isfinite(number):
        raise LengthError(str(value), "a length must be a finite number")
    if scale is _MM:
        return number + 0.0  # no -0.0
    return _finite(str(value), exact(number) * scale)


def _finite(text: str, length: Fraction) -> float:
    try:
        return float(length)
    except OverflowError:
        raise LengthError(_short(text), "too large for a length") from None


def _kind(value: object) -> str:
    name = type(value).__name__
    words = {"bool": "true or false", "NoneType": "nothing", "list": "a list", "dict": "a table"}
    return words.get(name, name)


def _short(text: str) -> str:
    return text if len(text) <= LONGEST_TEXT else text[: LONGEST_TEXT - 3] + "..."


class _Token(Struct, frozen=True):
    kind: str
    text: str
    column: int


class _LengthReader:
    """Reads one text from left to right; ``scale`` is the default unit in mm."""

    def __init__(self, text: str, scale: Fraction) -> None:
        self.text, self.scale = text, scale
        if len(text) > LONGEST_TEXT:
            raise LengthError(_short(text), f"longer than {LONGEST_TEXT} characters")
        if text.strip() == BLANK:
            raise LengthError(text, "still a blank; measure it and write the length")
        self.tokens = list(self._tokens())
        self.at = 0

    def length(self) -> Fraction:
        """Return the whole text as mm."""
        if self._end():
            raise LengthError(self.text, "empty; write a length such as 41.3 mm or 1 5/8 in")
        negative = self._sign()
        first, fractional = self._number()
        unit = self._unit()
        if unit is None:
            self._finished()
            if fractional and self.scale != INCH_EXACT:
                problem = "a fraction without a unit; write in after it if it is inches"
                raise OtherUnitsError(self.text, problem, self._column())
            total = first * self.scale
        elif unit == FOOT_EXACT and not self._end():
            total = first * FOOT_EXACT + self._inches_after(first)
        else:
            self._finished()
            total = first * unit
        return -total if negative else total

    def _inches_after(self, feet: Fraction) -> Fraction:
        """Return the inches that follow ``feet``, as mm."""
        self._skip()
        if self._peek("sign") and self.tokens[self.at].text == "-":
            self.at += 1
        self._skip()
        start = self.at
        inches, _ = self._number()
        unit = self._unit()
        self._finished()
        if unit not in (None, INCH_EXACT):
            raise self._fault("only inches can follow feet", start)
        if feet.denominator != 1:
            raise self._fault("feet before inches must be a whole number", 0)
        if inches >= 12:
            raise self._fault("inches after feet must be fewer than 12", start)
        return inches * INCH_EXACT

    def _sign(self) -> bool:
        self._skip()
        if not self._peek("sign"):
            return False
        negative = self.tokens[self.at].text != "+"
        self.at += 1
        self._skip()
        return negative

    def _number(self) -> tuple[Fraction, bool]:
        """Return a number and whether it was written with a fraction."""
        self._skip()
        if self._peek("decimal"):
            return Fraction(self._take().text), False
        if self._peek("ratio", "vulgar"):
            return self._fraction(), True
        if not self._peek("whole"):
            raise self._fault("a number is expected here")
        whole = Fraction(self._take().text)
        start = self.at
        if self._peek("space"):
            self.at += 1
        elif self._peek("sign") and self.tokens[self.at].text == "-":
            self.at += 1
            if not self._peek("ratio", "vulgar"):
                raise self._fault("after '-' inside a length a fraction is expected")
        if not self._peek("ratio", "vulgar"):
            self.at = start
            return whole, False
        place = self.at
        part = self._fraction()
        if part >= 1:
            raise self._fault("the fraction after a whole number must be less than one", place)
        if part == 0:
            raise self._fault("a fraction of nothing after a whole number; is a digit lost?", place)
        return whole + part, True

    def _fraction(self) -> Fraction:
        place = self.at
        text = unicodedata.normalize("NFKC", self._take().text).replace("\u2044", "/")
        over, under = text.split("/")
        if int(under) == 0:
            raise self._fault("a fraction over zero", place)
        return Fraction(int(over), int(under))

    def _unit(self) -> Fraction | None:
        self._skip()
        if not self._peek("unit"):
            return None
        place = self.at
        word = self._take().text
        unit = _UNITS.get(word.lower().rstrip("."))
        if unit is None:
            raise self._fault(f"unknown unit {word!r} (allowed: mm, cm, m, in, ft)", place)
        return unit

    def _finished(self) -> None:
        self._skip()
        if self.at < len(self.tokens):
            raise self._fault(f"{self.tokens[self.at].text!r} is not expected here")

    def _skip(self) -> None:
        while self._peek("space"):
            self.at += 1

    def _end(self) -> bool:
        return all(token.kind == "space" for token in self.tokens[self.at :])

    def _peek(self, *kinds: str) -> bool:
        return self.at < len(self.tokens) and self.tokens[self.at].kind in kinds

    def _take(self) -> _Token:
        self.at += 1
        return self.tokens[self.at - 1]

    def _fault(self, problem: str, place: int | None = None) -> LengthError:
        """Return an error at token ``place`` (where the reader stands, if None)."""
        return LengthError(self.text, problem, self._column(place))

    def _column(self, place: int | None = None) -> int:
        """Column of token ``place``, counted from 1."""
        index = self.at if place is None else place
        return self.tokens[index].column if index < len(self.tokens) else len(self.text) + 1

    def _tokens(self) -> Iterator[_Token]:
        at = 0
        while at < len(self.text):
            match = _TOKEN.match(self.text, at)
            if match is None:
                problem = f"{self.text[at]!r} does not belong in a length"
                if self.text[at] == ",":
                    problem = "a comma could mean tenths or thousands; write a decimal point"
                raise LengthError(self.text, problem, at + 1)
            yield _Token(str(match.lastgroup), match.group(), at + 1)
            at = match.end()

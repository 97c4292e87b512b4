"""Sizes of two numbers, as people write those of tubes and plates."""

from __future__ import annotations

import re

from cagekit.units.lengths import LengthUnit, parse_length

_PAIR = re.compile(r"^\s*(.+?)\s*x\s*(.+?)\s*$")
SIZES = (10.0, 1000.0)
"""The larger number of a size, tube or plate of a cage, lies between these, mm."""


def parse_size(raw: object, units: LengthUnit) -> tuple[float, float]:
    """Read a size such as ``45 x 2.5 mm`` or ``1 5/8 x 0.120 in`` into mm.

    Args:
        raw: the text; the unit behind the second number is also the first one's.
        units: of numbers without one.

    Raises:
        ValueError: it is no size of a tube or plate, in words for a person.
    """
    found = _PAIR.match(raw) if isinstance(raw, str) else None
    if not found:
        raise ValueError(f"{raw!r} is no size; write e.g. '45 x 2.5 mm' or '1 5/8 x 0.120 in'")
    first, second = found[1], found[2]
    tail = re.search(r"(mm|in)\s*$", second)
    own = tail[1] if tail else units
    if tail and not re.search(r"[a-z]", first):
        first = f"{first} {own}"
    pair = _length_text(first, units), _length_text(second, units)
    if not SIZES[0] <= max(pair) <= SIZES[1]:
        raise ValueError(f"{raw!r} is no size of a tube or plate; check its units ({own})")
    return pair


def _length_text(text: str, units: LengthUnit) -> float:
    bare = re.fullmatch(r"\s*(\d+\.?\d*|\.\d+)\s*", text)
    return parse_length(float(text) if bare else text, default=units)

"""Limits of rules: read them in the quantity's unit, and hold measured values against them."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from cagekit.checks.finding import Value
from cagekit.checks.quantities.quantity import Unit
from cagekit.units import LengthUnit, parse_length
from cagekit.units.areas import parse_area
from cagekit.units.masses import parse_mass
from cagekit.units.sizes import parse_size
from cagekit.units.tolerance import ROUNDING, SAME_POINT

SLACK = {"mm": SAME_POINT, "pair": 0.02, "mm2": 1e-3, "deg": 1e-6}
"""Differences below this are rounding, in the quantity's unit. Tube sizes get 0.02 mm because
presets and rulebooks round inch sizes to hundredths of a millimetre."""

LEAST_BOUND = 1e-3
"""A limit of nought is taken as this where a gap is told as a share of its limit."""

_PLAIN = {"deg", "ratio", "count", "year", "s", "MPa"}
_COMPARED: dict[str, Callable[[float, float, float], bool]] = {
    ">=": lambda v, bound, slack: v >= bound - slack,
    "<=": lambda v, bound, slack: v <= bound + slack,
    ">": lambda v, bound, slack: v > bound + slack,
    "<": lambda v, bound, slack: v < bound - slack,
}
OPERATOR_WORDS = {
    ">=": "at least",
    "<=": "at most",
    ">": "more than",
    "<": "less than",
    "!=": "other than",
    "between": "",
    "in": "",
    "=": "",
}
"""Operators of a rulebook as they stand before a limit that a person reads."""
_OPERATOR = re.compile(r"^\s*(>=|<=|!=|>|<|=)\s*(.+)$")


def read_limit(raw: Any, unit: Unit, op: str, units: LengthUnit) -> Value:
    """Read a limit as written into the quantity's unit.

    Args:
        raw: number, text, flag, or a list of them.
        unit: the quantity's unit.
        op: the rule's operator; ``between`` needs two values.
        units: length unit of bare numbers.

    Raises:
        ValueError: the limit is no value of that unit, in words for a person.
    """
    if op == "between":
        if not isinstance(raw, list | tuple) or len(raw) != 2:
            raise ValueError("'between' needs a limit of two values, [low, high]")
        low, high = _one(raw[0], unit, units), _one(raw[1], unit, units)
        if low > high:  # type: ignore[operator]
            raise ValueError(f"the low end {raw[0]} is above the high end {raw[1]}")
        return low, high
    if unit in ("text", "flag") and op not in ("=", "!=", "in"):
        raise ValueError(f"a {unit} can only be compared with '=', '!=' or 'in'")
    if unit == "pair" and op not in (">=", "=", "in"):
        raise ValueError("a pair such as a tube size can only be compared with '>=', '=' or 'in'")
    if isinstance(raw, list | tuple):
        if unit not in ("text", "pair") and op != "in":
            raise ValueError("a list of alternatives needs the operator 'in'")
        if not raw:
            raise ValueError("an empty list allows nothing")
        return tuple(_one(v, unit, units) for v in raw)
    one = _one(raw, unit, units)
    return (one,) if unit == "pair" or op == "in" else one


def _one(raw: Any, unit: Unit, units: LengthUnit) -> Value:
    if unit == "flag":
        if not isinstance(raw, bool):
            raise ValueError(f"the limit is true or false, not {raw!r}")
        return raw
    if unit == "text":
        if not isinstance(raw, str):
            raise ValueError(f"the limit is a text, not {raw!r}")
        return raw
    if isinstance(raw, bool) or not isinstance(raw, int | float | str):
        raise ValueError(f"{raw!r} is no value for a quantity in {unit}")
    if unit == "mm":
        return parse_length(raw, default=units)
    if unit == "pair":
        return parse_size(raw, units)
    if unit == "mm2":
        return parse_area(raw, default=units)
    if unit == "kg":
        mass = parse_mass(raw)
        if units == "in" and not str(raw).strip()[-1].isalpha():
            raise ValueError(f"{mass:g} may be kg or pounds. Write '{mass:g} kg' or '{mass:g} lb'")
        return mass
    assert unit in _PLAIN
    if isinstance(raw, str):
        raise ValueError(f"the limit is a bare number, not {raw!r}")
    return float(raw)


def split_operator(text: str) -> tuple[str, str]:
    """Split ``">= 2007"`` into operator and value; without operator it is ``=``."""
    found = _OPERATOR.match(text)
    return (found[1], found[2]) if found else ("=", text)


def holds(value: Value, op: str, limit: Value, unit: Unit, tolerance: float = 0.0) -> bool:
    """Whether ``value op limit`` is true, rounding and ``tolerance`` aside.

    Args:
        value: what was measured.
        op: how the two are compared.
        limit: what is allowed.
        unit: of the value.
        tolerance: in the unit, on the side of passing.
    """
    slack = max(SLACK.get(unit, ROUNDING), tolerance)
    if unit == "pair":
        assert isinstance(limit, tuple)
        return any(_pair_holds(value, op, pair, slack) for pair in limit)
    if op == "in" or (isinstance(limit, tuple) and op == "="):
        return any(_same(value, x, slack) for x in limit)  # type: ignore[union-attr]
    if op == "!=":
        options = limit if isinstance(limit, tuple) else (limit,)
        return not any(_same(value, x, slack) for x in options)
    if op == "=":
        return _same(value, limit, slack)
    v = float(value)  # type: ignore[arg-type]
    if op == "between":
        low, high = _range(limit)
        return low - slack <= v <= high + slack
    bound = float(limit)  # type: ignore[arg-type]
    return _COMPARED[op](v, bound, slack)


def _range(limit: Value) -> tuple[float, float]:
    assert isinstance(limit, tuple)
    return float(limit[0]), float(limit[1])  # type: ignore[arg-type]


def _pair_holds(value: Value, op: str, pair: Value, slack: float) -> bool:
    assert isinstance(value, tuple)
    assert isinstance(pair, tuple)
    gaps = [float(v) - float(p) for v, p in zip(value, pair, strict=True)]  # type: ignore[arg-type]
    return all(g >= -slack for g in gaps) if op == ">=" else all(abs(g) <= slack for g in gaps)


def _same(value: Value, other: Value, slack: float) -> bool:
    if isinstance(value, bool | str) or isinstance(other, bool | str):
        return value == other
    return abs(float(value) - float(other)) <= slack  # type: ignore[arg-type]


def margin(value: Value, op: str, limit: Value, unit: Unit) -> float:
    """How far inside the limit a value is, relative; the smallest is the most critical.

    Texts and flags have no margin and give 0.

    Args:
        value: what was measured.
        op: how the two are compared.
        limit: what is allowed.
        unit: of the value.
    """
    if unit in ("text", "flag") or value is None:
        return 0.0
    if unit == "pair":
        assert isinstance(value, tuple)
        assert isinstance(limit, tuple)
        return max(min(_share(v, p, ">=") for v, p in zip(value, q, strict=True)) for q in limit)  # type: ignore[arg-type]
    if op == "between":
        low, high = _range(limit)
        return min(_share(value, low, ">="), _share(value, high, "<="))
    if op in (">=", ">", "<=", "<"):
        return _share(value, limit, op)
    return 0.0


def _share(value: Value, limit: Value, op: str) -> float:
    v, bound = float(value), float(limit)  # type: ignore[arg-type]
    gap = v - bound if op.startswith(">") else bound - v
    return gap / max(abs(bound), LEAST_BOUND)


def written(raw: Any, op: str, unit: Unit | None, units: LengthUnit) -> str:
    """The limit as the rulebook writes it, with its unit, for people.

    Args:
        raw: the limit as read from the book.
        op: how the two are compared.
        unit: of the value.
        units: that the reader wants.
    """
    parts = raw if isinstance(raw, list | tuple) else [raw]
    texts = [_word(p, unit, units) for p in parts]
    return " to ".join(texts) if op == "between" else " or ".join(texts)


def _word(value: Any, unit: Unit | None, units: LengthUnit) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = f"{value:g}" if isinstance(value, int | float) else str(value)
    if re.search("[a-wyz]", text):
        return text
    if unit in ("mm", "pair"):
        return f"{text} {units}"
    if unit == "mm2":
        return f"{text} sq in" if units == "in" else f"{float(text) / 100:g} cm2"
    return text

"""Values, limits and sources of findings as people read them."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

from cagekit.checks.finding import Finding, Value
from cagekit.checks.limit import OPERATOR_WORDS
from cagekit.names import KNOWN, in_words, named
from cagekit.units import STRESS, LengthUnit, format_area, format_length, format_mass

TOLD = 0.1
"""A tolerance of a limit (mm, degrees) below this is rounding and not told."""


def value_text(value: Value, unit: str, units: LengthUnit) -> str:
    """A measured value: ``41.3 x 3.4 mm``, ``5.1 deg``, ``yes``; empty for None.

    Args:
        value: what was measured.
        unit: of the value.
        units: that the reader wants.
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return named(value) if value.isidentifier() else in_words(value)
    if isinstance(value, tuple):
        return _joined([_bare(v, unit, units) for v in value], " x ", unit, units)
    if unit == "mm2":
        return format_area(value, "in") if units == "in" else f"{value / 100:.1f} cm2"
    if unit == "kg":
        return format_mass(value, units)
    if unit == "MPa":
        return STRESS.told(value, units)
    return f"{_bare(value, unit, units)} {_shown_unit(unit, units)}".strip()


def limit_text(f: Finding, units: LengthUnit) -> str:
    """The limit with its operator in words: ``at least 45 x 2.5 mm or 50 x 2.0 mm``.

    In the source's own words where it counts in the reader's units; else converted, the source's
    words behind it.
    """
    if f.limit is None:
        return f.written
    own = _own_words(f, units)
    text = own or converted(f.limit, f.op, f.unit, units)
    lead = OPERATOR_WORDS.get(f.op, "")
    # nought is the same in every unit
    told = not own and f.limit != 0 and differs(f.written, f.unit, units)
    tail = f" (written {f.written})" if told else ""
    if f.tolerance >= TOLD:
        tail += f", give or take {value_text(f.tolerance, f.unit, units)}"
    return f"{lead} {text}{tail}".strip()


def _own_words(f: Finding, units: LengthUnit) -> str:
    """The source's words where they are in the reader's units or need none."""
    if not f.written or _names(f.limit):
        return ""
    if f.unit == "MPa" and units == "in":
        return ""
    if f.unit not in ("mm", "mm2", "kg"):
        return f"{f.written} {_shown_unit(f.unit, units)}".strip()
    return "" if differs(f.written, f.unit, units) else f.written


def _names(limit: Value) -> bool:
    """Whether a limit is what something is called, not how large it is."""
    rows = limit if isinstance(limit, tuple) else (limit,)
    return all(isinstance(v, str) for v in rows)


@lru_cache(maxsize=KNOWN)
def differs(written: str, unit: str, units: LengthUnit) -> bool:
    """Whether the source counts in other units than the reader; one that gives both does not.

    Args:
        written: the limit as the source writes it.
        unit: of the limit.
        units: that the reader wants.
    """
    inch = re.search(r"\b(in|in2|lb)\b|sq in", written) is not None
    metric = re.search(r"\b(mm|cm2|kg)\b", written) is not None
    if not written or unit not in ("mm", "mm2", "kg") or (inch and metric):
        return False
    return inch != (units == "in")


def converted(limit: Value, op: str, unit: str, units: LengthUnit) -> str:
    """A limit in the reader's units.

    Args:
        limit: value, range or alternatives.
        op: how it is compared.
        unit: of the limit.
        units: that the reader wants.
    """
    if not isinstance(limit, tuple):
        return value_text(limit, unit, units)
    texts = [value_text(v, unit, units) for v in limit]
    return (" to " if op == "between" else " or ").join(texts)


@lru_cache(maxsize=KNOWN, typed=True)
def _bare(value: Any, unit: str, units: LengthUnit) -> str:
    if isinstance(value, bool | str):
        return value_text(value, unit, units)
    if unit == "mm":
        text = format_length(float(value), units, unit=False, decimals=2 if units == "mm" else 3)
        return _trimmed(text)
    if isinstance(value, int):
        return str(value)
    return _trimmed(f"{float(value):.2f}")


def _trimmed(text: str) -> str:
    """Without zeros that say nothing: ``45.00`` is ``45.0``."""
    if "." not in text:
        return text
    whole, digits = text.split(".")
    digits = digits.rstrip("0")
    return f"{whole}.{digits}" if digits else whole


def _joined(parts: list[str], glue: str, unit: str, units: LengthUnit) -> str:
    return f"{glue.join(parts)} {_shown_unit(unit, units)}".strip()


def _shown_unit(unit: str, units: LengthUnit) -> str:
    return units if unit == "mm" else unit


def source_text(f: Finding) -> str:
    """Source, clause, edition and how sure it is, in one line."""
    where = " ".join(t for t in (f.source, f.clause) if t)
    if not where:
        return ""
    edition = f", {f.edition}" if f.edition not in ("", "-") else ""
    sure = "" if f.certainty.value == f.source else f" ({f.certainty.value})"
    return f"{where}{edition}{sure}"

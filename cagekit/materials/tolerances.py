"""How far a bought tube may differ from its nominal size."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

from cagekit.data import Row, rows
from cagekit.errors import NotFoundError
from cagekit.materials.source import Certainty, certainty
from cagekit.units import INCH, format_length

Quantity = Literal["od", "wall"]

# A wall of 0.134 in and a nominal 3.4 mm are the same row; walls of a table differ by more.
_SAME_WALL = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """Largest deviations from a nominal size.

    Args:
        plus: above nominal, mm; None where the standard limits it otherwise.
        minus: below nominal, mm, as a positive number.
        source: document.
        certainty: how sure the row is.
        note: what else to know.
    """

    plus: float | None
    minus: float
    source: str
    certainty: Certainty
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rule:
    standard: str
    quantity: Quantity
    od_from: float
    od_to: float
    wall: float | None
    plus: float | None
    minus: float
    percent: bool
    least: float
    source: str
    certainty: Certainty
    note: str

    def covers(self, od: float, wall: float) -> bool:
        fits = self.od_from - 1e-9 <= od <= self.od_to + 1e-9
        return fits and (self.wall is None or abs(self.wall - wall) <= _SAME_WALL)

    def at(self, nominal: float) -> Deviation:
        return Deviation(
            plus=None if self.plus is None else self._mm(self.plus, nominal),
            minus=self._mm(self.minus, nominal),
            source=self.source,
            certainty=self.certainty,
            note=self.note,
        )

    def _mm(self, value: float, nominal: float) -> float:
        return max(value / 100 * nominal, self.least) if self.percent else value


def _rule(row: Row) -> _Rule:
    scale = INCH if row["unit"] == "in" else 1.0
    percent = row["unit"] == "percent"
    return _Rule(
        standard=row["standard"],
        quantity="wall" if row["quantity"] == "wall" else "od",
        od_from=float(row["od_from"]) * scale,
        od_to=float(row["od_to"]) * scale,
        wall=float(row["wall"]) * scale if row["wall"] else None,
        plus=float(row["plus"]) * scale if row["plus"] else None,
        minus=float(row["minus"]) * scale,
        percent=percent,
        least=float(row["least"]) if row["least"] else 0.0,
        source=row["source"],
        certainty=certainty(row["certainty"]),
        note=row["note"],
    )


@cache
def _rules() -> tuple[_Rule, ...]:
    return tuple(_rule(row) for row in rows("tolerances"))


def tolerance(standard: str, quantity: Quantity, *, od: float, wall: float) -> Deviation:
    """Return what ``standard`` allows on the outside diameter or the wall of a tube.

    Args:
        standard: ``"a513-5"`` (drawn over mandrel), ``"a513-1"`` (as welded), ``"en10305-1"``,
            ``"en10210-2"``; the `standard` of a `TubeSize`.
        quantity: ``"od"`` or ``"wall"``.
        od: nominal outside diameter, mm.
        wall: nominal wall, mm.

    Raises:
        NotFoundError: the table has no row for that standard or size.
    """
    rules = [r for r in _rules() if r.standard == standard and r.quantity == quantity]
    for rule in rules:
        if rule.covers(od, wall):
            return rule.at(od if quantity == "od" else wall)
    size = f"{format_length(od, decimals=2)} x {format_length(wall, decimals=2)}"
    known = ", ".join(sorted({rule.standard for rule in _rules()}))
    reason = f"no row for a tube of {size}" if rules else f"not in the table (known: {known})"
    raise NotFoundError(f"{quantity} tolerance of {standard!r}: {reason}")

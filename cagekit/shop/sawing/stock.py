"""Sticks, off-cuts and pieces as the cutting plan sees them.

Lengths are held as whole nanometres while a plan is worked out: every inch fraction down to 1/64
and every tenth of a millimetre is exact, so that a bar that fills to the last bit really fits.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache

from msgspec import Struct

from cagekit.data import rows
from cagekit.errors import InputError
from cagekit.inputs.tooling import Offcut, Saw, Stock
from cagekit.materials.source import Certainty, certainty
from cagekit.units import LengthUnit, parse_length

NM = 1_000_000
"""Nanometres in a millimetre."""
SAW_STEP = 0.1
"""Blanks are rounded up to this, mm: no tape and no saw does better."""


class UsualStick(Struct, frozen=True, kw_only=True):
    """A stick length that is commonly sold, mm, with where that is known from."""

    name: str
    units: LengthUnit
    length: float
    source: str
    certainty: Certainty


@cache
def usual_sticks() -> tuple[UsualStick, ...]:
    """Return the stick lengths of ``stock.csv``, shortest first."""
    found = (
        UsualStick(
            name=row["name"],
            units="in" if row["units"] == "in" else "mm",
            length=parse_length(f"{row['length']} {row['unit']}"),
            source=row["source"],
            certainty=certainty(row["certainty"]),
        )
        for row in rows("stock")
    )
    return tuple(sorted(found, key=lambda s: s.length))


def sawn(length: float) -> float:
    """Round a blank (mm) up to what can be sawn."""
    steps = -(-round(length / SAW_STEP, 6) // 1)
    return round(steps * SAW_STEP, 1)


def to_nanometres(mm: float) -> int:
    """Return a length (mm) in whole nanometres."""
    return round(mm * NM)


class Blank(Struct, frozen=True, kw_only=True):
    """A blank to be sawn: ``name`` (a member's id) and ``length`` in mm."""

    name: str
    length: float


class Bar(Struct, frozen=True, kw_only=True):
    """A kind of bar to cut from.

    Args:
        name: how the plan calls it.
        length: as it lies there, mm.
        cost: what using one costs, in any unit; 0 for the shop's own off-cuts.
        count: how many there are; None for as many as needed.
        trim: cut off each end, mm.
        owned: whether it is an off-cut of the shop's own.
        label: what is chalked on the off-cuts of this length; empty where nothing is.
    """

    name: str
    length: float
    cost: float
    count: int | None = None
    trim: float = 0.0
    owned: bool = False
    label: str = ""

    def room(self, kerf: float) -> int:
        """What fits, in nm, when every piece counts with one kerf.

        With squared ends the last piece needs no cut behind it, so one kerf is added; a mill end
        that is trimmed costs the trim on both sides and the cut that takes it off.
        """
        if self.trim > 0:
            return to_nanometres(self.length) - 2 * to_nanometres(self.trim) - to_nanometres(kerf)
        return to_nanometres(self.length) + to_nanometres(kerf)

    def longest(self, kerf: float) -> float:
        """Longest piece that can be cut from it, mm."""
        return (self.room(kerf) - to_nanometres(kerf)) / NM


def bars_of(stock: Sequence[Stock], offcuts: Sequence[Offcut], saw: Saw) -> tuple[Bar, ...]:
    """Return the bars a shop can cut from: its own off-cuts first, then sticks to buy.

    A stick costs its price, or its length where any stick has no price.

    Args:
        stock: sticks that can be bought.
        offcuts: bars left over.
        saw: kerf and ends of the saw.
    """
    priced = all(s.price is not None for s in stock)
    own: dict[int, list[Offcut]] = {}
    for o in offcuts:
        own.setdefault(to_nanometres(o.length), []).append(o)
    bars = [
        Bar(
            name=group[0].label or f"off-cut {group[0].length:.0f} mm",
            length=group[0].length,
            cost=0.0,
            count=sum(o.count for o in group),
            owned=True,
            label=" or ".join(dict.fromkeys(o.label for o in group if o.label)),
        )
        for _, group in sorted(own.items())
    ]
    for s in sorted(stock, key=lambda s: s.length):
        cost = s.price if priced and s.price is not None else s.length
        name = f"stick {s.length:.0f} mm"
        bars.append(Bar(name=name, length=s.length, cost=cost, count=s.count, trim=saw.end_trim))
    return tuple(bars)


def check_pieces(pieces: Iterable[Blank], bars: Sequence[Bar], kerf: float, where: str) -> None:
    """Refuse pieces that no bar can give.

    Args:
        pieces: to be cut.
        bars: that there are.
        kerf: of the saw, mm.
        where: tube size in messages.

    Raises:
        InputError: a piece longer than every bar (named, with the longest that fits), or not
            above zero.
    """
    best = max(bars, key=lambda b: b.room(kerf), default=None)
    for p in pieces:
        if not p.length > 0:
            raise InputError(where, p.name, p.length, problem="a piece needs a length above zero.")
        if best is None or to_nanometres(p.length) > best.room(kerf) - to_nanometres(kerf):
            longest = 0.0 if best is None else best.longest(kerf)
            raise InputError(
                where,
                p.name,
                round(p.length, 1),
                problem=f"the piece is longer than the longest that can be cut ({longest:.1f} mm).",
                hint="Buy a longer stick, or split the member with a sleeve where the rules "
                "allow it.",
            )

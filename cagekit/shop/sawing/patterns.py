"""Ways to fill one bar: the best one for given piece values, or every one that is worth enough.

Pieces of equal size make a kind; a pattern is how many of each kind one bar takes. Both searches
are exact: depth first over the kinds, cut off by a bound from a table. The table holds, for the
kinds still to come and the room left, the best value on a coarse grid on which pieces are rounded
down, so it never promises less than there is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import gcd

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from cagekit.units.tolerance import ROUNDING

Pattern = tuple[int, ...]
SLACK = ROUNDING
CELLS = 16384
"""Cells of the grid unless all sizes fall on a grid of their own that is not much finer."""
MOST_STEPS = 20_000
"""Steps of the search for the best pattern."""


class Kinds(Struct, frozen=True):
    """Kinds of pieces: whole ``sizes`` (kerf included), how many are ``wanted`` of each."""

    sizes: tuple[int, ...]
    wanted: tuple[int, ...]

    @property
    def count(self) -> int:
        """Number of kinds."""
        return len(self.sizes)


class Fill(Struct, frozen=True):
    """The best filling found: its ``value``, its ``pattern``, and a bound no filling is above."""

    value: float
    pattern: Pattern
    bound: float


def best_pattern(kinds: Kinds, room: int, values: Sequence[float], above: float = 0.0) -> Fill:
    """Return the most valuable filling of ``room``.

    The search gives up after `MOST_STEPS`, which happens when very many fillings are worth almost
    the same; the bound then stays above the value.

    Args:
        kinds: sizes and how many of each may be used.
        room: what the bar holds, in the sizes' unit.
        values: worth of one piece of each kind, zero or more.
        above: only fillings worth more are looked for.
    """
    order = [i for i in _by_size(kinds) if values[i] > 0 and kinds.sizes[i] <= room]
    cell = _cell(kinds, room)
    table = _bounds(kinds, room, values, order, cell)
    best = _Best(kinds, values, order, cell, table, above)
    best.search(0, room, 0.0)
    top = float(table[0, max(room, 0) // cell])
    bound = top if best.steps > MOST_STEPS else min(best.value, top)
    return Fill(best.value, tuple(best.pattern), bound)


class _Best:
    """The best filling found so far; no function that holds itself, and the table, until later."""

    def __init__(
        self,
        kinds: Kinds,
        values: Sequence[float],
        order: Sequence[int],
        cell: int,
        table: NDArray[np.float64],
        above: float,
    ) -> None:
        self.kinds, self.values, self.order = kinds, values, order
        self.cell, self.table = cell, table
        self.counts = [0] * kinds.count
        self.value, self.pattern, self.steps = above, self.counts.copy(), 0

    def search(self, at: int, left: int, value: float) -> None:
        """Fill what is ``left`` with the kinds from ``at`` on."""
        if value > self.value + SLACK:
            self.value, self.pattern = value, self.counts.copy()
        if at == len(self.order):
            return
        i = self.order[at]
        size, worth = self.kinds.sizes[i], self.values[i]
        for n in range(min(left // size, self.kinds.wanted[i]), -1, -1):
            rest = left - n * size
            if value + n * worth + self.table[at + 1, rest // self.cell] <= self.value + SLACK:
                continue
            self.steps += 1
            if self.steps > MOST_STEPS:
                break
            self.counts[i] = n
            self.search(at + 1, rest, value + n * worth)
        self.counts[i] = 0


def patterns_worth(
    kinds: Kinds, room: int, values: Sequence[float], least: float
) -> Iterator[Pattern]:
    """Yield every full pattern of ``room`` that is worth at least ``least``.

    Full means that no further wanted piece fits; leaving pieces out never helps a plan.

    Args:
        kinds: lengths that are wanted, and how many of each.
        room: of the bar, in the unit of the sizes.
        values: worth of one piece of each kind.
        least: worth that a pattern must reach.
    """
    order = _by_size(kinds)
    cell = _cell(kinds, room)
    table = _bounds(kinds, room, values, order, cell)
    counts = [0] * kinds.count
    floor = least - SLACK

    def full(left: int) -> bool:
        return not any(
            size <= left and n < most
            for size, n, most in zip(kinds.sizes, counts, kinds.wanted, strict=True)
        )

    def search(at: int, left: int, value: float) -> Iterator[Pattern]:
        if at == len(order):
            if value >= floor and full(left):
                yield tuple(counts)
            return
        i = order[at]
        size, worth = kinds.sizes[i], values[i]
        for n in range(min(left // size, kinds.wanted[i]), -1, -1):
            rest = left - n * size
            if value + n * worth + table[at + 1, rest // cell] >= floor:
                counts[i] = n
                yield from search(at + 1, rest, value + n * worth)
        counts[i] = 0

    yield from search(0, room, 0.0)


def _by_size(kinds: Kinds) -> list[int]:
    return sorted(range(kinds.count), key=lambda i: (-kinds.sizes[i], i))


def _cell(kinds: Kinds, room: int) -> int:
    """Size of a grid cell: the common divisor of all sizes where that gives a small grid."""
    common = gcd(*kinds.sizes) if kinds.sizes else 1
    return common if room // common <= 2 * CELLS else max(room // CELLS, 1)


def _bounds(
    kinds: Kinds, room: int, values: Sequence[float], order: Sequence[int], cell: int
) -> NDArray[np.float64]:
    """Best value of the kinds ``order[at:]`` in so many cells, ``(len(order) + 1, cells + 1)``."""
    cells = max(room, 0) // cell
    table = np.zeros((len(order) + 1, cells + 1))
    for at in range(len(order) - 1, -1, -1):
        i = order[at]
        row = table[at + 1].copy()
        step = kinds.sizes[i] // cell
        if step == 0:
            row += values[i] * kinds.wanted[i]
        elif values[i] > 0 and step <= cells:
            for _ in range(min(kinds.wanted[i], cells // step)):
                np.maximum(row[step:], row[:-step].copy() + values[i], out=row[step:])
        table[at] = row
    return table

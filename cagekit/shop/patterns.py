"""Ways to fill one bar: the best one for given piece values, or every one that is worth enough.

Pieces of equal size make a kind; a pattern is how many of each kind one bar takes. Both searches
are exact: depth first over the kinds by value per length, cut off by the fractional bound.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

Pattern = tuple[int, ...]
SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Kinds:
    """Kinds of pieces: whole ``sizes`` (kerf included), how many are ``wanted`` of each."""

    sizes: tuple[int, ...]
    wanted: tuple[int, ...]

    @property
    def count(self) -> int:
        """Number of kinds."""
        return len(self.sizes)


def best_pattern(kinds: Kinds, room: int, values: Sequence[float]) -> tuple[float, Pattern]:
    """Return the most valuable filling of ``room`` and its value.

    Args:
        kinds: sizes and how many of each may be used.
        room: what the bar holds, in the sizes' unit.
        values: worth of one piece of each kind, zero or more.
    """
    order = _by_density(kinds, values)
    best, best_counts = 0.0, [0] * kinds.count
    counts = [0] * kinds.count

    def search(at: int, left: int, value: float) -> None:
        nonlocal best, best_counts
        if value > best + SLACK:
            best, best_counts = value, counts.copy()
        if at == len(order) or value + _bound(kinds, values, order, at, left) <= best + SLACK:
            return
        i = order[at]
        for n in range(min(left // kinds.sizes[i], kinds.wanted[i]), -1, -1):
            counts[i] = n
            search(at + 1, left - n * kinds.sizes[i], value + n * values[i])
        counts[i] = 0

    search(0, room, 0.0)
    return best, tuple(best_counts)


def patterns_worth(
    kinds: Kinds, room: int, values: Sequence[float], least: float
) -> Iterator[Pattern]:
    """Yield every full pattern of ``room`` that is worth at least ``least``.

    Full means that no further wanted piece fits; leaving pieces out never helps a plan.
    """
    order = _by_density(kinds, values, all_kinds=True)
    counts = [0] * kinds.count

    def search(at: int, left: int, value: float) -> Iterator[Pattern]:
        if value + _bound(kinds, values, order, at, left) < least - SLACK:
            return
        if at == len(order):
            if not any(
                kinds.sizes[i] <= left and counts[i] < kinds.wanted[i] for i in range(kinds.count)
            ):
                yield tuple(counts)
            return
        i = order[at]
        for n in range(min(left // kinds.sizes[i], kinds.wanted[i]), -1, -1):
            counts[i] = n
            yield from search(at + 1, left - n * kinds.sizes[i], value + n * values[i])
        counts[i] = 0

    yield from search(0, room, 0.0)


def _by_density(kinds: Kinds, values: Sequence[float], *, all_kinds: bool = False) -> list[int]:
    useful = [i for i in range(kinds.count) if all_kinds or values[i] > 0]
    return sorted(useful, key=lambda i: (-values[i] / kinds.sizes[i], -kinds.sizes[i], i))


def _bound(
    kinds: Kinds, values: Sequence[float], order: Sequence[int], at: int, left: int
) -> float:
    """Most value that ``left`` can still take when pieces could be split."""
    total = 0.0
    for i in order[at:]:
        size = kinds.sizes[i]
        n = min(left // size, kinds.wanted[i])
        total += n * values[i]
        left -= n * size
        if n < kinds.wanted[i]:
            return total + values[i] * left / size
    return total

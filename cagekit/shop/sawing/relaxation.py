"""The linear relaxation of a cutting plan: what pieces are worth, and what scarce bars cost beside.

A revised simplex of few rows, one a kind of piece and one a bar of which there are only so many.
It goes on from the basis of the columns before when new ones are added, which a solver that starts
anew cannot; the tests hold it against one.

Source: Dantzig, Orden and Wolfe, "The generalized simplex method for minimizing a linear form under
linear inequality restraints", Pacific Journal of Mathematics 5 (1955); Bland's rule where a step
gains nothing, "New finite pivoting rules for the simplex method", Mathematics of Operations
Research 2 (1977) (both from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cagekit.geometry.arrays import Array
from cagekit.units.tolerance import NEGLIGIBLE, NOISE


@dataclass(frozen=True, slots=True, kw_only=True)
class Worth:
    """A least-cost mix of columns: its ``cost`` and its prices.

    ``kinds`` is what one piece more of each kind costs, ``scarce`` what one bar more would save of
    each that is limited. ``short`` is how many pieces no column covers.
    """

    cost: float
    kinds: tuple[float, ...]
    scarce: tuple[float, ...]
    short: float


class Relaxation:
    """Columns in any amounts that cover all pieces at the least cost.

    Args:
        wanted: pieces of each kind, ``(n,)``.
        limits: bars there are of each that is limited, ``(m,)``.
        penalty: price of a piece that nothing covers; more than any bar's.
    """

    def __init__(self, wanted: Sequence[int], limits: Sequence[int], penalty: float) -> None:
        n, m = len(wanted), len(limits)
        self.kinds, self.penalty = n, penalty
        self.right = np.array([*wanted, *limits], float)
        # pieces bought dear, pieces too many, bars left over
        spare = np.vstack([np.eye(n), np.zeros((m, n))])
        self.columns = np.hstack([spare, -spare, np.vstack([np.zeros((n, m)), np.eye(m)])])
        self.cost = np.array([penalty] * n + [0.0] * (n + m))
        self.basis = np.array([*range(n), *range(2 * n, 2 * n + m)])

    def add(self, columns: Sequence[tuple[float, Sequence[int], int | None]]) -> None:
        """Add columns.

        Args:
            columns: cost, pieces of each kind, and the limited bar it takes one of, if any.
        """
        table = np.zeros((len(self.right), len(columns)))
        for k, (_, pieces, bar) in enumerate(columns):
            table[: self.kinds, k] = pieces
            if bar is not None:
                table[self.kinds + bar, k] = 1.0
        self.columns = np.hstack([self.columns, table])
        self.cost = np.append(self.cost, [cost for cost, _, _ in columns])

    def solve(self) -> Worth:
        """The least cost over the columns there are."""
        stuck = False
        while True:
            inverse = np.linalg.inv(self.columns[:, self.basis])
            amounts = inverse @ self.right
            prices = self.cost[self.basis] @ inverse
            gain = self.cost - prices @ self.columns
            gain[self.basis] = 0.0
            better = np.flatnonzero(gain < -NOISE * self.penalty)
            if not len(better):
                return self._worth(amounts, prices)
            enters = int(better[0] if stuck else np.argmin(gain))
            leaves, step = self._leaving(inverse @ self.columns[:, enters], amounts, stuck)
            # without gain, by the order of the columns: such steps never come round to their start
            stuck = step <= NEGLIGIBLE
            self.basis[leaves] = enters

    def _leaving(self, way: Array, amounts: Array, stuck: bool) -> tuple[int, float]:
        """Place in the basis of the column that runs out first, and after how much."""
        rows = np.flatnonzero(way > NEGLIGIBLE)
        far = np.maximum(amounts[rows], 0.0) / way[rows]
        step = float(far.min())
        ties = rows[far <= step + NOISE]
        best = np.argmin(self.basis[ties]) if stuck else np.argmax(way[ties])
        return int(ties[best]), step

    def _worth(self, amounts: Array, prices: Array) -> Worth:
        short = amounts[self.basis < self.kinds].sum()
        return Worth(
            cost=float(self.cost[self.basis] @ amounts),
            kinds=tuple(np.maximum(prices[: self.kinds], 0.0).tolist()),
            scarce=tuple(np.maximum(-prices[self.kinds :], 0.0).tolist()),
            short=float(short),
        )

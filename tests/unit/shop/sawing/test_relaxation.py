"""The linear relaxation against a solver from elsewhere, and by what its prices say."""

from __future__ import annotations

import gc
import tracemalloc

import numpy as np
import pytest
from scipy.optimize import linprog

from cagekit.shop.sawing.patterns import Kinds, best_pattern
from cagekit.shop.sawing.relaxation import Relaxation

PENALTY = 1e7


def problem(seed: int) -> tuple[list[int], list[int], list[tuple[float, list[int], int | None]]]:
    """Wanted pieces, limits of bars, and columns of whole numbers, many of them alike."""
    rng = np.random.default_rng(seed)
    kinds, limited = int(rng.integers(1, 15)), int(rng.integers(0, 4))
    wanted = rng.integers(1, 9, kinds).tolist()
    limits = rng.integers(0, 6, limited).tolist()
    columns: list[tuple[float, list[int], int | None]] = []
    for _ in range(int(rng.integers(kinds, 6 * kinds))):
        pieces = np.where(rng.random(kinds) < 0.3, rng.integers(0, 4, kinds), 0).tolist()
        bar = int(rng.integers(0, limited)) if limited and rng.random() < 0.4 else None
        columns.append((float(rng.choice([0.0, 3000.0, 6000.0, 7600.0])), pieces, bar))
    return wanted, limits, columns


@pytest.mark.parametrize("seed", range(60))
def test_cost_and_prices(seed: int) -> None:
    """Cost as the other solver has it. Prices prove it by themselves: no column is worth more than
    it costs, and all pieces at their prices, less the scarce bars, cost as much.
    """
    wanted, limits, columns = problem(seed)
    relaxed = Relaxation(wanted, limits, PENALTY)
    half = len(columns) // 2
    for some in (columns[:half], columns[half:]):
        relaxed.add(some)
        mix = relaxed.solve()
    table = np.array([pieces for _, pieces, _ in columns], float).T
    taken = np.array([[float(bar == k) for _, _, bar in columns] for k in range(len(limits))])
    n = len(wanted)
    above = np.vstack([np.hstack([-table, -np.eye(n)]), np.zeros((0, len(columns) + n))])
    if limits:
        above = np.vstack([above, np.hstack([taken, np.zeros((len(limits), n))])])
    other = linprog(
        [*(cost for cost, _, _ in columns), *[PENALTY] * n],
        A_ub=above,
        b_ub=[*(-w for w in wanted), *limits],
        method="highs",
    )
    assert mix.cost == pytest.approx(other.fun, rel=1e-9, abs=1e-5)
    assert mix.short == pytest.approx(other.x[len(columns) :].sum(), abs=1e-6)
    worth, scarce = np.array(mix.kinds), np.array(mix.scarce)
    assert (worth >= 0).all()
    assert (scarce >= 0).all()
    price = np.array([cost for cost, _, _ in columns])
    if limits:
        price = price + scarce @ taken
    assert (worth @ table <= price + 1e-5).all()
    assert worth @ wanted - scarce @ limits == pytest.approx(mix.cost, rel=1e-9, abs=1e-5)


def test_ties_come_to_an_end() -> None:
    """Beale's example, in which the steepest column first goes round for ever."""
    rows = np.array([[0.25, -60.0, -0.04, 9.0], [0.5, -90.0, -0.02, 3.0], [0.0, 0.0, 1.0, 0.0]])
    relaxed = Relaxation([], [0, 0, 1], 1e3)
    relaxed.columns = np.hstack([relaxed.columns, rows])
    relaxed.cost = np.append(relaxed.cost, [-0.75, 150.0, -0.02, 6.0])
    assert relaxed.solve().cost == pytest.approx(-0.05)


def test_what_no_column_covers_is_told() -> None:
    relaxed = Relaxation([2, 3], [1], PENALTY)
    relaxed.add([(6000.0, [1, 0], None), (0.0, [0, 1], 0)])
    mix = relaxed.solve()
    assert mix.short == pytest.approx(2.0)
    assert mix.cost == pytest.approx(2 * 6000.0 + 2 * PENALTY)


def test_a_search_for_patterns_leaves_its_table_to_nobody() -> None:
    """Tables of a hundred rounds are hundreds of MB, if they wait for the collector."""
    kinds = Kinds((1_234_567, 987_654, 456_789), (4, 4, 4))
    gc.collect()
    gc.disable()
    tracemalloc.start()
    try:
        for _ in range(20):
            best_pattern(kinds, 6_000_000, (3.0, 2.0, 1.0))
        left, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
        gc.enable()
    assert most > 20 * left

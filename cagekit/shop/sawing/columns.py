"""Least-cost choice of bars: column generation for the bound, integer programmes for the plan.

Where first fit buys no more than the lengths of the pieces alone need, that is the plan. Else the
linear relaxation over all patterns gives prices for pieces and a lower bound. A plan that costs no
more than a target can only use patterns whose reduced cost is within target minus bound, so all of
those are listed and an integer programme over them either finds such a plan or proves that there
is none. The target starts at the least cost any set of bars can add up to above the
bound and is raised until a plan is found. Where bars are few the pieces are first put into a set of
bars of that cost directly, which is quicker when there is room to spare.

Source: Gilmore and Gomory, "A linear programming approach to the cutting-stock problem",
Operations Research 9 (1961), for the column generation (method from memory).
"""

from __future__ import annotations

import gc
from collections.abc import Iterator, Sequence
from math import inf, isfinite
from time import monotonic

import numpy as np
from msgspec import Struct

from cagekit.shop.sawing.patterns import Kinds, Pattern, best_pattern, patterns_worth
from cagekit.shop.sawing.stock import Bar
from cagekit.units.tolerance import NEGLIGIBLE, NOISE

TIGHT = 1e-7
"""Relative tolerance on costs and prices."""
MOST_PATTERNS = 40_000
"""Patterns listed at most for one target; beyond that the plan keeps its gap."""
MOST_PLACES = 600
"""Kinds times bars up to which pieces are also assigned to bars directly."""
MOST_NODES = 2_000
"""Nodes that a direct assignment may take; a count, so that every machine makes the same plan."""

Column = tuple[int, Pattern]
"""Index of the bar and what is cut from it."""


class Prices(Struct, frozen=True, kw_only=True):
    """The linear relaxation: its ``bound``, worth of every kind, extra price of scarce bars."""

    bound: float
    kinds: tuple[float, ...]
    bars: tuple[float, ...]


class Choice(Struct, frozen=True, kw_only=True):
    """Bars and what is cut from them, one entry per bar.

    ``cost`` is what they cost, ``bound`` a proven lower bound; ``proved`` when they meet.
    """

    columns: tuple[Column, ...]
    cost: float
    bound: float
    proved: bool


def choose(kinds: Kinds, bars: Sequence[Bar], kerf: float, time_limit: float) -> Choice | None:
    """Return the least-cost choice of bars, or None where the bars are too few for the pieces.

    Args:
        kinds: the pieces, sizes in nm with one kerf each.
        bars: what they can be cut from.
        kerf: width of a cut, mm.
        time_limit: seconds after which the plan found so far is returned with its gap.
    """
    stop = monotonic() + time_limit
    rooms = [b.room(kerf) for b in bars]
    best = _first_fit(kinds, bars, rooms)
    if best is not None:
        cost = _cost(bars, best)
        # most cages are proved by this alone, and no solver is loaded
        if _next_cost(bars, _by_length(kinds, bars, rooms)) >= cost - TIGHT:
            return Choice(columns=best, cost=cost, bound=cost, proved=True)
    columns = _first_columns(kinds, bars, rooms)
    prices = _generate(kinds, bars, rooms, columns, stop)
    if prices is None:
        return None
    bound = _next_cost(bars, prices.bound)
    rough = False
    while best is None or bound < _cost(bars, best) - TIGHT:
        # what is settled by a count of nodes comes first: no clock, the same plan on any machine
        found, settled = _assigned(kinds, bars, rooms, bound)
        if not settled and not rough:
            rough, share = True, monotonic() + 0.3 * max(stop - monotonic(), 0.0)
            best = _cheaper(bars, best, _integer(kinds, bars, columns, inf, share)[0])
            if best is not None and bound >= _cost(bars, best) - TIGHT:
                break
        if not settled:
            found, settled = _within(kinds, bars, rooms, prices, columns, bound, stop)
        best = _cheaper(bars, best, found)
        if not settled or found is not None:
            break
        bound = _next_cost(bars, bound, above=True)
        if not isfinite(bound):
            return None
    if best is None:
        return None
    cost = _cost(bars, best)
    bound = min(bound, cost)
    return Choice(columns=best, cost=cost, bound=bound, proved=bound >= cost - TIGHT)


def _by_length(kinds: Kinds, bars: Sequence[Bar], rooms: Sequence[int]) -> float:
    """What the pieces cost at least, laid end to end across bars, the cheapest length first."""
    left = sum(s * n for s, n in zip(kinds.sizes, kinds.wanted, strict=True))
    cost = 0.0
    for price, j in sorted((b.cost / rooms[j], j) for j, b in enumerate(bars) if rooms[j] > 0):
        count = bars[j].count
        taken = left if count is None else min(left, count * rooms[j])
        cost, left = cost + taken * price, left - taken
    return cost


def _cheaper(
    bars: Sequence[Bar], a: tuple[Column, ...] | None, b: tuple[Column, ...] | None
) -> tuple[Column, ...] | None:
    """Return the cheaper of two plans; the first when they cost the same."""
    if a is None or b is None:
        return b if a is None else a
    return b if _cost(bars, b) < _cost(bars, a) - TIGHT else a


def _first_fit(
    kinds: Kinds, bars: Sequence[Bar], rooms: Sequence[int]
) -> tuple[Column, ...] | None:
    """Fill bars one after the other, longest pieces first; the cheapest such plan, if any.

    The shop's own off-cuts are filled first, then one kind of stick, the next kind when it runs
    out or is too short; every order of the sticks that starts with another kind is tried.
    """
    own = [j for j, b in enumerate(bars) if b.owned]
    sticks = [j for j, b in enumerate(bars) if not b.owned]
    best: tuple[Column, ...] | None = None
    for k in range(max(len(sticks), 1)):
        left, plan = list(kinds.wanted), []
        for j in own + sticks[k:] + sticks[:k]:
            for _ in range(sum(left) if bars[j].count is None else bars[j].count or 0):
                fill, space = [0] * kinds.count, rooms[j]
                for i in sorted(range(kinds.count), key=lambda i: -kinds.sizes[i]):
                    fill[i] = max(min(left[i], space // kinds.sizes[i]), 0)
                    space -= fill[i] * kinds.sizes[i]
                if not any(fill):
                    break
                left = [n - f for n, f in zip(left, fill, strict=True)]
                plan.append((j, tuple(fill)))
        if not any(left):
            best = _cheaper(bars, best, tuple(plan))
    return best


def _cost(bars: Sequence[Bar], columns: Sequence[Column]) -> float:
    return float(sum(bars[j].cost for j, _ in columns))


def _first_columns(kinds: Kinds, bars: Sequence[Bar], rooms: Sequence[int]) -> list[Column]:
    """Columns of a first-fit-decreasing plan per bar, and every kind alone in every bar."""
    columns: dict[Column, None] = {}
    for j, room in enumerate(rooms):
        for i, size in enumerate(kinds.sizes):
            n = min(room // size, kinds.wanted[i])
            if n > 0:
                alone = tuple(n if k == i else 0 for k in range(kinds.count))
                columns[j, alone] = None
        left = list(kinds.wanted)
        while True:
            fill, space = [0] * kinds.count, room
            for i in sorted(range(kinds.count), key=lambda i: -kinds.sizes[i]):
                n = min(left[i], space // kinds.sizes[i])
                fill[i], space = n, space - n * kinds.sizes[i]
                left[i] -= n
            if not any(fill):
                break
            columns[j, tuple(fill)] = None
    return list(columns)


def _generate(
    kinds: Kinds, bars: Sequence[Bar], rooms: Sequence[int], columns: list[Column], stop: float
) -> Prices | None:
    """Add columns until none is worth more than its bar; None where nothing is feasible."""
    seen = set(columns)
    while True:
        solved = _relaxed(kinds, bars, columns)
        if solved is None:
            return None
        cost, worth, scarce, short = solved
        fresh: list[Column] = []
        ratio = 1.0
        for j, bar in enumerate(bars):
            price = bar.cost + scarce[j]
            fill = best_pattern(kinds, rooms[j], worth, price + TIGHT * max(bar.cost, 1.0))
            if fill.bound > price:
                ratio = min(ratio, price / fill.bound)
            if any(fill.pattern) and (j, fill.pattern) not in seen:
                fresh.append((j, fill.pattern))
        # prices scaled down until no pattern is worth more than its bar bound the optimum
        if not fresh or monotonic() > stop:
            if short > NEGLIGIBLE:
                return None
            worth = [w * ratio for w in worth]
            bound = sum(w * d for w, d in zip(worth, kinds.wanted, strict=True))
            bound -= sum(
                s * (b.count or 0) for s, b in zip(scarce, bars, strict=True) if b.count is not None
            )
            return Prices(bound=min(bound, cost), kinds=tuple(worth), bars=tuple(scarce))
        columns += fresh
        seen.update(fresh)


def _relaxed(
    kinds: Kinds, bars: Sequence[Bar], columns: Sequence[Column]
) -> tuple[float, list[float], list[float], float] | None:
    """Solve the linear relaxation over the columns.

    Returns cost, worth of kinds, extra price of bars, and how many pieces no column covers; None
    where it has no solution.
    """
    from scipy.optimize import linprog
    from scipy.sparse import csr_array, vstack

    limited = [j for j, b in enumerate(bars) if b.count is not None]
    cover = csr_array(np.array([p for _, p in columns], dtype=float).T)
    cost = np.array([bars[j].cost for j, _ in columns])
    # what cannot be covered is bought at a price no real bar reaches, so that there are prices
    # even while the columns are too few
    penalty = 1e3 * max(float(b.cost) for b in bars) + 1e3
    missing = csr_array(np.eye(kinds.count))
    a = csr_array(np.hstack([-cover.toarray(), -missing.toarray()]))
    b = [-float(d) for d in kinds.wanted]
    if limited:
        rows = np.zeros((len(limited), len(columns) + kinds.count))
        for r, j in enumerate(limited):
            rows[r, [k for k, (bar, _) in enumerate(columns) if bar == j]] = 1.0
        a = vstack([a, csr_array(rows)], format="csr")
        b += [float(bars[j].count or 0) for j in limited]
    c = np.concatenate([cost, np.full(kinds.count, penalty)])
    result = linprog(c, A_ub=a, b_ub=b, method="highs")
    _clear_solver()
    if result.status != 0:
        return None
    marginals = -np.asarray(result.ineqlin.marginals)
    worth = [max(float(v), 0.0) for v in marginals[: kinds.count]]
    scarce = [0.0] * len(bars)
    for r, j in enumerate(limited):
        scarce[j] = max(float(marginals[kinds.count + r]), 0.0)
    return float(result.fun), worth, scarce, float(result.x[len(columns) :].sum())


def _clear_solver() -> None:
    """Let go of the last solver: it keeps itself alive in a cycle, with megabytes of its own."""
    gc.collect(0)


def _assigned(
    kinds: Kinds, bars: Sequence[Bar], rooms: Sequence[int], target: float
) -> tuple[tuple[Column, ...] | None, bool]:
    """Look for a plan that costs ``target`` exactly by putting the pieces into given bars.

    Quick where there are few bars and some room to spare; also tells whether it is settled.
    """
    own = [j for j, b in enumerate(bars) if b.cost <= 0 for _ in range(b.count or 0)]
    if any(b.cost <= 0 and b.count is None for b in bars):
        return None, False
    settled = True
    for sticks in _sets_of_cost(bars, target):
        slots = own + list(sticks)
        if len(slots) * kinds.count > MOST_PLACES:
            return None, False
        found, sure = _placed(kinds, slots, [rooms[j] for j in slots])
        if found is not None:
            return found, True
        settled = settled and sure
    return None, settled


def _placed(
    kinds: Kinds, slots: Sequence[int], rooms: Sequence[int]
) -> tuple[tuple[Column, ...] | None, bool]:
    """Put all pieces into the bars ``slots``; also tell whether the answer is settled."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    n, m = kinds.count, len(slots)
    unit = float(max(rooms, default=1))
    wanted = np.array(kinds.wanted, dtype=float)
    size = np.array(kinds.sizes, dtype=float) / unit
    result = milp(
        np.zeros(n * m),
        constraints=[
            LinearConstraint(np.kron(np.eye(n), np.ones((1, m))), wanted, wanted),
            LinearConstraint(np.kron(size[None, :], np.eye(m)), ub=np.array(rooms) / unit),
        ],
        integrality=np.ones(n * m),
        bounds=Bounds(0, np.repeat(wanted, m)),
        options={"node_limit": MOST_NODES},
    )
    _clear_solver()
    if result.x is None:
        return None, result.status == 2
    counts = np.rint(result.x).astype(int).reshape(n, m).T.tolist()
    used = tuple((j, tuple(row)) for j, row in zip(slots, counts, strict=True) if any(row))
    # the solver's tolerance is no saw's: what does not fit to the nanometre is no plan
    full = all(
        sum(k * s for k, s in zip(row, kinds.sizes, strict=True)) <= room
        for row, room in zip(counts, rooms, strict=True)
    )
    return (used, True) if full else (None, False)


def _sets_of_cost(bars: Sequence[Bar], target: float) -> Iterator[tuple[int, ...]]:
    """Every set of bars to buy that costs ``target``, as bar indices."""
    buy = [j for j, b in enumerate(bars) if b.cost > 0]
    slack = TIGHT * max(target, 1.0)

    def search(at: int, left: float, chosen: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
        if abs(left) <= slack:
            yield chosen
            return
        if at == len(buy):
            return
        bar = bars[buy[at]]
        most = int((left + slack) // bar.cost)
        most = most if bar.count is None else min(most, bar.count)
        for n in range(most, -1, -1):
            yield from search(at + 1, left - n * bar.cost, chosen + (buy[at],) * n)

    yield from search(0, target, ())


def _within(
    kinds: Kinds,
    bars: Sequence[Bar],
    rooms: Sequence[int],
    prices: Prices,
    spanning: list[Column],
    target: float,
    stop: float,
) -> tuple[tuple[Column, ...] | None, bool]:
    """Look for a plan of cost ``target`` at most; also tell whether the answer is settled.

    Where the patterns are too many to list, the best plan over those listed and the ``spanning``
    columns is returned, whatever it costs, and nothing is settled.
    """
    spare = target - prices.bound + TIGHT * max(target, 1.0)
    pause = monotonic() + 0.4 * max(stop - monotonic(), 0.0)
    columns: list[Column] = []
    for j, bar in enumerate(bars):
        least = bar.cost + prices.bars[j] - spare
        for pattern in patterns_worth(kinds, rooms[j], prices.kinds, least):
            columns.append((j, pattern))
            if len(columns) > MOST_PATTERNS or (len(columns) % 64 == 0 and monotonic() > pause):
                some = list(dict.fromkeys(spanning + columns))
                return _integer(kinds, bars, some, inf, stop)[0], False
    return _integer(kinds, bars, columns, target, stop)


def _integer(
    kinds: Kinds, bars: Sequence[Bar], columns: Sequence[Column], target: float, stop: float
) -> tuple[tuple[Column, ...] | None, bool]:
    """Choose whole columns that cover all pieces at least cost, ``target`` at most.

    Returns the columns, repeated as often as they are used, and whether the answer is settled
    (an optimum, or proof that there is none).
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    left = stop - monotonic()
    if not columns or left <= 0:
        return None, not columns
    cover = csr_array(np.array([p for _, p in columns], dtype=float).T)
    cost = np.array([bars[j].cost for j, _ in columns])
    rules = [LinearConstraint(cover, lb=np.array(kinds.wanted, dtype=float))]
    for j, bar in enumerate(bars):
        if bar.count is not None:
            row = np.array([[float(k == j) for k, _ in columns]])
            rules.append(LinearConstraint(csr_array(row), ub=float(bar.count)))
    if isfinite(target):
        rules.append(LinearConstraint(csr_array(cost[None, :]), ub=target * (1 + TIGHT / 10)))
    result = milp(
        cost,
        constraints=rules,
        integrality=np.ones(len(columns)),
        bounds=Bounds(0, np.inf),
        options={"time_limit": left, "mip_rel_gap": 0.0},
    )
    _clear_solver()
    if result.x is None:
        return None, result.status == 2
    times = np.rint(result.x).astype(int)
    used = tuple(c for c, n in zip(columns, times.tolist(), strict=True) for _ in range(n))
    return used, result.status == 0


def _next_cost(bars: Sequence[Bar], least: float, *, above: bool = False) -> float:
    """Least cost from ``least`` on that any number of bars can add up to; inf if none can.

    ``above`` leaves out ``least`` itself.
    """
    slack = TIGHT * max(abs(least), 1.0)
    floor = least + slack if above else least - slack
    if floor <= 0:
        return 0.0
    # bars of one cost count together; the dearest first keeps the search short
    supply: dict[float, float] = {}
    for b in bars:
        if b.cost > 0:
            supply[b.cost] = supply.get(b.cost, 0.0) + (inf if b.count is None else b.count)
    costs = sorted(supply, reverse=True)
    best = inf

    def search(at: int, total: float) -> None:
        nonlocal best
        if total >= floor:
            best = min(best, total)
            return
        if at == len(costs) or best <= floor + NOISE:
            return
        most = int(min(supply[costs[at]], (floor - total) // costs[at] + 1))
        for n in range(most, -1, -1):
            search(at + 1, total + n * costs[at])

    search(0, 0.0)
    return best

"""Cutting plans against an assignment programme written here, and by hand."""

from __future__ import annotations

from collections import Counter
from unittest import mock

import numpy as np
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from cagekit.errors import InputError
from cagekit.geometry.centre_line import CentreLine
from cagekit.inputs.tooling import Offcut, Saw, Stock, Tooling
from cagekit.materials.tubes import Tube
from cagekit.shop.bending.bends import schedule
from cagekit.shop.sawing import columns
from cagekit.shop.sawing.columns import _next_cost
from cagekit.shop.sawing.patterns import Kinds, best_pattern, patterns_worth
from cagekit.shop.sawing.plan import cut_plans, plan_cuts
from cagekit.shop.sawing.stock import Bar, Blank, bars_of, sawn


def pieces(*lengths):
    return [Blank(name=f"p{i:02d}", length=x) for i, x in enumerate(lengths)]


def assignment_optimum(lengths, bars, kerf):
    """Least cost by assigning every piece to a numbered bar: no patterns, no columns."""
    slots = [
        (b, b.room(kerf) / 1e6)
        for b in bars
        for _ in range(len(lengths) if b.count is None else b.count)
    ]
    n, m = len(lengths), len(slots)
    cost = np.concatenate([np.zeros(n * m), [b.cost for b, _ in slots]])
    each = np.zeros((n, n * m + m))
    fill = np.zeros((m, n * m + m))
    for i, w in enumerate(lengths):
        for k in range(m):
            each[i, i * m + k] = 1
            fill[k, i * m + k] = w + kerf
    for k, (_, room) in enumerate(slots):
        fill[k, n * m + k] = -room
    # equal slots are used in order, which only removes copies of the same plan
    order = []
    for k in range(1, m):
        if slots[k][0] is slots[k - 1][0]:
            row = np.zeros(n * m + m)
            row[n * m + k], row[n * m + k - 1] = 1, -1
            order.append(row)
    rules = [LinearConstraint(each, 1, 1), LinearConstraint(fill, ub=1e-7)]
    if order:
        rules.append(LinearConstraint(np.array(order), ub=0))
    found = milp(
        cost, constraints=rules, integrality=np.ones(len(cost)), bounds=Bounds(0, 1),
        options={"mip_rel_gap": 0.0},
    )  # fmt: skip
    return None if found.x is None else float(found.fun)


length = st.integers(3, 40).map(lambda n: 100.0 * n)


@given(
    st.lists(length, min_size=1, max_size=7),
    st.sampled_from([0.0, 3.0]),
    st.lists(st.sampled_from([3000.0, 4500.0, 6000.0]), min_size=1, max_size=2, unique=True),
    st.sampled_from([None, (1300.0, 1), (2100.0, 2)]),
    st.sampled_from([0.0, 10.0]),
)
@settings(max_examples=60)
def test_least_cost_agrees_with_an_assignment_programme(lengths, kerf, sticks, own, trim):
    bars = [Bar(name=f"{s}", length=s, cost=s, trim=trim) for s in sticks]
    if own:
        bars.insert(0, Bar(name="own", length=own[0], cost=0.0, count=own[1], owned=True))
    expected = assignment_optimum(lengths, bars, kerf)
    if expected is None:
        with pytest.raises(InputError):
            plan_cuts(pieces(*lengths), bars, kerf=kerf)
        return
    plan = plan_cuts(pieces(*lengths), bars, kerf=kerf)
    assert plan.proved
    assert plan.cost == pytest.approx(expected)
    assert plan.cost == pytest.approx(sum(b.bar.cost for b in plan.bars))


@given(
    st.lists(length, min_size=1, max_size=12),
    st.sampled_from([None, (1300.0, 1), (4100.0, 3)]),
    st.sampled_from([(6000.0,), (4500.0, 6000.0)]),
)
@settings(max_examples=40)
def test_what_lengths_alone_prove_the_solver_proves_too(lengths, own, sticks):
    bars = [Bar(name=f"{s}", length=s, cost=s, trim=5.0) for s in sticks]
    if own:
        bars.append(Bar(name="own", length=own[0], cost=0.0, count=own[1], owned=True))
    kinds = Kinds(*zip(*sorted(Counter(round(x * 1e6) for x in lengths).items()), strict=True))
    with mock.patch.object(columns, "_relaxed", side_effect=AssertionError):
        try:
            quick = columns.choose(kinds, bars, 2.0, 20.0)
        except AssertionError:
            event("the solver is asked")
            return
    with mock.patch.object(columns, "_by_length", return_value=0.0):
        assert columns.choose(kinds, bars, 2.0, 20.0) == quick


@given(st.lists(length, min_size=1, max_size=14), st.sampled_from([0.0, 2.5]))
@settings(max_examples=40)
def test_every_piece_is_cut_once_and_every_bar_adds_up(lengths, kerf):
    bars = [
        Bar(name="own", length=2500.0, cost=0.0, count=1, owned=True),
        Bar(name="stick", length=6000.0, cost=6000.0, trim=8.0),
    ]
    plan = plan_cuts(pieces(*lengths), bars, kerf=kerf)
    assert sorted(p.name for b in plan.bars for p in b.pieces) == sorted(
        p.name for p in pieces(*lengths)
    )
    for b in plan.bars:
        ends = [s + p.length for s, p in zip(b.starts, b.pieces, strict=True)]
        assert b.starts[0] == (8.0 + kerf if b.bar.trim else 0.0)
        for stop, start in zip(ends[:-1], b.starts[1:], strict=True):
            assert start - stop == pytest.approx(kerf)
        # what lies behind the last cut; a cut that runs off the bar leaves nothing
        rest = max(b.bar.length - ends[-1] - kerf, 0.0)
        assert b.remnant == pytest.approx(rest, abs=1e-5)
        assert b.remnant >= b.bar.trim - 1e-6
        assert b.used + b.lost + (b.remnant if b.kept else 0) == pytest.approx(b.bar.length)


def test_a_bar_that_fills_to_the_last_bit():
    # 3 x 1998 + 2 x 3 = 6000
    plan = plan_cuts(pieces(1998, 1998, 1998), [Bar(name="s", length=6000, cost=1)], kerf=3)
    assert len(plan.bars) == 1
    assert plan.bars[0].remnant == 0
    over = plan_cuts(pieces(1998, 1998, 1998.1), [Bar(name="s", length=6000, cost=1)], kerf=3)
    assert len(over.bars) == 2


def test_own_offcuts_save_a_stick():
    bars = bars_of(
        [Stock(length=6000)],
        [Offcut(od=40, wall=2, length=2000, label="rack 3")],
        Saw(kerf=2, end_trim=0),
    )
    plan = plan_cuts(pieces(3990, 1990, 2000), bars, kerf=2)
    assert len(plan.bought) == 1
    assert plan.bars[0].bar.name == "rack 3"
    assert [p.length for p in plan.bars[0].pieces] == [2000]


def test_offcuts_that_are_not_needed_stay_in_the_rack():
    bars = bars_of(
        [Stock(length=6000)], [Offcut(od=40, wall=2, length=500, count=2)], Saw(kerf=2, end_trim=0)
    )
    plan = plan_cuts(pieces(3000, 2990), bars, kerf=2)
    assert [b.length for b in plan.unused] == [500, 500]
    assert plan.remnants == (500, 500)


def test_two_stick_lengths_take_the_cheaper_mix():
    bars = [Bar(name="6", length=6000, cost=6000), Bar(name="4", length=4000, cost=4000)]
    plan = plan_cuts(pieces(3900, 2900, 2900), bars, kerf=2)
    assert plan.cost == 10000
    assert plan.proved


def test_price_can_outweigh_length():
    bars = bars_of(
        [Stock(length=6000, price=90), Stock(length=3000, price=20)], [], Saw(kerf=2, end_trim=0)
    )
    plan = plan_cuts(pieces(2900, 2900), bars, kerf=2)
    assert [b.bar.length for b in plan.bars] == [3000, 3000]
    assert plan.cost == 40


def test_remnants_are_gathered_in_one_long_offcut():
    bars = [Bar(name="s", length=6000, cost=1)]
    plan = plan_cuts(pieces(2500, 2500, 2500, 400, 400), bars, kerf=0, keep=500)
    assert len(plan.bars) == 2
    assert max(plan.remnants) == pytest.approx(3500)


def test_a_piece_longer_than_the_stock_names_itself():
    with pytest.raises(InputError, match="main_hoop") as error:
        plan_cuts(
            [Blank(name="main_hoop", length=6100)],
            [Bar(name="s", length=6000, cost=1, trim=5)],
            kerf=2,
            where="cut list",
        )
    assert "5986.0 mm" in str(error.value)
    assert "sleeve" in error.value.hint


def test_too_few_bars_are_told():
    with pytest.raises(InputError, match="too few"):
        plan_cuts(pieces(2000, 2000), [Bar(name="s", length=3000, cost=1, count=1)], kerf=2)


def test_same_input_same_plan():
    rng = np.random.default_rng(4)
    lengths = rng.integers(300, 3000, 24).astype(float)
    bars = [Bar(name="a", length=6000, cost=6000), Bar(name="b", length=7300, cost=7300)]
    first = plan_cuts(pieces(*lengths), bars, kerf=2)
    assert plan_cuts(pieces(*lengths), bars, kerf=2) == first
    # a busy machine gets less done in its seconds, and must saw the same
    assert plan_cuts(pieces(*lengths), bars, kerf=2, time_limit=4.0) == first


def test_blanks_are_rounded_up_to_the_saw():
    assert sawn(1000.01) == 1000.1
    assert sawn(1000.1) == 1000.1
    assert sawn(1000.1 + 1e-12) == 1000.1


def test_plans_go_by_tube():
    tooling = Tooling.model_validate(
        {
            "name": "shop",
            "die": [{"name": "d", "od": 40, "clr": 120, "clamp": 80, "tail": 90, "max_angle": 180}],
            "saw": {"kerf": 2, "end_trim": 0},
            "stock": [{"length": 6000}, {"length": 4000, "od": 30, "wall": 2}],
        }
    )
    big, small = (Tube(od=o, wall=2.0, material="steel") for o in (40.0, 30.0))
    sheets = [
        schedule(f"m{i}", t, CentreLine.straight((0, 0, 0), (x, 0, 0)), tooling)
        for i, (t, x) in enumerate([(big, 2000.03), (small, 1000), (big, 3500)])
    ]
    thick, thin = cut_plans(sheets, tooling)
    assert thick.tube == big
    assert [p.length for p in thick.bars[0].pieces] == [3500.0, 2000.1]
    assert thin.bars[0].bar.length == 4000


@given(
    st.lists(st.integers(5, 60), min_size=1, max_size=6, unique=True),
    st.integers(20, 150),
    st.integers(0, 2**32 - 1),
)
@settings(max_examples=60)
def test_patterns_against_all_of_them(sizes, room, seed):
    rng = np.random.default_rng(seed)
    kinds = Kinds(tuple(sizes), tuple(int(n) for n in rng.integers(1, 4, len(sizes))))
    values = [float(v) for v in rng.uniform(0, 1, len(sizes))]
    everything = [
        c
        for c in np.ndindex(*(n + 1 for n in kinds.wanted))
        if sum(n * s for n, s in zip(c, sizes, strict=True)) <= room
    ]
    worth = {c: sum(n * v for n, v in zip(c, values, strict=True)) for c in everything}
    best = best_pattern(kinds, room, values)
    assert best.value == pytest.approx(max(worth.values()), abs=1e-8)
    assert best.bound >= max(worth.values()) - 1e-8
    assert worth[best.pattern] == pytest.approx(best.value, abs=1e-8)
    least = 0.6 * max(worth.values())
    full = {
        c
        for c in everything
        if worth[c] >= least
        and not any(
            tuple(n + (k == i) for k, n in enumerate(c)) in worth for i in range(len(sizes))
        )
    }
    assert set(patterns_worth(kinds, room, values, least)) == full


def test_next_cost():
    bars = [Bar(name="a", length=1, cost=6.0), Bar(name="b", length=1, cost=10.0, count=1)]
    assert _next_cost(bars, 0.0) == 0
    assert _next_cost(bars, 11.0) == 12
    assert _next_cost(bars, 12.0) == 12
    assert _next_cost(bars, 12.0, above=True) == 16
    # the second kind can be had once only
    assert _next_cost(bars, 19.0) == 22


@given(st.lists(length, min_size=1, max_size=10), st.floats(50, 5000))
@settings(max_examples=40)
def test_the_spare_is_left_in_one_piece_and_is_no_cut(lengths, spare):
    bars = [Bar(name="s", length=6000.0, cost=6000.0, trim=5.0)]
    plan = plan_cuts(pieces(*lengths), bars, kerf=2, keep=10, spare=spare)
    assert max(plan.remnants) >= spare - 1e-6
    assert sorted(p.name for b in plan.bars for p in b.pieces) == [p.name for p in pieces(*lengths)]
    assert sum(b.bar.cost for b in plan.bars) == plan.cost
    # no cheaper plan leaves as much: the spare as a piece of its own
    assert plan.cost == pytest.approx(plan_cuts(pieces(*lengths, spare), bars, kerf=2).cost)


def test_spare_longer_than_a_stick_is_left_on_several():
    bars = [Bar(name="s", length=3000.0, cost=1.0)]
    plan = plan_cuts(pieces(2900), bars, kerf=2, spare=5000)
    assert plan.remnants == (3000.0, 3000.0)


def test_no_bar_is_filled_to_the_last_millimetre_while_another_has_room():
    bars = [Bar(name="s", length=6000.0, cost=6000.0)]
    pieces = [
        Blank(name=n, length=v)
        for n, v in (("a", 3000.0), ("b", 2993.0), ("c", 2500.0), ("d", 1000.0))
    ]
    tight = plan_cuts(pieces, bars, kerf=2.0)
    loose = plan_cuts(pieces, bars, kerf=2.0, slack=10.0)
    assert min(b.remnant for b in tight.bars) < 10.0
    assert min(b.remnant for b in loose.bars) >= 10.0
    assert loose.cost == tight.cost
    assert sorted(p.name for b in loose.bars for p in b.pieces) == ["a", "b", "c", "d"]


def test_what_is_spare_stays_in_one_piece_when_bars_are_loosened():
    bars = [Bar(name="s", length=6000.0, cost=6000.0)]
    pieces = [Blank(name="a", length=3000.0), Blank(name="b", length=2993.0)]
    pieces += [Blank(name="c", length=1000.0)]
    plan = plan_cuts(pieces, bars, kerf=2.0, slack=10.0, spare=4900.0)
    assert max(b.remnant for b in plan.bars) >= 4900.0

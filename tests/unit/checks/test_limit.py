"""Limits of rules: reading them in the quantity's unit and holding values against them."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cagekit.checks.limit import holds, margin, read_limit, split_operator, written


@pytest.mark.parametrize(
    ("raw", "unit", "units", "value"),
    [
        (100, "mm", "mm", 100.0),
        (4, "mm", "in", 101.6),
        ("3/8 in", "mm", "mm", 9.525),
        ("120 cm2", "mm2", "mm", 12000.0),
        ("144 sq in", "mm2", "mm", 144 * 25.4**2),
        (10, "mm2", "in", 10 * 25.4**2),
        ("1700 lb", "kg", "mm", 1700 * 0.45359237),
        (1200, "kg", "mm", 1200.0),
        ("1200 kg", "kg", "in", 1200.0),
        (30, "deg", "in", 30.0),
        (True, "flag", "mm", True),
        ("halo", "text", "mm", "halo"),
    ],
)
def test_one_value(raw: Any, unit: Any, units: Any, value: Any) -> None:
    assert read_limit(raw, unit, "=", units) == pytest.approx(value)


@pytest.mark.parametrize(
    ("raw", "units", "pairs"),
    [
        ("45 x 2.5", "mm", [(45.0, 2.5)]),
        ("1.75 x 0.118", "in", [(44.45, 2.9972)]),
        ("1 5/8 x 0.083 in", "mm", [(41.275, 2.1082)]),
        (["45 x 2.5", "2.0 x 0.083 in"], "mm", [(45.0, 2.5), (50.8, 2.1082)]),
    ],
)
def test_tube_sizes(raw: Any, units: Any, pairs: list[tuple[float, float]]) -> None:
    got = read_limit(raw, "pair", ">=", units)
    assert isinstance(got, tuple)
    assert list(got) == [pytest.approx(p) for p in pairs]


@pytest.mark.parametrize(
    ("raw", "unit", "op"),
    [
        ("wide", "mm", ">="),
        ([1, 2, 3], "mm", "between"),
        ([4, 1], "mm", "between"),
        ("45", "pair", ">="),
        ("45 x 2.5", "pair", "<="),
        ("12 bananas", "mm2", ">="),
        (1, "text", "="),
        ("halo", "text", ">="),
        ("yes", "flag", "="),
        ("30 deg", "deg", ">="),
        ([1, 2], "count", ">="),
        ([], "text", "in"),
        (True, "count", ">="),
    ],
)
def test_no_limit(raw: Any, unit: Any, op: str) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        read_limit(raw, unit, op, "mm")


@pytest.mark.parametrize("raw", [1200, "1200", 1200.5])
def test_a_bare_mass_in_a_book_in_inches_may_be_either(raw: Any) -> None:
    with pytest.raises(ValueError, match=r"kg or pounds. Write '1200.* kg' or '1200.* lb'"):
        read_limit(raw, "kg", ">=", "in")


def test_an_inch_pair_is_not_the_metric_one() -> None:
    """44.45 x 2.41 mm is thinner than 45 x 2.5 mm: a rulebook has to name it to take it."""
    tube = (44.45, 2.413)
    assert not holds(tube, ">=", ((45.0, 2.5), (50.0, 2.0)), "pair")
    assert holds(tube, ">=", ((45.0, 2.5), (44.45, 2.413)), "pair")


def test_a_pair_is_not_mixed_from_two() -> None:
    """Diameter of one alternative and wall of the other is neither."""
    assert not holds((45.0, 2.0), ">=", ((45.0, 2.5), (50.0, 2.0)), "pair")


@pytest.mark.parametrize(
    ("value", "op", "limit", "unit", "true"),
    [
        (30.0 - 1e-9, ">=", 30.0, "deg", True),
        (29.99, ">=", 30.0, "deg", False),
        (100.0, "<", 100.0, "mm", False),
        (100.0, "<=", 100.0, "mm", True),
        (0, "=", 0.0, "count", True),
        ("halo", "in", ("front_hoop", "halo"), "text", True),
        ("as welded", "!=", "as welded", "text", False),
        (True, "=", True, "flag", True),
        (5.0, "between", (5.0, 7.0), "mm", True),
        (7.1, "between", (5.0, 7.0), "mm", False),
        ((38.105, 2.41), ">=", ((38.1, 2.413),), "pair", True),
    ],
)
def test_holds(value: Any, op: str, limit: Any, unit: Any, true: bool) -> None:
    assert holds(value, op, limit, unit) is true


finite = st.floats(-1e5, 1e5).filter(lambda x: abs(x) > 1e-2 or x == 0)


@given(finite, finite)
def test_an_operator_and_its_opposite(value: float, limit: float) -> None:
    assert holds(value, ">=", limit, "ratio") or holds(value, "<", limit, "ratio")
    assert not (holds(value, ">", limit, "ratio") and holds(value, "<=", limit, "ratio"))


@given(finite, finite)
def test_the_margin_has_the_sign_of_the_verdict(value: float, limit: float) -> None:
    for op in (">=", "<="):
        if margin(value, op, limit, "ratio") > 1e-6:
            assert holds(value, op, limit, "ratio")
        if margin(value, op, limit, "ratio") < -1e-6:
            assert not holds(value, op, limit, "ratio")


def test_words() -> None:
    assert (
        written(["45 x 2.5", "2.0 x 0.083 in"], ">=", "pair", "mm")
        == "45 x 2.5 mm or 2.0 x 0.083 in"
    )
    assert written([0, 4], "between", "mm", "in") == "0 in to 4 in"
    assert written("3/8 in", ">=", "mm", "in") == "3/8 in"
    assert written(12000, ">=", "mm2", "mm") == "120 cm2"
    assert written(9, ">=", "mm2", "in") == "9 sq in"
    assert written("60 cm2", ">=", "mm2", "in") == "60 cm2"
    assert written(True, "=", "flag", "mm") == "yes"
    assert split_operator(">= 2007") == (">=", "2007")
    assert split_operator("closed") == ("=", "closed")

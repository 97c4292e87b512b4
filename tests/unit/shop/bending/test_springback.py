"""Springback from test bends, against an independent least-squares routine."""

from __future__ import annotations

from math import degrees, radians

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from cagekit.inputs.tooling import TestBend
from cagekit.shop.bending.springback import fit


def bends(*pairs, wall=None):
    return tuple(TestBend(set=s, got=g, wall=wall) for s, g in pairs)


def test_no_test_bends_sets_the_finished_angle_and_says_so():
    model = fit(())
    assert model.set_angle(radians(90)) == radians(90)
    assert not model.measured
    assert "needs test bends" in model.warnings[0]


def test_one_pair_is_proportional():
    model = fit(bends((93.0, 90.0)))
    assert degrees(model.set_angle(radians(45))) == pytest.approx(46.5)
    assert model.offset == 0.0
    assert any("one test angle" in w for w in model.warnings)


def test_two_pairs_make_the_line():
    # slack 1.5 degrees, recovery 3 percent
    model = fit(bends((32.4, 30.0), (94.2, 90.0)))
    assert model.slope == pytest.approx(1.03)
    assert degrees(model.offset) == pytest.approx(1.5)
    assert degrees(model.set_angle(radians(60))) == pytest.approx(63.3)
    assert model.warnings == ()


@given(
    st.lists(st.floats(10, 150), min_size=3, max_size=8, unique=True).filter(
        lambda got: max(got) - min(got) > 25
    ),
    st.floats(1.0, 1.1),
    st.floats(0.5, 4),
    st.integers(0, 2**32 - 1),
)
def test_fit_agrees_with_numpy(got, slope, offset, seed):
    noise = np.random.default_rng(seed).uniform(-0.4, 0.4, len(got))
    driven = [slope * g + offset + n for g, n in zip(got, noise, strict=True)]
    model = fit(bends(*zip(driven, got, strict=True)))
    k, c = np.polyfit(got, driven, 1)
    assert model.slope == pytest.approx(k, abs=1e-7)
    assert degrees(model.offset) == pytest.approx(c, abs=1e-5)
    rms = np.sqrt(np.mean((np.polyval((k, c), got) - driven) ** 2))
    assert degrees(model.rms) == pytest.approx(rms, abs=1e-6)


def test_scatter_is_told():
    model = fit(bends((32, 30), (62, 57), (95, 92), (126, 117)))
    assert any("poor fit" in w for w in model.warnings)
    assert not any("poor" in w for w in fit(bends((30, 27.5), (60, 56.4), (90, 85.4))).warnings)


def test_extrapolation_is_told():
    model = fit(bends((32.4, 30.0), (94.2, 90.0)))
    assert not model.beyond_tests(radians(95))
    assert model.beyond_tests(radians(130))
    assert model.beyond_tests(radians(10))


def test_tests_of_another_wall_are_left_out():
    tests = bends((33, 30), (96, 90), wall=2.0) + bends((32.4, 30.0), (94.2, 90.0), wall=3.4)
    model = fit(tests, wall=3.4)
    assert model.pairs == 2
    assert model.slope == pytest.approx(1.03)
    other = fit(tests, wall=1.0)
    assert other.pairs == 4
    assert any("1.00 mm wall" in w for w in other.warnings)


def test_a_bend_that_springs_forward_is_refused():
    with pytest.raises(ValidationError, match="springs back"):
        TestBend(set=90, got=92)


def test_nonsense_pairs_are_told():
    # 0.5 degrees of recovery at 30 and none at 90: negative slope of recovery
    model = fit(bends((33.0, 30.0), (91.0, 90.0)))
    assert any("odd fit" in w for w in model.warnings)

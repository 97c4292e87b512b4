"""What is written can be read back, for any length."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cagekit.units import LengthError, format_length, parse_length

MM = st.floats(-1e6, 1e6, allow_nan=False)
DENOMINATORS = st.sampled_from([2, 4, 8, 16, 32, 64, 128])


@given(mm=MM, decimals=st.integers(0, 6), unit=st.booleans())
def test_millimetres_come_back_within_half_a_digit(mm: float, decimals: int, unit: bool) -> None:
    text = format_length(mm, decimals=decimals, unit=unit)
    assert parse_length(text) == pytest.approx(mm, rel=1e-12, abs=0.5000001 * 10**-decimals)


@given(mm=MM, decimals=st.integers(0, 6), feet=st.booleans())
def test_decimal_inches_come_back(mm: float, decimals: int, feet: bool) -> None:
    text = format_length(mm, "in", decimals=decimals, feet=feet)
    assert parse_length(text) == pytest.approx(mm, rel=1e-12, abs=0.5000001 * 25.4 * 10**-decimals)


@given(mm=MM, denominator=DENOMINATORS, feet=st.booleans())
def test_fractions_come_back(mm: float, denominator: int, feet: bool) -> None:
    text = format_length(mm, "in", denominator=denominator, feet=feet)
    assert parse_length(text) == pytest.approx(mm, rel=1e-12, abs=0.5000001 * 25.4 / denominator)


@given(parts=st.integers(0, 200_000), denominator=DENOMINATORS, feet=st.booleans())
def test_exact_fraction_survives_unchanged(parts: int, denominator: int, feet: bool) -> None:
    mm = float(Fraction(parts, denominator) * Fraction(254, 10))
    text = format_length(mm, "in", denominator=denominator, feet=feet)
    assert parse_length(text) == mm
    if "/" in text:
        over, under = text.rstrip('" in').split()[-1].split("/")
        assert Fraction(int(over), int(under)).denominator == int(under)
        assert int(over) < int(under) <= denominator


@given(mm=MM, denominator=DENOMINATORS)
def test_sign_turns_only_the_sign(mm: float, denominator: int) -> None:
    plus = format_length(abs(mm), "in", denominator=denominator)
    minus = format_length(-abs(mm), "in", denominator=denominator)
    assert minus == (plus if plus == "0 in" else f"-{plus}")


@given(st.text(max_size=90))
def test_any_text_is_a_length_or_a_clear_refusal(text: str) -> None:
    try:
        assert isinstance(parse_length(text), float)
    except LengthError as error:
        assert error.column is None or 1 <= error.column <= len(text) + 1


@given(st.text(alphabet="0123456789/ -.,'\"\u00bdinftcm", max_size=14))
def test_nearly_right_text_is_a_length_or_a_clear_refusal(text: str) -> None:
    try:
        assert isinstance(parse_length(text, default="in"), float)
    except LengthError as error:
        assert error.column is None or 1 <= error.column <= len(text) + 1

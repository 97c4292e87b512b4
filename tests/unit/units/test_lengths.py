"""Lengths as people write them."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from pydantic import BaseModel, ValidationError

from cagekit.errors import CagekitError
from cagekit.inputs.fields import Length
from cagekit.units import LengthError, parse_length

# Millimetres worked out by hand from 1 in = 25.4 mm.
WRITTEN = {
    "1 5/8 in": 41.275,
    '1-5/8"': 41.275,
    "1.625in": 41.275,
    "1\u215d in": 41.275,
    '1 \u215d"': 41.275,
    "1 5\u20448 in": 41.275,
    "13/8 in": 41.275,
    "41.3 mm": 41.3,
    "41.3": 41.3,
    "  41.3\u00a0mm ": 41.3,
    "12' 6\"": 3810.0,
    "12 ft 6 in": 3810.0,
    "12' 6": 3810.0,
    "4' 3-1/2\"": 1308.1,
    "4'-3 1/2\"": 1308.1,
    "4\u2032 3\u00bd\u2033": 1308.1,
    "4\u2019 3.5\u201d": 1308.1,
    "6'": 1828.8,
    "2.5 ft": 762.0,
    '5/8"': 15.875,
    "3''": 76.2,
    ".5 in": 12.7,
    "5. mm": 5.0,
    "1 in.": 25.4,
    "3 Inches": 76.2,
    "2 cm": 20.0,
    "1.5 m": 1500.0,
    "0.134 IN": 3.4036,
    "-1 5/8 in": -41.275,
    "\u22125 mm": -5.0,
    "+3 mm": 3.0,
    "-4' 3 1/2\"": -1308.1,
    "0": 0.0,
}

# The text, the column of the fault, and a word of the message.
REFUSED = {
    "41,3": (3, "decimal point"),
    "1,625 in": (2, "decimal point"),
    "1 5/8": (6, "fraction without a unit"),
    "5/8": (4, "fraction without a unit"),
    "1 9/8 in": (3, "less than one"),
    "1/0 in": (1, "over zero"),
    "3 0/4 in": (3, "a fraction of nothing"),
    "3 parsec": (3, "unknown unit 'parsec'"),
    "1e3": (2, "unknown unit 'e'"),
    "3 mm 2": (6, "not expected"),
    "3 in 2 in": (6, "not expected"),
    "1 - 5/8 in": (3, "not expected"),
    "1 -5/8 in": (3, "not expected"),
    "1.5 1/2 in": (5, "not expected"),
    "3 1/2 1/2 in": (7, "not expected"),
    "1-5 in": (3, "a fraction is expected"),
    "5 / 8 in": (3, "does not belong"),
    "3*2": (2, "does not belong"),
    "1_000": (2, "does not belong"),
    "--3": (2, "a number is expected"),
    "in": (1, "a number is expected"),
    "abc": (1, "a number is expected"),
    "4'-": (4, "a number is expected"),
    "4.5' 3\"": (1, "whole number"),
    "4' 13\"": (4, "fewer than 12"),
    "4' 3 mm": (4, "only inches"),
    "nan": (1, "a number is expected"),
    "\u0663 mm": (1, "does not belong"),
}


@pytest.mark.parametrize(("text", "mm"), WRITTEN.items())
def test_text_becomes_the_nearest_millimetres(text: str, mm: float) -> None:
    assert parse_length(text) == mm


@pytest.mark.parametrize(("text", "fault"), REFUSED.items())
def test_refusal_names_the_column(text: str, fault: tuple[int, str]) -> None:
    with pytest.raises(LengthError) as caught:
        parse_length(text)
    assert caught.value.column == fault[0]
    assert fault[1] in caught.value.problem
    assert f"column {fault[0]}" in str(caught.value)


def test_a_blank_of_the_car_sheet_asks_to_be_measured() -> None:
    for text in ("?", " ? "):
        with pytest.raises(LengthError, match="still a blank; measure it"):
            parse_length(text)


@pytest.mark.parametrize("text", ["", "   ", "9" * 81, "\n"])
def test_nothing_and_endless_texts_are_refused(text: str) -> None:
    with pytest.raises(LengthError):
        parse_length(text)


@pytest.mark.parametrize(
    "value", [True, False, math.nan, math.inf, -math.inf, None, [1], {"a": 1}, 10**400, 1e308 * 1j]
)
def test_what_is_no_number_is_refused(value: object) -> None:
    with pytest.raises(LengthError):
        parse_length(value, "in")  # type: ignore[arg-type]


def test_number_that_overflows_in_mm_is_refused() -> None:
    with pytest.raises(LengthError, match="too large"):
        parse_length(1.7e308, "in")


@pytest.mark.parametrize("value", [3, 3.0, np.float64(3), np.int64(3), Fraction(3)])
def test_numbers_count_in_the_default_unit(value: float) -> None:
    assert parse_length(value) == 3.0
    assert parse_length(value, default="in") == 76.2


def test_number_and_text_are_the_same_length() -> None:
    for thousandths in range(1, 3000):
        number = thousandths / 1000
        assert parse_length(number, "in") == parse_length(f"{number} in")


def test_text_without_unit_counts_in_the_default() -> None:
    assert parse_length("1 5/8", default="in") == 41.275
    assert parse_length("41.3 mm", default="in") == 41.3


def test_default_must_be_known() -> None:
    with pytest.raises(ValueError, match="allowed"):
        parse_length(3, default="cm")  # type: ignore[arg-type]


def test_error_is_ours_and_reaches_the_reader_of_a_file() -> None:
    class Sheet(BaseModel):
        od: Length

    with pytest.raises(ValidationError, match="unknown unit 'parsec'"):
        Sheet(od="3 parsec")
    assert issubclass(LengthError, CagekitError)
    assert issubclass(LengthError, ValueError)
    assert Sheet.model_validate({"od": "1 5/8"}, context={"units": "in"}).od == 41.275

"""Quantities as people read them."""

from __future__ import annotations

import math
from typing import Any

import pytest

from cagekit.units import (
    format_angle,
    format_area,
    format_length,
    format_mass,
)

LENGTHS: list[tuple[float, dict[str, Any], str]] = [
    (41.3, {}, "41.3 mm"),
    (41.25, {}, "41.3 mm"),
    (41.35, {}, "41.4 mm"),
    (-41.25, {}, "-41.3 mm"),
    (-0.04, {}, "0.0 mm"),
    (99.96, {}, "100.0 mm"),
    (41.275, {"decimals": 3}, "41.275 mm"),
    (1308.1, {"decimals": 0}, "1308 mm"),
    (41.3, {"unit": False}, "41.3"),
    (41.275, {"units": "in"}, "1.625 in"),
    (41.275, {"units": "in", "decimals": 1}, "1.6 in"),
    (41.275, {"units": "in", "denominator": 16}, "1 5/8 in"),
    (41.275, {"units": "in", "denominator": 2}, "1 1/2 in"),
    (15.875, {"units": "in", "denominator": 16}, "5/8 in"),
    (25.39, {"units": "in", "denominator": 64}, "1 in"),
    (25.0, {"units": "in", "denominator": 64}, "63/64 in"),
    (-15.875, {"units": "in", "denominator": 16}, "-5/8 in"),
    (0.1, {"units": "in", "denominator": 16}, "0 in"),
    (-0.1, {"units": "in", "denominator": 16}, "0 in"),
    (1308.1, {"units": "in", "denominator": 16, "feet": True}, "4' 3 1/2\""),
    (-1308.1, {"units": "in", "denominator": 16, "feet": True}, "-4' 3 1/2\""),
    (304.7, {"units": "in", "denominator": 16, "feet": True}, "1' 0\""),
    (609.59, {"units": "in", "denominator": 32, "feet": True}, "2' 0\""),
    (88.9, {"units": "in", "denominator": 16, "feet": True}, '3 1/2"'),
    (1308.1, {"units": "in", "feet": True}, "4' 3.500\""),
    (1308.1, {"units": "in", "decimals": 1, "feet": True}, "4' 3.5\""),
    (1.0, {"units": "in", "denominator": 16, "rounding": "up"}, "1/16 in"),
    (1.6, {"units": "in", "denominator": 16, "rounding": "up"}, "1/8 in"),
    (3.1, {"units": "in", "denominator": 16, "rounding": "down"}, "1/16 in"),
    (1.5875, {"units": "in", "denominator": 16, "rounding": "up"}, "1/16 in"),
    (1.5875, {"units": "in", "denominator": 16, "rounding": "down"}, "1/16 in"),
    (41.31, {"rounding": "up"}, "41.4 mm"),
    (41.39, {"rounding": "down"}, "41.3 mm"),
    (0.1 + 0.2, {"rounding": "up"}, "0.3 mm"),
    (-41.31, {"rounding": "up"}, "-41.3 mm"),
    (-41.31, {"rounding": "down"}, "-41.4 mm"),
]


@pytest.mark.parametrize(("mm", "options", "text"), LENGTHS)
def test_length(mm: float, options: dict[str, Any], text: str) -> None:
    assert format_length(mm, **options) == text


@pytest.mark.parametrize(
    ("options", "word"),
    [
        ({"denominator": 16}, "inches only"),
        ({"feet": True}, "inches only"),
        ({"units": "in", "denominator": 10}, "allowed"),
        ({"units": "in", "denominator": 16, "decimals": 2}, "not both"),
        ({"units": "in", "feet": True, "unit": False}, "always carry"),
        ({"units": "cm"}, "allowed"),
        ({"decimals": -1}, "allowed"),
    ],
)
def test_options_that_do_not_go_together(options: dict[str, Any], word: str) -> None:
    with pytest.raises(ValueError, match=word):
        format_length(1.0, **options)


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_not_finite_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        format_length(value)
    with pytest.raises(ValueError, match="finite"):
        format_mass(value)


def test_other_quantities() -> None:
    # 1 lb = 0.45359237 kg by definition.
    assert format_angle(math.pi / 4) == "45.0\u00b0"
    assert format_angle(-math.pi / 6, decimals=0) == "-30\u00b0"
    assert format_area(400.4) == "400 mm\u00b2"
    assert format_area(645.16, "in") == "1.000 in\u00b2"


@pytest.mark.parametrize(
    ("kg", "units", "told"),
    [
        (84.25, "mm", "84.3 kg"),
        (1.0, "mm", "1.0 kg"),
        (0.9996, "mm", "1.0 kg"),
        (0.9994, "mm", "999 g"),
        (0.0, "mm", "0 g"),
        # 1 lb = 0.45359237 kg by definition, 16 oz.
        (0.45359237, "in", "1.0 lb"),
        (0.453, "in", "1.0 lb"),
        (0.45, "in", "15.9 oz"),
        (0.028349523125, "in", "1.0 oz"),
    ],
)
def test_a_mass_is_told_by_one_rule(kg: float, units: str, told: str) -> None:
    assert format_mass(kg, units) == told

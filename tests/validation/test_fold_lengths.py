"""Lengths of folds against handbook formulas and a standard's table.

Sources, per row of ``tests/data/fold_lengths.csv``: Machinery's Handbook, "Bending sheet metal"
(bend allowance, straight length of a 90 degree bend), and DIN 6935 Beiblatt (shortening values).
"""

from __future__ import annotations

import csv
from math import log10, pi
from pathlib import Path

import pytest

from cagekit.geometry.fold import bend_allowance

DATA = Path(__file__).parents[1] / "data" / "fold_lengths.csv"
ROWS = list(csv.DictReader(DATA.read_text(encoding="utf-8").splitlines()))


def numbers(row):
    return (
        float(row["thickness"]),
        float(row["radius"]),
        float(row["value"]),
        float(row["tolerance"]),
    )


def test_every_row_is_used():
    assert {r["case"].split()[0] for r in ROWS} == {"BA", "MHL", "DIN"}


def din_k(inside_radius, thickness):
    """Correction factor of DIN 6935: half of it is the neutral axis as a share of thickness."""
    ratio = inside_radius / thickness
    return 1.0 if ratio > 5 else 0.65 + 0.5 * log10(ratio)


@pytest.mark.parametrize("row", [r for r in ROWS if r["case"] == "BA"], ids=lambda r: r["case"])
def test_bend_allowance(row):
    t, r, value, tolerance = numbers(row)
    assert bend_allowance(pi / 2, r, t, float(row["factor"])) == pytest.approx(value, abs=tolerance)


@pytest.mark.parametrize(
    "row", [r for r in ROWS if r["case"][:3] == "MHL"], ids=lambda r: r["case"]
)
def test_straight_length_of_a_right_angle(row):
    t, r, value, tolerance = numbers(row)
    # the handbook writes 1.57 for half of pi: that much of the radius is its own rounding
    rounding = (pi / 2 - 1.57) * r
    k = float(row["factor"]) / (pi / 2)
    assert bend_allowance(pi / 2, r, t, k) == pytest.approx(value, abs=tolerance + rounding)


@pytest.mark.parametrize(
    "row", [r for r in ROWS if r["case"][:3] == "DIN"], ids=lambda r: r["case"]
)
def test_shortening_of_a_right_angle(row):
    t, r, value, tolerance = numbers(row)
    k = din_k(r, t) / 2
    assert bend_allowance(pi / 2, r, t, k) - 2 * (r + t) == pytest.approx(value, abs=tolerance)

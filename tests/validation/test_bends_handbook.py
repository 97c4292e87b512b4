"""Bending against printed figures.

Sources: ASME B31.1 table 102.4.5 (minimum wall before bending: 1.06, 1.08, 1.14 and 1.25 times the
wall needed after it, at bend radii of 6, 5, 4 and 3 diameters), as printed in a public guide
specification (UFGS criteria, table 5-4); TEMA R-2.31 (wall before bending t (1 + d / 4 R), from
memory, at most 17 percent thinning as quoted by a maker of U-tubes); arc length of a 4 1/2 in
radius 90 degree tube bend, 7.0686 in; TEMA RCB-2.31, flattening 10 percent at most.
"""

from __future__ import annotations

from math import pi

import pytest

from cagekit.geometry.centre_line import CentreLine
from cagekit.shop.bending.rows import bend_rows
from cagekit.shop.bending.section import expected_roundness, thinned_wall


def test_arc_of_a_square_bend():
    path = CentreLine.from_polyline([(0, 0, 0), (500, 0, 0), (500, 500, 0)], 4.5 * 25.4)
    assert bend_rows(path)[0].arc / 25.4 == pytest.approx(7.0686, abs=5e-5)


@pytest.mark.parametrize(("diameters", "factor"), [(5, 1.08), (4, 1.14), (3, 1.25)])
def test_thinning_is_in_line_with_pipework_practice(diameters, factor):
    # wall before over wall after, estimated; the table's margins lie within a tenth of it
    before = 1 / thinned_wall(1.0, 1.0, diameters)
    assert before == pytest.approx(factor, abs=0.1)


@pytest.mark.parametrize("diameters", [2, 3, 4, 6])
def test_thinning_is_on_the_safe_side_of_heat_exchanger_practice(diameters):
    tema = 1 / (1 + 1 / (4 * diameters))
    assert thinned_wall(1.0, 1.0, diameters) < tema


def test_bends_of_three_diameters_stay_within_seventeen_percent():
    assert 1 - thinned_wall(40.0, 2.5, 120.0) / 2.5 < 0.17
    assert 1 - thinned_wall(40.0, 2.5, 80.0) / 2.5 > 0.17


def test_flattening_at_two_diameters_is_the_ten_percent_of_the_standard():
    ratio = expected_roundness(1.0, 2.0)
    assert 2 * (1 - ratio) / (1 + ratio) == pytest.approx(0.10)


def test_a_full_turn_is_a_circle():
    legs = [(0, 0, 0), (300, 0, 0), (300, 300, 0), (0, 300, 0), (0, 0, 0), (150, 0, 0)]
    path = CentreLine.from_polyline(legs, 100)
    assert sum(r.arc for r in bend_rows(path)) == pytest.approx(2 * pi * 100)

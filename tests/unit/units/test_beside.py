"""Forces, moments, stresses and masses as who reads mm and who reads inches gets them."""

from __future__ import annotations

import pytest

from cagekit.units import FORCE, MASS, MOMENT, STRESS, forces_in
from cagekit.units.beside import TwoUnits

LBF = 4.4482216152605
"""N, by definition of pound and standard gravity."""


def test_who_reads_mm_gets_si_alone() -> None:
    assert FORCE.told(52300.0, "mm") == "52.3 kN"
    assert FORCE.unit("mm") == "kN"
    assert MOMENT.figures(-830_000.0, "mm") == "-0.83"
    assert STRESS.told(355.0, "mm") == "355 MPa"
    assert MASS.figures(0.25, "mm", sign=True) == "+0.250"


@pytest.mark.parametrize(
    ("kind", "value", "si", "us"),
    [
        (FORCE, 1000 * LBF, "4.4 kN", "1,000 lbf"),
        (FORCE, -12_010.2, "-12.0 kN", "-2,700 lbf"),
        (FORCE, -3.0, "0.0 kN", "0 lbf"),
        (MOMENT, 1000 * LBF * 304.8, "1.36 kNm", "1,000 lbf ft"),
        (STRESS, 60_000 * LBF / 645.16, "414 MPa", "60.0 ksi"),
        (MASS, 0.45359237, "0.454 kg", "1.000 lb"),
    ],
)
def test_who_reads_inches_gets_both(kind: TwoUnits, value: float, si: str, us: str) -> None:
    (first, unit), (second, other) = si.split(" ", 1), us.split(" ", 1)
    assert kind.told(value, "in") == f"{si} ({us})"
    assert kind.figures(value, "in") == f"{first} ({second})"
    assert kind.unit("in") == f"{unit} ({other})"


def test_a_sentence_gets_the_second_unit_behind_the_first() -> None:
    text = "6 kN back, 6.5 kN on a belt; fy 140 MPa taken; a row of 3 kNm stays"
    assert forces_in(text, "mm") == text
    assert forces_in(text, "in") == (
        "6 kN (1,350 lbf) back, 6.5 kN (1,460 lbf) on a belt; fy 140 MPa (20.3 ksi) taken; "
        "a row of 3 kNm stays"
    )

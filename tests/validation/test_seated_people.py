"""Seated people against printed figures.

- ANSUR II (2012), public working database: percentiles of body dimensions, 4082 men and 1986
  women, computed person by person (tests/data/body_sizes.csv).
- UN R46, ocular points: 635 mm above the hip point, 25 degrees of back angle (read in expert
  slides); UN R125 table I, V points 68 mm behind it and 665 and 589 mm above it (from memory).
- SAE J826 seating template: middle thigh 432 mm, middle lower leg 418 mm (from memory).
- Full-face helmets: about 250 to 275 mm wide and 330 to 360 mm long (from memory; no standard
  fixes it).
"""

from __future__ import annotations

import csv
from itertools import pairwise
from math import radians
from pathlib import Path

import numpy as np
import pytest

from cagekit.inputs.car import Car, Seat, Wheel
from cagekit.inputs.driver import BodyMeasure, Driver
from cagekit.people.body import Dimensions, dimensions
from cagekit.people.population import headform_circumference, survey
from cagekit.people.posture import Occupant, seat_person

TABLE = Path(__file__).parents[1] / "data" / "body_sizes.csv"
ROWS = list(
    csv.DictReader(
        line for line in TABLE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")
    )
)


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r['sex']}-{r['measure']}")
def test_percentiles_are_the_printed_ones(row: dict[str, str]) -> None:
    found = survey()[row["sex"], row["measure"]]
    for p in (1, 5, 50, 95, 99):
        assert found.value(p) == pytest.approx(float(row[f"p{p}"]), abs=0.05)


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r['sex']}-{r['measure']}")
def test_between_them_it_rises_and_stays_near_the_normal_curve(row: dict[str, str]) -> None:
    found = survey()[row["sex"], row["measure"]]
    values = [found.value(p) for p in range(1, 100)]
    assert all(b > a for a, b in pairwise(values))
    mean, sd = float(row["mean"]), float(row["sd"])
    # quartiles of a normal population lie 0.6745 standard deviations from the mean
    assert found.value(25) == pytest.approx(mean - 0.6745 * sd, abs=0.2 * sd)
    assert found.value(75) == pytest.approx(mean + 0.6745 * sd, abs=0.2 * sd)


def test_nothing_is_said_outside_the_table() -> None:
    with pytest.raises(ValueError, match="outside the table"):
        survey()["male", "stature"].value(99.5)


def test_every_dimension_of_the_driver_sheet_is_in_the_survey() -> None:
    names = set(BodyMeasure.__args__)  # type: ignore[attr-defined]
    for sex in ("male", "female"):
        assert names <= {m for s, m in survey() if s == sex}


def sit(back_angle_deg: float, sex: str = "male", percentile: float = 50) -> Occupant:
    driver = Driver.model_validate(
        {"name": "somebody", "population": {"sex": sex, "percentile": percentile}},
        context={"units": "mm"},
    )
    wheel = Wheel.model_validate(
        {"centre": (430, 0, 380), "diameter": 370}, context={"units": "mm"}
    )
    car = Car.model_construct(wheel=wheel, pedals=None, floor_z=-250.0, driver_side="left")
    seat = Seat.model_construct(
        hip=(0.0, 0.0, 0.0), back_angle=radians(back_angle_deg), side="left",
        back_thickness=60.0, half_width=240.0,
    )  # fmt: skip
    return seat_person(car, seat, driver)


def test_eyes_of_the_middle_man_are_where_the_regulations_have_them() -> None:
    eye = sit(25).eye
    assert eye[2] == pytest.approx(635, abs=10)
    assert -eye[0] == pytest.approx(68, abs=15)
    assert 589 < eye[2] < 665


def test_legs_of_the_middle_man_are_those_of_the_template() -> None:
    leg = sit(25).legs["left"]
    assert np.linalg.norm(leg.middle - leg.root) == pytest.approx(432, abs=5)
    assert np.linalg.norm(leg.tip - leg.middle) == pytest.approx(418, abs=5)


@pytest.mark.parametrize(("sex", "percentile"), [("male", 5), ("male", 50), ("male", 95)])
def test_a_helmet_that_nobody_measured_is_as_large_as_helmets_are(
    sex: str, percentile: float
) -> None:
    driver = Driver.model_validate(
        {"name": "x", "population": {"sex": sex, "percentile": percentile}}
    )
    body = dimensions(driver)
    assert 245 <= body.helmet_width <= 280
    assert 325 <= body.helmet_length <= 365
    assert "from memory" in body.origin["helmet_width"]


def test_a_percentile_says_which_population_it_is_of() -> None:
    driver = Driver.model_validate(
        {
            "name": "x",
            "population": {"sex": "female", "percentile": 5, "measures": {"knee_height": 50}},
            "body": {"sitting_height": 850},
        },
        context={"units": "mm"},
    )
    body = dimensions(driver)
    assert body.sitting_height == 850
    assert body.origin["sitting_height"] == "measured"
    assert body.knee_height == pytest.approx(510.0)
    assert "percentile 50" in body.origin["knee_height"]
    assert "army population" in body.origin["stature"]


@pytest.mark.parametrize(
    ("letter", "around"), [("A", 500), ("E", 540), ("J", 570), ("M", 600), ("O", 620)]
)
def test_headforms_are_the_printed_ones(letter: str, around: float) -> None:
    """Circumferences of the headforms used with UN R22 (EN 960)."""
    assert headform_circumference(letter) == around


def test_a_hat_size_sizes_the_head_and_the_helmet() -> None:
    def body(**more: object) -> Dimensions:
        data = {"name": "x", "population": {"sex": "male", "percentile": 50}, **more}
        return dimensions(Driver.model_validate(data, context={"units": "mm"}))

    mean = survey()["male", "head_circumference"].mean
    usual = body(body={"head_circumference": mean})
    assert usual.head_length == pytest.approx(199.5, abs=0.05)
    assert usual.head_breadth == pytest.approx(154.33, abs=0.05)
    small, large = body(helmet={"headform": "A"}), body(helmet={"headform": "O"})
    assert large.head_length / small.head_length == pytest.approx(620 / 500)
    assert large.helmet_width > usual.helmet_width > small.helmet_width
    assert "headform O 620 mm" in large.origin["head_length"]
    own = body(body={"head_length": 205}, helmet={"headform": "O"})
    assert own.head_length == 205

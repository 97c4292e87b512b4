"""An open car says of its sides what it has: no belt line, no roof rail, nothing made up."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from chassis_car import BUILD, CAR, loaded

from cagekit.assembly.assemble import assemble
from cagekit.car.shell import FAR, hoop_side
from cagekit.checks.registry import run
from cagekit.design import Design
from cagekit.errors import InputError
from cagekit.page.shell import edges

RAIL = "half_width_rail = 340\nheight_rail = 400\n"
BELT = "half_width_belt = 345\nheight_belt = 250\n"
BARE = CAR.replace(RAIL, "").replace(BELT, "")
WIDTH = "half_width_top = 300\n"
BENT = BUILD.replace(WIDTH, f"{WIDTH}half_width_belt = 335\nstraight_legs = false\n")


@pytest.fixture(scope="module")
def design(tmp_path_factory: pytest.TempPathFactory) -> Design:
    return Design(loaded(tmp_path_factory.mktemp("open"), BARE, BUILD))


def test_the_leg_is_one_straight_from_foot_to_top(design: Design) -> None:
    hoop = design.cage.member("main_hoop")
    assert len(hoop.path.bends) == 2
    # corner of the top bend: half width and height of the outside less half of the tube
    foot, way = hoop.path.start, hoop.path.spot(1.0).tangent
    top = foot + way * (970 - 22.5 - foot[2]) / way[2]
    assert top[1] == pytest.approx(300 - 22.5)


def test_nothing_stands_where_nothing_was_measured(design: Design) -> None:
    car = design.build.car
    points = np.array([[0.0, 400.0, z] for z in (-100.0, 0.0, 300.0, 900.0)])
    assert (hoop_side(car, "left", 1.0).gap(points) == FAR).all()
    ys = [p[1] for line in edges(car) for p in line]
    assert max(map(abs, ys)) == 380  # the sill's outer edge
    found = run(design)
    assert not [f for f in found if "hoop-to-shell" in f.code and f.measured is not None]


def test_a_belt_alone_ends_the_side_there(tmp_path: Path) -> None:
    car = loaded(tmp_path, CAR.replace(RAIL, ""), BUILD).car
    wall = hoop_side(car, "left", 1.0)
    inside = np.array([[0.0, 300.0, 200.0], [0.0, 300.0, 260.0]])
    gap = wall.gap(inside)
    assert 0 < gap[0] < 50
    assert gap[1] == FAR


WRONG = [
    (BARE, BUILD.replace(WIDTH, ""), "Give half_width_top"),
    (BARE, BENT, "at which height"),
    (BARE.replace('body = "open"', 'body = "closed"'), BUILD, "closed car has one"),
    (CAR.replace("height_belt = 250\n", ""), BUILD, "a width has its height"),
    (CAR.replace("height_belt = 250", "height_belt = 450"), BUILD, "roof rail at"),
    (CAR.replace(RAIL, "").replace("= 250", "= -60", 1), BUILD, "not above the floor"),
]


@pytest.mark.parametrize(("car", "build", "words"), WRONG)
def test_what_is_missing_is_asked_for(tmp_path: Path, car: str, build: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        assemble(loaded(tmp_path, car, build))

"""The cabin floor from the car sheet, and tubes against it."""

from __future__ import annotations

import numpy as np
import pytest

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, Member
from cagekit.car.floor import floor_of
from cagekit.car.shell import FAR, ShellSurface, surfaces
from cagekit.checks.quantities.shell import floor_gaps
from cagekit.geometry.centre_line import CentreLine
from cagekit.inputs.car import Car
from cagekit.inputs.resolve import load_build
from cagekit.materials.tubes import Tube

TUBE = Tube(od=40.0, wall=2.5, material="1020-dom")


@pytest.fixture(scope="module")
def gravel() -> Car:
    return load_build("gravel-hatch").car


def _floor(car: Car, side: str = "left") -> ShellSurface:
    return next(s for s in surfaces(car) if s.name == f"{side} floor")


def _tube(*points: tuple[float, float, float], **ends: End) -> Member:
    return Member(id="t", role="strut", tube=TUBE, path=CentreLine.straight(*points), **ends)


def _height(car: Car, side: str, x: float, y: float) -> float:
    return float(floor_of(car, side).height(np.array([x, y, 0.0])))


def test_it_goes_through_every_measured_point_of_the_feet(gravel: Car) -> None:
    for side, sign in (("left", 1), ("right", -1)):
        own = gravel.side(side)
        assert own.front_foot is not None
        for foot in (own.main_foot, own.front_foot):
            for y, z in ((foot.point[1], foot.point[2]), *foot.profile):
                assert _height(gravel, side, foot.point[0], sign * y) == pytest.approx(z)


def test_between_the_feet_it_runs_straight(gravel: Car) -> None:
    own = gravel.left
    assert own.front_foot is not None
    half = own.front_foot.point[0] / 2
    assert _height(gravel, "left", half, 500) == pytest.approx(
        (own.main_foot.point[2] + own.front_foot.point[2]) / 2
    )
    # half way up the kick to the sill the sheet is not level: the gap is square to it
    solid = _floor(gravel).solid
    over = np.array([[half, 500.0, 0.0]])
    assert solid.gap(over)[0] == pytest.approx(-_height(gravel, "left", half, 500), abs=0.01)
    assert solid.nearest(over)[0][2] == pytest.approx(_height(gravel, "left", half, 500), abs=0.01)


def test_it_ends_at_the_sill_and_behind_the_hoop(gravel: Car) -> None:
    solid = _floor(gravel).solid
    points = np.array([[500.0, 700.0, -50], [-400, 500, -50], [500, -500, -50], [500, 500, -50]])
    assert (solid.gap(points) > FAR / 2).tolist() == [True, True, True, False]


def test_a_hoop_on_outriggers_has_the_floor_open_round_its_feet() -> None:
    car = load_build("sprint-wagon").car
    points = np.array([[0.0, 600.0, -100.0], [600.0, 500.0, -100.0]])
    assert (_floor(car).solid.gap(points) > FAR / 2).tolist() == [True, False]


def test_a_tube_into_the_floor_is_found_and_one_that_stands_on_it_is_not(gravel: Car) -> None:
    through = Cage("c", [_tube((300, 400, -20), (900, 500, -130))])
    (gap,) = floor_gaps(through, _floor(gravel))
    # its end lies this far under the sheet, and half a tube more
    under = -130 - _height(gravel, "left", 900, 500)
    assert gap.gap == pytest.approx(under - 20, abs=0.5)
    up = (0.0, 0.0, 1.0)
    foot = (1278.0, 600.0, -83.0)
    leg = Cage("c", [_tube((1100, 600, 500), foot, b=End.flat(foot, up))])
    found = floor_gaps(leg, _floor(gravel))
    assert found
    assert found[0].gap > 0
    # standing there does not excuse a tube that lies in the floor farther on
    flat = Cage("c", [_tube((300, 500, -95), foot, b=End.flat(foot, up))])
    assert floor_gaps(flat, _floor(gravel))[0].gap < -15


@pytest.mark.parametrize("side", ["left", "right"])
def test_it_leans_round_a_foot_as_the_foot_says(gravel: Car, side: str) -> None:
    """A plate on a floor that falls forward and outward lies on it with its whole back."""
    normal = (0.06, 0.08, 1.0)
    own = gravel.side(side)
    foot = own.main_foot.model_copy(update={"profile": (), "normal": normal})
    car = gravel.model_copy(update={side: own.model_copy(update={"main_foot": foot})})
    sign = 1.0 if side == "left" else -1.0
    x, y, z = foot.point
    for forward in (-90.0, -40.0, 0.0, 75.0, 115.0):
        for outward in (-110.0, -40.0, 0.0, 30.0):
            fallen = z - normal[0] * forward - normal[1] * outward
            there = _height(car, side, x + forward, sign * (y + outward))
            assert there == pytest.approx(fallen, abs=1e-9)
    # the front foot's section is where it was
    for out, high in gravel.side(side).front_foot.profile:
        at = gravel.side(side).front_foot.point[0]
        assert _height(car, side, at, sign * out) == pytest.approx(high)


def test_where_a_profile_was_taken_it_says_how_the_sheet_lies_across(gravel: Car) -> None:
    own = gravel.left
    assert own.front_foot is not None
    foot = own.front_foot.model_copy(update={"normal": (-0.1, 0.3, 1.0)})
    car = gravel.model_copy(update={"left": own.model_copy(update={"front_foot": foot})})
    for out, high in foot.profile:
        assert _height(car, "left", foot.point[0] + 50.0, out) == pytest.approx(high + 5.0)
        assert _height(car, "left", foot.point[0], out) == pytest.approx(high)


@pytest.mark.parametrize("normal", [(1.0, 0.0, 0.0), (0.0, 0.9, 0.3), (0.8, 0.8, -0.2)])
def test_a_foot_on_an_upright_sheet_does_not_tilt_the_floor(
    gravel: Car, normal: tuple[float, float, float]
) -> None:
    own = gravel.left
    plain, upright = (
        own.main_foot.model_copy(update={"profile": (), "normal": n})
        for n in ((0.0, 0.0, 1.0), normal)
    )
    level, same = (
        gravel.model_copy(update={"left": own.model_copy(update={"main_foot": foot})})
        for foot in (plain, upright)
    )
    for x, y in ((-60.0, 400.0), (0.0, 600.0), (90.0, 650.0), (400.0, 300.0)):
        assert _height(same, "left", x, y) == _height(level, "left", x, y)

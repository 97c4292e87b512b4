"""How people sit: limbs keep their lengths, measured points win, sides follow the car."""

from __future__ import annotations

from collections.abc import Callable
from math import radians

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cagekit.geometry.centre_line import vec
from cagekit.inputs.car import Car
from cagekit.inputs.driver import Driver
from cagekit.people import posture
from cagekit.people.posture import moved, seated, two_links

number = st.floats(-600, 600)


@given(st.tuples(number, number, number), st.floats(150, 500), st.floats(150, 500))
def test_two_links_keep_their_lengths(target: tuple, first: float, second: float) -> None:
    root, pole = vec((0, 0, 0)), np.array([0.1, 0.2, 1.0])
    joint, tip, miss = two_links(root, vec(target), first, second, pole)
    assert np.linalg.norm(joint - root) == pytest.approx(first, abs=1e-6)
    assert np.linalg.norm(tip - joint) == pytest.approx(second, abs=1e-4)
    assert np.linalg.norm(vec(target) - tip) == pytest.approx(miss, abs=1e-4)
    distance = float(np.linalg.norm(target))
    if abs(first - second) < distance < first + second:
        assert miss < 1e-5


def test_knees_point_up_and_elbows_hang(car: Car, person: Callable[..., Driver]) -> None:
    (who,) = seated(car, [person()])
    for side, sign in posture.SIDES:
        leg, arm = who.legs[side], who.arms[side]
        assert leg.middle[2] > (leg.root[2] + leg.tip[2]) / 2
        assert arm.middle[2] < (arm.root[2] + arm.tip[2]) / 2
        assert sign * (arm.middle[1] - who.hip[1]) > 0


def test_hands_are_on_the_rim_and_feet_on_the_pedals(
    car: Car, person: Callable[..., Driver]
) -> None:
    (who,) = seated(car, [person()])
    assert not who.short
    for side, sign in posture.SIDES:
        grip = moved(car.wheel.centre, dy=sign * car.wheel.diameter / 2)
        assert who.arms[side].tip == pytest.approx(grip)
        along = who.toes[side] - who.heels[side]
        ball = who.heels[side] + along / np.linalg.norm(along) * (
            posture.BALL_SHARE * who.body.foot_length + posture.SHOE / 2
        )
        assert (ball[0], ball[2]) == pytest.approx((car.pedals.x, car.pedals.z), abs=1e-6)
        assert who.heels[side][2] == pytest.approx(car.pedals.heel_z)


def test_measured_points_replace_solved_ones(car: Car, person: Callable[..., Driver]) -> None:
    given_points = {
        "hip": (410, 340, 50), "back_angle": 22, "helmet_top": (250, 345, 905),
        "shoulder": (205, 555, 560), "elbow": (480, 600, 380), "knee": (780, 480, 260),
    }  # fmt: skip
    (who,) = seated(car, [person(seated=given_points)])
    assert who.hip == pytest.approx((410, 340, 50))
    assert who.back_angle == pytest.approx(radians(22))
    assert who.helmet_top[2] == pytest.approx(905)
    assert who.helmet_top[1] == pytest.approx(345)
    assert who.shoulders["left"] == pytest.approx((205, 555, 560))
    assert who.shoulders["right"] == pytest.approx((205, 125, 560))
    assert who.arms["left"].middle == pytest.approx((480, 600, 380))
    assert who.legs["left"].middle == pytest.approx((780, 480, 260))


def test_a_measured_eye_moves_the_helmet_with_it(car: Car, person: Callable[..., Driver]) -> None:
    (solved,) = seated(car, [person()])
    eye = tuple(float(v) for v in moved(solved.eye, 10, 0, 20))
    (who,) = seated(car, [person(seated={"eye": eye})])
    assert who.helmet_top - solved.helmet_top == pytest.approx((10, 0, 20))


def test_driver_takes_the_seat_on_the_drivers_side(car: Car, person: Callable[..., Driver]) -> None:
    right = car.model_copy(update={"driver_side": "right"})
    two = [person(name="one"), person(name="two", role="co_driver")]
    assert [w.door_side for w in seated(car, two)] == ["left", "right"]
    assert [w.door_side for w in seated(right, two)] == ["right", "left"]
    assert [w.at_wheel for w in seated(right, two)] == [True, False]
    assert len(seated(car, [*two, person(name="three")])) == 2
    assert [w.name for w in seated(car, two[::-1])] == ["one", "two"]


def test_co_driver_sits_with_bent_knees_on_the_floor(
    car: Car, person: Callable[..., Driver]
) -> None:
    _, who = seated(car, [person(), person(role="co_driver")])
    for side in ("left", "right"):
        leg = who.legs[side]
        a, b = leg.root - leg.middle, leg.tip - leg.middle
        angle = np.arccos(a @ b / np.linalg.norm(a) / np.linalg.norm(b))
        assert angle == pytest.approx(posture.PASSENGER_KNEE, abs=1e-6)
        assert who.heels[side][2] == pytest.approx(car.pedals.heel_z)


def test_a_hand_that_does_not_reach_is_told(car: Car, person: Callable[..., Driver]) -> None:
    far = car.model_copy(
        update={"wheel": car.wheel.model_copy(update={"centre": (1300.0, 350.0, 450.0)})}
    )
    (who,) = seated(far, [person("female", 5)])
    arm = who.arms["left"]
    reach = np.linalg.norm(arm.middle - arm.root) + np.linalg.norm(arm.tip - arm.middle)
    grip = moved(far.wheel.centre, dy=far.wheel.diameter / 2)
    assert who.short["left hand"] == pytest.approx(np.linalg.norm(grip - arm.root) - reach)


@pytest.mark.parametrize("angle", [0, 10, 25, 40])
def test_helmet_is_level_and_over_the_eyes(
    car: Car, person: Callable[..., Driver], angle: float
) -> None:
    seat = car.seats[0].model_copy(update={"back_angle": radians(angle)})
    leaning = car.model_copy(update={"seats": (seat,)})
    (who,) = seated(leaning, [person()])
    assert who.helmet.start[2] == pytest.approx(who.helmet.end[2])
    crown = who.eye[2] + who.body.sitting_height - who.body.eye_height
    assert who.helmet_top[2] == pytest.approx(crown + who.body.helmet_above_crown)
    length = np.linalg.norm(who.helmet.end - who.helmet.start) + 2 * who.helmet.radius
    assert length == pytest.approx(who.body.helmet_length)
    assert 2 * who.helmet.radius == pytest.approx(who.body.helmet_width)

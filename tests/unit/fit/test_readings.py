"""Readings on hand-made bars, where the number can be worked out on paper."""

from __future__ import annotations

from collections.abc import Callable
from math import degrees, hypot

import numpy as np
import pytest

from cagekit.cage.member import Member
from cagekit.design import Design
from cagekit.fit import readings
from cagekit.fit.cockpit import Cockpit, bearing
from cagekit.geometry.centre_line import vec
from cagekit.people.posture import moved

Bar = Callable[..., Member]
Sit = Callable[..., Cockpit]


@pytest.fixture
def hoop(bar: Bar) -> Member:
    return bar(
        "main_hoop", (0, 610, -90), (0, 660, 450), (0, 500, 1030), (0, -500, 1030),
        (0, -660, 450), (0, -610, -90), radius=150.0,
    )  # fmt: skip


def test_hoop_over_helmet_is_the_top_of_the_tube(cockpit: Sit, hoop: Member) -> None:
    scene = cockpit(hoop)
    who = scene.occupants[0]
    found = readings.hoop_over_helmet(scene, who)
    # the helmet's plane meets the flat top bar
    assert found.value == pytest.approx(1030 + 20 - who.helmet_top[2], abs=1e-6)


def test_helmet_to_hoop_takes_the_nearest_spot(cockpit: Sit, hoop: Member) -> None:
    scene = cockpit(hoop)
    who = scene.occupants[0]
    fine = hoop.path.points(np.linspace(0, hoop.path.length, 40001))
    expected = float(who.helmet.gap(fine).min()) - 20
    assert readings.helmet_to_hoop(scene, who).value == pytest.approx(expected, abs=1e-3)


def test_harness_bar_drop_and_belt_angle(cockpit: Sit, bar: Bar) -> None:
    scene = cockpit(bar("harness_bar", (10, 600, 430), (10, -600, 430)))
    who = scene.occupants[0]
    x, _, z = who.shoulder
    assert readings.harness_drop(scene, who).value == pytest.approx(z - 450, abs=1e-6)
    angle = readings.belt_angle(scene, who).value
    assert angle is not None
    assert degrees(angle) == pytest.approx(degrees(np.arctan2(z - 450, x - 10)), abs=1e-6)


def test_a_harness_bar_ahead_of_the_shoulder_is_none(cockpit: Sit, bar: Bar) -> None:
    scene = cockpit(bar("harness_bar", (600, 600, 430), (600, -600, 430)))
    assert readings.harness_drop(scene, scene.occupants[0]).absent


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9, 1.3])
def test_door_bar_crosses_the_hanging_arm_where_it_was_put(
    cockpit: Sit, bar: Bar, share: float
) -> None:
    who = cockpit(bar("main_hoop", (0, 600, 0), (0, 600, 900))).occupants[0]
    arm = who.elbows_at_rest["left"] - who.shoulders["left"]
    x, _, z = who.shoulders["left"] + share * arm
    # a bar that falls 80 mm over its length, through that spot in side view
    slope = -0.08
    ends = [(px, 640.0, z + slope * (px - x)) for px in (0.0, 1000.0)]
    scene = cockpit(bar("door_bar_left", *ends, role="door_bar", side="left"))
    found = readings.door_bar_share(scene, who)
    assert found.value == pytest.approx(share, abs=1e-6)
    assert np.linalg.norm(arm) == pytest.approx(who.body.upper_arm_length)


def test_door_bars_of_the_other_side_do_not_count(cockpit: Sit, bar: Bar) -> None:
    scene = cockpit(
        bar("door_bar_right", (0, -640, 350), (1000, -640, 350), role="door_bar", side="right")
    )
    assert readings.door_bar_share(scene, scene.occupants[0]).absent


def test_shoulder_to_hoop_at_shoulder_height(cockpit: Sit, bar: Bar) -> None:
    scene = cockpit(bar("main_hoop", (0, 640, 0), (0, 640, 1030), (0, -640, 1030), (0, -640, 0)))
    who = scene.occupants[0]
    outer = 350 + who.body.shoulder_breadth / 2
    assert readings.shoulder_to_hoop(scene, who).value == pytest.approx(640 - 20 - outer)


def test_a_hoop_below_the_shoulder_is_short_by_its_height(cockpit: Sit, bar: Bar) -> None:
    scene = cockpit(bar("main_hoop", (0, 640, 0), (0, 640, 400), (0, -640, 400), (0, -640, 0)))
    who = scene.occupants[0]
    found = readings.shoulder_to_hoop(scene, who)
    assert found.value == pytest.approx(420 - who.shoulder[2], abs=0.1)
    none = cockpit(bar("dash_bar", (0, 640, 0), (0, 640, 400)))
    assert readings.shoulder_to_hoop(none, who).absent


def test_knee_room_to_a_dash_bar_overhead(cockpit: Sit, bar: Bar) -> None:
    who = cockpit(bar("main_hoop", (0, 600, 0), (0, 600, 900))).occupants[0]
    knee = who.legs["left"].middle
    z = float(knee[2]) + 60 + 20 + 45
    x = float(knee[0])
    scene = cockpit(bar("dash_bar", (x, 600, z), (x, -600, z)))
    found = readings.room(scene, who, "knee")
    assert found.value == pytest.approx(45, abs=4.0)
    assert found.value <= 45 + 1e-6
    assert "above" in found.note


def test_knuckles_to_a_bar_square_to_the_wheel(cockpit: Sit, bar: Bar) -> None:
    scene = cockpit(bar("dash_bar", (1000, 600, 450), (1000, -600, 450)))
    who = scene.occupants[0]
    ring = scene.wheel(45.0)
    found = readings.wheel_room(scene, who, readings.DASH_ROLES)
    y = np.linspace(-600, 600, 24001)
    line = np.column_stack([np.full_like(y, 1000.0), y, np.full_like(y, 450.0)])
    assert found.value == pytest.approx(float(ring.gap(line).min()) - 20, abs=1e-3)
    assert readings.wheel_room(scene, who, ("a_pillar_bar",)).absent


def test_helmet_line_between_two_hoops(cockpit: Sit, bar: Bar) -> None:
    scene = cockpit(
        bar("main_hoop", (0, 600, 0), (0, 600, 1000), (0, -600, 1000), (0, -600, 0)),
        bar("front_hoop", (900, 600, 0), (900, 600, 800), (900, -600, 800), (900, -600, 0)),
    )
    who = scene.occupants[0]
    x, _, z = who.helmet_top
    line = 1020 + (820 - 1020) * x / 900
    assert readings.helmet_line(scene, who).value == pytest.approx(line - z, abs=1e-6)


def test_seat_shell_is_behind_the_back(cockpit: Sit, bar: Bar) -> None:
    who = cockpit(bar("main_hoop", (0, 600, 0), (0, 600, 900))).occupants[0]
    rear = who.seat_back.centre - 30 * who.torso_forward
    spot = rear - 70 * who.torso_forward
    scene = cockpit(bar("harness_bar", moved(spot, dy=300), moved(spot, dy=-300)))
    found = readings.seat_room(scene, who)
    assert found.value == pytest.approx(70 - 20, abs=1e-4)
    depth = (who.hip - rear) @ who.torso_forward
    assert depth == pytest.approx(134 + 60)


def test_bearings_in_words() -> None:
    assert bearing(vec((0, 0, 1))) == "above"
    assert bearing(vec((-0.7, 0, -0.7))) == "behind and below"
    assert bearing(vec((0.9, -0.42, 0))) == "ahead and right"
    assert bearing(vec((0, 0, 0))) == "through it"
    assert hypot(3, 4) == 5


def test_padding_on_the_nearest_bar_takes_helmet_room(cockpit: Sit, hoop: Member) -> None:
    bare, padded = cockpit(hoop), cockpit(hoop, padding={"main_hoop": 13.0})
    one, two = (readings.helmet_to_hoop(s, s.occupants[0]).value for s in (bare, padded))
    assert one is not None
    assert two is not None
    assert one - two == pytest.approx(13.0, abs=1e-6)


@pytest.mark.parametrize("demo", ["gravel-hatch", "sprint-wagon", "track-roadster"])
def test_the_tightest_of_the_tubes_next_to_a_part_is_the_tightest_of_all(demo: str) -> None:
    scene, fresh = Design.load(demo).cockpit, Design.load(demo).cockpit
    for who in scene.occupants:
        extra = ["seat back"] if who.head_rest is None else ["seat back", "head rest"]
        for part in [*who.parts(), *extra]:
            of_all = fresh.gaps(fresh.occupants[who.index], part)
            some = scene.nearest(who, part)
            assert len(some) < len(of_all) or len(of_all) < 4
            least = min(of_all.values(), key=lambda g: (g.gap, g.member))
            for name, gap in some.items():
                assert (gap.gap, gap.station) == (of_all[name].gap, of_all[name].station)
            assert least.member in some

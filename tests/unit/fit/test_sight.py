"""What bars hide: closed forms of an upright bar seen from two eyes."""

from __future__ import annotations

from collections.abc import Callable
from math import asin, atan2, degrees, hypot, radians

import numpy as np
import pytest

from cagekit.cage.member import Member
from cagekit.fit.cockpit import Cockpit
from cagekit.fit.sight import BallRow, Caps, Eyes, both, extent, merged, within
from cagekit.fit.view_angles import PillarView, pillar_view, view_down, view_up
from cagekit.geometry.centre_line import vec
from cagekit.inputs.car import Car
from cagekit.people.posture import moved


def post(x: float, y: float, radius: float) -> BallRow:
    return BallRow.along("post", [(x, y, -2000.0), (x, y, 2000.0)], radius)


def test_one_eye_sees_a_post_between_its_tangents() -> None:
    caps = Caps.seen(post(600.0, 300.0, 25.0), vec((0, 0, 0)))
    ((low, high),) = caps.across(0.0)
    middle, half = atan2(300, 600), asin(25 / hypot(600, 300))
    assert low == pytest.approx(middle - half, abs=1e-5)
    assert high == pytest.approx(middle + half, abs=1e-5)


def test_two_eyes_see_past_a_post_thinner_than_their_distance() -> None:
    eyes = Eyes(vec((0, 32, 0)), vec((0, -32, 0)))
    assert extent(eyes.hidden_across([post(600.0, 0.0, 20.0)], 0.0)) == 0.0


def test_two_eyes_and_a_wide_post_straight_ahead() -> None:
    eyes = Eyes(vec((0, 32, 0)), vec((0, -32, 0)))
    hidden = eyes.hidden_across([post(700.0, 0.0, 60.0)], 0.0)
    # the left eye's tangent on the left edge and the right eye's on the right one
    size = hypot(700, 32)
    edge = asin(60 / size) - atan2(32, 700)
    assert extent(hidden) == pytest.approx(2 * edge, abs=1e-5)


def test_a_level_bar_hides_the_same_height_everywhere_straight_ahead() -> None:
    bar = BallRow.along("bar", [(800.0, 600.0, 200.0), (800.0, -600.0, 200.0)], 20.0)
    caps = Caps.seen(bar, vec((0, 0, 0)))
    ((low, high),) = caps.upright([0.0])[0]
    middle, half = atan2(200, 800), asin(20 / hypot(800, 200))
    assert degrees(low) == pytest.approx(degrees(middle - half), abs=0.01)
    assert degrees(high) == pytest.approx(degrees(middle + half), abs=0.01)


def test_a_hoop_round_the_eye_hides_only_where_it_stands_ahead() -> None:
    corners = [(-300, 500, 0), (-300, 500, 600), (500, 500, 600), (500, -500, 600), (-400, -500, 0)]
    caps = Caps.seen(BallRow.along("hoop", corners, 20.0), vec((0, 0, 0)))
    azimuths = [radians(a) for a in (-100, -40, -15, 0, 15, 40, 100, 179)]
    together = caps.upright(azimuths)
    ((low, high),) = together[3]
    middle, half = atan2(600, 500), asin(20 / hypot(600, 500))
    assert (low, high) == pytest.approx((middle - half, middle + half), abs=1e-4)
    for azimuth, spans in zip(azimuths, together, strict=True):
        assert caps.upright([azimuth]) == [spans]
    assert together[-1] == []


@pytest.mark.parametrize("seed", range(20))
def test_balls_that_are_passed_over_hide_nothing(seed: int) -> None:
    rng = np.random.default_rng(seed)
    eyes = Eyes(vec((0, 32, 0)), vec((0, -32, 0)))
    # tubes all round and, every other time, close by: an eye may lie in one
    corners = rng.uniform(-1, 1, (4, 3)) * (1500.0 if seed % 2 else 150.0)
    row = BallRow.along("bar", corners, float(rng.uniform(5, 60)))
    seen = [Caps.seen(row, place) for place in eyes.places]
    azimuths = [radians(a) for a in range(-15, 16, 5)]
    uprights = zip(*(caps.upright(azimuths) for caps in seen), strict=True)
    assert eyes.hidden_upright(row, azimuths) == [both(a, b) for a, b in uprights]


def test_intervals() -> None:
    assert merged([(3, 4), (0, 1), (0.5, 2)]) == [(0, 2), (3, 4)]
    assert both([(0, 2), (3, 5)], [(1, 4)]) == [(1, 2), (3, 4)]
    assert within([(0, 10)], 2, 3) == [(2, 3)]
    assert extent([(0, 2), (3, 4.5)]) == 3.5
    assert merged([]) == []


def test_a_bar_behind_the_pillar_adds_nothing(
    cockpit: Callable[..., Cockpit], bar: Callable[..., Member], car: Car
) -> None:
    """A bar in the shadow of the pillar hides no more; one beside it does."""
    who = cockpit(bar("main_hoop", (0, 500, 0), (0, 500, 900))).occupants[0]
    pillar = car.left.pillar
    assert pillar is not None
    ends = [np.array(pillar.top), np.array(pillar.base)]
    shadow = [tuple(who.eye + 1.4 * (p - who.eye)) for p in ends]
    fat = pillar.model_copy(update={"width": 140.0})
    wide = car.model_copy(update={"left": car.left.model_copy(update={"pillar": fat})})
    hidden = pillar_view(
        cockpit(bar("a_pillar_bar_left", *shadow, role="a_pillar_bar", side="left"), car=wide),
        who,
        "left",
    )
    assert hidden is not None
    assert hidden.added == pytest.approx(0.0, abs=1e-9)
    assert hidden.alone > radians(3)
    beside = [tuple(moved(p, dy=-130)) for p in ends]
    shown = pillar_view(
        cockpit(bar("a_pillar_bar_left", *beside, role="a_pillar_bar", side="left")), who, "left"
    )
    assert shown is not None
    assert shown.total == pytest.approx(shown.alone + shown.added, abs=radians(0.5))


def test_a_bar_beside_or_behind_the_eyes_hides_no_pillar(
    cockpit: Callable[..., Cockpit], bar: Callable[..., Member], car: Car
) -> None:
    """In a car without pillars a side hoop counts as far as it stands ahead of the driver."""
    side = car.right.model_copy(update={"pillar": None})
    open_car = car.model_copy(update={"body": "open", "right": side})
    who = cockpit(bar("main_hoop", (0, 500, 0), (0, 500, 900))).occupants[0]
    x, y, z = who.eye

    def seen(*ends: tuple[float, float, float]) -> PillarView | None:
        return pillar_view(
            cockpit(bar("hoop", *ends, role="half_hoop", side="right"), car=open_car), who, "right"
        )

    # it falls past 5 degrees under the eye beside him, and behind
    beside = seen((x - 700, y - 800, z + 30), (x + 60, y - 800, z - 150))
    assert beside is None
    longer = seen((x - 700, y - 800, z + 30), (x + 800, y - 800, z - 325))
    assert longer is not None
    assert longer.total == 0.0
    ahead = seen((x + 300, y - 800, z + 100), (x + 700, y - 800, z - 200))
    assert ahead is not None
    assert ahead.total > radians(1)


def test_header_bar_lowers_the_view_and_a_high_one_does_not(
    cockpit: Callable[..., Cockpit], bar: Callable[..., Member]
) -> None:
    low = bar("header_bar", (800, 480, 860), (800, -480, 860))
    high = bar("header_bar", (800, 480, 1100), (800, -480, 1100))
    one = cockpit(low)
    who = one.occupants[0]
    found = view_up(one, who)
    # the bar's underside straight ahead, at most: to the side it is farther away
    dx, dz = 800 - who.eye[0], 860 - who.eye[2]
    ahead = atan2(dz, dx) - asin(20 / hypot(dx, dz))
    assert found.value is not None
    assert found.value <= ahead + 1e-4
    assert found.value == pytest.approx(ahead, abs=radians(1.0))
    other = cockpit(high)
    clear = view_up(other, other.occupants[0])
    assert clear.value is not None
    assert clear.value > found.value
    assert "hides 0.0 deg" in clear.note


def test_dash_bar_under_the_dash_hides_nothing_and_one_above_does(
    cockpit: Callable[..., Cockpit], bar: Callable[..., Member]
) -> None:
    under, above = (
        cockpit(bar("dash_bar", (1000, 600, z), (1000, -600, z))) for z in (440.0, 640.0)
    )
    hidden, shown = (view_down(c, c.occupants[0]) for c in (under, above))
    assert "hides 0.0 deg" in hidden.note
    assert shown.value is not None
    assert hidden.value is not None
    assert shown.value > hidden.value
    none = cockpit(bar("main_hoop", (0, 500, 0), (0, 500, 900)))
    assert view_down(none, none.occupants[0]).absent


def test_any_tube_across_the_screen_counts_whatever_its_role(
    cockpit: Callable[..., Cockpit], bar: Callable[..., Member]
) -> None:
    """A strut at eye level hides the view up; one below it (a scuttle hoop) the view down."""
    eye = cockpit().occupants[0].eye[2]
    level = cockpit(bar("fancy", (900, 600, eye + 10), (900, -600, eye + 10)))
    up = view_up(level, level.occupants[0])
    assert up.members == ("fancy",)
    assert abs(up.value or 9.0) < radians(2.0)
    scuttle = cockpit(bar("front_hoop", (1000, 600, eye - 60), (1000, -600, eye - 60)))
    assert view_down(scuttle, scuttle.occupants[0]).members == ("front_hoop",)
    assert (view_up(scuttle, scuttle.occupants[0]).value or 0.0) > radians(3.0)

"""The bend schedule: which end first, what is left for the clamp, marks on the blank."""

from __future__ import annotations

from math import degrees, pi

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from cagekit.errors import GeometryError
from cagekit.geometry.centre_line import CentreLine, rotate
from cagekit.inputs.tooling import Die, Tooling
from cagekit.materials.tubes import Tube
from cagekit.shop.bending.bends import clocks, hanging, plan_work, schedule
from cagekit.shop.bending.dial import snapped
from cagekit.shop.bending.rows import BendRow

TUBE = Tube(od=40.0, wall=2.5, material="steel")


def shop(**changes):
    die = {
        "name": "40 x 120", "od": 40, "clr": 120, "clamp": 80, "tail": 200, "max_angle": 180,
        "test": [{"set": 32, "got": 30}, {"set": 94, "got": 90}],
    }  # fmt: skip
    bender = changes.pop("bender", {})
    order = changes.pop("order", {})
    return Tooling.model_validate(
        {
            "name": "shop",
            "bender": bender,
            "die": [die | changes],
            "saw": {"kerf": 2, "end_trim": 0},
            "stock": [{"length": 6000}],
            "order": order,
        }
    )


def rows(*legs, clr=120.0, angle=pi / 2):
    bends = [BendRow(row=i + 1, feed=f, angle=angle, clr=clr) for i, f in enumerate(legs[:-1])]
    return (*bends, BendRow(row=len(legs), feed=legs[-1]))


def way(*legs, **die):
    return plan_work(rows(*legs), shop(**die).die[0])


def test_long_legs_start_at_end_a_and_waste_nothing():
    work = way(500, 300, 500)
    assert work.order == ((1, "a"), (2, "a"))
    assert (work.extra_a, work.extra_b) == (0, 0)


def test_a_short_end_goes_in_first_when_the_other_is_long():
    # 100 mm holds in the clamp (80) but not under the pressure block (200)
    work = way(500, 300, 100)
    assert work.order == ((2, "b"), (1, "b"))
    assert work.datum == "b"
    assert work.extra_a == work.extra_b == 0


def test_both_ends_short_are_bent_from_both_ends():
    work = way(90, 900, 90)
    assert work.order == ((1, "a"), (2, "b"))
    assert work.flips == 1
    assert work.extra_a == work.extra_b == 0


def test_a_small_extra_is_better_than_turning_the_blank():
    work = way(90, 900, 170)
    assert work.flips == 0
    assert work.order[0] == (1, "a")
    assert work.extra_b == pytest.approx(30)


def test_very_short_ends_are_left_longer():
    work = way(20, 150, 50)
    # the middle is too short for the pressure block, so one direction: 60 + 150 or 30 + 180
    assert work.short == ()
    assert work.extra_a + work.extra_b == pytest.approx(210)


def test_a_straight_too_short_for_the_clamp_is_named():
    work = way(500, 70, 500)
    assert work.short == ((1, 70, 80),)


def test_a_straight_that_holds_the_block_but_not_the_clamp_is_bent_from_both_ends():
    work = way(900, 70, 900, straight=150, tail=60)
    assert work.short == ()
    assert work.order == ((1, "a"), (2, "b"))


@given(st.lists(st.floats(0, 700), min_size=2, max_size=6), st.floats(30, 150), st.floats(0, 300))
def test_no_other_way_is_cheaper_and_every_bend_is_held(legs, clamp, tail):
    die = Die.model_validate(
        {"name": "d", "od": 40, "clr": 120, "clamp": clamp, "tail": tail, "max_angle": 180}
    )
    r = rows(*legs)
    work = plan_work(r, die)
    feeds = [x.feed for x in r]
    feeds[0] += work.extra_a
    feeds[-1] += work.extra_b
    short = {i for i, _, _ in work.short}
    made = set()
    for bend, lead in work.order:
        ahead, behind = (bend - 1, bend) if lead == "a" else (bend, bend - 1)
        between = ahead not in (0, len(feeds) - 1)
        if not (between and ahead in short):
            assert feeds[ahead] >= clamp - 1e-6
        # unbent tube behind: straights and bends that are not made yet, up to one that is
        unbent, i, step = feeds[behind], behind, 1 if lead == "a" else -1
        while 0 < i < len(feeds) - 1 and (i if lead == "b" else i + 1) not in made:
            unbent += r[(i if lead == "b" else i + 1) - 1].arc + feeds[i + step]
            i += step
        if behind not in short:
            assert unbent >= tail - 1e-6
        made.add(bend)
    assert made == set(range(1, len(r)))


HOOP = [(0, 600, 0), (0, 600, 700), (0, 400, 1000), (0, -400, 1000), (0, -600, 700), (0, -600, 0)]


def test_marks_of_a_hoop_by_hand():
    path = CentreLine.from_polyline([(0, 0, 0), (0, 0, 500), (0, 700, 500), (0, 700, 0)], 120)
    sheet = schedule("main_hoop", TUBE, path, shop())
    arc = 120 * pi / 2
    assert [s.start for s in sheet.steps] == pytest.approx([380, 380 + arc + 460])
    assert [s.mark for s in sheet.steps] == pytest.approx([s.start for s in sheet.steps])
    assert sheet.blank == pytest.approx(380 + arc + 460 + arc + 380)
    assert sheet.cut_length == pytest.approx(path.length)
    assert sheet.balance == pytest.approx(0, abs=1e-9)
    assert degrees(sheet.steps[0].set_angle) == pytest.approx(94)
    assert sheet.steps[1].rotation == pytest.approx(0, abs=1e-12)


def test_centre_and_offset_marks():
    path = CentreLine.from_polyline([(0, 0, 0), (0, 0, 500), (0, 700, 500)], 120)
    arc = 120 * pi / 2
    centre = schedule("x", TUBE, path, shop(mark_at="centre"))
    assert centre.steps[0].mark == pytest.approx(380 + arc / 2)
    ahead = schedule("x", TUBE, path, shop(mark_at="offset", mark_offset=-38))
    assert ahead.steps[0].mark == pytest.approx(380 - 38)


def test_the_mark_is_on_the_tube():
    path = CentreLine.from_polyline([(0, 0, 0), (0, 0, 220), (0, 700, 220)], 120)
    sheet = schedule("x", TUBE, path, shop(mark_at="offset", mark_offset=-130))
    # 100 mm ahead of the bend are enough for the clamp, but the mark is 130 ahead
    assert sheet.work.extra_a == pytest.approx(30)
    assert sheet.steps[0].mark == pytest.approx(0)


def test_nothing_left_between_the_cuts_names_the_tube():
    with pytest.raises(GeometryError, match="stub: nothing left"):
        schedule(
            "stub", TUBE, CentreLine.straight((0, 0, 0), (50, 0, 0)), shop(), tip_a=30, tip_b=30
        )


def test_marks_from_end_b_count_from_its_blank_end():
    path = CentreLine.from_polyline([(0, 0, 0), (0, 0, 500), (0, 220, 500)], 120)
    sheet = schedule("x", TUBE, path, shop(mark_at="offset", mark_offset=15))
    assert sheet.work.datum == "b"
    assert sheet.steps[0].start == pytest.approx(100)
    assert sheet.steps[0].mark == pytest.approx(115)
    assert sheet.steps[0].stop == pytest.approx(100 + 120 * pi / 2)


def test_stretch_shortens_the_blank_and_moves_the_marks():
    path = CentreLine.from_polyline([(0, 0, 0), (0, 0, 500), (0, 700, 500), (0, 700, 0)], 120)
    sheet = schedule("x", TUBE, path, shop(stretch=0.02))
    arc = 120 * pi / 2 / 1.02
    assert [s.start for s in sheet.steps] == pytest.approx([380, 380 + arc + 460])
    assert sheet.blank == pytest.approx(380 + arc + 460 + arc + 380)
    assert sheet.stretch == pytest.approx(2 * 0.02 * arc)
    assert sheet.balance == pytest.approx(0, abs=1e-9)


def test_tips_and_fitting_trim_shift_the_marks():
    path = CentreLine.from_polyline([(0, 0, 0), (0, 0, 500), (0, 700, 500)], 120)
    sheet = schedule("x", TUBE, path, shop(), tip_a=20, tip_b=-5, trim_a=3, trim_b=4)
    assert sheet.steps[0].mark == pytest.approx(380 - 20 + 3)
    assert sheet.cut_length == pytest.approx(path.length - 15)
    assert sheet.blank == pytest.approx(path.length - 15 + 7)
    assert sheet.balance == pytest.approx(0, abs=1e-9)


def test_a_straight_tube_has_a_blank_and_no_steps():
    sheet = schedule(
        "dash_bar", TUBE, CentreLine.straight((0, 0, 0), (0, 900, 0)), shop(), tip_a=11
    )
    assert sheet.steps == ()
    assert sheet.die is None
    assert sheet.problem == ""
    assert sheet.blank == pytest.approx(889)


def test_a_tube_without_die_keeps_its_rows_and_says_why():
    path = CentreLine.from_polyline([(0, 0, 0), (0, 0, 500), (0, 700, 500)], 150)
    big = Tube(od=50.0, wall=2.0, material="steel")
    sheet = schedule("x", big, path, shop())
    assert "no die takes 50.00 mm" in sheet.problem
    assert [s.mark for s in sheet.steps] == pytest.approx([350])
    assert [s.set_angle for s in sheet.steps] == [s.angle for s in sheet.steps]
    assert sheet.blank == pytest.approx(path.length)


@pytest.mark.parametrize(("drawn", "told"), [(120.0, None), (120.4, None), (150.0, 150.0)])
def test_a_radius_that_the_die_does_not_bend_is_told(drawn, told):
    """Half a mm is what a die's own radius is known to (common practice)."""
    path = CentreLine.from_polyline([(0, 0, 0), (0, 0, 500), (0, 700, 500)], drawn)
    assert schedule("x", TUBE, path, shop()).other_radius == told


def test_dial_counts_the_way_the_bender_does():
    path = CentreLine.from_polyline([(0, 0, 0), (500, 0, 0), (500, 0, 600), (500, 400, 600)], 120)
    with_clock = schedule("x", TUBE, path, shop())
    against = schedule("x", TUBE, path, shop(bender={"rotation": "counter-clockwise"}))
    assert degrees(with_clock.steps[1].rotation) == pytest.approx(-90)
    assert degrees(with_clock.steps[1].dial) == pytest.approx(-90)
    assert degrees(against.steps[1].dial) == pytest.approx(90)
    assert with_clock.steps[0].dial is None


def test_clock_and_arc_round_the_tube():
    path = CentreLine.from_polyline([(0, 0, 0), (500, 0, 0), (500, 0, 600), (500, 400, 600)], 120)
    sheet = schedule("x", TUBE, path, shop())
    assert [degrees(s.clock) for s in sheet.steps] == pytest.approx([0, -90])
    assert sheet.steps[1].clock_arc == pytest.approx(-20 * pi / 2)


coordinate = st.floats(-900, 900)


@st.composite
def tubes(draw):
    points = draw(st.lists(st.tuples(coordinate, coordinate, coordinate), min_size=3, max_size=6))
    try:
        path = CentreLine.from_polyline(points, 120)
    except GeometryError:
        assume(False)
    assume(path.bends)
    return path


@given(tubes())
def test_clocks_are_the_running_sum_of_rotations(path):
    sheet = schedule("x", TUBE, path, shop())
    total = np.cumsum([r.rotation for r in sheet.rows[:-1]])
    for clock, turned in zip(clocks(path), total, strict=True):
        assert abs((clock - turned + pi) % (2 * pi) - pi) < 1e-6


@given(tubes(), st.sampled_from(["right", "left"]))
def test_angle_finder_reads_the_leg_that_was_bent_last(path, swing):
    """Put every bend's plane level and look at the real leg before it, in the model's own space."""
    sheet = schedule("x", TUBE, path, shop(bender={"swing": swing}, clamp=1, tail=1))
    assume(sheet.work.datum == "a")
    assume(sheet.work.flips == 0)
    for step in sheet.steps[1:]:
        before, bend = path.bends[step.bend - 2], path.bends[step.bend - 1]
        turn = sheet.rows[step.bend - 1].rotation
        # a turn too small to be made is told as none
        assume(snapped(turn) == turn)
        leg = -before.direction
        assert np.sin(step.finder) == pytest.approx(abs(leg @ bend.axis), abs=1e-7) or np.sin(
            step.finder
        ) == pytest.approx(-abs(leg @ bend.axis), abs=1e-7)


def test_a_flat_hoop_does_not_hang_and_a_twisted_tube_does():
    flat = schedule("x", TUBE, CentreLine.from_polyline(HOOP, 120), shop())
    assert hanging(flat.rows, flat.work, "right") == pytest.approx((0, 0, 0, 0), abs=1e-9)
    # first leg 500 up (or down) from the plane of the second bend
    path = CentreLine.from_polyline([(0, 0, 0), (0, 0, 500), (0, 700, 500), (600, 700, 500)], 120)
    sheet = schedule("x", TUBE, path, shop())
    depths = {s: hanging(sheet.rows, sheet.work, s)[1] for s in ("right", "left")}
    assert sorted(depths.values()) == pytest.approx([0, 500])
    # walked from a the second bend turns from +Y to +X: its axis points down, so a machine that
    # swings right has "down" at the car's up: the leg lies on top of it
    axis = path.bends[1].axis
    assert axis == pytest.approx((0, 0, -1))
    assert depths["left"] == pytest.approx(500)


def test_swing_side_in_a_machine_built_here():
    """Stand behind the tail, look at the die, bend to the right: where is up?"""
    path = CentreLine.from_polyline([(0, 0, 0), (0, 0, 500), (0, 700, 500), (600, 700, 500)], 120)
    bend = path.bends[1]
    look = -bend.direction
    leg_before = -bend.direction
    # the leading end turns with the bend seen from the tail: rotate it about the bend's axis
    swung = rotate(leg_before, bend.axis, -bend.angle)
    up_if_right = np.cross(swung, look)
    assert up_if_right @ bend.axis > 0.99 * np.linalg.norm(up_if_right)

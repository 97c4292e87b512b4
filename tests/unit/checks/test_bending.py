"""What the bender cannot make, with numbers and a cure."""

from __future__ import annotations

import pytest

from cagekit.cage.cage import Cage
from cagekit.checks import Finding, Status, run
from cagekit.design import Design
from cagekit.geometry.centre_line import CentreLine
from cagekit.inputs.tooling import Tooling
from cagekit.materials.tubes import Tube
from cagekit.shop.bending.bends import schedule

TUBE = Tube(od=40.0, wall=2.5, material="steel")
TESTS = [{"set": 32, "got": 30}, {"set": 94, "got": 90}]


def shop(*more_dies, bed=None, stock=6000, min_piece=0, **die):
    base = {
        "name": "40 x 120", "od": 40, "clr": 120, "clamp": 80, "tail": 200, "max_angle": 100,
        "test": TESTS,
    }  # fmt: skip
    return Tooling.model_validate(
        {
            "name": "shop",
            "bender": {} if bed is None else {"bed_height": bed},
            "die": [base | die, *(base | d for d in more_dies)],
            "saw": {"kerf": 2, "end_trim": 0, "min_piece": min_piece},
            "stock": [{"length": stock}],
        }
    )


def bend_findings(sheets, tooling, units="mm") -> tuple[Finding, ...]:
    """Hold schedules made by hand against a shop."""
    design = Design(cage=Cage("by hand", ()), tooling=tooling, units=units)
    design.__dict__["bends"] = tuple(sheets)
    return run(design, ["shop"])


def found(path, tooling, tube=TUBE):
    sheet = schedule("bar", tube, path, tooling)
    return {f.code: f for f in bend_findings([sheet], tooling)}


def bent(*points, clr=120):
    return CentreLine.from_polyline(points, clr)


L_SHAPE = bent((0, 0, 0), (600, 0, 0), (600, 700, 0))


def test_a_plain_tube_passes_all_but_inspection():
    all_found = found(L_SHAPE, shop(min_over_max_od=0.95))
    left = {c for c, f in all_found.items() if f.status is not Status.PASS}
    assert left == {"shop/wall-in-bends"}
    assert all_found["shop/wall-in-bends"].status is Status.NEEDS_INSPECTION
    assert all(f.group == "shop" for f in all_found.values())


def test_no_die():
    f = found(L_SHAPE, shop(), Tube(od=50.0, wall=2.0, material="steel"))["shop/die"]
    assert f.status is Status.FAIL
    assert "Closest is '40 x 120'" in f.text


def test_another_radius_names_the_die_that_has_it():
    path = bent((0, 0, 0), (600, 0, 0), (600, 700, 0), clr=118)
    f = found(path, shop())["shop/bend-radius"]
    assert f.status is Status.FAIL
    assert (f.measured, f.limit) == (pytest.approx(118), 120)
    assert "Draw the bends with a radius of 120 mm" in f.cure


def test_angle_beyond_the_stroke_counts_springback():
    # 98 degrees are within the stroke of 100, but need 102.3
    path = bent((0, 0, 0), (600, 0, 0), (502.6, 693.0, 0))
    f = found(path, shop())["shop/bend-angle"]
    assert f.status is Status.FAIL
    assert f.measured == pytest.approx(102.3, abs=0.1)
    assert "two bends of about 49 degrees" in f.cure


def test_short_straight_between_bends_tells_how_much_is_missing():
    # tangent lengths 2 x 120 of a leg of 300: 60 left of the 80 that the clamp needs
    path = bent((0, 0, 0), (600, 0, 0), (600, 300, 0), (1200, 300, 0))
    f = found(path, shop())["shop/straight-between-bends"]
    assert f.status is Status.FAIL
    assert f.measured == pytest.approx(60)
    assert f.limit == 80
    assert "grows by 20 mm" in f.cure
    assert "sleeve" in f.cure


def test_short_straight_names_a_die_with_a_smaller_radius():
    path = bent((0, 0, 0), (600, 0, 0), (600, 300, 0), (1200, 300, 0))
    tooling = shop({"name": "40 x 100", "clr": 100})
    f = found(path, tooling)["shop/straight-between-bends"]
    # 60 + 2 x 20
    assert "die 40 x 100, which leaves 100 mm" in f.cure


def test_longer_tail_is_a_warning_with_the_length():
    path = bent((0, 0, 0), (170, 0, 0), (170, 170, 0))
    f = found(path, shop())["shop/tube-to-hold"]
    # 50 mm each end: the clamp wants 80, the block 200
    assert f.status is Status.WARN
    assert f.measured == pytest.approx(30 + 150)
    assert "30 mm at end a and 150 mm at end b" in f.cure


def test_swapped_direction_is_told():
    path = bent((0, 0, 0), (600, 0, 0), (600, 220, 0))
    f = found(path, shop())["shop/tube-to-hold"]
    assert f.status is Status.PASS
    assert "end b goes in first" in f.text


def test_bending_from_both_ends_is_told():
    path = bent((0, 0, 0), (220, 0, 0), (220, 900, 0), (0, 900, 0))
    f = found(path, shop())["shop/tube-to-hold"]
    assert "bends 1 to 1 from end a, then turn the blank and bend 2 to 2 from end b" in f.text


def test_a_leg_that_reaches_the_floor():
    path = bent((0, 0, 0), (0, 0, 1100), (0, 700, 1100), (600, 700, 1100))
    depths = {}
    for swing in ("right", "left"):
        tooling = shop(bed=1000)
        bender = tooling.bender.model_copy(update={"swing": swing})
        f = found(path, tooling.model_copy(update={"bender": bender}))["shop/leg-to-floor"]
        depths[swing] = (f.status, f.measured)
    assert depths["left"][0] is Status.WARN
    assert depths["left"][1] == pytest.approx(1100)
    assert depths["right"][0] is Status.PASS


def test_blank_longer_than_the_stick():
    path = CentreLine.straight((0, 0, 0), (3500, 0, 0))
    f = found(path, shop(stock=3000))["shop/blank-length"]
    assert f.status is Status.FAIL
    assert f.measured == 3500
    assert "longer by 500 mm, e.g. 6 m" in f.cure
    assert "sleeve" in f.cure


def test_piece_too_short_for_the_vice():
    f = found(CentreLine.straight((0, 0, 0), (40, 0, 0)), shop(min_piece=60))["shop/short-piece"]
    assert f.status is Status.WARN


def test_no_test_bends_need_input():
    f = found(L_SHAPE, shop(test=[]))["shop/springback"]
    assert f.status is Status.NEEDS_INPUT
    assert "needs test bends" in f.text


def test_extrapolated_angles_are_told():
    path = bent((0, 0, 0), (600, 0, 0), (1100, 50, 0))
    f = found(path, shop())["shop/springback-range"]
    assert f.status is Status.WARN
    assert f.measured == pytest.approx(5.71, abs=0.01)


def test_cures_speak_the_units_of_the_shop():
    path = bent((0, 0, 0), (600, 0, 0), (600, 300, 0), (1200, 300, 0))
    tooling = shop()
    sheet = schedule("bar", TUBE, path, tooling)
    found_in = {f.code: f for f in bend_findings([sheet], tooling, "in")}
    assert "grows by 0.79 in" in found_in["shop/straight-between-bends"].cure
    assert found_in["shop/straight-between-bends"].measured == pytest.approx(60)


def test_thin_bends_are_a_warning():
    wall = found(bent((0, 0, 0), (600, 0, 0), (600, 700, 0), clr=90), shop(clr=90))
    f = wall["shop/wall-in-bends"]
    assert f.status is Status.WARN
    assert f.measured == pytest.approx(2.5 * 90 / 110)
    assert f.limit == pytest.approx(2.5 * 0.83)


def test_trim_for_fitting_is_no_tube_for_the_clamp():
    tooling = shop()
    sheet = schedule("bar", TUBE, L_SHAPE, tooling, trim_a=5, trim_b=5)
    codes = {f.code: f for f in bend_findings([sheet], tooling)}
    assert codes["shop/tube-to-hold"].status is Status.PASS
    assert sheet.waste == 10

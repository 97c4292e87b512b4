"""The bend sheet in words."""

from __future__ import annotations

from math import pi

from cagekit.geometry.centre_line import CentreLine
from cagekit.inputs.tooling import Tooling
from cagekit.materials.tubes import Tube
from cagekit.shop.bending.bends import schedule
from cagekit.shop.bending.clocking import instructions, why

TUBE = Tube(od=40.0, wall=2.5, material="steel")


def shop(**die):
    base = {"name": "d", "od": 40, "clr": 120, "clamp": 80, "tail": 200, "max_angle": 180}
    return Tooling.model_validate(
        {
            "name": "shop",
            "die": [base | {"test": [{"set": 32, "got": 30}, {"set": 94, "got": 90}]} | die],
            "saw": {"kerf": 2, "end_trim": 0},
            "stock": [{"length": 6000}],
        }
    )


def words(points, units="mm", fraction=None, **die):
    path = CentreLine.from_polyline(points, 120)
    return instructions(schedule("x", TUBE, path, shop(**die)), units, fraction)


FLAT = [(0, 0, 0), (0, 0, 500), (0, 700, 500), (0, 700, 0)]
TWISTED = [(0, 0, 0), (600, 0, 0), (600, 0, 600), (600, 500, 600)]


def test_a_flat_hoop_is_not_turned():
    lines = words(FLAT)
    assert lines[0].startswith("Saw the blank to 1597.0 mm.")
    assert "at 380.0 mm (bend 1), 1028.5 mm (bend 2)" in lines[2]
    assert "end a into the die" in lines[3]
    assert "reference line is on the outside" in lines[3]
    assert "do not turn the tube" in lines[4]
    assert "drive to 94.0 degrees, 90.0 degrees are left" in lines[4]


def test_a_turn_is_told_three_ways():
    text = words(TWISTED)[4]
    assert "turn the tube 90.0 degrees counter-clockwise as seen from its tail" in text
    # the line started on the outside and was turned with the tube
    assert f"90.0 degrees ({20 * pi / 2:.1f} mm round the tube) counter-clockwise of the" in text
    # both bends are square: the leg bent last stands square to the bending plane
    assert "shows 90.0 degrees from the plane" in text


def test_from_both_ends_and_extra_length():
    lines = words([(0, 0, 0), (215, 0, 0), (215, 900, 0), (0, 900, 0)])
    assert any("Turn the blank end for end: end b goes in first" in x for x in lines)
    assert not any("to be cut off" in x for x in lines)
    short = words([(0, 0, 0), (150, 0, 0), (150, 900, 0), (-400, 900, 0)])
    assert any("to be cut off after bending: 50.0 mm at end a" in x for x in short)


def test_from_end_b_the_line_turns_with_the_tube_too():
    points = [(0, 0, 0), (600, 0, 0), (600, 0, 600), (600, 220, 600)]
    lines = words(points)
    assert "end b into the die" in lines[3]
    # bend 2 is first: the line, which is the outside of bend 1, is a quarter off there and comes
    # to the outside by the turn before bend 1
    assert "counter-clockwise as seen from its tail" in lines[4]
    assert "90.0 degrees (31.4 mm round the tube) clockwise of the outside" in lines[3]
    assert "the reference line is on the outside" in lines[4]


def test_inches_by_the_tape():
    assert "14 15/16 in (bend 1)" in words(FLAT, "in", 16)[2]


def test_a_straight_tube_is_only_sawn():
    path = CentreLine.straight((0, 0, 0), (900, 0, 0))
    assert len(instructions(schedule("x", TUBE, path, shop()))) == 1


def test_why_that_end():
    path = CentreLine.from_polyline([(0, 0, 0), (600, 0, 0), (600, 0, 600), (600, 220, 600)], 120)
    assert why(schedule("x", TUBE, path, shop())) == (
        "The clamp holds 80 mm, the pressure block 200 mm; the tube has 480 mm at end a and "
        "100 mm at end b: end b goes in first."
    )
    assert why(schedule("x", TUBE, CentreLine.straight((0, 0, 0), (900, 0, 0)), shop())) == ""

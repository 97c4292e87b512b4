"""What is said beside a table of bends."""

from __future__ import annotations

from cagekit.geometry.centre_line import CentreLine
from cagekit.inputs.tooling import Tooling
from cagekit.materials.tubes import Tube
from cagekit.shop.bending.bends import schedule
from cagekit.shop.bending.clocking import beside_table

TUBE = Tube(od=40.0, wall=2.5, material="steel")
SHOP = Tooling.model_validate(
    {
        "name": "shop",
        "die": [
            {"name": "d", "od": 40, "clr": 120, "clamp": 80, "tail": 200, "max_angle": 180}
            | {"test": [{"set": 32, "got": 30}, {"set": 94, "got": 90}]}
        ],
        "saw": {"kerf": 2, "end_trim": 0},
        "stock": [{"length": 6000}],
    }
)


def words(*points: tuple[float, float, float]) -> tuple[str, ...]:
    path = CentreLine.from_polyline(points, 120)
    return beside_table(schedule("x", TUBE, path, SHOP), lambda mm: f"{mm:.1f} mm")


def test_a_flat_hoop_is_not_turned() -> None:
    lines = words((0, 0, 0), (0, 0, 500), (0, 700, 500), (0, 700, 0))
    assert lines == (
        "Scribe the reference line along the blank: it is the outside of bend 1. Hook the tape "
        "on end A and leave it there for all marks; a mark belongs at the start of the bend "
        "on the die.",
    )


def test_a_turn_has_its_angle_finder() -> None:
    lines = words((0, 0, 0), (600, 0, 0), (600, 0, 600), (600, 500, 600))
    assert lines[1].startswith("Turn: + is clockwise")
    # both bends are square: the leg bent last stands square to the bending plane
    assert lines[2] == (
        "Turned for bend 2, the leg bent last stands 90.0° out of the plane the machine bends in."
    )


def test_a_tube_bent_from_both_ends_tells_the_change_and_where_the_line_lies() -> None:
    lines = words((0, 0, 0), (215, 0, 0), (215, 900, 0), (0, 900, 0))
    (turned,) = (x for x in lines if "end for end" in x)
    assert turned.startswith("Before bend 2 turn the blank end for end: end B goes in first now; ")
    assert turned.endswith("the reference line is on the outside of the bend.")


def test_from_end_b_the_line_turns_with_the_tube_too() -> None:
    # square bends in two planes, both ends short: bend 2 is made from the other end, and the line,
    # which is the outside of bend 1, is a quarter turn off its outside
    lines = words((0, 0, 0), (215, 0, 0), (215, 0, 900), (215, 215, 900))
    (turned,) = (x for x in lines if "end for end" in x)
    assert "90.0 degrees (31.4 mm round the tube)" in turned

"""The tooling sheet: presets load, dies and stock are found, mistakes are refused."""

from __future__ import annotations

from math import degrees

import pytest
from pydantic import ValidationError

from cagekit.errors import NotFoundError
from cagekit.inputs.presets import find_preset, load_file
from cagekit.inputs.tooling import Die, PressBrake, Tooling
from cagekit.shop.bending.springback import for_die

SHOPS = ("inch-shop", "inch-garage", "metric-shop")


def preset(name):
    return load_file("tooling", find_preset("tooling", name), Tooling)


def small(**changes):
    base = {
        "name": "small",
        "die": [
            {"name": "a", "od": 40, "clr": 120, "clamp": 80, "tail": 150, "max_angle": 180},
            {"name": "b", "od": 40, "clr": 160, "clamp": 80, "tail": 150, "max_angle": 180},
        ],
        "saw": {"kerf": 2},
        "stock": [{"length": 6000}],
    }
    return Tooling.model_validate(base | changes)


@pytest.mark.parametrize("name", SHOPS)
def test_presets_are_sane(name):
    shop = preset(name)
    assert shop.name == name
    assert shop.source
    for die in shop.die:
        # usual dies: radius 3 to 4.5 diameters (common practice), clamp about two diameters
        assert 3 <= die.clr / die.od <= 4.5
        assert 1.5 <= die.clamp / die.od <= 3
        assert 90 <= degrees(die.max_angle) <= 200
        model = for_die(die, 2.5)
        assert model.measured is (name != "inch-garage")
        if model.measured:
            assert model.warnings == ()
            assert 2 < degrees(model.set_angle(1.5708)) - 90 < 7
    assert shop.notcher is not None
    assert all(shop.notcher.saw_for(d.od) is not None for d in shop.die if d.od != 50.0)


def test_inches_are_read_as_inches():
    die = preset("inch-shop").die_for(41.3)
    assert (die.od, die.clr) == (pytest.approx(41.275), pytest.approx(152.4))
    assert die.least_straight == pytest.approx(82.55)


def test_the_first_die_that_fits_or_the_nearest_radius():
    shop = small()
    assert shop.die_for(40).name == "a"
    assert shop.die_for(40.2).name == "a"
    assert shop.die_for(40, 150).name == "b"


def test_no_die_names_the_closest():
    with pytest.raises(NotFoundError, match=r"no die takes 44.45 mm.*Closest is 'a' for 40.00"):
        small().die_for(44.45)


def test_stock_of_one_tube_replaces_the_general_one():
    shop = small(stock=[{"length": 6000}, {"length": 5000, "od": 40, "wall": 2}])
    assert [s.length for s in shop.stock_for(40, 2.0)] == [5000]
    assert [s.length for s in shop.stock_for(40, 3.0)] == [6000]
    only = small(stock=[{"length": 5000, "od": 40}])
    with pytest.raises(NotFoundError, match=r"no stock of 38.00 mm x 2.50"):
        only.stock_for(38, 2.5)


def test_offcuts_match_size_and_steel():
    shop = small(
        offcut=[
            {"od": 40, "wall": 2, "length": 900, "material": "s235"},
            {"od": 40, "wall": 2, "length": 800},
            {"od": 40, "wall": 3, "length": 700},
        ]
    )
    assert [o.length for o in shop.offcuts_for(40, 2, "s235")] == [900, 800]
    assert [o.length for o in shop.offcuts_for(40, 2, "e355-n")] == [800]


def test_brake_takes_the_next_thicker_tool():
    brake = preset("metric-shop").brake
    assert isinstance(brake, PressBrake)
    assert brake.tool_for(2.5).thickness == 3
    assert brake.tool_for(3.0).thickness == 3
    with pytest.raises(NotFoundError, match=r"no tool for 8\.00 mm"):
        brake.tool_for(8)


def test_notcher_takes_the_saw_that_fits():
    notcher = preset("inch-shop").notcher
    assert notcher.saw_for(41.275) == pytest.approx(41.275)
    assert notcher.saw_for(40.0) is None


@pytest.mark.parametrize(
    ("changes", "problem"),
    [
        ({"clr": 15}, "more than half"),
        ({"clamp": 0}, "greater than 0"),
        ({"stretch": 0.5}, "less than 0.2"),
        ({"colour": "red"}, "Extra inputs"),
    ],
)
def test_dies_that_cannot_be(changes, problem):
    good = {"name": "a", "od": 40, "clr": 120, "clamp": 80, "tail": 150, "max_angle": 180}
    with pytest.raises(ValidationError, match=problem):
        Die.model_validate(good | changes)


@pytest.mark.parametrize("mark_at", ["start", "centre"])
def test_a_mark_is_offset_only_where_it_is_said_to_be(mark_at):
    die = {"name": "a", "od": 40, "clr": 120, "clamp": 80, "tail": 150, "max_angle": 180}
    moved = {**die, "mark_offset": -30}
    assert small(die=[{**moved, "mark_at": "offset"}]).die[0].mark_offset == -30
    with pytest.raises(ValidationError, match=f"no mark is offset: mark_at is '{mark_at}'"):
        small(die=[{**moved, "mark_at": mark_at}])


def test_no_bridge_has_a_width_where_none_is_left():
    table = {
        "kerf": 1.5, "min_hole_ratio": 1, "max_thickness": 12, "gap": 10, "margin": 12,
        "sheet": [{"width": 1000, "length": 2000}],
    }  # fmt: skip
    assert small(table={**table, "bridges": 2, "bridge_width": 2}).table.bridge_width == 2
    with pytest.raises(ValidationError, match="no bridges are left in the contours"):
        small(table={**table, "bridge_width": 2})


def test_two_dies_of_one_name():
    die = {"name": "a", "od": 40, "clr": 120, "clamp": 80, "tail": 150, "max_angle": 180}
    with pytest.raises(ValidationError, match="two dies are called this"):
        small(die=[die, die])

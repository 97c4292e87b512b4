"""The way out, on openings where the answer can be worked out on paper."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon

from cagekit.cage.member import End, EndKind, Member, Swing
from cagekit.fit import egress
from cagekit.fit.cockpit import Cockpit
from cagekit.fit.egress import GRID, _Bars, _clear, _Hole, polygon_area, way_out
from cagekit.inputs.car import Car

Bar = Callable[..., Member]
Sit = Callable[..., Cockpit]


@pytest.fixture
def square(car: Car) -> Car:
    """A door opening of 900 x 600 mm."""
    door = car.left.door.model_copy(
        update={"outline": ((0.0, 0.0), (900.0, 0.0), (900.0, 600.0), (0.0, 600.0))}
    )
    return car.model_copy(update={"left": car.left.model_copy(update={"door": door})})


def test_an_open_rectangle(cockpit: Sit, bar: Bar, square: Car) -> None:
    scene = cockpit(bar("main_hoop", (-200, 600, 0), (-200, 600, 900)), car=square)
    who = scene.occupants[0]
    found = way_out(scene, who)
    assert found is not None
    assert found.width == pytest.approx(who.body.shoulder_breadth + 20)
    # the person lies level and is limited by the height
    assert found.margin == pytest.approx(300 - found.depth / 2, abs=GRID)
    assert found.margin <= 300 - found.depth / 2 + 1e-6
    assert found.area == pytest.approx(900 * 600, rel=0.01)
    assert found.members == ()


def test_a_door_bar_takes_the_lower_part(cockpit: Sit, bar: Bar, square: Car) -> None:
    bar_left = bar("door_bar_left", (-50, 640, 200), (950, 640, 200), role="door_bar", side="left")
    scene = cockpit(bar_left, car=square)
    found = way_out(scene, scene.occupants[0])
    assert found is not None
    free = 600 - 220
    assert found.margin == pytest.approx(free / 2 - found.depth / 2, abs=GRID)
    assert found.area == pytest.approx(900 * free, rel=0.02)
    assert found.members == ("door_bar_left",)
    assert found.tightest == ("door_bar_left",)
    assert polygon_area(found.polygon) == pytest.approx(found.area)


def test_a_bar_inboard_of_the_person_is_not_in_the_way(cockpit: Sit, bar: Bar, square: Car) -> None:
    scene = cockpit(bar("tunnel_bar", (-50, 100, 300), (950, 100, 300)), car=square)
    found = way_out(scene, scene.occupants[0])
    assert found is not None
    assert found.members == ()


def test_a_higher_bar_closes_the_way(cockpit: Sit, bar: Bar, square: Car) -> None:
    high = bar("door_bar_left", (-50, 640, 330), (950, 640, 330), role="door_bar", side="left")
    scene = cockpit(high, car=square)
    found = way_out(scene, scene.occupants[0])
    assert found is not None
    assert found.margin < 0


def test_swung_out_only_the_stubs_stay(cockpit: Sit, bar: Bar, square: Car) -> None:
    fixed = bar("door_bar_left", (-50, 640, 330), (950, 640, 330), role="door_bar", side="left")
    swings = replace(fixed, swing=Swing(hinge_end="b", hinge_cut=950.0, latch_cut=60.0))
    scene = cockpit(swings, car=square)
    who = scene.occupants[0]
    shut, opened = way_out(scene, who), way_out(scene, who, swung=True)
    assert shut is not None
    assert opened is not None
    assert shut.margin < 0 < opened.margin
    assert opened.margin == pytest.approx(300 - opened.depth / 2, abs=GRID)
    # the same once the bar is cut into its three pieces
    low, middle, high = fixed.path.split(60.0, 950.0)
    pinned = End(kind=EndKind.PINNED)
    pieces = (
        replace(fixed, id="door_bar_left_latch_stub", path=low, b=pinned),
        replace(swings, path=middle, a=pinned, b=pinned),
        replace(fixed, id="door_bar_left_hinge_stub", path=high, a=pinned),
    )
    again = cockpit(*pieces, car=square)
    for was, swung in ((shut, False), (opened, True)):
        found = way_out(again, again.occupants[0], swung=swung)
        assert found is not None
        assert found.margin == pytest.approx(was.margin, abs=1e-6)


def test_larger_people_have_less_room(
    cockpit: Sit, bar: Bar, square: Car, person: Callable
) -> None:
    low = bar("door_bar_left", (-50, 640, 150), (950, 640, 150), role="door_bar", side="left")
    margins = [
        way_out(s, s.occupants[0]).margin  # type: ignore[union-attr]
        for s in (cockpit(low, car=square, driver=person("male", p)) for p in (5, 50, 95))
    ]
    assert margins[0] > margins[1] > margins[2]


def test_without_an_outline_there_is_nothing_to_measure(cockpit: Sit, bar: Bar, car: Car) -> None:
    bare = car.model_copy(update={"left": car.left.model_copy(update={"door": None})})
    scene = cockpit(bar("main_hoop", (0, 600, 0), (0, 600, 900)), car=bare)
    assert way_out(scene, scene.occupants[0]) is None


def test_tubes_left_out_beforehand_take_nothing(
    cockpit: Sit, bar: Bar, square: Car, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Bars all round an opening, above it and below it, told by their boxes and looked at all."""
    rng = np.random.default_rng(5)
    left_out = 0
    for _ in range(25):
        ends = rng.uniform((-1500, -700, -900), (2400, 900, 1500), (6, 2, 3))
        ends = [*ends, np.array([(-50, 640, 900), (950, 640, 1400 * rng.random())])]
        bars = [
            bar(f"bar_{n}", *map(tuple, both), role="door_bar" if n % 3 == 0 else "", side="left")
            for n, both in enumerate(ends)
        ]
        found = []
        for looked_at in (egress._beside, lambda _, __, members, ___: [True] * len(members)):
            monkeypatch.setattr(egress, "_beside", looked_at)
            scene = cockpit(*bars, car=square)
            found.append(way_out(scene, scene.occupants[0]))
            monkeypatch.undo()
        assert repr(found[0]) == repr(found[1])
        hole = _Hole.of(square.left.door)
        near = egress._beside(hole, scene.occupants[0], bars, [0.0] * len(bars))
        left_out += near.count(False)
    assert 20 < left_out < 140


@pytest.mark.parametrize("seed", range(4))
def test_every_place_is_as_free_as_shapely_says(square: Car, seed: int) -> None:
    rng = np.random.default_rng(seed)
    door = square.left.door
    assert door is not None
    hole = _Hole.of(door)
    start, end = rng.uniform(-300, 1200, (2, 9, 2))
    end[0], end[1] = start[0], (start[1, 0], end[1, 1])  # a spot, and one straight up
    radius = rng.uniform(10, 40, 9)
    free = _clear(hole, _Bars(start, end, radius, ("bar",) * 9, (False,) * 9))
    edge = Polygon(door.outline).exterior
    for i, j in rng.integers(0, free.shape, (200, 2)):
        spot = Point(hole.grid[i, j])
        rooms = [LineString(ends).distance(spot) for ends in zip(start, end, strict=True)]
        side = 1.0 if Polygon(door.outline).covers(spot) else -1.0
        wanted = min(side * edge.distance(spot), *(np.array(rooms) - radius))
        assert free[i, j] == pytest.approx(wanted, abs=1e-9)

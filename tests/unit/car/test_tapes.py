"""Tapes held against points: the length by another way, and a number put wrong on purpose."""

from __future__ import annotations

from functools import cache
from math import dist
from typing import Any

import pytest

from cagekit.car.tapes import Taped, spoken, taped, tapes
from cagekit.checks import run
from cagekit.checks.finding import Finding
from cagekit.design import Design
from cagekit.inputs.car import Car, SideTapes, Tapes
from cagekit.inputs.resolve import load_build

HATCH = "gravel-hatch"


@cache
def written() -> Any:
    """The hatch's sheet as a file would have it, its tapes those of its points to the mm."""
    car = load_build(HATCH).car
    out = plain(car.model_dump(mode="json", by_alias=True))
    out["tapes"] = {"left": {}, "right": {}}
    for t in tapes():
        table = out["tapes"][t.side] if t.side else out["tapes"]
        table[t.id] = round(t.reckoned(car))
    return out


def plain(value: Any) -> Any:
    """Lists and tables that can be changed."""
    if isinstance(value, dict):
        return {k: plain(v) for k, v in value.items()}
    return [plain(v) for v in value] if isinstance(value, list | tuple) else value


def car_of(sheet: Any) -> Car:
    return Car.model_validate(sheet, context={"units": "mm"})


def with_number(path: str, more: float) -> Any:
    """The sheet with one number changed by ``more`` mm."""
    sheet = plain(written())
    name, _, axis = path.partition("@")
    name, _, index = name.partition("#")
    *tables, last = name.split(".")
    place = sheet
    for table in tables:
        place = place[table]
    if index:
        place, last = place[last], int(index) - 1
    if axis:
        place, last = place[last], ("xz" if index else "xyz").index(axis)
    place[last] = f"{float(place[last].removesuffix(' mm')) + more} mm"
    return sheet


def test_the_table_and_the_car_sheet_have_the_same_tapes() -> None:
    once = {t.id for t in tapes() if not t.side}
    sided = {t.id for t in tapes() if t.side}
    assert once == Tapes.model_fields.keys() - {"left", "right"}
    assert sided == SideTapes.model_fields.keys()
    assert len(tapes()) == len(once) + 2 * len(sided)


def test_lengths_from_the_points_are_those_between_the_points() -> None:
    car = load_build(HATCH).car
    found = {t.field: t.reckoned(car) for t in tapes()}

    def point(side: str, xyz: tuple[float, float, float]) -> tuple[float, float, float]:
        x, y, z = xyz
        return (x, y if side == "left" else -y, z)

    left, right = car.left, car.right
    assert left.front_foot
    assert right.front_foot
    assert left.roof_corner
    assert found["tapes.left.main_to_other_front_foot"] == pytest.approx(
        dist(point("left", left.main_foot.point), point("right", right.front_foot.point))
    )
    assert found["tapes.right.main_to_other_front_foot"] == pytest.approx(
        dist(point("right", right.main_foot.point), point("left", left.front_foot.point))
    )
    h = left.hoop
    rail = dist((0, h.half_width_rail, h.height_rail), left.roof_corner)
    assert found["tapes.left.rail_to_roof_corner"] == pytest.approx(rail)
    assert found["tapes.width_belt"] == pytest.approx(
        h.half_width_belt + right.hoop.half_width_belt
    )
    (x1, z1), (x3, z3) = left.door.outline[0], left.door.outline[2]
    assert found["tapes.left.door_1_to_3"] == pytest.approx(dist((x1, z1), (x3, z3)))


def bad(sheet: Any) -> list[Taped]:
    return [r for r in taped(car_of(sheet)) if not r.agrees]


NUMBERS = sorted({t.path for tape in tapes() for axis in tape.axes for t in axis})


@pytest.mark.parametrize("more", [25.0, -25.0, 80.0])
def test_a_number_put_wrong_is_among_those_named(more: float) -> None:
    alone = 0
    for path in NUMBERS:
        off = bad(with_number(path, more))
        assert off, f"{path}: no tape sees {more} mm"
        for row in off:
            named = {s.field: s.more for s in row.suspects}
            assert named[spoken(path)] == pytest.approx(-more, abs=8.0), path
        most = max(len(s.tapes) for s in off[0].suspects)
        alone += [s.field for s in off[0].suspects if len(s.tapes) == most] == [spoken(path)]
    # where tapes cross, it is the only one
    assert alone > len(NUMBERS) / 3


def test_a_tape_read_wrong_is_named_itself() -> None:
    sheet = plain(written())
    sheet["tapes"]["left"]["main_to_other_front_foot"] += 60
    (row,) = bad(sheet)
    assert row.tape.field == "tapes.left.main_to_other_front_foot"
    assert row.suspects[0].field == row.tape.field
    assert row.suspects[0].more == pytest.approx(-60, abs=1)


def test_two_numbers_wrong_are_not_put_on_one() -> None:
    sheet = with_number("left.roof_corner@y", 40)
    sheet["right"]["main_foot"]["point"][0] = "55 mm"
    assert all(not r.suspects for r in bad(sheet))


def findings(sheet: Any) -> dict[str, Finding]:
    from msgspec.structs import replace

    build = replace(load_build(HATCH), car=car_of(sheet))
    return {f.subject: f for f in run(Design(build), ["car"]) if f.code == "car/tape"}


def test_the_check_says_which_measurement_is_off() -> None:
    found = findings(with_number("left.roof_corner@y", 14))
    worst = found["tapes.roof_corners"]
    assert worst.status == "fail"
    assert worst.measured == pytest.approx(14, abs=0.5)
    assert "left.roof_corner y (by 14 mm less)" in worst.text
    assert worst.cure == "Measure left.roof_corner y again."
    small = findings(with_number("left.roof_corner@y", 5))["tapes.roof_corners"]
    assert small.status == "warn"


def test_a_sheet_without_tapes_says_that_its_points_are_unproved() -> None:
    sheet = plain(written())
    del sheet["tapes"]
    (one,) = findings(sheet).values()
    assert one.status == "needs_input"
    assert "[tapes]" in one.cure


def test_a_tape_to_a_point_that_was_not_measured_is_asked_for() -> None:
    sheet = plain(written())
    sheet["left"]["roof_corner"] = None
    rows = [r for r in taped(car_of(sheet)) if r.reckoned is None]
    assert {r.tape.id for r in rows} >= {"roof_corners", "rail_to_roof_corner"}


@pytest.mark.parametrize("demo", [HATCH, "sprint-wagon", "hillclimb-coupe", "track-roadster"])
def test_the_demos_were_taped_and_agree(demo: str) -> None:
    rows = taped(load_build(demo).car)
    assert len(rows) >= 15
    assert all(r.agrees and r.reckoned is not None for r in rows)
    # as read: not computed from the points
    assert sum(abs(r.off) > 0.4 for r in rows) > 4

"""Sheets that cannot be meant are refused with the field, before anything is built."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from cagekit.errors import InputError
from cagekit.inputs.presets import shipped_root
from cagekit.inputs.resolve import load_build

MISTAKES = [
    ("floor_z = -95", "floor_z = 95", "floor_z"),
    ("header_x = 905", "header_x = -905", "header_x"),
    ('sheet = 0.8\n\n[side.front', 'sheet = 9\n\n[side.front', "sheet"),
    ("point = [0, 628, -95]", "point = [120, 628, -95]", "point"),
    ("point = [0, 628, -95]", "point = [0, -628, -95]", "point"),
    ("point = [1278, 612, -86]", "point = [-1278, 612, -86]", "point"),
    ("point = [-815, 505, 330]", "point = [815, 505, 330]", "point"),
    ('side = "left"\nhip', 'side = "right"\nhip', "side"),
    ("hip = [372, 333, 22]", "hip = [372, -333, 22]", r"side|hip"),
    ("hip = [372, 333, 22]", "hip = [972, 333, 22]", "hip"),
    ("centre = [815, 332, 455]", "centre = [815, -332, 455]", "centre"),
    ("diameter = 350", "diameter = 3500", "diameter"),
    ("top = [846, 524, 968]\nbase = [1322, 692, 548]",
     "top = [1322, 692, 548]\nbase = [846, 524, 968]", "top"),
    ("[roof]\nheight_at_hoop = 1092\nheight_at_header = 1020\nheader_x = 905\n", "", "roof"),
    ("sill_top_y = [668, 752]", "sill_top_y = [752, 668]", "sill_top_y"),
    ("height_belt = 468", "height_belt = 1068", "height_belt"),
    ("half_width = 130", "half_width = 660", "half_width"),
    ("suspension_x = [-860, 1660]", "suspension_x = [1660, -860]", "suspension_x"),
    ('driver_side = "left"', 'driver_side = "right"', "centre"),
    ("profile = [[", "profile = [[-50, -60], [", "profile"),
    ("roof_corner = [870, 508, 982]", "roof_corner = [-870, 508, 982]", "roof_corner"),
    ("\nx = 1300\n", "\nx = 130\n", r"x"),
    ("top_z = 530", "top_z = 230", "top_z"),
    ("normal = [0.10, 0.0, 0.995]", "normal = [0, 0, 0]", "normal"),
    ("outline = [[110, 0], [960, 0], [1050, 505], [690, 855], [180, 880]]",
     "outline = [[-110, 0], [-960, 0], [-1050, 505], [-690, 855], [-180, 880]]", "outline"),
]  # fmt: skip

BODY = [
    ("stature = 1880", "stature = 1.88", "stature"),
    ("sitting_height = 975", "sitting_height = 1975", "sitting_height"),
    ("eye_height = 858", "eye_height = 985", "eye_height"),
    ("shoulder_breadth = 545", "shoulder_breadth = 54", "shoulder_breadth"),
    ("width = 262", "width = 26", "width"),
]


def changed(tmp_path: Path, car: str = "", driver: str = "") -> Path:
    """The build gravel-hatch on a car sheet or with a driver sheet of this text."""
    text = (shipped_root() / "builds" / "gravel-hatch.toml").read_text("utf-8")
    for kind, sheet, line in (
        ("car", car, 'car = "gravel-hatch"'),
        ("driver", driver, '"tall-driver"'),
    ):
        if sheet:
            (tmp_path / f"{kind}.toml").write_text(sheet, "utf-8")
            text = text.replace(line, line.replace(line.split('"')[1], f"{kind}.toml"))
    path = tmp_path / "build.toml"
    path.write_text(text, "utf-8")
    return path


def replaced(kind: str, name: str, old: str, new: str) -> str:
    text = (shipped_root() / kind / f"{name}.toml").read_text("utf-8")
    assert text.count(old) >= 1, old
    return text.replace(old, new, 1)


@pytest.mark.parametrize(("old", "new", "field"), MISTAKES)
def test_a_mistake_on_the_car_sheet_is_told_by_field_and_line(
    tmp_path: Path, old: str, new: str, field: str
) -> None:
    path = changed(tmp_path, car=replaced("cars", "gravel-hatch", old, new))
    with pytest.raises(InputError) as error:
        load_build(str(path))
    rows = str(error.value).splitlines()
    assert any(re.search(rf"car.toml:\d+ .*?\b({field})\b", row) for row in rows), rows


@pytest.mark.parametrize(("old", "new", "field"), BODY)
def test_a_mistake_on_the_driver_sheet_is_told_by_field_and_line(
    tmp_path: Path, old: str, new: str, field: str
) -> None:
    path = changed(tmp_path, driver=replaced("drivers", "tall-driver", old, new))
    with pytest.raises(InputError) as error:
        load_build(str(path))
    rows = str(error.value).splitlines()
    assert any(re.search(rf"driver.toml:\d+ .*?\b{field}\b", row) for row in rows), rows


def test_a_driver_on_the_other_side_of_the_only_seat_is_refused(tmp_path: Path) -> None:
    """The hoop's diagonal began at the wrong shoulder, and nothing told of it."""
    sheet = replaced("cars", "gravel-hatch", 'driver_side = "left"', 'driver_side = "right"')
    second = sheet.index("[[seats]]", sheet.index("[[seats]]") + 1)
    end = sheet.index("\n[", second + 9)
    path = changed(tmp_path, car=sheet[:second] + sheet[end + 1 :])
    one = path.read_text("utf-8").replace(', "co-driver"', "")
    path.write_text(one, "utf-8")
    with pytest.raises(InputError) as caught:
        load_build(str(path))
    told = str(caught.value)
    assert 'driver_side = "right": is right, but no seat is there' in told
    assert "Say driver_side = 'left'" in told


def test_more_people_than_seats_are_refused(tmp_path: Path) -> None:
    path = changed(tmp_path)
    text = path.read_text("utf-8")
    path.write_text(text.replace('["tall-driver"', '["short-driver", "tall-driver"'), "utf-8")
    with pytest.raises(InputError, match="there are 2 for 3 people"):
        load_build(str(path))


def test_every_shipped_sheet_is_plausible() -> None:
    for path in sorted((shipped_root() / "builds").glob("*.toml")):
        load_build(str(path))

"""The tube file and the tube presets."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from pydantic import ValidationError

from cagekit.data import rows
from cagekit.errors import NotFoundError
from cagekit.inputs.tube import TubeFile, load_tube
from cagekit.materials.steels import steel
from cagekit.units import parse_length

PRESETS = sorted((Path(__file__).parents[3] / "presets" / "tubes").glob("*.toml"))
GOOD = {
    "kind": "tube",
    "name": "dom-1.625x0.134",
    "od": "1 5/8 in",
    "wall": "0.134 in",
    "material": "1020-dom",
    "source": "common practice",
}


def test_tube_from_file() -> None:
    tube = TubeFile.model_validate(GOOD).tube()
    assert (tube.od, tube.wall) == (41.275, 3.4036)
    assert (tube.material, tube.name) == ("1020-dom", "dom-1.625x0.134")


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"wall": "21 mm"}, "leaves no bore"),
        ({"wall": 0}, "greater than 0"),
        ({"od": "1 5/8"}, "fraction without a unit"),
        ({"od": True}, "true or false"),
        ({"material": "1020dom"}, "Did you mean '1020-dom'"),
        ({"name": "with blank"}, "pattern"),
        ({"colour": "red"}, "Extra inputs"),
    ],
)
def test_what_is_wrong_is_told(change: dict[str, object], word: str) -> None:
    with pytest.raises(ValidationError, match=word):
        TubeFile.model_validate({**GOOD, **change})


def test_numbers_count_in_the_units_of_the_file() -> None:
    data = {**GOOD, "units": "in", "od": 1.625, "wall": 0.134}
    assert TubeFile.model_validate(data, context={"units": "in"}).tube().od == 41.275


@pytest.mark.parametrize("path", PRESETS, ids=lambda path: path.stem)
def test_preset_is_a_size_of_the_table(path: Path) -> None:
    tube = TubeFile.model_validate(tomllib.loads(path.read_text("utf-8"))).tube()
    size = {row["name"]: row for row in rows("tubes")}[path.stem]
    assert tube.name == path.stem
    listed = tuple(parse_length(f"{size[key]} {size['unit']}") for key in ("od", "wall"))
    assert (tube.od, tube.wall) == listed


def test_presets_of_the_demos_exist() -> None:
    names = {path.stem for path in PRESETS}
    assert {"dom-1.625x0.134", "dom-1.75x0.120", "dom-1.5x0.095"} <= names
    assert {"cds-45x2.5", "cds-40x2.0", "cds-38x2.5", "cds-50x2.0"} <= names


@pytest.mark.parametrize("row", rows("tubes"), ids=lambda row: row["name"])
def test_every_size_of_the_table_is_a_tube_by_its_name(row: dict[str, str]) -> None:
    tube, _ = load_tube(row["name"])
    sizes = [parse_length(f"{row[key]} {row['unit']}") for key in ("od", "wall")]
    assert [tube.od, tube.wall] == pytest.approx(sizes, abs=1e-9)
    assert tube.material == row["material"]
    # the steel is one that this standard sells: A513-5 is type 5 of ASTM A513
    number = row["standard"].replace("-", "").removeprefix("ams").removeprefix("en")
    said = steel(tube.material).standard.replace(" type ", "").replace(" ", "").replace("-", "")
    assert number.removeprefix("a513") in said


def test_a_size_that_is_none_names_the_nearest_of_the_table() -> None:
    with pytest.raises(NotFoundError, match=r"Did you mean '4130-1.5x0.095'"):
        load_tube("4130-1.5x0.096")

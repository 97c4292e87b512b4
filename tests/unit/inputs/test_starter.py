"""Starter build files: the same cage as the build they come from, and every offer in them holds."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from cagekit.errors import InputError
from cagekit.inputs.build import BuildFile
from cagekit.inputs.presets import find_preset, list_presets, load, load_file
from cagekit.inputs.starter import starter_text, valid_name

BUILDS = [p.name for p in list_presets("build")]


def written(name: str, folder: Path) -> Path:
    origin = find_preset("build", name)
    file = load_file("build", origin, BuildFile)
    path = folder / "mine.toml"
    path.write_text(starter_text("mine", origin, file, folder=folder), encoding="utf-8")
    return path


@pytest.mark.parametrize("name", BUILDS)
def test_it_says_the_same_as_its_origin(name: str, tmp_path: Path) -> None:
    mine = load_file("build", written(name, tmp_path), BuildFile)
    origin = load("build", name, BuildFile)
    assert mine == origin.model_copy(update={"name": "mine"})


@pytest.mark.parametrize("name", BUILDS)
def test_every_member_offered_can_be_uncommented(name: str, tmp_path: Path) -> None:
    text = written(name, tmp_path).read_text(encoding="utf-8")
    # take the # off tables and fields that have a value
    live = re.sub(r"^# (\[members\.\w+\])$", r"\1", text, flags=re.M)
    assert live != text
    data = tomllib.loads(live)
    assert set(data["members"]) >= set(re.findall(r"^\[members\.(\w+)\]$", live, flags=re.M))
    fields = re.findall(r"^# (\w+ = (?!\.\.\.).+)$", text, flags=re.M)
    assert len(fields) > 15
    for field in fields:
        tomllib.loads(field)


def test_tables_written_in_a_line_are_taken_over_too(tmp_path: Path) -> None:
    old = tmp_path / "old.toml"
    text = find_preset("build", "sprint-wagon").read_text(encoding="utf-8")
    top, _, _ = text.partition("\n[")
    old.write_text(top + '\nmembers = { halo = { gap = 20, "omit" = false } }\n', encoding="utf-8")
    file = load_file("build", old, BuildFile)
    made = tomllib.loads(starter_text("b", old, file, folder=tmp_path))
    assert made["members"] == {"halo": {"gap": 20, "omit": False}}


def test_paths_are_turned_to_the_new_place(tmp_path: Path) -> None:
    car = find_preset("car", "sprint-wagon").read_text(encoding="utf-8")
    (tmp_path / "old/cars").mkdir(parents=True)
    (tmp_path / "new").mkdir()
    (tmp_path / "old/cars/mine.toml").write_text(car, encoding="utf-8")
    text = find_preset("build", "sprint-wagon").read_text(encoding="utf-8")
    old = tmp_path / "old/build.toml"
    old.write_text(text.replace('car = "sprint-wagon"', 'car = "cars/mine.toml"'), encoding="utf-8")
    file = load_file("build", old, BuildFile)
    moved = tomllib.loads(starter_text("b", old, file, folder=tmp_path / "new"))["car"]
    assert (tmp_path / "new" / moved).samefile(tmp_path / "old/cars/mine.toml")


@pytest.mark.parametrize("name", ["", "a b", "a/b", "..", "é", "x" * 81, "a.toml"])
def test_names_that_cannot_be_a_folder_are_refused(name: str) -> None:
    with pytest.raises(InputError, match=r"cannot be the name"):
        valid_name(name)


@pytest.mark.parametrize("name", ["sprint-wagon", "gravel-hatch"])
def test_plates_and_members_offered_are_read(name: str, tmp_path: Path) -> None:
    """Every table of the tail, its # taken off, in the file's own units, with its defaults."""
    path = written(name, tmp_path)
    text = path.read_text(encoding="utf-8")
    head, tail = text[: text.index("# A tube of your own")], text[text.index("# A tube of your") :]
    live = re.sub(r"^# (\[\[\w+\]\]|\w+ = (?!\.\.\.).+)$", r"\1", tail, flags=re.M)
    live = live.replace('kind = "gusset"', 'kind = "gusset"\nat = "my_strut end a"')
    live = live.replace('kind = "tab"', 'kind = "tab"\nat = "on my_strut at middle"')
    path.write_text(head + live, encoding="utf-8")
    file = load_file("build", path, BuildFile)
    floor, outrigger, gusset, _ = file.plate[-4:]
    assert [p.kind for p in file.plate[-4:]] == ["floor_plate", "outrigger_box", "gusset", "tab"]
    model = type(floor).model_fields
    assert floor.length == pytest.approx(model["length"].default, abs=0.02)
    assert outrigger.width == pytest.approx(70, abs=0.02)
    assert gusset.along_branch == pytest.approx(80, abs=0.02)
    assert file.strut[-1].id == "my_strut"
    assert {e.kind for e in file.add} == {"rocker_brace"}
    assert "flat, folded, plinth" in tail
    assert " in" in tail if file.units == "in" else "450 mm" in tail

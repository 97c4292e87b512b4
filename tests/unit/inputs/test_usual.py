"""Usual ranges: every measured field has one with a source; slips are refused or told."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import BaseModel

from cagekit.cli.main import run
from cagekit.data import rows
from cagekit.errors import InputError
from cagekit.inputs.entries import ENTRIES
from cagekit.inputs.messages import models_in
from cagekit.inputs.presets import list_presets, load_file, model_for, shipped_root, unusual_in
from cagekit.inputs.resolve import load_build, with_changes
from cagekit.inputs.usual import usual_range


def fields(model: type[BaseModel], name: str = "") -> dict[str, str]:
    """Every number that the model's file may say, dotted, with its type."""
    found: dict[str, str] = {}
    for key, info in model.model_fields.items():
        step = "side" if key in ("left", "right") else key
        path = f"{name}.{step}" if name else step
        inner = models_in(info.annotation, *info.metadata)
        for one in inner:
            found |= fields(one, path if "dict" not in str(info.annotation) else f"{path}.name")
        if not inner and any(t in str(info.annotation) for t in ("float", "int")):
            found[f"{path}.x" if "tuple" in str(info.annotation) else path] = str(info.annotation)
    return found


@pytest.mark.parametrize("kind", ["car", "driver", "tube", "tooling", "plate"])
def test_every_measured_field_has_ranges(kind: str) -> None:
    named = fields(model_for(kind))
    assert len(named) > 1
    free = {"plate.at", "population.measures"}
    assert [f for f in named if f not in free and usual_range(kind, f) is None] == []


PLACES = {"from_", "to", "top"}
"""Fields that hold a place: its numbers are judged by the tube that it lies on."""


@pytest.mark.parametrize("kind", ENTRIES)
def test_every_dimension_of_a_member_has_ranges(kind: str) -> None:
    named = fields(ENTRIES[kind]).keys() - PLACES
    assert [f for f in named if usual_range("member", f) is None] == []


def test_every_row_is_in_order_and_has_a_source() -> None:
    for row in rows("usual_ranges"):
        least, low, high, most = (float(row[n]) for n in ("least", "low", "high", "most"))
        assert least <= low <= high <= most, row
        assert low < high, row
        assert row["source"], row
        assert row["certainty"] in ("seen", "from memory", "common practice"), row


def test_what_is_shipped_is_usual() -> None:
    for preset in list_presets():
        if preset.origin == "shipped" or preset.path.is_relative_to(shipped_root()):
            model = load_file(preset.kind, preset.path, model_for(preset.kind))
            assert unusual_in(preset.kind, preset.path, model) == (), preset.name


def changed(folder: Path, kind: str, name: str, old: str, new: str) -> None:
    """A copy of a shipped preset with one value changed, found before the shipped one."""
    source = shipped_root() / kind / f"{name}.toml"
    text = source.read_text()
    assert text.count(old) >= 1, old
    target = folder / "presets" / kind / source.name
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_text(text.replace(old, new, 1))


SLIPS = [
    ("drivers", "tall-driver", "mass = 92", "mass = 920", 2, "mass", "920 kg cannot be"),
    ("drivers", "tall-driver", "mass = 92", "mass = 203", 0, "mass", "pounds typed as kg"),
    ("drivers", "tall-driver", "stature = 1880", "stature = 1.88", 2, "stature", "metres typed"),
    ("drivers", "tall-driver", "stature = 1880", "stature = 74", 2, "stature", "inches typed"),
]


@pytest.mark.parametrize(("kind", "name", "old", "new", "code", "field", "words"), SLIPS)
def test_a_slip_is_refused_or_told_with_its_line(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    kind: str, name: str, old: str, new: str, code: int, field: str, words: str,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    changed(tmp_path, kind, name, old, new)
    assert run(["check", "gravel-hatch"]) in ((2,) if code == 2 else (0, 1))
    said = capsys.readouterr().err
    line = next(s for s in said.splitlines() if words in s)
    assert f"presets/{kind}/{name}.toml:" in line
    assert f" {field}" in line


@pytest.mark.parametrize("sheet", ["-0.2", "35"])
def test_no_sheet_metal_is_negative_or_a_metre_thick(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    sheet: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    changed(tmp_path, "cars", "sprint-wagon", "sheet = 0.047", f"sheet = {sheet}")
    assert run(["check", "sprint-wagon"]) == 2
    assert "sprint-wagon.toml:37 [side.main_foot] sheet = " in capsys.readouterr().err


def test_a_plate_of_metres_is_refused(tmp_path: Path) -> None:
    changed(tmp_path, "plates", "floor-150", "width = 150", "width = 5200")
    path = tmp_path / "presets/plates/floor-150.toml"
    with pytest.raises(InputError) as refused:
        load_file("plate", path, model_for("plate"))
    assert "floor-150.toml:11 [plate] width = 5200: " in str(refused.value)
    assert "cannot be; usual is " in str(refused.value)


@pytest.mark.parametrize(("typed", "told"), [(30, False), (29.9, True), (70, False)])
def test_an_angle_at_the_edge_of_what_is_usual_is_usual(
    tmp_path: Path, typed: float, told: bool
) -> None:
    """A saw of 30 degrees was unusual, as usual was 30 to 70: radians are not quite degrees."""
    changed(tmp_path, "tooling", "inch-shop", "max_angle = 45", f"max_angle = {typed}")
    path = tmp_path / "presets/tooling/inch-shop.toml"
    model = load_file("tooling", path, model_for("tooling"))
    assert bool(unusual_in("tooling", path, model)) == told


MEMBER_SLIPS = [
    ("height = 448", "height = 17.6", 0, "[members.harness_bar] height: 17.6 mm is unusual"),
    ("height = 448", "height = 17.6", 0, "Is it inches typed as mm?"),
    ("height_rear = 448", "height_rear = -448", 0, "Is it the other sign?"),
    ("height_rear = 448", "height_rear = 8480", 2, "[members.door_bar] height_rear: 8480.0 mm"),
    ("height_rear = 448", "height_rear = 8480", 2, "cannot be; usual is "),
    ("height_rear = 448", "height_rear = -1448", 2, "Is it the other sign?"),
    ("height_rear = 448", "height_rear = -4448", 2, "Give another."),
]


@pytest.mark.parametrize(("old", "new", "code", "words"), MEMBER_SLIPS)
def test_a_slip_in_a_dimension_of_a_member_is_refused_or_told_with_its_line(
    tmp_path: Path, old: str, new: str, code: int, words: str
) -> None:
    text = (shipped_root() / "builds/gravel-hatch.toml").read_text()
    path = tmp_path / "mine.toml"
    path.write_text(text.replace(old, new, 1))
    line = 1 + text[: text.index(old)].count("\n")
    if code:
        with pytest.raises(InputError) as refused:
            load_build(str(path))
        said = [str(refused.value)]
    else:
        said = list(load_build(str(path)).remarks)
    assert len(said) == 1, said  # once for both sides
    assert words in said[0]
    assert f"mine.toml:{line} " in said[0]
    assert "See also" not in said[0]  # the layout does not say it


def test_a_change_to_what_no_member_can_have_is_refused() -> None:
    with pytest.raises(InputError, match=r"\[members\.main_hoop\]: gap: -5000\.0 mm cannot be"):
        with_changes(load_build("gravel-hatch"), "main_hoop", {"gap": -5000})

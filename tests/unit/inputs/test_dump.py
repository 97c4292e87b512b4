"""What is read from a file can be dumped and read again, and is the same."""

from __future__ import annotations

from importlib import import_module
from math import radians
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel

from cagekit.inputs.fields import Angle, FileModel, Length, Point
from cagekit.inputs.presets import _SCHEMAS, list_presets, load_file
from cagekit.inputs.resolve import load_build
from cagekit.parts.kinds import part_kinds

PRESETS = [p for p in list_presets() if p.kind in _SCHEMAS]


def schema(kind: str) -> type[BaseModel]:
    module, _, name = _SCHEMAS[kind].partition(":")
    found: type[BaseModel] = getattr(import_module(module), name)
    return found


def again(model: BaseModel, mode: str, units: str | None) -> BaseModel:
    context = {"units": units} if units else None
    return type(model).model_validate(model.model_dump(mode=mode, by_alias=True), context=context)


def test_every_kind_of_preset_is_here() -> None:
    assert {p.kind for p in PRESETS} == set(_SCHEMAS)
    assert len(PRESETS) > 40


@pytest.mark.parametrize("preset", PRESETS, ids=lambda p: f"{p.kind}-{p.name}")
@pytest.mark.parametrize("mode", ["json", "python"])
def test_a_preset_survives(preset: Any, mode: str) -> None:
    model = load_file(preset.kind, Path(preset.path), schema(preset.kind))
    for units in (None, "mm", "in"):
        assert again(model, mode, units) == model


@pytest.mark.parametrize("preset", PRESETS, ids=lambda p: f"{p.kind}-{p.name}")
def test_a_preset_survives_as_json_text(preset: Any) -> None:
    model = load_file(preset.kind, Path(preset.path), schema(preset.kind))
    assert type(model).model_validate_json(model.model_dump_json(by_alias=True)) == model


@pytest.mark.parametrize("build", [p.name for p in PRESETS if p.kind == "build"])
def test_entries_that_sides_and_changes_were_laid_on_survive(build: str) -> None:
    for entry in load_build(build).entries:
        assert again(entry, "json", "in") == entry


@pytest.mark.parametrize("kind", part_kinds())
def test_the_dimensions_of_a_part_survive(kind: str) -> None:
    dims = part_kinds()[kind].read({})
    assert again(dims, "json", "in") == dims


class Table(FileModel):
    length: Length
    angle: Angle
    point: Point
    maybe: Length | None = None


def test_a_lean_of_ten_degrees_is_dumped_as_ten() -> None:
    table = Table.model_validate(
        {"length": "1 5/8 in", "angle": 10, "point": (1, 2.5, "1 in")}, context={"units": "in"}
    )
    assert table.model_dump() == {
        "length": "41.275 mm",
        "angle": 10.0,
        "point": ("25.4 mm", "63.5 mm", "25.4 mm"),
        "maybe": None,
    }


@given(
    st.floats(1e-6, 15_000) | st.floats(-15_000, -1e-6) | st.just(0.0),
    st.integers(-36_000_000, 36_000_000).map(lambda n: n / 1e5),
    st.sampled_from([None, "mm", "in"]),
)
def test_any_length_and_any_typed_angle_survive(mm: float, deg: float, units: str | None) -> None:
    table = Table.model_construct(length=mm, angle=radians(deg), point=(mm, 0.0, -mm), maybe=mm)
    assert again(table, "json", units) == table

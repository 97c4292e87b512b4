"""Masses as people write them. 1 lb is 0.45359237 kg (yard and pound agreement of 1959)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from cagekit.inputs.doubts import doubts_in
from cagekit.inputs.driver import Driver
from cagekit.inputs.loads import LoadsFile
from cagekit.inputs.presets import load_file
from cagekit.units.masses import parse_mass


@pytest.mark.parametrize(
    ("raw", "kg"), [(74, 74.0), ("74 kg", 74.0), ("163 lb", 73.93555631), ("0.5lb", 0.226796185)]
)
def test_a_mass_in_kg(raw: str | float, kg: float) -> None:
    assert parse_mass(raw) == pytest.approx(kg, rel=1e-12)


@pytest.mark.parametrize("raw", ["heavy", "12 stone", "-3 kg", "74 kg 2", True])
def test_what_is_no_mass(raw: Any) -> None:
    with pytest.raises(ValidationError, match="crew"):
        crew(raw, "mm")


@pytest.mark.parametrize("units", ["in", "mm"])
@pytest.mark.parametrize(
    ("mass", "bare"), [("98", True), ('"98"', True), ('"98 kg"', False), ('"163 lb"', False)]
)
def test_a_file_in_inches_is_told_what_a_bare_mass_is_taken_for(
    mass: str, bare: bool, units: str, tmp_path: Path
) -> None:
    path = tmp_path / "own.toml"
    text = f'kind = "driver"\nname = "own"\nunits = "{units}"\nmass = {mass}\n'
    text += '[population]\nsex = "male"\n'
    path.write_text(text, encoding="utf-8")
    told = doubts_in(path, load_file("driver", path, Driver))
    assert len(told) == (bare and units == "in")
    assert all("own.toml:4" in t and "98 lb" in t for t in told)


@pytest.mark.parametrize("units", ["mm", "in"])
def test_what_was_read_is_written_with_its_unit(units: str) -> None:
    read = crew("163 lb", units)
    assert read.crew == pytest.approx(73.93555631)
    assert type(read).model_validate(read.model_dump(), context={"units": units}) == read


def crew(raw: Any, units: str) -> LoadsFile:
    data = {
        "kind": "loads", "name": "mine", "title": "Mine", "source": "none",
        "certainty": "from memory", "crew": raw, "case": [
            {
                "id": "one", "title": "one",
                "load": [{"at": ["on main_hoop at middle"], "weight": [0, 0, -1]}],
            }
        ],
    }  # fmt: skip
    return LoadsFile.model_validate(data, context={"units": units})

"""Masses as people write them. 1 lb is 0.45359237 kg (yard and pound agreement of 1959)."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from cagekit.inputs.loads import LoadsFile
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


@pytest.mark.parametrize("raw", [163, 163.0, "163"])
def test_a_file_in_inches_says_which_mass_it_means(raw: Any) -> None:
    with pytest.raises(ValidationError, match="kg or pounds"):
        crew(raw, "in")


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

"""The JSON Schemas against an independent validator and every shipped preset."""

from __future__ import annotations

import copy
import tomllib

import pytest

from cagekit.inputs.presets import FOLDERS, list_presets
from cagekit.inputs.schema_export import schema_of

jsonschema = pytest.importorskip("jsonschema")


def validator(kind: str) -> object:
    schema = schema_of(kind)
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


@pytest.fixture(scope="module")
def validators() -> dict[str, object]:
    return {kind: validator(kind) for kind in FOLDERS}


@pytest.mark.parametrize("preset", list_presets(), ids=lambda p: f"{p.kind}-{p.name}")
def test_every_shipped_preset_fits_its_schema(preset, validators) -> None:  # type: ignore[no-untyped-def]
    data = tomllib.loads(preset.path.read_text(encoding="utf-8"))
    faults = [e.message for e in validators[preset.kind].iter_errors(data)]
    assert not faults


def test_the_car_schema_takes_sides_apart_but_not_misspelt(validators) -> None:  # type: ignore[no-untyped-def]
    car = next(p for p in list_presets("car") if p.name == "sprint-wagon")
    data = tomllib.loads(car.path.read_text(encoding="utf-8"))
    over = copy.deepcopy(data)
    over["left"] = {"hoop": {"height_belt": "22 in"}}
    assert not list(validators["car"].iter_errors(over))
    over["left"] = {"hoop": {"height_bellt": 560}}
    assert list(validators["car"].iter_errors(over))
    del data["wheel"]
    assert [e.message for e in validators["car"].iter_errors(data)] == [
        "'wheel' is a required property"
    ]


def test_defaults_are_told_as_a_file_says_them() -> None:
    hoop = schema_of("layout")["$defs"]["HoopEntry"]["properties"]
    assert hoop["gap"]["default"] == "12 mm"
    wheel = schema_of("car")["$defs"]["Wheel"]["properties"]
    # 0.4 rad
    assert wheel["column_angle"]["default"] == pytest.approx(22.918, abs=1e-3)

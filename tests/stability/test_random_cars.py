"""A seeded sweep over car sheets: another shell is made whole or refused in words."""

from __future__ import annotations

import random
import tomllib
from collections import Counter
from dataclasses import replace
from typing import Any

import demos
import pytest
from pydantic import ValidationError
from sweeps import size

from cagekit.checks import run
from cagekit.design import Design
from cagekit.errors import CagekitError
from cagekit.inputs.build import Build
from cagekit.inputs.car import Car
from cagekit.inputs.presets import find_preset


def shaken(value: Any, rng: random.Random, strength: float) -> Any:
    """The sheet with some numbers moved and now and then a field lost."""
    if isinstance(value, dict):
        return {k: shaken(v, rng, strength) for k, v in value.items() if rng.random() > 5e-4}
    if isinstance(value, list):
        return [shaken(v, rng, strength) for v in value]
    if isinstance(value, bool) or not isinstance(value, int | float) or rng.random() > 0.15:
        return value
    step = 2.0 if abs(value) < 60 else 40.0
    return value * (1 + rng.uniform(-strength, strength)) + rng.uniform(-step, step) * strength


def outcome(build: Build, sheet: dict[str, Any]) -> str:
    """What becomes of a build with another car: made and checked, or refused."""
    try:
        car = Car.model_validate(sheet, context={"units": sheet.get("units", "mm")})
        other = replace(build, car=car)
        run(Design(other))
    except (CagekitError, ValidationError) as exc:
        return "refused" if len(str(exc)) > 20 else f"refused without saying why: {exc}"
    return "made"


def sweep(name: str, count: int) -> Counter[str]:
    """Outcomes of ``count`` random cars from one demo car."""
    build = demos.build(name)
    sheet = tomllib.loads(find_preset("car", build.file.car).read_text("utf-8"))
    found: Counter[str] = Counter()
    for i in range(count):
        rng = random.Random(f"{name} {i}")
        changed = shaken(sheet, rng, rng.choice([0.02, 0.05, 0.15, 0.4]))
        if rng.random() < 0.3:
            changed["driver_side"] = "right"
        found[outcome(build, changed)] += 1
    return found


@pytest.mark.parametrize("name", demos.DEMOS)
def test_other_cars_are_made_or_refused(name: str) -> None:
    assert set(sweep(name, 5)) <= {"made", "refused"}


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.parametrize("name", demos.DEMOS)
def test_many_other_cars(name: str) -> None:
    found = sweep(name, size(12, 25))
    assert set(found) == {"made", "refused"}, found
    assert found["made"] >= 3, found

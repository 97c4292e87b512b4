"""Insane car and driver sheets: refused with a message, or checked; never a fault."""

from __future__ import annotations

import copy
import json
import random
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import demos
import pytest
from msgspec.structs import replace
from pydantic import ValidationError
from sweeps import size

from cagekit.assembly.assemble import sketch
from cagekit.cage.cage import Cage
from cagekit.checks.registry import run
from cagekit.design import Design
from cagekit.inputs.car import Car
from cagekit.inputs.driver import Driver

PRESETS = Path(__file__).parents[2] / "presets"
DEMOS = ("sprint-wagon", "gravel-hatch", "track-roadster")
DRIVERS = ("tall-driver", "short-driver", "percentile-5-female")


def read(kind: str, name: str) -> dict[str, Any]:
    return tomllib.loads((PRESETS / kind / f"{name}.toml").read_text(encoding="utf-8"))


def numbers(data: Any, path: tuple = ()) -> Iterator[tuple]:
    rows = data.items() if isinstance(data, dict) else enumerate(data)
    for key, value in rows:
        if isinstance(value, dict | list):
            yield from numbers(value, (*path, key))
        elif isinstance(value, int | float) and not isinstance(value, bool):
            yield (*path, key)


def spoil(data: dict[str, Any], rng: random.Random) -> None:
    places = list(numbers(data))
    for path in rng.sample(places, min(len(places), rng.choice((0, 1, 2, 4)))):
        at: Any = data
        for key in path[:-1]:
            at = at[key]
        change = rng.choice((0.0, -1.0, 10.0, 0.1, 1e4, rng.uniform(0.5, 1.6)))
        at[path[-1]] = at[path[-1]] * change


@cache
def sketches(name: str) -> Cage:
    return sketch(demos.build(name))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(size(30, 60)))
def test_spoiled_sheets(seed: int) -> None:
    rng = random.Random(seed)
    name = rng.choice(DEMOS)
    car, person = copy.deepcopy(read("cars", name)), read("drivers", rng.choice(DRIVERS))
    spoil(car, rng)
    spoil(person, rng)
    if rng.random() < 0.3:
        part = rng.choice(("helmet_top", "eye", "shoulder", "elbow", "knee", "hip"))
        person["seated"] = {part: [rng.uniform(-40, 40) for _ in range(3)]}
    try:
        changed = Car.model_validate(car, context={"units": car.get("units", "mm")})
        driver = Driver.model_validate(person, context={"units": person.get("units", "mm")})
    except ValidationError as error:
        assert error.errors()[0]["msg"]
        return
    spoiled = replace(demos.build(name), car=changed, drivers=(driver,))
    found = run(Design(spoiled, cage=sketches(name)), groups=["fit", "car", "sight"])
    assert found
    json.dumps([f.to_json() for f in found], allow_nan=False)

"""A seeded sweep over car sheets: another shell is made whole or refused in words."""

from __future__ import annotations

import random
import tomllib
from collections import Counter
from collections.abc import Callable
from typing import Any

import demos
import pytest
from msgspec.structs import replace
from pydantic import ValidationError
from sweeps import size

from cagekit.checks import run
from cagekit.design import Design
from cagekit.errors import CagekitError
from cagekit.inputs.build import Build, entries_of
from cagekit.inputs.car import Car
from cagekit.inputs.doubts import misfits
from cagekit.inputs.plausible import car_faults
from cagekit.inputs.presets import find_preset
from cagekit.units import parse_length


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


AXIS = {
    "profile": "yz", "outline": "xz", "sill_top_y": "yy", "suspension_x": "xx",
    **dict.fromkeys(("roof_corner", "top", "base", "point", "centre", "hip"), "xyz"),
    **dict.fromkeys(("low", "high"), "xyz"),
    **dict.fromkeys(("half_width_floor", "half_width_belt", "half_width_rail"), "y"),
    **dict.fromkeys(("y_inner", "y_trim", "half_width_top"), "y"),
    **dict.fromkeys(("quarter_x", "header_x", "face_x", "cowl_x", "x"), "x"),
    **dict.fromkeys(("height_belt", "height_rail", "height_at_hoop", "height_at_header"), "z"),
    **dict.fromkeys(("floor_z", "top_z", "bottom_z", "cowl_z", "z", "heel_z"), "z"),
    **dict.fromkeys(("height", "height_rear", "height_front", "low_rear", "low_front"), "z"),
}  # fmt: skip
"""Which axes the numbers of a field of a car sheet, or of a build's members, lie along."""


def of_another_size(
    value: Any, key: str, units: str, size: dict[str, float], tape: Callable[[], float]
) -> Any:
    """A table with every measurement scaled along its axes, each read by a tape of its own."""
    if isinstance(value, dict):
        return {k: of_another_size(v, k, units, size, tape) for k, v in value.items()}
    axes = AXIS.get(key)
    if axes is None:
        if isinstance(value, list):
            return [of_another_size(v, "", units, size, tape) for v in value]
        return value
    if isinstance(value, list):
        if value and isinstance(value[0], list):
            return [of_another_size(v, key, units, size, tape) for v in value]
        pairs = zip(value, axes, strict=True)
        return [f"{parse_length(v, default=units) * size[a] + tape():.2f} mm" for v, a in pairs]
    return f"{parse_length(value, default=units) * size[axes] + tape():.2f} mm"


def consistent(build: Build, sheet: dict[str, Any], rng: random.Random) -> Build:
    """The build in another car: longer, wider or higher as a whole, the tape off by 2 mm.

    The heights that the build says move with the car, as a builder's would; the tapes from mark to
    mark, which only prove the points, are left away.
    """
    spread = {"x": 0.07, "y": 0.05, "z": 0.06}
    size = {a: min(max(rng.gauss(1.0, s), 1 - 2 * s), 1 + 2 * s) for a, s in spread.items()}
    units = sheet.get("units", "mm")
    if rng.random() < 0.5:  # the right side is measured too
        own = sheet.get("right", {})
        sheet = {
            **sheet,
            "right": {
                k: {**v, **own.get(k, {})} if isinstance(v, dict) else own.get(k, v)
                for k, v in sheet["side"].items()
            },
        }
    table = {k: v for k, v in sheet.items() if k != "tapes"}
    table = of_another_size(table, "", units, size, lambda: rng.gauss(0.0, 2.0))
    if rng.random() < 0.3:
        table["driver_side"] = "right"
        x, y, z = table["wheel"]["centre"]
        table["wheel"]["centre"] = [x, f"-{y}", z]
    car = Car.model_validate(table, context={"units": units})
    members = of_another_size(build.file.members, "", build.file.units, size, lambda: 0.0)
    file = build.file.model_copy(update={"members": members})
    return replace(build, car=car, file=file, entries=entries_of(file, build.layout, build.name))


def made_whole(build: Build) -> str:
    """Empty when every tube and plate of a build can be made and judged, else what is not."""
    design = Design(build)
    faults = list(car_faults(build.car, len(build.drivers)))
    if faults:
        return f"{faults[0].key} {faults[0].problem}"
    try:
        design.cage.require_cuts()
        run(design)
    except CagekitError as exc:
        return str(exc)
    return ""


def cars_of_other_sizes(count: int) -> tuple[int, list[str]]:
    """How many of ``count`` consistent cars are made whole, demos in turn; what stops others."""
    whole, stopped = 0, []
    for i in range(count):
        name = demos.DEMOS[i % len(demos.DEMOS)]
        build = demos.build(name)
        sheet = tomllib.loads(find_preset("car", build.file.car).read_text("utf-8"))
        rng = random.Random(f"consistent {i}")
        try:
            why = made_whole(consistent(build, sheet, rng))
        except ValidationError as exc:
            why = str(exc)
        whole += not why
        if why:
            stopped.append(f"{i} {name}: {why[:300]}")
    return whole, stopped


@pytest.mark.slow
def test_consistent_cars_are_made_whole() -> None:
    count = size(everyday=8, whole=300)
    whole, stopped = cars_of_other_sizes(count)
    print(f"{whole} of {count} made whole", *stopped, sep="\n")  # noqa: T201
    assert whole >= 0.8 * count, stopped


def test_no_consistent_car_is_doubted() -> None:
    """A word about a sheet that is fine teaches people not to read them."""
    for i in range(size(everyday=20, whole=300)):
        build = demos.build(demos.DEMOS[i % len(demos.DEMOS)])
        sheet = tomllib.loads(find_preset("car", build.file.car).read_text("utf-8"))
        other = consistent(build, sheet, random.Random(f"consistent {i}"))
        assert not list(misfits(other.car)), i


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

"""The table of needs against cages: what a member reads is named, what is named is read."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import sketch
from cagekit.errors import CagekitError
from cagekit.inputs.build import Build
from cagekit.inputs.car import Car
from cagekit.inputs.resolve import load_build
from cagekit.measuring.sheet import CAR_FILE, CHECKS, block, measuring_sheet
from cagekit.members.needs import needed
from cagekit.names import named

DEMOS = ("sprint-wagon", "gravel-hatch", "hillclimb-coupe", "track-roadster")
STEP = 7.0


def shape(build: Build) -> dict[str, Any]:
    """Centre lines, end planes and swing-out cuts of all tubes, as numbers."""
    out: dict[str, Any] = {}
    for m in sketch(build).members.values():
        rows = [m.path.points(np.linspace(0.0, m.path.length, 25)).ravel()]
        rows += [np.asarray(e.plane.normal) for _, e in m.ends if e.plane is not None]
        if m.swing is not None:
            rows.append(np.array([m.swing.hinge_cut, m.swing.latch_cut]))
        out[m.id] = np.concatenate(rows)
    return out


def same(one: dict[str, Any], two: dict[str, Any]) -> bool:
    return one.keys() == two.keys() and all(
        one[k].shape == two[k].shape and np.allclose(one[k], two[k], atol=1e-6) for k in one
    )


def with_value(car: Car, path: list[str], change: Any) -> Car:
    """A copy of a car with ``change`` made to the value at ``path``."""

    def walk(model: Any, names: list[str]) -> Any:
        if isinstance(model, tuple) and names and not isinstance(model[0], float | int):
            return tuple(walk(item, names) for item in model)
        if not names:
            return change(model)
        inner = walk(getattr(model, names[0]), names[1:])
        return model.model_copy(update={names[0]: inner})

    return walk(car, path)


def nudged(value: Any) -> Any:
    """Another value of the same kind; one of a measure that the demo does not give."""
    if value is None:
        return 1.0
    if isinstance(value, str):
        return {"left": "right", "right": "left"}[value]
    if isinstance(value, tuple) and value and isinstance(value[0], tuple):
        return tuple(tuple(v + STEP for v in row) for row in value)
    if isinstance(value, tuple):
        small = 0.05 if max(abs(v) for v in value) <= 1.0 else STEP
        return tuple(v + k * small for k, v in enumerate(value, start=1))
    return value + (0.05 if abs(value) < 1.5 else STEP)


def leaves(build: Build) -> Iterator[tuple[str, list[str]]]:
    """Every measured field that the car sheet holds, as on the sheet and as a path of the model."""
    for m in measuring_sheet(build.entries).measures:
        names = m.field.replace("side.", "left.", 1).split(".")
        yield m.field, names


@pytest.mark.parametrize("demo", DEMOS)
def test_a_field_changes_tubes_exactly_when_the_table_says_so(demo: str) -> None:
    build = load_build(demo)
    needs = {f for f, kinds in needed(build.entries).items() if kinds != ("foot plate",)}
    base = shape(build)
    wrong = []
    for field, names in leaves(build):
        if names[-1] in ("surface", "profile"):
            continue  # what the plate under a foot reads
        if names[0] == "left" and getattr(build.car.left, names[1]) is None:
            continue  # the demo does not give it
        car = with_value(build.car, names, nudged)
        try:
            changed = not same(base, shape(replace(build, car=car)))
        except CagekitError:
            changed = True
        if changed != (field in needs):
            wrong.append((field, changed))
    assert not wrong


@pytest.mark.parametrize("demo", DEMOS)
def test_a_cage_needs_no_optional_field_beyond_the_table(demo: str) -> None:
    build = load_build(demo)
    parts = {block(f) for f in needed(build.entries)}
    car = build.car
    for name in ("dash", "tunnel", "pedals", "roof", "suspension_x"):
        if name not in parts:
            car = car.model_copy(update={name: None})
    for side in ("left", "right"):
        gone = {
            n: None
            for n in ("pillar", "roof_corner", "front_foot", "door")
            if f"side.{n}" not in parts
        }
        car = car.model_copy(update={side: getattr(car, side).model_copy(update=gone)})
    bare = replace(build, car=car)
    assert same(shape(build), shape(bare))


@pytest.mark.parametrize("demo", DEMOS)
def test_a_cage_without_a_needed_part_is_refused_or_another_one(demo: str) -> None:
    build = load_build(demo)
    base = shape(build)
    checked = 0
    for part in {block(f) for f in needed(build.entries)}:
        side, _, name = part.rpartition(".")
        owner = build.car.left if side else build.car
        if type(owner).model_fields[name].is_required() or name == "driver_side":
            continue
        car = build.car
        if side:
            car = car.model_copy(update={"left": car.left.model_copy(update={name: None})})
        else:
            car = car.model_copy(update={name: None})
        checked += 1
        try:
            other = shape(replace(build, car=car))
        except CagekitError as error:
            told = str(error)
            assert_named(name, told)
        else:
            assert not same(base, other), part
    assert checked or demo == "track-roadster"


def assert_named(name: str, told: str) -> None:
    assert name in told or named(name) in told


@pytest.mark.parametrize("demo", DEMOS)
def test_everything_needed_is_on_the_sheet(demo: str) -> None:
    build = load_build(demo)
    asked = {m.field for m in measuring_sheet(build.entries).measures}
    assert {f for f in needed(build.entries) if f != "driver_side"} <= asked


def test_the_sheet_tells_who_asks() -> None:
    sheet = measuring_sheet(load_build("track-roadster").entries)
    why = {m.field: m.because for m in sheet.measures}
    assert why["side.main_foot.point"] == ("main_hoop",)
    # the build gives the hoop's widths itself; an open car may do without a belt line
    assert why["side.hoop.half_width_belt"] == (CHECKS,)
    assert why["floor_z"] == (CAR_FILE,)
    assert why["dash.top_z"] == (CHECKS,)
    # an open car with a roll bar has neither header nor pillars to measure
    assert not {"roof.header_x", "side.pillar.top", "side.roof_corner"} & why.keys()

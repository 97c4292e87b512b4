"""The fit groups on the demo builds: quick, complete, without the CAD kernel."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace

import pytest

from cagekit.assembly.assemble import sketch
from cagekit.checks.finding import Status, to_json_text
from cagekit.checks.registry import run
from cagekit.design import Design
from cagekit.inputs.resolve import load_build

DEMOS = ("sprint-wagon", "hillclimb-coupe", "gravel-hatch", "track-roadster")
GROUPS = ("fit", "car", "sight")


@pytest.mark.parametrize("name", DEMOS)
def test_demo_fits(name: str) -> None:
    build = load_build(name)
    found = run(Design(build, cage=sketch(build)), groups=GROUPS)
    assert not [f for f in found if f.status is Status.FAIL]
    people = {d.name for d in build.drivers}
    assert people <= {f.subject for f in found}
    for f in found:
        if f.status is Status.WARN:
            assert f.cure
        if f.status in (Status.PASS, Status.WARN):
            assert f.source
            assert f.measured is not None


@pytest.mark.parametrize("name", DEMOS)
def test_same_bytes_twice(name: str) -> None:
    texts = []
    for _ in range(2):
        build = load_build(name)
        texts.append(to_json_text(run(Design(build, cage=sketch(build)), groups=GROUPS)))
    assert texts[0] == texts[1]
    assert json.loads(texts[0])


def test_one_changed_input_fails() -> None:
    build = load_build("gravel-hatch")
    seat = build.car.seats[0]
    moved = seat.model_copy(update={"hip": (seat.hip[0] - 220.0, *seat.hip[1:])})
    car = build.car.model_copy(update={"seats": (moved, *build.car.seats[1:])})
    found = run(Design(replace(build, car=car), cage=sketch(build)), groups=["fit"])
    broken = {f.code for f in found if f.status is Status.FAIL and f.subject == "tall-driver"}
    assert {"fit/helmet-room", "fit/seat-room"} <= broken


def test_without_a_driver_input_is_asked_for() -> None:
    build = replace(load_build("sprint-wagon"), drivers=())
    found = run(Design(build, cage=sketch(build)), groups=["fit", "sight"])
    assert {f.status for f in found} == {Status.NEEDS_INPUT}
    assert all(f.cure for f in found)


def test_a_person_without_a_seat_is_told() -> None:
    build = load_build("gravel-hatch")
    crowd = replace(build, drivers=(*build.drivers, build.drivers[0]))
    found = run(Design(crowd, cage=sketch(crowd)), groups=["fit"])
    assert [f for f in found if f.code == "fit/seat" and f.status is Status.NEEDS_INPUT]


def test_no_kernel_no_pictures_are_imported() -> None:
    code = (
        "import sys\n"
        "from cagekit.inputs.resolve import load_build\n"
        "from cagekit.assembly.assemble import sketch\n"
        "from cagekit.checks.registry import run\n"
        "from cagekit.design import Design\n"
        "b = load_build('sprint-wagon')\n"
        "run(Design(b, cage=sketch(b)), groups=['fit', 'car', 'sight'])\n"
        "bad = {'cadquery', 'OCP', 'PIL', 'scipy', 'ezdxf', 'matplotlib'} & set(sys.modules)\n"
        "sys.exit(f'imported {bad}' if bad else 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr

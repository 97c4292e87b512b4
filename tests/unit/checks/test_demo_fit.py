"""The fit groups on the demo builds: quick, complete, without the CAD kernel."""

from __future__ import annotations

import json
import subprocess
import sys

import numpy as np
import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import sketch
from cagekit.checks.finding import Status, to_json_text
from cagekit.checks.quantities.doors import doors
from cagekit.checks.quantities.quantity import Pick
from cagekit.checks.quantities.survey import Survey
from cagekit.checks.registry import run
from cagekit.design import Design
from cagekit.geometry.centre_line import Arc
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


@pytest.mark.parametrize(
    ("name", "loops"),
    [("sprint-wagon", "halo"), ("hillclimb-coupe", "half_hoop"), ("gravel-hatch", "roof_rail")],
)
def test_loops_land_in_or_beside_the_upper_bend_of_the_hoop(name: str, loops: str) -> None:
    """As a scrutineer looks at it: at roof level, no more than a tube's width off the bend."""
    cage = sketch(load_build(name))
    hoop = cage.members["main_hoop"]
    top = float(hoop.path.points(np.linspace(0.0, hoop.path.length, 2001))[:, 2].max())
    edges = hoop.path.starts
    upper = [
        (low, high)
        for piece, low, high in zip(hoop.path.pieces, edges[:-1], edges[1:], strict=True)
        if isinstance(piece, Arc) and max(piece.point([0.0, piece.length])[:, 2]) > top - 1.0
    ]
    assert len(upper) == 2
    landed = [j for j in cage.joints if j.branch.startswith(loops) and hoop.id in j.parents]
    assert len(landed) == 2
    for joint in landed:
        s = hoop.path.nearest(joint.point).station
        off = min(max(low - s, s - high, 0.0) for low, high in upper)
        assert off < hoop.tube.od
        assert top - joint.point[2] < 60.0


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


@pytest.mark.parametrize("name", DEMOS)
def test_tubes_beside_no_door_are_passed_over_and_no_others(name: str) -> None:
    build = load_build(name)
    cage = sketch(build)
    rows = [
        (door, m)
        for _, door in doors(Survey(Design(build, cage=cage)), Pick())
        if door is not None
        for m in cage.members.values()
    ]
    for door, m in rows:
        assert door.seen(cage.kept, m).tolist() == door._seen(m).tolist(), m.id
    passed_over = [m.id for door, m in rows if not door._may_show(m)]
    assert len(rows) / 4 < len(passed_over) < len(rows)

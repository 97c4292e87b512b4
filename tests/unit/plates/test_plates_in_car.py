"""Plates against the car: sill, tunnel and floor's edge, and each other."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cagekit.assembly.assemble import members_only
from cagekit.checks.finding import Finding, Status
from cagekit.checks.quantities.plates_in_car import contact_share
from cagekit.checks.registry import run
from cagekit.design import Design
from cagekit.inputs.build import Build
from cagekit.inputs.plate import FloorPlateEntry
from cagekit.inputs.resolve import load_build
from cagekit.plates.feet import plates_for


def with_plate(**fields: object) -> Build:
    build = load_build("hillclimb-coupe")
    entry = FloorPlateEntry.model_validate({"kind": "floor_plate", **fields})
    return replace(build, plates=(*build.plates, entry))


def told(build: Build, code: str) -> dict[str, Finding]:
    found = run(Design(build), ["car"])
    return {f.subject: f for f in reversed(found) if f.code == code}


def test_a_plate_that_runs_into_the_sill_fails_and_its_area_does_not_count() -> None:
    """The foot stands 50 mm from the inner sill, the plate reaches 75 mm: 25 mm too far."""
    build = with_plate(at="main_foot", shift=(0.5, 0.0))
    bad = told(build, "car/plate")["foot_main_hoop_a"]
    assert bad.status is Status.FAIL
    assert "side at the hoop" in bad.quantity or "sill" in bad.quantity or "floor" in bad.quantity
    assert "shift" in bad.cure
    plates = {p.id: p for p in plates_for(build, members_only(build))}
    share = contact_share(plates["foot_main_hoop_a"], build.car, "floor")
    # of 150 mm, 642 - 605 + 75 = 112 mm lie on the floor, and 4 more until its turned-up edge has
    # left the plate; the rounded corners count less
    assert share == pytest.approx(116 / 150, abs=0.05)


def test_the_default_plate_shifts_until_it_fits() -> None:
    build = load_build("hillclimb-coupe")
    found = told(build, "car/plate")
    assert found["foot_main_hoop_a"].status is Status.PASS
    plates = {p.id: p for p in plates_for(build, members_only(build))}
    plate = plates["foot_main_hoop_a"]
    outer = plate.car_points(plate.outline.vertices)[:, 1].max()
    assert 640 < outer < 656
    left, right = (plates[f"foot_main_hoop_{e}"] for e in "ab")
    assert right.car_points(right.outline.vertices)[:, 1].min() == pytest.approx(-outer)
    assert left.size == pytest.approx(right.size)


def test_plates_in_one_place_fail() -> None:
    """A plate of the front foot so long that it reaches the main hoop's."""
    build = with_plate(at="front_foot", length=1240, shift=(-555, -20.0))
    changes = {}
    for side in ("left", "right"):
        own = build.car.side(side)
        assert own.front_foot is not None
        x, y, _ = own.front_foot.point
        level = own.front_foot.model_copy(update={"point": (x, y, -70.0), "profile": ()})
        changes[side] = own.model_copy(update={"front_foot": level})
    build = replace(build, car=build.car.model_copy(update=changes))
    assert any(f.status is Status.FAIL for f in told(build, "car/plates").values())


def test_a_foot_near_the_sill_is_shifted_on_a_floor_that_narrows() -> None:
    """32 mm from a foot to the sill's edge, which comes nearer towards the front feet."""
    build = load_build("gravel-hatch")
    build = replace(build, plates=())
    assert told(build, "car/plate")["foot_main_hoop_a"].status is Status.PASS


@pytest.mark.parametrize(("off", "warns"), [(0.0, False), (4.0, False), (7.0, True), (-9.0, True)])
def test_a_section_measured_a_little_off_the_foot_is_laid_on_it_and_told(
    off: float, warns: bool
) -> None:
    """The tape's few millimetres between foot and section must not stop the cage."""
    build = load_build("gravel-hatch")
    car = build.car
    spot = car.left.main_foot
    moved = spot.model_copy(update={"profile": tuple((y, z + off) for y, z in spot.profile)})
    other = car.model_copy(update={"left": car.left.model_copy(update={"main_foot": moved})})
    found = run(Design(replace(build, car=other)), groups=["plates"])
    told = [f for f in found if f.code == "plate/section-off"]
    assert told
    rows = [f for f in told if f.status is Status.WARN]
    assert len(rows) == warns
    for row in rows:
        assert row.subject == "foot_main_hoop_a"
        assert row.measured == pytest.approx(abs(off))
        assert "again" in row.cure

"""Plates against the car: sill, tunnel and floor's edge, and each other."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace as with_fields
from typing import Any

import demos
import numpy as np
import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import members_only
from cagekit.cage.kept import Kept
from cagekit.cage.plate import Plate
from cagekit.car.floor import floor_of
from cagekit.checks.finding import Finding, Status
from cagekit.checks.registry import run
from cagekit.design import Design
from cagekit.errors import InputError
from cagekit.inputs.build import Build
from cagekit.inputs.car import Chassis, ChassisTube
from cagekit.inputs.keepouts import KeepOut
from cagekit.inputs.plate import FloorPlateEntry, OutriggerBoxEntry
from cagekit.inputs.plate_presets import default_floor_plate
from cagekit.inputs.resolve import load_build
from cagekit.plates.clearing import Wish, fitted, why_none
from cagekit.plates.feet import Making, foot_plate_spec, plates_for
from cagekit.plates.foot import Foot
from cagekit.plates.foot_size import FootSize
from cagekit.plates.in_car import (
    LaidPlate,
    apart,
    contact_share,
    ground_of,
    least_rooms,
    rooms_in_car,
)
from cagekit.plates.points import plate_points


def with_plate(**fields: object) -> Build:
    build = load_build("hillclimb-coupe")
    entry = FloorPlateEntry.model_validate({"kind": "floor_plate", **fields})
    return replace(build, plates=(*build.plates, entry))


def told(build: Build, code: str) -> dict[str, Finding]:
    found = run(Design(build), ["car"])
    return {f.subject: f for f in reversed(found) if f.code == code}


def test_a_foot_behind_the_cabin_floor_lies_where_the_car_sheet_says() -> None:
    """A rear foot on the floor of the boot: all of its plate lies, as on a tower."""
    build = load_build("track-roadster")
    car = build.car
    foot = replace_in(car.left.rear_foot, surface="floor")
    low = replace_in(car, left=replace_in(car.left, rear_foot=foot))
    plates = {p.id: p for p in plates_for(build, members_only(build))}
    rear = plates["foot_rear_brace_left_b"]
    assert contact_share(rear, floor_of(low, "left"), "floor") == 1.0


def replace_in(model: Any, **fields: object) -> Any:
    return model.model_copy(update=fields)


def test_a_plate_that_runs_into_the_sill_fails_and_its_area_does_not_count() -> None:
    """The foot stands 50 mm from the inner sill, the plate reaches 75 mm: 25 mm too far."""
    build = with_plate(at="main_foot", shift=(0.5, 0.0))
    bad = told(build, "car/plate")["foot_main_hoop_a"]
    assert bad.status is Status.FAIL
    assert "side at the hoop" in bad.quantity or "sill" in bad.quantity or "floor" in bad.quantity
    assert "shift" in bad.cure
    plates = {p.id: p for p in plates_for(build, members_only(build))}
    share = contact_share(plates["foot_main_hoop_a"], floor_of(build.car, "left"), "floor")
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


def test_a_box_ends_at_a_sill_that_leans_and_one_too_long_is_told_by_its_own_fields() -> None:
    """The sill's inner face is 14 mm nearer at the floor, 60 mm below the foot, than at its top."""
    build = load_build("hillclimb-coupe")
    build = replace(build, car=replace_in(build.car, floor_z=build.car.floor_z - 60))
    own = build.car.left
    low = own.hoop.half_width_floor
    leaning = replace_in(own, sill_top_y=(low + 14, own.sill_top_y[1]))
    build = replace(build, car=replace_in(build.car, left=leaning))

    def found(**fields: object) -> Mapping[str, Finding]:
        table = {"kind": "outrigger_box", "at": "main_hoop end a", "id": "box", **fields}
        entry = OutriggerBoxEntry.model_validate(table)
        return told(replace(build, plates=(entry,)), "car/plate")

    assert {f.status for id_, f in found().items() if id_.startswith("box")} == {Status.PASS}
    long = found(outer_y=low + 14)["box_front"]
    assert long.status is Status.FAIL
    assert "`outer_y`" in long.cure
    assert "shift" not in long.cure, "a box has none"
    assert found(outer_y=low)["box_front"].status is Status.PASS


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


def blocked(*boxes: tuple[tuple[float, ...], tuple[float, ...]], name: str = "seat rail") -> Build:
    """gravel-hatch with plates left to cagekit and keep-outs about its left main foot.

    Corners are counted from the foot.
    """
    build = load_build("gravel-hatch")
    foot = build.car.left.main_foot.point
    kept = [
        KeepOut(
            name=name,
            shape="box",
            low=tuple(f + v for f, v in zip(foot, low, strict=True)),
            high=tuple(f + v for f, v in zip(foot, high, strict=True)),
        )
        for low, high in boxes
    ]
    car = build.car.model_copy(update={"keepouts": (*build.car.keepouts, *kept)})
    return replace(build, car=car, plates=())


INBOARD = ((-300.0, -200.0, -5.0), (300.0, -65.0, 100.0))
AHEAD = ((50.0, -200.0, -5.0), (300.0, 200.0, 100.0))
BEHIND = ((-300.0, -200.0, -5.0), (-50.0, 200.0, 100.0))


@pytest.mark.parametrize("boxes", [(INBOARD,), (AHEAD,), (AHEAD, BEHIND)])
def test_the_default_plate_takes_another_shape_where_no_shift_clears_it(
    boxes: tuple[tuple[tuple[float, ...], tuple[float, ...]], ...],
) -> None:
    """Room of 97 mm across, or of 50 mm ahead: 150 x 150 does not go in."""
    design = Design(blocked(*boxes))
    plate = next(p for p in design.cage.plates if p.id == "foot_main_hoop_a")
    assert sorted(plate.size)[0] < 140
    assert plate.outline.area > 12000
    assert "mm, as the usual plate does not fit" in " ".join(plate.notes)
    found = [f for f in run(design, ["car"]) if f.code == "car/plate"]
    assert {f.status for f in found if f.subject == plate.id} == {Status.PASS}
    other = next(p for p in design.cage.plates if p.id == "foot_main_hoop_b")
    assert other.size == pytest.approx((150, 150))


def test_the_finding_says_why_no_plate_fits() -> None:
    found = told(blocked(AHEAD, BEHIND, INBOARD), "car/plate")["foot_main_hoop_a"]
    assert found.status is Status.FAIL
    assert found.cure.startswith("No shift, fold or size of the plate fits here: it runs into")


def test_sizes_that_a_file_asks_for_are_kept() -> None:
    build = blocked(INBOARD)
    entry = FloorPlateEntry.model_validate({"kind": "floor_plate", "length": 150, "width": 150})
    build = replace(build, plates=(entry,))
    plates = {p.id: p for p in plates_for(build, members_only(build))}
    plate = plates["foot_main_hoop_a"]
    assert plate.size == pytest.approx((150, 150))
    assert "that the files leave free" in " ".join(plate.notes)


@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_plate_of_a_file_that_does_not_fit_is_told_what_to_type(units: str) -> None:
    build = blocked(INBOARD)
    build = replace(build, file=build.file.model_copy(update={"units": units}))

    def foot(**said: object) -> Plate:
        entry = FloorPlateEntry.model_validate({"kind": "floor_plate", **said})
        own = replace(build, plates=(entry,))
        plates = {p.id: p for p in plates_for(own, members_only(own))}
        return plates["foot_main_hoop_a"]

    asked = foot(length="150 mm", width="150 mm")
    cure = why_none(asked).partition("It fits with ")[2].removesuffix(".")
    typed = tomllib.loads(re.sub(r",? and |, (?=[a-z])", "\n", cure))
    assert typed.keys() <= {"length", "width", "shift", "style"}
    made = foot(**typed)
    assert not why_none(made)
    assert sorted(made.size) != pytest.approx(sorted(asked.size))


def test_the_default_plate_is_folded_up_a_near_sill() -> None:
    """From the foot the sill rises in 24 mm, and 60 mm inboard stands a rail: no shift fits."""
    build = blocked(((-300.0, -200.0, -5.0), (300.0, -80.0, 100.0)))
    sides = {}
    for side in ("left", "right"):
        own = build.car.side(side)
        foot = own.main_foot
        near = foot.model_copy(update={"profile": ((430.0, -95.0), (660.0, -95.0), (690.0, -30.0))})
        hoop = own.hoop.model_copy(update={"half_width_floor": 690.0})
        door = own.door.model_copy(update={"y_inner": 700.0}) if own.door else None
        sides[side] = own.model_copy(update={"main_foot": near, "hoop": hoop, "door": door})
    build = replace(build, car=build.car.model_copy(update=sides))
    plates = {p.id: p for p in plates_for(build, members_only(build))}
    plate = plates["foot_main_hoop_a"]
    assert [f.name for f in plate.folds] == ["side fold"]
    assert "folded to the floor" in " ".join(plate.notes)


def test_a_default_plate_keeps_off_the_plate_of_another_foot() -> None:
    """Two struts' feet 110 mm apart: two plates of 150 x 150 mm would lie on each other."""
    build = replace(load_build("gravel-hatch"), plates=())
    cage = members_only(build)
    plates = {p.id: p for p in plates_for(build, cage)}
    mine = plates["foot_main_hoop_a"]
    shift = np.eye(4)
    shift[0, 3] = 110.0
    other = with_fields(mine, id="other", members=("x",), placement=mine.placement @ shift)
    foot = Foot.of(cage, "main_hoop", "a", build.car)
    spec = foot_plate_spec(Making.of(build), default_floor_plate("mm"))
    wish = Wish(spec=spec, sized=False, asked=FootSize(area=12000.0))
    (made,) = fitted("foot", foot, wish, cage, ground_of(cage.kept, build.car), (other,))
    assert apart(cage, made, other)[0] >= 0
    assert made.outline.area > 12000


@pytest.mark.parametrize(("beside", "fits"), [(60.0, True), (45.0, True), (20.0, False)])
def test_a_default_plate_keeps_off_a_tube_of_the_frame(beside: float, fits: bool) -> None:
    """A frame rail of 30 mm lies on the floor behind the left main foot, along the car's width."""
    build = replace(load_build("gravel-hatch"), plates=())
    x, y, z = build.car.left.main_foot.point
    rail = ChassisTube(
        name="floor_rail",
        start=(x - beside - 15, y - 250, z + 10),
        end=(x - beside - 15, y + 250, z + 10),
        od=30,
        wall=2,
    )
    car = build.car.model_copy(update={"chassis": Chassis(tube=(rail,))})
    design = Design(replace(build, car=car))
    plate = next(p for p in design.cage.plates if p.id == "foot_main_hoop_a")
    rear = plate.car_points(plate.outline.vertices)[:, 0].min()
    assert bool(rear > x - beside - 0.3) is fits
    clash = {f.subject: f for f in run(design, ["plates"]) if f.code == "plate/clash"}
    assert (clash[plate.id].status is Status.PASS) is fits
    assert bool(why_none(plate)) is not fits
    if not fits:
        cure = next(f.cure for f in run(design, ["car"]) if f.subject == plate.id)
        assert "; otherwise it runs into floor_rail" in cure


def test_what_was_chosen_is_told_in_the_units_of_the_build() -> None:
    build = blocked(AHEAD, BEHIND)
    inches = build.file.model_copy(update={"units": "in"})
    plates = plates_for(replace(build, file=inches), members_only(build))
    plate = next(p for p in plates if p.id == "foot_main_hoop_a")
    words = " ".join(plate.notes)
    assert " in, as the usual plate does not fit" in words
    assert "mm" not in words
    sixteenths = np.array(plate.size) / 25.4 * 16
    assert sixteenths == pytest.approx(np.round(sixteenths), abs=1e-6)


def test_a_plate_folded_to_a_section_that_nobody_measured_is_refused() -> None:
    """It was made flat, without a word."""
    build = load_build("gravel-hatch")
    bare = build.car.left.main_foot.model_copy(update={"profile": ()})
    left = build.car.left.model_copy(update={"main_foot": bare})
    build = replace(build, car=build.car.model_copy(update={"left": left}))
    with pytest.raises(InputError, match=r"no floor section to fold it to at left\.main_foot"):
        plates_for(build, members_only(build))


@pytest.mark.parametrize("demo", ["gravel-hatch", "hillclimb-coupe"])
def test_a_plate_has_the_same_room_alone_as_beside_all_others(demo: str) -> None:
    one, other = demos.design(demo), Design.load(demo)
    rooms = rooms_in_car(one.cage, one.cage.plates, ground_of(one.cage.kept, one.build.car))
    assert sum(room is not None for room in rooms) >= 4
    for plate, room in zip(other.cage.plates, rooms, strict=True):
        (alone,) = least_rooms(
            ground_of(other.cage.kept, other.build.car).shell, [LaidPlate.of(other.cage, plate)]
        )
        if room is None or alone is None:
            assert room is alone
        else:
            assert (room[0], room[1].name, *room[2]) == (alone[0], alone[1].name, *alone[2])


def test_points_among_parts_are_the_same_points_where_those_parts_are() -> None:
    cage = demos.cage("gravel-hatch")
    folded = [p for p in cage.plates if p.folds]
    assert folded
    for plate in folded:
        for bend in plate.bends:
            every = {tuple(x) for x in plate_points(plate, 3.0).round(6).tolist()}
            some = {tuple(x) for x in plate_points(plate, 3.0, among=[bend.loop]).round(6).tolist()}
            assert some < every
            # nothing of the bend is missing
            low, high = plate.outline.box
            grid = np.mgrid[low[0] : high[0] : 3.0, low[1] : high[1] : 3.0].reshape(2, -1).T
            own = grid[bend.loop.contains(grid) & plate.outline.contains(grid)]
            own = own[~np.any([h.loop.contains(own) for h in plate.holes], axis=0)] \
                if plate.holes else own  # fmt: skip
            laid = np.concatenate(plate.faces(own))
            assert {tuple(x) for x in laid.round(6).tolist()} <= some


def test_a_car_that_differs_elsewhere_is_the_same_ground_to_plates() -> None:
    car, kept = load_build("hillclimb-coupe").car, Kept()
    ground = ground_of(kept, car)
    wheel = car.wheel.model_copy(update={"diameter": car.wheel.diameter + 10})
    assert ground_of(kept, replace_in(car, wheel=wheel)) is ground
    dash = car.dash.model_copy(update={"face_x": car.dash.face_x + 10})
    moved = ground_of(kept, replace_in(car, dash=dash))
    was, now = ({s.name: s for s in g.shell} for g in (ground, moved))
    assert [n for n in was if now[n] is not was[n]] == ["dash"]
    assert (moved.left, moved.right) == (ground.left, ground.right)


CHANGES: list[tuple[tuple[str, ...], object]] = [
    (("floor_z",), -171.0),
    (("wheel", "diameter"), 355.0),
    (("left", "hoop", "half_width_floor"), 630.0),
    (("left", "main_foot", "point"), (4.0, 610.0, -165.0)),
    (("left", "door", "y_inner"), 634.0),
    (("right", "sill_top_y"), (640.0, 720.0)),
]


@pytest.mark.parametrize(("way", "value"), CHANGES, ids=[".".join(w) for w, _ in CHANGES])
def test_plates_after_a_change_of_the_car_are_those_of_that_car(
    way: tuple[str, ...], value: object
) -> None:
    """Whatever of the car before is kept: point for point, and word for word."""
    base = load_build("hillclimb-coupe")
    before = Design(base)
    assert before.cage.plates
    build = replace(base, car=with_value(base.car, way, value))
    after, alone = before.of_build(build, options={}).cage, Design(build).cage
    assert [p.id for p in after.plates] == [p.id for p in alone.plates]
    for mine, its in zip(after.plates, alone.plates, strict=True):
        assert mine.notes == its.notes
        assert mine.placement.tobytes() == its.placement.tobytes()
        assert plate_points(mine).tobytes() == plate_points(its).tobytes()


def with_value(model: Any, way: tuple[str, ...], value: object) -> Any:
    first, *rest = way
    inner = with_value(getattr(model, first), tuple(rest), value) if rest else value
    return replace_in(model, **{first: inner})

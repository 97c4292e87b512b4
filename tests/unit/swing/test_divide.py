"""The fitted bar and its pieces."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from cagekit.cage.cage import Cage
from cagekit.cage.member import EndKind, Swing
from cagekit.cage.places import Places
from cagekit.errors import GeometryError, InputError
from cagekit.inputs.build import Build
from cagekit.inputs.places import SwingName, read_location
from cagekit.inputs.presets import load
from cagekit.inputs.swing_bracket import SwingBracketEntry
from cagekit.inputs.tooling import Tooling
from cagekit.names import named
from cagekit.shop.papers.order import order_of_work
from cagekit.shop.welding.welds import plan_welding
from cagekit.swing.divide import divide
from cagekit.swing.spec import require_known

from .conftest import Make

SIDES = ("left", "right")


@pytest.mark.parametrize("side", SIDES)
def test_pieces_and_saw_cuts_make_up_the_fitted_bar(wagon: tuple[Build, Cage], side: str) -> None:
    cage = wagon[1]
    door = next(d for d in cage.doors if d.side == side)
    pieces = [cage.members[i] for i in door.pieces]
    assert [p.role for p in pieces] == ["door_bar"] * 3
    assert door.pieces[1] == f"door_bar_{side}"
    total = sum(p.path.length for p in pieces) + door.hinge.gap + door.latch.gap
    assert total == pytest.approx(door.fitted.path.length, abs=1e-6)
    for one, two in pairwise(pieces):
        assert float(np.linalg.norm(two.path.start - one.path.end)) == pytest.approx(2.0)
    assert pieces[0].a.kind is EndKind.COPE
    assert pieces[2].b.kind is EndKind.COPE
    assert {pieces[0].b.kind, pieces[1].a.kind, pieces[1].b.kind} == {EndKind.PINNED}


@pytest.mark.parametrize(("fraction", "piece"), [(0.02, 0), (0.3, 1), (0.98, 2)])
def test_a_place_on_a_bar_that_is_cut_is_counted_along_the_whole(
    wagon: tuple[Build, Cage], fraction: float, piece: int
) -> None:
    """As a strut that is made before the cut counts it."""
    build, cage = wagon
    (door,) = [d for d in cage.doors if d.side == "left"]
    places = Places(build.car, cage.members, divided=cage.by_own_name)
    found = places.find(read_location(f"on door_bar.left at fraction {fraction}"), where="x")
    path = door.fitted.path
    assert found.members[-1] == door.pieces[piece]
    assert path.nearest(found.point).station == pytest.approx(fraction * path.length)


@pytest.mark.parametrize("side", SIDES)
def test_volume_of_the_pieces_is_the_bars_less_what_is_cut_out(
    wagon: tuple[Build, Cage], side: str
) -> None:
    cage = wagon[1]
    door = next(d for d in cage.doors if d.side == side)
    tube = door.fitted.tube
    area = np.pi * (tube.outer_radius**2 - tube.inner_radius**2)
    whole = cage.as_fitted().volume(door.fitted.id)
    pieces = sum(cage.volume(i) for i in door.pieces)
    # a saw cut of 2 mm at each end, and a wedge whose middle is r tan(relief) long
    wedges = sum(tube.outer_radius * abs(np.tan(j.relief)) for j in door.joints)
    holes = sum(_hole(tube.outer_radius, tube.inner_radius, j.spec.sleeve_od) for j in door.joints)
    assert whole - pieces == pytest.approx(area * (4.0 + wedges) + holes, rel=1e-6)


def _hole(ro: float, ri: float, diameter: float) -> float:
    """Both walls' share of a rod square through a tube: strips of the disc times their heights."""
    r = diameter / 2
    y = np.linspace(-r, r, 200001)
    strips = 4 * np.sqrt(r**2 - y**2) * (np.sqrt(ro**2 - y**2) - np.sqrt(ri**2 - y**2))
    return float(np.trapezoid(strips, y))


def test_fitted_cage_has_the_same_joints(wagon: tuple[Build, Cage]) -> None:
    cage = wagon[1]
    fitted = cage.as_fitted()
    assert [j.id for j in fitted.joints] == [j.id for j in cage.joints]
    for one, two in zip(fitted.joints, cage.joints, strict=True):
        assert one.point == pytest.approx(two.point, abs=1e-6)
        assert one.weld_length == pytest.approx(two.weld_length, rel=1e-6)
    assert "door_bar_left_fitted" in fitted.members
    assert not {"door_bar_left", "door_bar_left_hinge_stub"} & set(fitted.members)


def test_rear_hinge_swings_about_the_rear_pin(make) -> None:
    front, rear = make(hinge_end="b"), make(hinge_end="a")
    assert front.door.hinge.origin[0] > 900
    assert rear.door.hinge.origin[0] < 300
    for d in (front.door, rear.door):
        tip = d.latch.origin
        moved = (d.motion(0.3) @ [*tip, 1.0])[:3]
        assert moved[1] > tip[1] + 100  # outward on the left


@pytest.mark.parametrize("tilt", [-40.0, 0.0, 25.0])
def test_tilt_turns_the_pin_about_the_bar(make, tilt: float) -> None:
    hinge = make(bar={"pin_tilt": tilt}).door.hinge
    assert float(hinge.pin @ hinge.along) == pytest.approx(0.0, abs=1e-12)
    up = hinge.pin if hinge.pin[2] > 0 else -hinge.pin
    level = np.cross(hinge.along, (0.0, 0.0, 1.0))
    level *= np.sign(level[1])
    # top outboard is positive, measured in the plane square to the bar
    assert np.degrees(np.arcsin(up @ level / np.linalg.norm(level))) == pytest.approx(tilt)


def test_bar_must_be_long_enough(make) -> None:
    with pytest.raises(GeometryError, match="of bar are left"):
        make(end=(440.0, 640.0, 370.0), cut=192.0)


def test_bracket_needs_room_on_the_stub(make) -> None:
    with pytest.raises(GeometryError, match="bracket takes 80 mm of stub, the cut is 60 mm"):
        make(cut=60.0, overlap=80)


def test_bracket_entry_for_no_bar_is_refused() -> None:
    entry = SwingBracketEntry(kind="swing_bracket", at=SwingName(bar="door_bar_rihgt"))
    with pytest.raises(InputError, match="no swing-out bar"):
        require_known([entry], [], "x")
    require_known([entry.model_copy(update={"at": SwingName(joint="latch")})], [], "x")


@pytest.mark.parametrize("units", ["mm", "in"])
def test_order_of_work_divides_the_bar_last(wagon: tuple[Build, Cage], units: str) -> None:
    build, cage = wagon
    fitted = cage.as_fitted()
    plan = plan_welding(fitted, build.car, build.tooling.torch)
    steps = order_of_work(fitted, plan, cage.doors, units)
    last = steps[-2:]
    assert [s.members for s in last] == [("door_bar_left_fitted",), ("door_bar_right_fitted",)]
    for step, door in zip(last, cage.doors, strict=True):
        text = " ".join(step.text)
        for piece in door.pieces:
            assert named(piece) in text
        assert "13 degrees off square, its outer side the shorter" in text
    if units == "mm":
        hinge = cage.doors[0].hinge
        bar = cage.doors[0].fitted
        far = bar.path.length - hinge.cut_station - fitted.cut(bar.id, "b").shortest
        assert f"the stub ends {far:.1f} mm from the tip of the bar's end B" in " ".join(
            last[0].text
        )
    assert [s.number for s in steps] == list(range(1, len(steps) + 1))


def test_relief_binds_at_no_clearance_wider_than_the_cut(make) -> None:
    d = make(bar={"cut_gap": 0.8}, clearance=1.0)
    assert d.door.hinge.relief > 0


@pytest.mark.parametrize(
    ("name", "od", "kinds"),
    [
        # folds of 6 mm radius in 5 mm plate: the holes of a 40 mm bar are 9 mm from them, not 10
        ("metric-shop", 40.0, {"cheek"}),
        ("metric-shop", 45.0, {"saddle"}),
        ("inch-shop", 41.275, {"saddle"}),
    ],
)
def test_the_default_bracket_is_one_that_the_shop_can_fold(
    make: Make, name: str, od: float, kinds: set[str]
) -> None:
    tooling = load("tooling", name, Tooling)
    units = "in" if name.startswith("inch") else "mm"
    bar = make(od=od).door.fitted
    bar = replace(bar, swing=Swing(hinge_end="b", hinge_cut=bar.path.length - 160, latch_cut=160.0))
    divided = divide(bar, None, (), tooling, units)
    plates = [p for p in divided.plates if "cup" not in p.kind]
    assert {p.kind.split("_")[1] for p in plates} == kinds
    for plate in plates:
        for i in range(len(plate.holes) if plate.folds else 0):
            assert plate.fold_distance(i) >= 2 * plate.thickness

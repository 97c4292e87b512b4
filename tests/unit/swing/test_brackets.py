"""Bracket plates: where their holes are once folded, what they weigh, left and right."""

from __future__ import annotations

import numpy as np
import pytest

from cagekit.cage.cage import Cage
from cagekit.errors import GeometryError
from cagekit.inputs.build import Build
from cagekit.swing.measures import bracket_clearance

from .conftest import caged

DESIGNS = ("saddle", "cheeks")


@pytest.mark.parametrize("design", DESIGNS)
def test_folded_holes_lie_on_the_pins_axis(make, design: str) -> None:
    d = make(design=design, bar={"pin_tilt": 20})
    for joint in d.door.joints:
        found = []
        for plate in d.plates:
            if not plate.kind.startswith(joint.name):
                continue
            for pin in plate.pins:
                hole = plate.holes[pin.hole]
                face = plate.car_points(hole.centre[None], 0.0)[0] - joint.origin
                back = plate.car_points(hole.centre[None], -plate.thickness)[0] - joint.origin
                for p in (face, back):
                    assert np.linalg.norm(p - (p @ joint.pin) * joint.pin) < 1e-9
                    found.append(float(p @ joint.pin))
        inner = joint.spec.inside_width(20.0) / 2
        outer = inner + joint.spec.thickness
        assert sorted(found) == pytest.approx([-outer, -inner, inner, outer])


@pytest.mark.parametrize("design", DESIGNS)
def test_grip_is_what_the_pin_goes_through(make, design: str) -> None:
    d = make(design=design, thickness=5, pin_size="M10", sleeve_stand=0.5, spacer=1)
    for plate in d.plates:
        for pin in plate.pins:
            # two plates, two spacers, a sleeve half a millimetre longer on each side, their play
            assert pin.grip == pytest.approx(5 + 1 + (40 + 2 * 0.5) + 1 + 5 + 0.3)
            assert pin.shear_planes == 2
            assert pin.diameter == 10


@pytest.mark.parametrize(("typed", "play"), [(None, 0.3), (0.0, 0.0), (0.8, 0.8)])
def test_plates_leave_the_play_of_the_table_or_ones_own(make, typed, play) -> None:
    """Between what stands on the pin and the plates, so that a closed bar turns."""
    d = make(
        pin_size="M10",
        sleeve_stand=0.5,
        spacer=1,
        **({} if typed is None else {"side_play": typed}),
    )
    for name in ("hinge", "latch"):
        parts = {
            p.kind: p for p in d.hardware if p.joint == name and p.kind in ("sleeve", "spacer")
        }
        stack = parts["sleeve"].length + 2 * parts["spacer"].length
        joint = getattr(d.door, name)
        assert joint.spec.inside_width(20.0) - stack == pytest.approx(play)


@pytest.mark.parametrize("design", DESIGNS)
def test_ear_holds_what_was_asked_for(make, design: str) -> None:
    d = make(design=design, ear=17, pin_size="M10")
    for plate in d.plates:
        for pin in plate.pins:
            ear = plate.ear(pin)
            assert plate.edge_distance(pin.hole) == pytest.approx(17, abs=1e-9)
            # a latch's ear runs over into the bend, whose edge counts
            flat = 20.0 + 0.2 - 5.0 if plate.kind == "latch_saddle" else 17.0
            assert ear.side == pytest.approx(min(17.0, flat) - 10.5 / 2, abs=1e-9)
            assert ear.a >= 17 - 10.5 / 2 - 1e-9
            if "hinge" in plate.kind:
                assert ear.a == pytest.approx(17 - 10.5 / 2, abs=1e-9)


def test_saddle_area_by_hand(make) -> None:
    """Flat area of a hinge saddle from rectangles, circle sector and triangles, no fillets."""
    d = make(
        design="saddle", thickness=5, pin_size="M10", ear=17, overlap=50, corner_radius=0.001,
        fold_radius=5, stop_gap=0.2, sleeve_stand=0.5, spacer=1, side_play=0,
    )  # fmt: skip
    plate = next(p for p in d.plates if p.kind == "hinge_saddle")
    joint, r = d.door.hinge, 20.0
    c = joint.pin_offset
    zone = np.pi / 2 * (5 + 0.42 * 5)
    half = 21.5 - 5
    low, edge = r + 0.2 - 5, r + 0.2 - 5 + 0.25 * r
    strip = 50 * 2 * (half + zone + edge)

    def kite(corner: np.ndarray) -> tuple[float, float]:
        """Area between a corner, its tangent to the ear and the middle; angle of the tangent."""
        w = corner - np.array([0.0, low])
        size = float(np.hypot(*w))
        return 0.5 * 17 * np.sqrt(size**2 - 17**2), float(np.arccos(17 / size))

    near, top = np.array([-c, min(6.0, 0.35 * low)]), np.array([-c, edge])
    area, angle = 0.0, 2 * np.pi
    for corner in (near, top):
        piece, lean = kite(corner)
        area += piece
        angle -= lean
    w0, w1 = near - [0, low], top - [0, low]
    between = np.arctan2(w0[0] * w1[1] - w0[1] * w1[0], w0 @ w1)
    angle -= abs(between)
    area += 0.5 * abs(w0[0] * w1[1] - w0[1] * w1[0]) + 0.5 * 17**2 * angle
    holes = 2 * np.pi / 4 * 10.5**2
    # the rounded inside corners change it by a few square millimetres
    assert plate.area == pytest.approx(strip + 2 * area - holes, abs=12.0)


@pytest.mark.parametrize("design", DESIGNS)
def test_left_and_right_are_true_mirrors_of_their_own(make, design: str) -> None:
    left = make(design=design, bar={"pin_tilt": 15})
    flip = {"start": (0.0, -650.0, 380.0), "end": (1150.0, -610.0, 300.0)}
    right = make(design=design, side="right", bar={"pin_tilt": 15}, **flip)
    mirror = np.array([1.0, -1.0, 1.0])
    assert len(left.plates) == len(right.plates)
    assert not {p.id for p in left.plates} & {p.id for p in right.plates}
    for one, two in zip(left.plates, right.plates, strict=True):
        assert one.id.replace("left", "right") == two.id
        assert np.linalg.det(two.placement[:3, :3]) == pytest.approx(1.0)
        flat = one.outline.sampled(5.0)
        body = np.concatenate([one.car_points(flat, z) for z in (0.0, -one.thickness)]) * mirror
        other = two.outline.sampled(1.0)
        cloud = np.concatenate([two.car_points(other, z) for z in (0.0, -two.thickness)])
        gaps = np.linalg.norm(body[:, None] - cloud[None], axis=2).min(axis=1)
        assert gaps.max() < 1.0  # the cloud's own spacing
        assert set(two.members) == {m.replace("left", "right") for m in one.members}


@pytest.mark.parametrize("design", DESIGNS)
def test_bracket_clears_the_tubes_inside_it(make, design: str) -> None:
    d = make(design=design, stop_gap=0.3)
    cage = caged(d)
    for joint in d.door.joints:
        found = bracket_clearance(cage, d.door, joint)
        s = joint.spec
        want = 0.3 if design == "saddle" else s.sleeve_stand + s.spacer + s.side_play / 2
        assert found.value == pytest.approx(want, abs=0.02)


def test_brackets_of_the_demo_are_listed_once_each(wagon: tuple[Build, Cage]) -> None:
    cage = wagon[1]
    ids = [p.id for p in cage.plates]
    assert len(ids) == len(set(ids))
    for door in cage.doors:
        assert all(door.side in i for i in (*door.plates, *door.hardware))
        for i in door.plates:
            plate = next(p for p in cage.plates if p.id == i)
            assert all(door.side in m for m in plate.members)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"pin_size": "M12", "ear": 12}, r"larger than its ear .* 13.0 mm in an ear of 12.0 mm"),
        ({"pin_size": "M10", "hole": 9.5}, r"pin of 10.00 mm does not go into hole = 9.50 mm"),
        ({"pin_size": "M10", "sleeve_bore": 9.9}, "sleeve_bore = 9.90 mm"),
        ({"sleeve_od": 11}, "0.4 mm of wall"),
        ({"sleeve_od": 30}, r"30.0 mm cuts the tube of 40.0 mm nearly through \(24.0 mm"),
        ({"design": "saddle", "fold_radius": 24}, r"into its own tube: folds of 24.0 mm"),
        ({"design": "saddle", "fold_radius": 20}, "leave no flat between"),
        ({"design": "saddle", "ear": 8.0, "pin_size": "M8"}, r"ear of 8.0 mm"),
        ({"pin_offset": 14.0}, "pin_offset"),
    ],
)
def test_what_cannot_be_made_is_refused_with_numbers(make, fields: dict, words: str) -> None:
    with pytest.raises(GeometryError, match=words) as told:
        make(**fields)
    assert told.value.hint

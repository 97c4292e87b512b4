"""Sleeves, pins and half cups: sizes, volumes, places."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace

from cagekit.errors import InputError, NotFoundError
from cagekit.materials.fasteners import fastener
from cagekit.materials.pins import lengths_of, pin_lengths, pin_size, pin_sizes
from cagekit.swing.hardware import choose_pin, cup_half_angle


@pytest.mark.parametrize("size", pin_sizes(), ids=lambda p: p.size)
def test_every_size_goes_together(size) -> None:
    d = size.diameter
    assert d < size.hole < d + 1.1
    assert d < size.sleeve_bore < d + 0.5
    # the bore is reamed out of the tube as bought, or is that tube's own
    assert size.sleeve_od - 2 * size.sleeve_wall <= size.sleeve_bore + 1e-9
    assert size.sleeve_od - size.sleeve_bore > 2.0
    assert size.washer_od > size.hole
    grade = "grade-8" if "/" in size.size else "10.9"
    bolt = fastener(size.thread, grade)
    assert bolt.diameter == pytest.approx(d)
    assert bolt.across_flats > d


@pytest.mark.parametrize("row", pin_lengths(), ids=lambda r: f"{r.kind} {r.size}")
def test_lengths_rise_and_bolts_have_the_standard_thread(row) -> None:
    assert list(row.lengths) == sorted(set(row.lengths))
    d = pin_size(row.size).diameter
    if row.kind == "bolt":
        # ISO 4014: 2 d + 6 mm up to 125 mm; ASME B18.2.1: 2 d + 1/4 in up to 6 in
        extra = 6.35 if "/" in row.size else 6.0
        assert row.thread_length == pytest.approx(2 * d + extra)
    else:
        assert row.thread_length == 0


def test_unknown_pin_tells_what_there_is(make) -> None:
    with pytest.raises(InputError, match=r"M11.*not in the table.*M10"):
        make(pin_size="M11")
    with pytest.raises(NotFoundError):
        lengths_of("bolt", "1/4")


def test_bolt_keeps_its_thread_out_of_the_shear_planes(make) -> None:
    spec = make(
        pin_size="M10", thickness=5, sleeve_stand=0.5, spacer=1, side_play=0, pin="bolt"
    ).door.hinge.spec
    choice = choose_pin(spec, 20.0)
    assert choice.grip == pytest.approx(53.0)
    # washer 2, grip, washer 2, nut 8.4, two threads of 1.5
    assert choice.needed == pytest.approx(2 + 53 + 2 + 8.4 + 3)
    # far plane: washer, plate, spacer, sleeve, spacer
    assert choice.shank_needed == pytest.approx(2 + 5 + 1 + 41 + 1)
    assert choice.length in lengths_of("bolt", "M10").lengths
    assert choice.length >= choice.needed
    assert choice.shank == pytest.approx(choice.length - 26)
    assert choice.shank >= choice.shank_needed


def test_quick_release_pin_is_the_next_longer_one(make) -> None:
    spec = make(pin_size="M10", thickness=5, sleeve_stand=0.5, spacer=1).door.latch.spec
    choice = choose_pin(spec, 20.0)
    assert spec.pin_kind == "quick-release"
    assert choice.length == 60
    short = choose_pin(replace(spec, thickness=40.0), 20.0)
    assert not short.found


def test_small_parts_have_the_volume_of_their_rings(make) -> None:
    d = make(design="cheeks", pin_size="M10", sleeve_stand=0.5, cup_wall=3.0, reach=45)
    parts = {p.id.removeprefix("door_bar_left_"): p for p in d.hardware}
    sleeve = parts["hinge_sleeve"]
    assert sleeve.volume == pytest.approx(np.pi / 4 * (16**2 - 10.2**2) * 41)
    assert sleeve.mass == pytest.approx(sleeve.volume * 7.85e-6)
    nut = parts["hinge_nut"]
    # hexagon of 16 mm across flats less the hole
    assert nut.volume == pytest.approx((np.sqrt(3) / 2 * 16**2 - np.pi / 4 * 100) * 8.4)
    cup, latch = parts["latch_half_cup"], d.door.latch
    half = cup_half_angle(latch.spec, 20.0)
    section = half * ((20.2 + 3) ** 2 - 20.2**2)
    assert cup.volume == pytest.approx(section * (30 + latch.pin_offset + 45))
    assert 23.2 * np.sin(half) <= latch.spec.inside_width(20.0) / 2 - 0.5 + 1e-9


def test_half_cup_lies_behind_the_bar_and_leaves_it_free_outward(make) -> None:
    d = make(design="cheeks")
    cup = next(p for p in d.hardware if p.kind == "half_cup")
    latch = d.door.latch
    (plate,) = cup.prisms()
    points = plate.car_points(plate.outline.sampled(1.0), 0.0) - latch.origin
    out, along = points @ latch.out, points @ latch.along
    assert out.max() < 0  # all of it on the inner side
    far = np.linalg.norm(points - np.multiply.outer(along, latch.along), axis=1)
    assert far.min() == pytest.approx(20.0 + latch.spec.stop_gap, abs=0.02)
    assert along.max() == pytest.approx(latch.spec.reach)


def test_pins_lie_on_their_axis_with_the_head_up(make) -> None:
    d = make(bar={"pin_tilt": 10})
    for part in d.hardware:
        joint = d.door.hinge if part.joint == "hinge" else d.door.latch
        if part.kind == "half_cup":
            continue
        axis, at = part.frame[:3, 2], part.frame[:3, 3] - joint.origin
        assert abs(float(axis @ joint.pin)) == pytest.approx(1.0)
        assert axis[2] > 0
        assert np.linalg.norm(at - (at @ joint.pin) * joint.pin) < 1e-9
    bolt = next(p for p in d.hardware if p.kind == "bolt")
    nut = next(p for p in d.hardware if p.kind == "nut")
    grip = d.door.hinge.spec.grip(20.0)
    washer = d.door.hinge.spec.pin.washer_thickness
    under_head = bolt.frame[:3, 3] + bolt.stages[0].length * bolt.frame[:3, 2]
    top_of_nut = nut.frame[:3, 3] + nut.length * nut.frame[:3, 2]
    assert np.linalg.norm(under_head - top_of_nut) == pytest.approx(grip + 2 * washer)

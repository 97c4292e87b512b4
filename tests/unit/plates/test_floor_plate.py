"""Floor plates: sizes, bolts, folds that lie on the sheet, backing plates in line."""

from __future__ import annotations

from itertools import pairwise
from math import hypot, pi, radians

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from cagekit.cage.plate import HolePurpose
from cagekit.errors import GeometryError, InputError
from cagekit.inputs.plate import FlatPlate
from cagekit.materials.fasteners import fastener
from cagekit.plates.floor_plate import FloorPlateSpec, floor_plate
from cagekit.plates.foot import Foot
from cagekit.plates.profile import Folding

BRAKE = Folding(radius=3.0, k=0.42, flange=16.0)
SPEC = FloorPlateSpec(thickness=3, material="s235", length=150, width=150, folding=BRAKE)
FOOT = Foot.square(45, member="main_hoop")
SILL = ((-300.0, -3.0), (60.0, -3.0), (72.0, 80.0), (100.0, 80.0))
"""Floor with a sill that rises at y = 60; the foot's plane is 3 mm above the sheet."""


def segment_gaps(profile, points):
    """Distance of (y, z) points to a polyline, and on which straight each is."""
    best = []
    for y, z in points:
        rows = []
        for (y0, z0), (y1, z1) in pairwise(profile):
            d = np.array([y1 - y0, z1 - z0])
            f = float(np.clip(((y - y0) * d[0] + (z - z0) * d[1]) / (d @ d), 0, 1))
            rows.append(hypot(y - y0 - f * d[0], z - z0 - f * d[1]))
        best.append(min(rows))
    return np.array(best)


def test_a_plain_plate():
    (p,) = floor_plate("foot_main_hoop_a", FOOT, SPEC)
    assert p.area == pytest.approx(150 * 150 - (4 - pi) * 144)
    assert p.mass == pytest.approx(p.area * 3 * 7.85e-6)
    assert p.welds[0].length == pytest.approx(45 * pi)
    assert {m.kind for m in p.marks} == {"foot", "datum"}


def test_four_bolts_in_the_corners_and_the_backing_in_line():
    bolt = fastener("M10", "8.8")
    top, below = floor_plate(
        "foot_x", replace(FOOT, sheet=1.2), replace(SPEC, bolt=bolt, backing=4.0)
    )
    assert [b.size for b in top.bolts] == ["M10"] * 4
    assert [top.edge_distance(i) for i in range(4)] == pytest.approx([20.0] * 4)
    assert below.id == "backing_x"
    assert below.thickness == 4.0
    axes = [p.car_points([h.centre for h in p.holes], 0.0)[:, :2] for p in (top, below)]
    assert axes[0] == pytest.approx(axes[1])
    # the backing's face meets the sheet's under side
    assert below.car_points([[0, 0]])[0, 2] == pytest.approx(-3 - 1.2)


@pytest.mark.parametrize("count", range(2, 9))
def test_bolt_patterns_are_whole_and_inside(count):
    spec = replace(SPEC, bolt=fastener("M8", "8.8"), bolts=count)
    (p,) = floor_plate("foot_x", FOOT, replace(spec, backing=0.0))
    assert len(p.holes) == len(p.bolts) == count
    assert min(p.edge_distance(i) for i in range(count)) >= 16 - 1e-9


def test_three_bolts_stand_wide_apart():
    """At least 60 degrees between two bolts (FIA Appendix J 253, from memory)."""
    spec = replace(SPEC, bolt=fastener("M8", "8.8"), bolts=3)
    p = floor_plate("foot_x", FOOT, spec)[0]
    a = np.sort([np.arctan2(h.centre[1], h.centre[0]) for h in p.holes])
    steps = np.diff([*a, a[0] + 2 * pi])
    assert np.degrees(steps).min() > 60


def test_a_welded_plate_has_no_plate_below_whatever_its_preset_says():
    welded, bolted = (
        FloorPlateSpec.of(FlatPlate(fix=fix, backing=True, backing_thickness=5), BRAKE, 3.0, "mm")
        for fix in ("welded", "bolted")
    )
    assert (welded.backing, bolted.backing) == (0.0, 5.0)


def test_plug_welds_without_room_are_not_called_bolts():
    with pytest.raises(GeometryError, match=r"12 x plug weld .* smaller plug welds") as told:
        floor_plate("foot_x", FOOT, replace(SPEC, plugs=12, edge=55.0))
    assert "bolt" not in str(told.value)


def test_plug_holes():
    (p,) = floor_plate("foot_x", FOOT, replace(SPEC, plugs=8))
    assert [h.purpose for h in p.holes] == [HolePurpose.PLUG] * 8
    assert [w.kind for w in p.welds] == ["fillet", "fillet", "plug"]


def test_a_folded_plate_lies_on_floor_and_sill():
    foot = replace(FOOT, profile=SILL, sheet=1.0)
    (p,) = floor_plate("foot_x", foot, replace(SPEC, style="folded", width=200))
    assert len(p.folds) == 1
    assert np.degrees(p.folds[0].angle) == pytest.approx(np.degrees(np.arctan2(83, 12)))
    for facet in p.facets:
        back = p.car_points(facet.loop.sampled(3.0), -3.0)[:, 1:]
        assert segment_gaps(SILL, back).max() < 1e-9
    # nothing of the bend zone reaches into the sheet: its outside keeps to the hollow side
    edge = p.bends[0].loop.sampled(0.5)
    assert p.car_points(edge, -3.0)[:, 2].min() >= -3 - 1e-9


@given(
    st.floats(-1.2, 1.4).filter(lambda a: abs(a) > 0.1),
    st.floats(60, 110),
    st.floats(1.5, 5),
    st.floats(0, 8),
)
def test_back_lies_on_any_single_bent_sheet(turn, at, thickness, radius):
    far = (at + 300 * np.cos(turn), -thickness + 300 * np.sin(turn))
    profile = ((-400.0, -thickness), (at, -thickness), far)
    spec = replace(
        SPEC,
        thickness=thickness,
        style="folded",
        width=400,
        folding=Folding(radius=radius, k=0.42, flange=15),
    )
    (p,) = floor_plate("foot_x", replace(FOOT, profile=profile), spec)
    assert len(p.facets) == 2
    for facet in p.facets:
        back = p.car_points(facet.loop.vertices, -thickness)[:, 1:]
        assert segment_gaps(profile, back).max() < 1e-7


def test_a_folded_backing_plate_lies_under_the_sheet():
    foot = replace(FOOT, profile=SILL, sheet=1.5)
    spec = replace(
        SPEC, style="folded", width=200, bolt=fastener("M8", "8.8"), backing=3.0, edge=16
    )
    top, below = floor_plate("foot_x", foot, spec)
    # the sheet's under side: each straight of the section moved out by its thickness
    gaps = [
        segment_gaps(SILL[:3], below.car_points(f.loop.sampled(3.0), 0.0)[:, 1:]).min()
        for f in below.facets
    ]
    assert gaps == pytest.approx([1.5] * len(gaps), abs=1e-9)
    pairs = zip(top.holes, below.holes, strict=True)
    for a, b in pairs:
        # square through the sheet: along the axis of the hole to the backing's hole
        out, back = (top.car_points([a.centre], z)[0] for z in (0.0, -top.thickness))
        way = (back - out) / top.thickness
        apart = below.car_points([b.centre])[0] - back
        assert apart == pytest.approx((apart @ way) * way, abs=1e-6)
        assert apart @ way == pytest.approx(1.5, abs=1e-6)


def test_a_folded_bolted_plate_is_bolted_through_every_face():
    """Four round the tube, two up the sill, two through the flange ahead; none in a short one."""
    foot = replace(FOOT, profile=SILL, sheet=1.5)
    spec = replace(SPEC, style="folded", bolt=fastener("M8", "8.8"), backing=3.0, edge=16)
    flange = replace(spec, width=200, length=170.0, front=(60.0, radians(50)))
    for own, faces, count in ((replace(spec, width=200), 2, 6), (flange, 3, 8)):
        top, below = floor_plate("foot_x", foot, own)
        assert len(top.facets) == faces
        assert [len(f.holes) >= 2 for f in top.facets] == [True] * faces
        assert len(top.bolts) == len(below.bolts) == count
        assert len(top.foot_bolts) == 4
        for i in range(4, count):
            assert top.edge_distance(i) >= 16 - 1e-6
            assert top.fold_distance(i) >= 2 * top.thickness - 1e-6
    short, _ = floor_plate("foot_x", foot, replace(spec, width=150))
    assert len(short.bolts) == 4


def test_flanges_ahead_and_behind_besides_the_side_folds():
    foot = replace(FOOT, profile=SILL)
    spec = replace(
        SPEC, style="folded", width=220, front=(40.0, radians(50)), rear=(30.0, radians(20))
    )
    (p,) = floor_plate("foot_x", foot, spec)
    assert len(p.folds) == 3
    assert len(p.facets) == 4
    lifted = [f for f in p.facets if abs(f.frame[2, 0]) > 0.1]
    assert len(lifted) == 2


def test_a_short_flange_is_lengthened_or_left_out_and_says_so():
    foot = replace(FOOT, profile=SILL)
    longer = floor_plate("foot_x", foot, replace(SPEC, style="folded", width=144))[0]
    assert "lengthened" in longer.notes[0]
    shorter = floor_plate("foot_x", foot, replace(SPEC, style="folded", width=124))[0]
    ends = shorter.outline.box[1][1]
    assert f"ends {62 - ends:.0f} mm short, before a fold" in shorter.notes[0]
    assert not shorter.folds
    narrow = floor_plate("foot_x", foot, replace(SPEC, style="folded", width=100))[0]
    assert narrow.notes == ("stays flat: the floor's section does not turn within its width.",)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"width": 40}, r"foot of main_hoop end a hangs 2\.5 mm over the edge"),
        ({"shift": (60, 0)}, r"hangs 7\.5 mm over the edge"),
        ({"width": 70, "length": 70, "bolt": "M10"}, r"no room for 4 x M10.*need 36\.5 mm"),
        ({"front": (8.0, 1.0)}, r"front flange of 8\.0 mm is shorter than the 16\.0 mm"),
    ],
)
def test_refusals(change, words):
    if "bolt" in change:
        change = {**change, "bolt": fastener("M10", "8.8")}
    with pytest.raises(GeometryError, match=words):
        floor_plate("foot_x", FOOT, replace(SPEC, **change))


def test_a_foot_on_a_fold_is_refused():
    near = ((-300.0, -3.0), (21.0, -3.0), (30.0, 80.0))
    with pytest.raises(GeometryError, match=r"stands .* mm into the bend zone of fold 1"):
        floor_plate("foot_x", replace(FOOT, profile=near), replace(SPEC, style="folded"))


@pytest.mark.parametrize(
    ("profile", "words"),
    [
        (((20.0, -3.0), (90.0, -3.0)), "runs from 20 to 90 mm beside the foot"),
        (((-50.0, -3.0), (90.0, 30.0)), "at a slope of 13.3 degrees"),
        (((-50.0, -20.0), (90.0, -20.0)), r"passes 17\.0 mm under the foot"),
    ],
)
def test_a_section_that_does_not_fit_the_foot_is_refused(profile, words):
    with pytest.raises(InputError, match=words):
        floor_plate("foot_x", replace(FOOT, profile=profile), replace(SPEC, style="folded"))


def test_folds_too_near_each_other_are_refused():
    joggle = ((-300.0, -3.0), (50.0, -3.0), (52.0, 1.0), (300.0, 1.0))
    with pytest.raises(GeometryError, match="between two folds of the floor section"):
        floor_plate(
            "foot_x", replace(FOOT, profile=joggle), replace(SPEC, style="folded", width=300)
        )

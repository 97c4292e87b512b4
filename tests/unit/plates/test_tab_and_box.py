"""Tabs, plinths and plate outriggers."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from msgspec.structs import replace

from cagekit.cage.plate import HolePurpose
from cagekit.design import Design
from cagekit.errors import GeometryError, InputError
from cagekit.inputs.resolve import load_build, with_changes
from cagekit.plates.box import SLOT_GAP, BoxSpec, box
from cagekit.plates.floor_plate import FloorPlateSpec
from cagekit.plates.foot import Foot
from cagekit.plates.plinth import plinth
from cagekit.plates.profile import Folding
from cagekit.plates.tab import TabSpec, tabs

from .stand_in import axis_gaps, hoop_cage

SPEC = TabSpec(thickness=5, material="s235", hole=11.5, reach=32, width=56, ear=20, pin=11.1)
HOOP = hoop_cage().member("main_hoop")


def tab(spec=SPEC, station=300.0, toward=(-1.0, 0.0, 0.0)):
    return tabs("tab", "main_hoop", HOOP.path, 22.5, station, spec, toward)


def test_a_tab_stands_on_its_tube():
    (p,) = tab()
    gaps = axis_gaps(HOOP.path, p.car_points(p.outline.sampled(1.0), -2.5))
    assert gaps.min() == pytest.approx(23.0, abs=1e-3)
    hole = p.car_points([p.holes[0].centre], -2.5)
    assert axis_gaps(HOOP.path, hole) == pytest.approx([22.5 + 32], abs=1e-3)
    # it points rearward and its hole runs across
    assert p.car_points([[0, 60]], 0)[0, 0] < -50
    assert p.welds[0].length == pytest.approx(112)


def test_a_tab_on_a_bend_follows_it():
    station = float(HOOP.path.starts[1]) + 100
    (p,) = tab(station=station, toward=(0.0, 0.0, -1.0))
    for z in (0.0, -5.0):
        gaps = axis_gaps(HOOP.path, p.car_points(p.outline.sampled(1.0), z))
        assert gaps.min() > 22.9


def test_the_ear_is_round_and_its_flanks_touch_it():
    (p,) = tab()
    arc = next(s for s in p.outline.segments if s.is_arc)
    assert arc.radius == pytest.approx(20)
    segments = list(p.outline.segments)
    i = segments.index(arc)
    before, after = segments[i - 1], segments[(i + 1) % len(segments)]
    assert before.tangent(1.0) == pytest.approx(arc.tangent(0.0), abs=1e-9)
    assert after.tangent(0.0) == pytest.approx(arc.tangent(1.0), abs=1e-9)


def test_pin_distances_of_an_ear():
    (p,) = tab()
    ear = p.ear(p.pins[0])
    assert ear.a == pytest.approx(20 - 11.5 / 2)
    assert ear.side == pytest.approx(20 - 11.5 / 2, abs=0.6)
    assert (ear.hole, ear.thickness) == (11.5, 5)
    sideways = p.ear(replace(p.pins[0], load=(1.0, 0.0)))
    assert sideways.width > ear.width


def test_a_clevis_has_its_gap_and_two_shear_planes():
    left, right = tab(replace(SPEC, count=2, gap=12))
    faces = [p.car_points([[0, 50]], z)[0] for p, z in ((left, 0.0), (right, -5.0))]
    assert np.linalg.norm(faces[0] - faces[1]) == pytest.approx(12)
    assert left.pins[0].shear_planes == 2
    assert left.pins[0].grip == pytest.approx(22)
    assert {left.id, right.id} == {"tab_1", "tab_2"}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"ear": 8.0}, r"hole of 11\.5 mm in an ear of 8\.0 mm radius leaves 2\.2 mm"),
        ({"pin": 12.0}, r"bolt of 12\.0 mm does not go into a hole of 11\.5 mm"),
        ({"reach": 15.0}, "would run into the tube"),
    ],
)
def test_tab_refusals(change, words):
    with pytest.raises(GeometryError, match=words):
        tab(replace(SPEC, **change))


def test_how_long_its_direction_is_does_not_matter_to_a_tab():
    short, long = (tab(toward=(-size, 0.0, 0.0))[0] for size in (0.01, 40.0))
    assert short.placement == pytest.approx(long.placement)


def test_a_tab_along_its_tube_is_refused():
    with pytest.raises(GeometryError, match="would stand along"):
        tab(toward=tuple(HOOP.path.spot(300).tangent))


# -- boxes -------------------------------------------------------------------------------------

BOX = BoxSpec(length=120, width=100, height=60, top=4, wall=3, base=5, material="s235", foot_lip=26)


def test_a_tab_on_a_tube_that_is_left_out_tells_so():
    build = with_changes(load_build("hillclimb-coupe"), "harness_bar", {"omit": True})
    with pytest.raises(InputError, match=r"the build leaves 'harness_bar' out \(omit = true\)"):
        Design(build).cage  # noqa: B018


def test_a_box_has_six_plates_that_lock():
    plates = {p.id.removeprefix("b_"): p for p in box("b", np.eye(4), BOX)}
    assert list(plates) == ["top", "front", "rear", "left", "right", "base"]
    # two tabs a wall up and down, one each end of the side walls
    assert len(plates["top"].holes) == len(plates["base"].holes) == 8
    assert len(plates["front"].holes) == 2
    assert {h.purpose for h in plates["top"].holes} == {HolePurpose.TAB}


def test_a_box_is_welded_along_every_seam():
    """Walls to top and to base, and where side walls meet front and rear, from top to base."""
    walls = box("b", np.eye(4), BOX)[1:5]
    inset = max(2 * BOX.wall, 6.0)
    long, wide, high = 120 - 2 * 6, 100 - 2 * 6, 60 - 4 - 5
    round_ = 2 * wide + 2 * (long - 2 * BOX.wall)
    assert sum(w.length for p in walls for w in p.welds) == pytest.approx(2 * round_ + 4 * high)
    # the side walls stand in from the corners, between front and rear
    assert {abs(round(float(p.placement[1, 3]))) for p in walls[2:]} == {round(wide / 2 - inset)}


def test_tabs_end_flush_with_the_top_and_the_base():
    plates = box("b", np.eye(4), BOX)
    for wall in plates[1:5]:
        z = wall.car_points(wall.outline.vertices, 0)[:, 2]
        assert z.max() == pytest.approx(0)
        assert z.min() == pytest.approx(-60)


def test_every_tab_lies_in_a_slot_with_its_clearance():
    top, *walls, base = box("b", np.eye(4), BOX)
    for lid, level in ((top, -2.0), (base, -57.5)):
        slots = [h.loop for h in lid.holes]
        for wall in walls:
            flat = wall.outline.sampled(1.0)
            for z in (0.0, -3.0):
                points = wall.car_points(flat, z)
                inside = np.abs(points[:, 2] - level) < 1.5
                xy = points[inside][:, :2]
                gap = np.max([np.where(s.contains(xy), s.distance(xy), -1) for s in slots], axis=0)
                assert len(xy)
                assert gap.min() == pytest.approx(SLOT_GAP, abs=1e-6)


def test_a_plinth_stands_from_the_sheet_to_the_foot():
    foot = Foot.square(45, member="rear_brace_left", end="b")
    spec = FloorPlateSpec(
        thickness=3,
        material="s235",
        length=120,
        width=120,
        folding=Folding(radius=3, k=0.42, flange=16),
        style="plinth",
    )
    plates = plinth("foot_rear_brace_left_b", foot, spec, 60.0, None)
    assert plates[0].ends == ("rear_brace_left.b",)
    assert plates[0].welds[0].length == pytest.approx(45 * pi)
    base = plates[-1]
    assert base.car_points([[0, 0]], -base.thickness)[0, 2] == pytest.approx(-60)
    assert base.size == pytest.approx([160, 160])
    with pytest.raises(GeometryError, match="too small"):
        plinth("p", foot, replace(spec, length=40), 60.0, None)
    with pytest.raises(GeometryError, match="walls 9 mm high"):
        plinth("p", foot, spec, 15.0, None)

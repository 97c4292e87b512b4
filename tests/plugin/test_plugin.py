"""The methods for CadQuery in chains, and copes to solids that are not ours."""

from __future__ import annotations

import warnings
from math import pi
from typing import Any

import cadquery as cq
import numpy as np
import pytest

import cagekit as ck
import cagekit.plugin as plug
from cagekit.errors import CagekitError
from cagekit.solids.recognise import recognise

pytestmark = pytest.mark.kernel
OD, WALL = 40.0, 2.0
AREA = pi * (20.0**2 - 18.0**2)


def swept(*points: tuple[float, float, float]) -> cq.Workplane:
    """A tube as a CadQuery user would sweep it."""
    wire = cq.Workplane(obj=cq.Wire.makePolygon([cq.Vector(*p) for p in points]))
    start, towards = cq.Vector(*points[0]), cq.Vector(*points[1]) - cq.Vector(*points[0])
    return cq.Workplane(cq.Plane(origin=start, normal=towards)).circle(20).circle(18).sweep(wire)


def test_a_tube_along_points_and_along_a_wire_are_the_same() -> None:
    points = [(0, 0), (0, 500), (600, 500)]
    one = cq.Workplane("XZ").cageTube(OD, WALL, points, bendRadius=150)
    two = cq.Workplane("XZ").polyline(points).wire().cageTube(OD, WALL, bendRadius=150)
    length = 500 + 600 - 2 * 150 + 150 * pi / 2
    for made in (one, two):
        assert made.val().isValid()
        assert made.val().Volume(1e-6) == pytest.approx(AREA * length, rel=1e-6)
    drawn = cq.Workplane("XZ").lineTo(0, 350).tangentArcPoint((150, 150)).lineTo(600, 500)
    three = drawn.wire().cageTube("40 mm", "2 mm")
    assert three.val().Volume(1e-6) == pytest.approx(AREA * length, rel=1e-6)


def test_it_combines_and_tags_like_the_built_in_ones() -> None:
    base = cq.Workplane("XY").box(100, 100, 10).tag("base")
    both = base.faces(">Z").workplane().cageTube(OD, WALL, [(0, 0, 0), (0, 0, 300)])
    assert both.solids().size() == 1
    assert both.solids(tag="base").size() == 1
    apart = base.faces(">Z").workplane().cageTube(OD, WALL, [(0, 0, 0), (0, 0, 300)], combine=False)
    assert apart.val().Volume(1e-6) == pytest.approx(AREA * 300, rel=1e-6)


@pytest.mark.parametrize("angle", [90.0, 55.0])
def test_a_cope_is_what_the_kernel_cuts(angle: float) -> None:
    rad = np.radians(angle)
    parent = swept((0, 0, -300), (0, 0, 300))
    tip = (400 * np.sin(rad), 0, 400 * np.cos(rad))
    bar = cq.Workplane().cageTube(OD, WALL, [tip, (0, 0, 0)])
    made = bar.copeTo(parent)
    solid = made.val()
    assert solid.isValid()
    rod = cq.Workplane("XY").workplane(offset=-300).circle(20).extrude(600)
    by_hand = max(bar.cut(rod, clean=False).solids().vals(), key=lambda s: s.Volume())
    assert solid.Volume(1e-6) == pytest.approx(by_hand.Volume(1e-6), rel=1e-4)


def test_a_bend_swept_by_hand_is_a_parent_and_so_is_one_from_a_file(tmp_path) -> None:
    hoop = ck.main_hoop(bend_radius=150, od=OD, wall=WALL)
    file = tmp_path / "hoop.step"
    hoop.save(file)
    foreign = cq.importers.importStep(str(file))
    found = recognise(foreign.val())
    assert found is not None
    assert found.outer_radius == pytest.approx(20.0, abs=1e-6)
    assert found.inner_radius == pytest.approx(18.0, abs=1e-6)
    # its feet are cut to the floor, so the longest side stands over the theoretical ends
    assert hoop.path.length < found.path.length < hoop.path.length + OD
    assert len(found.path.bends) == 4
    node = hoop.at(height=450).point
    away = tuple(np.array(node) + np.array([-500.0, 20.0, -60.0]))
    bar = plug.tube([away, tuple(node)], OD, WALL)
    direct = plug.cope(bar, foreign.val())
    ours = ck.between(away, hoop.at(height=450), tube="dom-1.5x0.095")
    assert direct.way == "direct"
    assert direct.solid.isValid()
    assert len(ours.copes()["b"].parents) == 1


def test_a_face_of_another_model_is_enough() -> None:
    pipe = swept((0, 0, -300), (0, 0, 300))
    (outside, *_) = sorted(pipe.faces("%CYLINDER").vals(), key=lambda f: -f.Area())
    bar = cq.Workplane().cageTube(OD, WALL, [(400, 0, 0), (0, 0, 0)])
    assert bar.copeTo(outside).val().isValid()


def test_what_is_no_tube_goes_by_boolean_and_says_so() -> None:
    block = cq.Workplane("XY").box(60, 60, 60)
    bar = cq.Workplane().cageTube(OD, WALL, [(400, 0, 0), (0, 0, 0)])
    with pytest.warns(UserWarning, match="boolean"):
        made = bar.copeTo(block)
    assert made.val().Volume(1e-6) == pytest.approx(AREA * 370, rel=1e-6)


def test_a_plate_under_a_flat_end_and_a_part_on_a_plane() -> None:
    post = cq.Workplane("XY").cageTube(OD, WALL, [(0, 0, 0), (0, 0, 400)])
    plate = post.faces("<Z").footPlate(120, 140, thickness=3)
    box = plate.val().BoundingBox()
    assert box.zmax == pytest.approx(0, abs=1e-6)
    assert box.zmin == pytest.approx(-3, abs=1e-6)
    assert sorted([box.xlen, box.ylen]) == pytest.approx([120, 140], abs=1e-6)
    four = cq.Workplane("XY").rect(400, 300, forConstruction=True).vertices().placePart(ck.tab())
    assert four.solids().size() == 4


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: cq.Workplane().cageTube(OD, WALL), "needs points"),
        (lambda: cq.Workplane().cageTube("wide", WALL, [(0, 0, 0), (0, 0, 9)]), "od"),
        (lambda: cq.Workplane().box(9, 9, 9).copeTo(), "none is given"),
        (lambda: cq.Workplane().box(9, 9, 9).footPlate(), "wants faces"),
        (lambda: cq.Workplane().cageTube(OD, 30, [(0, 0, 0), (0, 0, 9)]), "wall"),
    ],
)
def test_bad_input_has_words(call, words) -> None:
    with warnings.catch_warnings(), pytest.raises((CagekitError, ValueError), match=words):
        call()


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: plug.tube("abc", 40, 2), "path"),
        (lambda: plug.tube([(0, 0), (0, 900)], 40, 2), r"path\[0\]"),
        (lambda: plug.tube([(0, 0, 0), (0, 0, 500), (0, 500, 500)], 40, 2, 5), "tighter"),
        (lambda: plug.cope(cq.Workplane(), cq.Workplane()), r"branch.*\.val\(\)"),
        (lambda: plug.cope(cq.Solid.makeBox(1, 1, 1), "hoop"), r"parents.*hoop"),
        (lambda: cq.Workplane().placePart("tab"), r"part.*tab"),
    ],
)
def test_a_wrong_call_names_its_argument(call: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words) as caught:
        call()
    assert isinstance(caught.value, CagekitError)

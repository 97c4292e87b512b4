"""Solids of swing-out bars: every part sound, volumes as by area and length, open as closed."""

from __future__ import annotations

import demos
import numpy as np
import pytest

from cagekit.cage.cage import Cage
from cagekit.cage.door import SwingDoor
from cagekit.parts.swing import SWING_KINDS
from cagekit.solids.bodies import (
    kernel_body,
    member_body,
    plate_body,
    small_part_body,
    to_cadquery,
)
from cagekit.swing.opened import opened_cage

pytestmark = pytest.mark.kernel


@pytest.fixture(scope="module")
def cage() -> Cage:
    return demos.cage("sprint-wagon")


@pytest.mark.parametrize("design", ["saddle", "cheeks"])
@pytest.mark.parametrize("kind", ["hinge_bracket", "latch_bracket"])
def test_bracket_alone_is_sound(kind: str, design: str) -> None:
    part = SWING_KINDS[kind]
    made = part.make(part.read({"design": design}))
    assert made.cage.plates
    for plate in made.cage.plates:
        solid = to_cadquery(plate_body(plate))
        assert solid.isValid()
        assert solid.Volume() == pytest.approx(plate.volume, rel=1e-9)
    for small in made.cage.hardware:
        solid = to_cadquery(small_part_body(small))
        assert solid.isValid()
        assert solid.Volume() == pytest.approx(small.volume, rel=1e-9)
        box = solid.BoundingBox()
        assert np.isfinite([box.xmin, box.xmax]).all()


def test_pieces_have_the_volume_of_path_and_cuts(cage: Cage) -> None:
    for door in cage.doors:
        for i in door.pieces:
            solid = to_cadquery(member_body(cage, i))
            assert solid.isValid()
            assert solid.Volume() == pytest.approx(cage.volume(i), rel=1e-5)


def test_open_bar_meets_neither_stub_nor_bracket(cage: Cage) -> None:
    """The kernel's own boolean of the opened bar with what stands round its hinge is empty."""
    door = cage.doors[0]
    for angle in (0.35, 0.95, door.open_angle):
        opened = opened_cage(cage, {door.bar: angle})
        bar = to_cadquery(member_body(opened, door.bar))
        for other in (
            to_cadquery(member_body(opened, door.hinge.stub)),
            *(
                to_cadquery(plate_body(p))
                for p in opened.plates
                if p.id in door.plates and "hinge" in p.kind
            ),
        ):
            common = bar.intersect(other)
            assert not common.Solids() or common.Volume() < 1e-6


def test_closed_bar_touches_nothing_but_lies_in_its_brackets(cage: Cage) -> None:
    for door in cage.doors:
        bar = to_cadquery(member_body(cage, door.bar))
        for plate in (p for p in cage.plates if p.id in door.plates):
            common = bar.intersect(to_cadquery(plate_body(plate)))
            assert not common.Solids() or common.Volume() < 1e-6


def test_a_sleeve_shares_no_steel_with_its_bar(cage: Cage) -> None:
    """The bar is drilled where the sleeve goes through: closed and open, in file and by kernel."""
    sleeves = {p.id: p for p in cage.hardware if p.kind == "sleeve"}
    assert len(sleeves) == 4
    for door in cage.doors:
        bar = to_cadquery(member_body(cage, door.bar))
        for i in set(door.hardware) & set(sleeves):
            common = bar.intersect(to_cadquery(small_part_body(sleeves[i])))
            assert not common.Solids() or common.Volume() < 1e-6
        holes = [f for f in bar.Faces() if f.geomType() == "CYLINDER" and _across(f, door)]
        assert len(holes) == 4  # two walls for each of two sleeves


def _across(face: object, door: SwingDoor) -> bool:
    axis = face._geomAdaptor().Cylinder().Axis().Direction()  # type: ignore[attr-defined]
    return abs(np.array([axis.X(), axis.Y(), axis.Z()]) @ door.hinge.pin) > 0.99


def test_the_kernel_drills_what_it_has_to_cut_itself(cage: Cage) -> None:
    door = cage.doors[0]
    assert kernel_body(cage, door.bar).volume == pytest.approx(cage.volume(door.bar), rel=1e-5)

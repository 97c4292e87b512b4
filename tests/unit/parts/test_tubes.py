"""Every member kind made alone: closed forms, typed dimensions, refusals."""

from __future__ import annotations

from math import pi
from typing import Literal

import demos
import numpy as np
import pytest
from pydantic import ValidationError

from cagekit.errors import CopeError, GeometryError
from cagekit.geometry.centre_line import CentreLine
from cagekit.inputs.entries import HaloEntry, HoopEntry, PillarBarEntry
from cagekit.members.registry import GENERATORS
from cagekit.parts.tubes import KINDS, Part


def made(kind: str, **values: object) -> Part:
    return KINDS[kind].make(KINDS[kind].read(values))


def test_every_member_kind_can_be_made_alone() -> None:
    assert set(KINDS) == set(GENERATORS)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_the_defaults_make_a_whole_part(kind: str) -> None:
    part = made(kind)
    assert part.made
    for id_ in part.made:
        assert part.cage.cut_length(id_) > 0
        assert part.cage.mass(id_) > 0


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_dimension_is_explained(kind: str) -> None:
    for name, field in KINDS[kind].dims.model_fields.items():
        assert field.description, name


def test_a_tube_between_two_equal_tubes_ends_a_saddle_short_of_each_axis() -> None:
    # equal diameters at 90 degrees: the saddle's sides reach the axis, so the blank is full length
    part = made("harness_bar", length=1000, od=40, wall=2, parent_od_a=40, parent_od_b=40)
    assert part.cage.cut_length("harness_bar") == pytest.approx(1000, abs=1e-6)


def test_a_tube_on_a_larger_tube_stops_at_the_chord() -> None:
    part = made("strut", length=1000, od=40, wall=2, parent_od_a=60, parent_od_b=60)
    # the sides of the saddle touch the parent at sqrt(30^2 - 20^2) from its axis
    assert part.cage.cut_length("strut") == pytest.approx(
        1000 - 2 * (30**2 - 20**2) ** 0.5, abs=1e-6
    )


def test_a_flat_cut_tube_has_the_volume_of_a_sheared_ring() -> None:
    part = made(
        "strut", length=500, od=40, wall=2, end_a="flat", end_b="flat", angle_a=90, angle_b=60
    )
    assert part.cage.volume("strut") == pytest.approx(pi * (20**2 - 18**2) * 500, rel=1e-9)


def test_a_hoop_has_the_size_that_was_typed() -> None:
    part = made(
        "main_hoop", width_foot=1200, width_belt=1300, width_top=1000, height=1100, bend_radius=150
    )
    path = part.cage.members["main_hoop"].path
    assert path.start == pytest.approx([0, 600, 0])
    assert path.end == pytest.approx([0, -600, 0])
    assert path.points(np.linspace(0, path.length, 999))[:, 2].max() == pytest.approx(1100)
    assert len(path.bends) == 4


def test_dimensions_may_be_typed_in_inches() -> None:
    kind = KINDS["harness_bar"]
    assert kind.read({"length": "48 1/2 in"}).length == pytest.approx(1231.9)  # type: ignore[attr-defined]
    assert kind.read({"length": 48.5}, units="in").length == pytest.approx(1231.9)  # type: ignore[attr-defined]


def test_unknown_and_impossible_dimensions_are_refused() -> None:
    with pytest.raises(ValidationError):
        KINDS["harness_bar"].read({"lenght": 3})
    with pytest.raises(GeometryError, match="available"):
        made("main_hoop", bend_radius=900)
    with pytest.raises(CopeError, match="degrees"):
        made("strut", angle_a=5).cage.cut_length("strut")


MEMBERS = (HoopEntry, HaloEntry, PillarBarEntry)
SHARED = {
    "main_hoop": {"straight_legs", "lean"},
    "halo": {"rail_bow"},
    "a_pillar_bar": {"outboard"},
}


@pytest.mark.parametrize("kind", SHARED)
def test_file_entry_and_part_share_one_declaration(kind: str) -> None:
    (entry,) = (e for e in MEMBERS if e.model_fields["kind"].annotation == Literal[kind])
    alone = KINDS[kind].dims
    same = set(entry.model_fields) & set(alone.model_fields)
    assert same - {"bend_radius", "height"} == SHARED[kind]
    for name in SHARED[kind]:
        assert name not in {
            *vars(entry)["__annotations__"],
            *vars(alone).get("__annotations__", ()),
        }


def shape(path: CentreLine) -> tuple[list[float], list[float]]:
    """What does not hang on where the tube lies: straights from corner to corner, turns."""
    legs = np.diff(path.corners(), axis=0)
    return [float(np.linalg.norm(v)) for v in legs], [b.angle for b in path.bends]


def test_a_hoop_alone_is_the_hoop_of_the_cage() -> None:
    """Sizes measured on the cage, typed, make the same tube."""
    hoop = demos.cage("hillclimb-coupe").member("main_hoop")
    points = hoop.path.corners()
    foot, belt, top = points[:3]
    part = made(
        "main_hoop", od=hoop.tube.od, wall=hoop.tube.wall, bend_radius=hoop.path.bends[0].radius,
        width_foot=2 * foot[1], width_belt=2 * belt[1], width_top=2 * top[1],
        height_belt=belt[2] - foot[2], height=top[2] - foot[2],
        lean=float(np.degrees(np.arctan2(foot[0] - top[0], top[2] - foot[2]))),
    )  # fmt: skip
    ours, theirs = shape(part.cage.members["main_hoop"].path), shape(hoop.path)
    assert ours[0] == pytest.approx(theirs[0], abs=1e-6)
    assert ours[1] == pytest.approx(theirs[1], abs=1e-9)


def test_a_hoop_alone_leans_in_its_plane() -> None:
    upright, leaned = (made("main_hoop", lean=v).cage.members["main_hoop"].path for v in (0, 10))
    up, back = upright.corners(), leaned.corners()
    assert back[:, 1:] == pytest.approx(up[:, 1:], abs=1e-6)
    assert back[:, 0] == pytest.approx(-up[:, 2] * np.tan(np.radians(10)), abs=1e-6)


def test_rails_bow_and_a_pillar_bar_moves_out() -> None:
    bowed = made("halo", rail_bow=25).cage.members["halo"].path
    assert len(bowed.bends) == 4
    straight, out = (
        made("a_pillar_bar", outboard=v).cage.members["a_pillar_bar"].path.corners()
        for v in (0, 30)
    )
    assert out - straight == pytest.approx(np.array([[0, 0, 0], [0, 30, 0], [0, 0, 0]]), abs=1e-6)

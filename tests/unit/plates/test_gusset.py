"""Gussets stand on the real tubes: distances to the axes measured by sampling."""

from __future__ import annotations

import re
from dataclasses import replace as with_fields
from itertools import permutations
from math import degrees, pi

import numpy as np
import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import members_only
from cagekit.cage.cage import Cage
from cagekit.cage.plate import Plate
from cagekit.design import Design
from cagekit.errors import GeometryError, InputError
from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.outline import Outline
from cagekit.inputs.places import TubeEnd
from cagekit.inputs.plate import GussetEntry
from cagekit.inputs.plate_presets import spread
from cagekit.inputs.presets import shipped_root
from cagekit.inputs.resolve import load_build
from cagekit.plates.corner import Corner, joints_at
from cagekit.plates.feet import plates_for
from cagekit.plates.gusset import GussetSpec, flat_gusset, make
from cagekit.plates.lightening import widest
from cagekit.plates.profile import Folding
from cagekit.plates.saddle import folded_gusset

from .stand_in import axis_gaps, hoop_cage

SPEC = GussetSpec(
    thickness=3, material="s235", folding=Folding(radius=3.0, k=0.42, flange=16.0), weld_gap=1.0
)
CAGE = hoop_cage()
RADII = {"main_hoop": 22.5, "brace_left": 20.0, "stay": 20.0}


def corner(branch, way):
    (joint,) = joints_at(CAGE, TubeEnd(tube=branch, end="a"), "test")
    return Corner.of(CAGE, joint, way)


def surface_gaps(plate, z):
    """Smallest gap of the plate's edge at height z to the surface of each tube it touches."""
    points = plate.car_points(plate.outline.sampled(2.0), z)
    return {m: axis_gaps(CAGE.member(m).path, points).min() - RADII[m] for m in plate.members}


@pytest.mark.parametrize("way", ["a", "b"])
def test_flat_gusset_on_straight_tubes(way):
    c = corner("brace_left", way)
    p = flat_gusset("g", c, SPEC)
    middle = surface_gaps(p, -1.5)
    assert middle["main_hoop"] == pytest.approx(1.0, abs=1e-3)
    assert middle["brace_left"] == pytest.approx(1.0, abs=1e-3)
    # it lies in the plane of both axes
    across = c.normal
    for xy in ([0, 0], [40, 10]):
        assert (p.car_points([xy], -1.5)[0] - c.node) @ across == pytest.approx(0, abs=1e-9)
    # welded on both sides: four times the leg less the clip
    assert [w.length for w in p.welds] == pytest.approx([2 * 68, 2 * 68])


@pytest.mark.parametrize("way", ["a", "b"])
def test_flat_gusset_follows_a_bend(way):
    p = flat_gusset("g", corner("stay", way), SPEC)
    assert any(s.radius > 50 for s in p.outline.segments if s.is_arc)
    for z in (0.0, -1.5, -3.0):
        gaps = surface_gaps(p, z)
        assert gaps["main_hoop"] > 0.9
    nearest = min(surface_gaps(p, z)["main_hoop"] for z in (0.0, -1.5, -3.0))
    assert nearest == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("way", ["a", "b"])
def test_folded_gusset_saddles_both_tubes(way):
    c = corner("brace_left", way)
    p = folded_gusset("g", c, SPEC)
    assert len(p.facets) == 3
    cheeks = [f for f in p.facets if abs(f.frame[2, 2]) < 0.5]
    assert [degrees(abs(f.angle)) for f in p.folds] == pytest.approx([90, 90])
    # cheeks are tangent to the larger tube: inner faces a radius and the gap off the plane
    for facet in cheeks:
        inner = p.car_points(facet.loop.vertices, -3.0)
        off = (inner - c.node) @ c.normal
        assert np.abs(off) == pytest.approx(23.5, abs=1e-9)
    # nothing of it runs into a tube
    grid = p.outline.flat_points(0.5)
    for z in (0.0, -3.0):
        points = p.car_points(grid, z)
        for m in p.members:
            assert axis_gaps(CAGE.member(m).path, points).min() - RADII[m] > 0.98


def test_the_web_is_coped_to_the_tube():
    c = corner("brace_left", "a")
    p = folded_gusset("g", c, SPEC)
    x0 = p.outline.vertices[:, 0]
    web = p.outline.vertices[np.abs(p.outline.vertices[:, 1]) < 15]
    ends = web[web[:, 0] < (x0.min() + x0.max()) / 2]
    under = axis_gaps(CAGE.member("main_hoop").path, p.car_points(ends, -3.0))
    assert under == pytest.approx(23.5, abs=0.05)


def test_lightening_hole_keeps_metal_round_it():
    p = flat_gusset("g", corner("brace_left", "a"), SPEC)
    (h,) = p.holes
    ((centre, radius),) = widest([p.outline])
    assert h.centre == pytest.approx(centre)
    assert radius - h.diameter / 2 == pytest.approx(12.0, abs=0.5)
    assert flat_gusset("g", corner("brace_left", "a"), replace(SPEC, hole=0.0)).holes == ()
    with pytest.raises(GeometryError, match=r"hole of 60\.0 mm leaves"):
        flat_gusset("g", corner("brace_left", "a"), replace(SPEC, hole=60.0))


def test_the_widest_spot_of_an_outline_does_not_hang_on_those_beside_it():
    corners = [corner("brace_left", "a"), corner("brace_left", "b"), corner("stay", "a")]
    specs = [replace(SPEC, along_parent=a) for a in (60, 80, 95)]
    own = [flat_gusset("g", c, spec).outline for c in corners for spec in specs]
    own.append(Outline.polygon([(0, 0), (120, 0), (0, 50)]))
    for above in (0.0, 18.0):
        together = widest(own, above)
        alone = [spot for o in own for spot in widest([o], above)]
        assert [(*c, r) for c, r in together] == [(*c, r) for c, r in alone]


def test_of_several_gussets_the_first_with_a_fault_is_told():
    """They are made side by side, and still told of in the order of their entries."""
    build = load_build("gravel-hatch")
    cage = members_only(build)
    tables = (
        {"at": "rear_brace_left end a", "way": "down", "along_branch": 5000.0},
        {"at": "rear_brace_right end a", "way": "down", "clip": 300.0},
        {"at": "no_such_bar end a", "way": "down"},
    )
    faults = [GussetEntry.model_validate({"kind": "gusset", **table}) for table in tables]
    good = GussetEntry.model_validate({"kind": "gusset", "at": "rear_brace_left end a", "way": "b"})
    for order in permutations(faults):
        with pytest.raises((GeometryError, InputError)) as told:
            plates_for(replace(build, plates=(good, *order)), cage)
        assert told.value.about is order[0]


def test_widest_circle_in_a_triangle_is_its_incircle():
    """Radius of the incircle: area over half the perimeter."""
    o = Outline.polygon([(0, 0), (120, 0), (0, 50)])
    ((centre, radius),) = widest([o])
    assert radius == pytest.approx(120 * 50 / (120 + 50 + 130), abs=0.02)
    assert centre == pytest.approx([20, 20], abs=0.05)


def test_an_arc_rim_is_drawn_in():
    straight = flat_gusset(
        "g", corner("brace_left", "a"), replace(SPEC, hole=0.0, corner_radius=0.0)
    )
    curved = flat_gusset("g", corner("brace_left", "a"), replace(SPEC, hole=0.0, bulge=5.0))
    assert curved.area < straight.area


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"clip": 90.0}, r"clip of 90\.0 mm leaves nothing"),
        ({"along_parent": 2000.0}, "reaches 20.. mm along main_hoop"),
    ],
)
def test_flat_refusals(change, words):
    with pytest.raises(GeometryError, match=words):
        flat_gusset("g", corner("brace_left", "a"), replace(SPEC, **change))


def test_folded_gusset_needs_straight_tubes_and_long_legs():
    with pytest.raises(GeometryError, match="mm of straight main_hoop from the node"):
        folded_gusset("g", corner("stay", "a"), SPEC)
    with pytest.raises(GeometryError, match=r"too short|of web|deep at its tip"):
        folded_gusset(
            "g", corner("brace_left", "a"), replace(SPEC, along_parent=10, along_branch=10)
        )


def stay_moved(by: float) -> Corner:
    """The corner of the stay towards the hoop's end b, its node moved that way."""
    hoop, stay = CAGE.member("main_hoop"), CAGE.member("stay")
    station = hoop.path.nearest(stay.path.start).station + by
    path = CentreLine.straight(hoop.path.spot(station).point, stay.path.end)
    cage = Cage("moved", [hoop, with_fields(stay, path=path)])
    (joint,) = joints_at(cage, TubeEnd(tube="stay", end="a"), "test")
    return Corner.of(cage, joint, "b")


def test_a_node_in_a_bend_is_told_how_far_out_of_it_the_gusset_fits():
    with pytest.raises(GeometryError, match="the node lies in a bend") as caught:
        folded_gusset("g", stay_moved(0.0), SPEC)
    by = int(re.search(r"move the node (\d+) mm", str(caught.value))[1])
    with pytest.raises(GeometryError, match="lies in a bend"):
        folded_gusset("g", stay_moved(by - 20.0), SPEC)
    assert folded_gusset("g", stay_moved(by), SPEC).folds


def diagonal(station: float, way: str) -> Corner:
    """The corner of a diagonal in the hoop's plane, its node so far (mm) into the top bend."""
    hoop = CAGE.member("main_hoop")
    path = CentreLine.straight(hoop.path.spot(hoop.path.starts[1] + station).point, (0, 0, 0))
    cage = Cage("diagonal", [hoop, with_fields(CAGE.member("stay"), path=path)])
    (joint,) = joints_at(cage, TubeEnd(tube="stay", end="a"), "test")
    return Corner.of(cage, joint, way)


@pytest.mark.parametrize(("station", "way"), [(60, "a"), (120, "a"), (120, "b"), (180, "b")])
def test_a_folded_gusset_in_the_plane_of_a_bend_stands_on_the_straight_beyond(station, way):
    c = diagonal(station, way)
    p = folded_gusset("g", c, replace(SPEC, along_parent=160, along_branch=160))
    assert len(p.facets) == 3
    grid = p.outline.flat_points(3.0)
    for z in (0.0, -3.0):
        points = p.car_points(grid, z)
        for name, path in (("main_hoop", CAGE.member("main_hoop").path), ("stay", c.branch_path)):
            assert axis_gaps(path, points).min() - RADII[name] > 0.98


def test_a_leg_that_ends_in_the_bend_is_told_the_length_that_reaches_beyond():
    c = diagonal(60, "b")
    with pytest.raises(GeometryError, match="its node lies in a bend") as caught:
        folded_gusset("g", c, SPEC)
    parent, branch = map(
        float,
        re.search(r"along_parent (\d+) mm and along_branch (\d+)", str(caught.value)).groups(),
    )
    assert folded_gusset("g", c, replace(SPEC, along_parent=parent, along_branch=branch)).folds


def test_two_gussets_at_a_crossing_stand_opposite_each_other():
    """Seen from the crossing one lies where the other does not: their middles add up to none."""
    build = load_build("hillclimb-coupe")
    cage = members_only(build)
    table = {"kind": "gusset", "at": "hoop_diagonal_cross_1 end b", "way": "both"}
    entry = GussetEntry.model_validate(table)
    first, second = make(build, cage, entry, "test")
    node = next(j.point for j in cage.joints if j.branch == "hoop_diagonal_cross_1"
                and j.branch_end == "b")  # fmt: skip
    one, two = (p.car_points(p.outline.centroid[None])[0] - node for p in (first, second))
    assert np.linalg.norm(one) > 40
    assert np.linalg.norm((one + two)[1:]) < 2.0
    assert {first.members[0], second.members[0]} == {
        "hoop_diagonal_cross_1",
        "hoop_diagonal_cross_2",
    }


def test_a_short_straight_is_told_the_longest_leg_that_fits():
    long = replace(SPEC, along_parent=600.0, along_branch=500.0)
    with pytest.raises(GeometryError, match="along_parent of at most") as caught:
        folded_gusset("g", corner("brace_left", "a"), long)
    most = float(re.search(r"of at most (\d+) mm", str(caught.value))[1])
    assert folded_gusset("g", corner("brace_left", "a"), replace(long, along_parent=most)).folds
    with pytest.raises(GeometryError, match="of at most"):
        folded_gusset("g", corner("brace_left", "a"), replace(long, along_parent=most + 2))


def test_a_wrong_joint_names_the_closest():
    with pytest.raises(InputError, match="brace_left end a"):
        joints_at(CAGE, TubeEnd(tube="brace_lft", end="a"), "test")


def test_the_name_of_a_tube_means_that_tube_alone():
    """A gusset at the end of one diagonal came out at those of the tubes that cross it too."""
    cage = members_only(load_build("gravel-hatch"))

    def named(tube, end):
        return [j.branch for j in joints_at(cage, TubeEnd(tube=tube, end=end), "test")]

    assert named("hoop_diagonal", "a") == ["hoop_diagonal"]
    assert named("door_bar_left", "b") == ["door_bar_left"]
    # the bar in pieces, and a name that no tube has alone
    assert named("hoop_diagonal_cross", "a") == ["hoop_diagonal_cross_1", "hoop_diagonal_cross_2"]
    assert named("rear_brace", "a") == ["rear_brace_left", "rear_brace_right"]


def test_both_corners_of_a_joint_add_up_to_half_a_turn():
    # on a straight parent
    assert corner("brace_left", "a").angle + corner("brace_left", "b").angle == pytest.approx(pi)


def gravel_gussets(**fields: object) -> dict[str, Plate]:
    """Gussets of the roof rails on the front hoop of a demo."""
    build = load_build("gravel-hatch")
    table = {"kind": "gusset", "id": "g", "side": "both", "at": "roof_rail_{side} end a", **fields}
    own = {"along_branch": 60, "along_parent": 60, "thickness": 2}
    entries = spread(GussetEntry.model_validate({**table, **own}))
    build = replace(build, plates=entries)
    return {p.id: p for p in plates_for(build, members_only(build)) if p.kind == "gusset"}


@pytest.mark.parametrize("way", ["b", "inboard"])
def test_a_pair_on_a_tube_that_spans_the_car_is_mirrored(way: str) -> None:
    plates = gravel_gussets(way=way)
    left, right = (
        plates[f"g_{s}"].car_points(plates[f"g_{s}"].outline.vertices) for s in ("left", "right")
    )
    mirrored = right * (1, -1, 1)
    # the outline lies on the face, which is above the middle on one side and below on the other
    assert np.allclose(left.mean(0), mirrored.mean(0), atol=2.5)


def test_a_way_the_parent_does_not_run_is_refused() -> None:
    with pytest.raises(GeometryError, match="does not run forward there"):
        gravel_gussets(way="forward", at="roof_rail_{side} end b")


def test_a_tube_that_comes_apart_answers_to_its_own_name(tmp_path):
    """Its end is that of a piece, whose name nobody typed."""
    joint = '[[joint]]\nkind = "clevis"\nat = "on rear_brace_left at fraction 0.15"\n'
    gusset = '[[plate]]\nkind = "gusset"\npreset = "gusset-80"\nat = "rear_brace_left end a"\n'
    text = (shipped_root() / "builds/track-roadster.toml").read_text("utf-8")
    path = tmp_path / "apart.toml"
    path.write_text(f"{text}\n{joint}\n{gusset}")
    plates = [p for p in Design.load(str(path)).cage.plates if p.kind == "gusset"]
    assert [p.members for p in plates] == [("rear_brace_left_piece_a", "main_hoop")]

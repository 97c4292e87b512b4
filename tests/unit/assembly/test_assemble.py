"""Whole cages from the demo builds: what a fabricator would measure on them."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from cagekit.assembly.assemble import members_only
from cagekit.cage.cage import Cage
from cagekit.cage.collisions import overlaps
from cagekit.cage.member import EndKind
from cagekit.errors import NotFoundError
from cagekit.inputs.build import Build
from cagekit.inputs.presets import find_preset
from cagekit.inputs.resolve import load_build
from cagekit.plates.feet import plates_for

DEMOS = ("sprint-wagon", "hillclimb-coupe", "gravel-hatch", "track-roadster")


@pytest.fixture(scope="module")
def demos() -> dict[str, tuple[Build, Cage]]:
    builds = {name: load_build(name) for name in DEMOS}
    return {name: (build, members_only(build)) for name, build in builds.items()}


@pytest.mark.parametrize("name", DEMOS)
def test_every_end_is_cut_and_every_joint_is_concentric(demos: dict, name: str) -> None:
    _, cage = demos[name]
    assert cage.joints
    for joint in cage.joints:
        assert joint.concentric, joint
        assert joint.offset == pytest.approx(0, abs=0.5)
        assert 0.25 < joint.angle <= np.pi / 2 + 1e-9
    for id_ in cage.members:
        assert cage.cut_length(id_) > 0
        assert cage.volume(id_) > 0


@pytest.mark.parametrize("name", DEMOS)
def test_nodes_lie_on_their_parents_axis(demos: dict, name: str) -> None:
    _, cage = demos[name]
    for member in cage.members.values():
        for end, how in member.ends:
            if how.kind is EndKind.COPE:
                node = member.path.end_point(end)
                spot = cage.members[how.parents[0]].path.nearest(node)
                assert np.linalg.norm(spot.point - node) < 1e-6, (member.id, end)


@pytest.mark.parametrize("name", DEMOS)
def test_feet_stand_on_their_plate_above_the_sheet(demos: dict, name: str) -> None:
    build, cage = demos[name]
    for member in cage.members.values():
        for end, how in member.ends:
            if how.kind is not EndKind.FLAT or not how.foot.endswith("_foot"):
                continue
            side, foot = how.foot.split(".")
            spot = getattr(build.car.side(side), foot)
            sheet = np.array(spot.point) * [1, 1 if side == "left" else -1, 1]
            under = [
                p
                for p in plates_for(build, cage)
                if f"{member.id}.{end}" in p.ends and p.kind != "backing_plate"
            ]
            lift = sum(p.thickness for p in under)
            rise = (member.path.end_point(end) - sheet) @ how.plane.normal
            assert rise == pytest.approx(lift, abs=1e-6), member.id


def test_the_main_hoop_keeps_its_gap_to_roof_and_belt(demos: dict) -> None:
    for name in ("sprint-wagon", "hillclimb-coupe", "gravel-hatch"):
        build, cage = demos[name]
        hoop = cage.members["main_hoop"]
        points = hoop.path.points(np.linspace(0, hoop.path.length, 3000))
        top = points[:, 2].max() + hoop.tube.outer_radius
        entry = next(e for e in build.entries if e.id == "main_hoop")
        gap = entry.gap if entry.roof_gap is None else entry.roof_gap
        assert top == pytest.approx(build.car.roof.height_at_hoop - gap, abs=1e-6)
        for side, sign in (("left", 1), ("right", -1)):
            section = build.car.side(side).hoop
            at_belt = np.abs(points[:, 2] - section.height_belt) < 1.0
            widest = (sign * points[at_belt, 1]).max() + hoop.tube.outer_radius
            assert widest <= section.half_width_belt - entry.gap + 1e-6


def test_a_car_that_is_not_symmetric_gets_a_cage_that_is_not(demos: dict) -> None:
    hoop = demos["sprint-wagon"][1].members["main_hoop"].path
    left, right = hoop.at_height(450.0)
    assert left.point[1] + right.point[1] > 2.0


def test_a_symmetric_car_gets_mirrored_braces(demos: dict) -> None:
    cage = demos["hillclimb-coupe"][1]
    for role in ("half_hoop", "rear_brace"):
        left, right = cage.members[f"{role}_left"].path, cage.members[f"{role}_right"].path
        assert left.mirrored().corners() == pytest.approx(right.corners(), abs=1e-9)


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [("sprint-wagon", 60, 110), ("gravel-hatch", 45, 110), ("track-roadster", 15, 30)],
)
def test_masses_are_those_of_real_cages(demos: dict, name: str, low: float, high: float) -> None:
    # plausible range from memory of the trade, without plates
    assert low < demos[name][1].tube_mass() < high


def test_the_second_tube_of_a_cross_is_cut_by_the_first(demos: dict) -> None:
    cage = demos["gravel-hatch"][1]
    first = cage.members["hoop_diagonal"].path
    meet = cage.members["hoop_diagonal_cross_1"].path.end
    assert np.linalg.norm(first.nearest(meet).point - meet) < 1e-6
    assert cage.members["hoop_diagonal_cross_2"].path.start == pytest.approx(meet, abs=1e-9)


def test_branches_that_share_a_node_are_coped_to_each_other(demos: dict) -> None:
    cage = demos["sprint-wagon"][1]
    assert cage.members["halo"].a.parents == ("main_hoop", "hoop_diagonal")
    assert any("halo" in note for note in cage.notes)


def test_swing_out_bars_know_their_cuts(demos: dict) -> None:
    cage = demos["sprint-wagon"][1]
    bar, door = cage.members["door_bar_left"], cage.doors[0]
    assert bar.swing is not None
    assert bar.swing.hinge_end == "b"
    assert 0 < bar.swing.latch_cut < bar.swing.hinge_cut < door.fitted.path.length


def test_asking_for_a_member_that_is_not_there(demos: dict) -> None:
    with pytest.raises(NotFoundError, match="no member 'spoiler'"):
        demos["sprint-wagon"][1].member("spoiler")


@pytest.mark.parametrize("name", ["gravel-hatch", "sprint-wagon"])
def test_of_two_tubes_that_meet_only_the_later_is_coped(name: str, tmp_path: Path) -> None:
    file = tmp_path / "v.toml"
    start = load_build(name)
    text = next(p for p in start.files.values() if p.parent.name == "builds").read_text("utf-8")
    text = re.sub(r"(?s)\[\[plate\]\].*?(?=\n\[\[padding|\Z)", "", text)
    file.write_text(text + '\n[members.roof_diagonal]\nstyle = "v"\n', "utf-8")
    cage = members_only(load_build(str(file)))
    order = list(cage.members)
    left, right = cage.member("roof_diagonal_left"), cage.member("roof_diagonal_right")
    assert left.a.parents == ("main_hoop",)
    assert right.a.parents == ("main_hoop", "roof_diagonal_left")
    for joint in cage.joints:
        assert all(order.index(p) < order.index(joint.branch) for p in joint.parents)


SPELLINGS = (
    "on main_hoop.left at height 300",
    "on main_hoop.left at height 300 and one",
    "on one at end a",
)


@pytest.mark.parametrize("place", SPELLINGS)
def test_two_struts_meet_on_one_spot_of_a_tube(tmp_path: Path, place: str) -> None:
    """Named by the tube, by both, or by the end that stands there: one node, coped to both."""
    text = find_preset("build", "track-roadster").read_text()
    struts = f"""
[[strut]]
id = "one"
from = "on main_hoop.left at height 300"
to = "at 500, 400, 100"
[[strut]]
id = "two"
from = "{place}"
to = "at 600, 500, 500"
"""
    path = tmp_path / "both.toml"
    path.write_text(text.replace('name = "track-roadster"', 'name = "both"') + struts)
    cage = members_only(load_build(str(path)))
    one, two, hoop = (cage.member(i) for i in ("one", "two", "main_hoop"))
    assert two.path.start == pytest.approx(one.path.start)
    assert one.a.parents == ("main_hoop",)
    assert two.a.parents == ("main_hoop", "one")
    assert all(j.concentric for j in cage.joints)
    assert not [o for o in overlaps(cage) if {o.a.id, o.b.id} <= {"one", "two", "main_hoop"}]
    # the second one's edge lies on the outside of one of both all round, and in neither
    cut = cage.cut("two", "a")
    edge = cut.points(np.linspace(0, 2 * np.pi, 120), cut.outer_radius)
    gaps = np.array([m.path.distances(edge) - m.tube.outer_radius for m in (hoop, one)])
    assert np.abs(gaps.min(axis=0)).max() < 0.02
    assert (np.abs(gaps) < 0.02).any(axis=1).all(), "both shape the cut"

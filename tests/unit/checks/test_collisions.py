"""Tubes that run into each other: crossing, grazing, joined, and the demos free of it."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from math import pi, sqrt

import demos
import numpy as np
import pytest
from msgspec.structs import replace as replace_struct

from cagekit.cage import collisions as seen
from cagekit.cage.cage import Cage
from cagekit.cage.collisions import length_of, overlaps, wall_of
from cagekit.cage.member import End, Member
from cagekit.checks import Finding, Status, run
from cagekit.design import Design
from cagekit.errors import CopeError
from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.walls import Walls
from cagekit.inputs.grind import Grind
from cagekit.inputs.presets import list_presets
from cagekit.materials.tubes import Tube
from cagekit.shop.sawing.templates import templates

R = 20.0


def bar(id_: str, start: tuple[float, ...], end: tuple[float, ...], **ends: End) -> Member:
    tube = Tube(name="t", od=2 * R, wall=2.0, material="e355")
    return Member(id=id_, role="strut", tube=tube, path=CentreLine.straight(start, end), **ends)


def found(*members: Member) -> list[tuple[str, str]]:
    return [(h.a.id, h.b.id) for h in overlaps(Cage("test", members))]


def of(code: str, cage: Cage) -> list[Finding]:
    return [f for f in run(Design(cage=cage), ["geometry"]) if f.code == code]


def collisions(cage: Cage) -> list[Finding]:
    return of("cage/collision", cage)


@pytest.mark.parametrize("past", [-30.0, 0.0, 30.0, 37.0])
def test_crossing_bars_collide_by_their_distance(past: float) -> None:
    one = bar("one", (-500, 0, 0), (500, 0, 0))
    two = bar("two", (0, -400, past), (0, 400, past))
    (hit,) = collisions(Cage("test", [one, two]))
    assert hit.status is Status.FAIL
    assert hit.code == "cage/collision"
    assert hit.measured == pytest.approx(abs(past) - 2 * R, abs=1e-6)
    assert hit.subject == "two and one"
    assert ("split_by = " in hit.cure) == (past == 0.0)
    # the deepest point of either wall lies on the line through both axes, within a step
    assert np.linalg.norm(hit.evidence.points[0][:2]) < 2 * R


def test_bars_that_only_touch_do_not_and_a_tenth_is_told() -> None:
    one = bar("one", (-500, 0, 0), (500, 0, 0))
    assert found(one, bar("two", (0, -400, 40.001), (0, 400, 40.001))) == []
    assert found(one, bar("two", (0, -400, 39.9), (0, 400, 39.9))) == [("one", "two")]
    (clear,) = collisions(Cage("test", [one, bar("two", (0, -400, 60.0), (0, 400, 60.0))]))
    assert clear.status is Status.PASS


@pytest.mark.parametrize("deep", [0.1, 0.5, 1.7])
def test_the_depth_of_two_crossing_bars_is_that_of_their_axes(deep: float) -> None:
    """Not that of the nearest points of a grid; told however the bars are turned."""
    one = bar("one", (-500, 3, 1), (500, -11, 5))
    two = bar("two", (9, -400, 2 * R - deep + 3), (1, 400, 2 * R - deep + 3))
    (hit,) = overlaps(Cage("test", [one, two]))
    assert hit.depth == pytest.approx(-hit.gap, abs=0.01)


def test_a_grinding_note_lets_tubes_touch_and_no_more() -> None:
    one = bar("one", (-500, 0, 0), (500, 0, 0))

    def told(apart: float, note: float) -> Finding:
        two = bar("two", (0, -400, apart), (0, 400, apart))
        (hit,) = collisions(Cage("test", [one, replace(two, grind=(("one", note),))]))
        return hit

    assert told(39.2, 0.9).status is Status.PASS
    assert told(39.2, 0.7).status is Status.FAIL
    cure = told(39.2, 0.7).cure
    assert "[[grind]]" in cure
    # what is to be typed can be typed
    assert len(tomllib.loads(cure.partition("[[grind]] ")[2].rstrip(".").replace(", ", "\n"))) == 3
    # away from the ends half of the wall is the most, whatever the note says
    assert told(38.8, 2.0).status is Status.FAIL
    assert "[[grind]]" not in told(38.8, 2.0).cure


def test_a_cure_names_what_a_file_can_address() -> None:
    """A piece by its bar, and the entry that makes the bar that is to be cut."""
    halves = {"bar": "one", "entry": "one", "kind": "strut"}
    one = replace(bar("one_2", (-500, 0, 0), (500, 0, 0)), **halves)
    crossed = {"bar": "two_cross", "entry": "two", "kind": "hoop_diagonal"}
    two = replace(bar("two_cross_1", (0, -400, 3), (0, 400, 3)), **crossed)
    (hit,) = collisions(Cage("test", [one, two]))
    assert '[members.two] split_by = ["one"]' in hit.cure
    assert "one_2" not in hit.cure
    assert "two_cross_1" not in hit.cure


@pytest.mark.parametrize(
    ("od", "past", "wants"),
    [
        (40, 0, ""),
        (42, 0, ""),
        (40, 4, ""),
        (52, 0, "with a tube of 40.0 mm or less it"),
        (40, 16, "with its axis within 5.0 mm of that of one it"),
        (52, 16, "with a tube of 40.0 mm or less and its axis within 5.0 mm of that of one it"),
    ],
)
def test_a_tube_is_to_be_cut_only_where_it_can_be_coped(od: float, past: float, wants: str) -> None:
    """What the cure says makes both halves; without it they cannot be made."""
    one = bar("one", (-500, 0, 0), (500, 0, 0))

    def crossed(od: float, past: float) -> tuple[Member, Cage]:
        tube = Tube(name="w", od=od, wall=2.0, material="e355")
        two = replace(bar("two", (0, -400, past), (0, 400, past)), tube=tube)
        half = CentreLine.straight((0, -400, past), (0, 0, past))
        return two, Cage("test", [one, replace(two, path=half, b=End.coped("one"))])

    two, cut = crossed(od, past)
    (hit,) = collisions(Cage("test", [one, two]))
    assert ("so that it is cut" in hit.cure) == (not wants)
    assert wants in hit.cure
    if wants:
        with pytest.raises(CopeError):
            assert cut.joints[0].cut
        _, cut = crossed(min(od, 40), min(past, 5))
    assert cut.joints[0].cut.miss_share < 0.25


def test_a_cure_names_all_that_a_tube_is_to_be_cut_by_and_what_it_is_cut_by_already() -> None:
    crossed = [bar(name, (x, -400, 0), (x, 400, 0)) for name, x in (("one", -80), ("two", 80))]
    hits = collisions(Cage("test", [*crossed, bar("three", (-500, 0, 5), (500, 0, 5))]))
    assert len(hits) == 2
    assert all('[members.three] split_by = ["one", "two"]' in hit.cure for hit in hits)

    by_one = demos.design("gravel-hatch").changed("harness_bar", split_by=["hoop_diagonal"])
    (hit,) = [f for f in run(by_one, ["geometry"]) if f.code == "cage/collision"]
    typed = hit.cure.partition("[members.harness_bar] ")[2].partition(", so")[0]
    both = tomllib.loads(typed)["split_by"]
    assert both == ["hoop_diagonal", "hoop_diagonal_cross"]
    (met,) = of("cage/collision", by_one.changed("harness_bar", split_by=both).cage)
    assert met.status is Status.PASS


def test_a_node_that_is_missed_is_told_where_it_is() -> None:
    design = demos.design("gravel-hatch").changed("harness_bar", height=455)
    missed = [f for f in run(design, ["geometry"]) if f.code == "geometry/node"]
    assert [f.subject for f in missed if f.status is Status.WARN] == [
        "door_bar_left end a",
        "door_bar_right end a",
    ]
    assert all("z 455.0 mm" in f.cure for f in missed if f.status is Status.WARN)


def test_of_two_nodes_of_the_same_tubes_the_nearer_one_is_told() -> None:
    one = bar("one", (-500, 0, 0), (500, 0, 0))
    ends = {"a": End.coped("one"), "b": End.coped("one")}
    corners = [(-300, 0, 0), (-300, 400, 0), (300, 400, 0), (300, 0, 0)]
    loop = replace(bar("loop", *corners[:2], **ends), path=CentreLine.from_polyline(corners, 100.0))
    late = bar("late", (285, 0, 0), (285, 40, 300), a=End.coped("one", "loop"))
    (hit,) = [
        f for f in of("geometry/node", Cage("test", [one, loop, late])) if "late" in f.subject
    ]
    assert "x 300.0 mm" in hit.cure


def test_a_cure_does_not_cut_a_bent_tube() -> None:
    one = bar("one", (-500, 0, 0), (500, 0, 0))
    path = CentreLine.from_polyline([(0, -400, 30), (0, 200, 30), (0, 400, 300)], 100.0)
    two = replace(bar("two", (0, -400, 30), (0, 400, 30)), path=path)
    (hit,) = collisions(Cage("test", [one, two]))
    assert "split_by" not in hit.cure
    assert hit.cure.startswith("Move two 10.0 mm clear")


def noted(design: Design, *notes: str) -> Design:
    """The design with grinding notes, each written as a table of its build file."""
    tables = [Grind.model_validate(tomllib.loads(note)) for note in notes]
    file = design.build.file.model_copy(update={"grind": tables})
    return Design(replace_struct(design.build, file=file))


def test_a_cure_that_grinds_is_typed_and_nothing_else_is_ground() -> None:
    """The names are those of whole bars: the X's other tubes pass clear of the harness bar."""
    design = Design.load("gravel-hatch").changed("door_bar", height_rear=426)
    hits = [f for f in run(design, ["geometry"]) if f.code == "cage/collision"]
    typed = [f.cure.partition("[[grind]] ")[2].rstrip(".").replace(", ", "\n") for f in hits]
    assert len(typed) == 2
    ground = noted(design, *typed)
    for code in ("cage/collision", "cage/grinding-note"):
        told = [f for f in run(ground, ["geometry"]) if f.code == code]
        assert told
        assert {f.status for f in told} == {Status.PASS}
    lines = [t for s in ground.steps for t in s.text if t.startswith("Grind ")]
    assert [line.split(",")[0] for line in lines] == [
        "Grind door bar left by up to 0.4 mm where it meets harness bar 1",
        "Grind door bar right by up to 0.4 mm where it meets harness bar 3",
    ]
    found = {(t.member, t.end): t.grind for t in templates(ground.cage, 0.1) if t.grind}
    assert found == {
        ("door_bar_left", "a"): (("harness_bar_1", 0.4),),
        ("door_bar_right", "a"): (("harness_bar_3", 0.4),),
    }


def test_a_grinding_note_with_nothing_to_grind_is_told() -> None:
    """A role has something where one of its tubes does, or it has nothing."""
    design = Design.load("gravel-hatch").changed("door_bar", height_rear=426)
    one = 'tube = "door_bar"\nat = "harness_bar"\ndepth = 0.4'
    other = 'tube = "dash_bar"\nat = "harness_bar"\ndepth = 0.4'
    told = [
        f
        for f in run(noted(design, one, other), ["geometry"])
        if f.code == "cage/grinding-note" and f.status is Status.WARN
    ]
    assert [f.subject for f in told] == ["dash_bar at harness_bar"]
    assert "grind" in told[0].cure


def test_a_weld_under_a_later_tube_is_told() -> None:
    parent = bar("parent", (-600, 0, 0), (600, 0, 0))
    one = bar("one", (0, 0, 0), (0, 500, 0), a=End.coped("parent"))
    near = bar("two", (25, 0, 0), (425, 400, 0), a=End.coped("parent"))
    (hit,) = of("geometry/weld-covered", Cage("test", [parent, one, near]))
    assert hit.status is Status.WARN
    assert hit.subject == "one end a under two"
    assert 10 < hit.measured < pi * 2 * R
    # a tube that is coped to it sits on the weld, which is dressed: that is how nodes are made
    both = bar("two", (0, 0, 0), (400, 400, 0), a=End.coped("parent", "one"))
    (fine,) = of("geometry/weld-covered", Cage("test", [parent, one, both]))
    assert fine.status is Status.PASS
    assert "weld and dress it first" in fine.text
    away = bar("two", (150, 0, 0), (150, 400, 0), a=End.coped("parent"))
    assert of("geometry/weld-covered", Cage("test", [parent, one, away])) == []


def passing(at: float, height: float, turn: float) -> Cage:
    """A later tube that passes over or beside the weld of a branch that leans."""
    parent = bar("parent", (-600, 0, 0), (600, 0, 0))
    one = bar("one", (0, 0, 0), (300, 400, 0), a=End.coped("parent"))
    middle, way = np.array([at, 25.0, height]), 300.0 * np.array([np.cos(turn), np.sin(turn), 0.4])
    return Cage("test", [parent, one, bar("two", tuple(middle - way), tuple(middle + way))])


def test_tubes_out_of_a_welds_reach_are_passed_over_and_no_others(monkeypatch) -> None:
    """As long and at the same place with every tube held against every weld."""
    cases = [(x, z, q) for x in (-90, 0, 60) for z in (30, 38, 41, 50) for q in (0, 0.7, 1.5, 2.4)]

    def told(cage: Cage) -> list[tuple[object, ...]]:
        return [(c.by.id, c.length, *c.point) for c in seen.covered_welds(cage)]

    cages = [passing(*case) for case in cases]
    quick = [told(cage) for cage in cages]
    reached = [bool(seen._within_reach([*c.joints], [c.member("two")])[0]) for c in cages]
    assert 10 < sum(reached) < 40
    monkeypatch.setattr(seen, "_within_reach", lambda joints, _: np.ones(len(joints), bool))
    assert quick == [told(passing(*case)) for case in cases]
    assert sum(map(bool, quick)) > 5


def test_the_length_that_is_covered_is_that_of_the_mirror_image() -> None:
    """Spots lie unevenly round a saddle: one that grazes counts half of the way to each side."""
    phi = 2 * pi * np.array([0.0, 0.01, 0.3, 0.6, 0.8])
    points = np.column_stack([R * np.cos(phi), R * np.sin(phi), 0.0 * phi])
    those = np.array([False, True, False, False, False])
    chords = 2 * R * np.sin(pi * np.array([0.01, 0.29]))
    assert length_of(points, those) == pytest.approx(chords.sum() / 2)
    mirrored = length_of(points[::-1] * (1, -1, 1), those[::-1])
    assert mirrored == pytest.approx(length_of(points, those))


@pytest.mark.parametrize("past", [0.0, 0.5, 3.0, 5.5])
def test_a_branch_beside_its_parent_is_told_by_share_and_gap(past: float) -> None:
    """Of equal diameters, past each other by e: the rim hangs e off over 2 acos(1 - e/r)."""
    parent = bar("parent", (-600, 0, 0), (600, 0, 0))
    branch = bar("branch", (0, 0, past), (0, 500, past), a=End.coped("parent"))
    cage = Cage("test", [parent, branch])
    (share,), (gap,) = of("geometry/seat", cage), of("geometry/seat-gap", cage)
    assert gap.measured == pytest.approx(past, abs=1e-3)
    assert share.measured == pytest.approx(np.arccos(1 - past / R) / pi, abs=3e-3)
    want = {0.0: "pass", 0.5: "pass", 3.0: "warn", 5.5: "fail"}[past]
    assert gap.status.value == want
    assert share.status is (Status.PASS if past < 1 else Status.WARN)


@pytest.mark.parametrize("turn", [pi / 6, pi / 4, pi / 2])
def test_a_coped_branch_does_not_collide_with_its_parent(turn: float) -> None:
    parent = bar("parent", (-600, 0, 0), (600, 0, 0))
    far = (500 * np.cos(turn), 500 * np.sin(turn), 0.0)
    assert found(parent, bar("branch", (0, 0, 0), far, a=End.coped("parent"))) == []
    # the same branch sawn square reaches into it up to its axis
    assert found(parent, bar("branch", (0, 0, 0), far)) == [("parent", "branch")]


def test_a_branch_that_meets_its_parent_again_collides() -> None:
    """A loop that is coped at one end and runs through its parent farther on."""
    parent = bar("parent", (-600, 0, 0), (600, 0, 0))
    loop = CentreLine.from_polyline(
        [(-300, 0, 0), (-300, 300, 0), (200, 300, 0), (200, -300, 0)], 100.0, owner="loop"
    )
    tube = parent.tube
    branch = Member(id="loop", role="strut", tube=tube, path=loop, a=End.coped("parent"))
    (hit,) = overlaps(Cage("test", [parent, branch]))
    assert not hit.joined
    assert abs(hit.point[0] - 200) <= R + 1e-6


def test_two_branches_of_a_node_collide_unless_coped_to_each_other() -> None:
    parent = bar("parent", (-600, 0, 0), (600, 0, 0))
    one = bar("one", (0, 0, 0), (0, 500, 0), a=End.coped("parent"))
    slant = (500 / sqrt(2), 500 / sqrt(2), 0.0)
    two = bar("two", (0, 0, 0), slant, a=End.coped("parent"))
    (hit,) = collisions(Cage("test", [parent, one, two]))
    assert hit.subject == "two and one"
    assert "Move the end of two" in hit.cure
    both = bar("two", (0, 0, 0), slant, a=End.coped("parent", "one"))
    assert found(parent, one, both) == []


def test_points_of_a_wall_lie_round_its_axis_ring_by_ring() -> None:
    path = CentreLine.from_polyline([(0, 0, 0), (400, 0, 0), (400, 300, 200)], 90.0, owner="b")
    tube = Tube(name="t", od=2 * R, wall=2.0, material="e355")
    bent = Member(id="b", role="strut", tube=tube, path=path)
    walls = Walls([wall_of(Cage("test", [bent]), bent)])
    stations, phi = np.array([50.0, 380.0, 600.0]), np.linspace(0.0, 2 * pi, 8, endpoint=False)
    rings = walls.points(np.zeros(3, int), stations, phi[None])
    for station, ring in zip(stations, rings, strict=True):
        spot = path.spot(station)
        assert np.linalg.norm(ring - spot.point, axis=1) == pytest.approx(np.full(8, R))
        assert (ring - spot.point) @ spot.tangent == pytest.approx(np.zeros(8), abs=1e-9)
        found = walls.places(np.zeros(1, int), ring[3:4])
        assert (float(found[0][0]), float(found[1][0])) == pytest.approx((station, phi[3]))


def test_what_a_pair_gets_does_not_hang_on_the_pairs_beside_it() -> None:
    bent = CentreLine.from_polyline([(-400, 0, 9), (50, 6, 0), (60, 400, 0)], 90.0, owner="bent")
    tube = Tube(name="t", od=2 * R, wall=2.0, material="e355")
    all_ = [
        Member(id="bent", role="strut", tube=tube, path=bent),
        bar("one", (-300, -200, 20), (-250, 250, 25)),
        bar("two", (-100, -200, -22), (-40, 250, -13)),
        bar("three", (-300, 200, 30), (300, 270, 21)),
    ]
    hits = overlaps(Cage("test", all_))
    assert len(hits) >= 4
    for hit in hits:
        (alone,) = overlaps(Cage("test", [hit.a, hit.b]))
        assert (alone.depth, alone.gap, *alone.point) == (hit.depth, hit.gap, *hit.point)


@pytest.mark.parametrize("name", [p.name for p in list_presets("build")])
def test_the_demos_are_free_of_collisions(name: str) -> None:
    assert overlaps(demos.cage(name)) == []


def loops(x: float, z: float, lean: float) -> list[Member]:
    """A bent parent, and a loop coped to it in its bend that comes back across it at x, z."""
    bend = CentreLine.from_polyline([(-700, 0, 0), (0, 0, 0), (0, 0, -700)], 120.0, owner="bend")
    start = bend.points([680.0])[0]
    corners = [start, start + np.array([20.0, 300.0, lean]), (x, 300.0, z), (x, -300.0, z)]
    path = CentreLine.from_polyline(corners, 90.0, owner="loop")
    tube = Tube(name="t", od=2 * R, wall=2.0, material="e355")
    parent = Member(id="bend", role="strut", tube=tube, path=bend)
    return [parent, Member(id="loop", role="strut", tube=tube, path=path, a=End.coped("bend"))]


def test_where_an_end_is_cut_to_fit_nothing_that_runs_into_it_is_passed_over(monkeypatch) -> None:
    """As deep and at the same place with every point of both walls looked at."""

    def every(cage: Cage) -> list[tuple[float, ...]]:
        return [(h.depth, h.gap, *h.point) for h in overlaps(cage)]

    back = [(-330.0, 12.0), (-290.0, -25.0), (8.0, -330.0), (-15.0, -390.0), (-300.0, 60.0)]
    cases = [(*at, lean) for at in back for lean in (0.0, 120.0)]
    quick = [every(Cage("test", loops(*case))) for case in cases]
    monkeypatch.setattr(seen, "_fitted", lambda *_: -np.inf)
    slow = [every(Cage("test", loops(*case))) for case in cases]
    assert sum(map(bool, slow)) == 8
    for one, other in zip(quick, slow, strict=True):
        assert one == [pytest.approx(row, abs=1e-6) for row in other]


def halves(past: float, aside: float, lean: float) -> Cage:
    """A bar that another one parts; the second half ends ``past`` the first one's tips."""
    post = bar("post", (0, 0, -500), (0, 0, 500))
    one = bar("one", (0, 0, 0), (500, lean, 90), a=End.coped("post"))
    tips = Cage("test", [post, one]).cut("one", "a").shortest
    end = np.array([tips + past, aside, 0.0])
    two = bar("two", tuple(end - (500, 0, 0)), tuple(end))
    return Cage("test", [post, one, two])


def test_tubes_that_a_plane_parts_are_passed_over_and_no_others(monkeypatch) -> None:
    """As deep and at the same place with the walls of every pair looked for in each other."""
    cases = [(p, y, q) for p in (-60, -9, 0, 3, 25) for y in (0, 14, 39) for q in (0, 120, 400)]
    cages = [halves(*case) for case in cases]

    def told(cage: Cage) -> list[tuple[object, ...]]:
        return [(h.a.id, h.b.id, h.depth, *h.point) for h in overlaps(cage)]

    quick = [told(cage) for cage in cages]
    parted = [bool(seen._parted(c, [(c.member("one"), c.member("two"))])[0]) for c in cages]
    assert 10 < sum(parted) < 35
    monkeypatch.setattr(seen, "_parted", lambda _, pairs: np.zeros(len(pairs), bool))
    assert quick == [told(halves(*case)) for case in cases]
    for case, clear, rows in zip(cases, parted, quick, strict=True):
        assert not (clear and any(row[:2] == ("one", "two") for row in rows)), case
    assert sum(any(row[:2] == ("one", "two") for row in rows) for rows in quick) > 5

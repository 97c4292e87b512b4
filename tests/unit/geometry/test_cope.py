"""Cuts of tube ends: frames, several surfaces, offsets and what is refused."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, radians, sin

import numpy as np
import pytest
from pieces import counted_passes

from cagekit.errors import CopeError
from cagekit.geometry.centre_line import Arc, CentreLine, Vec, unit, vec
from cagekit.geometry.contact import PlaneFace
from cagekit.geometry.cope import EndCut, EndToCut, Parent, check_pair, cut_end, cut_ends
from cagekit.geometry.end_cut import measure_saddles, narrowing, split

R = 20.65
HOOP = CentreLine.from_polyline([[0, -600, 0], [0, -520, 1000], [0, 520, 1000], [0, 600, 0]], 150.0)
PARENT = Parent("hoop", HOOP, R)
NODE = HOOP.spot(400.0).point
X, Y, Z = np.eye(3)


@dataclass(frozen=True)
class Plate:
    point: Vec
    normal: Vec


def cope(start: object, end: object, *, r: float = R, parents: object = (PARENT,)) -> EndCut:
    path = CentreLine.straight(start, end)  # type: ignore[arg-type]
    return cut_end(path, "a", r, r - 3.4, parents=parents, owner="bar")  # type: ignore[arg-type]


def test_square_cut() -> None:
    path = CentreLine.straight([0, 0, 0], [300, 0, 0])
    cut = cut_end(path, "b", R, 17.0)
    assert cut.trim(np.linspace(0, 6, 7), R) == pytest.approx(np.zeros(7))
    assert cut.saddle_length == pytest.approx(2 * pi * R)
    assert (cut.shortest, cut.longest, len(cut.corners)) == (0.0, 0.0, 0)
    assert cut.angle == pytest.approx(pi / 2)


def test_square_cut_at_the_end_of_a_bend() -> None:
    bend = CentreLine((Arc(vec(100 * X), vec([0, 0, 0]), vec(Z), 1.2),))
    assert cut_end(bend, "a", R, 17.0).longest == 0.0


def test_end_on_a_leaning_plate() -> None:
    lean = radians(25)
    plate = Plate(vec([0, 0, 0]), vec([sin(lean), 0, cos(lean)]))
    path = CentreLine.straight([0, 0, 0], [0, 0, 300])
    cut = cut_end(path, "a", R, 17.0, plane=plate)
    assert cut.angle == pytest.approx(pi / 2 - lean)
    assert cut.longest == pytest.approx(R * np.tan(lean))
    assert cut.shortest == pytest.approx(-R * np.tan(lean))
    phi = np.linspace(0, 6, 9)
    assert (cut.points(phi, R) - plate.point) @ plate.normal == pytest.approx(np.zeros(9), abs=1e-9)


def test_plate_below_the_theoretical_end_lengthens_the_tube() -> None:
    plate = Plate(vec([0, 0, -12.0]), vec(Z))
    cut = cut_end(CentreLine.straight([0, 0, 0], [0, 0, 300]), "a", R, 17.0, plane=plate)
    assert cut.trim(1.0, R) == pytest.approx(-12.0)


def test_plate_and_parent_whichever_comes_first() -> None:
    post = Parent("post", CentreLine.straight([0, 0, -500], [0, 0, 500]), R)
    plate = Plate(vec([0, 0, -5.0]), vec(Z))
    path = CentreLine.straight([0, 0, 0], [300, 0, 200])
    cut = cut_end(path, "a", R, 17.0, parents=[post], plane=plate)
    phi = np.linspace(0, 2 * pi, 60)
    alone = cut_end(path, "a", R, 17.0, parents=[post]).trim(phi, R)
    flat = cut_end(path, "a", R, 17.0, plane=plate).trim(phi, R)
    assert cut.trim(phi, R) == pytest.approx(np.maximum(alone, flat))
    assert len(cut.corners) >= 2


def test_phi_is_right_handed_about_out_and_one_line_serves_both_ends() -> None:
    # parents that lean the same way at both ends: the cut is long on the same side of the tube
    left = Parent("left", CentreLine.straight([-300, 0, 0], [300, 0, 0]), R)
    right = Parent("right", CentreLine.straight([-300, 500, 0], [300, 500, 0]), R)
    path = CentreLine.straight([0, 0, 0], [200, 500, 0])
    a = cut_end(path, "a", R, 17.0, parents=[left])
    b = cut_end(path, "b", R, 17.0, parents=[right])
    assert a.zero == pytest.approx(b.zero)
    for cut in (a, b):
        assert np.cross(cut.out, cut.zero) == pytest.approx(cut.side)
    # a half turn about the tube's middle maps one end on the other
    phi = np.linspace(0, 2 * pi, 25)
    assert a.trim(phi, R) == pytest.approx(b.trim(pi - phi, R), abs=1e-9) or a.trim(
        phi, R
    ) == pytest.approx(b.trim(phi, R), abs=1e-9)
    tip = float(phi[np.argmax(a.trim(phi, R))])
    acute = a.origins(tip, R) - a.point
    assert acute @ X == pytest.approx(R * np.abs(acute @ X) / R)
    assert float(acute @ X) > 0.9 * R * np.sin(np.arctan2(500, 200))


def test_given_zero_is_squared_to_the_axis() -> None:
    cut = cut_end(CentreLine.straight([0, 0, 0], [300, 0, 0]), "a", R, 17.0, zero=[5.0, 0.0, -2.0])
    assert cut.zero == pytest.approx([0, 0, -1])


def test_points_lie_on_the_parent() -> None:
    node = HOOP.spot(float(HOOP.starts[1]) + 30.0).point
    cut = cope(node, node + np.array([300.0, 90.0, 120.0]), r=17.0)
    phi = np.linspace(0.05, 6.2, 40)
    points = cut.points(phi, 17.0)
    gaps = [HOOP.nearest(p) for p in points]
    off = [np.linalg.norm(p - g.point) for p, g in zip(points, gaps, strict=True)]
    assert off == pytest.approx(np.full(40, R), abs=1e-8)


def test_extremes_and_curves_agree() -> None:
    cut = cope(NODE, NODE + np.array([300.0, 50.0, 180.0]), r=19.0)
    phi = np.linspace(0, 2 * pi, 20001)
    both = np.concatenate([cut.trim(phi, cut.outer_radius), cut.trim(phi, cut.inner_radius)])
    assert cut.longest == pytest.approx(both.max(), abs=1e-4)
    assert cut.shortest == pytest.approx(both.min(), abs=1e-4)
    for curve, rho in ((cut.outer_curve(180), 19.0), (cut.inner_curve(180), 15.6)):
        assert curve.shape == (180, 2)
        assert (np.diff(curve[:, 0]) > 0).all()
        assert curve[:, 1] == pytest.approx(cut.trim(curve[:, 0], rho))


def test_corner_is_sampled_exactly() -> None:
    cut = cope(NODE, NODE + np.array([300.0, 0.0, 100.0]))
    assert len(cut.corners) == 2
    curve = cut.outer_curve(100)
    for c in cut.corners:
        assert np.abs(curve[:, 0] - c).min() < 1e-12


def test_straddling_end_names_the_pieces_it_sits_on() -> None:
    node = HOOP.spot(float(HOOP.starts[1]) + 4.0).point
    cut = cope(node, node + np.array([400.0, 0.0, 0.0]))
    hit = {(cut.surfaces[i].owner, cut.surfaces[i].piece) for i in cut.active(cut.grid, R)}
    assert hit == {("hoop", 0), ("hoop", 1)}
    # the surface changes on the tangent plane of the joint
    joint = HOOP.spot(float(HOOP.starts[1]))
    change = [c for c in cut.corners if cut.active(c - 1e-4, R) != cut.active(c + 1e-4, R)]
    assert len(change) == 2
    for c in change:
        assert float((cut.points(c, R) - joint.point) @ joint.tangent) == pytest.approx(0, abs=1e-6)


def test_concentric_and_offset_are_reported() -> None:
    on = cope(NODE, NODE + np.array([300.0, 0.0, 0.0]))
    assert on.concentric
    assert on.offset == pytest.approx(0.0, abs=1e-9)
    leg = HOOP.pieces[0].direction
    side = unit(np.cross(leg, X))
    off = cope(NODE + 4 * side, NODE + 4 * side + np.array([300.0, 0.0, 0.0]))
    assert not off.concentric
    assert off.offset == pytest.approx(4.0)
    assert on.angle == pytest.approx(pi / 2)


def test_overhang_goes_on_in_the_plane_through_the_axis_without_a_step() -> None:
    post = Parent("post", CentreLine.straight([0, 0, -500], [0, 0, 500]), R)
    path = CentreLine.straight([0, 5, 0], [400, 5, 200])
    cut = cut_end(path, "a", R, 17.0, parents=[post])
    phi = np.linspace(0, 2 * pi, 20001)
    c = cut.contact(phi, R)
    assert 0.1 < cut.miss_share < 0.25
    closing = ~c.ok
    planes = {int(i) for i in c.active[closing]}
    (index,) = planes
    plane = cut.surfaces[index]
    assert isinstance(plane, PlaneFace)
    assert plane.closure
    points = cut.points(phi[closing], R)
    assert points @ X == pytest.approx(np.zeros(len(points)), abs=1e-9)
    # square-root ends: the curve is steep at the silhouette but has no step
    assert np.abs(np.diff(c.s)).max() < 1.0
    assert len(cut.corners) == 2


@pytest.mark.parametrize("offset", [0.0, 1e-9, 1e-6, 1e-5])
def test_equal_tubes_do_not_depend_on_the_last_digits(offset: float) -> None:
    post = Parent("post", CentreLine.straight([0, 0, -500], [0, 0, 500]), R)
    cut = cut_end(
        CentreLine.straight([0, offset, 0], [400, offset, 0]), "a", R, 17.0, parents=[post]
    )
    assert cut.miss_share == 0.0
    assert len(cut.corners) == 2
    phi = np.linspace(0, 2 * pi, 73)
    # near the tangent ray a distance e shows as sqrt(2 R e)
    assert cut.trim(phi, R) == pytest.approx(R * np.abs(_cos_about(cut, phi)), abs=0.03)


def _cos_about(cut: EndCut, phi: Vec) -> Vec:
    across = np.cos(phi)[:, None] * cut.zero + np.sin(phi)[:, None] * cut.side
    return np.asarray(np.sqrt(np.maximum(1 - (across @ Y) ** 2, 0.0)))


def test_mirrored_joint_gives_the_mirrored_cope() -> None:
    node = HOOP.spot(float(HOOP.starts[1]) + 60.0).point
    path = CentreLine.straight(node, node + np.array([-300.0, 80.0, -260.0]))
    parent = Parent("hoop", HOOP.mirrored(), R)
    one = cut_end(path, "a", 19.0, 16.0, parents=[PARENT], zero=[0, 0, 1])
    two = cut_end(path.mirrored(), "a", 19.0, 16.0, parents=[parent], zero=[0, 0, 1])
    phi = np.linspace(0, 2 * pi, 90)
    assert two.trim(phi, 19.0) == pytest.approx(one.trim(-phi, 19.0), abs=1e-9)
    assert two.saddle_length == pytest.approx(one.saddle_length)


def test_second_parent_only_adds() -> None:
    node = HOOP.spot(350.0).point
    brace = Parent("brace", CentreLine.straight(node, node + np.array([300.0, 0, 400.0])), R, False)
    path = CentreLine.straight(node, node + np.array([400.0, 150.0, 0.0]))
    one = cut_end(path, "a", R, 17.0, parents=[PARENT])
    two = cut_end(path, "a", R, 17.0, parents=[PARENT, brace])
    phi = np.linspace(0, 2 * pi, 181)
    more = two.trim(phi, R) - one.trim(phi, R)
    assert more.min() > -1e-9
    assert more.max() > 5.0
    assert two.parents == ("hoop", "brace")
    assert {two.surfaces[i].owner for i in two.active(phi, R)} == {"hoop", "brace"}


# --- refusals ------------------------------------------------------------------------------

LEG = HOOP.pieces[0].direction


@pytest.mark.parametrize(
    ("end", "r", "words"),
    [
        (NODE + 300 * LEG + np.array([40.0, 0, 0]), R, ("7.6 degrees", "at least 15")),
        (NODE + 300 * LEG, R, ("runs along the axis of hoop",)),
        (NODE + 300 * LEG + np.array([2.0, 0, 0]), R, ("0.4 degrees, nearly parallel",)),
        (NODE + np.array([400.0, 0, 0]), 25.4, ("50.8 mm wide", "hoop (41.3 mm)", "41.3 mm")),
        (NODE + np.array([15.0, 0, 0]), R, ("20.6 mm long", "only 15.0 mm")),
    ],
)
def test_refused_with_numbers_and_cure(end: Vec, r: float, words: tuple[str, ...]) -> None:
    with pytest.raises(CopeError) as caught:
        cope(NODE, end, r=r)
    for word in ("bar", *words):
        assert word in str(caught.value)
    assert caught.value.hint


def test_refuses_branch_that_stops_short() -> None:
    with pytest.raises(CopeError, match="200 mm short of hoop"):
        cope(NODE + 200 * X, NODE + 500 * X)


def test_refuses_branch_that_passes() -> None:
    with pytest.raises(CopeError, match=r"passes 58\.7 mm beside"):
        cut_end(
            CentreLine.straight([0, 100, 0], [400, 100, 0]), "a", R, 17.0, owner="bar",
            parents=[Parent("post", CentreLine.straight([0, 0, -500], [0, 0, 500]), R)],
        )  # fmt: skip


def test_refuses_branch_that_sits_beside() -> None:
    with pytest.raises(CopeError, match=r"axes pass each other by 9\.0 mm"):
        cope(NODE + 9 * unit(np.cross(LEG, X)), NODE + 9 * unit(np.cross(LEG, X)) + 400 * X)


def test_refuses_branch_off_the_parents_end() -> None:
    stub = Parent("stub", CentreLine.straight(NODE, NODE + 300 * X), R, open_a=False)
    with pytest.raises(CopeError, match="runs off the end of stub"):
        cope(NODE + 3 * X, NODE + 3 * X + 300 * Z, parents=[stub])


def test_refuses_branch_inside_a_bend_that_runs_back_into_it() -> None:
    bend = HOOP.bends[0]
    spot = HOOP.spot(float(HOOP.starts[1]) + 100.0)
    inward = unit(bend.centre - spot.point)
    a = radians(22)
    with pytest.raises(CopeError, match="back into it"):
        cope(spot.point, spot.point + 500 * (cos(a) * spot.tangent + sin(a) * inward))


def test_refuses_branch_along_a_bend_that_touches_it_again() -> None:
    bend = HOOP.bends[0]
    spot = HOOP.spot(float(HOOP.starts[1]) + 20.0)
    inward = unit(unit(bend.centre - spot.point) + 0.9 * X)
    a = radians(25)
    with pytest.raises(CopeError, match=r"touches hoop twice.*again \d+ mm back"):
        cope(spot.point, spot.point + 500 * (cos(a) * spot.tangent + sin(a) * inward))


def test_refuses_own_bend_in_the_cope() -> None:
    path = CentreLine.from_polyline([NODE, NODE + 100 * X, NODE + 100 * X - 300 * Z], 85.0)
    with pytest.raises(CopeError, match=r"20\.\d mm back, into the tube's own bend.*15\.0 mm"):
        cut_end(path, "a", R, 17.0, parents=[PARENT], owner="bar")


def test_refuses_plate_on_the_wrong_side() -> None:
    plate = Plate(vec([0, 0, 0]), vec(-Z))
    with pytest.raises(CopeError, match="which side"):
        cut_end(CentreLine.straight([0, 0, 0], [0, 0, 300]), "a", R, 17.0, plane=plate)


def test_refuses_two_cuts_that_meet() -> None:
    posts = [
        Parent(n, CentreLine.straight([x, 0, -500], [x, 0, 500]), R)
        for n, x in (("p", 0), ("q", 38))
    ]
    path = CentreLine.straight([0, 0, 0], [38, 0, 0])
    a = cut_end(path, "a", 15.0, 12.0, parents=posts[:1], owner="bar")
    b = cut_end(path, "b", 15.0, 12.0, parents=posts[1:], owner="bar")
    with pytest.raises(CopeError, match=r"need 41\.3 mm of a tube that is only 38\.0 mm"):
        check_pair(path, a, b)


def many_ends() -> list[EndToCut]:
    """Ends on a straight, on a bend, on both, on two tubes, on a plate, square, and impossible."""
    rail = Parent("rail", CentreLine.straight([-900, 0, 1000], [900, 0, 1000]), R)
    bend = HOOP.spot(HOOP.pieces[0].length + HOOP.pieces[1].length / 2).point
    joint = HOOP.spot(HOOP.pieces[0].length).point
    top = vec([0, 0, 1000])
    lean = Plate(vec([0, 0, 0]), unit(vec([0.4, 0, 1])))
    on: list[tuple[Vec, Vec, tuple[Parent, ...], Plate | None]] = [
        (NODE, vec([500, 30, 90]), (PARENT,), None),
        (bend, vec([600, -100, -200]), (PARENT,), None),
        (joint, vec([500, 120, 40]), (PARENT,), None),
        (top, vec([400, -350, -500]), (PARENT, rail), None),
        (NODE + 4 * Y, vec([500, 0, 0]), (PARENT,), None),
        (vec([0, 0, 0]), vec([0, 0, 300]), (), lean),
        (vec([0, 0, 0]), vec([0, 0, 300]), (), None),
        (NODE + 90 * Y, vec([500, 0, 0]), (PARENT,), None),
    ]
    return [
        EndToCut(
            path=CentreLine.straight(p, p + way), which="a", outer_radius=19.05,
            inner_radius=16.5, parents=parents, plane=plane, owner=f"bar {i}",
        )
        for i, (p, way, parents, plane) in enumerate(on)
    ]  # fmt: skip


def test_corners_and_saddles_worked_out_together_are_those_worked_out_alone() -> None:
    ends = many_ends()
    together, alone = (
        [c for c in cut_ends(ends) if not isinstance(c, CopeError)] for _ in range(2)
    )
    split(together[::2])
    measure_saddles(together)
    assert len(together) > 5
    for one, other in zip(together, alone, strict=True):
        assert {"corners", "saddle_length"} <= set(vars(one))
        assert one.corners.tobytes() == other.corners.tobytes()
        assert one.saddle_length == other.saddle_length


def test_ends_cut_together_are_those_cut_alone_to_the_last_bit() -> None:
    ends = many_ends()
    together = cut_ends(ends * 3)
    for i, made in enumerate(together):
        (alone,) = cut_ends([ends[i % len(ends)]])
        if isinstance(alone, CopeError):
            assert isinstance(made, CopeError)
            assert str(made) == str(alone)
            continue
        assert isinstance(made, EndCut)
        assert (made.shortest, made.longest) == (alone.shortest, alone.longest)
        assert made.outer_curve(60).tobytes() == alone.outer_curve(60).tobytes()
        assert made.inner_curve(60).tobytes() == alone.inner_curve(60).tobytes()
    assert [i for i, made in enumerate(together[:8]) if isinstance(made, CopeError)] == [7]


def test_many_ends_are_met_in_no_more_passes_than_the_hardest_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    passes = counted_passes(monkeypatch)
    alone = []
    for end in many_ends():
        passes.clear()
        cut_ends([end])
        alone.append(len(passes))
    passes.clear()
    cut_ends(many_ends() * 6)
    assert len(passes) <= max(alone) + 1
    assert sum(passes) == 6 * sum(alone)


@pytest.mark.parametrize("station", [400.0, 930.0, float(HOOP.starts[1]) + 6.0])
def test_the_scan_of_fewer_surfaces_is_what_their_own_rays_find(
    station: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beside a bend an end may touch straight and bend: the rays of both are not sent again."""
    node = HOOP.spot(station).point
    end = EndToCut(path=CentreLine.straight(node, node + np.array([-400, 60, -80])), which="a",
                   outer_radius=R, inner_radius=R - 3.4, parents=(PARENT,))  # fmt: skip
    passes = counted_passes(monkeypatch)
    (cut,) = cut_ends([end])
    assert isinstance(cut, EndCut)
    assert passes == [1]  # all is known from one look at every surface
    radii = np.array([[cut.outer_radius], [cut.inner_radius]])
    found = cut.contact(cut.grid, radii)
    assert found.ok.all()
    assert np.abs(cut._scan.s - found.s).max() < 1e-12
    assert (cut._scan.active == found.active).all()
    assert cut.bound == pytest.approx(found.s.max() + R)
    assert cut.steepest == pytest.approx(np.abs(np.roll(found.s, -1, axis=1) - found.s).max())


def test_changes_of_surface_are_where_sections_alone_find_them() -> None:
    """From straight to bend of one tube, from tube to tube, and in no more than half the passes."""
    second = Parent("bar", CentreLine.straight(NODE - 400 * Y, NODE + 400 * Y), R)
    dice = np.random.default_rng(8)
    changes, passes = 0, []
    for k, way in enumerate(unit(v) for v in dice.normal(size=(80, 3)) * (1.0, 0.6, 0.6)):
        joint = HOOP.spot(float(HOOP.starts[1]) + dice.uniform(-12.0, 12.0)).point
        node, parents = (NODE, (PARENT, second)) if k % 2 else (joint, (PARENT,))
        try:
            cut = cope(node, node + 400 * way, r=14.0, parents=parents)
        except CopeError:
            continue
        work, answer = cut._edges_changing(), None
        passes.append(0)
        try:
            while True:
                ask = work.send(answer) if answer else next(work)
                answer = ask[0].contact(*ask[1:])
                passes[-1] += 1
        except StopIteration as end:
            found = end.value
        grid, upper = cut.grid, np.append(cut.grid[1:], cut.grid[0] + 2 * pi)
        for rho, spots in found.items():
            seen = cut.active(grid, rho)
            at = np.flatnonzero(seen != np.roll(seen, -1))
            if len(at) != len(spots):
                continue  # one that shows over less than a step, or a step
            search = narrowing(grid[at], upper[at], seen[at], rounds=7)
            t = next(search)
            try:
                while True:
                    t = search.send(cut.active(t, rho))
            except StopIteration as end:
                there, _, _ = end.value
            assert np.abs(np.sort(spots) - np.sort(there)).max(initial=0.0) < 1e-10
            changes += len(spots)
    assert changes > 200
    assert np.mean([n for n in passes if n]) < 4.5


def test_extremes_are_found_where_surfaces_change_and_looked_for_no_further(monkeypatch) -> None:
    """Of ends on two tubes, against dense samples, and with every change closed in on."""
    dice = np.random.default_rng(3)
    second = Parent("bar", CentreLine.straight(NODE - 400 * Y, NODE + 400 * Y), R)
    ways = [unit(v) for v in dice.normal(size=(60, 3)) * (1.0, 0.6, 0.6)]
    slid = NODE + 8.0 * Z

    def made() -> list[EndCut]:
        cuts = []
        for k, way in enumerate(ways):
            start = slid if k % 3 else NODE
            try:
                cuts.append(cope(start, start + 400 * way, r=14.0, parents=(PARENT, second)))
            except CopeError:
                continue
        return [cut for cut in cuts if cut.count > 1]

    quick = made()
    phi = np.linspace(0.0, 2 * pi, 7201)
    for cut in quick:
        s = cut.trim(phi, [[cut.outer_radius], [cut.inner_radius]])
        assert cut.shortest < s.min() + 1e-4
        assert cut.longest > s.max() - 1e-4
        if cut.steepest < 0.1 * R:  # else a step between two samples reaches further
            assert (cut.shortest, cut.longest) == pytest.approx((s.min(), s.max()), abs=0.02)
    closed_in = ["_edge_changes" in vars(cut) for cut in quick]
    assert 5 < sum(closed_in) < len(quick) - 5
    monkeypatch.setattr(EndCut, "_hides", lambda *_: True)
    slow = made()
    assert [(c.shortest, c.longest) for c in quick] == [(c.shortest, c.longest) for c in slow]


def test_what_is_told_to_be_good_without_a_scan_is_what_the_scan_finds_good() -> None:
    """Of ends on straights and planes at all angles and offsets, of tubes as wide and narrower."""
    dice = np.random.default_rng(8)
    low = Parent("low", CentreLine.straight([0, 0, 0], [0, 0, 700]), R, open_a=False)
    ends = []
    for k in range(400):
        lean, turn = radians(dice.uniform(14, 90)), dice.uniform(0, 2 * pi)
        way = np.array([sin(lean) * cos(turn), sin(lean) * sin(turn), cos(lean)])
        r = dice.choice((R, R, 19.05, 12.7))
        aside = dice.choice((0.0, 0.0, 0.3, R - r, R - r + 1.0)) * np.array(
            [-sin(turn), cos(turn), 0]
        )
        start = aside + dice.uniform(0, 350) * Z + dice.choice((0.0, 0.0, 3.0)) * way
        path = CentreLine.straight(start, start + dice.choice((90.0, 160.0, 400.0)) * way)
        on = {"plane": Plate(start, unit(Z + dice.uniform(0, 2) * X))} if k % 5 == 0 else {}
        on = on or {"parents": (low,)}
        ends.append(EndToCut(path=path, which="a", outer_radius=r, inner_radius=r - 2.0, **on))
    quick = cut_ends(ends, later=True)
    told = [isinstance(cut, EndCut) and "_scan" not in vars(cut) for cut in quick]
    assert 100 < sum(told) < 350
    for end, plain, cut, slow in zip(ends, told, quick, cut_ends(ends), strict=True):
        if isinstance(cut, CopeError):
            assert str(cut) == str(slow)
            continue
        assert isinstance(slow, EndCut)
        assert cut._scan.s.tobytes() == slow._scan.s.tobytes()
        assert (cut.sits, cut.steepest, cut.bound) == (slow.sits, slow.steepest, slow.bound)
        if plain:
            assert cut.sits
            assert cut.miss_share == 0.0
            assert not cut.may_step
            assert cut.bound < end.path.length


def test_one_who_asks_for_a_scan_has_all_that_were_cut_beside_it(monkeypatch) -> None:
    starts = [HOOP.spot(s).point for s in (300.0, 400.0, 500.0)]
    paths = [CentreLine.straight(p, p - 400 * X) for p in starts]
    passes = counted_passes(monkeypatch)
    ends = [
        EndToCut(path=p, which="a", outer_radius=R, inner_radius=17.0, parents=(PARENT,))
        for p in paths
    ]
    cuts = cut_ends(ends, later=True)
    assert passes == []
    assert [cut.deepest for cut in cuts] == pytest.approx([0.0] * 3, abs=R)
    assert passes == [3]

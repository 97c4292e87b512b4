"""Setting out read back: walk the tape along the tube, turn to the clock, and find the branch."""

from __future__ import annotations

from math import cos, hypot, pi, radians, sin

import demos
import numpy as np
import pytest

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, Member
from cagekit.geometry.centre_line import CentreLine, Vec, unit
from cagekit.materials.tubes import Tube
from cagekit.shop.papers.setting_out import SettingOut, Tape, set_out

TUBE = Tube(od=40.0, wall=2.5, material="1020-dom")


def walked(path: CentreLine, radius: float, tip: float, reads: float) -> tuple[Vec, Vec, Vec]:
    """Lay a tape on the tube in short steps until it reads that much.

    The reference line is carried by projecting it on each next cross-section, which is what a
    scriber does. Returns the axis point, the way along and the reference line there.
    """
    stations = np.linspace(0.0, path.length, 20001)
    points, tangents = path.points(stations), path.tangents(stations)
    zeros = np.tile(path.reference_lines()[0], (len(stations), 1))
    turns = (np.diff(tangents, axis=0) != 0.0).any(axis=1)
    for i, turn in enumerate(turns, start=1):
        before, t = zeros[i - 1], tangents[i]
        zeros[i] = unit(before - (before @ t) * t) if turn else before
    steps = np.linalg.norm(np.diff(points + radius * zeros, axis=0), axis=1)
    here = 1 + np.searchsorted(np.cumsum(steps) - tip, reads)
    return points[here], tangents[here], zeros[here]


@pytest.fixture(scope="module", params=(*demos.DEMOS, *demos.STRANGERS))
def demo(request: pytest.FixtureRequest) -> tuple[Cage, SettingOut]:
    design = demos.design(request.param)
    return design.fitted, design.setting_out


def test_every_cope_has_a_mark_on_each_of_its_parents(demo: tuple[Cage, SettingOut]) -> None:
    cage, out = demo
    wanted = [(p, j.branch, j.branch_end) for j in cage.joints for p in j.parents]
    assert [(m.parent, m.branch, m.end) for m in out.landings] == wanted


@pytest.mark.parametrize("drop", ["0", "0.4", "0.8", "1 1/4"])
def test_no_mark_of_nothing_where_neighbours_share_a_node(drop: str) -> None:
    # at 0 the diagonal takes all that halo and brace share on the left; they do share on the right
    design = demos.design("sprint-wagon").changed("rear_brace", drop=drop)
    cage = design.fitted
    for joint in cage.joints:
        cut = joint.cut
        phi = np.linspace(0.0, 2 * pi, 3600, endpoint=False)
        touched = {
            cut.surfaces[i].owner for rho in (18.0, 20.6) for i in cut.active(phi, rho) if i >= 0
        }
        assert touched == set(joint.parents), (joint.branch, joint.branch_end)
    for m in design.setting_out.landings:
        assert m.high - m.low > 0.5, m
    both = [j.parents for j in cage.joints if j.branch == "halo"]
    assert ("main_hoop", "rear_brace_right") in both if drop == "0" else True
    if drop == "1 1/4":
        assert both == [("main_hoop", "hoop_diagonal"), ("main_hoop",)]


def test_tape_and_clock_lead_to_the_branch(demo: tuple[Cage, SettingOut]) -> None:
    cage, out = demo
    for m in [m for m in out.landings if m.parent in cage.members][::3]:
        parent, branch = cage.members[m.parent], cage.members[m.branch]
        p, t, zero = walked(
            parent.path, parent.tube.outer_radius, cage.cut(m.parent, "a").shortest, m.tape
        )
        clock = radians(m.clock)
        way = cos(clock) * zero + sin(clock) * np.cross(t, zero)
        assert m.low < m.high
        assert m.round == pytest.approx(m.clock / 360 * pi * parent.tube.od)
        # a hand marks the middle on the tube between the edges, or the edges where it is not there
        assert m.low - 0.11 <= m.tape <= m.high + 0.11
        if m.edges_only:
            continue
        # from there the branch leans by its angle to the end that is told
        along = {"a": -1.0, "b": 1.0, "": 0.0}[m.leans] * cos(m.angle)
        axis = sin(m.angle) * way + along * t
        exact = -branch.path.out_direction(m.end)
        assert float(axis @ exact) > cos(radians(0.3)), m
        # where several parents meet, the node need not lie on this parent's axis
        gap = float(np.linalg.norm(np.cross(exact, p - m.point)))
        assert gap < 0.6 + parent.path.distances(m.point[None])[0], m


def test_where_only_edges_are_marked_their_middle_is_at_the_branch(
    demo: tuple[Cage, SettingOut],
) -> None:
    """Walked and turned to on the parent, it lies within the edges' own spread of the saddle."""
    cage, out = demo
    joints = {j.id: j for j in cage.joints}
    only = [m for m in out.landings if m.edges_only]
    for m in only:
        parent, cut = cage.member(m.parent), joints[m.joint].cut
        p, t, zero = walked(
            parent.path, parent.tube.outer_radius, cage.cut(m.parent, "a").shortest, m.tape
        )
        way = cos(radians(m.clock)) * zero + sin(radians(m.clock)) * np.cross(t, zero)
        spot = p + parent.tube.outer_radius * way
        rim = cut.points(np.linspace(0.0, 2 * pi, 1441), cut.outer_radius)
        apart = np.linalg.norm(rim - spot, axis=1)
        near = rim[int(apart.argmin())]
        assert parent.path.distances(near[None])[0] == pytest.approx(
            parent.tube.outer_radius, abs=0.1
        )
        assert apart.min() < (m.high - m.low) / 2 + 0.5, m
        # where the axes pass each other there is nothing of the branch
        node = parent.path.nearest(m.point).station
        reads = Tape(cage, m.parent).at(node)
        assert not m.low - 0.09 <= reads <= m.high + 0.09
    shared = [j for j in cage.joints if len(j.parents) > 1]
    assert only or not shared


def test_feet_stand_where_the_car_sheet_has_them(demo: tuple[Cage, SettingOut]) -> None:
    cage, out = demo
    stands = [
        (m.id, n)
        for m in cage.members.values()
        for n, e in m.ends
        if e.plane is not None or set(e.parents) & set(cage.chassis)
    ]
    assert [(f.member, f.end) for f in out.feet] == stands
    standing = {p for f in out.feet for p in f.plates}
    assert standing <= {p.plate for p in out.plates}
    for foot in out.feet:
        for place in out.plates:
            if place.plate in foot.plates:
                assert (place.low[:2] < foot.point[:2] + 0.01).all()
                assert (place.high[:2] > foot.point[:2] - 0.01).all()


def test_every_plate_is_set_out_once_on_the_car_or_on_each_of_its_tubes(
    demo: tuple[Cage, SettingOut],
) -> None:
    cage, out = demo
    on_tubes = {f.plate for f in out.fixings}
    on_car = {p.plate for p in out.plates}
    assert not on_tubes & on_car
    assert on_tubes | on_car == {p.id for p in cage.plates}


def test_a_tape_over_a_bend_is_longer_on_its_outside() -> None:
    bent = CentreLine.from_polyline([(0, 0, 0), (500, 0, 0), (500, 500, 0)], 120)
    cage = Cage("c", [Member(id="m", role="strut", tube=TUBE, path=bent)])
    tape = Tape(cage, "m")
    straight = 500 - 120
    # square bend: a quarter of a circle at the outside of the tube
    assert tape.at(bent.length) == pytest.approx(2 * straight + pi / 2 * (120 + 20))


def test_a_mark_reads_from_the_tip_and_not_from_the_node() -> None:
    trunk = Member(
        id="trunk", role="strut", tube=TUBE, path=CentreLine.straight((0, -400, 0), (0, 400, 0))
    )
    bar = Member(
        id="bar",
        role="strut",
        tube=TUBE,
        path=CentreLine.straight((0, 0, 0), (600, 0, 0)),
        a=End.coped("trunk"),
    )
    up = Member(
        id="up",
        role="strut",
        tube=TUBE,
        path=CentreLine.straight((300, 0, 0), (300, 100, 400)),
        a=End.coped("bar"),
    )
    (mark,) = set_out(Cage("c", [trunk, bar, up])).on("bar")
    # equal tubes, square: the cope's tips reach the trunk's axis, less the wall's hollow inside
    tip = 300 - (20 - 20)
    assert mark.tape == pytest.approx(tip, abs=0.01)
    # reference line on top, the branch to the left of up for one who looks along +x from end A
    assert mark.clock == pytest.approx(360 - np.degrees(np.arctan2(100, 400)), abs=0.01)
    assert mark.leans == ""
    # the saddle of equal square tubes is as wide as the branch
    assert mark.high - mark.low == pytest.approx(40, abs=0.2)


def test_a_tab_is_marked_where_it_stands() -> None:
    design = demos.design("track-roadster")
    tabs = [f for f in design.setting_out.fixings if f.kind == "tab"]
    assert len(tabs) == 4
    for f in tabs:
        member = design.fitted.members[f.parent]
        p, t, zero = walked(
            member.path,
            member.tube.outer_radius,
            design.fitted.cut(f.parent, "a").shortest,
            (f.low + f.high) / 2,
        )
        clock = radians(f.clock)
        way = cos(clock) * zero + sin(clock) * np.cross(t, zero)
        spot = p + member.tube.outer_radius * way
        plate = next(q for q in design.fitted.plates if q.id == f.plate)
        edge = plate.car_points(plate.outline.sampled(1.0), -plate.thickness / 2)
        assert float(np.linalg.norm(edge - spot, axis=1).min()) < 8.0
        assert hypot(*(f.point - spot)) < 12.0


def test_edges_are_those_of_the_whole_saddle(demo: tuple[Cage, SettingOut]) -> None:
    cage, out = demo
    shared = {j.id: j for j in cage.joints if len(j.parents) > 1}
    for m in out.landings:
        if m.joint not in shared:
            continue
        cut, tape = shared[m.joint].cut, Tape(cage, m.parent)
        phi = np.linspace(0.0, 2 * pi, 7200, endpoint=False)
        owner = [cut.surfaces[i].owner for i in cut.active(phi, cut.outer_radius)]
        rim = cut.points(phi, cut.outer_radius)[np.array(owner) == m.parent]
        reads = [tape.at(tape.path.station(p)) for p in rim]
        assert m.low == pytest.approx(min(reads), abs=0.2), m
        assert m.high == pytest.approx(max(reads), abs=0.2), m

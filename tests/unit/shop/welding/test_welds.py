"""Torch access, weld map and order of work."""

from __future__ import annotations

from dataclasses import replace as with_fields
from math import pi

import demos
import numpy as np
import pytest
from msgspec.structs import replace
from pieces import in_way, reach

from cagekit.assembly.assemble import members_only
from cagekit.cage.cage import Cage
from cagekit.cage.member import End, Member
from cagekit.car.shell import Boxed, Skin, box, surfaces
from cagekit.geometry.centre_line import CentreLine, Vec, unit, vec
from cagekit.inputs.resolve import load_build
from cagekit.inputs.tooling import Torch
from cagekit.materials.tubes import Tube
from cagekit.shop.papers.order import move_text, order_of_work
from cagekit.shop.welding.access import SPOTS, clash_with, rays_of
from cagekit.shop.welding.moves import Pose, Way
from cagekit.shop.welding.welds import WeldPlan, plan_welding

TUBE = Tube(od=40.0, wall=2.5, material="1020-dom")
TORCH = Torch()


class Wall:
    """Everything beyond a plane is wall."""

    def __init__(
        self, point: tuple[float, float, float], inward: tuple[float, float, float]
    ) -> None:
        self.point, self.inward = vec(point), unit(inward)

    @property
    def box(self) -> tuple[Vec, Vec]:
        return np.full(3, -np.inf), np.full(3, np.inf)

    def gap(self, points: Vec) -> Vec:
        return np.asarray((points - self.point) @ self.inward)

    def nearest(self, points: Vec) -> Vec:
        return points - self.gap(points)[:, None] * self.inward


def tee(*more: Member) -> Cage:
    trunk = Member(
        id="trunk", role="strut", tube=TUBE, path=CentreLine.straight((0, -800, 0), (0, 800, 0))
    )
    branch = Member(
        id="branch",
        role="strut",
        tube=TUBE,
        path=CentreLine.straight((0, 0, 0), (600, 0, 0)),
        a=End.coped("trunk"),
    )
    return Cage("tee", [trunk, branch, *more])


def reached(cage: Cage, shell: dict | None = None) -> float:
    return reach(cage, cage.joints[0], TORCH, present=cage.members, shell=shell or {}).share


def test_a_tee_in_the_open_is_reached_all_round() -> None:
    assert reached(tee()) == 1.0


def test_a_wall_close_above_hides_the_upper_half_and_only_that() -> None:
    cage = tee()
    found = reach(
        cage,
        cage.joints[0],
        TORCH,
        present=cage.members,
        shell={"roof": Wall((0, 0, 32), (0, 0, -1))},
    )
    assert not found.whole
    assert found.blocked_by[0] == "roof"
    hidden = found.points[~found.reached]
    assert len(hidden)
    assert (hidden[:, 2] > 0).all()
    assert found.reached[found.points[:, 2] < -5].all()


def test_the_farther_the_wall_the_more_is_reached_until_it_no_longer_matters() -> None:
    shares = [
        reached(tee(), {"roof": Wall((0, 0, z), (0, 0, -1))}) for z in (25, 60, 120, 200, 400)
    ]
    assert shares == sorted(shares)
    assert shares[0] < 1.0
    assert shares[-1] == 1.0


def test_a_tube_beside_the_joint_is_named() -> None:
    near = Member(
        id="near", role="strut", tube=TUBE, path=CentreLine.straight((45, -800, 45), (45, 800, 45))
    )
    cage = tee(near)
    stiff = Torch(work_angle=10)
    found = reach(cage, cage.joints[0], stiff, present=cage.members, shell={})
    assert not found.whole
    assert "near" in found.blocked_by
    away = reach(cage, cage.joints[0], stiff, present=["trunk", "branch"], shell={})
    assert away.whole


def test_a_thin_torch_reaches_more_than_a_thick_one() -> None:
    cage = tee()
    shell = {"roof": Wall((0, 0, 90), (0, 0, -1))}
    small = Torch(nozzle_diameter=12, body_diameter=20, nozzle_length=30, body_length=60)
    thick = reach(cage, cage.joints[0], TORCH, present=cage.members, shell=shell).share
    thin = reach(cage, cage.joints[0], small, present=cage.members, shell=shell).share
    assert thin > thick


def test_the_crotch_of_a_flat_angle_is_told_as_too_narrow() -> None:
    trunk = Member(
        id="trunk", role="strut", tube=TUBE, path=CentreLine.straight((0, -800, 0), (0, 800, 0))
    )
    way = unit((np.sin(np.radians(20)), np.cos(np.radians(20)), 0))
    branch = Member(
        id="branch",
        role="strut",
        tube=TUBE,
        path=CentreLine.straight((0, 0, 0), 700 * way),
        a=End.coped("trunk"),
    )
    cage = Cage("flat", [trunk, branch])
    found = reach(cage, cage.joints[0], TORCH, present=cage.members, shell={})
    assert 0 < found.tight < 0.5
    assert (~found.reached).sum() >= round(found.tight * SPOTS)


def pose(turn: float = 0.0, shift: tuple[float, float, float] = (0, 0, 0)) -> Pose:
    """A cage that is leaned about the middle between its feet, then shifted."""
    c, s = np.cos(turn), np.sin(turn)
    return Pose(
        way=Way.LEANED, amount=turn, lift=0.0, turn=np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]]),
        shift=vec(shift), pivot=vec((0, 0, 0)), moved=(), loose=(),
    )  # fmt: skip


def test_a_lowered_cage_has_more_room_below_the_roof() -> None:
    cage, roof = tee(), {"roof": Wall((0, 0, 32), (0, 0, -1))}
    there, lowered = (
        reach(cage, cage.joints[0], TORCH, present=cage.members, shell=roof, pose=p)
        for p in (None, pose(shift=(0, 0, -400)))
    )
    assert not there.whole
    assert lowered.whole
    assert lowered.points.tolist() == there.points.tolist()


def test_a_cage_leaned_forward_brings_its_top_forward_and_down() -> None:
    a = pi / 9
    top = pose(a).points(np.array([[0.0, 0.0, 1000.0]]))[0]
    assert top == pytest.approx([1000 * np.sin(a), 0.0, 1000 * np.cos(a)])
    high = [
        with_fields(
            m, path=CentreLine.straight(p.start + vec((0, 0, 1000)), p.end + vec((0, 0, 1000)))
        )
        for m, p in ((m, m.path) for m in tee().members.values())
    ]
    cage, roof = Cage("high", high), {"roof": Wall((0, 0, 1032), (0, 0, -1))}
    there, leaned = (
        reach(cage, cage.joints[0], TORCH, present=cage.members, shell=roof, pose=p)
        for p in (None, pose(a))
    )
    assert there.share < leaned.share


@pytest.mark.parametrize("moved", [False, True])
def test_what_stands_in_the_way_is_the_same_as_asked_piece_by_piece(moved: bool) -> None:
    """For boxes all over the place, which are told by their own box or by the torch's middles."""
    cage = tee()
    rays = rays_of(cage.joints[:1], TORCH)[0]
    if moved:
        rays = rays.moved(pose(0.3, (30, 0, -60)))
    rng = np.random.default_rng(7)
    solids: dict[str, Boxed] = {}
    for n in range(60):
        at = rng.uniform(-400, 400, 3)
        size = rng.uniform(5, 80, 3)
        solids[f"box {n}"] = box(tuple(at - size), tuple(at + size))
    found = rays.clashes(solids)
    assert {n: c.tolist() for n, c in found.items()} == {
        n: in_way(rays, s).tolist() for n, s in solids.items()
    }
    met = [c.any() for c in found.values()]
    assert 5 < sum(met) < 50


@pytest.mark.parametrize("name", demos.DEMOS)
def test_car_and_tubes_stand_in_the_way_as_asked_piece_by_piece(name: str) -> None:
    """The surfaces of a car, whose distance is told to first order, and the joint's own tubes."""
    build = demos.build(name)
    cage = demos.design(name).cage
    shell = {s.name: s.solid for s in surfaces(build.car)}
    hidden = 0
    joints = cage.joints[::5]
    for joint, rays in zip(joints, rays_of(joints, build.tooling.torch), strict=True):
        for there in (rays, rays.moved(pose(0.1, (40, 0, -50)))):
            found = there.clashes(shell)
            for surface, solid in shell.items():
                assert (found[surface] == in_way(there, solid)).all()
                hidden += found[surface].any() and isinstance(solid, Skin)
        for member in (joint.branch, *joint.parents):
            tube = cage.member(member)
            wall = Tubular(tube.path, tube.tube.outer_radius)
            assert (clash_with(cage, joint, rays, member) == in_way(rays, wall, own=True)).all()
    assert hidden > 0


class Tubular:
    """A tube as a solid."""

    def __init__(self, path: CentreLine, radius: float) -> None:
        self.path, self.radius = path, radius

    def gap(self, points: Vec) -> Vec:
        return self.path.distances(points) - self.radius

    def nearest(self, points: Vec) -> Vec:
        raise NotImplementedError


@pytest.fixture(scope="module")
def sprint() -> tuple[Cage, WeldPlan]:
    build = load_build("sprint-wagon")
    cage = members_only(build)
    return cage, plan_welding(cage, build.car, build.tooling.torch)


def test_every_joint_is_on_the_weld_map(sprint: tuple[Cage, WeldPlan]) -> None:
    cage, plan = sprint
    assert [w.joint.id for w in plan.welds] == [j.id for j in cage.joints]


def test_the_hidden_side_of_a_halo_is_welded_with_the_cage_leaned_before_it_is_held_back() -> None:
    """A halo on the hoop's legs, in the roof of the demo, told after the rear braces."""
    build = load_build("sprint-wagon")
    tubes = members_only(build).members
    hoop = tubes["main_hoop"]
    z = 889.0
    y = max(float(spot.point[1]) for spot in hoop.path.at_height(z))
    corners = [(0, y, z), (705, 462, z + 15), (705, -462, z + 15), (0, -y, z)]
    on_hoop = End.coped("main_hoop")
    halo = with_fields(
        tubes["halo"], path=CentreLine.from_polyline(corners, 150), a=on_hoop, b=on_hoop
    )
    braces = [with_fields(tubes[f"rear_brace_{side}"], a=on_hoop) for side in ("left", "right")]
    standing = [tubes["outrigger_left"], tubes["outrigger_right"], hoop]
    cage = Cage("halo", [*standing, *braces, halo])
    plan = plan_welding(cage, build.car, build.tooling.torch)
    welds = {(w.joint.branch, w.joint.branch_end): w for w in plan.welds}
    for end in ("a", "b"):
        assert welds["halo", end].way is Way.LEANED
        assert welds["halo", end].amount > 0, "leaned forward"
        assert "roof" in welds["halo", end].reach.blocked_by
    place = {m.id: i for i, s in enumerate(plan.stages) for m in s.members}
    assert place["halo"] < place["rear_brace_left"]
    (pose,) = (p for s in plan.stages for p, _ in s.moved)
    assert pose.loose == (("main_hoop", "a"), ("main_hoop", "b"))
    steps = order_of_work(cage, plan, units="in")
    (move,) = (m for s in steps for m in s.moves)
    assert "lean the cage forward about 10 degrees" in move_text(move, "in")
    drop = replace(move, way=Way.LOWERED, amount=50.0)
    assert "lower the cage about 2 in" in move_text(drop, "in")
    assert "lower the cage about 50 mm" in move_text(drop, "mm")


def test_feet_on_outriggers_are_nothing_to_move_the_cage_for(
    sprint: tuple[Cage, WeldPlan],
) -> None:
    cage, plan = sprint
    for w in plan.welds:
        if any(cage.members[p].role == "outrigger" for p in w.joint.parents):
            assert w.pose is None


def test_joints_that_later_tubes_hide_are_welded_before_those_go_in(
    sprint: tuple[Cage, WeldPlan],
) -> None:
    _, plan = sprint
    place = {m.id: i for i, s in enumerate(plan.stages) for m in s.members}
    hidden = [w for w in plan.welds if w.way is Way.BEFORE]
    assert hidden
    for weld in hidden:
        due = next(i for i, s in enumerate(plan.stages) if weld in s.first)
        assert due == min(place[m] for m in weld.before)

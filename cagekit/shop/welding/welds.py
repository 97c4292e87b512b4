"""Weld map: every joint of tubes, when and how it is welded all round in the car.

Tubes are fitted in groups, those with a hidden side first as soon as what they land on stands:
while nothing in front of them holds the cage down it can still be leaned, slid or lowered on its
tacks, if the car leaves room. A joint that later tubes would hide is welded before they go in.
A hidden joint waits for a later one, and tubes that would hide it wait too, so that the tacks are
broken as seldom as it goes.
What is left after that is told as the share of the saddle that no position lets this torch reach.
Fixed glass is out from the first tube to the last weld where a joint is welded all round only so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace

from cagekit.cage.cage import Cage, Joint
from cagekit.cage.member import EndKind, Member
from cagekit.car.shell import Boxed, ShellSurface, surfaces
from cagekit.errors import GeometryError
from cagekit.geometry.shapes import Capsule
from cagekit.inputs.car import Car
from cagekit.inputs.tooling import Torch
from cagekit.shop.welding.access import InWay, Rays, Reach, clash_with, rays_of, reach_past
from cagekit.shop.welding.breaks import Shown, fewest_breaks
from cagekit.shop.welding.moves import ANCHORED, Pose, Way, possible
from cagekit.units.tolerance import ROUNDING

EARLY = ("half_hoop", "front_hoop")
"""Roles with feet ahead of the main hoop that go in before what would hold the hoops down."""

OVERHEAD = ("roof", "windscreen")
"""Surfaces from which a cage on its tacks can be moved away."""


class Weld(Struct, frozen=True, kw_only=True, eq=False):
    """One joint of the weld map.

    Attributes:
        joint: the joint.
        way: how it is welded all round.
        reach: what the torch reaches in the finished cage, in the car.
        before: tubes that hide it: weld it before they go in.
        pose: position of the cage in which the hidden side is welded, where one is needed.
        best: share of the saddle that is reached the way that is proposed, 0 to 1.
    """

    joint: Joint
    way: Way
    reach: Reach
    before: tuple[str, ...] = ()
    pose: Pose | None = None
    best: float = 1.0

    @property
    def amount(self) -> float:
        """Drop or slide (mm, positive forward) or lean (rad, positive top forward); 0 without."""
        return self.pose.amount if self.pose else 0.0


class FitStage(Struct, frozen=True, kw_only=True, eq=False):
    """Tubes that are fitted and tacked together.

    Attributes:
        members: the tubes, in the order they go in.
        first: joints to finish all round before these tubes go in: they would hide them.
        waited_for: joints that were welded with the cage off its tacks, and that it would show in
            no position with these tubes in place: they waited for that.
        moved: positions of the cage off its tacks, each with the joints that are welded there.
    """

    members: tuple[Member, ...]
    first: tuple[Weld, ...] = ()
    waited_for: tuple[Weld, ...] = ()
    moved: tuple[tuple[Pose, tuple[Weld, ...]], ...] = ()


class WeldPlan(Struct, frozen=True, kw_only=True):
    """The weld map in the order of the joints, and the stages in which the cage is put up.

    ``glass_out`` names the fixed glass that is out of the car meanwhile.
    """

    welds: tuple[Weld, ...]
    stages: tuple[FitStage, ...]
    glass_out: tuple[str, ...] = ()


class _Site(Struct):
    """A cage going up in its car: what is asked of the torch again and again.

    ``standing`` is all of the car that a tube may run into, ``shell`` what of it is in the car.
    """

    cage: Cage
    standing: tuple[ShellSurface, ...]
    shell: Mapping[str, Boxed]
    frame: Mapping[str, Boxed]
    rays: Mapping[str, Rays]
    near: Mapping[str, frozenset[str]]
    seen: dict[tuple[str, frozenset[str]], Reach] = field(default_factory=dict)
    clashes: dict[tuple[str, str], InWay] = field(default_factory=dict)
    moves: dict[tuple[str, ...], tuple[Pose, ...]] = field(default_factory=dict)

    def reach(self, joint: Joint, present: Iterable[str], pose: Pose | None = None) -> Reach:
        """What the torch reaches with these tubes in place, in a position of the cage."""
        here = self.near[joint.id] & {*present, *self.cage.chassis}
        key = (joint.id, here)
        if pose is None and key in self.seen:
            return self.seen[key]
        rays = self.rays[joint.id]
        tubes = (*self.cage.members, *(() if pose else self.cage.chassis))
        in_way = {m: self.clash(joint, m) for m in tubes if m in here}
        if pose is None:
            new = {n: s for n, s in self.shell.items() if (joint.id, n) not in self.clashes}
            self.clashes.update({(joint.id, n): c for n, c in rays.clashes(new).items()})
            in_way |= {name: self.clashes[joint.id, name] for name in self.shell}
        else:
            in_way |= rays.moved(pose).clashes({**self.shell, **self.frame})
        found = reach_past(joint, rays, in_way)
        if pose is None:
            self.seen[key] = found
        return found

    def clash(self, joint: Joint, name: str) -> InWay:
        """Where a tube stands in the way of the torch at a joint."""
        key = (joint.id, name)
        if key not in self.clashes:
            self.clashes[key] = clash_with(self.cage, joint, self.rays[joint.id], name)
        return self.clashes[key]

    def poses(self, fitted: Sequence[str]) -> tuple[Pose, ...]:
        """Every move that the car leaves room for with these tubes in place, glass or not."""
        key = tuple(fitted)
        if key not in self.moves:
            self.moves[key] = possible(self.cage, fitted, self.standing)
        return self.moves[key]

    def allowed(self, fitted: Sequence[str]) -> list[Pose]:
        """Those of them that go through no glass that is in the car."""
        return [p for p in self.poses(fitted) if self.shell.keys().isdisjoint(p.glass)]

    def shown(self, joint: Joint, fitted: Sequence[str], pose: Pose) -> bool:
        """Whether a joint is reached all round in place and in a position of the cage."""
        there = self.reach(joint, fitted, pose)
        return bool((self.reach(joint, fitted).reached | there.reached).all())

    def without(self, glass: Iterable[str]) -> _Site:
        """The same with glass out of the car; what was asked of single tubes is kept."""
        out = set(glass)
        return replace(self, shell={n: s for n, s in self.shell.items() if n not in out}, seen={})

    def hidden(self, joint: Joint) -> bool:
        """Whether the roof hides a side of a joint with nothing but its own tubes there."""
        alone = self.reach(joint, (joint.branch, *joint.parents))
        return any(b in OVERHEAD for b in alone.blocked_by)

    def anchored(self, joint: Joint) -> bool:
        """Whether a joint holds the cage to steel that is welded to the car."""
        return any(self.cage.member(p).role in ANCHORED for p in joint.parents)


def weld_map(cage: Cage, car: Car, torch: Torch) -> tuple[Weld, ...]:
    """Work out the weld map of a cage in its car.

    Args:
        cage: the whole cage.
        car: shell that is in the way of the torch.
        torch: size and reach of the torch.
    """
    return plan_welding(cage, car, torch).welds


def plan_welding(cage: Cage, car: Car, torch: Torch) -> WeldPlan:
    """Work out in which order the tubes go in, and when each joint is welded all round.

    Args:
        cage: the whole cage.
        car: shell that is in the way of torch and tubes.
        torch: size and reach of the torch.

    Raises:
        GeometryError: a branch would have to be fitted before its parent.
    """
    standing = tuple(s for s in surfaces(car) if not s.moves and not s.trimmed)
    frame = {
        m.id: Capsule(m.path.start, m.path.end, m.tube.outer_radius) for m in cage.chassis.values()
    }
    fixed = (*standing, *(ShellSurface(name=n, solid=s) for n, s in frame.items()))
    joints = [j.id for j in cage.joints]
    rays = dict(zip(joints, rays_of(cage.joints, torch), strict=True))
    site = _Site(cage, fixed, {s.name: s.solid for s in standing}, frame, rays, _near(cage, torch))
    plan = _plan(site)
    wanted = _wanted_out(site, plan)
    if wanted:
        other = _plan(site.without(wanted))
        if _unreached(other) < _unreached(plan):
            return replace(other, glass_out=wanted)
    return plan


def _unreached(plan: WeldPlan) -> int:
    return sum(w.way is Way.PARTLY for w in plan.welds)


def _plan(site: _Site) -> WeldPlan:
    """The plan with what is in the car as the site says."""
    groups = _in_order(site)
    plan = _planned(site, groups)
    while better := next((p for p in _put_off(site, plan) if _cost(p) < _cost(plan)), None):
        plan = better
    return replace(plan, stages=tuple(_with_reasons(site, plan.stages, groups)))


def _cost(plan: WeldPlan) -> tuple[int, int]:
    """What makes one plan worse than another: joints not reached, then breaks of the tacks."""
    return _unreached(plan), sum(bool(s.moved) for s in plan.stages)


def _put_off(site: _Site, plan: WeldPlan) -> Iterable[WeldPlan]:
    """Plans in which tubes that go in between two breaks of the tacks wait for the later one."""
    groups = [s.members for s in plan.stages]
    broken = [i for i, s in enumerate(plan.stages) if s.moved]
    for last in broken[1:]:
        for i in range(broken[0] + 1, last):
            order = _later(groups, i, last)
            if order:
                yield _planned(site, order)


def _later(groups: Sequence[Sequence[Member]], i: int, last: int) -> list[Sequence[Member]] | None:
    """The groups with one, and what stands on it, after the last; None where that needs it."""
    off, ids = [groups[i]], {m.id for m in groups[i]}
    here: list[Sequence[Member]] = []
    for group in groups[i + 1 : last + 1]:
        if any(p in ids for m in group for _, e in m.ends for p in e.parents):
            off.append(group)
            ids |= {m.id for m in group}
        else:
            here.append(group)
    if off[-1] is groups[last]:
        return None
    return [*groups[:i], *here, *off, *groups[last + 1 :]]


def _with_reasons(
    site: _Site, stages: Sequence[FitStage], groups: Sequence[Sequence[Member]]
) -> Iterable[FitStage]:
    """The stages, those that were put off with the joints that they waited for."""
    due = {m.id: i for i, g in enumerate(groups) for m in g}
    before: list[FitStage] = []
    for stage in stages:
        first = min(due[m.id] for m in stage.members)
        fitted: list[str] = []
        hidden: list[Weld] = []
        for s in before:
            fitted += [m.id for m in s.members]
            if s.moved and any(due[m] > first for m in fitted):
                there = [*fitted, *(m.id for m in stage.members)]
                poses = site.allowed(there)
                hidden += [
                    w for _, welds in s.moved for w in welds
                    if not any(site.shown(w.joint, there, pose) for pose in poses)
                ]  # fmt: skip
        before.append(stage)
        yield replace(stage, waited_for=tuple(hidden))


def _planned(site: _Site, groups: Sequence[Sequence[Member]]) -> WeldPlan:
    """The plan when the groups go in in this order."""
    moved = fewest_breaks(_offers(site, groups))
    welds = _welds(site, groups, moved)
    place = {m.id: i for i, g in enumerate(groups) for m in g}
    first: list[list[Weld]] = [[] for _ in groups]
    for w in welds:
        if w.before:
            first[min(place[m] for m in w.before)].append(w)
    return WeldPlan(
        welds=tuple(welds),
        stages=tuple(
            FitStage(
                members=tuple(g),
                first=tuple(f),
                moved=tuple(
                    (pose, tuple(w for w in welds if w.joint.id in joints))
                    for pose, joints in moved.get(i, ())
                ),
            )
            for i, (g, f) in enumerate(zip(groups, first, strict=True))
        ),
    )


def _by_role(cage: Cage) -> list[list[Member]]:
    """Members that are fitted in one go: the same role one after another."""
    out: list[list[Member]] = []
    for member in cage.members.values():
        if out and out[-1][0].role == member.role:
            out[-1].append(member)
        else:
            out.append([member])
    return out


def _in_order(site: _Site) -> list[list[Member]]:
    """Groups in the order they go in: parents first, hidden ones as soon as they can."""
    cage = site.cage
    todo, out = _by_role(cage), []
    fitted: list[str] = []
    hidden = {j.branch for j in cage.joints if not site.anchored(j) and site.hidden(j)}
    first = _with_carriers(cage, [m.id for m in cage.members.values() if m.role == "main_hoop"])

    def rank(group: Sequence[Member]) -> int:
        if any(m.id in first for m in group):
            return -1  # everything is measured from the main hoop
        if group[0].role in EARLY:
            return 1
        if not any(m.id in hidden for m in group):
            return 3
        ends = [(e, m.path.end_point(n)) for m in group for n, e in m.ends]
        feet = [p for e, p in ends if e.kind is EndKind.FLAT]
        if not feet:
            return 0
        return 2 if all(float(p[0]) < 0.0 for p in feet) else 3

    while todo:
        ready = [g for g in todo if _stands(g, [*fitted, *cage.chassis])]
        if not ready:
            raise GeometryError(todo[0][0].id, "is fitted before a tube to which it is coped.")
        group = min(ready, key=rank)
        todo.remove(group)
        cut = _split(site, group, fitted)
        if cut < len(group):
            todo.insert(0, group[cut:])
            group = group[:cut]
        out.append(group)
        fitted += [m.id for m in group]
    return out


def _with_carriers(cage: Cage, ids: Sequence[str]) -> set[str]:
    """These tubes, those that they land on, and so on down to the car."""
    out, todo = set[str](), list(ids)
    while todo:
        id_ = todo.pop()
        if id_ in cage.members and id_ not in out:
            out.add(id_)
            todo += [p for _, e in cage.members[id_].ends for p in e.parents]
    return out


def _stands(group: Sequence[Member], fitted: Sequence[str]) -> bool:
    """Whether all that a group lands on is there, or comes before it in the group."""
    there = set(fitted)
    for m in group:
        if not {p for _, e in m.ends for p in e.parents} <= there:
            return False
        there.add(m.id)
    return True


def _split(site: _Site, group: Sequence[Member], fitted: Sequence[str]) -> int:
    """How many of a group go in before a joint is welded that the next one would hide."""
    every = [*fitted, *(m.id for m in group)]
    for i, m in enumerate(group[:-1]):
        now = [*fitted, *(q.id for q in group[: i + 1])]
        for joint in site.cage.joints:
            if joint.branch != m.id or site.reach(joint, every).whole:
                continue
            if site.reach(joint, now).whole:
                return i + 1
    return len(group)


def _wanted_out(site: _Site, plan: WeldPlan) -> tuple[str, ...]:
    """Fixed glass without which a joint is welded all round that is not reached with it in."""
    glass = [s.name for s in site.standing if s.glass and s.name in site.shell]
    bare = site.without(glass)
    fitted: list[str] = []
    wanted: set[str] = set()
    partly = [w.joint for w in plan.welds if w.way is Way.PARTLY and not site.anchored(w.joint)]
    for stage in plan.stages if glass else ():
        fitted += [m.id for m in stage.members]
        own = {m.id for m in stage.members}
        here = [(j, site.reach(j, fitted)) for j in partly if j.branch in own]
        poses = site.poses(fitted) if here else ()
        for joint, now in here:
            seen = now.reached | bare.reach(joint, fitted).reached
            if seen.all():
                wanted |= set(glass) & set(now.blocked_by)
                continue
            for pose in poses:
                if pose.glass and (seen | bare.reach(joint, fitted, pose).reached).all():
                    wanted |= {*pose.glass, *(set(glass) & set(now.blocked_by))}
                    break
    return tuple(g for g in glass if g in wanted)


def _offers(site: _Site, groups: Sequence[Sequence[Member]]) -> dict[int, Shown]:
    """By stage which hidden joints each position of the cage shows: its own and earlier ones."""
    out: dict[int, Shown] = {}
    fitted: list[str] = []
    waiting: list[Joint] = []
    for i, group in enumerate(groups):
        fitted += [m.id for m in group]
        own = _hidden(site, group, fitted)
        poses = site.allowed(fitted) if own else []
        shown = [(p, [j for j in own if site.shown(j, fitted, p)]) for p in poses]
        if not any(joints for _, joints in shown):
            continue
        for pose, joints in shown:
            joints += [j for j in waiting if site.shown(j, fitted, pose)]
        out[i] = [(pose, frozenset(j.id for j in joints)) for pose, joints in shown]
        waiting += [j for j in own if any(j in joints for _, joints in shown)]
    return out


def _hidden(site: _Site, group: Sequence[Member], fitted: Sequence[str]) -> list[Joint]:
    """Joints of a group that has just gone in of which the car hides a side."""
    own = {m.id for m in group}
    out = []
    for joint in site.cage.joints:
        if joint.branch in own and not site.anchored(joint):
            now = site.reach(joint, fitted)
            if not now.whole and any(b in site.shell for b in now.blocked_by):
                out.append(joint)
    return out


def _welds(
    site: _Site, groups: Sequence[Sequence[Member]], moved: Mapping[int, Shown]
) -> list[Weld]:
    """The weld map once the order and the moves are known."""
    place = {m.id: i for i, g in enumerate(groups) for m in g}
    last = max(moved, default=0)
    poses = {j: pose for stage in moved.values() for pose, joints in stage for j in joints}
    out = []
    for joint in site.cage.joints:
        done = site.reach(joint, site.cage.members)
        # what holds the cage to the car stays on its tacks until the last move is made
        stage = max(place[joint.branch], last) if site.anchored(joint) else place[joint.branch]
        now = site.reach(joint, [m.id for g in groups[: stage + 1] for m in g])
        later = tuple(m for m in done.blocked_by if m in place and place[m] > stage)
        if joint.id in poses:
            pose = poses[joint.id]
            out.append(Weld(joint=joint, way=pose.way, reach=done, pose=pose))
        elif done.whole:
            out.append(Weld(joint=joint, way=Way.IN_PLACE, reach=done))
        elif now.whole and later:
            out.append(Weld(joint=joint, way=Way.BEFORE, reach=done, before=later))
        else:
            gain = now.share > done.share + ROUNDING
            out.append(
                Weld(
                    joint=joint,
                    way=Way.PARTLY,
                    reach=done,
                    before=later if gain else (),
                    best=max(now.share, done.share),
                )
            )
    return out


def _near(cage: Cage, torch: Torch) -> dict[str, frozenset[str]]:
    """For each joint the tubes near enough for a torch there to touch them."""
    length = torch.stickout + torch.nozzle_length + torch.body_length + torch.body_diameter
    points = np.array([j.point for j in cage.joints]).reshape(-1, 3)
    close = {
        m.id: m.path.distances(points) < length + 2 * m.tube.od
        for m in (*cage.members.values(), *cage.chassis.values())
    }
    return {j.id: frozenset(m for m in close if close[m][i]) for i, j in enumerate(cage.joints)}


__all__ = ["FitStage", "Pose", "Way", "Weld", "WeldPlan", "plan_welding", "weld_map"]

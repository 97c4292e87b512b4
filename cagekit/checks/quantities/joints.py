"""Quantities of joints: nodes that miss each other, sharp angles, loose ends, collisions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product
from math import ceil, degrees
from typing import TYPE_CHECKING

import numpy as np

from cagekit.cage.cage import Joint
from cagekit.cage.collisions import Covered, Overlap, covered_welds, overlaps
from cagekit.cage.member import CHASSIS, EndKind, Member
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey
from cagekit.checks.quantities.ties import reached, ties_of
from cagekit.errors import NotFoundError
from cagekit.geometry.arrays import size3
from cagekit.geometry.cope import MISS_SHARE, near_axis
from cagekit.geometry.end_cut import EndCut
from cagekit.inputs.grind import MOST
from cagekit.units.tolerance import MICRON

if TYPE_CHECKING:
    from cagekit.inputs.build import Build

SHORT = 25.0
"""Wall left (mm) from which on a short tube is none that its copes could cut through."""
ROUND = 72
"""Lines along a tube, spaced round it, on which its wall and its seat are measured."""


@quantity("node_miss", "mm", "axes past each other in the node")
def node_miss(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far the axis of each coped end passes its parents' axes at the node."""
    for joint in s.cage.joints:
        cure = _to_node(s, joint) if joint.miss > MICRON else ""
        yield _at_node(joint, joint.miss, cure)


@quantity("joint_angle", "deg", "acute angle of the joint")
def joint_angle(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Acute angle between the axes of each coped end and its parent."""
    for joint in s.cage.joints:
        yield _at_node(joint, degrees(joint.angle))


@quantity("wall_between_copes", "mm", "wall left between its two copes")
def wall_between_copes(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Shortest wall left of a short straight tube between the copes of its ends.

    Measured along the tube, outside and inside; negative: the cuts meet and the tube falls apart,
    so that no solid can be made of it. Tubes with more than 25 mm left are not told of.
    """
    for m in s.cage.members.values():
        if len(m.path.pieces) > 1 or any(e.kind is not EndKind.COPE for _, e in m.ends):
            continue
        a, b = (s.cage.cut(m.id, end) for end in ("a", "b"))
        if m.path.length - a.longest - b.longest > SHORT:
            continue
        left = _between(a, b, m)
        if left < SHORT:
            evidence = Evidence.of(m.id, points=[m.path.points(np.array([m.path.length / 2]))[0]])
            yield Measure(subject=m.id, value=left, evidence=evidence)


def _between(a: EndCut, b: EndCut, member: Member) -> float:
    phi = np.linspace(0.0, 2 * np.pi, ROUND, endpoint=False)
    # the same line on the tube, counted from the other end's reference line
    way = np.outer(np.cos(phi), a.zero) + np.outer(np.sin(phi), a.side)
    other = np.arctan2(way @ b.side, way @ b.zero)
    bore = member.tube.outer_radius - member.tube.wall
    return min(
        float((member.path.length - a.trim(phi, rho) - b.trim(other, rho)).min())
        for rho in (member.tube.outer_radius, bore)
    )


@quantity("end_held", "flag", "end held")
def end_held(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Whether each end of each tube meets a tube, a plate, a pin or a swing-out bracket."""
    hung = {piece for door in s.cage.doors for piece in door.pieces}
    for m in s.cage.members.values():
        for name, end in m.ends:
            held = end.kind is not EndKind.FREE or m.id in hung
            evidence = Evidence.of(m.id, points=[m.path.end_point(name)])
            yield Measure(subject=f"{m.id} end {name}", value=held, evidence=evidence)


@quantity("stands_on_car", "flag", "stands on the car")
def stands_on_car(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Whether tubes that are joined stand on the car somewhere, by a foot or its own frame."""
    members, ties = s.cage.members, ties_of(s.cage)
    left = dict.fromkeys(members)
    standing = list[str]()
    while left:
        first = next(iter(left))
        met = [first, *reached(ties, first, past=members.__contains__)]
        group = [id_ for id_ in met if id_ in members]
        for id_ in group:
            del left[id_]
        # what is met and is no tube of the cage is of the car's own frame
        if len(group) < len(met) or any(_on_a_foot(members[id_]) for id_ in group):
            standing += group
        else:
            points = [members[id_].path.start for id_ in group]
            evidence = Evidence.of(*group, points=points)
            yield Measure(subject=first, value=False, evidence=evidence)
    if standing:
        yield Measure(subject="cage", value=True, evidence=Evidence.of(*standing))


def _on_a_foot(member: Member) -> bool:
    return any(end.kind is EndKind.FLAT for _, end in member.ends)


def _overlaps(s: Survey) -> list[Overlap]:
    return s.design.once("overlaps", lambda design: overlaps(design.cage))


@quantity("tube_gap", "mm", "gap between tubes")
def tube_gap(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How deep, negative, each pair of tubes that share steel without a joint lies in each other.

    A grinding note of the build takes what it says off one of the two.
    """
    found = _overlaps(s)
    for hit in found:
        noted = _noted(hit)
        yield Measure(
            subject=f"{hit.b.id} and {hit.a.id}",
            value=-hit.depth if hit.joined else hit.gap,
            evidence=Evidence.of(hit.b.id, hit.a.id, points=[hit.point]),
            met=f"A grinding note of {noted:g} mm stands." if hit.depth <= noted else "",
            text=f"{hit.depth:.1f} mm deep." if not hit.joined else "",
            cure=_cure(hit, noted, _split_by(s, hit, found)),
        )
    if not found:
        yield Measure(
            subject="cage", value=True, met="None meet.", label="tubes clear of each other"
        )


@quantity("grind_used", "flag", "grinding note")
def grind_used(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Whether each grinding note of the build has something to grind.

    One that speaks of a whole bar, or of a role, has where one of its tubes does.
    """
    members = s.cage.members.values()
    build = _build(s) if any(m.grind for m in members) else None
    pairs = {(x.id, y.id) for h in _overlaps(s) for x, y in ((h.a, h.b), (h.b, h.a))}
    for note in build.file.grind if build else ():
        ground, met = ([m.id for m in members if n in m.names] for n in (note.tube, note.at))
        if ground and met:  # what is left out rests
            used = not pairs.isdisjoint(product(ground, met))
            evidence = Evidence.of(*ground)
            yield Measure(subject=f"{note.tube} at {note.at}", value=used, evidence=evidence)


@quantity("weld_covered", "mm", "weld under a later tube")
def weld_covered(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Length of each weld that lies under a tube which is fitted after it.

    A weld within half a wall of that tube counts: its bead is in the way.
    """
    for c in covered_welds(s.cage):
        end = f"{c.joint.branch} end {c.joint.branch_end}"
        yield Measure(
            subject=f"{end} under {c.by.id}",
            value=c.length,
            evidence=Evidence.of(c.joint.branch, c.by.id, points=[c.point]),
            met=f"{c.by.id} is coped to it: weld and dress it first." if c.seated else "",
            cure=_uncover(c, end),
        )


@quantity("seat_missed", "ratio", "share of the edge beside its parents")
def seat_missed(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Share of the circumference of each coped end that touches none of its parents."""
    for joint in s.cage.joints:
        yield _at_node(joint, joint.cut.miss_share)


@quantity("seat_gap", "mm", "widest gap under the edge")
def seat_gap(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Widest gap between the rim of each coped end and the parent that it hangs beside."""
    for joint in s.cage.joints:
        yield _at_node(joint, joint.cut.miss_gap)


def _at_node(joint: Joint, value: float, cure: str = "") -> Measure:
    evidence = Evidence.of(joint.branch, *joint.parents, points=[joint.point])
    subject = f"{joint.branch} end {joint.branch_end}"
    return Measure(subject=subject, value=value, evidence=evidence, cure=cure)


def _to_node(s: Survey, joint: Joint) -> str:
    """Where the axes of two parents of an end meet, one being coped to the other; else nothing."""
    parents = set(joint.parents)
    meet = [o for o in s.cage.joints if o.branch in parents and parents & set(o.parents)]
    if not meet:
        return ""
    node = min(meet, key=lambda o: size3(o.point - joint.point))
    x, y, z = node.point
    return (
        f"Move {joint.branch} end {joint.branch_end} to where the axes of "
        f"{min(parents & set(node.parents))} and {node.branch} meet: x {x:.1f} mm, y {y:.1f} mm, "
        f"z {z:.1f} mm."
    )


def _noted(hit: Overlap) -> float:
    """How deep the build's notes let two tubes be ground where they meet, mm.

    Away from the ends of both no more than half of the thinner wall.
    """
    noted = max(hit.a.ground_for(hit.b), hit.b.ground_for(hit.a))
    return noted if hit.joined else min(noted, min(hit.a.tube.wall, hit.b.tube.wall) / 2)


def _uncover(c: Covered, end: str) -> str:
    return (
        f"Weld {end} and dress it flush before {c.by.id} goes in, and cope {c.by.id} to "
        f"{c.joint.branch} as well; or move its end along the tube it sits on."
    )


def _split_by(s: Survey, hit: Overlap, found: Sequence[Overlap]) -> list[str]:
    """All that the later tube is to be cut by: what its entry names, and each that it runs into."""
    build = _build(s)
    entries = build.entries if build else ()
    said = (n for e in entries if e.id == hit.b.entry for n in getattr(e, "split_by", ()))
    others = (h.a.bar for h in found if _entry(h.b) == _entry(hit.b) and _can_part(h))
    return list(dict.fromkeys([*said, *others]))


def _build(s: Survey) -> Build | None:
    """The build; None of a cage without a file."""
    try:
        return s.build
    except NotFoundError:
        return None


def _entry(member: Member) -> str:
    """What a file calls the entry that made a tube."""
    return member.entry or member.id


def _can_part(hit: Overlap) -> bool:
    """Whether the later tube can be cut where the other runs through."""
    return _crosses(hit) and _beside(hit.b.tube.outer_radius, hit.a, _past(hit)) <= MISS_SHARE


def _crosses(hit: Overlap) -> bool:
    """Whether the later tube is a straight one that a file can have cut by the other."""
    return _of_members(hit) and not hit.joined and not hit.b.path.bends


def _past(hit: Overlap) -> float:
    """How far the axes of two straight tubes pass each other, mm."""
    return hit.b.tube.outer_radius + hit.a.tube.outer_radius + hit.gap


def _beside(radius: float, parent: Member, past: float) -> float:
    """Share of the circumference of a tube of ``radius`` mm that would stand beside its parent.

    Its axis passes the parent's by ``past`` mm; with more than ``MISS_SHARE`` it is not coped.
    """
    across = past + radius * np.sin(np.linspace(0.0, 2 * np.pi, ROUND, endpoint=False))
    return float((np.abs(across) > parent.tube.outer_radius + MICRON).mean())


def _with(hit: Overlap) -> str:
    """What it takes that the later tube can be cut by the other, where it cannot be as it is."""
    own, parent = hit.b.tube.outer_radius, hit.a.tube.outer_radius
    wants = []
    if _beside(own, hit.a, 0.0) > MISS_SHARE:
        own = parent
        wants.append(f"a tube of {2 * parent:.1f} mm or less")
    if _beside(own, hit.a, _past(hit)) > MISS_SHARE:
        wants.append(f"its axis within {near_axis(own, parent):.1f} mm of that of {hit.a.bar}")
    return " and ".join(wants)


def _of_members(hit: Overlap) -> bool:
    """Whether a file has an entry for both."""
    return not {*_fittings(), CHASSIS} & {hit.a.role, hit.b.role}


def _fittings() -> set[str]:
    """Roles of bolted joints and their bolts, which no entry of a member makes."""
    from cagekit.cage.bolted import BOLT, CLEVIS, PLUG, SLEEVE

    return {SLEEVE, CLEVIS, PLUG, BOLT}


def _cure(hit: Overlap, noted: float, split_by: Sequence[str]) -> str:
    """What a builder can do about it; the later tube is the one to change.

    Tubes are called what a file may call them: a piece by its bar, a bar by its entry.
    """
    ways = []
    clear = f"move {hit.b.bar} {-hit.gap:.1f} mm clear"
    if CHASSIS in (hit.a.role, hit.b.role):
        there, made = (hit.a, hit.b) if hit.a.role == CHASSIS else (hit.b, hit.a)
        ways.append(
            f"Move {made.bar} clear, or end it on {there.id}, which is the car's own; where "
            f"{there.id} is cut to let it pass, measure what is left as [[chassis.tube]]"
        )
    elif hit.joined:
        ways.append(
            f"Move the end of {hit.b.id} along the tube it sits on, away from {hit.a.id}, or to "
            "the same node, so that it is coped to both"
        )
    elif not _of_members(hit):
        joint, other = (hit.a, hit.b) if hit.a.role in _fittings() else (hit.b, hit.a)
        ways.append(
            f"Move the joint ({joint.bar}) along its tube by its `at`, `turn` its bolts, or move "
            f"{other.bar} clear"
        )
    elif _can_part(hit):
        names = ", ".join(f'"{name}"' for name in split_by)
        ways.append(
            f"Let them meet: [members.{_entry(hit.b)}] split_by = [{names}], so that it is cut and "
            f"coped there; or {clear}"
        )
    elif _crosses(hit):
        ways.append(
            f"M{clear[1:]}; or let them meet: with {_with(hit)} it can be cut and coped there by "
            "`split_by`"
        )
    else:
        ways.append(f"M{clear[1:]}")
    half = MOST if hit.joined else min(hit.a.tube.wall, hit.b.tube.wall) / 2
    if _of_members(hit) and noted < hit.depth <= min(MOST, half):
        ways.append(
            f'or accept that it is ground: [[grind]] tube = "{hit.b.bar}", at = "{hit.a.bar}", '
            f'depth = "{ceil(hit.depth * 10) / 10:g} mm"'
        )
    return "; ".join(ways) + "."

"""Quantities of joints: nodes that miss each other, sharp angles, loose ends, collisions."""

from __future__ import annotations

from collections.abc import Iterator
from math import degrees

import numpy as np

from cagekit.cage.cage import Cage
from cagekit.cage.member import EndKind
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.collisions import Overlap, overlaps
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey


@quantity("node_miss", "mm", "axes past each other in the node")
def node_miss(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far the axis of each coped end passes its parents' axes at the node."""
    for joint in s.cage.joints:
        out = s.cage.member(joint.branch).path.out_direction(joint.branch_end)
        gap = max(_gap(s.cage, p, joint.point, out) for p in joint.parents)
        evidence = Evidence.of(joint.branch, *joint.parents, points=[joint.point])
        subject = f"{joint.branch} end {joint.branch_end}"
        yield Measure(subject=subject, value=gap, evidence=evidence)


def _gap(cage: Cage, parent: str, node: np.ndarray, out: np.ndarray) -> float:
    """Distance between a branch's axis and a parent's axis at the node, mm."""
    spot = cage.member(parent).path.nearest(node)
    across = np.cross(out, spot.tangent)
    size = float(np.linalg.norm(across))
    way = node - spot.point
    return float(abs(way @ across) / size) if size > 1e-6 else float(np.linalg.norm(way))


@quantity("joint_angle", "deg", "acute angle of the joint")
def joint_angle(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Acute angle between the axes of each coped end and its parent."""
    for joint in s.cage.joints:
        evidence = Evidence.of(joint.branch, *joint.parents, points=[joint.point])
        subject = f"{joint.branch} end {joint.branch_end}"
        yield Measure(subject=subject, value=degrees(joint.angle), evidence=evidence)


@quantity("end_held", "flag", "end held")
def end_held(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Whether each end of each tube meets a tube, a plate, a pin or a swing-out bracket."""
    hung = {piece for door in s.cage.doors for piece in door.pieces}
    for m in s.cage.members.values():
        for name, end in m.ends:
            held = end.kind is not EndKind.FREE or m.id in hung
            evidence = Evidence.of(m.id, points=[m.path.end_point(name)])
            yield Measure(subject=f"{m.id} end {name}", value=held, evidence=evidence)


@quantity("tube_gap", "mm", "gap between tubes")
def tube_gap(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Gap, negative, of each pair of tubes that run into each other without a joint."""
    found = overlaps(s.cage)
    for hit in found:
        yield Measure(
            subject=f"{hit.b.id}, {hit.a.id}",
            value=-hit.depth if hit.joined else hit.gap,
            evidence=Evidence.of(hit.b.id, hit.a.id, points=[hit.point]),
            cure=_cure(hit),
        )
    if not found:
        yield Measure(
            subject="cage", value=True, met="None meet.", label="tubes clear of each other"
        )


def _cure(hit: Overlap) -> str:
    """What a builder can do about it; the later tube is the one to change."""
    if hit.joined:
        return f"Move the end of {hit.b.id} along the tube it sits on, away from {hit.a.id}."
    return (
        f'Let them meet: give {hit.b.id} split_by = ["{hit.a.id}"], so that it is cut and coped '
        f"there; or move it {-hit.gap:.0f} mm clear."
    )

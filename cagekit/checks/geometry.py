"""The geometry group: nodes that miss each other, sharp joints, loose ends, collisions."""

from __future__ import annotations

from collections.abc import Iterator
from math import degrees

import numpy as np

from cagekit.cage.cage import CONCENTRIC, Cage
from cagekit.cage.member import EndKind
from cagekit.checks.collisions import GROUP, collisions
from cagekit.checks.finding import Certainty, Evidence, Finding, Status
from cagekit.checks.gather import gathered
from cagekit.design import Design

SHARP = 30.0
"""Acute angle of a joint, degrees, below which the heel is hard to weld. Source: common practice;
AWS D1.1 asks for a special procedure below 30 degrees (from memory)."""


def findings(design: Design) -> list[Finding]:
    """Hold every joint and end against what can be welded and carried."""
    cage = design.cage
    return gathered([*_nodes(cage), *_angles(cage), *_loose_ends(cage), *collisions(cage)])


def _nodes(cage: Cage) -> Iterator[Finding]:
    """Axes of a branch and its parents meet in the node, unless the builder offsets them."""
    for joint in cage.joints:
        out = cage.member(joint.branch).path.out_direction(joint.branch_end)
        gap = max(_gap(cage, p, joint.point, out) for p in joint.parents)
        yield Finding(
            code="geometry/node",
            group=GROUP,
            subject=f"{joint.branch} end {joint.branch_end}",
            quantity="axes past each other in the node",
            status=Status.PASS if joint.concentric else Status.WARN,
            measured=gap,
            op="<=",
            limit=CONCENTRIC,
            unit="mm",
            source="common practice",
            certainty=Certainty.COMMON_PRACTICE,
            evidence=Evidence.of(joint.branch, *joint.parents, points=[joint.point]),
            cure="" if joint.concentric else "Move the end to where the axes of its parents meet.",
            text="Tubes that meet in a node share one point, so that none bends the others.",
        )


def _gap(cage: Cage, parent: str, node: np.ndarray, out: np.ndarray) -> float:
    """Distance between a branch's axis and a parent's axis at the node, mm."""
    spot = cage.member(parent).path.nearest(node)
    across = np.cross(out, spot.tangent)
    size = float(np.linalg.norm(across))
    way = node - spot.point
    return float(abs(way @ across) / size) if size > 1e-6 else float(np.linalg.norm(way))


def _angles(cage: Cage) -> Iterator[Finding]:
    """Sharp joints are hard to weld at the heel."""
    for joint in cage.joints:
        angle = degrees(joint.angle)
        good = angle >= SHARP - 1e-6
        yield Finding(
            code="geometry/joint-angle",
            group=GROUP,
            subject=f"{joint.branch} end {joint.branch_end}",
            quantity="acute angle of the joint",
            status=Status.PASS if good else Status.WARN,
            measured=angle,
            op=">=",
            limit=SHARP,
            unit="deg",
            source="common practice; AWS D1.1",
            certainty=Certainty.FROM_MEMORY,
            evidence=Evidence.of(joint.branch, *joint.parents, points=[joint.point]),
            cure="" if good else "Move the far end so that the tubes meet less sharply.",
            text="In a joint sharper than 30 degrees the torch does not reach the heel.",
        )


def _loose_ends(cage: Cage) -> Iterator[Finding]:
    """A tube whose end meets nothing carries nothing."""
    for m in cage.members.values():
        for name, end in m.ends:
            loose = end.kind is EndKind.FREE and not _swings(cage, m.id)
            yield Finding(
                code="geometry/loose-end",
                group=GROUP,
                subject=f"{m.id} end {name}",
                quantity="end held",
                status=Status.WARN if loose else Status.PASS,
                measured=not loose,
                op="=",
                limit=True,
                source="common practice",
                certainty=Certainty.COMMON_PRACTICE,
                evidence=Evidence.of(m.id, points=[m.path.end_point(name)]),
                cure="Give the end a place on a member or on the car." if loose else "",
                text="Every tube ends on another tube, on a plate or on a pin.",
            )


def _swings(cage: Cage, member: str) -> bool:
    """Whether a member is a piece of a swing-out bar, whose ends brackets hold."""
    return any(member in door.pieces for door in cage.doors)

"""The corner between two tubes that a gusset is fitted into."""

from __future__ import annotations

from math import acos, degrees, pi
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from cagekit.cage.member import EndName
from cagekit.errors import GeometryError, InputError
from cagekit.geometry.arrays import cross3
from cagekit.geometry.centre_line import CentreLine, Vec, unit
from cagekit.geometry.outline import Vec2
from cagekit.hints import did_you_mean
from cagekit.inputs.places import TubeEnd

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage, Joint

SHARPEST = 0.35
"""Least angle of the corner (rad, 20 degrees) that a gusset can be welded into."""
FLATTEST = pi - 0.26
"""Largest angle of the corner (rad, 165 degrees) that a gusset does anything in."""


class Corner(Struct, frozen=True, kw_only=True, eq=False):
    """The corner of a joint on the side of one parent arm.

    Args:
        branch, parent: ids of the tubes.
        end: end of the branch.
        node: where the axes meet, ``(3,)`` mm.
        along: unit direction of the parent's arm, ``(3,)``.
        across: unit vector square to it in the plane of the axes, towards the branch, ``(3,)``.
        angle: between the two arms, rad.
        branch_path, parent_path: centre lines, each running away from the node.
        branch_radius, parent_radius: outside radii, mm.
    """

    branch: str
    parent: str
    end: str
    node: Vec
    along: Vec
    across: Vec
    angle: float
    branch_path: CentreLine
    parent_path: CentreLine
    branch_radius: float
    parent_radius: float

    @property
    def name(self) -> str:
        """The joint in words."""
        return f"{self.branch} end {self.end} on {self.parent}"

    @property
    def normal(self) -> Vec:
        """Unit normal of the plane of the axes, ``(3,)``."""
        return cross3(self.along, self.across)

    def flat(self, point: Vec) -> Vec2:
        """A point in the plane's coordinates (along, across) from the node, ``(2,)``."""
        w = point - self.node
        return np.array([w @ self.along, w @ self.across])

    @classmethod
    def of(
        cls,
        cage: Cage,
        joint: Joint,
        way: EndName,
        reach: tuple[float, float] = (100.0, 100.0),
    ) -> Corner:
        """The corner of a joint between the branch and the parent's arm towards its end ``way``.

        ``reach`` is how far along branch and parent the plate goes, mm: on a bent tube the arm
        is the chord over that reach.

        Args:
            cage: the cage.
            joint: the joint.
            way: which end of the parent.
            reach: mm along branch and parent.

        Raises:
            GeometryError: the corner is too sharp or too flat, or the parent ends there.
        """
        branch, parent = cage.member(joint.branch), cage.member(joint.parents[0])
        spot = parent.path.nearest(joint.point)
        sign = 1.0 if way == "b" else -1.0
        far = parent.path.points(spot.station + sign * reach[1])[0] - spot.point
        arm = unit(far) if float(np.linalg.norm(far)) > 1.0 else sign * spot.tangent
        start = 0.0 if joint.branch_end == "a" else branch.path.length
        inward = 1.0 if joint.branch_end == "a" else -1.0
        away = unit(branch.path.points(start + inward * reach[0])[0] - branch.path.points(start)[0])
        angle = acos(float(np.clip(away @ arm, -1.0, 1.0)))
        owner = f"gusset at {joint.branch} end {joint.branch_end}"
        if not SHARPEST <= angle <= FLATTEST:
            raise GeometryError(
                owner,
                f"the corner towards end {way} of {parent.id} is {degrees(angle):.0f} degrees "
                f"(allowed: {degrees(SHARPEST):.0f} to {degrees(FLATTEST):.0f}).",
                "Put it on the other side of the branch.",
            )
        ends = (0.0, spot.station) if way == "a" else (spot.station, parent.path.length)
        if ends[1] - ends[0] < 1.0:
            raise GeometryError(owner, f"{parent.id} ends at the node on that side.")
        part = parent.path.part(*ends)
        return cls(
            branch=branch.id,
            parent=parent.id,
            end=joint.branch_end,
            node=spot.point,
            along=unit(arm),
            across=unit(away - (away @ arm) * arm),
            angle=angle,
            branch_path=branch.path if joint.branch_end == "a" else branch.path.reversed(),
            parent_path=part if way == "b" else part.reversed(),
            branch_radius=branch.tube.outer_radius,
            parent_radius=parent.tube.outer_radius,
        )


def joints_at(cage: Cage, at: TubeEnd | None, where: str) -> tuple[Joint, ...]:
    """The joints an entry's ``at`` means: ``rear_brace_left end a`` or ``rear_brace end a``.

    A tube that comes apart answers to its own name too, not to those of its pieces alone. The name
    of a tube means that tube, also where others of its kind, as those that cross it, share it.

    Args:
        cage: the cage.
        at: what the entry names.
        where: what a message names.

    Raises:
        InputError: nothing is named, or no tube is coped there.
    """
    if at is None:
        raise InputError(where, "at", problem="is missing.", hint="e.g. `rear_brace end a`.")
    branches = [(j, cage.member(j.branch)) for j in cage.joints if j.branch_end == at.end]
    own = tuple(j for j, m in branches if at.tube in (m.id, m.bar))
    found = own or tuple(j for j, m in branches if at.tube in m.names)
    if not found:
        known = [f"{j.branch} end {j.branch_end}" for j in cage.joints]
        raise InputError(
            where,
            "at",
            str(at),
            problem="no tube is coped there.",
            hint=did_you_mean(str(at), known, what="Coped ends"),
        )
    return found

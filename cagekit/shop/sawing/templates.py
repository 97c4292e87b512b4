"""Wrap-around templates: the cope of a tube end unrolled on paper at true size.

On the sheet, ``x`` runs round the tube from the reference line, right-handed about the direction
out of the tube (to the right when the tip points up); ``y`` runs down from the end of the blank.
The paper lies outside the tube, so it wraps on a circle larger by its own thickness.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees, pi

import numpy as np

from cagekit.cage.cage import Cage
from cagekit.cage.member import EndKind, EndName, Member
from cagekit.geometry.centre_line import Vec
from cagekit.geometry.contact import CylinderPiece
from cagekit.geometry.cope import EndCut
from cagekit.materials.tubes import Tube

SAMPLES = 360
SKIRT = 26.0
"""Paper below the deepest point of the cut (mm), so that its straight edge meets itself."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Template:
    """The template of one end.

    Attributes:
        member: id of the tube.
        end: the end.
        tube: its size.
        parents: what it is cut to: ids of tubes, or nothing for a plate.
        width: once round the tube on paper, mm.
        height: from the end of the blank to the straight edge of the paper, mm.
        outer: line to cut to, ``(n, 2)`` x and y, mm, closed round the tube.
        inner: the same on the inside of the wall, ``(n, 2)`` mm.
        reference: how to find the reference line on the tube.
        deepest: where the cut is deepest, degrees round from the reference line.
        node: from the end of the blank to the theoretical end, along the tube, mm.
    """

    member: str
    end: EndName
    tube: Tube
    parents: tuple[str, ...]
    width: float
    height: float
    outer: Vec
    inner: Vec
    reference: str
    deepest: float
    node: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ordinates:
    """Depths of the cut from the end of the blank at even stations round the tube, mm."""

    member: str
    end: EndName
    angles: tuple[float, ...]
    depths: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SawSetting:
    """How to notch an end with a hole saw or an end mill; ``reason`` says why not.

    ``angle`` is between the tube's axis and the saw's (rad), ``offset`` the distance of the two
    axes (mm), ``diameter`` the saw's, ``depth`` how far it cuts along the tube's axis,
    ``position`` from the end of the blank to where the two axes pass, ``clock`` the direction of
    the saw's axis round from the reference line, degrees.
    """

    member: str
    end: EndName
    angle: float
    offset: float
    diameter: float
    depth: float
    position: float
    clock: float
    reason: str = ""


def templates(cage: Cage, paper_thickness: float) -> tuple[Template, ...]:
    """The templates of every end that is not cut square, in build order."""
    return tuple(
        template(cage, member, name, paper_thickness)
        for member in cage.members.values()
        for name, _ in member.ends
        if not is_square(cage.cut(member.id, name))
    )


def is_square(cut: EndCut) -> bool:
    """Whether an end is cut square, so that a saw does it."""
    return not cut.parents and cut.longest - cut.shortest < 0.05


def template(cage: Cage, member: Member, end: EndName, paper_thickness: float) -> Template:
    """Unroll one end on paper of a thickness, mm.

    Args:
        cage: the whole cage.
        member: the tube.
        end: ``a`` or ``b``.
        paper_thickness: of the paper that is wrapped, mm.
    """
    cut = cage.cut(member.id, end)
    width = pi * (member.tube.od + paper_thickness)
    outer, inner = (
        _unrolled(curve, width, cut.shortest)
        for curve in (cut.outer_curve(SAMPLES), cut.inner_curve(SAMPLES))
    )
    deep = int(np.argmax(outer[:, 1]))
    return Template(
        member=member.id,
        end=end,
        tube=member.tube,
        parents=member.end(end).parents,
        width=width,
        height=cut.longest - cut.shortest + SKIRT,
        outer=outer,
        inner=inner,
        reference=reference_text(member),
        deepest=float(outer[deep, 0] / width * 360.0) % 360.0,
        node=-cut.shortest,
    )


def _unrolled(curve: Vec, width: float, tip: float) -> Vec:
    closed = np.vstack([curve, curve[:1] + np.array([2 * pi, 0.0])])
    return np.column_stack([closed[:, 0] * (width / (2 * pi)), closed[:, 1] - tip])


def reference_text(member: Member) -> str:
    """How to find the line on the tube from which both ends are measured."""
    if member.path.bends:
        return "outside (back) of the first bend from end a"
    direction = member.path.out_direction("b")
    return (
        "front of the tube as fitted" if abs(direction[2]) > 0.99 else "top of the tube as fitted"
    )


def ordinates(cage: Cage, member_id: str, end: EndName, stations: int) -> Ordinates:
    """Depths at even stations round the tube, for those who grind to a line.

    Args:
        cage: the whole cage.
        member_id: id of the tube.
        end: ``a`` or ``b``.
        stations: number of ordinates around the tube.
    """
    cut = cage.cut(member_id, end)
    phi = np.arange(stations) * (2 * pi / stations)
    depth = cut.trim(phi, np.full(stations, cut.outer_radius)) - cut.shortest
    return Ordinates(
        member=member_id,
        end=end,
        angles=tuple(float(a) for a in np.degrees(phi)),
        depths=tuple(float(d) for d in depth),
    )


def saw_setting(cage: Cage, member_id: str, end: EndName) -> SawSetting:
    """The hole saw that makes an end, by geometry alone; ``reason`` is set when none does.

    Args:
        cage: the whole cage.
        member_id: id of the tube.
        end: ``a`` or ``b``.
    """
    member = cage.member(member_id)
    cut = cage.cut(member_id, end)
    how = member.end(end)
    surfaces = cut.surfaces[: cut.count]
    used = sorted({int(i) for i in cut.active(np.arange(180) * (pi / 90), cut.outer_radius)})
    reason = ""
    if how.kind is not EndKind.COPE:
        reason = "stands on a plate: saw it at the angle"
    elif len(how.parents) > 1:
        reason = "several tubes meet here: use the template"
    elif len(used) != 1 or not isinstance(surfaces[used[0]], CylinderPiece):
        reason = "lands on a bend: use the template"
    if reason:
        return SawSetting(
            member=member_id,
            end=end,
            angle=0.0,
            offset=0.0,
            diameter=0.0,
            depth=0.0,
            position=0.0,
            clock=0.0,
            reason=reason,
        )
    seat = surfaces[used[0]]
    assert isinstance(seat, CylinderPiece)
    across = seat.axis - (seat.axis @ cut.out) * cut.out
    clock = degrees(float(np.arctan2(across @ cut.side, across @ cut.zero))) % 180.0
    return SawSetting(
        member=member_id,
        end=end,
        angle=cut.angle,
        offset=cut.offset,
        diameter=2 * seat.radius,
        depth=cut.longest - cut.shortest,
        position=-cut.shortest,
        clock=clock,
    )

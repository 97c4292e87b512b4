"""Wrap-around templates: the cope of a tube end unrolled on paper at true size.

On the sheet, ``x`` runs round the tube from the reference line, right-handed about the direction
out of the tube (to the right when the tip points up); ``y`` runs down from the end of the blank.
The paper lies outside the tube, so it wraps on a circle larger by its own thickness.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby
from math import degrees, inf, pi

import numpy as np
from msgspec import Struct

from cagekit.cage.cage import Cage
from cagekit.cage.collisions import grinds
from cagekit.cage.member import EndName, Member
from cagekit.geometry.centre_line import Line, Vec
from cagekit.geometry.contact import CylinderPiece, PlaneFace
from cagekit.geometry.cope import EndCut
from cagekit.geometry.drill import Drill
from cagekit.geometry.end_cut import contacts, in_step, measure
from cagekit.materials.tubes import Tube
from cagekit.units.tolerance import SQUARE

SAMPLES = 360
GRIND_BY = 4.0
"""A grinding note stands on the template of an end within so many diameters of it."""
HOLE_SKIRT = 26.0
"""Paper beyond a hole, mm, so that the sheet's text stands clear of it."""
SKIRT = 26.0
"""Paper below the deepest point of the cut (mm), so that its straight edge meets itself."""


class Template(Struct, frozen=True, kw_only=True, eq=False):
    """The template of one end.

    Attributes:
        member: id of the tube.
        end: the end.
        tube: its size.
        parents: what it is cut to: ids of tubes, or nothing for a plate.
        width: once round the tube on paper, mm.
        height: from the end of the blank to the straight edge of the paper, mm.
        depth: from the end of the blank to the deepest spot of the cut, mm.
        outer: line to cut to, ``(n, 2)`` x and y, mm, closed round the tube.
        inner: the same on the inside of the wall, ``(n, 2)`` mm.
        reference: how to find the reference line on the tube.
        deepest: clock of the deep side, degrees round from the reference line, 0 to 360.
        square: whether the end is cut square, so that it has no deep side.
        node: from the end of the blank to the theoretical end, along the tube, mm.
        holes: edges of what is drilled through the tube near this end, closed lines round the
            tube like ``outer``, ``(n, 2)`` mm each.
        shares: of an end on several tubes, what it touches of each but the first: id and the clock
            there, from and to, degrees; once for each stretch.
        grind: names of tubes near this end that the tube is ground for, and how deep, mm.
    """

    member: str
    end: EndName
    tube: Tube
    parents: tuple[str, ...]
    width: float
    height: float
    depth: float
    outer: Vec
    inner: Vec
    reference: str
    deepest: float
    square: bool
    node: float
    holes: tuple[Vec, ...] = ()
    shares: tuple[tuple[str, float, float], ...] = ()
    grind: tuple[tuple[str, float], ...] = ()


class Ordinates(Struct, frozen=True, kw_only=True):
    """Depths of the cut from the end of the blank at even stations round the tube, mm."""

    member: str
    end: EndName
    angles: tuple[float, ...]
    depths: tuple[float, ...]


class SawSetting(Struct, frozen=True, kw_only=True):
    """How to notch an end with a hole saw or an end mill, or to saw it off; ``reason`` why not.

    A clock is counted like the template: degrees from the reference line, 0 to 360, right-handed
    about the way out of the end.

    Attributes:
        member: id of the tube.
        end: the end.
        angle: between the tube's axis and the saw's, or the plane of a straight saw cut, rad.
        dial: what a machine shows whose zero is the square cut: 90 degrees less ``angle``, rad.
        clock: the side on which the cut is deepest, to which the saw's axis leans, degrees.
        offset: distance of the two axes, mm.
        offset_clock: the side on which the saw's axis passes when there is an offset, degrees.
        diameter: the saw's, mm; 0 for a straight saw cut.
        depth: from the tip to the end of the cut along the tube, mm.
        stroke: how far the saw has to go along its own axis to be through, mm.
        position: from the tip to where the two axes pass, along the tube (negative: past it), mm.
        straight: of the tube behind the cut, up to its first bend or the cut of its other end, mm.
        reason: why neither makes this end.
    """

    member: str
    end: EndName
    angle: float = pi / 2
    dial: float = 0.0
    clock: float = 0.0
    offset: float = 0.0
    offset_clock: float = 0.0
    diameter: float = 0.0
    depth: float = 0.0
    stroke: float = 0.0
    position: float = 0.0
    straight: float = inf
    reason: str = ""

    @property
    def flat(self) -> bool:
        """Whether a straight saw cut makes it."""
        return not self.reason and not self.diameter


def templates(
    cage: Cage, paper_thickness: float, ids: Iterable[str] | None = None
) -> tuple[Template, ...]:
    """The templates of those ends of tubes that are not cut square or are drilled.

    Args:
        cage: the whole cage.
        paper_thickness: of the paper that is wrapped, mm.
        ids: of the tubes; all members, in build order, when left out.
    """
    members = [cage.member(i) for i in (cage.members if ids is None else ids)]
    ends = [(m, name, cage.cut(m.id, name)) for m in members for name, _ in m.ends]
    measure(cut for _, _, cut in ends)
    shown = [e for e in ends if not is_square(e[2]) or _drills(cage, e[0], e[1])]
    in_step([cut.unrolled(SAMPLES) for _, _, cut in shown])
    return tuple(template(cage, member, name, paper_thickness) for member, name, _ in shown)


def _drills(cage: Cage, member: Member, end: EndName) -> list[Drill]:
    """Holes that are nearer to this end than to the other."""
    node, far = (member.path.end_point(e) for e in (end, "b" if end == "a" else "a"))
    return [
        d for d in member.drills
        if np.linalg.norm(d.point - node) < np.linalg.norm(d.point - far)
    ]  # fmt: skip


def _hole(cut: EndCut, drill: Drill, way: Vec, width: float) -> Vec:
    """The edge of a hole unrolled, ``(n, 2)`` mm."""
    w = drill.edge(way, cut.outer_radius, np.linspace(0.0, 2 * pi, 73)) - cut.point
    middle = float(np.arctan2(way @ cut.side, way @ cut.zero)) % (2 * pi)
    phi = np.arctan2(w @ cut.side, w @ cut.zero)
    phi = middle + (phi - middle + pi) % (2 * pi) - pi
    return np.column_stack([phi * (width / (2 * pi)), -(w @ cut.out) - cut.shortest])


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
    holes = tuple(_hole(cut, d, way, width) for d in _drills(cage, member, end) for way in d.ways)
    return Template(
        member=member.id,
        end=end,
        tube=member.tube,
        parents=member.end(end).parents,
        width=width,
        height=max(
            cut.longest - cut.shortest + SKIRT,
            max((float(h[:, 1].max()) for h in holes), default=0.0) + HOLE_SKIRT,
        ),
        depth=cut.longest - cut.shortest,
        outer=outer,
        inner=inner,
        reference=reference_text(member),
        deepest=deep_side(cut),
        square=is_square(cut),
        node=-cut.shortest,
        holes=holes,
        shares=tuple(_shares(cut, member.end(end).parents)),
        grind=tuple(
            (other, depth)
            for (ground, other), depth in grinds(cage).items()
            if ground == member.id and _near(cage.tubes[other], cut.point)
        ),
    )


def _shares(cut: EndCut, parents: Sequence[str]) -> Iterable[tuple[str, float, float]]:
    """Stretches of the edge on each parent but the first: its id, from and to, degrees."""
    if len(parents) < 2 or not len(cut.corners):
        return
    starts = cut.corners
    stops = np.append(starts[1:], starts[0] + 2 * pi)
    on = cut.active((starts + stops) / 2, cut.outer_radius)
    owners = [cut.surfaces[i].owner if i >= 0 else "" for i in on]
    # from the first change on, so that no stretch is told in two pieces
    first = next((i for i, o in enumerate(owners) if o != owners[i - 1]), 0)
    order = [*range(first, len(owners)), *range(first)]
    for owner, pieces in groupby(order, key=owners.__getitem__):
        if owner in parents[1:]:
            here = list(pieces)
            yield owner, degrees(starts[here[0]]) % 360.0, degrees(stops[here[-1]]) % 360.0


def _near(other: Member, node: Vec) -> bool:
    """Whether a tube passes by an end, so that a grinding note belongs on its template."""
    gap = float(np.linalg.norm(other.path.nearest(node).point - node))
    return gap < GRIND_BY * other.tube.od


def _unrolled(curve: Vec, width: float, tip: float) -> Vec:
    closed = np.vstack([curve, curve[:1] + np.array([2 * pi, 0.0])])
    return np.column_stack([closed[:, 0] * (width / (2 * pi)), closed[:, 1] - tip])


def reference_text(member: Member) -> str:
    """How to find the line on the tube from which both ends are measured."""
    if member.path.bends:
        return "outside (back) of the first bend from end A"
    direction = member.path.out_direction("b")
    return (
        "front of the tube as fitted" if abs(direction[2]) > 0.99 else "top of the tube as fitted"
    )


def ordinates(
    cage: Cage, ends: Sequence[tuple[str, EndName]], stations: int
) -> tuple[Ordinates, ...]:
    """Depths at even stations round each of some ends, for those who grind to a line.

    Args:
        cage: the whole cage.
        ends: ids of tubes, and ``a`` or ``b``.
        stations: number of ordinates around the tube.
    """
    cuts = [cage.cut(member, end) for member, end in ends]
    phi = np.arange(stations) * (2 * pi / stations)
    angles = tuple(np.degrees(phi).tolist())
    found = contacts([(cut, phi, cut.outer_radius) for cut in cuts])
    return tuple(
        Ordinates(
            member=member, end=end, angles=angles, depths=tuple((c.s - cut.shortest).tolist())
        )
        for (member, end), cut, c in zip(ends, cuts, found, strict=True)
    )


def deep_side(cut: EndCut) -> float:
    """Clock of the side on which a cut is deepest, degrees in 0 to 360.

    One surface leans to one side: there the axis of a straight parent, or the plate, comes back
    along the tube. A square cope is as deep on the side opposite; the smaller clock is told.
    Where several surfaces make the cut it is the deepest spot of its outside edge.
    """
    seat = cut.sole
    if isinstance(seat, PlaneFace):
        return _clock(cut, -seat.normal)
    if isinstance(seat, CylinderPiece):
        back = -1.0 if seat.axis @ cut.out > 0 else 1.0
        clock = _clock(cut, back * seat.axis)
        return clock % 180.0 if abs(float(seat.axis @ cut.out)) < SQUARE else clock
    curve = cut.outer_curve(SAMPLES)
    return degrees(float(curve[int(np.argmax(curve[:, 1])), 0])) % 360.0


def saw_setting(cage: Cage, member_id: str, end: EndName) -> SawSetting:
    """How a saw makes an end, by geometry alone; ``reason`` is set when none does.

    Args:
        cage: the whole cage.
        member_id: id of the tube.
        end: ``a`` or ``b``.
    """
    member = cage.member(member_id)
    cut = cage.cut(member_id, end)
    seat = cut.sole
    if isinstance(seat, PlaneFace):
        return SawSetting(
            member=member_id,
            end=end,
            angle=cut.angle,
            dial=pi / 2 - cut.angle,
            clock=0.0 if is_square(cut) else deep_side(cut),
            depth=cut.longest - cut.shortest,
            position=-cut.shortest,
        )
    reason = ""
    if len(member.end(end).parents) > 1:
        reason = "several tubes meet: use the template"
    elif not isinstance(seat, CylinderPiece):
        lands = all(isinstance(q, CylinderPiece) for q in cut.on)
        reason = f"{'runs beside its tube' if lands else 'lands on a bend'}: use the template"
    if reason:
        return SawSetting(member=member_id, end=end, reason=reason)
    assert isinstance(seat, CylinderPiece)
    away = seat.start - cut.point
    square = np.cross(cut.out, seat.axis)
    lean = float(seat.axis @ cut.out)
    # where the tube's axis passes the saw's, and on which side of it the saw's lies
    along = float((away - (away @ seat.axis) * seat.axis) @ cut.out) / (1.0 - lean * lean)
    aside = float(away @ square) / float(np.linalg.norm(square))
    edges = np.concatenate([cut.outer_curve(SAMPLES), cut.inner_curve(SAMPLES)])
    radii = np.repeat([cut.outer_radius, cut.inner_radius], SAMPLES)
    reach = cut.points(edges[:, 0], radii, edges[:, 1]) @ seat.axis
    return SawSetting(
        member=member_id,
        end=end,
        angle=cut.angle,
        dial=pi / 2 - cut.angle,
        clock=deep_side(cut),
        offset=abs(aside),
        offset_clock=_clock(cut, np.sign(aside) * square) if aside else 0.0,
        diameter=2 * seat.radius,
        depth=cut.longest - cut.shortest,
        stroke=float(np.ptp(reach)),
        position=-cut.shortest - along,
        straight=_straight_behind(cage, member, end),
    )


def _straight_behind(cage: Cage, member: Member, end: EndName) -> float:
    """Length of straight tube between a cut and the first bend, or the other end's cut, mm."""
    pieces = member.path.pieces
    first = pieces[0 if end == "a" else -1]
    if not isinstance(first, Line):
        return 0.0
    taken = cage.cut(member.id, end).longest
    if len(pieces) == 1:
        taken += cage.cut(member.id, "b" if end == "a" else "a").longest
    return max(first.length - taken, 0.0)


def _clock(cut: EndCut, way: Vec) -> float:
    """Where a direction lies round the tube, degrees in 0 to 360."""
    return degrees(float(np.arctan2(way @ cut.side, way @ cut.zero))) % 360.0

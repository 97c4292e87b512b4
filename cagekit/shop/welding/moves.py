"""Moves of a cage that is only tacked: whether the car leaves room, and what makes them possible.

Feet are on their tacks while the hidden side of a joint is welded: the steel that is fitted is
leaned about the main hoop's feet, slid, or lowered. A move is offered when every moved tube clears
shell, glass, floor and keep-outs all the way, and no foot is pushed into what it stands on, unless
a hole that its plate covers afterwards, or a box foot that is not yet fitted, lets it through. A
move that nothing but fixed glass forbids is offered with that glass out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum
from math import ceil, cos, radians, sin

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from cagekit.cage.cage import Cage
from cagekit.cage.member import CHASSIS, EndKind, EndName, Member
from cagekit.car.shell import ShellSurface, Skin
from cagekit.geometry.arrays import Points, cross3
from cagekit.geometry.centre_line import Vec, vec

LOWERINGS = (50.0, 100.0, 150.0)
"""Drops tried, mm (common practice)."""
SLIDES = (50.0, -50.0, 100.0, -100.0, 200.0)
"""Slides tried, mm, forward positive (common practice)."""
LEANS = (radians(5.0), radians(-5.0), radians(10.0), radians(-10.0))
"""Leans tried about the main hoop's feet, rad; positive leans the top forward (common practice)."""
STAGES = (0.25, 0.5, 0.75, 1.0)
"""Parts of a move at which the room is looked at."""
SPACING = 20.0
"""Spacing of the spots looked at along a moved tube, mm."""
SLACK = 0.5
"""Deeper than this (mm), or than it stood before, a moved tube runs into something."""
HOLE_ROOM = 10.0
"""Room round a tube in the hole that it is lowered through, mm (common practice)."""
HOLE_COVER = 15.0
"""How far the plate reaches past that hole, mm, so that there is sheet to weld it to (common
practice)."""
ANCHORED = ("outrigger", CHASSIS)
"""Roles that are welded to the car before the cage stands on them, or belong to it."""


class Way(StrEnum):
    """How a joint is welded all round."""

    IN_PLACE = "in place"
    BEFORE = "before later tubes"
    LOWERED = "cage lowered"
    LEANED = "cage leaned"
    SLID = "cage slid"
    PARTLY = "partly out of reach"


class FloorHole(Struct, frozen=True, kw_only=True):
    """A hole in the floor that a foot goes down through: mm along and across the car."""

    member: str
    end: EndName
    length: float
    width: float


class Pose(Struct, frozen=True, kw_only=True, eq=False):
    """A position of the steel that is fitted, off its tacks.

    Attributes:
        way: lowered, leaned or slid.
        amount: drop, slide (positive forward) in mm, or lean (positive top forward) in rad.
        lift: how far it is raised first, so that feet come off what they stand on, mm.
        turn: rotation to the pose, ``(3, 3)``, about ``pivot`` ``(3,)``.
        shift: then a shift, ``(3,)`` mm.
        moved: ids of the tubes that move.
        loose: feet (member, end) whose tacks are broken for it.
        holes: holes that it needs in the floor.
        boxes: box feet that must not be fitted yet: ids of their plates.
        glass: fixed glass that it would go through, and that must be out: names of surfaces.
    """

    way: Way
    amount: float
    lift: float
    turn: Vec
    shift: Vec
    pivot: Vec
    moved: tuple[str, ...]
    loose: tuple[tuple[str, EndName], ...]
    holes: tuple[FloorHole, ...] = ()
    boxes: tuple[str, ...] = ()
    glass: tuple[str, ...] = ()

    def points(self, points: Points) -> Points:
        """Where points ``(n, 3)`` of the cage lie in the car."""
        return np.asarray((points - self.pivot) @ self.turn.T + self.pivot + self.shift)


class _Steel(Struct, frozen=True, kw_only=True, eq=False):
    """Spots along the tubes that move, all in one array, and how they stand in the car.

    Attributes:
        spots: along the axes, ``(n, 3)`` mm.
        radius: of the tube at each, ``(n,)`` mm.
        member: number of the tube of each, ``(n,)``.
        from_end: how far each is from the end of a tube, ``(n,)`` mm by tube and end.
        room: what is left of that at a foot that goes down, beside the way down, ``(n,)`` mm.
        rest: gap of each to a surface as the tubes stand, once for all moves, ``(n,)`` mm by name.
    """

    spots: Points
    radius: Vec
    member: NDArray[np.int64]
    from_end: Mapping[tuple[str, EndName], Vec]
    room: Vec
    surfaces: Sequence[ShellSurface]
    rest: Mapping[str, Vec]

    @classmethod
    def of(cls, moved: Sequence[Member], surfaces: Sequence[ShellSurface]) -> _Steel:
        rows = [_spots(m) for m in moved]
        spots = np.concatenate(rows)
        member = np.repeat(np.arange(len(moved)), [len(r) for r in rows])
        from_end: dict[tuple[str, EndName], Vec] = {}
        for k, m in enumerate(moved):
            along = np.full(len(spots), np.inf)
            along[member == k] = np.linspace(0.0, m.path.length, len(rows[k]))
            from_end[m.id, "a"], from_end[m.id, "b"] = along, m.path.length - along
        return cls(
            spots=spots,
            radius=np.array([m.tube.outer_radius for m in moved])[member],
            member=member,
            from_end=from_end,
            room=np.array([3 * m.tube.od for m in moved])[member],
            surfaces=surfaces,
            rest={s.name: s.solid.gap(spots) for s in surfaces},
        )

    def met(
        self, gone: Points, through: Iterable[tuple[str, EndName]], amount: float
    ) -> list[ShellSurface] | None:
        """Glass that the tubes go through, their spots at ``gone``; None if they run into more.

        Tube by tube; what they stood in before does not count, and a foot that goes ``through``
        the floor by ``amount`` is let through.
        """
        free = np.zeros(len(gone), bool)
        for end in through:
            free |= self.from_end[end] <= 1.5 * abs(amount) + self.room
        found: list[tuple[int, int]] = []
        low, high, reach = gone.min(0), gone.max(0), float(self.radius.max())
        # what is no glass forbids the move, whatever else is met
        for i, s in sorted(enumerate(self.surfaces), key=lambda one: one[1].glass):
            if not s.beside(low, high, reach):
                continue
            solid = s.solid
            gap = solid.gap_below(gone, reach) if isinstance(solid, Skin) else solid.gap(gone)
            bad = gap - self.radius < np.minimum(self.rest[s.name] - self.radius, 0.0) - SLACK
            if s.stood_on:
                bad &= ~free
            if not s.glass and bad.any():
                return None
            found += [(int(k), i) for k in np.unique(self.member[bad])]
        return [self.surfaces[i] for _, i in sorted(found)]


def possible(
    cage: Cage, fitted: Sequence[str], surfaces: Sequence[ShellSurface]
) -> tuple[Pose, ...]:
    """Every move that the car leaves room for, the mildest first, those through glass last.

    Args:
        cage: the cage.
        fitted: ids of the tubes that are in place, tacked at feet and joints.
        surfaces: what of the car is in place.
    """
    moved = [cage.members[m] for m in fitted if cage.members[m].role not in ANCHORED]
    hoop = next((m for m in moved if m.role == "main_hoop"), None)
    if hoop is None:
        return ()
    pivot = vec((hoop.path.start + hoop.path.end) / 2)
    steel = _Steel.of(moved, surfaces)
    tries = [(Way.LEANED, a) for a in LEANS] + [(Way.SLID, a) for a in SLIDES]
    tries += [(Way.LOWERED, a) for a in LOWERINGS]
    found = (_pose(cage, moved, way, amount, pivot, steel) for way, amount in tries)
    return tuple(sorted((p for p in found if p is not None), key=lambda p: bool(p.glass)))


def _pose(
    cage: Cage,
    moved: Sequence[Member],
    way: Way,
    amount: float,
    pivot: Vec,
    steel: _Steel,
) -> Pose | None:
    """One move, or None when the car does not leave it room."""
    feet = [(m, n) for m in moved for n, e in m.ends if e.kind is EndKind.FLAT]
    saddles = [
        (m, n)
        for m in moved
        for n, e in m.ends
        if any(cage.member(p).role in ANCHORED for p in e.parents)
    ]
    if way is Way.LOWERED and saddles:
        return None
    lift = _lift(cage, moved, saddles, way, amount)
    holes: list[FloorHole] = []
    boxes: list[str] = []
    through: set[tuple[str, EndName]] = set()
    pose = _placed(way, amount, lift, pivot, 1.0)
    for m, n in feet:
        if _pushed(m, n, pose, pivot) >= -SLACK:
            continue
        if way is not Way.LOWERED:
            return None
        box = _box_foot(cage, m, n, amount)
        hole = None if box else _hole(cage, m, n, amount)
        if not box and hole is None:
            return None
        boxes += box
        holes += [hole] if hole else []
        through.add((m.id, n))
    glass: list[str] = []
    for share in STAGES:
        turn, shift = _placed(way, amount, lift, pivot, share)
        met = steel.met((steel.spots - pivot) @ turn.T + pivot + shift, through, amount)
        if met is None:
            return None
        glass += [s.name for s in met]
    return Pose(
        way=way,
        amount=amount,
        lift=lift,
        turn=pose[0],
        shift=pose[1],
        pivot=pivot,
        moved=tuple(m.id for m in moved),
        loose=tuple((m.id, n) for m, n in (*feet, *saddles)),
        holes=tuple(holes),
        boxes=tuple(boxes),
        glass=tuple(dict.fromkeys(glass)),
    )


def _lift(
    cage: Cage,
    moved: Sequence[Member],
    saddles: Sequence[tuple[Member, EndName]],
    way: Way,
    amount: float,
) -> float:
    """How far the cage is raised before it moves, mm: off its saddles, or onto its feet's edges."""
    if way is Way.LOWERED:
        return 0.0
    if way is Way.SLID:
        cuts = [cage.cut(m.id, n) for m, n in saddles]
        return max((c.longest - c.shortest for c in cuts), default=0.0)
    hoop = next(m for m in moved if m.role == "main_hoop")
    return abs(sin(amount)) * hoop.tube.outer_radius


def _placed(way: Way, amount: float, lift: float, pivot: Vec, share: float) -> tuple[Vec, Vec]:
    """Turn and shift of a part of a move."""
    turn, shift = np.eye(3), np.array([0.0, 0.0, lift])
    if way is Way.LEANED:
        a = amount * share
        turn = np.array([[cos(a), 0.0, sin(a)], [0.0, 1.0, 0.0], [-sin(a), 0.0, cos(a)]])
    elif way is Way.SLID:
        shift = shift + np.array([amount * share, 0.0, 0.0])
    else:
        shift = shift - np.array([0.0, 0.0, amount * share])
    return turn, vec(shift)


def _pushed(m: Member, end: EndName, pose: tuple[Vec, Vec], pivot: Vec) -> float:
    """How far the lowest spot of a foot's edge moves away from what it stands on, mm."""
    plane = m.end(end).plane
    assert plane is not None
    turn, shift = pose
    way = m.path.out_direction(end)
    a = cross3(way, np.array([0.0, 1.0, 0.0] if abs(way[1]) < 0.9 else [1.0, 0.0, 0.0]))
    a = a / np.linalg.norm(a)
    b = cross3(way, a)
    phi = np.linspace(0.0, 2 * np.pi, 12, endpoint=False)[:, None]
    rim = m.path.end_point(end) + m.tube.outer_radius * (np.cos(phi) * a + np.sin(phi) * b)
    # the rim is cut to the plane: back along the tube to where it meets it
    rim = rim - ((rim - plane.point) @ plane.normal / float(way @ plane.normal))[:, None] * way
    gone = (rim - pivot) @ turn.T + pivot + shift
    return float(((gone - plane.point) @ plane.normal).min())


def _box_foot(cage: Cage, m: Member, end: EndName, drop: float) -> list[str]:
    """Plates of a box foot under an end that is at least as high as the drop."""
    parts = [p for p in cage.plates if p.box and m.id in p.members]
    top = [p for p in parts if f"{m.id}.{end}" in p.ends]
    if not top:
        return []
    at = top[0].placement[:3, 3]
    near = [p for p in parts if p.box == top[0].box]
    heights = [float((at - p.placement[:3, 3]) @ top[0].normal) for p in near]
    return [p.id for p in near] if max(heights) >= drop else []


def _hole(cage: Cage, m: Member, end: EndName, drop: float) -> FloorHole | None:
    """The hole that an end is lowered through, when its plate covers it afterwards."""
    how = m.end(end)
    plate = next((p for p in cage.plates if f"{m.id}.{end}" in p.ends), None)
    if how.surface != "floor" or plate is None or how.plane is None or how.plane.normal[2] < 0.95:
        return None
    way = m.path.out_direction(end)
    # what the tube sweeps as it goes down: its mouth, drawn out by its lean
    gone = -way[:2] / abs(way[2]) * drop
    mouth = m.tube.od * np.array([1.0, 1.0]) / np.sqrt(np.maximum(1 - way[:2] ** 2, 0.1))
    size = mouth + np.abs(gone) + 2 * HOLE_ROOM
    base = next(f for f in plate.facets if f.loop.contains(plate.base[None])[0])
    corners = plate.car_points(base.loop.vertices)[:, :2] - m.path.end_point(end)[:2]
    low = np.minimum(0.0, gone) - mouth / 2 - HOLE_ROOM
    high = np.maximum(0.0, gone) + mouth / 2 + HOLE_ROOM
    covered = (corners.min(axis=0) <= low - HOLE_COVER) & (corners.max(axis=0) >= high + HOLE_COVER)
    if not covered.all():
        return None
    return FloorHole(member=m.id, end=end, length=float(size[0]), width=float(size[1]))


def _spots(m: Member) -> Points:
    """Spots along a tube's axis, ``(n, 3)``."""
    n = max(ceil(m.path.length / SPACING), 2) + 1
    return m.path.points(np.linspace(0.0, m.path.length, n))

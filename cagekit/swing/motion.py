"""How a swing-out bar opens: swept path, what it meets, how far it goes.

The bar is followed as balls along its axis and points round both its ends. Some of the balls tell
how near the points round them can come to an obstacle: those that may be the nearest are measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from math import pi, radians
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from cagekit.cage.door import SmallPart, SwingDoor, SwingJoint, moved_points
from cagekit.cage.kept import Same
from cagekit.car.shell import Skin, surfaces
from cagekit.geometry.arrays import Ints
from cagekit.geometry.centre_line import Vec, vec
from cagekit.geometry.shapes import Prism, Solids
from cagekit.swing.bodies import (
    BodySide,
    GapFunction,
    Obstacle,
    Prisms,
    hulls,
    open_door,
    part_solid,
    plate_solid,
    stub_gap,
    tube_gap,
)
from cagekit.swing.brackets import stub_end
from cagekit.units.tolerance import ROUNDING

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.inputs.car import Car

STEP = radians(5.0)
"""Angles looked at first."""
MOST = radians(150.0)
"""A bar is followed this far."""
SPACING = 10.0
"""Balls along the axis, mm."""
LEADING = 6
"""Every so many balls one leads those round it, and the rims."""
BETWEEN = 81
"""Balls in place of the three round the nearest one."""
ROUND = 20
"""Points round an end."""
LEAVING = 91
"""Angles at which the bar is looked at while it leaves its latch."""
REFINED = 40.0
"""Gaps below this (mm) are followed between the angles looked at first."""
PARTS = 8
"""Parts that the step in which a bar meets something is cut into, again and again."""
BACK = radians(1.0)
"""A bar is opened this much less than where it meets something."""
CONTACT = -0.02
"""Gaps (mm) below this are contact."""
AROUND = ("tube", "body", "opening", "door")
"""Kinds of what is not the bar's own."""
STUBS = ("hinge stub", "latch stub")
"""Kinds of its own whose least gaps are told; brackets only stop it."""


class Closest(Struct, frozen=True, kw_only=True, eq=False):
    """Least gap to one obstacle over a swing: gap (mm), angle (rad) and where, ``(3,)``."""

    name: str
    kind: str
    gap: float
    angle: float
    point: Vec


class Swept(Struct, frozen=True, kw_only=True, eq=False):
    """How one bar swings.

    Args:
        door: the bar.
        limit: angle at which it meets something, rad; None when it meets nothing.
        meets: what it meets there.
        full: how far it opens: as asked, or just short of the limit.
        closest: least gap from closed to ``full`` to its own stubs, to all that comes near but its
            brackets, and to what of the rest comes nearest, tightest first.
        path: middle of the bar's latch end at angles from closed to ``full``, ``(n, 3)``.
        latch_side: least room between the bar and the two sides of the latch's bracket while it
            leaves it, mm.
    """

    door: SwingDoor
    limit: float | None
    meets: Closest | None
    full: float
    closest: tuple[Closest, ...]
    path: Vec
    latch_side: float

    @property
    def half(self) -> float:
        """Half open, rad."""
        return self.full / 2

    def to(self, *kinds: str) -> Closest | None:
        """The tightest obstacle of any of these kinds."""
        return next((c for c in self.closest if c.kind in kinds), None)


class Probe:
    """The bar as balls and points: ``points`` ``(n, 3)`` and ``radii`` ``(n,)`` mm, closed.

    Far from its own joints the ``rough`` points are enough. ``leading`` are some of the balls;
    ``leader`` tells of each rough point which of them is nearest, ``reach`` how far from that the
    point's ball reaches, mm.
    """

    def __init__(self, cage: Cage, door: SwingDoor) -> None:
        bar = cage.member(door.bar)
        r = bar.tube.outer_radius
        inside = [r + 2 * r * abs(np.tan(j.relief)) for j in door.joints]
        low, high = max(inside), bar.path.length - max(inside)
        n = max(int((high - low) / SPACING), 2)
        spine = bar.path.points(np.linspace(low, high, n + 1))
        ends = [_end_points(cage, door, j) for j in door.joints]
        # the sleeve swings too
        sleeves = [_part_points(p) for p in cage.hardware if p.id in door.hardware and _swings(p)]
        rims = np.concatenate([*ends, *sleeves])
        self.sleeves = sum(len(p) for p in sleeves)
        self.spine = len(spine)
        self.points = np.concatenate([spine, rims])
        self.radii = np.concatenate([np.full(len(spine), r), np.zeros(len(rims))])
        first = len(spine) + np.arange(ROUND)
        self.rough = np.concatenate([np.arange(len(spine)), first, first + len(ends[0])])
        self.every = np.arange(len(self.points))
        self.leading = np.unique(np.append(np.arange(0, len(spine), LEADING), len(spine) - 1))
        to_rough = self.points[self.rough][:, None]
        apart = np.linalg.norm(to_rough - self.points[self.leading], axis=2)
        self.leader = np.argmin(apart, axis=1)
        self.reach = apart.min(axis=1) + self.radii[self.rough]


def _swings(part: SmallPart) -> bool:
    return part.kind == "sleeve"


def _end_points(cage: Cage, door: SwingDoor, joint: SwingJoint) -> Vec:
    """Points on the bar's outside from its cut inward."""
    cut = cage.cut(door.bar, joint.end)
    # the outermost and innermost points come nearest to the stub
    first = float(np.arctan2(joint.out @ cut.side, joint.out @ cut.zero))
    phi = first + np.arange(ROUND) * (2 * pi / ROUND)
    r = cut.outer_radius
    rim = cut.points(phi, r)
    depth = np.linspace(0.0, 1.0, 4) * r * (1.2 + 2 * abs(np.tan(joint.relief)))
    rows = [rim, rim + 0.5 * (cut.points(phi, cut.inner_radius) - rim)]
    # along each line of the wall from its own cut
    rows += [rim - d * cut.out for d in depth[1:]]
    return np.concatenate(rows)


def _part_points(part: SmallPart) -> Vec:
    loop = part.stages[0].outline.flat_points(0.3)
    rows = [np.column_stack([loop, np.full(len(loop), z)]) for z in (0.0, part.length)]
    return moved_points(np.concatenate(rows), part.frame)


def obstacles(cage: Cage, car: Car | None, door: SwingDoor) -> tuple[Obstacle, ...]:
    """Everything that a bar could meet: its stubs and brackets, other tubes, the body.

    Args:
        cage: the cage.
        car: the car sheet.
        door: the divided bar.
    """
    own = set(door.pieces)
    out: list[Obstacle] = []
    for joint in door.joints:
        stub = cage.member(joint.stub)
        gap = stub_gap(stub, joint.stub_face)
        out.append(_own(stub.id, f"{joint.name} stub", gap, gap))
        solids: list[tuple[str, Prisms]] = [
            (plate.id, plate_solid(plate))
            for plate in cage.plates
            if plate.id in door.plates and joint.stub in plate.members
        ]
        solids += [
            (p.id, part_solid(p))
            for p in cage.hardware
            if p.id in door.hardware and p.kind == "half_cup" and p.joint == joint.name
        ]
        out += [_own(name, f"{joint.name} bracket", x.gap, x.least) for name, x in solids]
    for m in cage.tubes.values():
        if m.id not in own:
            gap = tube_gap(m)
            out.append(Obstacle(name=m.id, kind="tube", gap=gap, least=gap, hulls=hulls(m)))
    if car is None:
        return tuple(out)
    return (*out, *cage.kept.once(("body", Same(car), door.side), partial(body, car, door.side)))


def _own(name: str, kind: str, gap: GapFunction, least: GapFunction) -> Obstacle:
    """A stub of the bar, or a part of its brackets."""
    return Obstacle(name=name, kind=kind, gap=gap, least=least, own=True)


def body(car: Car, side: str) -> tuple[Obstacle, ...]:
    """The body: the side of a bar with the door opening, the shell's surfaces, every keep-out.

    Doors stand open, as far as the car sheet says; a dash is cut where tubes pass. The shell's side
    at the hoop is the body side's inner face and would hold the bar inside.
    """
    out = []
    wall = BodySide.of(car, side)
    if wall is not None:
        name = f"{side} door opening"
        out.append(
            Obstacle(name=name, kind="opening", gap=wall.gap, least=wall.least, part=wall.part)
        )
    out += _leaf(open_door(car, side), side)
    keep = {k.name for k in car.keepouts}
    for s in surfaces(car):
        if s.name in keep or not (s.moves or s.trimmed or s.at_hoop):
            solid = s.solid
            least = solid.at_least if isinstance(solid, Skin) else solid.gap
            out.append(Obstacle(name=s.name, kind="body", gap=solid.gap, least=least))
    return tuple(out)


def _leaf(leaf: Prism | None, side: str) -> tuple[Obstacle, ...]:
    """The open door of a side, when the car sheet says how far it opens."""
    if leaf is None:
        return ()
    return (Obstacle(name=f"open {side} door", kind="door", gap=leaf.gap, least=leaf.gap),)


class SwingMotion:
    """Gaps of one bar at any angles to all that it could meet, or to ``only`` some of it."""

    def __init__(
        self,
        cage: Cage,
        car: Car | None,
        door: SwingDoor,
        *,
        only: tuple[Obstacle, ...] | None = None,
    ) -> None:
        self.cage, self.car, self.door = cage, car, door
        self.probe = Probe(cage, door)
        self.obstacles = obstacles(cage, car, door) if only is None else only
        # a point turns on a circle square to the pin: its middle, and the ways to where it begins
        # and to a quarter turn on
        axis, from_pin = door.hinge.pin, self.probe.points - door.hinge.origin
        along = np.multiply.outer(from_pin @ axis, axis)
        self._circle = door.hinge.origin + along, from_pin - along, np.cross(axis, from_pin)

    def positions(self, angles: Vec) -> Vec:
        """The probe's points at angles ``(k,)`` rad, ``(k, n, 3)``."""
        middle, start, quarter = self._circle
        c, s = np.cos(angles)[:, None, None], np.sin(angles)[:, None, None]
        return np.asarray(middle + c * start + s * quarter)

    def from_afar(self, at: Vec) -> Vec:
        """What the gap to each obstacle is at least in positions ``(k, n, 3)``: ``(m,)`` mm.

        To the bar's own stubs and brackets it is always near.
        """
        leading = at[:, self.probe.leading].reshape(-1, 3)
        least = np.full(len(self.obstacles), -np.inf)
        tubes = [i for i, one in enumerate(self.obstacles) if one.hulls]
        if tubes:
            held = [self.obstacles[i].hulls for i in tubes]
            begin = np.cumsum([0, *map(len, held[:-1])])
            near = Solids([h for those in held for h in those]).gaps(leading[None]).min(axis=1)
            least[tubes] = np.minimum.reduceat(near, begin)
        for i, one in enumerate(self.obstacles):
            if not (one.own or one.hulls):
                least[i] = one.least(leading).min()
        return np.asarray(least - self.probe.reach.max())

    def gaps(self, i: int, at: Vec) -> tuple[Vec, Vec]:
        """Least gap to an obstacle in positions ``(k, n, 3)``, ``(k,)`` mm, and where, ``(k, 3)``.

        Measured are the points that may lie nearer than the one that seems the nearest.
        """
        one, radii, each = self.obstacles[i], self.probe.radii, np.arange(len(at))
        of, least = self._at_least(one, at)
        if one.own and one.least is one.gap:
            best = np.argmin(least, axis=1)
            return least[each, best], at[each, of[best]]
        first = of[np.argmin(least, axis=1)]
        most = one.gap(at[each, first]) - radii[first]
        # of what lies within, all that may
        rows, points = np.nonzero(least <= np.maximum(most, 0.0)[:, None] + ROUNDING)
        points = of[points]
        gaps = one.gap(at[rows, points]) - radii[points]
        best = np.lexsort((gaps, rows))[np.searchsorted(rows, each)]
        return gaps[best], at[each, points[best]]

    def _at_least(self, one: Obstacle, at: Vec) -> tuple[Ints, Vec]:
        """Points ``(m,)`` that an obstacle is held against; the least gap of each, ``(k, m)`` mm.

        Round the bar's own joints every point is asked, else those that lead the others.
        """
        probe = self.probe
        asked = at if one.own else at[:, probe.leading]
        least = one.least(asked.reshape(-1, 3)).reshape(asked.shape[:2])
        if one.own:
            return probe.every, np.asarray(least - probe.radii)
        return probe.rough, np.asarray(least[:, probe.leader] - probe.reach)

    def whole_gaps(self, i: int, at: Vec) -> tuple[Vec, Vec]:
        """As `gaps`, and between two balls too, where the bar stands out further than they do."""
        told = zip(self.gaps(i, at), self._round_side(i, at), strict=True)
        (gaps, sides), (spots, beside) = told
        nearer = sides < gaps
        return np.where(nearer, sides, gaps), np.where(nearer[:, None], beside, spots)

    def _round_side(self, i: int, at: Vec) -> tuple[Vec, Vec]:
        """Gap of the bar's round side to an obstacle, and where on its axis, as `gaps`."""
        gap, each = self.obstacles[i].gap, np.arange(len(at))
        spine = at[:, : self.probe.spine]
        k = np.argmin(gap(spine.reshape(-1, 3)).reshape(spine.shape[:2]), axis=1)
        low = spine[each, np.maximum(k - 1, 0)]
        step = spine[each, np.minimum(k + 1, self.probe.spine - 1)] - low
        fine = low[:, None] + np.linspace(0.0, 1.0, BETWEEN)[:, None] * step[:, None]
        gaps = gap(fine.reshape(-1, 3)).reshape(fine.shape[:2]) - self.probe.radii[0]
        best = np.argmin(gaps, axis=1)
        return gaps[each, best], fine[each, best]


def sweep(cage: Cage, car: Car | None, door: SwingDoor) -> Swept:
    """Open a bar until it meets something.

    Args:
        cage: the cage.
        car: the car; without one only the cage's own steel counts.
        door: the bar.
    """
    swing = SwingMotion(cage, car, door)
    angles = np.unique(np.append(np.arange(0.0, MOST + STEP / 2, STEP), door.open_angle))
    at = swing.positions(angles)
    afar = swing.from_afar(at)
    near = {i: swing.gaps(i, at) for i in np.flatnonzero(afar < REFINED).tolist()}
    limit, meets = _limit(swing, angles, {i: gaps for i, (gaps, _) in near.items()})
    full = door.open_angle if limit is None else min(door.open_angle, max(limit - BACK, 0.0))
    told = {i: gaps for i, gaps in near.items() if swing.obstacles[i].kind in (*AROUND, *STUBS)}
    found = [_closest(swing, i, angles, gaps, full) for i, gaps in told.items()]
    # of what never comes near the tightest alone is told
    tightest = min((c.gap for c in found if c.kind in AROUND), default=np.inf)
    for least, i in sorted((least, i) for i, least in enumerate(afar.tolist()) if i not in near):
        if least > tightest:
            break
        found.append(_closest(swing, i, angles, swing.gaps(i, at), full))
        tightest = min(tightest, found[-1].gap)
    tip = cage.member(door.bar).path.end_point(door.latch.end)
    steps = np.linspace(0.0, full, 19)
    path = np.array([moved_points(tip[None], door.motion(float(a)))[0] for a in steps])
    return Swept(
        door=door,
        limit=limit,
        meets=meets,
        full=full,
        closest=tuple(sorted(found, key=lambda c: (round(c.gap, 6), c.name))),
        path=path,
        latch_side=_latch_side(swing, cage, full),
    )


def bare_door_limit(cage: Cage, car: Car, door: SwingDoor) -> float | None:
    """Angle at which the outside alone of the open door would stop a bar, rad; None where nowhere.

    Args:
        cage: the cage.
        car: the car, which says how far the door opens.
        door: the bar.
    """
    leaf = _leaf(open_door(car, door.side, bare=True), door.side)
    swing = SwingMotion(cage, car, door, only=leaf)
    angles = np.unique(np.append(np.arange(0.0, door.open_angle, STEP), door.open_angle))
    at = swing.positions(angles)
    return _limit(swing, angles, {i: swing.gaps(i, at)[0] for i in range(len(leaf))})[0]


def _latch_side(swing: SwingMotion, cage: Cage, full: float) -> float:
    """Room beside the bar between the latch's plates, while any of it is between them, mm."""
    joint = swing.door.latch
    s = joint.spec
    at = swing.positions(np.linspace(0.0, full, LEAVING)) - joint.origin
    along, out, side = (at @ v for v in (joint.along, joint.out, joint.pin))
    between = (along > -stub_end(joint)) & (along < max(s.ear, s.reach)) & (out < s.ear)
    half = s.inside_width(cage.member(swing.door.bar).tube.outer_radius) / 2
    room = half - np.abs(side) - swing.probe.radii
    # the sleeve stands out of the bar and runs against the spacers, which are taken out first
    tube = np.arange(room.shape[1]) < len(swing.probe.points) - swing.probe.sleeves
    return float(np.where(between & tube, room, np.inf).min())


def _limit(
    swing: SwingMotion, angles: Vec, near: Mapping[int, Vec]
) -> tuple[float | None, Closest | None]:
    """The first angle at which some gap is contact, to a hundredth of a degree."""
    hit = {i: gaps < CONTACT for i, gaps in near.items()}
    steps = np.flatnonzero(np.any(list(hit.values()), axis=0))
    if not len(steps):
        return None, None
    first = int(steps[0])
    which = [i for i, gaps in hit.items() if gaps[first]]
    low, high = (float(angles[first - 1]), float(angles[first])) if first else (0.0, 0.0)
    while high - low > radians(0.01):
        tries = np.linspace(low, high, PARTS + 1)
        at = swing.positions(tries[1:-1])
        gaps = np.min([swing.whole_gaps(i, at)[0] for i in which], axis=0)
        k = int(np.argmax(np.append(gaps < CONTACT, True)))
        low, high = float(tries[k]), float(tries[k + 1])
    at = swing.positions(np.array([high]))
    met = [(swing.whole_gaps(i, at), i) for i in which]
    ((gap,), (point,)), i = min(met, key=lambda m: float(m[0][0][0]))
    found = swing.obstacles[i]
    return high, Closest(
        name=found.named(point), kind=found.kind, gap=float(gap), angle=high, point=vec(point)
    )


def _closest(
    swing: SwingMotion, i: int, angles: Vec, found: tuple[Vec, Vec], full: float
) -> Closest:
    """Least gap to an obstacle up to ``full``; a small one refined round the coarse least."""
    inside = int(np.searchsorted(angles, full, side="right"))
    steps, (gaps, spots) = angles[:inside], (rows[:inside] for rows in found)
    if steps[-1] < full:
        last = swing.gaps(i, swing.positions(np.array([full])))
        steps = np.append(steps, full)
        gaps, spots = (np.concatenate(rows) for rows in zip((gaps, spots), last, strict=True))
    k = int(np.argmin(gaps))
    gap, best, point = float(gaps[k]), float(steps[k]), spots[k]
    width = STEP
    for _ in range(3 if gap < REFINED else 0):
        tries = np.clip(best + np.linspace(-width, width, 9), 0.0, full)
        gaps, spots = swing.gaps(i, swing.positions(tries))
        k = int(np.argmin(gaps))
        gap, best, point = float(gaps[k]), float(tries[k]), spots[k]
        width /= 4
    if gap < REFINED:
        (side,), (spot,) = swing.whole_gaps(i, swing.positions(np.array([best])))
        if side < gap:
            gap, point = float(side), spot
    one = swing.obstacles[i]
    return Closest(name=one.named(point), kind=one.kind, gap=gap, angle=best, point=vec(point))

"""How a swing-out bar opens: swept path, what it meets, how far it goes.

The bar is followed as balls along its axis and points round both its ends; every obstacle tells
its distance to them at every angle at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import pi, radians
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from cagekit.cage.door import SmallPart, SwingDoor, SwingJoint, moved_points
from cagekit.car.shell import surfaces
from cagekit.geometry.centre_line import Vec, vec
from cagekit.swing.bodies import (
    BodySide,
    Obstacle,
    open_door,
    part_gap,
    plate_gap,
    stub_gap,
    tube_gap,
)
from cagekit.swing.brackets import stub_end
from cagekit.units.tolerance import ANGLE_ROUNDING

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.inputs.car import Car

STEP = radians(5.0)
"""Angles looked at first."""
MOST = radians(150.0)
"""A bar is followed this far."""
SPACING = 10.0
"""Balls along the axis, mm."""
BETWEEN = 81
"""Balls in place of the three round the nearest one."""
ROUND = 20
"""Points round an end."""
LEAVING = 91
"""Angles at which the bar is looked at while it leaves its latch."""
REFINED = 40.0
"""Gaps below this (mm) are followed between the angles looked at first."""
BACK = radians(1.0)
"""A bar is opened this much less than where it meets something."""
CONTACT = -0.02
"""Gaps (mm) below this are contact."""


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
        closest: least gap to every obstacle from closed to ``full``, tightest first.
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
    """The bar as balls and points: ``points`` ``(n, 3)`` and ``radii`` ``(n,)`` mm, closed."""

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
        # far from its own joints the axis and the rims are enough
        first = len(spine) + np.arange(ROUND)
        self.rough = np.concatenate([np.arange(len(spine)), first, first + len(ends[0])])


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
        out.append(
            Obstacle(
                name=stub.id,
                kind=f"{joint.name} stub",
                own=True,
                gap=stub_gap(stub, joint.stub_face),
            )
        )
        for plate in cage.plates:
            if plate.id in door.plates and joint.stub in plate.members:
                out.append(
                    Obstacle(
                        name=plate.id, kind=f"{joint.name} bracket", own=True, gap=plate_gap(plate)
                    )
                )
        out += [
            Obstacle(name=p.id, kind=f"{joint.name} bracket", own=True, gap=part_gap(p))
            for p in cage.hardware
            if p.id in door.hardware and p.kind == "half_cup" and p.joint == joint.name
        ]
    out += [
        Obstacle(name=m.id, kind="tube", gap=tube_gap(m))
        for m in cage.tubes.values()
        if m.id not in own
    ]
    return (*out, *body(car, door)) if car is not None else tuple(out)


def body(car: Car, door: SwingDoor) -> tuple[Obstacle, ...]:
    """The body: its side with the door opening, the shell's surfaces, every keep-out.

    Doors stand open, as far as the car sheet says; a dash is cut where tubes pass. The shell's side
    at the hoop is the body side's inner face and would hold the bar inside.
    """
    out = []
    wall = BodySide.of(car, door.side)
    if wall is not None:
        out.append(
            Obstacle(name=f"{door.side} door opening", kind="opening", gap=wall.gap, part=wall.part)
        )
    leaf = open_door(car, door.side)
    if leaf is not None:
        out.append(Obstacle(name=f"open {door.side} door", kind="door", gap=leaf.gap))
    keep = {k.name for k in car.keepouts}
    for s in surfaces(car):
        if s.name in keep or not (s.moves or s.trimmed or s.at_hoop):
            out.append(Obstacle(name=s.name, kind="body", gap=s.solid.gap))
    return tuple(out)


class SwingMotion:
    """Gaps of one bar to its obstacles at any angles."""

    def __init__(self, cage: Cage, car: Car | None, door: SwingDoor) -> None:
        self.cage, self.car, self.door = cage, car, door
        self.probe = Probe(cage, door)
        self.obstacles = obstacles(cage, car, door)

    def positions(self, angles: Vec) -> Vec:
        """The probe's points at angles ``(k,)`` rad, ``(k, n, 3)``."""
        return np.stack(
            [moved_points(self.probe.points, self.door.motion(float(a))) for a in angles]
        )

    def gaps(self, angles: Vec, which: Sequence[int] | None = None) -> tuple[Vec, Vec]:
        """Least gap to each obstacle at angles ``(k,)``: ``(m, k)`` mm, and where ``(m, k, 3)``."""
        at = self.positions(angles)
        k = len(at)
        rows, spots = [], []
        rough = at[:, self.probe.rough]
        for i in range(len(self.obstacles)) if which is None else which:
            own = self.obstacles[i].own
            points, radii = (
                (at, self.probe.radii) if own else (rough, self.probe.radii[self.probe.rough])
            )
            g = self.obstacles[i].gap(points.reshape(-1, 3)).reshape(k, -1) - radii
            best = np.argmin(g, axis=1)
            rows.append(g[np.arange(k), best])
            spots.append(points[np.arange(k), best])
        return np.array(rows), np.array(spots)

    def least(self, which: Sequence[int], angle: float) -> tuple[float, Vec, int]:
        """Least gap to some obstacles at an angle, mm, where, and to which of them."""
        now, spots = self.gaps(np.array([angle]), which)
        sides = [self.round_side(i, angle) for i in which]
        told = [
            min((float(gap), spot), side, key=lambda found: found[0])
            for gap, spot, side in zip(now[:, 0], spots[:, 0], sides, strict=True)
        ]
        k = int(np.argmin([gap for gap, _ in told]))
        return *told[k], which[k]

    def round_side(self, i: int, angle: float) -> tuple[float, Vec]:
        """Gap of the bar's round side to an obstacle at an angle, mm, and where on its axis.

        Between two balls the bar stands out further than they do.
        """
        spine = moved_points(self.probe.points[: self.probe.spine], self.door.motion(angle))
        k = int(np.argmin(self.obstacles[i].gap(spine)))
        low, high = spine[max(k - 1, 0)], spine[min(k + 1, len(spine) - 1)]
        fine = low + np.linspace(0.0, 1.0, BETWEEN)[:, None] * (high - low)
        gaps = self.obstacles[i].gap(fine) - self.probe.radii[0]
        best = int(np.argmin(gaps))
        return float(gaps[best]), fine[best]


def sweep(cage: Cage, car: Car | None, door: SwingDoor) -> Swept:
    """Open a bar until it meets something.

    Args:
        cage: the cage.
        car: the car; without one only the cage's own steel counts.
        door: the bar.
    """
    swing = SwingMotion(cage, car, door)
    angles = np.arange(0.0, MOST + STEP / 2, STEP)
    gaps, spots = swing.gaps(angles)
    limit, meets = _limit(swing, angles, gaps)
    full = door.open_angle if limit is None else min(door.open_angle, max(limit - BACK, 0.0))
    closest = _closest(swing, angles, gaps, spots, full)
    tip = cage.member(door.bar).path.end_point(door.latch.end)
    steps = np.linspace(0.0, full, 19)
    path = np.array([moved_points(tip[None], door.motion(float(a)))[0] for a in steps])
    return Swept(
        door=door,
        limit=limit,
        meets=meets,
        full=full,
        closest=closest,
        path=path,
        latch_side=_latch_side(swing, cage, full),
    )


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


def _limit(swing: SwingMotion, angles: Vec, gaps: Vec) -> tuple[float | None, Closest | None]:
    """The first angle at which some gap is contact, halved down to a hundredth of a degree."""
    hit = gaps < CONTACT
    if not hit.any():
        return None, None
    first = int(np.argmax(hit.any(axis=0)))
    which = [int(i) for i in np.nonzero(hit[:, first])[0]]
    low, high = (float(angles[first - 1]), float(angles[first])) if first else (0.0, 0.0)
    while high - low > radians(0.01):
        middle = 0.5 * (low + high)
        gap, _, _ = swing.least(which, middle)
        low, high = (low, middle) if gap < CONTACT else (middle, high)
    gap, point, i = swing.least(which, high)
    found = swing.obstacles[i]
    return high, Closest(
        name=found.named(point), kind=found.kind, gap=gap, angle=high, point=vec(point)
    )


def _closest(
    swing: SwingMotion, angles: Vec, gaps: Vec, spots: Vec, full: float
) -> tuple[Closest, ...]:
    """Least gap to every obstacle up to ``full``; near ones refined round the coarse least."""
    inside = int(np.searchsorted(angles, full - ANGLE_ROUNDING))
    tail, tail_spots = swing.gaps(np.array([full]))
    steps = np.append(angles[:inside], full)
    gaps = np.concatenate([gaps[:, :inside], tail], axis=1)
    spots = np.concatenate([spots[:, :inside], tail_spots], axis=1)
    out = []
    for i, found in enumerate(swing.obstacles):
        k = int(np.argmin(gaps[i]))
        gap, best, point = float(gaps[i, k]), float(steps[k]), spots[i, k]
        width = STEP
        for _ in range(3 if gap < REFINED else 0):
            tries = np.clip(best + np.linspace(-width, width, 9), 0.0, full)
            now, where = swing.gaps(tries, [i])
            k = int(np.argmin(now[0]))
            gap, best, point = float(now[0, k]), float(tries[k]), where[0, k]
            width /= 4
        if gap < REFINED:
            side, spot = swing.round_side(i, best)
            if side < gap:
                gap, point = side, spot
        out.append(
            Closest(name=found.named(point), kind=found.kind, gap=gap, angle=best, point=vec(point))
        )
    return tuple(sorted(out, key=lambda c: (round(c.gap, 6), c.name)))

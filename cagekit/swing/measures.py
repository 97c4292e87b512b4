"""What is measured on the brackets of a swing-out bar, and why it is cut where it is."""

from __future__ import annotations

from functools import partial
from math import sqrt, tan
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from cagekit.cage.door import SwingDoor, SwingJoint, moved_points
from cagekit.cage.member import EndKind, EndName
from cagekit.cage.plate import Plate
from cagekit.geometry.arrays import Points, Points2
from cagekit.geometry.centre_line import Vec
from cagekit.swing.bodies import BodySide, stub_gap
from cagekit.swing.brackets import EDGE, STUB_WIDTH, stub_end, web_and_zone

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.inputs.car import Car
    from cagekit.people.posture import Occupant

GRID = 3.0
"""Spacing of the points looked at on a plate, mm."""
SWINGS = 13
"""Positions of a swinging bar that its brackets are looked at in."""


class NumberAt(Struct, frozen=True, kw_only=True, eq=False):
    """A number in mm and the point ``(3,)`` it was found at."""

    value: float
    point: Vec


def bracket_clearance(cage: Cage, door: SwingDoor, joint: SwingJoint) -> NumberAt:
    """Least distance of a joint's plates to stub and closed bar, negative where they overlap.

    Args:
        cage: the cage.
        door: the divided bar.
        joint: hinge or latch of the bar.
    """
    bar, stub = cage.member(door.bar), cage.member(joint.stub)
    gaps = (stub_gap(stub, joint.stub_face), stub_gap(bar, joint.face))
    best: NumberAt | None = None
    for plate in plates_of(cage, door, joint):
        _, points = _points(cage, plate)
        for gap in gaps:
            values = gap(points)
            k = int(np.argmin(values))
            if best is None or float(values[k]) < best.value:
                best = NumberAt(value=float(values[k]), point=points[k])
    assert best is not None
    return best


def plates_of(cage: Cage, door: SwingDoor, joint: SwingJoint) -> tuple[Plate, ...]:
    """The bracket plates of one joint.

    Args:
        cage: the cage.
        door: the divided bar.
        joint: hinge or latch of the bar.
    """
    return tuple(p for p in cage.plates if p.id in door.plates and p.joint == joint.name)


def fold_room(
    cage: Cage, door: SwingDoor, joint: SwingJoint, off: tuple[float, float], open_angle: float
) -> NumberAt | None:
    """Least distance of a folded bracket to its bar, shut and swung, less what the folds are off.

    The flat of a latch's web is left out: it is the stop that the shut bar bears on.

    Args:
        cage: the cage.
        door: the divided bar.
        joint: hinge or latch of the bar.
        off: how far the brake's folds can be off, mm in place and rad in angle.
        open_angle: how far the bar swings, rad.

    Returns:
        The room and where, None where the bracket has no folds.
    """
    bar = cage.member(door.bar)
    gap = stub_gap(bar, joint.face)
    half, zone = web_and_zone(joint, bar.tube.outer_radius)
    best: NumberAt | None = None
    for plate in plates_of(cage, door, joint):
        if not plate.folds:
            continue
        flat, points = _points(cage, plate)
        side = np.abs(flat[:, 1])
        less = np.tile(off[0] + np.maximum(side - half - zone, 0.0) * tan(off[1]), 2)
        beside = np.tile((side > half) | (joint.name == "hinge"), 2)
        points, less = points[beside], less[beside]
        # where the bar has turned one way, the bracket has turned the other way for it
        ways = (door.motion(-float(angle)) for angle in np.linspace(0.0, open_angle, SWINGS))
        room = gap(np.concatenate([moved_points(points, way) for way in ways]))
        room -= np.tile(less, SWINGS)
        k = int(np.argmin(room))
        if best is None or float(room[k]) < best.value:
            best = NumberAt(value=float(room[k]), point=points[k % len(points)])
    return best


def _points(cage: Cage, plate: Plate) -> tuple[Points2, Points]:
    """Points all over a plate's flat pattern, ``(n, 2)``, and on its face, then back, ``(2n, 3)``.

    The latter in car axes. Folded they are laid once, wherever the plate is.
    """
    flat, folded = cage.kept.once(("bracket's points", plate.folded), partial(_laid, plate))
    return flat, plate.to_car(folded)


def _laid(plate: Plate) -> tuple[Points2, Points]:
    flat = flat_points(plate)
    return flat, plate.folded_faces(flat)


def flat_points(plate: Plate) -> Points2:
    """Points within and along the edge of a plate's flat pattern, ``(n, 2)``."""
    low, high = plate.outline.box
    x = np.arange(low[0], high[0] + GRID, 2 * GRID)
    # a saddle comes nearest to its tube on the middle line of its web, y = 0
    n = int(np.abs([low[1], high[1]]).max() / GRID) + 1
    y = np.arange(-n, n + 1) * GRID
    grid = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    return np.concatenate([grid[plate.outline.contains(grid)], plate.outline.sampled(GRID)])


def root_gap(joint: SwingJoint, radius: float) -> float:
    """Gap between plate and stub along the long welds, mm: spacer, sleeve and the tube's curve."""
    s = joint.spec
    share = EDGE if s.design == "saddle" else STUB_WIDTH
    drop = radius * (1.0 - sqrt(1.0 - share**2))
    # a cheek is welded in the groove on both sides of its line of contact, a flange at its edge
    return s.sleeve_stand + s.spacer + s.side_play / 2 + (drop if s.design == "saddle" else 0.0)


def cope_room(cage: Cage, joint: SwingJoint) -> NumberAt:
    """Bracket or half cup to the nearest of the stub's cope, along the stub, mm."""
    stub = cage.member(joint.stub)
    end: EndName = "a" if stub.a.kind is not EndKind.PINNED else "b"
    cut = cage.cut(stub.id, end)
    length = stub.path.length - cut.longest
    s = joint.spec
    taken = max(stub_end(joint) - joint.pin_offset, s.cup_overlap if s.cup else 0.0)
    return NumberAt(value=length - taken, point=joint.origin - stub_end(joint) * joint.along)


def behind_back(joint: SwingJoint, who: Occupant) -> NumberAt:
    """How far the latch's cut lies behind the person's back at its own height, x, mm."""
    z = float(joint.stub_face.point[2])
    share = (z - float(who.hip[2])) / max(float(who.shoulder[2] - who.hip[2]), 1.0)
    middle = who.hip + np.clip(share, 0.0, 1.0) * (who.shoulder - who.hip)
    back = middle - who.body.chest_depth / 2 * who.torso_forward
    # the swinging bar's end is what a back could catch on
    front = float(joint.stub_face.point[0]) + joint.gap * float(joint.along[0])
    return NumberAt(value=float(back[0]) - front, point=joint.stub_face.point)


def free_length(door: SwingDoor) -> float:
    """Level distance between the two cuts, mm: what the open bar leaves free of itself."""
    step = door.hinge.stub_face.point - door.latch.stub_face.point
    return float(np.hypot(step[0], step[1]))


def cut_reasons(cage: Cage, car: Car | None, door: SwingDoor, joint: SwingJoint) -> str:
    """Say in words where a cut lies and what speaks for it.

    Args:
        cage: the cage.
        car: the car sheet.
        door: the divided bar.
        joint: hinge or latch of the bar.
    """
    tube = cage.member(door.bar).tube
    length = cage.member(joint.stub).path.length
    room = cope_room(cage, joint).value
    words = [
        f"The {joint.name}'s cut is {length:.0f} mm from the node "
        f"({length / tube.od:.1f} diameters): {joint.spec.overlap:.0f} mm of bracket on the stub "
        f"and {room:.0f} mm clear of the cope weld."
    ]
    wall = BodySide.of(car, door.side) if car is not None else None
    if wall is not None:
        edges = opening_span(wall.outline, float(joint.stub_face.point[2]))
        x = float(joint.stub_face.point[0])
        if edges is not None:
            front = joint.along[0] < 0
            edge = edges[1] if front else edges[0]
            gap = edge - x if front else x - edge
            name = "front edge of the door opening" if front else "quarter panel"
            side = "behind" if front else "ahead of"
            words.append(f"It lies {gap:.0f} mm {side} the {name} at its own height.")
    return " ".join(words)


def opening_span(outline: Vec, z: float) -> tuple[float, float] | None:
    """Rearmost and foremost x of the door opening at a height, mm; None above and below it."""
    hits = []
    for (x0, z0), (x1, z1) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        if min(z0, z1) <= z <= max(z0, z1) and z0 != z1:
            hits.append(float(x0 + (z - z0) / (z1 - z0) * (x1 - x0)))
    return (min(hits), max(hits)) if hits else None

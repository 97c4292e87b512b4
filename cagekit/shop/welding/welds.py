"""Weld map: every joint, whether the torch reaches it in place, and what to do where it does not.

For a joint that the torch cannot reach all round in the finished cage, the mildest cure is looked
for: weld it before the tubes that hide it go in; weld it with the cage lowered or leaned away
from the shell, feet off their plates; weld it outside the car. What is left after that is told as
the share of the saddle that no lean of this torch reaches.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import cos, radians, sin

import numpy as np

from cagekit.cage.cage import Cage, Joint
from cagekit.car.shell import surfaces
from cagekit.geometry.centre_line import Vec, vec
from cagekit.geometry.shapes import Solid
from cagekit.inputs.car import Car
from cagekit.inputs.tooling import Torch
from cagekit.shop.welding.access import Reach, rays_of, reach

LOWERINGS = (50.0, 100.0, 150.0)
"""Drops (mm) tried, feet through the floor or off their plates (common practice)."""
SLIDES = (100.0, -100.0, 200.0)
"""Slides forward (mm) tried with the feet loose, to bring a weld into the door opening."""
LEANS = (radians(5.0), radians(-5.0), radians(10.0), radians(-10.0))
"""Leans tried about the main hoop's feet, rad; positive leans the top forward."""


class Way(StrEnum):
    """How a joint is welded all round."""

    IN_PLACE = "in place"
    BEFORE = "before later tubes"
    LOWERED = "cage lowered"
    LEANED = "cage leaned"
    SLID = "cage slid"
    OUTSIDE = "out of the car"
    PARTLY = "partly out of reach"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weld:
    """One joint of the weld map.

    Attributes:
        joint: the joint.
        way: how it is welded all round.
        reach: what the torch reaches in the finished cage, in the car.
        before: tubes that hide it: weld it before they go in.
        amount: drop (mm), slide (mm, positive forward) or lean (rad, positive top forward) of the
            cage, where one is needed.
        best: share of the saddle reached the way that is proposed, 0 to 1.
    """

    joint: Joint
    way: Way
    reach: Reach
    before: tuple[str, ...] = ()
    amount: float = 0.0
    best: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Moved:
    """A solid of the shell as seen from a cage that was turned and shifted against it."""

    solid: Solid
    turn: Vec
    shift: Vec
    pivot: Vec

    def gap(self, points: Vec) -> Vec:
        """Distance of the moved points ``(n, 3)`` to the solid, ``(n,)`` mm."""
        return self.solid.gap((points - self.pivot) @ self.turn.T + self.pivot + self.shift)

    def nearest(self, points: Vec) -> Vec:
        """Nearest spots, in the cage's own frame, ``(n, 3)`` mm."""
        moved = (points - self.pivot) @ self.turn.T + self.pivot + self.shift
        return np.asarray(
            (self.solid.nearest(moved) - self.shift - self.pivot) @ self.turn + self.pivot
        )


def weld_map(cage: Cage, car: Car, torch: Torch) -> tuple[Weld, ...]:
    """Work out the weld map of a cage in its car.

    Args:
        cage: the whole cage.
        car: shell that is in the way of the torch.
        torch: size and reach of the torch.
    """
    shell = {s.name: s.solid for s in surfaces(car) if not s.moves and not s.trimmed}
    order = list(cage.members)
    return tuple(_weld(cage, joint, torch, shell, order) for joint in cage.joints)


def _weld(
    cage: Cage, joint: Joint, torch: Torch, shell: Mapping[str, Solid], order: Sequence[str]
) -> Weld:
    near = _near(cage, joint, torch, order)
    rays = rays_of(cage, joint, torch)
    done = reach(cage, joint, torch, present=near, shell=shell, rays=rays)
    if done.whole:
        return Weld(joint=joint, way=Way.IN_PLACE, reach=done)
    stage = order.index(joint.branch)
    earlier = [m for m in near if order.index(m) <= stage]
    now = reach(cage, joint, torch, present=earlier, shell=shell, rays=rays)
    later = tuple(m for m in done.blocked_by if m in cage.members and order.index(m) > stage)
    if now.whole and later:
        return Weld(joint=joint, way=Way.BEFORE, reach=done, before=later)
    best = Weld(joint=joint, way=Way.PARTLY, reach=done, before=later, best=now.share)
    for way, amount, moved in _moves(cage, shell):
        tried = reach(cage, joint, torch, present=earlier, shell=moved, rays=rays)
        if tried.whole:
            return Weld(joint=joint, way=way, reach=done, before=later, amount=amount)
        if tried.share > best.best + 1e-9:
            best = Weld(
                joint=joint,
                way=Way.PARTLY,
                reach=done,
                before=later,
                amount=amount,
                best=tried.share,
            )
    free = reach(cage, joint, torch, present=earlier, shell={}, rays=rays)
    if free.whole:
        return Weld(joint=joint, way=Way.OUTSIDE, reach=done, before=later)
    if free.share > best.best:
        return Weld(joint=joint, way=Way.PARTLY, reach=done, before=later, best=free.share)
    return best


def _near(cage: Cage, joint: Joint, torch: Torch, order: Sequence[str]) -> list[str]:
    """Members near enough for a torch at this joint to touch them, in build order."""
    length = torch.stickout + torch.nozzle_length + torch.body_length + torch.body_diameter
    point = np.asarray(joint.point)[None, :]
    return [
        m
        for m in order
        if float(cage.members[m].path.distances(point)[0]) < length + 2 * cage.members[m].tube.od
    ]


def _moves(cage: Cage, shell: Mapping[str, Solid]) -> list[tuple[Way, float, dict[str, Solid]]]:
    """Lowered, leaned and slid positions of the cage, the mildest first."""
    pivot = vec((0.0, 0.0, min(float(m.path.start[2]) for m in cage.members.values())))
    still = np.eye(3)
    out: list[tuple[Way, float, dict[str, Solid]]] = []
    for drop in LOWERINGS:
        shift = vec((0.0, 0.0, -drop))
        out.append(
            (Way.LOWERED, drop, {n: Moved(s, still, shift, pivot) for n, s in shell.items()})
        )
    for lean in LEANS:
        turn = np.array(
            [[cos(lean), 0.0, sin(lean)], [0.0, 1.0, 0.0], [-sin(lean), 0.0, cos(lean)]]
        )
        none = vec((0.0, 0.0, 0.0))
        out.append((Way.LEANED, lean, {n: Moved(s, turn, none, pivot) for n, s in shell.items()}))
    for slide in SLIDES:
        shift = vec((slide, 0.0, 0.0))
        out.append((Way.SLID, slide, {n: Moved(s, still, shift, pivot) for n, s in shell.items()}))
    return out

"""Whether a welding torch reaches all round a joint, and what stands in its way.

Round the saddle, spots are taken; at each the torch stands on the bisector of the two surfaces
and may lean off it as far as the tooling sheet allows. The torch is a nozzle and a body, two
cylinders in line. A spot is reached when some lean keeps the torch clear of the other tubes and
of the car's shell. The joint's own tubes count for the body only: the nozzle rests on them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import cos, pi, sin

import numpy as np

from cagekit.cage.cage import Cage, Joint
from cagekit.car.shell import Boxed
from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import Vec
from cagekit.geometry.contact import Contact
from cagekit.geometry.end_cut import EndCut, contacts
from cagekit.inputs.tooling import Torch
from cagekit.units.tolerance import ALIGNED, ALONG, ROUNDING

SPOTS = 24
"""Spots looked at round a saddle."""
PHI = (np.arange(SPOTS) + 0.5) * (2 * pi / SPOTS)
"""Their angles round the branch, rad."""
LEANS = (0.0, 0.5, 1.0)
"""Leans tried, as shares of the largest one, in each of eight ways."""
AXIAL = 14
"""Spots looked at along the torch."""
TIGHT = np.radians(30.0)
"""Below this angle between the surfaces the root is not reached: AWS D1.1 treats local dihedral
angles under 30 degrees apart (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reach:
    """How much of a joint's saddle a torch reaches.

    Attributes:
        joint: id of the joint.
        reached: per spot, whether some lean of the torch is clear, ``(SPOTS,)``.
        points: the spots, ``(SPOTS, 3)`` mm.
        blocked_by: what stands in the way at spots that are not reached: member ids and names of
            shell surfaces, the most frequent first.
        tight: share of spots where the tubes themselves leave too narrow a gap for the nozzle.
    """

    joint: str
    reached: np.ndarray
    points: Points
    blocked_by: tuple[str, ...]
    tight: float

    @property
    def share(self) -> float:
        """Share of the saddle that is reached, 0 to 1."""
        return float(self.reached.mean())

    @property
    def whole(self) -> bool:
        """Whether the torch reaches all round."""
        return bool(self.reached.all())


InWay = np.ndarray
"""At which spots and leans ``(n, k)`` of a torch something stands in its way."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rays:
    """The torch round a saddle, whatever stands around it.

    Attributes:
        points: spots, ``(n, 3)`` mm.
        tight: at which spots the surfaces leave too narrow a gap for the nozzle, ``(n,)``.
        tips: middles of the torch's pieces at each spot and lean, ``(n, k, m, 3)`` mm.
        radius: of the pieces, ``(m,)`` mm.
        is_body: which pieces are body, not nozzle, ``(m,)``.
    """

    points: Points
    tight: np.ndarray
    tips: Vec
    radius: Vec
    is_body: np.ndarray

    def clashes(self, solids: Mapping[str, Boxed]) -> dict[str, InWay]:
        """Where each of some solids stands in the way; one whose box lies off the torch nowhere.

        Args:
            solids: parts of the car, by name.
        """
        around = self.radius[:, None] + ROUNDING
        low = (self.tips - around).min(axis=(0, 1, 2))
        high = (self.tips + around).max(axis=(0, 1, 2))
        nowhere = np.zeros(self.tips.shape[:2], bool)
        out = {}
        for name, solid in solids.items():
            first, last = solid.box
            off = (first > high).any() or (last < low).any()
            out[name] = nowhere if off else self.clash(solid.gap)
        return out

    def clash(self, gap: Callable[[Points], Vec], *, own: bool = False) -> InWay:
        """Where something stands in the way of the torch.

        Args:
            gap: distance of points ``(n, 3)`` to it, mm.
            own: it is one of the joint's own tubes; the nozzle rests on these.
        """
        short = gap(self.tips.reshape(-1, 3)).reshape(self.tips.shape[:3]) < self.radius
        return np.asarray((short & (self.is_body if own else True)).any(axis=2))


def rays_of(joints: Sequence[Joint], torch: Torch) -> list[Rays]:
    """Where the torch is tried at each of some joints, whatever stands around it.

    Args:
        joints: the joints that are welded.
        torch: size and reach of the torch.
    """
    cuts = [joint.cut for joint in joints]
    found = contacts([(cut, PHI, cut.outer_radius) for cut in cuts])
    return [_rays(cut, c, torch) for cut, c in zip(cuts, found, strict=True)]


def _rays(cut: EndCut, c: Contact, torch: Torch) -> Rays:
    points, normals, seats = _saddle(cut, c)
    ways = _leans(normals, seats, torch.work_angle)
    along, radius, is_body = _torch(torch)
    opening = pi - np.arccos(np.clip(np.einsum("ij,ij->i", normals, seats), -1.0, 1.0))
    return Rays(
        points=points,
        tight=opening < TIGHT,
        tips=points[:, None, None, :] + ways[:, :, None, :] * along[None, None, :, None],
        radius=radius,
        is_body=is_body,
    )


def clash_with(cage: Cage, joint: Joint, rays: Rays, member: str) -> InWay:
    """Where a tube of the cage stands in the way of the torch at a joint.

    Args:
        cage: the cage.
        joint: one of its joints.
        rays: the torch round it.
        member: id of the tube.
    """
    path, radius = cage.member(member).path, cage.member(member).tube.outer_radius
    own = member in (joint.branch, *joint.parents)
    return rays.clash(lambda p: path.distances(p) - radius, own=own)


def reach_past(joint: Joint, rays: Rays, clashes: Mapping[str, InWay]) -> Reach:
    """What the torch reaches past all that stands in its way.

    Args:
        joint: the joint.
        rays: the torch round it.
        clashes: where each thing stands in its way, by name.
    """
    counts = {n: int(c.sum()) for n, c in clashes.items() if c.any()}
    blocked = np.zeros(rays.tips.shape[:2], dtype=bool)
    for name in counts:
        blocked |= clashes[name]
    reached = ~blocked.all(axis=1) & ~rays.tight
    order = sorted(counts, key=lambda c: (-counts[c], c))
    return Reach(
        joint=joint.id,
        reached=reached,
        points=rays.points,
        blocked_by=() if reached.all() else tuple(order),
        tight=float(rays.tight.mean()),
    )


def _saddle(cut: EndCut, c: Contact) -> tuple[Points, Points, Points]:
    """Spots round the saddle, outward normals of branch and parent there, ``(n, 3)`` each."""
    points = cut.points(PHI, cut.outer_radius, c.s)
    normals = np.cos(PHI)[:, None] * cut.zero + np.sin(PHI)[:, None] * cut.side
    seats = np.empty_like(points)
    for which in set(c.active.tolist()):
        here = c.active == which
        seats[here] = -cut.out if which < 0 else cut.surfaces[which].normals(points[here])
    return points, normals, seats


def _leans(normals: Points, seats: Vec, largest: float) -> Vec:
    """Directions of the torch away from the weld, ``(n, k, 3)``: bisectors first, then leans."""
    middle = normals + seats
    flat = (middle * middle).sum(axis=1) < ALONG
    axis = _rows_unit(np.where(flat[:, None], normals, middle))
    across = np.cross(normals, seats)
    level = (across * across).sum(axis=1) <= ALIGNED
    first = _rows_unit(np.where(level[:, None], np.cross(axis, [0.3, 0.5, 0.8]), across))
    second = np.cross(axis, first)
    out = [axis]
    for share in LEANS[1:]:
        a = share * largest
        for i in range(8):
            way = cos(i * pi / 4) * first + sin(i * pi / 4) * second
            out.append(cos(a) * axis + sin(a) * way)
    return np.stack(out, axis=1)


def _rows_unit(rows: Vec) -> Vec:
    return np.asarray(rows / np.linalg.norm(rows, axis=1)[:, None])


def _torch(torch: Torch) -> tuple[Vec, Vec, np.ndarray]:
    """Distances along the torch from the weld, its radius there (mm), and whether that is body."""
    nozzle = torch.stickout + np.linspace(0.1, 1.0, AXIAL // 2) * torch.nozzle_length
    start = torch.stickout + torch.nozzle_length
    body = start + np.linspace(0.15, 1.0, AXIAL - AXIAL // 2) * torch.body_length
    along = np.concatenate([nozzle, body])
    is_body = along > start
    radius = np.where(is_body, torch.body_diameter / 2, torch.nozzle_diameter / 2)
    return along, radius, is_body


def worst_first(reaches: Sequence[Reach]) -> list[Reach]:
    """Reaches with the least reached joint first, then by joint."""
    return sorted(reaches, key=lambda r: (r.share, r.joint))

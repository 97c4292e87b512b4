"""Whether a welding torch reaches all round a joint, and what stands in its way.

Round the saddle, spots are taken; at each the torch stands on the bisector of the two surfaces
and may lean off it as far as the tooling sheet allows. The torch is a nozzle and a body, two
cylinders in line. A spot is reached when some lean keeps the torch clear of the other tubes and
of the car's shell. The joint's own tubes count for the body only: the nozzle rests on them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from math import cos, pi, sin

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from cagekit.cage.cage import Cage, Joint
from cagekit.car.shell import Boxed, Skin
from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import Vec
from cagekit.geometry.contact import Contact
from cagekit.geometry.end_cut import EndCut, contacts
from cagekit.inputs.tooling import Torch
from cagekit.shop.welding.moves import Pose
from cagekit.units.tolerance import ALIGNED, ALONG, ROUNDING

SPOTS = 24
"""Spots looked at round a saddle."""
PHI = (np.arange(SPOTS) + 0.5) * (2 * pi / SPOTS)
"""Their angles round the branch, rad."""
LEANS = (0.0, 0.5, 1.0)
"""Leans tried, as shares of the largest one, in each of eight ways."""
AXIAL = 14
"""Spots looked at along the torch, half of them on the nozzle."""
TIGHT = np.radians(30.0)
"""Below this angle between the surfaces the root is not reached: AWS D1.1 treats local dihedral
angles under 30 degrees apart (from memory)."""


class Reach(Struct, frozen=True, kw_only=True, eq=False):
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


class Rays(Struct, frozen=True, kw_only=True, eq=False):
    """The torch round a saddle, whatever stands around it.

    Attributes:
        points: spots, ``(n, 3)`` mm.
        tight: at which spots the surfaces leave too narrow a gap for the nozzle, ``(n,)``.
        tips: middles of the torch's pieces at each spot and lean, those of the nozzle and those of
            the body, ``(n, k, 2, m, 3)`` mm.
        middles: of nozzle and body, ``(n, k, 2, 3)`` mm.
        radius: of nozzle and body, ``(2,)`` mm.
        half: from the middle of either to its farthest piece, ``(2,)`` mm.
    """

    points: Points
    tight: np.ndarray
    tips: Vec
    middles: Vec
    radius: Vec
    half: Vec

    def moved(self, pose: Pose) -> Rays:
        """The torch where it is once the cage is moved."""
        tips, middles = (
            pose.points(at.reshape(-1, 3)).reshape(at.shape) for at in (self.tips, self.middles)
        )
        return replace(self, tips=tips, middles=middles)

    def clashes(self, solids: Mapping[str, Boxed]) -> dict[str, InWay]:
        """Where each of some solids stands in the way; one whose box lies off the torch nowhere.

        Args:
            solids: parts of the car, by name.
        """
        around = (self.half + self.radius)[:, None] + ROUNDING
        low = (self.middles - around).min(axis=(0, 1, 2))
        high = (self.middles + around).max(axis=(0, 1, 2))
        nowhere = np.zeros(self.tips.shape[:2], bool)
        out = {}
        for name, solid in solids.items():
            first, last = solid.box
            off = (first > high).any() or (last < low).any()
            least = solid.at_least if isinstance(solid, Skin) else solid.gap
            out[name] = nowhere if off else self.clash(solid.gap, least)
        return out

    def clash(
        self,
        gap: Callable[[Points], Vec],
        least: Callable[[Points], Vec] | None = None,
        *,
        own: bool = False,
    ) -> InWay:
        """Where something stands in the way of the torch.

        It is asked of the pieces where it is no farther from the middle of nozzle or body than
        they reach.

        Args:
            gap: distance of points ``(n, 3)`` to it, mm.
            least: what that is at least, no less by any step than the step is long; left out where
                the distance itself is exact.
            own: it is one of the joint's own tubes; the nozzle rests on these.
        """
        middles = self.middles[:, :, own:]
        away = (least or gap)(middles.reshape(-1, 3)).reshape(middles.shape[:3])
        near = away < (self.half + self.radius)[own:] + ROUNDING
        tips, radius = self.tips[:, :, own:][near], np.nonzero(near)[2]
        short = gap(tips.reshape(-1, 3)).reshape(tips.shape[:2])
        out = np.zeros(near.shape, bool)
        out[near] = (short < self.radius[own:][radius, None]).any(axis=1)
        return np.asarray(out.any(axis=2))


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
    along, radius = _torch(torch)
    middle, half = along.mean(axis=1), np.ptp(along, axis=1) / 2
    opening = pi - np.arccos(np.clip(np.einsum("ij,ij->i", normals, seats), -1.0, 1.0))
    start, way = points[:, None, None, :], ways[:, :, None, :]
    return Rays(
        points=points,
        tight=opening < TIGHT,
        tips=start[:, :, None] + way[:, :, None] * along[..., None],
        middles=start + way * middle[:, None],
        radius=radius,
        half=half,
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


def _torch(torch: Torch) -> tuple[Vec, Vec]:
    """Distances along the torch from the weld ``(2, m)`` and its radius ``(2,)``, mm.

    Of the nozzle, then of the body.
    """
    end = torch.stickout + torch.nozzle_length
    nozzle = torch.stickout + np.linspace(0.1, 1.0, AXIAL // 2) * torch.nozzle_length
    body = end + np.linspace(0.15, 1.0, AXIAL // 2) * torch.body_length
    return np.array([nozzle, body]), np.array([torch.nozzle_diameter, torch.body_diameter]) / 2


def worst_first(reaches: Sequence[Reach]) -> list[Reach]:
    """Reaches with the least reached joint first, then by joint."""
    return sorted(reaches, key=lambda r: (r.share, r.joint))

"""The foot of a tube: where it stands, what it prints on the plate, what sheet is below."""

from __future__ import annotations

from collections.abc import Sequence
from math import pi
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from cagekit.cage.kept import content
from cagekit.geometry.arrays import Points, cross3
from cagekit.geometry.centre_line import Vec, unit
from cagekit.geometry.end_cut import contacts
from cagekit.geometry.outline import Outline, Vec2
from cagekit.geometry.segment import POINT_TOL
from cagekit.units.tolerance import ROUNDING

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.cage.member import EndName, Member
    from cagekit.inputs.car import Car, FootSpot


_ROUND = np.linspace(0.0, 2 * pi, 48, endpoint=False)
"""Angles (rad) at which a tube is looked at where it stands."""
HOOPS = ("main_hoop", "front_hoop", "half_hoop", "lateral_hoop")
"""Roles of hoops with feet of their own."""


def foot_kind(member: Member) -> Literal["hoop", "backstay", "other"]:
    """What rulebooks call the foot of a member; an A-pillar bar stands like a hoop's leg."""
    if member.role in HOOPS or member.role == "a_pillar_bar":
        return "hoop"
    return "backstay" if member.role == "rear_brace" else "other"


class Foot(Struct, frozen=True, kw_only=True, eq=False):
    """A tube's foot in the frame of its plate.

    Args:
        member: id of the tube.
        end: which end of it.
        od: outside diameter, mm.
        frame: ``(4, 4)`` plate frame in car axes: origin in the middle of the foot on the plate's
            face, x forward along the face, y to the left, z away from the floor.
        print: outline of the tube on the face, in the frame's x, y.
        weld_length: length round the foot, mm.
        side: +1 on the left half of the car, -1 on the right.
        sheet: thickness of the car's metal there, mm.
        profile: floor section ``(n, 2)`` in the frame's y and z, y rising, or empty.
        surface: what is there: ``floor``, ``frame``, ``tower``, ``outrigger``.
    """

    member: str
    end: str
    od: float
    frame: Vec
    print: Outline
    weld_length: float
    side: float = 1.0
    sheet: float = 1.0
    profile: tuple[tuple[float, float], ...] = ()
    surface: str = "floor"

    @property
    def name(self) -> str:
        """The foot as a place: ``main_hoop end a``."""
        return f"{self.member} end {self.end}"

    @classmethod
    def square(cls, od: float, *, member: str = "tube", end: str = "a") -> Foot:
        """A tube that stands upright on a level floor at the origin.

        Args:
            od: of the tube, mm.
            member: id of the tube.
            end: which end of it.
        """
        return cls(
            member=member,
            end=end,
            od=od,
            frame=np.eye(4),
            print=Outline.circle((0.0, 0.0), od),
            weld_length=pi * od,
        )

    @classmethod
    def of(cls, cage: Cage, member: str, end: EndName, car: Car | None) -> Foot:
        """The foot of a tube that stands flat; ``car`` tells the sheet below it.

        Args:
            cage: the cage.
            member: id of the tube.
            end: which end of it.
            car: the car sheet.
        """
        m = cage.member(member)
        spot = car.foot(m.end(end).foot) if car else None
        return cls.on(cage, m, end, spot)

    @classmethod
    def on(cls, cage: Cage, m: Member, end: EndName, spot: FootSpot | None) -> Foot:
        """The same on a spot that the car sheet may have there.

        Args:
            cage: the cage.
            m: the tube.
            end: which end of it.
            spot: of the car sheet.
        """
        how = m.end(end)
        frame = _frame(m, end)
        (ring,) = prints(cage, [(m, end)])
        side = 1.0 if float(frame[1, 3]) >= 0 else -1.0
        return cls(
            member=m.id,
            end=end,
            od=m.tube.od,
            frame=frame,
            print=ring,
            weld_length=ring.length,
            side=side,
            sheet=spot.sheet if spot else 1.0,
            profile=_section(frame, side, spot.profile) if spot else (),
            surface=how.surface or "floor",
        )


def prints(cage: Cage, feet: Sequence[tuple[Member, EndName]]) -> list[Outline]:
    """Outlines of tubes on the faces that they stand on, all in one pass.

    Args:
        cage: the cage.
        feet: tubes and their ends that stand flat.
    """
    cuts = [cage.cut(m.id, end) for m, end in feet]
    frames = [_frame(m, end) for m, end in feet]
    radii = [m.tube.outer_radius for m, _ in feet]
    keys = [("print", *row) for row in zip(cuts, map(content, frames), radii, strict=True)]

    def made(missing: Sequence[int]) -> list[Outline]:
        found = contacts([(cuts[i], _ROUND, radii[i]) for i in missing])
        return [
            _print(frames[i], cuts[i].points(_ROUND, radii[i], c.s))
            for i, c in zip(missing, found, strict=True)
        ]

    return cage.kept.each(keys, made)


def _print(frame: Vec, points: Points) -> Outline:
    """The outline through points ``(n, 3)`` mm on the face with ``frame``."""
    return through(_local(frame, points)[:, :2]).anticlockwise()


def _frame(member: Member, end: EndName) -> Vec:
    """The frame ``(4, 4)`` of the face that an end stands on."""
    plane = member.end(end).plane
    assert plane is not None
    return plate_frame(member.path.end_point(end), plane.normal)


def plate_frame(point: ArrayLike, normal: ArrayLike) -> Vec:
    """Frame ``(4, 4)`` of a plate's face at ``point``: z along ``normal``, x forward, y left.

    On a face that looks forward or back, x points up.
    """
    z = unit(normal)
    ahead = np.array([1.0, 0.0, 0.0]) if abs(float(z[0])) < 0.9 else np.array([0.0, 0.0, 1.0])
    x = unit(ahead - (ahead @ z) * z)
    m = np.eye(4)
    m[:3, 0], m[:3, 1], m[:3, 2], m[:3, 3] = x, cross3(z, x), z, np.asarray(point, float)
    return m


def through(points: Vec2) -> Outline:
    """A closed outline of arcs through an even number of points ``(2 n, 2)``, two steps each."""
    return _through(np.concatenate([points, points[:1]]), closed=True)


def through_open(points: Vec2) -> Outline:
    """An open chain of arcs through an odd number of points ``(2 n + 1, 2)``, two steps each."""
    return _through(points, closed=False)


def _through(points: Vec2, *, closed: bool) -> Outline:
    """Arcs through points ``(2 n + 1, 2)``; empty ones are left out, straight where in line."""
    a, m, b = points[:-2:2], points[1::2], points[2::2]
    chord, way = b - a, m - a
    size = np.hypot(chord[:, 0], chord[:, 1])
    keep = size > POINT_TOL
    chord, way, size = chord[keep], way[keep], size[keep]
    rise = (chord[:, 1] * way[:, 0] - chord[:, 0] * way[:, 1]) / size
    along = (way[:, 0] * chord[:, 0] + way[:, 1] * chord[:, 1]) / size
    flat = np.abs(rise) < ROUNDING
    rise = np.where(flat, 1.0, rise)
    centre = (rise**2 + along**2 - along * size) / (2 * rise)
    radius = np.hypot(centre, size / 2) * np.sign(rise)
    bulges = np.where(flat, 0.0, (centre + radius) / (size / 2))
    if closed:
        return Outline(a[keep], bulges)
    return Outline(np.concatenate([a[keep], b[keep][-1:]]), np.append(bulges, 0.0), closed=False)


def _local(frame: Vec, points: Vec) -> Vec:
    return np.asarray((points - frame[:3, 3]) @ frame[:3, :3])


def _section(
    frame: Vec, side: float, profile: tuple[tuple[float, float], ...]
) -> tuple[tuple[float, float], ...]:
    """The car sheet's section (outboard, up) at a foot, in the plate's y and z."""
    if len(profile) < 2:
        return ()
    points = np.array([[frame[0, 3], side * y, z] for y, z in profile])
    local = _local(frame, points)[:, 1:]
    order = local if local[0, 0] <= local[-1, 0] else local[::-1]
    return tuple((float(y), float(z)) for y, z in order)

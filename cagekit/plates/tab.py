"""Tabs: small plates with one hole that stand on a tube, for harness anchors, seats and nets."""

from __future__ import annotations

from collections.abc import Sequence
from math import atan2, pi, sqrt
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct

from cagekit.cage.places import Places
from cagekit.cage.plate import Hole, HolePurpose, Pin, Plate, PlateWeld, circle_segment
from cagekit.errors import GeometryError, InputError
from cagekit.geometry.centre_line import CentreLine, Vec, unit
from cagekit.geometry.outline import Outline, Segment, Vec2, vec2
from cagekit.inputs.places import OnTube
from cagekit.inputs.plate import PLATE_STEEL, PlateEntry, Tab, TabEntry, usual_grade
from cagekit.materials.fasteners import fastener
from cagekit.plates.seat import drawn, seat
from cagekit.units.tolerance import SAME_POINT

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.inputs.build import Build


class TabSpec(Struct, frozen=True, kw_only=True):
    """Sizes of a tab, mm; ``pull`` is the load's direction in car axes."""

    thickness: float
    material: str
    hole: float
    reach: float
    width: float
    ear: float
    weld_gap: float = 0.5
    count: int = 1
    gap: float = 12.0
    weld_leg: float = 4.0
    pull: tuple[float, float, float] | None = None
    pin: float = 0.0
    grade: str = ""

    @classmethod
    def of(
        cls,
        tab: Tab,
        thickness: float,
        units: Literal["mm", "in"] = "mm",
        *,
        pull: tuple[float, float, float] | None = None,
    ) -> TabSpec:
        """Make the choices that a tab leaves open.

        Args:
            tab: the sizes.
            thickness: of the plate, mm.
            units: that decide over the usual steel.
            pull: direction of the pull, in car axes.
        """
        size = tab.bolt_size
        bolt = fastener(size, tab.bolt_grade or usual_grade(size)) if size else None
        return cls(
            thickness=thickness,
            material=tab.material or PLATE_STEEL[units],
            hole=tab.hole,
            reach=tab.reach,
            width=tab.width,
            ear=tab.ear,
            weld_gap=tab.weld_gap,
            count=tab.count,
            gap=tab.gap,
            weld_leg=tab.weld_leg,
            pull=pull,
            pin=bolt.diameter if bolt else 0.0,
            grade=bolt.grade if bolt else "",
        )


def make(build: Build, cage: Cage, entry: PlateEntry, where: str) -> Sequence[Plate]:
    """Make the tab or the two cheeks of a clevis of one entry.

    Args:
        build: the build, with car, tooling and presets.
        cage: the cage.
        entry: what the file says.
        where: what a message names.

    Raises:
        InputError: it is not on a tube.
    """
    assert isinstance(entry, TabEntry)
    if not isinstance(entry.at, OnTube):
        raise InputError(
            where,
            "at",
            str(entry.at or ""),
            problem="a tab stands on a tube.",
            hint="Write e.g. `on harness_bar at y 90`.",
        )
    places = Places(build.car, cage.members, build.names_left_out, cage.by_own_name)
    place = places.find(entry.at, where=where)
    assert place.spot is not None
    member = cage.member(place.members[0])
    thickness = entry.thickness or build.foot_plate
    spec = TabSpec.of(entry, thickness, build.units, pull=entry.pull)
    name = entry.id or f"{entry.use}_tab_{member.id}"
    return cage.kept.call(
        tabs,
        name,
        member.id,
        member.path,
        member.tube.outer_radius,
        place.spot.station,
        spec,
        entry.toward,
    )


def tabs(
    plate_id: str,
    member: str,
    path: CentreLine,
    radius: float,
    station: float,
    spec: TabSpec,
    toward: tuple[float, float, float],
) -> tuple[Plate, ...]:
    """Make one tab, or two for a clevis, on a tube.

    Args:
        plate_id: name; a clevis adds ``_1`` and ``_2``.
        member: id of the tube.
        path: its centre line.
        radius: its outside radius, mm.
        station: where on it, mm from end a.
        spec: sizes.
        toward: direction the tab stands off the tube.

    Raises:
        GeometryError: the hole leaves no ear, or the tab would lie along the tube.
    """
    _require(plate_id, spec)
    spot = path.spot(station)
    room = min(station, path.length - station)
    if room < spec.width / 2:
        raise GeometryError(
            plate_id,
            f"is {spec.width:.0f} mm wide and its middle {room:.1f} mm from an end of {member}, "
            f"whose axis is {path.length:.0f} mm long: it would reach past that end.",
            f"Move it {spec.width / 2 - room + 0.5:.0f} mm or more along the tube, away from that "
            "end, or make it narrower.",
        )
    way = unit(toward)
    side = way - (way @ spot.tangent) * spot.tangent
    if float(np.linalg.norm(side)) < 0.2:
        hint = "Change its direction (`toward`)."
        raise GeometryError(plate_id, f"would stand along {member}.", hint)
    y = unit(side)
    frame = np.eye(4)
    frame[:3, 0], frame[:3, 1], frame[:3, 2] = spot.tangent, y, np.cross(spot.tangent, y)
    frame[:3, 3] = spot.point
    centre = np.array([0.0, radius + spec.reach])
    outline = _outline(plate_id, path, spot.point, spot.tangent, y, radius, spec, centre)
    load = _load(frame, spec.pull or toward)
    offsets = (
        [0.0]
        if spec.count == 1
        else [-(spec.gap + spec.thickness) / 2, (spec.gap + spec.thickness) / 2]
    )
    out = []
    for n, offset in enumerate(offsets, 1):
        shift = np.eye(4)
        shift[2, 3] = offset + spec.thickness / 2
        out.append(
            Plate(
                id=plate_id if spec.count == 1 else f"{plate_id}_{n}",
                kind="tab",
                thickness=spec.thickness,
                material=spec.material,
                outline=outline,
                holes=(Hole.circle(centre, spec.hole, HolePurpose.PIN),),
                pins=(
                    Pin(
                        hole=0,
                        diameter=spec.pin or spec.hole,
                        shear_planes=spec.count,
                        load=load,
                        grade=spec.grade,
                        grip=spec.count * spec.thickness + (spec.gap if spec.count == 2 else 0.0),
                    ),
                ),
                welds=(PlateWeld(to=member, length=2 * spec.width, leg=spec.weld_leg),),
                base=vec2(centre - np.array([0.0, (spec.ear + spec.hole / 2) / 2])),
                placement=frame @ shift,
                members=(member,),
            )
        )
    return tuple(out)


def _require(owner: str, spec: TabSpec) -> None:
    ring = spec.ear - spec.hole / 2
    if ring < 0.5 * spec.hole:
        raise GeometryError(
            owner,
            f"a hole of {spec.hole:.1f} mm in an ear of {spec.ear:.1f} mm radius leaves "
            f"{ring:.1f} mm ({0.5 * spec.hole:.1f} mm at least).",
            f"Use an ear of {spec.hole:.1f} mm radius or more.",
        )
    if spec.pin > spec.hole:
        raise GeometryError(
            owner, f"the bolt of {spec.pin:.1f} mm does not go into a hole of {spec.hole:.1f} mm."
        )
    if spec.reach < spec.ear:
        raise GeometryError(
            owner,
            f"the ear of {spec.ear:.1f} mm radius would run into the tube {spec.reach:.1f} mm off.",
            "Use a longer reach.",
        )


def _outline(
    owner: str,
    path: CentreLine,
    origin: Vec,
    along: Vec,
    across: Vec,
    radius: float,
    spec: TabSpec,
    centre: Vec2,
) -> Outline:
    """Edge on the tube, two flanks tangent to the ear, the ear."""
    reach = radius + spec.weld_gap
    height = seat(path, origin, along, across, reach, spec.thickness, owner=owner)
    half = spec.width / 2
    edge = drawn(np.array([[a, height(a)] for a in np.linspace(-half, half, 9)]))
    right = tangent_angle(edge[-1].end, centre, spec.ear, owner, side=1.0)
    left = tangent_angle(edge[0].start, centre, spec.ear, owner, side=-1.0)
    sweep = (left - right) % (2 * pi)
    arc = circle_segment(centre, spec.ear, right, right + sweep)
    return Outline.of_segments(
        [*edge, Segment(edge[-1].end, arc.start), arc, Segment(arc.end, edge[0].start)]
    )


def tangent_angle(point: Vec2, centre: Vec2, radius: float, owner: str, *, side: float) -> float:
    """Angle (rad) at which a straight from ``point`` touches a circle, right side for +1.

    Args:
        point: start of the straight, ``(2,)`` mm.
        centre: ``(2,)`` mm.
        radius: mm.
        owner: what a message names.
        side: 1 or -1.

    Raises:
        GeometryError: the point lies inside the circle.
    """
    w = centre - point
    size = float(np.hypot(*w))
    if size <= radius:
        raise GeometryError(
            owner,
            f"the foot of the flank lies inside the ear ({size:.1f} mm from its middle, radius "
            f"{radius:.1f} mm).",
            "Use a longer reach or a smaller ear.",
        )
    base = atan2(float(-w[1]), float(-w[0]))
    return base + side * float(np.arccos(radius / size))


def _load(frame: Vec, pull: tuple[float, float, float]) -> tuple[float, float]:
    flat = np.asarray(pull, float) @ frame[:3, :2]
    size = sqrt(float(flat @ flat))
    if size < SAME_POINT:
        return (0.0, 1.0)
    return float(flat[0] / size), float(flat[1] / size)

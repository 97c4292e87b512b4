"""Main hoop: one tube from floor to floor behind the driver, bent to the shell."""

from __future__ import annotations

from math import acos, radians, tan

import numpy as np

from cagekit.cage.member import Member
from cagekit.cage.places import Place
from cagekit.errors import GeometryError, InputError
from cagekit.geometry.centre_line import CentreLine, Spot, Vec, unit, vec
from cagekit.inputs.entries import HoopEntry, HoopForm
from cagekit.members.site import Site
from cagekit.units.tolerance import SETTLED

STRAIGHTEN = radians(2.0)
"""A belt bend flatter than this is left out: nobody bends it (common practice)."""
LOOKS = 60
"""Looks for the place below a foot at most; each leaves the squared sine of the tube's rise."""


def make(site: Site, entry: HoopEntry) -> list[Member]:
    """Make the main hoop from the shell section of both sides.

    The leg runs from the foot to the belt line and on along belt and rail to the top; the top
    bend's corner is where that line meets the top bar.
    """
    tube = site.tube(entry, "main_hoop")
    top = _top(site, entry, tube.od)
    feet = [_foot(site, entry, side) for side in ("left", "right")]
    legs = [
        _leg(site, entry, side, foot, top, tube.od)
        for side, foot in zip(("left", "right"), feet, strict=True)
    ]
    # a hoop lies in one plane: the left foot's, when the feet are not abreast
    x = float(feet[0].point[0])
    right = [legs[1][0], *(np.array([x, y, z]) for _, y, z in legs[1][1:])]
    return [site.member(entry, "main_hoop", hoop_points(entry, legs[0], right), *feet)]


def hoop_points(form: HoopForm, left: list[np.ndarray], right: list[np.ndarray]) -> np.ndarray:
    """Corners of the whole hoop from left foot to right foot, leaned, ``(n, 3)`` mm.

    Args:
        form: how the hoop is made.
        left: corners of the left leg from foot to top bend, of a hoop that does not lean.
        right: of the right leg.
    """
    points = np.array([*left, *reversed(right)])
    rise = points[1:-1, 2] - points[0, 2]
    points[1:-1, 0] -= rise * tan(form.lean)
    return points


def _top(site: Site, entry: HoopEntry, od: float) -> float:
    """Height of the top bar's axis, mm."""
    if entry.height is not None:
        return entry.height - od / 2
    roof = site.car.roof
    if roof is None:
        raise InputError(
            site.where(entry, "height"),
            problem="an open car has no roof to take the height from.",
            hint="Give the hoop's height.",
        )
    gap = entry.gap if entry.roof_gap is None else entry.roof_gap
    return roof.height_at_hoop - gap - od / 2


def _foot(site: Site, entry: HoopEntry, side: str) -> Place:
    """The foot on the sheet, or on the outrigger when the cage has one there."""
    place = site.foot(side, "main_foot", owner=entry.id)
    outrigger = site.of_kind("outrigger", side)
    if outrigger is None:
        return place
    axis = _below(outrigger.path, place.point)
    beside = float(np.hypot(*(axis.point - place.point)[:2]))
    if beside > outrigger.tube.od / 2:
        raise GeometryError(
            entry.id,
            f"would miss {outrigger.id}, whose axis passes {beside:.0f} mm beside the foot on the "
            f"{side}.",
            "Move the outrigger's ends, or measure the main foot again (`point` of "
            f"[{side}.main_foot] or [side.main_foot] on the car sheet).",
        )
    return Place(point=axis.point, members=(outrigger.id,), spot=axis)


def _below(path: CentreLine, point: Vec) -> Spot:
    """Where a tube passes nearest to a point as seen from above: also one that rises outwards."""
    spot = path.nearest(point)
    for _ in range(LOOKS):
        level = spot.point[2]
        spot = path.nearest(vec((point[0], point[1], level)))
        if abs(spot.point[2] - level) < SETTLED:
            break
    return spot


def _leg(
    site: Site, entry: HoopEntry, side: str, foot: Place, top: float, od: float
) -> list[np.ndarray]:
    """Corners of one leg from foot to top bend, y signed."""
    sign = 1.0 if side == "left" else -1.0
    section = site.car.side(side).hoop
    x = float(foot.point[0])
    start = np.asarray(foot.point)
    belt = _belt(site, entry, side, entry.gap + od / 2, od)
    if entry.half_width_top is not None:
        corner = entry.half_width_top - od / 2
    elif belt is None or section.rail is None:
        raise InputError(
            site.where(entry, "half_width_top"),
            problem=f"the car sheet has no roof rail and belt line on the {side} to take it from.",
            hint="Give half_width_top: centre plane to the outside of the hoop at its top corner.",
        )
    else:
        rail, rise = section.rail[0] - entry.gap - od / 2, section.rail[1] - belt[1]
        if rise <= 0:
            raise GeometryError(entry.id, f"roof rail is not above the belt line on the {side}.")
        corner = belt[0] + (rail - belt[0]) * (top - belt[1]) / rise
    end = np.array([x, sign * corner, top])
    if belt is None:
        return [start, end]
    mid = np.array([x, sign * belt[0], belt[1]])
    return leg_corners(start, mid, end, straight=entry.straight_legs)


def _belt(
    site: Site, entry: HoopEntry, side: str, inset: float, od: float
) -> tuple[float, float] | None:
    """Half width of the leg's axis at the belt line and its height; None without a belt line."""
    measured = site.car.side(side).hoop.belt
    if measured is None:
        if entry.half_width_belt is not None:
            raise InputError(
                site.where(entry, "half_width_belt"),
                problem=f"the car sheet has no belt line on the {side}: at which height?",
                hint="Measure half_width_belt and height_belt, or leave it out for a straight leg.",
            )
        return None
    if entry.half_width_belt is not None:
        return entry.half_width_belt - od / 2, measured[1]
    return measured[0] - inset, measured[1]


def leg_corners(
    foot: np.ndarray, belt: np.ndarray, top: np.ndarray, *, straight: bool = False
) -> list[np.ndarray]:
    """Corners of a leg from foot to top bend: without the belt's when nobody would bend it.

    Args:
        foot: axis at the foot, ``(3,)`` mm.
        belt: axis at the belt line.
        top: corner of the top bend.
        straight: whether the leg is to be one straight.
    """
    if straight or top[2] <= belt[2]:
        return [foot, top]
    turn = acos(min(max(float(unit(belt - foot) @ unit(top - belt)), -1.0), 1.0))
    return [foot, top] if turn < STRAIGHTEN else [foot, vec(belt), top]

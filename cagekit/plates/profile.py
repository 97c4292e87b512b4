"""A plate folded to a floor section: where the folds and the ends lie in the flat.

The section is a polyline of the car's sheet metal. The plate's back lies on it (a backing plate's
face lies under it). Distances are measured along the section from the foot; each fold's bend zone
begins where the tangent of its outer or inner radius leaves the flat (the set-back).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import atan2, degrees, hypot, tan
from typing import TYPE_CHECKING, Literal

from msgspec import Struct

from cagekit.errors import GeometryError, InputError
from cagekit.geometry.fold import DEFAULT_K, bend_allowance
from cagekit.units.tolerance import NO_LENGTH, SAME_POINT

if TYPE_CHECKING:
    from cagekit.inputs.tooling import Tooling

BASE_SLOPE = 0.06
"""How far (rad) the section at the foot may slope against the foot's own plane: 3.4 degrees."""
BASE_HEIGHT = 12.0
"""How far (mm) the section may pass above or below the measured foot: the plate is laid on the
foot, and the check says by how much the two measurements differ. Further off one of them is a slip.
"""
NO_FOLD = 0.035
"""Turns of the section below this (rad, 2 degrees) are followed with a hammer, not folded."""


class Folding(Struct, frozen=True, kw_only=True):
    """What the brake does at one thickness: inside radius, k, and the shortest flange, mm.

    ``flange`` is measured on the outside, from the mould line.
    """

    radius: float
    k: float
    flange: float

    @classmethod
    def of(cls, tooling: Tooling | None, thickness: float, radius: float | None = None) -> Folding:
        """The tooling's brake at ``thickness`` mm; common practice where the shop has none.

        Without a brake: inside radius = thickness, shortest flange four thicknesses and the
        radius (common practice for mild steel over a V die of eight thicknesses).

        Args:
            tooling: of the shop.
            thickness: of the plate, mm.
            radius: inside, mm; the brake's when None.
        """
        brake = tooling.brake if tooling else None
        if brake is None:
            r = thickness if radius is None else radius
            return cls(radius=r, k=DEFAULT_K, flange=4 * thickness + r)
        tool = brake.tool_for(thickness)
        own = tool.inside_radius if radius is None else radius
        return cls(radius=own, k=brake.k, flange=tool.min_flange)


class FlatFold(Struct, frozen=True, kw_only=True):
    """A fold across the plate: middle of its bend zone in the flat (mm), and its angle (rad)."""

    at: float
    angle: float


class HalfFlat(Struct, frozen=True, kw_only=True):
    """One side of the foot laid flat: folds in order, end of the plate, edge of the base, mm."""

    folds: tuple[FlatFold, ...]
    end: float
    base: float
    notes: tuple[str, ...] = ()


class Leg(Struct, frozen=True, kw_only=True):
    """The section on one side of the foot: lengths of its straights, turns between them (rad)."""

    lengths: tuple[float, ...]
    turns: tuple[float, ...]


def off_foot(profile: Sequence[tuple[float, float]], level: float, owner: str) -> float:
    """How far the section passes above its level under the foot (below: negative), mm.

    Args:
        profile: points (y, z) in the plate's frame, y rising where the foot stands.
        level: z at which the section should pass under the foot, mm.
        owner: plate, for the error.

    Raises:
        InputError: the section does not pass under the foot.
    """
    return _at_foot(profile, level, owner)[2]


def _at_foot(
    profile: Sequence[tuple[float, float]], level: float, owner: str
) -> tuple[int, float, float]:
    """The straight of a section under the foot, its slope (rad) and how far it is off (mm)."""
    spans = [
        i
        for i in range(len(profile) - 1)
        if profile[i][0] - SAME_POINT <= 0.0 <= profile[i + 1][0] + SAME_POINT
    ]
    if not spans:
        lo, hi = profile[0][0], profile[-1][0]
        raise InputError(
            owner,
            "profile",
            problem=f"the floor section runs from {lo:.0f} to {hi:.0f} mm beside the foot.",
            hint="Measure it through the foot, from the centre out.",
        )
    i = min(spans, key=lambda j: abs(profile[j][1] - level))
    (y0, z0), (y1, z1) = profile[i], profile[i + 1]
    slope = atan2(z1 - z0, y1 - y0)
    height = z0 + (z1 - z0) * (0.0 - y0) / max(y1 - y0, NO_LENGTH) - level
    return i, slope, height


def legs(profile: Sequence[tuple[float, float]], level: float, owner: str) -> tuple[Leg, Leg]:
    """Split a section at the foot: the leg towards falling y, the leg towards rising y.

    Args:
        profile: points (y, z) in the plate's frame, y rising where the foot stands.
        level: z at which the section should pass under the foot, mm.
        owner: plate, for the error.

    Raises:
        InputError: the section does not pass under the foot, or slopes against it.
    """
    i, slope, height = _at_foot(profile, level, owner)
    if abs(slope) > BASE_SLOPE or abs(height) > BASE_HEIGHT:
        way = "over" if height > 0 else "under"
        raise InputError(
            owner,
            "profile",
            problem=f"the floor section passes {abs(height):.1f} mm {way} the foot at a slope of "
            f"{degrees(slope):.1f} degrees against it.",
            hint="Measure the foot's height and the section there again, and correct which is "
            f"off; up to {BASE_HEIGHT:g} mm the plate is laid on the foot.",
        )
    up = _leg([(0.0, height + level), *profile[i + 1 :]])
    down = _leg([(0.0, height + level), *((-y, z) for y, z in reversed(profile[: i + 1]))])
    return down, up


def _leg(points: Sequence[tuple[float, float]]) -> Leg:
    """Walk outward from the foot; straights that hardly turn are joined."""
    lengths: list[float] = []
    turns: list[float] = []
    heading = 0.0
    for n, ((y0, z0), (y1, z1)) in enumerate(pairwise(points)):
        size = hypot(y1 - y0, z1 - z0)
        new = atan2(z1 - z0, y1 - y0) if n else 0.0
        if n and abs(new - heading) >= NO_FOLD:
            turns.append(new - heading)
            lengths.append(size)
            heading = new
        elif lengths:
            lengths[-1] += size
        else:
            lengths.append(size)
    return Leg(lengths=tuple(lengths), turns=tuple(turns))


def under(leg: Leg, sheet: float) -> Leg:
    """The same leg on the under side of a sheet ``sheet`` mm thick."""
    out = list(leg.lengths)
    for i, turn in enumerate(leg.turns):
        shift = sheet * tan(turn / 2)
        out[i] += shift
        out[i + 1] += shift
    return Leg(lengths=tuple(out), turns=leg.turns)


def flatten(
    leg: Leg,
    want: float,
    thickness: float,
    folding: Folding,
    *,
    contact: Literal["back", "face"],
    owner: str,
) -> HalfFlat:
    """Lay one side of the plate flat.

    Args:
        leg: the section from the foot outward.
        want: how far along the section the plate should reach, mm.
        thickness: of the plate, mm.
        folding: what the brake does.
        contact: which surface of the plate lies on the section.
        owner: plate, for the error.

    A flange that the brake could not hold is made as long as it must be, or left out.

    Raises:
        GeometryError: two folds too near each other for their bend zones.
    """
    r, t = folding.radius, thickness
    folds: list[FlatFold] = []
    notes: list[str] = []
    flat, start, base = 0.0, 0.0, 0.0
    reached = 0.0
    for i, turn in enumerate(leg.turns):
        hollow = (turn > 0) == (contact == "face")
        setback = (r if hollow else r + t) * tan(abs(turn) / 2)
        corner = reached + leg.lengths[i]
        # the rest of the plate beyond this corner, judged on the outside as the brake does
        rest = want - corner
        outside = t * tan(abs(turn) / 2) if hollow else 0.0
        need = folding.flange - outside
        room = leg.lengths[i + 1] if i + 1 < len(leg.turns) else float("inf")
        if rest < need and (rest < need / 2 or room < need):
            edge = corner - setback
            if want > edge:
                edge -= 1.0
                notes.append(
                    f"ends {want - edge:.0f} mm short, before a fold of "
                    f"{degrees(turn):.0f} degrees: the flange left would be under "
                    f"{folding.flange:.0f} mm."
                )
                want = edge
            break
        if rest < need:
            notes.append(f"flange lengthened by {need - rest:.0f} mm to what the brake holds.")
            want = corner + need
        straight = leg.lengths[i] - start - setback
        if straight < 0:
            raise GeometryError(
                owner,
                f"between two folds of the floor section there are {leg.lengths[i]:.1f} mm, their "
                f"set-backs need {start + setback:.1f} mm.",
                "Use a smaller fold radius or simplify the section.",
            )
        width = bend_allowance(turn, r, t, folding.k)
        if not folds:
            base = straight
        folds.append(FlatFold(at=flat + straight + width / 2, angle=turn))
        flat += straight + width
        start = setback
        reached = corner
    end = flat + want - reached - start
    return HalfFlat(folds=tuple(folds), end=end, base=base if folds else end, notes=tuple(notes))

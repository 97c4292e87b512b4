"""Volume and centre of gravity of a tube with cut ends, from the path and the cuts alone.

A bent tube of annular section has the volume section times centre-line length (Pappus), from
which the integral of s over the wall's section is taken at each end. Frame: car axes, mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from math import pi
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from cagekit.geometry.centre_line import Arc, CentreLine, Vec
from cagekit.geometry.cope import check_pair
from cagekit.geometry.end_cut import CutWork, EndCut, crowded_gauss, in_step

if TYPE_CHECKING:
    from cagekit.geometry.drill import Drill

_RADII = 6
"""Points across a wall on one parent: as many as make the moments of a mitre exact."""
_RADII_OF_MORE = 8
"""Points across a wall within which a ridge between two parents may end, or rays start to graze."""
_RADII_SOLID = 24
"""Points across a solid bar, ten times as thick as a wall."""
_ANGLES = 24
_GONE = "_taken_off"
"""Name under which a cut keeps what it takes off its tube."""


class Moments(NamedTuple):
    """Volume (mm^3) and first moment of volume about the origin, ``(3,)`` mm^4."""

    volume: float
    first: Vec

    @property
    def centre(self) -> Vec:
        """Centre of gravity, ``(3,)`` mm."""
        return np.asarray(self.first / self.volume)


def wall_volume(path: CentreLine, ro: float, ri: float, cut_a: EndCut, cut_b: EndCut) -> float:
    """Volume of the wall of a cut tube, mm^3.

    Args:
        path: centre line up to the theoretical ends.
        ro: outside radius, mm.
        ri: inside radius, mm (0 for a solid bar).
        cut_a: cut at end a.
        cut_b: cut at end b.

    Raises:
        CopeError: the two cuts meet, nothing is left of the tube.
    """
    return wall_moments(path, ro, ri, cut_a, cut_b).volume


def centroid(path: CentreLine, ro: float, ri: float, cut_a: EndCut, cut_b: EndCut) -> Vec:
    """Centre of gravity of the wall of a cut tube, ``(3,)`` mm; arguments as ``wall_volume``.

    Args:
        path: centre line of the tube.
        ro: outside radius, mm.
        ri: inside radius, mm.
        cut_a: cut of end a.
        cut_b: cut of end b.
    """
    return wall_moments(path, ro, ri, cut_a, cut_b).centre


def wall_moments(
    path: CentreLine,
    ro: float,
    ri: float,
    cut_a: EndCut,
    cut_b: EndCut,
    drills: Sequence[Drill] = (),
) -> Moments:
    """Volume and first moment of the wall of a cut tube; arguments as ``wall_volume``.

    Args:
        path: centre line of the tube.
        ro: outside radius, mm.
        ri: inside radius, mm.
        cut_a: cut of end a.
        cut_b: cut of end b.
        drills: holes right through it.
    """
    check_pair(path, cut_a, cut_b)
    volume, first = uncut_moments(path, ro, ri)
    for cut in (cut_a, cut_b):
        gone = end_moments(cut, ro, ri)
        volume -= gone.volume
        first = first - gone.first
    for drill in drills:
        gone_too = drill.volume(ro, ri)
        volume -= gone_too
        first = first - gone_too * drill.point
    return Moments(volume, first)


def uncut_moments(path: CentreLine, ro: float, ri: float) -> Moments:
    """Volume and first moment of a tube cut square at both theoretical ends.

    The centre of gravity of a bend's section lies outside of the centre line, because the outside
    of the bend is longer: by I / (A R) for a section of area A and second moment I.

    Args:
        path: centre line of the tube.
        ro: outside radius, mm.
        ri: inside radius, mm.
    """
    area = pi * (ro**2 - ri**2)
    inertia = pi / 4 * (ro**4 - ri**4)
    first = np.zeros(3)
    for q in path.pieces:
        if not isinstance(q, Arc):
            first += area * q.length * 0.5 * (q.start + q.end)
            continue
        sweep = np.sin(q.angle) * q.radial + (1.0 - np.cos(q.angle)) * q.direction
        first += area * q.length * q.centre + (area * q.radius**2 + inertia) * sweep
    return Moments(area * path.length, first)


def take_off(cuts: Iterable[EndCut]) -> None:
    """Work out side by side what cuts take off their tubes, for whoever asks next."""
    left = [cut for cut in cuts if _GONE not in vars(cut)]
    works = [_taking_off(cut, cut.outer_radius, cut.inner_radius) for cut in left]
    for cut, gone in zip(left, in_step(works), strict=True):
        vars(cut)[_GONE] = gone


def end_moments(cut: EndCut, ro: float, ri: float) -> Moments:
    """Volume and first moment of what a cut takes off the tube (negative where it adds).

    Gauss points across the wall, crowded where rays start to graze a parent, and between the
    corners around the tube.

    Args:
        cut: cut of one end.
        ro: outside radius, mm.
        ri: inside radius, mm.
    """
    known = vars(cut).get(_GONE) if (ro, ri) == (cut.outer_radius, cut.inner_radius) else None
    return known if known is not None else in_step([_taking_off(cut, ro, ri)])[0]


def _taking_off(cut: EndCut, ro: float, ri: float) -> CutWork[Moments]:
    alone = len({q.owner for q in cut.on}) == 1
    order = _RADII if alone else _RADII_OF_MORE
    rho, across = _wall_nodes([ri, *cut.grazing_radii(ri, ro), ro], order)
    phi, around, index = yield from cut.nodes(rho, _ANGLES)
    s = (yield cut, phi, rho[index]).s
    weight = around * across[index]
    origins = cut.origins(phi, rho[index])
    first = (weight * s) @ origins - 0.5 * float(weight @ (s * s)) * cut.out
    return Moments(float(weight @ s), np.asarray(first))


def _wall_nodes(cuts: list[float], order: int) -> tuple[Vec, Vec]:
    """Gauss points across the wall between radii ``cuts``, and their weights times radius.

    On a parent of the tube's own diameter only the rays of the outside graze, unless a radius
    between tells otherwise. ``order`` is the number of points across a wall that is not parted.
    """
    if cuts[0] <= 0.5 * cuts[-1]:
        t, w = crowded_gauss(_RADII_SOLID)
    elif len(cuts) > 2:
        t, w = crowded_gauss(_RADII_OF_MORE)
    else:
        t, w = _gauss_to_end(order)
    low, width = np.array(cuts[:-1])[:, None], np.diff(cuts)[:, None]
    rho = (low + width * t).ravel()
    return rho, (width * w).ravel() * rho


@lru_cache(maxsize=8)
def _gauss_to_end(order: int) -> tuple[Vec, Vec]:
    """Gauss points and weights on (0, 1), crowded at the far end: with 1 - x = (1 - t)^3."""
    g, w = np.polynomial.legendre.leggauss(order)
    left = 0.5 * (1.0 - g)
    return 1.0 - left**3, 1.5 * w * left * left


__all__ = [
    "Moments",
    "centroid",
    "end_moments",
    "take_off",
    "uncut_moments",
    "wall_moments",
    "wall_volume",
]

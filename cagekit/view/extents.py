"""How far a cage reaches in a view, over the outside: one answer for every drawing with a size.

A tube reaches as far as the discs swept along its axis where its wall goes all round, and as the
rim of the cut at either end; a plate and a small part as far as its corners, folded.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from cagekit.cage.kept import Same
from cagekit.geometry.arrays import Array, Points
from cagekit.geometry.centre_line import CentreLine, Line, Vec
from cagekit.geometry.end_cut import EndCut, contacts, measure, split
from cagekit.view.camera import Camera

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage

BEND_POINTS = 400
"""Discs along a bend: the reach between two of them is short by less than 0.001 mm."""
RIM_POINTS = 720
"""Points round the rim of a cut."""


def cage_extents(cage: Cage, camera: Camera, *, plates: bool = True) -> Vec:
    """Lowest and highest x, y of a cage in the picture of a camera, ``(2, 2)`` mm.

    Args:
        cage: whose tubes, and plates with small parts, are measured.
        camera: the view.
        plates: whether plates and small parts count.
    """
    return _extents(cage, camera.axes[:2], plates=plates)


def cage_box(cage: Cage) -> Vec:
    """Lowest and highest x, y, z of a cage with plates and small parts, ``(2, 3)`` mm."""
    return _extents(cage, np.eye(3), plates=True)


def _extents(cage: Cage, axes: Array, *, plates: bool) -> Vec:
    """Lowest and highest along directions ``(k, 3)``, ``(2, k)`` mm."""
    found = [_kept(cage, o, axes, partial(_along, o, axes)) for o in _outsides(cage)]
    if plates:
        from cagekit.view.scene import plate_bodies

        meshes = [body.mesh for body in plate_bodies(cage)]
        found += [_kept(cage, m, axes, partial(_of_points, m.vertices, axes)) for m in meshes]
    both = np.array(found)
    return np.array([both[:, 0].min(axis=0), both[:, 1].max(axis=0)])


def tube_extents(path: CentreLine, radius: float, camera: Camera) -> Vec:
    """Lowest and highest x, y of a tube with square ends over its outside, ``(2, 2)`` mm.

    Args:
        path: centre line from end to end.
        radius: of the outside, mm.
        camera: the view in whose picture it is measured.
    """
    return _along(_Outside(*_discs(path, 0.0, path.length), radius, ()), camera.axes[:2])


class _Outside(NamedTuple):
    """The outside of a tube, whatever it is seen from.

    Attributes:
        centres: of the discs swept along its axis, ``(n, 3)`` mm.
        along: unit directions of the axis there, ``(n, 3)``.
        radius: of the discs, mm.
        rims: points of the rims of its cuts, ``(k, 3)`` mm each.
    """

    centres: Points
    along: Points
    radius: float
    rims: tuple[Points, ...]


def _outsides(cage: Cage) -> list[_Outside]:
    """The outside of every member, worked out once for all views."""
    members = list(cage.members.values())
    cuts = [(cage.cut(m.id, "a"), cage.cut(m.id, "b")) for m in members]
    measure(cut for both in cuts for cut in both)
    keys = [("outside", m, Same(a), Same(b)) for m, (a, b) in zip(members, cuts, strict=True)]
    tubes = [(m.path, m.tube.outer_radius, *both) for m, both in zip(members, cuts, strict=True)]
    return cage.kept.each(keys, lambda missing: _outside([tubes[i] for i in missing]))


def _outside(
    tubes: Sequence[tuple[CentreLine, float, EndCut, EndCut]],
) -> list[_Outside]:
    """The outsides of tubes: path, radius of the outside and both cuts of each."""
    ends = [(cut, radius) for _, radius, *cuts in tubes for cut in cuts]
    split(cut for cut, _ in ends)
    phi = np.linspace(0.0, 2 * np.pi, RIM_POINTS, endpoint=False)
    asks = [(cut, np.sort(np.concatenate([phi, cut.corners])), radius) for cut, radius in ends]
    found = zip(asks, contacts(asks), strict=True)
    rims = iter([cut.points(at, radius, c.s) for (cut, at, radius), c in found])
    out = []
    for path, radius, *cuts in tubes:
        low, high = (max(cut.longest, 0.0) for cut in cuts)
        centres, along = _discs(path, low, path.length - high)
        own = tuple(next(rims) for _ in cuts)
        out.append(_Outside(centres, along, radius, own))
    return out


def _kept(cage: Cage, of: object, axes: Array, make: Callable[[], Vec]) -> Vec:
    """What was found before of a tube or mesh that stayed."""
    return cage.kept.once(("extents", Same(of), axes.tobytes()), make)


def _of_points(points: NDArray[np.floating[Any]], axes: Array) -> Vec:
    flat = points @ axes.T
    return np.array([flat.min(axis=0), flat.max(axis=0)])


def _along(tube: _Outside, axes: Array) -> Vec:
    """Lowest and highest of a tube along directions ``(k, 3)``, ``(2, k)`` mm."""
    middle = tube.centres @ axes.T
    reach = tube.radius * np.sqrt(np.clip(1.0 - (tube.along @ axes.T) ** 2, 0.0, None))
    rims = [rim @ axes.T for rim in tube.rims]
    points = np.concatenate([middle - reach, middle + reach, *rims])
    return np.array([points.min(axis=0), points.max(axis=0)])


def _discs(path: CentreLine, low: float, high: float) -> tuple[Vec, Vec]:
    """Centres and directions of the discs between two stations, ``(n, 3)`` each."""
    centres, along = [], []
    start = 0.0
    for piece in path.pieces:
        first, last = max(low - start, 0.0), min(high - start, piece.length)
        start += piece.length
        if last < first:
            continue
        n = 2 if isinstance(piece, Line) else BEND_POINTS
        stations = np.linspace(first, last, n)
        centres.append(piece.point(stations))
        along.append(piece.tangent(stations))
    # of a short tube that is cut like a parallelogram none is whole: its rims reach as far
    none = np.empty((0, 3))
    return np.concatenate([none, *centres]), np.concatenate([none, *along])

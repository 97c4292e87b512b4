"""Scans of cut ends: the angles at which they are looked at, and what the rays there meet.

Many ends are scanned in one array pass; what one gets does not hang on the ends beside it.
Frame: car axes, mm, rad.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import atan2, inf, pi, prod
from typing import TYPE_CHECKING

import numpy as np

from cagekit.geometry.arrays import Array, Ints, Vec, cross_rows, dot_rows
from cagekit.geometry.contact import (
    Bundle,
    Contact,
    CylinderPiece,
    PlaneFace,
    Solution,
    TorusPiece,
    contacts_and_solutions,
    first_contacts,
    first_of,
)
from cagekit.geometry.landing import Axes
from cagekit.units.tolerance import KERNEL_ANGLE, NOISE

if TYPE_CHECKING:
    from cagekit.geometry.end_cut import Ask, EndCut

GRID = 120
"""Angles all round of the scan of an end on one surface; on several it is twice as fine."""
_SAME = KERNEL_ANGLE
"""Angles (rad) closer than this are one."""


def scan(cuts: Sequence[EndCut]) -> None:
    """Scan cuts side by side to all that they may touch; what no ray ends on is let go."""
    lay_grids(cuts)
    found, each = contacts_and_solutions(_around(cuts))
    _note(cuts, found)
    used = [cut.used for cut in cuts]
    some = [i for i, cut in enumerate(cuts) if len(used[i]) < cut.count]
    if some:
        _let_go([cuts[i] for i in some], map(each, some), [used[i] for i in some])


def _let_go(
    cuts: Sequence[EndCut], each: Iterable[Sequence[Solution]], used: Sequence[Sequence[int]]
) -> None:
    """Keep some surfaces of scanned cuts alone, from what their rays do there.

    Args:
        cuts: those scanned.
        each: what the rays of each do at each of its surfaces.
        used: numbers of the surfaces that each keeps.
    """
    grids = [cut.grid for cut in cuts]
    for cut, which in zip(cuts, used, strict=True):
        cut.keep_to(which)
    known: list[tuple[EndCut, Contact]] = []
    rows = zip(cuts, each, grids, scan_angles(cuts), used, strict=True)
    for cut, solved, before, grid, which in rows:
        vars(cut)["grid"] = grid
        at = np.minimum(np.searchsorted(before, grid), len(before) - 1)
        if np.array_equal(before[at], grid):
            some = [Solution(*(c.reshape(2, -1)[:, at].ravel() for c in solved[i])) for i in which]
            known.append((cut, first_of(some, (2, len(at)))))
    if known:
        _note(*zip(*known, strict=True))


def surely_met(asked: Sequence[tuple[EndCut, Sequence[str]]]) -> list[set[str]]:
    """Of each cut those of some owners whose straights take a ray of its scan, told by few rays.

    They go where a straight of an owner runs away from the cut's axis, to both sides.

    Args:
        asked: cuts to several surfaces, scanned or not, with the owners that are looked for.
    """
    if not asked:
        return []
    rays = []
    for cut, owners in asked:
        all_of = [q for q in cut.touching if isinstance(q, CylinderPiece) and q.owner in owners]
        at = [atan2(float(q.axis @ cut.side), float(q.axis @ cut.zero)) for q in all_of]
        spots = [round(a * GRID / pi) % GRID + half for a in at for half in (0, GRID)]
        origins = cut.origins(np.array(spots) * (pi / GRID), cut.outer_radius)
        rays.append(Bundle(cut.touching, origins, -cut.out, cut.within))
    found = zip(asked, first_contacts(rays), strict=True)
    return [{cut.touching[i].owner for i in c.active[c.ok]} for (cut, _), c in found]


def bundles(asks: Sequence[Ask]) -> list[Bundle]:
    """The rays of each ask and the surfaces they may touch; all origins worked out in one pass.

    They are columns below the surface, as whoever pushes the rays back takes them. A ray's origin
    is the same to the last bit whatever rays are asked for beside it.
    """
    angles = [np.asarray(phi, float) for _, phi, _ in asks]
    all_of = np.concatenate([p.ravel() for p in angles])
    cos, sin, past = np.cos(all_of), np.sin(all_of), 0
    u, v = [], []
    for (_, _, rho), p in zip(asks, angles, strict=True):
        these = slice(past, past := past + p.size)
        u.append(np.asarray(rho * cos[these].reshape(p.shape)))
        v.append(np.asarray(rho * sin[these].reshape(p.shape)))
    right, up = (np.concatenate([q.ravel() for q in w]) for w in (u, v))
    return _bundles([cut for cut, _, _ in asks], right, up, [q.shape for q in u])


def _around(cuts: Sequence[EndCut]) -> list[Bundle]:
    """The rays of both edges of cuts on their grids, ``(2, m)``: outside, inside."""
    grid = np.concatenate([cut.grid for cut in cuts])
    sizes = [len(cut.grid) for cut in cuts]
    many = np.repeat(sizes, 2)
    # each grid twice, one after the other
    behind = np.cumsum(many) - many - np.repeat(np.cumsum(sizes) - sizes, 2)
    at = np.arange(2 * len(grid)) - np.repeat(behind, many)
    radii = np.array([(cut.outer_radius, cut.inner_radius) for cut in cuts]).ravel()
    rho = np.repeat(radii, many)
    right, up = rho * np.cos(grid)[at], rho * np.sin(grid)[at]
    return _bundles(cuts, right, up, [(2, m) for m in sizes])


def _bundles(
    cuts: Sequence[EndCut], right: Vec, up: Vec, shapes: Sequence[tuple[int, ...]]
) -> list[Bundle]:
    """Rays of ends, so far from their axes along references and sides; see ``bundles``."""
    sizes = [prod(shape) for shape in shapes]
    each = np.repeat(_frames(cuts)[:9], sizes, axis=1)
    origins = right * each[3:6]
    origins += each[0:3]
    each[6:9] *= up
    origins += each[6:9]
    past, out = 0, []
    for cut, size, shape in zip(cuts, sizes, shapes, strict=True):
        rays = origins[:, past : (past := past + size)].reshape(3, *shape)
        rays = rays.transpose(*range(1, rays.ndim), 0)
        out.append(Bundle(cut.on, rays, -cut.out, cut.windows))
    return out


def _frames(cuts: Sequence[EndCut]) -> Array:
    """Points, references, sides and ways out of ends in columns, ``(12, n)``."""
    return np.array([cut.frame for cut in cuts]).T


def _note(cuts: Sequence[EndCut], found: Sequence[Contact]) -> None:
    """Hand scans to their cuts, with what is asked of all of them."""
    sizes = np.array([c.s.size for c in found])
    past = np.cumsum(sizes)
    begin: Ints = past - sizes
    s = np.concatenate([c.s.ravel() for c in found])
    after = np.arange(1, len(s) + 1)
    after[past - 1] -= sizes // 2
    after[begin + sizes // 2 - 1] = begin
    rise = np.maximum.reduceat(np.abs(s[after] - s), begin).tolist()
    deep = np.maximum.reduceat(s, begin).tolist()
    ok = np.concatenate([c.ok.ravel() for c in found])
    # the outside stands first
    each = np.logical_and.reduceat(ok, np.stack([begin, begin + sizes // 2], axis=1).ravel())
    rows = zip(cuts, found, rise, deep, *each.reshape(-1, 2).T.tolist(), strict=True)
    for cut, c, steepest, deepest, sits, inside in rows:
        around = c if sits and inside else cut.closed(c)
        vars(cut).update(_scan=around, steepest=steepest, deepest=deepest, sits=sits)


def drawn(cuts: Sequence[EndCut], phi: Array) -> Array:
    """Depths of both edges of cuts as their scans have them, ``(n, 2, m)`` mm, outside and inside.

    Straight between the angles of a scan, which lie 3 degrees apart at most: for pictures that
    must be quick.

    Args:
        cuts: the cuts.
        phi: angles for each, ``(n, m)`` rad.
    """
    at = np.mod(phi, 2 * pi)
    sizes = np.array([len(cut.grid) for cut in cuts])
    begin = np.cumsum(sizes) - sizes
    rows = zip(cuts, at, strict=True)
    spot = np.array([cut.grid.searchsorted(row, side="right") for cut, row in rows]) - 1
    grid = np.concatenate([cut.grid for cut in cuts])
    s = np.concatenate([cut._scan.s for cut in cuts], axis=1)
    after = (spot + 1) % sizes[:, None] + begin[:, None]
    before = spot % sizes[:, None] + begin[:, None]
    share = ((at - grid[before]) % (2 * pi)) / ((grid[after] - grid[before]) % (2 * pi))
    low = s[:, before]
    return np.asarray((low + share * (s[:, after] - low)).transpose(1, 0, 2))


def lay_grids(cuts: Sequence[EndCut]) -> None:
    """Work out side by side the angles that cuts are scanned at, for whoever asks next."""
    if not cuts:
        return
    for cut, tangents in zip(cuts, tangent_angles(cuts), strict=True):
        vars(cut)["tangents"] = tangents
    for cut, grid in zip(cuts, scan_angles(cuts), strict=True):
        vars(cut)["grid"] = grid


def tangent_angles(cuts: Sequence[EndCut]) -> list[Vec]:
    """The tangents of each cut's contact surfaces, ``(n, 2)`` rad."""
    surfaces = [q for cut in cuts for q in cut.on]
    counts = [cut.count for cut in cuts]
    rows = np.repeat(_frames(cuts), counts, axis=1).T
    point, zero, side, out = rows[:, 0:3], rows[:, 3:6], rows[:, 6:9], rows[:, 9:12]
    bends = {i: q for i, q in enumerate(surfaces) if isinstance(q, TorusPiece)}
    along = np.array([
        q.normal if isinstance(q, PlaneFace) else q.axis for q in surfaces
    ], dtype=float)  # fmt: skip
    if bends:
        bent, axes = list(bends), Axes.of(Axes.rows(list(bends.values())))
        along[bent] = axes.tangent_at(point[bent])[1]
    v = cross_rows(out, along)
    v = np.where((dot_rows(v, v) < NOISE)[:, None], zero, v)
    phi = np.arctan2(dot_rows(v, side), dot_rows(v, zero)) % (2 * pi)
    both = np.stack([phi, (phi + pi) % (2 * pi)], axis=1)
    return np.split(both, np.cumsum(counts)[:-1])


def scan_angles(cuts: Sequence[EndCut]) -> list[Vec]:
    """The grid of each cut; those with as many surfaces at one go."""
    found: dict[int, Vec] = {}
    quarters = np.arange(4) * (pi / 2)
    for count in dict.fromkeys(cut.count for cut in cuts):
        these = [i for i, cut in enumerate(cuts) if cut.count == count]
        first = np.array([cuts[i].tangents[:, 0] for i in these])
        special = (first[:, :, None] + quarters).reshape(len(these), -1)
        special = np.mod(special, 2 * pi)
        special = _distinct_rows(np.concatenate([np.zeros((len(these), 1)), special], axis=1))
        n = GRID if count == 1 else 2 * GRID
        even = np.broadcast_to(np.arange(n) * (2 * pi / n), (len(these), n))
        rows = _distinct_rows(np.concatenate([special, even], axis=1))
        found.update((i, row[row < inf]) for i, row in zip(these, rows, strict=True))
    return [found[i] for i in range(len(cuts))]


def _distinct_rows(angles: Array) -> Array:
    """As ``_distinct`` does each row ``(n, m)`` of [0, 2 pi); infinite is what it drops or was."""
    a = np.sort(angles, axis=1)
    last = np.count_nonzero(a < inf, axis=1) - 1
    following = np.empty_like(a)
    following[:, :-1], following[:, -1] = a[:, 1:], inf
    following[np.arange(len(a)), last] = 2 * pi + a[:, 0]
    with np.errstate(invalid="ignore"):
        return np.where(following - a > _SAME, a, inf)


__all__ = [
    "GRID", "bundles", "drawn", "lay_grids", "scan", "scan_angles", "surely_met", "tangent_angles",
]  # fmt: skip

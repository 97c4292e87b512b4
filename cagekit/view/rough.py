"""Rough meshes of tubes that move: the same bodies with edges that are near, many in one pass.

Their edges come from the scan that cutting has made already, without a point on each kink. An end
face, which lies on what the tube is coped to, is lit as if it were cut square. Frame: car axes, mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import ceil, pi
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from cagekit.geometry.arrays import Array, Ints, Points, Vec, cross_rows, dot_rows
from cagekit.geometry.centre_line import Arc
from cagekit.geometry.scan import drawn
from cagekit.units.tolerance import ROUNDING
from cagekit.view.mesh import BEND_STEP, Mesh, TubeShape, band, rim, tube_meshes

SIDES = 32
"""Facets around a rough tube: two thirds of those of an exact one, to pack, send and upload less
while a slider moves. On a tube of 50 mm they lie 0.12 mm off the round at most."""
ROUGH = 2.5
"""How near (mm) the edges of a rough mesh are to the exact ones, but where an edge steps."""


def rough_meshes(tubes: Sequence[TubeShape]) -> list[Mesh]:
    """The rough mesh of each tube; those with holes, which are few, get their exact ones."""
    plain = iter(_plain([t for t in tubes if not t.drills]))
    holed = [t for t in tubes if t.drills]
    drilled = iter(tube_meshes(holed) if holed else ())
    return [next(drilled if t.drills else plain) for t in tubes]


def _plain(tubes: Sequence[TubeShape]) -> list[Mesh]:
    """Those without holes, all on the same angles around."""
    if not tubes:
        return []
    rings, edges = _Rings.of(tubes), _edges(tubes)
    radial = rings.radial(_PSI)
    radii = np.array([(t.ro, t.ri) for t in tubes])[rings.tube]
    walls = [rings.centre[:, None] + r[:, None, None] * radial for r in radii.T]
    for k, wall in enumerate(walls):
        wall[rings.first], wall[rings.last] = edges[0::2, k], edges[1::2, k]
    out = np.repeat([cut.out for t in tubes for cut in t.cuts], 2 * SIDES, axis=0)
    found = []
    for i, (low, high) in enumerate(zip(rings.first.tolist(), rings.last.tolist(), strict=True)):
        here, faces = slice(low, high + 1), slice(4 * SIDES * i, 4 * SIDES * (i + 1))
        outside = radial[here].reshape(-1, 3)
        points = [*(w[here] for w in walls), edges[2 * i : 2 * i + 2]]
        vertices = np.concatenate([p.reshape(-1, 3) for p in points])
        normals = np.concatenate([outside, -outside, out[faces]])
        found.append(Mesh(vertices, normals, _triangles(high + 1 - low)))
    return found


_PSI: Vec = np.arange(SIDES, dtype=float) * (2 * pi / SIDES)


class _Rings(NamedTuple):
    """Rings of many tubes one after the other.

    Their centres, the directions of travel and to the reference lines, ``(n, 3)``, the tube that
    each belongs to, ``(n,)``, and of each tube the first and the last, ``(m,)``.
    """

    centre: Points
    along: Points
    across: Points
    tube: Ints
    first: Ints
    last: Ints

    @classmethod
    def of(cls, tubes: Sequence[TubeShape]) -> _Rings:
        """A ring at each end of a straight, and as many on a bend as it needs."""
        rows, radius, turn, count, pieces = [], [], [], [], []
        for tube in tubes:
            lines, path = tube.path.reference_lines(), tube.path
            rows.append((path.start, _NONE, path.pieces[0].direction, _NONE, lines[0]))
            radius.append(0.0)
            turn.append(0.0)
            count.append(1)
            for q, line in zip(path.pieces, lines, strict=False):
                if isinstance(q, Arc):
                    rows.append((q.centre, q.radial, q.direction, q.axis, line))
                    radius.append(q.radius)
                    turn.append(q.angle)
                    count.append(max(1, ceil(q.angle / BEND_STEP - ROUNDING)))
                else:
                    rows.append((q.end, _NONE, q.direction, _NONE, line))
                    radius.append(0.0)
                    turn.append(0.0)
                    count.append(1)
            pieces.append(1 + len(path.pieces))
        many = np.array(count)
        past = np.cumsum(many)
        which = np.repeat(np.arange(len(many)), many)
        step = np.arange(1, len(which) + 1) - (past - many)[which]
        angle = (np.array(turn) / many)[which] * step
        base, x, y, axis, line = np.array(rows)[which].transpose(1, 0, 2)
        c, s = np.cos(angle)[:, None], np.sin(angle)[:, None]
        across = line * c + cross_rows(axis, line) * s
        across += axis * (dot_rows(axis, line)[:, None] * (1 - c))
        last = past[np.cumsum(pieces) - 1] - 1
        first = np.append(0, last[:-1] + 1)
        return cls(
            base + np.array(radius)[which][:, None] * (c * x + s * y), c * y - s * x, across,
            np.repeat(np.arange(len(tubes)), last - first + 1), first, last,
        )  # fmt: skip

    def radial(self, psi: Array) -> Array:
        """Directions out of the rings at angles ``(m,)`` around, ``(n, m, 3)``."""
        up = cross_rows(self.along, self.across)
        c, s = np.cos(psi)[:, None], np.sin(psi)[:, None]
        return np.asarray(c * self.across[:, None] + s * up[:, None])


_NONE: Vec = np.zeros(3)


def _edges(tubes: Sequence[TubeShape]) -> Array:
    """Both edges of both ends of each tube, outside and inside, ``(2 m, 2, SIDES, 3)`` mm."""
    cuts = [cut for t in tubes for cut in t.cuts]
    lines = np.array([t.path.reference_lines()[k] for t in tubes for k in (0, -1)])
    frames = [(c.point.tolist(), c.out.tolist(), c.zero.tolist(), c.side.tolist()) for c in cuts]
    point, out, zero, side = np.array(frames).transpose(1, 0, 2)
    sense = np.array([-1.0 if c.which == "a" else 1.0 for c in cuts])
    shift = np.arctan2(dot_rows(lines, side), dot_rows(lines, zero))
    phi = sense[:, None] * _PSI + shift[:, None]
    radii = np.repeat([(t.ro, t.ri) for t in tubes], 2, axis=0)[:, :, None, None]
    c, s = np.cos(phi)[:, :, None], np.sin(phi)[:, :, None]
    round_ = (c * zero[:, None] + s * side[:, None])[:, None]
    depth = drawn(cuts, phi)[..., None] * out[:, None, None]
    return np.asarray(point[:, None, None] + radii * round_ - depth)


@lru_cache(maxsize=64)
def _triangles(rings: int) -> NDArray[np.int32]:
    """Triangles of outside, inside and both end faces of a tube of so many rings."""
    wall, face = rings * SIDES, 2 * SIDES
    parts = (
        band(rings, SIDES, flip=False), band(rings, SIDES, flip=True) + wall,
        rim(SIDES, flip=False) + 2 * wall, rim(SIDES, flip=True) + 2 * wall + face,
    )  # fmt: skip
    out = np.concatenate(parts).astype(np.int32)
    out.setflags(write=False)
    return out

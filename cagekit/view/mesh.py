"""Triangle meshes of cut tubes straight from path and cuts, without the CAD kernel.

Frame: car axes, mm. Cope edges lie exactly on the cut; normals are the surface's own, so that
few facets look round.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import ceil, pi

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from cagekit.geometry.arrays import Ints, Points, cross3, cross_rows
from cagekit.geometry.centre_line import Arc, CentreLine, Vec
from cagekit.geometry.contact import Contact
from cagekit.geometry.drill import Drill
from cagekit.geometry.end_cut import EndCut, contacts, in_step
from cagekit.units.tolerance import ROUNDING, SAME_ANGLE
from cagekit.view.drilled import HoleWindow, hole_patch, hole_wall

SIDES = 48
"""Facets around a tube."""
BEND_STEP = 7.5 * pi / 180.0
"""Largest turn (rad) between two rings of a bend."""


class Mesh(Struct, frozen=True, eq=False):
    """Triangles that enclose a body.

    Attributes:
        vertices: ``(n, 3)`` mm; vertices on a sharp edge are there once for each face.
        normals: unit normals out of the body, ``(n, 3)``.
        triangles: vertex indices, counter-clockwise from outside, ``(m, 3)``.
    """

    vertices: Points
    normals: Points
    triangles: NDArray[np.int32]

    @property
    def volume(self) -> float:
        """Enclosed volume, mm^3."""
        middle = self.vertices.mean(axis=0)
        a, b, c = (self.vertices[self.triangles[:, k]] - middle for k in range(3))
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)

    @property
    def bounds(self) -> Vec:
        """Smallest and largest coordinates, ``(2, 3)`` mm."""
        return np.stack([self.vertices.min(axis=0), self.vertices.max(axis=0)])


def joined(meshes: Sequence[Mesh]) -> Mesh:
    """Put several meshes into one."""
    starts = np.cumsum([0, *(len(m.vertices) for m in meshes)])
    return Mesh(
        np.concatenate([m.vertices for m in meshes]),
        np.concatenate([m.normals for m in meshes]),
        np.concatenate([m.triangles + k for m, k in zip(meshes, starts[:-1], strict=True)]).astype(
            np.int32
        ),
    )


class TubeShape(Struct, frozen=True, kw_only=True):
    """A tube to be meshed.

    Args:
        path: centre line up to the theoretical ends.
        ro: outside radius, mm.
        ri: inside radius, mm, above zero.
        cuts: cut at end a and at end b.
        drills: holes right through a straight of it.
    """

    path: CentreLine
    ro: float
    ri: float
    cuts: tuple[EndCut, EndCut]
    drills: tuple[Drill, ...] = ()


def tube_mesh(
    path: CentreLine,
    ro: float,
    ri: float,
    cut_a: EndCut,
    cut_b: EndCut,
    *,
    drills: Sequence[Drill] = (),
    sides: int = SIDES,
    bend_step: float = BEND_STEP,
) -> Mesh:
    """Mesh of a hollow tube with cut ends: outside, bore and two end faces, watertight.

    Args:
        path: centre line up to the theoretical ends.
        ro: outside radius, mm.
        ri: inside radius, mm, above zero.
        cut_a: cut at end a.
        cut_b: cut at end b.
        drills: holes right through a straight of it.
        sides: facets around; angles of kinks in the cuts are added to them.
        bend_step: largest turn between two rings of a bend, rad.
    """
    tube = TubeShape(path=path, ro=ro, ri=ri, cuts=(cut_a, cut_b), drills=tuple(drills))
    return tube_meshes([tube], sides=sides, bend_step=bend_step)[0]


def tube_meshes(
    tubes: Sequence[TubeShape],
    *,
    sides: int = SIDES,
    bend_step: float = BEND_STEP,
) -> list[Mesh]:
    """The mesh of each tube; the edges of all their ends are found in one array pass.

    Args:
        tubes: the tubes.
        sides: facets around; angles of kinks in the cuts are added to them.
        bend_step: largest turn between two rings of a bend, rad.
    """
    in_step([cut.cornered() for tube in tubes for cut in tube.cuts])
    frames = [_Frame.of(tube, sides) for tube in tubes]
    asks = [
        (cut, turn.at(f.psi), np.array([[tube.ro], [tube.ri]]))
        for tube, f in zip(tubes, frames, strict=True)
        for cut, turn in zip(tube.cuts, f.turns, strict=True)
    ]
    ends = iter([_End.of(*ask, c) for ask, c in zip(asks, contacts(asks), strict=True)])
    return [_meshed(t, f, (next(ends), next(ends)), bend_step)
            for t, f in zip(tubes, frames, strict=True)]  # fmt: skip


class _Frame(Struct, frozen=True, eq=False):
    """What a tube's rings are laid on: reference lines, angles ``psi`` around, holes."""

    lines: Points
    turns: tuple[_Turn, _Turn]
    windows: tuple[HoleWindow, ...]
    psi: Vec

    @classmethod
    def of(cls, tube: TubeShape, sides: int) -> _Frame:
        lines = tube.path.reference_lines()
        a, b = tube.cuts
        turns = (_end_angles(a, lines[0]), _end_angles(b, lines[-1]))
        windows = tuple(HoleWindow.of(d, tube.path, lines, tube.cuts) for d in tube.drills)
        psi = _angles([*(t.corners for t in turns), *(w.edges for w in windows)], sides)
        return cls(lines, turns, windows, psi)


def _meshed(tube: TubeShape, frame: _Frame, ends: tuple[_End, _End], bend_step: float) -> Mesh:
    psi, windows = frame.psi, frame.windows
    centres, across, up, opened = _rings(tube.path, frame.lines, bend_step, windows)
    radial = np.cos(psi)[:, None] * across[:, None, :] + np.sin(psi)[:, None] * up[:, None, :]
    walls = []
    for k, (radius, sign) in enumerate(((tube.ro, 1.0), (tube.ri, -1.0))):
        rows = centres[:, None, :] + radius * radial
        rows[0], rows[-1] = (e.rings[k] for e in ends)
        walls.append((rows, sign))
    whole = np.ones((len(centres) - 1, len(psi)), dtype=bool)
    parts = []
    for window, k in zip(windows, opened, strict=True):
        for way, columns in window.columns(psi):
            whole[k, columns[:-1]] = False
            for (rows, sign), radius in zip(walls, (tube.ro, tube.ri), strict=True):
                rim = np.concatenate([rows[k, columns], rows[k + 1, columns]])
                patch = hole_patch(window.drill, way, radius, rim)
                parts.append(_shell(*patch, flip=sign < 0))
            parts.append(_shell(*hole_wall(window.drill, way, (tube.ro, tube.ri)), flip=False))
    parts += [_wall(rows, sign * radial, whole, outward=sign > 0) for rows, sign in walls]
    parts += [_face(end, start=start) for end, start in zip(ends, (True, False), strict=True)]
    return joined(parts)


class _End(Struct, frozen=True, eq=False):
    """The edges of one end: points ``(2, n, 3)`` outside and inside, and what each lies on."""

    cut: EndCut
    rings: Points
    active: Ints

    @classmethod
    def of(cls, cut: EndCut, phi: Vec, radii: Vec, found: Contact) -> _End:
        return cls(cut, cut.points(phi, radii, found.s), found.active)


class _Turn(Struct, frozen=True, eq=False):
    """How angles about the travel direction read at one end: ``phi = sense * psi + shift``."""

    sense: float
    shift: float
    corners: Vec

    def at(self, psi: Vec) -> Vec:
        return np.asarray(self.sense * psi + self.shift)


def _end_angles(cut: EndCut, line: Vec) -> _Turn:
    sense = -1.0 if cut.which == "a" else 1.0
    shift = float(np.arctan2(line @ cut.side, line @ cut.zero))
    radii = [cut.outer_radius, cut.inner_radius]
    corners = np.concatenate(cut.corners_at(radii))
    return _Turn(sense, shift, np.mod(sense * (corners - shift), 2 * pi))


def _angles(corners: Sequence[Vec], sides: int) -> Vec:
    """Even angles around the tube, replaced by the cuts' kinks where these are close."""
    step = 2 * pi / sides
    kinks = np.sort(np.concatenate(corners))
    if len(kinks) > 1:
        apart = np.diff(np.append(kinks, kinks[0] + 2 * pi)) > SAME_ANGLE
        kinks = kinks[apart] if apart.any() else kinks[:1]
    even = np.arange(sides) * step
    if len(kinks):
        off = np.abs((even[:, None] - kinks + pi) % (2 * pi) - pi).min(axis=1)
        even = even[off > 0.3 * step]
    return np.sort(np.concatenate([even, kinks]))


def _rings(
    path: CentreLine, lines: Vec, bend_step: float, windows: Sequence[HoleWindow]
) -> tuple[Vec, Vec, Vec, list[int]]:
    """Centres and the two cross directions of every ring, ``(k, 3)`` each.

    Last is the number of the ring at which each window begins; the next one ends it.
    """
    centres, across = [path.start[None]], [lines[:1]]
    along = [np.asarray(path.pieces[0].tangent(0.0))[None]]
    opened, count = [0] * len(windows), 1
    for i, q in enumerate(path.pieces):
        n = max(1, ceil(q.angle / bend_step - ROUNDING)) if isinstance(q, Arc) else 1
        stations = [q.length * k / n for k in range(1, n + 1)]
        stations += [s for w in windows if w.piece == i for s in (w.low, w.high)]
        stations.sort()
        for k, w in enumerate(windows):
            if w.piece == i:
                opened[k] = count + len(stations) - 1 - stations[::-1].index(w.low)
        count += len(stations)
        s = np.array(stations)
        centres.append(q.point(s))
        along.append(q.tangent(s))
        across.append(_turned(lines[i], q.axis, s / q.radius) if isinstance(q, Arc)
                      else np.broadcast_to(lines[i], (len(s), 3)))  # fmt: skip
    x, t = np.concatenate(across), np.concatenate(along)
    return np.concatenate(centres), x, cross_rows(t, x), opened


def _turned(v: Vec, axis: Vec, angles: Vec) -> Points:
    """A direction turned about an axis by each angle, ``(n, 3)``."""
    c, s = np.cos(angles)[:, None], np.sin(angles)[:, None]
    return np.asarray(v * c + cross3(axis, v) * s + axis * (axis @ v) * (1 - c))


def _shell(vertices: Points, normals: Points, triangles: NDArray[np.intp], *, flip: bool) -> Mesh:
    turned = triangles[:, ::-1] if flip else triangles
    return Mesh(
        vertices, -normals if flip else normals, np.ascontiguousarray(turned, dtype=np.int32)
    )


def _wall(rows: Vec, normals: Points, whole: NDArray[np.bool_], *, outward: bool) -> Mesh:
    """A band of quads between rings ``(k, n, 3)``, but where a hole opens it."""
    k, n = rows.shape[:2]
    triangles = band(k, n, flip=not outward)
    if not whole.all():
        triangles = triangles[np.tile(whole.ravel(), 2)]
    return Mesh(rows.reshape(-1, 3), normals.reshape(-1, 3), triangles)


@lru_cache(maxsize=256)
def band(k: int, n: int, *, flip: bool) -> NDArray[np.int32]:
    """Triangles of a band of quads between rings of points, ``(m, 3)``.

    Args:
        k: rings.
        n: points of each.
        flip: they face to the other side.
    """
    here = np.arange(k * n).reshape(k, n)
    after = np.roll(here, -1, axis=1)
    return _quads((here[:-1], after[:-1], after[1:], here[1:]), flip=flip)


def _face(end: _End, *, start: bool) -> Mesh:
    """The end face between the outside and the inside edge."""
    rings, surfaces = end.rings, end.cut.surfaces
    normals = np.broadcast_to(end.cut.out, rings.shape).copy()
    for i in range(len(surfaces)):
        m = end.active == i
        if m.any():
            normals[m] = -surfaces[i].normals(rings[m])
    triangles = rim(rings.shape[1], flip=not start)
    return Mesh(rings.reshape(-1, 3), normals.reshape(-1, 3), triangles)


@lru_cache(maxsize=64)
def rim(n: int, *, flip: bool) -> NDArray[np.int32]:
    """Triangles between two edges of points, one after the other, ``(m, 3)``.

    Args:
        n: points of each.
        flip: they face to the other side.
    """
    outer, inner = np.arange(n), n + np.arange(n)
    return _quads((outer, inner, np.roll(inner, -1), np.roll(outer, -1)), flip=flip)


def _quads(quads: tuple[NDArray[np.intp], ...], *, flip: bool) -> NDArray[np.int32]:
    """Two triangles of each quad; nobody changes them, as they are shared."""
    a, b, c, d = (q.ravel() for q in quads)
    triangles = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    if flip:
        triangles = triangles[:, ::-1]
    out = np.ascontiguousarray(triangles, dtype=np.int32)
    out.setflags(write=False)
    return out


__all__ = [
    "BEND_STEP",
    "SIDES",
    "Mesh",
    "TubeShape",
    "band",
    "joined",
    "rim",
    "tube_mesh",
    "tube_meshes",
]

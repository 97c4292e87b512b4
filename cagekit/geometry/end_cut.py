"""The cut of one tube end as a function: where each ray along the tube meets what it sits on.

The cut is ``s(phi, rho)``: phi goes around the tube's own axis, right-handed about the direction
that points out of the member at that end, from the reference line; rho is the distance from the
axis; s is how far back from the theoretical end the wall starts (positive = cut away).
Frame: car axes, mm, rad.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import cos, pi, sin, sqrt
from typing import Literal, NamedTuple, TypeVar, cast

import numpy as np
from numpy.typing import ArrayLike

from cagekit.geometry.arrays import Array, Bools, Ints, Points, cross3
from cagekit.geometry.centre_line import CentreLine, Vec, vec
from cagekit.geometry.contact import (
    RANGE_TOL,
    TOUCH,
    Bundle,
    Contact,
    ContactSurface,
    CylinderPiece,
    PlaneFace,
    TorusPiece,
    Window,
    first_contacts,
)
from cagekit.geometry.scan import GRID, bundles, scan, scan_angles, tangent_angles
from cagekit.units.tolerance import INSIDE, KERNEL_ANGLE, MICRON, NOISE

_NEAR_TANGENT = 0.3
"""Sine of the angle between ray and surface below which the curve turns so sharply that it is
split there."""
STEEP = 0.3
"""Rise of s between two angles of the scan, in outside radii, beyond which the curve is split
where it is steepest: a tube at the smallest angle allowed rises by 0.2."""
_HIDDEN = 0.01
"""So much of the outside radius an edge may curve on between two angles of the scan."""
_EVEN = 180
"""Points of a polyline before it is refined, one every two degrees."""
_HALVINGS = 12
"""How often a part of a polyline is halved."""
_SAME = KERNEL_ANGLE
"""Angles (rad) closer than this are one corner."""
_ROUNDS = 6
"""How often a place where the surface changes is closed in on, to a 32nd each time."""
_ROUNDS_TO_SUM = 4
"""As often where only a sum over the curve is wanted, to which 1e-7 rad make no difference."""


@dataclass(frozen=True, kw_only=True, eq=False)
class EndCut:
    """How one end of a tube is cut.

    Attributes:
        owner: name of the tube.
        which: the end.
        path: centre line of the tube up to its theoretical ends.
        outer_radius: outside radius, mm.
        inner_radius: inside radius, mm.
        touching: the contact surfaces that the end may touch: pieces of parents, plate.
        within: range of s that counts for each of them, mm.
        parents: ids of the parents, in the order given.
        angle: acute angle between the axes of tube and first parent, rad; for a flat end the
            angle between axis and plate.
        offset: distance between the axes of tube and first parent, mm.
        concentric: the theoretical end lies on the axis of every parent (within NODE_TOL).
        across: direction of the reference line at this end, ``(3,)``; by default the one that the
            path carries along.
    """

    owner: str
    which: Literal["a", "b"]
    path: CentreLine
    outer_radius: float
    inner_radius: float
    touching: tuple[ContactSurface, ...]
    within: tuple[Window, ...]
    parents: tuple[str, ...] = ()
    angle: float = pi / 2
    offset: float = 0.0
    concentric: bool = True
    across: Vec | None = None

    def __repr__(self) -> str:
        """Whose end and what it sits on."""
        return f"<EndCut {self.owner}: {', '.join(self.parents) or 'flat'}>"

    @cached_property
    def on(self) -> tuple[ContactSurface, ...]:
        """The contact surfaces that the end sits on: those of ``touching`` that a ray ends on."""
        return vars(self)["on"] if self._sorted_out() else self.touching

    @cached_property
    def windows(self) -> tuple[Window, ...]:
        """Range of s that counts for each of them, mm."""
        return vars(self)["windows"] if self._sorted_out() else self.within

    def _sorted_out(self) -> bool:
        return len(self.touching) > 1 and self._scan_beside()

    def keep_to(self, which: Sequence[int]) -> None:
        """Sit on some of its surfaces alone, of which a scan has told that they take every ray."""
        own = vars(self)
        on, windows = ([of[i] for i in which] for of in (self.on, self.windows))
        own.update(on=tuple(on), windows=tuple(windows), tangents=self.tangents[which])
        for name in ("surfaces", "_closures", "_scan", "steepest", "deepest", "sits"):
            own.pop(name, None)

    @property
    def count(self) -> int:
        """Number of contact surfaces."""
        return len(self.on)

    @cached_property
    def surfaces(self) -> tuple[ContactSurface, ...]:
        """The contact surfaces, then the closure planes of those that the tube may partly miss."""
        return (*self.on, *self._closures[0])

    @property
    def closures(self) -> tuple[int, ...]:
        """For each contact surface the number of its closure plane, or -1 where it has none."""
        return self._closures[1]

    @cached_property
    def _closures(self) -> tuple[tuple[PlaneFace, ...], tuple[int, ...]]:
        planes: list[PlaneFace] = []
        index: list[int] = []
        for q in self.on:
            if not isinstance(q, CylinderPiece):
                index.append(-1)
                continue
            index.append(len(self.on) + len(planes))
            foot, normal = q.closure(self.point, self.out)
            planes.append(
                PlaneFace(owner=q.owner, piece=q.piece, point=foot, normal=normal, closure=True)
            )
        return tuple(planes), tuple(index)

    @cached_property
    def frame(self) -> tuple[float, ...]:
        """``point``, ``zero``, ``side`` and ``out`` in plain numbers, twelve."""
        return (
            *self.point.tolist(), *self.zero.tolist(), *self.side.tolist(), *self.out.tolist()
        )  # fmt: skip

    @cached_property
    def point(self) -> Vec:
        """Theoretical end, ``(3,)`` mm."""
        return self.path.end_point(self.which)

    @cached_property
    def out(self) -> Vec:
        """Unit vector out of the member, ``(3,)``."""
        return self.path.out_direction(self.which)

    @cached_property
    def zero(self) -> Vec:
        """Unit vector from the axis to the reference line at this end, ``(3,)``."""
        carried = self.path.reference_lines()[0 if self.which == "a" else -1]
        return _square_to(self.out, carried if self.across is None else self.across)

    @cached_property
    def side(self) -> Vec:
        """Unit vector at phi = 90 degrees, ``(3,)``."""
        side = cross3(self.out, self.zero)
        side.setflags(write=False)
        return side

    def origins(self, phi: ArrayLike, rho: ArrayLike) -> Vec:
        """Points of the rays at s = 0, ``(..., 3)`` mm, for angles and radii that broadcast."""
        p, r = np.asarray(phi, float), np.asarray(rho, float)
        u, v = r * np.cos(p), r * np.sin(p)
        # coordinate by coordinate: loops over many rays, not over three numbers each
        out = np.multiply.outer(self.zero, u)
        out += self.point.reshape(3, *(1,) * u.ndim)
        out += np.multiply.outer(self.side, v)
        return np.asarray(out.transpose(*range(1, out.ndim), 0))

    def contact(self, phi: ArrayLike, rho: ArrayLike) -> Contact:
        """First contact of the rays at angles ``phi`` and radii ``rho``, which broadcast.

        ``active`` indexes ``surfaces``: where a ray passes a straight parent it is the closure
        plane, where it passes a bend -1.
        """
        return contacts([(self, phi, rho)])[0]

    def bundle(self, phi: ArrayLike, rho: ArrayLike) -> Bundle:
        """The rays at these angles and radii, and the surfaces that they may touch."""
        # of one end this is quicker than what works out those of many
        return Bundle(self.on, self.origins(phi, rho), -self.out, self.windows)

    def closed(self, c: Contact) -> Contact:
        """Contacts with the closure planes in the place of the straights that rays pass."""
        if c.ok.all():
            return c
        beside = ~c.ok & (c.gap > TOUCH)
        active = np.where(beside, np.asarray(self.closures)[c.active], c.active)
        return c._replace(active=active)

    def trim(self, phi: ArrayLike, rho: ArrayLike) -> Vec:
        """Distance s (mm) back from the theoretical end to the wall; arguments broadcast."""
        return self.contact(phi, rho).s

    def active(self, phi: ArrayLike, rho: ArrayLike) -> Ints:
        """Index into ``surfaces`` of what each ray ends on (-1: none, beside a bend)."""
        return self.contact(phi, rho).active

    def points(self, phi: ArrayLike, rho: ArrayLike, s: Vec | None = None) -> Vec:
        """Points of the cut in space, ``(..., 3)`` mm; arguments broadcast.

        ``s`` saves finding the contacts again when they are known.

        Args:
            phi: angles around the tube from ``zero``, rad.
            rho: distances from the axis, mm.
            s: depths of the contacts when they are known already, mm; found otherwise.
        """
        depth = self.trim(phi, rho) if s is None else s
        return np.asarray(self.origins(phi, rho) - depth[..., None] * self.out)

    @cached_property
    def grid(self) -> Vec:
        """Angles in [0, 2 pi) for scans, sorted ``(m,)``.

        They hold every angle where a cope has its tips, lows and tangencies.
        """
        return vars(self)["grid"] if self._scan_beside() else scan_angles([self])[0]

    def seen(self, side: int) -> Ints:
        """What takes each ray of ``grid``, ``(m,)``: of the outside for 0, of the inside for 1."""
        return np.asarray(self._scan.active[side])

    def corners_at(self, rho: Iterable[float]) -> list[Vec]:
        """Angles where the curve at each radius has a kink or changes surface.

        Includes the angles where it turns so sharply (nearly equal diameters) that a curve
        through it should be split. Sorted, in [0, 2 pi).
        """
        return in_step([self._cornering(np.asarray(list(rho), dtype=float))])[0]

    def _cornering(self, radii: Vec, rounds: int = _ROUNDS) -> CutWork[list[Vec]]:
        found = yield from self._near_tangent(radii)
        if not self._plain:
            for i, changes in enumerate((yield from self._changes(radii, rounds))):
                found[i].extend(changes)
        return [_distinct(np.array(f)) for f in found]

    @cached_property
    def corners(self) -> Vec:
        """Angles of the outside curve's kinks and surface changes, sorted, ``(k,)`` rad."""
        return in_step([self._corners()])[0]

    def _corners(self) -> CutWork[Vec]:
        return (yield from self._cornering(np.array([self.outer_radius])))[0]

    def outer_curve(self, n: int) -> Vec:
        """The cut on the outside, ``(n, 2)`` rows of phi (rad, rising from 0) and s (mm).

        Evenly spaced, not closed; the sample nearest to a corner is moved onto it.
        """
        return np.array(self._curves_of(n)[0])

    def inner_curve(self, n: int) -> Vec:
        """The cut on the inside, ``(n, 2)`` rows like ``outer_curve``."""
        return np.array(self._curves_of(n)[1])

    def unrolled(self, n: int) -> CutWork[None]:
        """Work out both curves of ``n`` spots, and ``sole``, for whoever asks next."""
        if n not in self._curves:
            corners = yield from self._cornering(self.radii[:, 0])
            phi = np.array([self._angles(n, c) for c in corners])
            s = (yield self, phi, self.radii).s
            self._curves[n] = np.stack([phi, s], axis=-1)
        if "sole" not in vars(self):
            vars(self)["sole"] = yield from self._alone()

    @cached_property
    def sole(self) -> ContactSurface | None:
        """The one surface that makes the whole cut, None where there are several."""
        return in_step([self._alone()])[0]

    def _alone(self) -> CutWork[ContactSurface | None]:
        phi = np.arange(_EVEN) * (2 * pi / _EVEN)
        used = set((yield self, phi, self.radii).active.ravel().tolist())
        return self.surfaces[used.pop()] if len(used) == 1 and used != {-1} else None

    def fine_curve(self, rho: float, within: float) -> CutWork[Vec]:
        """The cut at one radius as a polyline that leaves the curve by no more than ``within``.

        Evenly spaced points, the corners, and more points where the curve turns sharply; a step
        from one surface to another is closed in to less than a thousandth of a degree.

        Args:
            rho: radius, mm.
            within: largest distance along the tube between curve and polyline, mm.

        Returns:
            ``(n, 2)`` rows of phi (rad, rising from 0, not closed) and s (mm).
        """
        even = np.arange(_EVEN) * (2 * pi / _EVEN)
        (corners,) = yield from self._cornering(np.array([rho]))
        phi = _distinct(np.concatenate([even, corners]))
        s = (yield self, phi, rho).s
        share = np.array([0.25, 0.5, 0.75])
        for _ in range(_HALVINGS):
            width = np.diff(np.append(phi, phi[0] + 2 * pi))[:, None]
            rise = np.diff(np.append(s, s[0]))[:, None]
            between = (yield self, phi[:, None] + width * share, rho).s
            off = np.abs(between - s[:, None] - rise * share).max(axis=1) > within
            if not off.any():
                break
            order = np.argsort(np.append(phi, (phi + width[:, 0] / 2)[off]), kind="stable")
            phi = np.append(phi, (phi + width[:, 0] / 2)[off])[order]
            s = np.append(s, between[off, 1])[order]
        phi = np.mod(phi, 2 * pi)
        order = np.argsort(phi)
        return np.column_stack([phi[order], s[order]])

    @cached_property
    def longest(self) -> float:
        """Largest s on both curves, mm."""
        return self._extremes[1]

    @property
    def bound(self) -> float:
        """A depth that no s on either curve comes to, mm, known without looking for the largest.

        Between two angles of the scan, which holds every tangency, s does not rise by the tube's
        whole radius.
        """
        return self.deepest + self.outer_radius

    @cached_property
    def deepest(self) -> float:
        """Largest s of the scan, mm."""
        return float(self._scan.s.max())

    @cached_property
    def steepest(self) -> float:
        """Most that s rises or falls between two angles of the scan, mm."""
        return float(np.abs(_next(self._scan.s) - self._scan.s).max())

    @property
    def may_step(self) -> bool:
        """Whether s rises so much between two angles of the scan that the edge may jump there."""
        return self.steepest > STEEP * self.outer_radius

    @cached_property
    def sits(self) -> bool:
        """Whether every ray of the scan on the outside touches something."""
        return bool(self._scan.ok[0].all())

    @cached_property
    def rim(self) -> Points:
        """Points of the outside edge at the angles of ``grid``, ``(m, 3)`` mm."""
        return self.points(self.grid, self.outer_radius, self._scan.s[0])

    @cached_property
    def shortest(self) -> float:
        """Smallest s on both curves, mm: minus this is how far the tip stands out."""
        return self._extremes[0]

    @cached_property
    def saddle_length(self) -> float:
        """Length in space of the outside curve, mm: the weld's length, steps left out.

        Unrolled, the curve is measured in chords between its corners, with 32, 64 and 128 of
        them to a stretch, and carried on to none too long (Romberg).
        """
        return in_step([self._saddle()])[0]

    def _saddle(self) -> CutWork[float]:
        if "corners" not in vars(self):
            vars(self)["corners"] = yield from self._corners()
        cuts = self._stretches(self.corners)
        width = np.diff(np.append(cuts, cuts[0] + 2 * pi))[:, None]
        share = np.linspace(0.0, 1.0, 129)
        # crowded at both ends, where the curve may be as steep as a square root, and just short
        # of the corners, beyond which another surface may hold
        share = np.clip(share * share * (3.0 - 2.0 * share), INSIDE, 1.0 - INSIDE)
        phi = cuts[:, None] + width * share
        s = (yield self, phi, self.outer_radius).s
        coarse, middle, fine = (
            float(
                np.hypot(
                    self.outer_radius * np.diff(phi[:, ::k], axis=1), np.diff(s[:, ::k], axis=1)
                ).sum()
            )
            for k in (4, 2, 1)
        )
        once, twice = (4 * middle - coarse) / 3, (4 * fine - middle) / 3
        return (16 * twice - once) / 15

    @property
    def used(self) -> list[int]:
        """Indices of the contact surfaces that some ray ends on or comes closest to."""
        count = self.count
        if count == 1:
            return [0]
        often = np.bincount(self._scan.active.ravel() + 1).tolist()
        if often[0]:
            return list(range(count))
        active = [i for i, times in enumerate(often[1:]) if times]
        if active[-1] >= count:
            closed = {c: i for i, c in enumerate(self.closures) if c >= 0}
            active = sorted({closed.get(i, i) for i in active})
        return active

    @cached_property
    def miss_share(self) -> float:
        """Share of the outside circumference that touches no parent."""
        return in_step([self._missing()])[0]

    def _missing(self) -> CutWork[float]:
        if self.sits:
            return 0.0
        phi = np.arange(720) * (pi / 360)
        return float(1.0 - (yield self, phi, self.outer_radius).ok.mean())

    @cached_property
    def miss_gap(self) -> float:
        """Widest gap between the outside rim and the parent that it passes, mm; 0 on a full seat.

        Square to the parent's axis, where the weld would have to bridge it.
        """
        if self.sits:
            return 0.0
        phi = np.concatenate([np.arange(720) * (pi / 360), self.grid])
        c = self.contact(phi, self.outer_radius)
        return float(np.where(c.ok, 0.0, c.gap).max())

    def nodes(self, rho: Vec, order: int) -> CutWork[tuple[Vec, Vec, Ints]]:
        """Quadrature around the tube at several radii, split at the corners of each.

        Args:
            rho: radii, ``(n,)`` mm.
            order: points between two corners.

        Returns:
            Angles, weights (rad) and index of the radius, one entry per point.
        """
        t, w = crowded_gauss(order)
        phi, weight, index = [], [], []
        for i, corners in enumerate((yield from self._cornering(rho, _ROUNDS_TO_SUM))):
            cuts = self._stretches(corners)
            width = np.diff(np.append(cuts, cuts[0] + 2 * pi))
            phi.append((cuts[:, None] + width[:, None] * t).ravel())
            weight.append((width[:, None] * w).ravel())
            index.append(np.full(len(cuts) * order, i))
        return np.concatenate(phi), np.concatenate(weight), np.concatenate(index)

    def _stretches(self, corners: Vec) -> Vec:
        """Angles that part the curve into smooth stretches of half a turn at most."""
        return _distinct(np.concatenate([self.tangents[0], corners]))

    def grazing_radii(self, low: float, high: float) -> list[float]:
        """Radii between two where rays start to pass a parent, rising, mm."""
        found = set()
        for q in self.on:
            if isinstance(q, PlaneFace):
                continue
            for side in (1.0, -1.0):
                r = high
                # the distance grows with the radius, by exactly as much beside a straight
                for _ in range(1 if isinstance(q, CylinderPiece) else 12):
                    r += q.radius - q.passing(self.point, -self.out, r, side)[1]
                    if r >= high:
                        break  # no ray of the wall reaches the side of the parent
                found |= {r} if low + MICRON < r < high - MICRON else set()
        return sorted(found)

    @cached_property
    def _scan(self) -> Contact:
        """Contacts on ``grid`` at the outside (row 0) and the inside (row 1)."""
        if self._scan_beside() and "_scan" in vars(self):
            return cast(Contact, vars(self)["_scan"])
        return in_step([self._scanning()])[0]

    def _scanning(self) -> CutWork[Contact]:
        return (yield self, self.grid[None, :], self.radii)

    def scan_with(self, others: list[EndCut]) -> None:
        """Let whoever asks first for the scan of one of these cuts have all of them scanned.

        Args:
            others: the cuts, this one too; there may be more later.
        """
        vars(self)["_beside"] = others

    @property
    def put_off(self) -> bool:
        """Whether it has yet to be scanned with others."""
        return "_beside" in vars(self)

    def _scan_beside(self) -> bool:
        """Scan the cuts that are to be scanned with this one, if there are such and it is time."""
        others = vars(self).pop("_beside", None)
        if others is None or "_scan" in vars(self):
            return False
        some = [cut for cut in others if cut is not self and "_scan" not in vars(cut)]
        for cut in some:
            vars(cut).pop("_beside", None)
        others.clear()
        scan([self, *some])
        return True

    def scanned(self) -> CutWork[None]:
        """Work out the contacts all around, for whoever asks next."""
        if "_scan" not in vars(self) and not self._scan_beside():
            vars(self)["_scan"] = yield from self._scanning()

    def seated(self) -> CutWork[None]:
        """Work out how much of the rim misses, for whoever asks next."""
        vars(self)["miss_share"] = yield from self._missing()

    def cornered(self) -> CutWork[None]:
        """Work out where both edges change surface, for whoever asks for their corners next."""
        if not self._plain and "_edge_changes" not in vars(self):
            vars(self)["_edge_changes"] = yield from self._edges_changing()

    @property
    def radii(self) -> Vec:
        """Radii of the outside and the inside, ``(2, 1)`` mm."""
        return np.array([[self.outer_radius], [self.inner_radius]])

    @cached_property
    def _extremes(self) -> tuple[float, float]:
        """Smallest and largest s on both curves, mm."""
        return _extremes_of([self])[0]

    @cached_property
    def _curves(self) -> dict[int, Array]:
        """Outside and inside curve by their number of spots, ``(2, n, 2)``."""
        return {}

    def _curves_of(self, n: int) -> Array:
        in_step([self.unrolled(n)])
        return self._curves[n]

    def _angles(self, n: int, corners: Vec) -> Vec:
        """Even angles ``(n,)``; those nearest to a corner are moved onto it."""
        phi = np.arange(n) * (2 * pi / n)
        for c in corners:
            phi[round(float(c) * n / (2 * pi)) % n] = c if c < 2 * pi - pi / n else c - 2 * pi
        phi[0] = max(phi[0], 0.0)
        return np.asarray(phi)

    @cached_property
    def tangents(self) -> Vec:
        """For each contact surface the two angles whose rays pass its axis farthest, ``(n, 2)``."""
        return vars(self)["tangents"] if self._scan_beside() else tangent_angles([self])[0]

    def _near_tangent(self, radii: Vec) -> CutWork[list[list[float]]]:
        """For each radius the angles where rays nearly graze the surface they end on."""
        found: list[list[float]] = [[] for _ in radii]
        if all(isinstance(q, PlaneFace) for q in self.on):
            return found
        phi = self.tangents[:, None, :]
        s, active = yield from self._seen(phi, radii)
        points = self.points(phi, radii[None, :, None], s)
        limit = _NEAR_TANGENT * max(sin(self.angle), 0.2)
        for i, q in enumerate(self.on):
            if isinstance(q, PlaneFace):
                continue
            facing = -(q.normals(points[i].reshape(-1, 3)) @ self.out).reshape(-1, 2)
            near = (active[i] == i) & (facing < limit)
            for k, j in zip(*np.nonzero(near), strict=True):
                found[k].append(float(self.tangents[i, j]))
        return found

    def _seen(self, phi: Vec, radii: Vec) -> CutWork[tuple[Vec, Ints]]:
        """Depths and surfaces of rays at these angles ``(n, 1, k)``, by radius ``(n, r, k)``.

        The scan tells both edges at all angles of the grid; the rest is asked.
        """
        at = np.minimum(np.searchsorted(self.grid, phi), len(self.grid) - 1)
        edges, wanted = self.radii[:, 0].tolist(), radii.tolist()
        if all(r in edges for r in wanted) and np.array_equal(self.grid[at], phi):
            rows = np.array([edges.index(r) for r in wanted])[None, :, None]
            return self._scan.s[rows, at], self._scan.active[rows, at]
        found = yield self, phi, radii[None, :, None]
        return found.s, found.active

    @cached_property
    def _plain(self) -> bool:
        """Whether one surface takes every ray and the curve is nowhere steep."""
        return self.count == 1 and bool(self._scan.ok.all()) and not self.may_step

    def _hides(self, low: float, high: float) -> bool:
        """Whether an edge may reach beyond these depths (mm) where it changes its surface.

        Between two angles of the scan it goes on as steeply as beside them, twice as steeply and
        a little more at most, unless it steps or misses what it sits on: then it may.
        """
        if self._plain:
            return False
        scan, s = self._scan, self._scan.s
        if not scan.ok.all() or self.may_step:
            return True
        n = len(self.grid)
        row, k = np.nonzero(scan.active != _next(scan.active))
        # the angles round each change, two before it and two after it
        at = (k[:, None] + np.arange(-1, 3)) % n
        around = s[row[:, None], at]
        width = np.mod(np.diff(self.grid[at], axis=1), 2 * pi)
        slope = np.abs(np.diff(around, axis=1)) / width
        more = 2.0 * np.maximum(slope[:, 0], slope[:, 2]) * width[:, 1]
        more += _HIDDEN * self.outer_radius
        here, after = around[:, 1], around[:, 2]
        beyond = (np.minimum(here, after) - more < low) | (np.maximum(here, after) + more > high)
        return bool(beyond.any())

    def _steep(self, s: Vec) -> Bools:
        """Where the curve, on ``grid``, rises or falls more between two angles than it should."""
        return np.asarray(np.abs(_next(s) - s) > STEEP * self.outer_radius)

    @cached_property
    def _edge_changes(self) -> dict[float, list[float]]:
        """The changes on the outside and the inside."""
        return in_step([self._edges_changing()])[0]

    def _edges_changing(self) -> CutWork[dict[float, list[float]]]:
        radii = self.radii[:, 0]
        found = yield from self._changing(radii, self._scan, _ROUNDS)
        return dict(zip(radii.tolist(), found, strict=True))

    def _changes(self, radii: Vec, rounds: int) -> CutWork[list[list[float]]]:
        """For each radius the angles where the surface changes or the curve is steepest."""
        if set(radii.tolist()) <= set(self.radii[:, 0].tolist()):
            yield from self.cornered()
            return [list(self._edge_changes[r]) for r in radii.tolist()]
        around = yield self, self.grid[None, :], radii[:, None]
        return (yield from self._changing(radii, around, rounds))

    def _changing(self, radii: Vec, c: Contact, rounds: int) -> CutWork[list[list[float]]]:
        """Changes of the curves of which ``c`` holds the contacts on ``grid``."""
        phi = self.grid
        upper = np.append(phi[1:], phi[0] + 2 * pi)
        other = c.active != np.roll(c.active, -1, axis=1)
        found: list[list[float]] = [[] for _ in radii]
        row, k = np.nonzero(other)
        low, high, rho = phi[k], upper[k], radii[row]
        first, last = c.active[row, k], np.roll(c.active, -1, axis=1)[row, k]
        while len(row):
            spots, past, active = yield from self._closing_in(low, high, first, rho, rounds)
            for i, spot in zip(row.tolist(), spots, strict=True):
                found[i].append(float(spot))
            # a surface that shows over less than a step of the grid
            more = (active != last) & (high - past > _SAME)
            row, low, high, rho = row[more], past[more], high[more], rho[more]
            first, last = active[more], last[more]
        row, k = np.nonzero(self._steep(c.s) & ~other)
        if len(row):
            lo, _ = yield from self._steepest(phi[k], upper[k], radii[row])
            for i, spot in zip(row.tolist(), lo, strict=True):
                found[i].append(float(spot))
        return found

    def _closing_in(
        self, lo: Vec, hi: Vec, first: Ints, rho: Vec, rounds: int
    ) -> CutWork[tuple[Vec, Vec, Ints]]:
        """As :func:`narrowing`, to four of its last brackets, in half as many rounds.

        Where both curves meet is told beforehand, and most rays are sent there; the others see to
        it that a bracket is a twentieth of the last at most.
        """
        goal = 4.0 * (hi - lo) / 32.0**rounds
        rows, parts = np.arange(len(lo)), _EVENLY
        past = first
        while True:
            t = lo[:, None] + (hi - lo)[:, None] * parts
            t[:, -1] = hi
            found = yield self, t, rho[:, None]
            active = found.active
            other = active != first[:, None]
            other[:, 0], other[:, -1] = False, True
            k = np.argmax(other, axis=1)
            # one that is found stays, so that it does not hang on the others
            left = hi - lo > goal
            lo, hi = np.where(left, t[rows, k - 1], lo), np.where(left, t[rows, k], hi)
            past = np.where(left, active[rows, k], past)
            if (hi - lo <= goal).all():
                return np.asarray(0.5 * (lo + hi)), hi, past
            each = zip(rho.tolist(), t, found.s, active, k.tolist(), strict=True)
            share = np.array([self._meets(*row) for row in each])
            around = np.minimum(np.maximum(share[:, None] + _AROUND, 0.0), 1.0)
            even = np.broadcast_to(_TWENTIETHS, (len(lo), len(_TWENTIETHS)))
            parts = np.sort(np.concatenate([even, around], axis=1), axis=1)

    def _meets(self, rho: float, phi: Vec, s: Vec, active: Ints, at: int) -> float:
        """Where two curves seem to meet between rays ``at - 1`` and ``at``, as a share of the way.

        Each goes on as a parabola through its last three rays. From a straight of a tube to its
        bend the depth goes on as it is: there it is how far the contact is from the joint, and
        that comes to nothing.
        """
        angles, depths, ends = phi.tolist(), s.tolist(), active.tolist()
        low, wide = angles[at - 1], angles[at] - angles[at - 1]
        if wide <= 0.0:
            return 0.5
        first = [i for i in range(at - 1, max(at - 4, -1), -1) if ends[i] == ends[at - 1]]
        last = [i for i in range(at, min(at + 3, len(ends))) if ends[i] == ends[at]]
        plane = self._joint(ends[at - 1], ends[at])
        if plane is None:
            curves = [
                _Parabola.of([(angles[i] - low) / wide for i in those], [depths[i] for i in those])
                for those in (first, last)
            ]
        else:
            at_axis, along_zero, along_side, along_out = plane
            away = [
                at_axis
                + rho * (cos(angles[i]) * along_zero + sin(angles[i]) * along_side)
                - depths[i] * along_out
                for i in first
            ]
            curves = [_Parabola.of([(angles[i] - low) / wide for i in first], away), _Parabola()]
        return _Parabola.meeting(*curves)

    def _joint(self, one: int, other: int) -> tuple[float, float, float, float] | None:
        """The plane between a straight and a bend of one tube, None where these are none.

        Told are how far before it the end's point is, mm, and how far it comes along ``zero``,
        ``side`` and ``out``. By as much as pieces overlap it lies beyond the one named first.
        """
        first, last = sorted((one, other))
        if first < 0 or last >= self.count:
            return None
        a, b = self.on[first], self.on[last]
        past = RANGE_TOL
        if isinstance(b, CylinderPiece):
            a, b, past = b, a, -past
        if not (isinstance(a, CylinderPiece) and isinstance(b, TorusPiece)) or a.owner != b.owner:
            return None
        station = a.high + past if b.piece > a.piece else a.low - past
        before = float((self.point - a.start) @ a.axis) - station
        along = [float(way @ a.axis) for way in (self.zero, self.side, self.out)]
        return before, along[0], along[1], along[2]

    def _steepest(self, lo: Vec, hi: Vec, rho: Vec) -> CutWork[tuple[Vec, Vec]]:
        """Narrow brackets ``(n,)`` down to where s changes most, by halves."""
        a, c = (yield self, np.stack([lo, hi]), rho).s
        for _ in range(24):
            middle = 0.5 * (lo + hi)
            b = (yield self, middle, rho).s
            left = np.abs(b - a) > np.abs(c - b)
            lo, hi = np.where(left, lo, middle), np.where(left, middle, hi)
            a, c = np.where(left, a, b), np.where(left, b, c)
        return lo, hi

    def second_touch(self) -> tuple[str, float] | None:
        """Owner of a parent that the tube touches twice, and how far back (mm); None if none.

        There the edge jumps from one place of the parent to another.
        """
        if not self.may_step:
            return None
        row, k = np.nonzero(self._steep(self._scan.s))
        phi, rho = self.grid, self.radii[row, 0]
        upper = np.append(phi[1:], phi[0] + 2 * pi)
        lo, hi = in_step([self._steepest(phi[k], upper[k], rho)])[0]
        ends = [self.contact(p, rho) for p in (lo, hi)]
        steps = np.abs(ends[1].s - ends[0].s)
        for i in np.argsort(-steps, kind="stable"):
            active = [int(e.active[i]) for e in ends]
            owners = {self.surfaces[j].owner for j in active}
            if steps[i] > 1.0 and min(active) >= 0 and len(owners) == 1:
                return owners.pop(), float(max(e.s[i] for e in ends))
        return None


def _square_to(out: Vec, across: Vec) -> Vec:
    """The unit vector square to a unit vector that is nearest to a direction, ``(3,)`` each.

    Raises:
        ValueError: the direction is along it.
    """
    (x, y, z), (u, v, w) = out.tolist(), across.tolist()
    lean = x * u + y * v + z * w
    a, b, c = u - lean * x, v - lean * y, w - lean * z
    size = sqrt(a * a + b * b + c * c)
    if size < NOISE:
        raise ValueError("a direction needs a length")
    return vec((a / size, b / size, c / size))


T = TypeVar("T")
Ask = tuple[EndCut, ArrayLike, ArrayLike]
"""A cut, and the angles and radii of rays whose contacts are wanted."""
CutWork = Generator[Ask, Contact, T]
"""Work on one cut that asks for contacts as it goes, so that many cuts can be asked at once."""


def contacts(asks: Sequence[Ask]) -> list[Contact]:
    """What :meth:`EndCut.contact` tells of several cuts, in one array pass."""
    if not asks:
        return []
    found = first_contacts(bundles(asks))
    return [cut.closed(c) for (cut, _, _), c in zip(asks, found, strict=True)]


def edge_points(cuts: Sequence[EndCut], n: int) -> list[Points]:
    """Points of the ``outer_curve`` of each cut in space, ``(n, 3)`` mm.

    Args:
        cuts: the cuts.
        n: points on each.
    """
    rays = bundles([(c, c._angles(n, c.corners), c.outer_radius) for c in cuts])
    found = zip(rays, first_contacts(rays), strict=True)
    return [b.origins + c.s[:, None] * b.direction for b, c in found]


def in_step(works: Sequence[CutWork[T]]) -> list[T]:
    """Do the works side by side: what all of them ask for next is answered in one array pass."""
    done: dict[int, T] = {}
    answers: dict[int, Contact | None] = dict.fromkeys(range(len(works)))
    while answers:
        asks = {}
        for i, answer in answers.items():
            try:
                asks[i] = next(works[i]) if answer is None else works[i].send(answer)
            except StopIteration as end:
                done[i] = end.value
        found = contacts(list(asks.values()))
        answers = dict(zip(asks, found, strict=True))
    return [done[i] for i in range(len(works))]


def measure(cuts: Iterable[EndCut]) -> None:
    """Work out side by side how far cuts reach, for whoever asks ``longest`` or ``shortest``."""
    new = list({id(cut): cut for cut in cuts if "_extremes" not in vars(cut)}.values())
    for cut, extremes in zip(new, _extremes_of(new), strict=True):
        vars(cut)["_extremes"] = extremes


_FINE = np.linspace(-1.0, 1.0, 25) * (2 * pi / GRID)
"""Angles (rad) from the lowest and highest of a scan, at which it is looked at more closely."""
_ROWS = [0, 1, 0, 1]
"""The outside's and the inside's lowest spot, then their highest ones."""


def _extremes_of(cuts: Sequence[EndCut]) -> list[tuple[float, float]]:
    """Smallest and largest s on both curves of each cut, mm."""
    if not cuts:
        return []
    in_step([cut.scanned() for cut in cuts])
    size = max(len(cut.grid) for cut in cuts)
    grid, scans = np.zeros((len(cuts), size)), np.full((len(cuts), 2, size), np.inf)
    for cut, angles, s in zip(cuts, grid, scans, strict=True):
        angles[: len(cut.grid)], s[:, : len(cut.grid)] = cut.grid, cut._scan.s
    at = [scans.argmin(axis=2), np.where(scans < np.inf, scans, -np.inf).argmax(axis=2)]
    phi = np.take_along_axis(grid, np.concatenate(at, axis=1), axis=1)
    rho = np.array([(cut.outer_radius, cut.inner_radius) for cut in cuts])[:, _ROWS, None]
    low = scans.min(axis=(1, 2))
    high = np.array([cut.deepest for cut in cuts])
    # where there are several surfaces once more, a twelfth as wide
    several = np.array([cut.count > 1 for cut in cuts])
    alone, both = np.flatnonzero(~several), np.flatnonzero(several)
    for those, fine in ((np.arange(len(cuts)), _FINE), (both, _FINE / 12.0)):
        angles = phi[those, :, None] + fine
        asked = zip(those.tolist(), angles, rho[those], strict=True)
        near = contacts([(cuts[i], p, r) for i, p, r in asked])
        s = np.array([c.s for c in near]).reshape(angles.shape)
        best = np.concatenate([s[:, :2].argmin(axis=2), s[:, 2:].argmax(axis=2)], axis=1)
        phi[those] += fine[best]
        last = alone if fine is _FINE else np.arange(len(those))
        low[those[last]] = np.minimum(low[those[last]], s[last, :2].min(axis=(1, 2)))
        high[those[last]] = np.maximum(high[those[last]], s[last, 2:].max(axis=(1, 2)))
    found = list(zip(low.tolist(), high.tolist(), strict=True))
    hidden = [i for i in both.tolist() if cuts[i]._hides(*found[i])]
    hidden += [i for i in alone.tolist() if not cuts[i]._plain]
    if hidden:
        # where one surface takes over from another there is a tip or a low, however sharp
        in_step([cuts[i].cornered() for i in hidden])
        edges = {i: cuts[i]._edge_changes for i in hidden}
        rays = [
            (i, [p for spots in e.values() for p in spots],
             np.repeat(list(e), [len(spots) for spots in e.values()]))
            for i, e in edges.items() if any(e.values())
        ]  # fmt: skip
        met = contacts([(cuts[i], p, r) for i, p, r in rays])
        for (i, _, _), c in zip(rays, met, strict=True):
            least, most = found[i]
            found[i] = min(least, float(c.s.min())), max(most, float(c.s.max()))
    return found


def _next(around: Array | Ints) -> Array:
    """What stands after each in its row ``(n, m)``, the first after the last."""
    return np.concatenate([around[:, 1:], around[:, :1]], axis=1)


def split(cuts: Iterable[EndCut]) -> None:
    """Work out side by side the ``corners`` of cuts, for whoever asks next."""
    _work_out(cuts, "corners", EndCut._corners)


def measure_saddles(cuts: Iterable[EndCut]) -> None:
    """Work out side by side the ``saddle_length`` of cuts, for whoever asks next."""
    _work_out(cuts, "saddle_length", EndCut._saddle)


def _work_out(cuts: Iterable[EndCut], name: str, work: Callable[[EndCut], CutWork[T]]) -> None:
    """Work out side by side what cuts keep under a name, where they do not have it."""
    left = [cut for cut in cuts if name not in vars(cut)]
    for cut, made in zip(left, in_step([work(cut) for cut in left]), strict=True):
        vars(cut)[name] = made


def narrowing(
    lo: Vec, hi: Vec, first: Ints, *, rounds: int
) -> Generator[Vec, Ints, tuple[Vec, Vec, Ints]]:
    """Where rays first end on another surface than ``first``, in brackets ``(n,)`` of angles.

    It gives angles ``(n, k)`` and takes the number of the surface that takes each ray there.

    Args:
        lo: lower ends of the brackets, rad.
        hi: upper ends; a ray there ends on another surface.
        first: surfaces that take the rays at ``lo``.
        rounds: how often a bracket is narrowed to a 32nd.

    Returns:
        The angles, angles just past them, and the surfaces found there, ``(n,)`` each.
    """
    parts = np.linspace(0.0, 1.0, 33)
    rows = np.arange(len(lo))
    for _ in range(rounds):
        t = lo[:, None] + (hi - lo)[:, None] * parts
        found = yield t
        other = found != first[:, None]
        other[:, 0], other[:, -1] = False, True
        k = np.argmax(other, axis=1)
        lo, hi = t[rows, k - 1], t[rows, k]
    return np.asarray(0.5 * (lo + hi)), hi, found[rows, k]


_EVENLY = np.linspace(0.0, 1.0, 33)
_TWENTIETHS = np.linspace(0.0, 1.0, 23)
_NEAR = 0.02 * 0.2 ** np.arange(7)
_AROUND = np.concatenate([_NEAR, -_NEAR])
"""Where rays are sent from where two curves seem to meet, in shares of the bracket."""


class _Parabola(NamedTuple):
    """A curve ``height + (x - at) * (slope + bend * (x - before))``."""

    height: float = 0.0
    slope: float = 0.0
    bend: float = 0.0
    at: float = 0.0
    before: float = 0.0

    @classmethod
    def of(cls, x: Sequence[float], y: Sequence[float]) -> _Parabola:
        """Through up to three spots, the nearest first; flatter through fewer."""
        if len(x) < 2 or x[1] == x[0]:
            return cls(y[0], at=x[0])
        slope = (y[1] - y[0]) / (x[1] - x[0])
        if len(x) < 3 or x[2] in (x[0], x[1]):
            return cls(y[0], slope, at=x[0], before=x[1])
        further = (y[2] - y[1]) / (x[2] - x[1])
        return cls(y[0], slope, (further - slope) / (x[2] - x[0]), x[0], x[1])

    @staticmethod
    def meeting(one: _Parabola, other: _Parabola) -> float:
        """Where two meet between 0 and 1, by Newton's steps from the middle; about there."""
        x = 0.5
        for _ in range(3):
            apart = rise = 0.0
            for p, sign in ((one, 1.0), (other, -1.0)):
                steep = p.slope + p.bend * (x - p.before)
                apart += sign * (p.height + (x - p.at) * steep)
                rise += sign * (steep + p.bend * (x - p.at))
            if rise:
                x = min(max(x - apart / rise, 0.0), 1.0)
        return x


def _distinct(angles: Vec) -> Vec:
    """Sort angles into [0, 2 pi) and drop those that coincide."""
    a = np.sort(np.mod(angles, 2 * pi))
    if len(a) < 2:
        return a
    keep = np.append(np.diff(a) > _SAME, 2 * pi - a[-1] + a[0] > _SAME)
    # keep the last of a run; the run across zero keeps the one just above zero
    return np.asarray(a[keep])


@lru_cache(maxsize=8)
def crowded_gauss(order: int) -> tuple[Vec, Vec]:
    """Gauss points and weights on (0, 1), crowded at both ends.

    With x = 3 t^2 - 2 t^3 a square-root end, as where a ray starts to graze, is integrated as
    well as a smooth one.
    """
    g, w = np.polynomial.legendre.leggauss(order)
    t = 0.5 * (g + 1.0)
    return t * t * (3.0 - 2.0 * t), 3.0 * w * t * (1.0 - t)


__all__ = [
    "CutWork", "EndCut", "contacts", "crowded_gauss", "edge_points", "in_step", "measure",
    "measure_saddles", "split",
]  # fmt: skip

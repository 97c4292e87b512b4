"""Plastic collapse of a frame as a lower bound: forces in balance that no section refuses.

The largest factor on the loads for which forces in the tubes balance them and no section is
beyond its fully plastic state: a convex programme in the forces that balance nothing, solved from
inside, so that every step is already on the safe side by the static theorem. The multipliers of
its end tell how far the true factor may lie above, which sections fold and how the frame moves.

Small displacements, ductile tubes and joints, no buckling: what second order takes off is told
apart. Source: static theorem of plastic theory, e.g. Neal, The Plastic Methods of Structural
Analysis, from memory; barrier method, Boyd and Vandenberghe, Convex Optimization, ch. 11.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi

import numpy as np

from cagekit.geometry.arrays import Bools, Ints
from cagekit.geometry.centre_line import Vec
from cagekit.structure.frame import Frame
from cagekit.structure.sections import Capacity
from cagekit.structure.solve import Loads

CLOSE = 0.004
"""Gap to the bound, as a share of the factor, at which the search ends."""
STEEPER = 20.0
"""How much the barrier gets steeper from round to round."""
SPREAD = 0.5
"""A beam that carries more than this, N/mm, is looked at in its middle too."""
CENTRED = 1e-8
"""How near the middle the last round ends: the bound and the multipliers hold there alone."""
STEPS = 200
"""Most steps of the search."""
STRONGEST = 1e6
"""A factor above this is not told: the load goes straight into what holds."""
ROUND = 1e-4
"""Rounds the tip of the cone of bending, as a share of the plastic moment; on the safe side."""

Strength = Sequence[tuple[Capacity, Capacity] | None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hinge:
    """A section that is fully plastic as the frame folds.

    Args:
        beam: its beam.
        at: 0 at the beam's first end, 0.5 in the middle, 1 at its second.
        share: its share of the work that the frame takes up, 0 to 1.
    """

    beam: int
    at: float
    share: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Collapse:
    """How a frame folds under one case.

    Args:
        factor: on the loads, safe side.
        bound: what the factor of these sections cannot be above.
        hinges: plastic sections that fold, the largest share first.
        motion: of the nodes as it folds, ``(n, 6)``, largest displacement 1.
        by_beam: gain of the factor for each share by which a beam gets stronger, ``(m,)``.
    """

    factor: float
    bound: float
    hinges: tuple[Hinge, ...]
    motion: Vec
    by_beam: Vec

    @property
    def gap(self) -> float:
        """Share by which the factor of these sections may lie above ``factor``."""
        return self.bound / self.factor - 1


class PlasticFrame:
    """A frame made ready for any number of cases.

    Unknowns by beam: N, T, and My and Mz at both ends, each over its capacity.

    Args:
        frame: nodes, beams and supports; what holds is taken as strong enough.
        strength: by beam its capacities at both ends; None for a link that does not give.
    """

    def __init__(self, frame: Frame, strength: Strength) -> None:
        self.frame, self.strength = frame, strength
        usual = next(s[0] for s in strength if s)
        self.unit = np.array([_unit(s[0] if s else usual) for s in strength])
        self.kept = np.flatnonzero(~self._released().ravel())
        held = (frame.fixed | (frame.spring > 0)).ravel()
        self.free = np.flatnonzero(~held)
        self.scale = np.where(self.free % 6 < 3, 1e-3, 1e-6)
        balance = self._balance()[self.free] * self.scale[:, None]
        basis, self.upper = np.linalg.qr(balance[:, self.kept].T, mode="complete")
        self.upper = self.upper[: len(self.free)]
        self.carrying, self.idle = basis[:, : len(self.free)], basis[:, len(self.free) :]

    def _released(self) -> Bools:
        out = np.zeros((len(self.strength), 6), bool)
        for freedom, unknown in ((0, 0), (6, 0), (3, 1), (9, 1), (4, 2), (5, 3), (10, 4), (11, 5)):
            out[:, unknown] |= self.frame.released[:, freedom]
        return out

    def _balance(self) -> Vec:
        """What the unknowns do at the nodes, ``(6 n, 6 m)``."""
        f, m = self.frame, len(self.frame.ends)
        length = f.lengths
        own = np.zeros((m, 12, 6))
        own[:, 0, 0], own[:, 6, 0], own[:, 3, 1], own[:, 9, 1] = -1.0, 1.0, -1.0, 1.0
        for turn, side, first, sign in ((4, 2, 2, -1.0), (5, 1, 3, 1.0)):
            own[:, turn, first], own[:, turn + 6, first + 2] = -1.0, 1.0
            own[:, side + 6, first], own[:, side + 6, first + 2] = sign / length, -sign / length
            own[:, side, first], own[:, side, first + 2] = -sign / length, sign / length
        axes = f.axes.transpose(0, 2, 1)
        out = np.zeros((6 * len(f.nodes), 6 * m))
        for i in range(m):
            block = own[i] * self.unit[i]
            for end in (0, 1):
                for half in (0, 3):
                    rows = 6 * f.ends[i, end] + half
                    part = axes[i] @ block[6 * end + half : 6 * end + half + 3]
                    out[rows : rows + 3, 6 * i : 6 * i + 6] += part
        return out

    def collapse(self, loads: Loads) -> Collapse | None:
        """Fold the frame under a case, all of which grows; None when nothing can fold it."""
        f = self.frame
        right = loads.at_nodes.ravel().copy()
        half = loads.on_beams * f.lengths[:, None] / 2
        for end in (0, 1):
            for axis in range(3):
                np.add.at(right, 6 * f.ends[:, end] + axis, half[:, axis])
        wanted = right[self.free] * self.scale
        if not np.abs(wanted).max(initial=0.0):
            return None
        carried = self.carrying @ np.linalg.solve(self.upper.T, wanted)
        points = self._points(loads)
        weights, constant = self._sections(points, loads)
        # section forces = maps @ (idle forces, factor)
        maps = np.concatenate(
            [weights @ self.idle, (weights @ carried + constant)[..., None]], axis=2
        )
        found = _largest(maps)
        if found is None:
            return None
        x, multipliers, slopes, steep = found
        factor = float(x[-1])
        work = -np.einsum("p,pk,pk->p", multipliers, slopes, maps @ x)
        return Collapse(
            factor=factor,
            bound=factor + len(maps) / steep,
            hinges=_hinges(points, work),
            motion=self._motion(np.einsum("p,pk,pkc->c", multipliers, slopes, weights), wanted),
            by_beam=np.bincount(points[:, 0].astype(int), work, len(f.ends)).astype(float),
        )

    def _points(self, loads: Loads) -> Vec:
        """Beam and place on it of every section looked at, ``(p, 2)``."""
        loaded = np.abs(loads.on_beams).max(axis=1) > SPREAD
        return np.array(
            [
                (i, at)
                for i, s in enumerate(self.strength)
                if s is not None
                for at in ((0.0, 0.5, 1.0) if loaded[i] else (0.0, 1.0))
            ]
        )

    def _sections(self, points: Vec, loads: Loads) -> tuple[Vec, Vec]:
        """N, T, My, Mz, Vy, Vz over capacities from the unknowns, and from the load on the beam."""
        weights = np.zeros((len(points), 6, 6 * len(self.strength)))
        constant = np.zeros((len(points), 6))
        axes, lengths = self.frame.axes, self.frame.lengths
        for k, (beam, at) in enumerate(points):
            i = int(beam)
            ends = self.strength[i]
            assert ends is not None
            c = _weaker(*ends) if at == 0.5 else ends[int(at)]
            unit, span = self.unit[i], lengths[i]
            w = axes[i] @ loads.on_beams[i]
            block = weights[k, :, 6 * i : 6 * i + 6]
            block[0, 0], block[1, 1] = unit[0] / c.normal, unit[1] / c.torsion
            constant[k, 0] = w[0] * span * (0.5 - at) / c.normal
            bow = span**2 / 2 * at * (1 - at)
            for row, sign, load in ((2, 1.0, w[2]), (3, -1.0, w[1])):
                block[row, row], block[row, row + 2] = (1 - at, at)
                block[row] *= unit[2] / c.bending
                constant[k, row] = sign * load * bow / c.bending
            for row, first, load, sign in ((4, 3, w[1], 1.0), (5, 2, w[2], -1.0)):
                block[row, first + 2], block[row, first] = sign, -sign
                block[row] *= unit[2] / span / c.shear
                constant[k, row] = load * span * (at - 0.5) / c.shear
        return weights[:, :, self.kept], constant

    def _motion(self, strains: Vec, wanted: Vec) -> Vec:
        """How the nodes move for the plastic strains of the sections, ``(n, 6)``."""
        speed = np.linalg.solve(self.upper, self.carrying.T @ strains)
        motion = np.zeros(self.frame.fixed.size)
        motion[self.free] = speed * self.scale * (-1.0 if speed @ wanted < 0 else 1.0)
        out = motion.reshape(-1, 6)
        return np.asarray(out / (np.abs(out[:, :3]).max() or 1.0))


def _unit(c: Capacity) -> tuple[float, ...]:
    return (c.normal, c.torsion, c.bending, c.bending, c.bending, c.bending)


def _weaker(a: Capacity, b: Capacity) -> Capacity:
    return a if a.bending > b.bending else b  # between welds a tube has its own strength


def _hinges(points: Vec, work: Vec) -> tuple[Hinge, ...]:
    total = max(float(work.sum()), 1e-12)
    return tuple(
        Hinge(beam=int(points[k, 0]), at=float(points[k, 1]), share=float(work[k] / total))
        for k in np.argsort(-work, kind="stable")
        if work[k] > 0.01 * total
    )


def room(u: Vec) -> Vec:
    """Room that sections have left, ``(p,)``; not above 0 beyond the plastic limit.

    Args:
        u: ``(p, 6)`` N, T, My, Mz, Vy, Vz, each over its capacity.

    Torsion and shear take from the strength by von Mises; normal force and bending interact as in
    a thin ring, m = s cos(pi n / 2 s).
    """
    s2 = 1 - u[:, 1] ** 2 - u[:, 4] ** 2 - u[:, 5] ** 2
    s = np.sqrt(np.maximum(s2, 1e-12))
    bent = np.sqrt(u[:, 2] ** 2 + u[:, 3] ** 2 + ROUND**2)
    out = s * np.cos(np.minimum(pi / 2 * np.abs(u[:, 0]) / s, pi / 2)) - bent
    return np.asarray(np.where((s2 > 0) & (np.abs(u[:, 0]) < s), out, -1.0))


_SHEARED: Ints = np.array([1, 4, 5])


def _curved(u: Vec) -> tuple[Vec, Vec]:
    """Slope ``(p, 6)`` and curvature ``(p, 6, 6)`` of :func:`room`, inside the limit."""
    shear = u[:, _SHEARED]
    s = np.sqrt(1 - (shear**2).sum(axis=1))
    a = pi / 2 * u[:, 0] / s
    sin, cos = np.sin(a), np.cos(a)
    by_s = cos + a * sin
    ds = -shear / s[:, None]
    slope, curve = np.zeros_like(u), np.zeros((len(u), 6, 6))
    slope[:, 0] = -pi / 2 * sin
    slope[:, _SHEARED] = by_s[:, None] * ds
    curve[:, 0, 0] = -(pi**2) / 4 * cos / s
    mixed = (pi / 2 * a * cos / s)[:, None] * ds
    curve[:, 0, _SHEARED] = mixed
    curve[:, _SHEARED, 0] = mixed
    outer = ds[:, :, None] * ds[:, None, :]
    bent = -np.eye(3) / s[:, None, None] - outer / s[:, None, None]
    block = (-(a**2) * cos / s)[:, None, None] * outer + by_s[:, None, None] * bent
    curve[:, _SHEARED[:, None], _SHEARED] = block
    moment = u[:, 2:4]
    size = np.sqrt((moment**2).sum(axis=1) + ROUND**2)
    slope[:, 2:4] = -moment / size[:, None]
    way = moment / size[:, None]
    curve[:, 2:4, 2:4] = -(np.eye(2) - way[:, :, None] * way[:, None, :]) / size[:, None, None]
    return slope, curve


def _largest(maps: Vec) -> tuple[Vec, Vec, Vec, float] | None:
    """The largest last unknown with room in every section.

    Args:
        maps: ``(p, 6, k)`` section forces from the unknowns.

    Returns:
        The unknowns, multipliers ``(p,)``, slopes ``(p, 6)`` and steepness of the barrier; None
        when the factor has no end.
    """
    p, k = len(maps), maps.shape[2]
    x = np.zeros(k)
    reach = float(np.abs(maps[:, :, -1]).max())
    if reach <= 0:
        return None
    x[-1] = 0.2 / reach
    steep = p / x[-1]
    flat = maps.reshape(6 * p, k)
    for _ in range(STEPS):
        u = (flat @ x).reshape(p, 6)
        left: Vec = room(u)
        slope, curve = _curved(u)
        pull = slope / left[:, None]
        gradient = -(pull.ravel() @ flat)
        gradient[-1] -= steep
        inner = pull[:, :, None] * pull[:, None, :] - curve / left[:, None, None]
        # half of a square takes half the time
        root = np.linalg.cholesky(inner + 1e-14 * np.eye(6)).transpose(0, 2, 1)
        halved = (root @ maps).reshape(6 * p, k)
        hessian = halved.T @ halved
        hessian[np.diag_indices(k)] += 1e-10 * np.trace(hessian) / k
        step = -np.linalg.solve(hessian, gradient)
        decrement = float(-gradient @ step)
        last = p / steep < CLOSE * x[-1]
        if decrement < (CENTRED if last else 0.05):
            if last:
                return x, 1 / (steep * left), slope, steep
            steep *= STEEPER
            continue
        x = _stepped(flat, x, np.asarray(step, float), steep, left, decrement)
        if x[-1] > STRONGEST:
            return None
    return x, 1 / (steep * left), slope, steep


def _stepped(flat: Vec, x: Vec, step: Vec, steep: float, left: Vec, decrement: float) -> Vec:
    """Go along the step as far as the barrier falls."""
    now = -steep * x[-1] - np.log(left).sum()
    size = 1.0
    while size > 1e-12:
        new = x + size * step
        there = room((flat @ new).reshape(-1, 6))
        if (
            there.min() > 0
            and -steep * new[-1] - np.log(there).sum() <= now - 0.1 * size * decrement
        ):
            return np.asarray(new)
        size *= 0.5
    return x


def with_second_order(factor: float, critical: float) -> float:
    """The collapse factor less what second order takes off.

    Source: Merchant-Rankine, 1 / f = 1 / plastic + 1 / elastic critical; from memory.
    """
    return 1 / (1 / factor + 1 / critical)

"""The largest factor with room in every section, from inside: the convex programme of collapse.

The norm of the moments and the curve of normal force and bending are taken as they are, not as
planes: every step is on the safe side, and the multipliers of the last bound what is left. A cone
programme (tests: clarabel) finds the same where bending alone counts, and cannot take that curve.

Forces and multipliers are sought together (primal-dual). What is solved for each step is a frame
whose beams give as their sections do, sparse, so that the work grows with the beams and no faster.

Source: primal-dual interior-point method, Boyd and Vandenberghe, Convex Optimization, 11.7.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf, pi

import numpy as np
from msgspec import Struct

from cagekit.errors import GeometryError
from cagekit.geometry.arrays import Bools, Ints
from cagekit.geometry.centre_line import Vec
from cagekit.structure.equations import Equations, factored
from cagekit.units.tolerance import NEVER_ZERO, NOISE

GAP = 0.0005
"""Gap to the bound, as a share of the factor, at which the search ends."""
STEPS = 250
"""Most steps of the search."""
PATIENCE = 3
"""Steps with a small gap that may bring no better end before the search rests."""
STRONGEST = 1e6
"""A factor above this is not told: the load goes straight into what holds."""
START = 0.2
"""Where the search starts, as a share of the largest use of the first forces that balance."""
LEAST_ROOM = 0.1
"""Share of its room that a step leaves to every section, and of itself to every multiplier."""
SHORTER = 0.8
"""By how much a step that leaves less is shortened, again and again."""
AIM = (0.25, 1.0)
"""Share of the gap that a step aims at: the less, the further the step before could go."""
SWEEPS = 3
"""How often what rounding leaves of a step is solved again: hinges give a million times what the
rest does."""


def room(u: Vec) -> Vec:
    """Room that sections have left, ``(p,)``; not above 0 beyond the plastic limit.

    Args:
        u: ``(p, 6)`` N, T, My, Mz, Vy, Vz, each over its capacity.

    Torsion and shear take from the strength by von Mises; normal force and bending interact as in
    a thin ring, h = s cos(pi n / 2 s). The room is h - m^2 / h: 0 where the moment m is h, concave
    as h - m is, and without its tip.
    """
    h, _, _ = _bends(u)
    inside = h > 0
    m2 = u[:, 2] ** 2 + u[:, 3] ** 2
    return np.asarray(np.where(inside, h - m2 / np.where(inside, h, 1.0), -1.0))


_SHEARED: Ints = np.array([1, 4, 5])


def _bends(u: Vec) -> tuple[Vec, Vec, Vec]:
    """Moment h that a section bears beside the rest, -1 beyond; s; and the angle of the cosine."""
    s2 = 1 - (u[:, _SHEARED] ** 2).sum(axis=1)
    s = np.sqrt(np.maximum(s2, NEVER_ZERO))
    a = pi / 2 * u[:, 0] / s
    inside = (s2 > 0) & (np.abs(u[:, 0]) < s)
    return np.where(inside, s * np.cos(np.where(inside, a, 0.0)), -1.0), s, a


def _sloped(u: Vec) -> tuple[Vec, Vec]:
    """Slope ``(p, 6)`` of :func:`room`, and a root ``(p, 6, 6)`` of its curvature, inside.

    The curvature is less the root's transpose times the root: formed, it would lose the digits
    that a section close to its limit needs.
    """
    h, s, a = _bends(u)
    sin, cos = np.sin(a), np.cos(a)
    by_s = cos + a * sin
    ds = -u[:, _SHEARED] / s[:, None]
    dh, root = np.zeros_like(u), np.zeros((len(u), 6, 6))
    dh[:, 0] = -pi / 2 * sin
    dh[:, _SHEARED] = by_s[:, None] * ds
    way = u[:, 2:4] / h[:, None]
    by_h = 1 + (way**2).sum(axis=1)
    # n / s along every change of forces
    of_normal = np.sqrt(by_h * cos / s) * pi / 2
    root[:, 0, 0] = of_normal
    root[:, 0, _SHEARED] = (-of_normal * u[:, 0] / s)[:, None] * ds
    # s
    steep = 1 + (ds**2).sum(axis=1)
    share = 1 / (1 + np.sqrt(steep))
    square = np.eye(3) + share[:, None, None] * ds[:, :, None] * ds[:, None, :]
    root[:, 1:4, _SHEARED] = np.sqrt(by_h * by_s / s)[:, None, None] * square
    # m / h
    turns = -way[:, :, None] * dh[:, None, :]
    turns[:, 0, 2] += 1.0
    turns[:, 1, 3] += 1.0
    root[:, 4:] = np.sqrt(2 / h)[:, None, None] * turns
    slope = by_h[:, None] * dh
    slope[:, 2:4] = -2 * way
    return slope, root


class Balance(Struct, frozen=True, kw_only=True, eq=False):
    """How the forces of beams balance a load.

    Args:
        equations: of the nodes.
        blocks: ``(m, 12, 6)`` from the six unknowns of each beam what they do at its nodes.
        wanted: ``(free,)`` the load, by which the factor multiplies.
    """

    equations: Equations
    blocks: Vec
    wanted: Vec

    def sums(self, x: Vec) -> Vec:
        """What unknowns ``(m, 6)`` do at the free freedoms."""
        at_beams = (self.blocks @ x[:, :, None])[..., 0]
        return np.asarray(self.equations.summed(at_beams)[self.equations.free])

    def strains(self, y: Vec) -> Vec:
        """What movements of the free freedoms do to the unknowns, ``(m, 6)``."""
        moved = self.equations.spread(y).ravel()[self.equations.freedoms]
        return np.asarray((moved[:, None, :] @ self.blocks)[:, 0])

    def solver(self, gives: Vec) -> Callable[[Vec], Vec] | None:
        """What solves for movements of the frame whose beams give ``(m, 6, 6)``."""
        blocks = self.blocks @ gives @ self.blocks.transpose(0, 2, 1)
        return factored(self.equations.matrix(blocks, np.zeros(len(self.wanted))), 0.0)


class Sections:
    """Forces of sections over what they bear, from the unknowns of their beams and the factor.

    Args:
        weights: ``(p, 6, 7)``.
        beams: ``(p,)`` the beam of each section, rising; every beam has some.
        none: ``(m, 6)`` unknowns that are nought.
    """

    def __init__(self, weights: Vec, beams: Ints, none: Bools) -> None:
        self.weights, self.beams, self.none = weights, beams, none
        self._first = np.flatnonzero(np.diff(beams, prepend=-1))
        self._turn = np.arange(len(beams)) - self._first[beams]
        self._rest = np.zeros((len(none), 6, 7))
        self._rest[:, range(6), range(6)] = none

    def of_load(self, share: float) -> Sections:
        """The same under a share of the load."""
        return Sections(self.weights * (1, 1, 1, 1, 1, 1, share), self.beams, self.none)

    def forces(self, x: Vec, factor: float) -> Vec:
        """Forces of the sections, ``(p, 6)``."""
        own = np.column_stack([x, np.full(len(x), factor)])[self.beams]
        return np.asarray((self.weights @ own[:, :, None])[..., 0])

    def pulled(self, pull: Vec) -> tuple[Vec, float]:
        """What slopes ``(p, 6)`` by the forces are by the unknowns, ``(m, 6)``, and the factor."""
        by_section = (pull[:, None, :] @ self.weights)[:, 0]
        own = np.add.reduceat(by_section, self._first)
        return own[:, :6], float(own[:, 6].sum())

    def roots(self, inner: Vec) -> Vec:
        """What roots ``(p, r, 6)`` by the forces are beam by beam, ``(m, 7, 7)``, triangles."""
        most, r = int(self._turn.max()) + 1, inner.shape[1]
        rows = np.zeros((len(self.none), most, r, 7))
        rows[self.beams, self._turn] = inner @ self.weights
        every = [rows.reshape(-1, most * r, 7), self._rest]
        return np.asarray(np.linalg.qr(np.concatenate(every, axis=1), mode="r"))


class Found(Struct, frozen=True, kw_only=True, eq=False):
    """The end of a search.

    Args:
        unknowns: ``(m, 6)``.
        factor: the largest that was found.
        above: by how much the true one may be above.
        multipliers: ``(p,)`` of the room of the sections.
        slopes: ``(p, 6)`` of that room by the forces.
        movements: ``(free,)`` of the nodes, one way or the other, of any size.
    """

    unknowns: Vec
    factor: float
    above: float
    multipliers: Vec
    slopes: Vec
    movements: Vec


def largest(balance: Balance, sections: Sections) -> Found | None:
    """The largest factor with room in every section; None when it has no end.

    Raises:
        GeometryError: no forces balance the load: the frame moves freely.
    """
    even = balance.solver(np.tile(np.eye(6), (len(sections.none), 1, 1)))
    if even is None:
        raise GeometryError("frame", "moves freely: no forces in its tubes balance the load.")
    first = balance.strains(even(balance.wanted))
    reach = float(np.abs(sections.forces(first, 1.0)).max())
    if reach <= 0:
        return None
    return _Search(balance, sections, even, first, reach).run()


class _Search:
    """Unknowns and multipliers on their way to the largest factor, told in units of ``scale``.

    Args:
        balance: as it is wanted.
        sections: which have to bear it.
        even: what solves for movements of the frame whose beams give all alike.
        first: unknowns that balance the load once.
        reach: largest use of a section by them.
    """

    def __init__(
        self,
        balance: Balance,
        sections: Sections,
        even: Callable[[Vec], Vec],
        first: Vec,
        reach: float,
    ) -> None:
        self.balance, self.even, self.scale = balance, even, 1 / reach
        self.sections = sections.of_load(self.scale)
        self.wanted = balance.wanted / reach
        self.x, self.factor = START * first / reach, START
        self.aim = AIM[1]
        self.y = np.zeros(len(self.wanted))
        self._looked()
        self.multipliers = START / self.left / len(self.left)

    def _looked(self) -> None:
        self.forces = self.sections.forces(self.x, self.factor)
        self.left = room(self.forces)
        self.slope, self.root = _sloped(self.forces)

    def run(self) -> Found | None:
        """Search until the factor cannot be much above."""
        best, since = self._found(), 0
        for _ in range(STEPS):
            if best.above < GAP * best.factor or since > PATIENCE or not self._step():
                break
            since += self._gap() < GAP * self.factor
            found = self._found()
            if found.factor > STRONGEST:
                return None
            # rounding may throw a search off its way at its end
            if found.above < best.above:
                best, since = found, 0
        return best

    def _found(self) -> Found:
        return Found(
            unknowns=self.x, factor=self.factor * self.scale, above=self._above() * self.scale,
            multipliers=self.multipliers * self.scale, slopes=self.slope, movements=self.y,
        )  # fmt: skip

    def _above(self) -> float:
        """By how much the true factor may be above.

        The gap, and what the slopes that are left may bring: forces that sections limit lie
        between those on both sides, -1 and 1.
        """
        by_x, by_factor = self.sections.pulled(self.multipliers[:, None] * self.slope)
        left = float(np.abs(self.balance.strains(self.y) - by_x).sum())
        reach = 1 + max(float(np.abs(self.x).max()), 1.0)
        # what the load's work on the movements, and what it takes of the sections, limit it by
        limited = -(by_factor + float(self.wanted @ self.y))
        return (self._gap() + reach * left) / limited if limited > 0 else inf

    def _gap(self) -> float:
        return float(self.multipliers @ self.left)

    def _step(self) -> bool:
        """Go a step towards the largest factor; False when there is no way on."""
        newton = _Newton.of(self)
        if newton is None:
            return False
        target = max(self.aim * self._gap(), GAP / 2 * self.factor) / len(self.left)
        dx, grown, y, along, by = newton.way(target)
        size = _longest(self.forces, along, self.left)
        if size < NOISE:
            return False
        self.x, self.factor = self.x + size * dx, self.factor + size * grown
        steady = _positive(self.multipliers, by)
        self.y = self.y + steady * (y - self.y)
        self.multipliers = self.multipliers + steady * by
        self._looked()
        self.aim = min(max(AIM[0], 1 - size), AIM[1])
        return True


class _Newton:
    """The equations of one step, solved for its target."""

    @classmethod
    def of(cls, at: _Search) -> _Newton | None:
        """The step from where a search stands; None when its frame cannot be solved."""
        pull = at.slope / np.sqrt(at.left)[:, None]
        inner = np.concatenate([at.root, pull[:, None, :]], axis=1)
        root = at.sections.roots(np.sqrt(at.multipliers)[:, None, None] * inner)
        try:
            back = np.linalg.inv(root[:, :6, :6])
        except np.linalg.LinAlgError:
            return None
        gives = back @ back.transpose(0, 2, 1)
        solve = at.balance.solver(gives)
        return None if solve is None else cls(at, root.transpose(0, 2, 1) @ root, gives, solve)

    def __init__(self, at: _Search, own: Vec, gives: Vec, solve: Callable[[Vec], Vec]) -> None:
        self.at, self.gives, self.solve = at, gives, solve
        self.own, self.border = own[:, :6, :6], own[:, :6, 6]
        self.corner = float(own[:, 6, 6].sum())

    def way(self, target: float) -> tuple[Vec, float, Vec, Vec, Vec]:
        """Towards multiplier times room at ``target``, in every section.

        Returns:
            Change of unknowns, of the factor, new movements, change of forces and multipliers.
        """
        at = self.at
        by_x, by_factor = at.sections.pulled(at.slope * (target / at.left)[:, None])
        off = at.factor * at.wanted - at.balance.sums(at.x)
        x, y = self._solved(by_x, off)
        x1, y1 = self._solved(self.border, -at.wanted)
        grown = 1 + by_factor - self._at_border(x, y)
        grown /= self.corner - self._at_border(x1, y1)
        dx = x - grown * x1
        # the load is balanced whatever rounding has left, or the factor would not be safe
        off += grown * at.wanted - at.balance.sums(dx)
        dx += at.balance.strains(at.even(off))
        along = at.sections.forces(dx, grown)
        rise = (at.slope * along).sum(axis=1)
        by = (target - at.multipliers * rise) / at.left - at.multipliers
        return dx, grown, y - grown * y1, along, by

    def _solved(self, right: Vec, sums: Vec) -> tuple[Vec, Vec]:
        """Unknowns with these sums at the nodes, and movements, for a pull on the unknowns."""
        balance = self.at.balance
        x, y = self._once(right, sums)
        for _ in range(SWEEPS):
            pull = right - (self.own @ x[..., None])[..., 0] - balance.strains(y)
            more, turn = self._once(pull, sums - balance.sums(x))
            x, y = x + more, y + turn
        return x, y

    def _once(self, right: Vec, sums: Vec) -> tuple[Vec, Vec]:
        balance = self.at.balance
        free = (self.gives @ right[..., None])[..., 0]
        y = self.solve(balance.sums(free) - sums)
        held = (self.gives @ balance.strains(y)[..., None])[..., 0]
        return free - held, y

    def _at_border(self, x: Vec, y: Vec) -> float:
        return float(np.sum(self.border * x) - self.at.wanted @ y)


def _longest(forces: Vec, along: Vec, left: Vec) -> float:
    """How far, up to 1, a step may go so that every section keeps a share of its room."""
    size = 1.0
    while size > NOISE and not (room(forces + size * along) > LEAST_ROOM * left).all():
        size *= SHORTER
    return size


def _positive(values: Vec, change: Vec) -> float:
    """How far, up to 1, values may change so that each keeps a share of itself."""
    falls = change < 0
    return float((-(1 - LEAST_ROOM) * values[falls] / change[falls]).min(initial=1.0))

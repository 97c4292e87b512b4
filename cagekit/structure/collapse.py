"""Plastic collapse of a frame as a lower bound: forces in balance that no section refuses.

The largest factor on the loads for which forces in the tubes balance them and no section is
beyond its fully plastic state: a convex programme in the forces that balance nothing, solved from
inside, so that every step is already on the safe side by the static theorem. The multipliers of
its end tell how far the true factor may lie above, which sections fold and how the frame moves.

Small displacements, ductile tubes and joints, no buckling: what second order takes off is told
apart. Source: static theorem of plastic theory, e.g. Neal, The Plastic Methods of Structural
Analysis, from memory.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from cagekit.geometry.arrays import Bools
from cagekit.geometry.centre_line import Vec
from cagekit.structure.equations import Equations
from cagekit.structure.frame import Frame
from cagekit.structure.interior import Balance, Sections, largest
from cagekit.structure.sections import Capacity
from cagekit.structure.solve import Loads
from cagekit.units.tolerance import NOISE

UNITS = (1e-3, 1e-6)
"""Forces are balanced in kN and moments in kN m, so that both are of one order."""
SPREAD = 0.5
"""A beam that carries more than this, N/mm, is looked at in its middle too."""

LINK = 10.0
"""How many times what the strongest tube bears a link does: much stiffer, and not without end."""

SAME_BOUND = 0.0005
"""Bounds from below and above that lie nearer than this (share) are told to agree."""

Strength = Sequence[tuple[Capacity, Capacity] | None]


class Hinge(Struct, frozen=True, kw_only=True, eq=False):
    """A section that is fully plastic as the frame folds.

    Args:
        beam: its beam.
        at: 0 at the beam's first end, 0.5 in the middle, 1 at its second.
        share: its share of the work that the frame takes up, 0 to 1.
    """

    beam: int
    at: float
    share: float


class Collapse(Struct, frozen=True, kw_only=True, eq=False):
    """How a frame folds under one case.

    Args:
        factor: on the loads, safe side.
        bound: what the factor of these sections cannot be above.
        hinges: plastic sections that fold, the largest share first.
        motion: of the nodes as it folds, ``(n, 6)``, largest displacement 1.
        by_beam: gain of the factor for each share by which a beam gets stronger, ``(m,)``.
        forces: of the beams as it folds, ``(m, 6)`` N, T, My and Mz at the first end, My and Mz
            at the second; N and N mm.
        rates: movement of the nodes for which the case does unit work, ``(n, 6)``.
        sheared: gain of the factor for each share by which the shear of a beam falls, ``(m,)``.
    """

    factor: float
    bound: float
    hinges: tuple[Hinge, ...]
    motion: Vec
    by_beam: Vec
    forces: Vec
    rates: Vec
    sheared: Vec

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
        strongest = _strongest([c for s in strength if s for c in s])
        self.frame = frame
        self.strength = [s or (strongest, strongest) for s in strength]
        self.unit = np.array([_unit(s[0]) for s in self.strength])
        self.released = self._released()
        self.equations = Equations(frame.ends, frame.fixed | (frame.spring > 0))
        self.scale = np.where(self.equations.free % 6 < 3, *UNITS)
        self.blocks = self._blocks()

    def _released(self) -> Bools:
        """Unknowns of each beam that carry nothing, ``(m, 6)``."""
        out = np.zeros((len(self.strength), 6), bool)
        for freedom, unknown in ((0, 0), (6, 0), (3, 1), (9, 1), (4, 2), (5, 3), (10, 4), (11, 5)):
            out[:, unknown] |= self.frame.released[:, freedom]
        return out

    def _blocks(self) -> Vec:
        """What the unknowns do at the nodes of their beams, ``(m, 12, 6)``."""
        f, m = self.frame, len(self.frame.ends)
        own = end_forces(f.lengths) * np.where(self.released, 0.0, self.unit)[:, None, :]
        turned = f.axes.transpose(0, 2, 1)[:, None] @ own.reshape(m, 4, 3, 6)
        return np.asarray(turned.reshape(m, 12, 6) * np.tile(np.repeat(UNITS, 3), 2)[:, None])

    def collapse(self, loads: Loads) -> Collapse | None:
        """Fold the frame under a case, all of which grows; None when nothing can fold it."""
        f = self.frame
        right = loads.at_nodes.ravel().copy()
        half = loads.on_beams * f.lengths[:, None] / 2
        for end in (0, 1):
            for axis in range(3):
                np.add.at(right, 6 * f.ends[:, end] + axis, half[:, axis])
        wanted = right[self.equations.free] * self.scale
        if not np.abs(wanted).max(initial=0.0):
            return None
        points = self._points(loads)
        beams = points[:, 0].astype(int)
        weights, constant = self._sections(points, loads)
        sections = Sections(
            np.concatenate([weights, constant[..., None]], axis=2), beams, self.released
        )
        balance = Balance(equations=self.equations, blocks=self.blocks, wanted=wanted)
        found = largest(balance, sections)
        if found is None:
            return None
        costs = -found.multipliers[:, None] * found.slopes
        costs *= sections.forces(found.unknowns, found.factor)
        work = costs.sum(axis=1)
        rates = self.equations.spread(
            found.movements * self.scale / (float(found.movements @ wanted) or 1.0)
        )
        return Collapse(
            factor=found.factor,
            bound=found.factor + found.above,
            hinges=_hinges(points, work),
            motion=np.asarray(rates / (np.abs(rates[:, :3]).max() or 1.0)),
            by_beam=np.bincount(beams, work, len(f.ends)).astype(float),
            forces=found.unknowns * self.unit,
            rates=rates,
            sheared=np.bincount(beams, costs[:, 4:].sum(axis=1), len(f.ends)).astype(float),
        )

    def _points(self, loads: Loads) -> Vec:
        """Beam and place on it of every section looked at, ``(p, 2)``."""
        loaded = np.abs(loads.on_beams).max(axis=1) > SPREAD
        return np.array(
            [
                (i, at)
                for i in range(len(self.strength))
                for at in ((0.0, 0.5, 1.0) if loaded[i] else (0.0, 1.0))
            ]
        )

    def _sections(self, points: Vec, loads: Loads) -> tuple[Vec, Vec]:
        """N, T, My, Mz, Vy, Vz over capacities: from the six unknowns of the section's beam.

        Returns:
            ``(p, 6, 6)``, and ``(p, 6)`` from the load on the beam.
        """
        i, at = points[:, 0].astype(int), points[:, 1]
        bears = [self._capacity(beam, where) for beam, where in zip(i, at, strict=True)]
        normal, torsion, bending, shear = np.array(
            [(c.normal, c.torsion, c.bending, c.shear) for c in bears]
        ).T
        unit, span = self.unit[i], self.frame.lengths[i]
        w = np.einsum("pij,pj->pi", self.frame.axes[i], loads.on_beams[i])
        weights, constant = np.zeros((len(points), 6, 6)), np.zeros((len(points), 6))
        weights[:, 0, 0], weights[:, 1, 1] = unit[:, 0] / normal, unit[:, 1] / torsion
        constant[:, 0] = w[:, 0] * span * (0.5 - at) / normal
        bow = span**2 / 2 * at * (1 - at)
        share = unit[:, 2] / bending
        for row, sign, load in ((2, 1.0, w[:, 2]), (3, -1.0, w[:, 1])):
            weights[:, row, row], weights[:, row, row + 2] = (1 - at) * share, at * share
            constant[:, row] = sign * load * bow / bending
        slope = unit[:, 2] / span / shear
        for row, first, load, sign in ((4, 3, w[:, 1], 1.0), (5, 2, w[:, 2], -1.0)):
            weights[:, row, first + 2], weights[:, row, first] = sign * slope, -sign * slope
            constant[:, row] = load * span * (at - 0.5) / shear
        return np.where(self.released[i][:, None], 0.0, weights), constant

    def _capacity(self, beam: int, at: float) -> Capacity:
        ends = self.strength[beam]
        return _between(*ends) if at == 0.5 else ends[int(at)]


def end_forces(length: Vec) -> Vec:
    """What N, T and the moments of beams do at their ends, ``(m, 12, 6)``, own axes.

    Args:
        length: ``(m,)`` mm.
    """
    own = np.zeros((len(length), 12, 6))
    own[:, 0, 0], own[:, 6, 0], own[:, 3, 1], own[:, 9, 1] = -1.0, 1.0, -1.0, 1.0
    for turn, side, first, sign in ((4, 2, 2, -1.0), (5, 1, 3, 1.0)):
        own[:, turn, first], own[:, turn + 6, first + 2] = -1.0, 1.0
        own[:, side + 6, first], own[:, side + 6, first + 2] = sign / length, -sign / length
        own[:, side, first], own[:, side, first + 2] = -sign / length, sign / length
    return own


def _unit(c: Capacity) -> tuple[float, ...]:
    return (c.normal, c.torsion, c.bending, c.bending, c.bending, c.bending)


def _strongest(all_of: Sequence[Capacity]) -> Capacity:
    """What a link bears."""
    return Capacity(
        normal=LINK * max(c.normal for c in all_of),
        bending=LINK * max(c.bending for c in all_of),
        torsion=LINK * max(c.torsion for c in all_of),
        shear=LINK * max(c.shear for c in all_of),
    )


def _between(a: Capacity, b: Capacity) -> Capacity:
    return a if a.bending > b.bending else b  # between welds a tube has its own strength


def _hinges(points: Vec, work: Vec) -> tuple[Hinge, ...]:
    total = max(float(work.sum()), NOISE)
    return tuple(
        Hinge(beam=int(points[k, 0]), at=float(points[k, 1]), share=float(work[k] / total))
        for k in np.argsort(-work, kind="stable")
        if work[k] > 0.01 * total
    )


def with_second_order(factor: float, critical: float) -> float:
    """The collapse factor less what second order takes off.

    Source: Merchant-Rankine, 1 / f = 1 / plastic + 1 / elastic critical; from memory.
    """
    return 1 / (1 / factor + 1 / critical)

"""Direct stiffness in three dimensions: displacements, end forces, reactions, second order."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct

from cagekit.geometry.arrays import Ints
from cagekit.geometry.centre_line import Vec
from cagekit.structure.elements import Beams
from cagekit.structure.equations import Equations, factored
from cagekit.structure.frame import Frame
from cagekit.units.tolerance import NEGLIGIBLE, NEVER_ZERO, NOISE, ROUNDING

if TYPE_CHECKING:
    from collections.abc import Callable

LEAST_PIVOT = 1e-11
"""Pivots below this share of their freedom's own stiffness mean that the frame moves freely."""
SETTLED = 1e-7
"""Change of the largest movement, as a share, at which second order has settled."""
ROUNDS = 60
"""Most rounds of the second-order iteration; it is given up when it has not settled by then."""


class Loads(Struct, frozen=True, kw_only=True, eq=False):
    """Loads of one case: at nodes ``(n, 6)`` N and N mm, on beams ``(m, 3)`` N/mm, car axes."""

    at_nodes: Vec
    on_beams: Vec

    @classmethod
    def none(cls, frame: Frame) -> Loads:
        """No load."""
        return cls(
            at_nodes=np.zeros((len(frame.nodes), 6)), on_beams=np.zeros((len(frame.ends), 3))
        )

    def plus(self, other: Loads, factor: float = 1.0) -> Loads:
        """These and ``factor`` times the others."""
        return Loads(
            at_nodes=self.at_nodes + factor * other.at_nodes,
            on_beams=self.on_beams + factor * other.on_beams,
        )


class Response(Struct, frozen=True, kw_only=True, eq=False):
    """What a frame does under one case.

    Args:
        moved: displacements of the nodes, ``(n, 6)`` mm and rad, car axes.
        forces: what the nodes do to the ends of each beam, ``(m, 12)`` N and N mm, own axes.
        reactions: what the ground does to the nodes, ``(n, 6)`` N and N mm, car axes.
    """

    moved: Vec
    forces: Vec
    reactions: Vec

    @property
    def normal(self) -> Vec:
        """Mean normal force of each beam, ``(m,)`` N, tension positive."""
        return np.asarray((self.forces[:, 6] - self.forces[:, 0]) / 2)


class MechanismError(Exception):
    """The frame moves freely; ``motion`` is how far, ``(n, 6)``, largest displacement 1.

    Of a frame that moves freely in many ways at once it is that of all of them together.
    """

    def __init__(self, motion: Vec) -> None:
        super().__init__("the frame moves freely")
        self.motion = motion


class Solver:
    """A frame made ready: assembled and factored once for any number of cases."""

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        self.beams = Beams(frame)
        self.equations = Equations(frame.ends, frame.fixed)
        self.free = self.equations.free

    @property
    def freedoms(self) -> Ints:
        """Numbers of the freedoms of each beam, ``(m, 12)``, among all."""
        return self.equations.freedoms

    def assembled(self, blocks: Vec, *, springs: bool = True) -> Any:
        """Sparse matrix of the free freedoms from ``(m, 12, 12)`` blocks in car axes."""
        own = self.frame.spring.ravel()[self.free] if springs else np.zeros(len(self.free))
        return self.equations.matrix(blocks, own)

    @cached_property
    def matrix(self) -> Any:
        """Stiffness of the free freedoms, sparse."""
        return self.assembled(self.beams.in_car)

    @cached_property
    def inverse(self) -> Callable[[Vec], Vec]:
        """What solves for displacements; MechanismError when the frame moves freely.

        Raises:
            MechanismError: the frame moves freely.
        """
        solve = self._factored(self.matrix)
        if solve is None:
            raise MechanismError(self._freest(self.matrix))
        return solve

    def _factored(self, matrix: Any) -> Callable[[Vec], Vec] | None:
        return factored(matrix, LEAST_PIVOT)

    def _freest(self, matrix: Any) -> Vec:
        """How far all goes that meets no resistance, or the least, ``(n, 6)``."""
        full = matrix.toarray()
        own = np.sqrt(np.maximum(np.abs(np.diag(full)), ROUNDING))
        values, vectors = np.linalg.eigh(full / own[:, None] / own)
        # together: which ways a library picks among those that are equally free is chance
        ways = vectors[:, values <= max(values[0], LEAST_PIVOT)]
        motion = self.spread(np.linalg.norm(ways, axis=1) / own)
        return np.asarray(motion / max(float(motion[:, :3].max()), NEVER_ZERO))

    def spread(self, values: Vec) -> Vec:
        """Values of the free freedoms as ``(n, 6)``, zero where held."""
        return self.equations.spread(values)

    def right_side(self, loads: Loads) -> Vec:
        """Loads of all freedoms, ``(6 n,)``, those on beams brought to their nodes."""
        return loads.at_nodes.ravel() + self._at_nodes(self.beams.uniform(loads.on_beams))

    def _at_nodes(self, own: Vec) -> Vec:
        """Sum at all freedoms, ``(6 n,)``, of end forces ``(m, 12)`` in own axes."""
        return self.equations.summed((own[:, None] @ self.beams.turn)[:, 0])

    def solve(self, loads: Loads) -> Response:
        """Displacements, forces and reactions of one case, first order."""
        right = self.right_side(loads)
        moved = self.spread(self.inverse(right[self.free]))
        return self._response(moved, loads, self.beams.stiffness)

    def _response(self, moved: Vec, loads: Loads, stiffness: Vec) -> Response:
        own = self.beams.turn @ moved.ravel()[self.freedoms][..., None]
        forces = (stiffness @ own)[..., 0] - self.beams.uniform(loads.on_beams)
        held = self._at_nodes(forces) - loads.at_nodes.ravel()
        reactions = np.where(self.frame.fixed.ravel(), held, 0.0)
        reactions -= self.frame.spring.ravel() * moved.ravel()
        return Response(moved=moved, forces=forces, reactions=reactions.reshape(-1, 6))

    # --- second order ------------------------------------------------------------------------

    def geometric(self, normal: Vec) -> Any:
        """Sparse geometric stiffness of normal forces ``(m,)`` N, tension positive."""
        turn = self.beams.turn
        blocks = turn.transpose(0, 2, 1) @ self.beams.geometric(normal) @ turn
        return self.assembled(blocks, springs=False)

    def critical(self, response: Response) -> float:
        """Factor on the case at which the frame buckles elastically; infinite when it cannot.

        Linear buckling: the smallest factor at which stiffness and geometric stiffness cancel.
        """
        from scipy.sparse.linalg import LinearOperator, eigsh

        pressed = -self.geometric(response.normal)
        if not len(pressed.data) or np.abs(pressed.data).max() < NOISE:
            return float("inf")
        size = len(self.free)
        inverse = LinearOperator((size, size), matvec=self.inverse, dtype=float)
        start = np.cos(np.arange(size, dtype=float))
        if size < 12:
            values = np.linalg.eigvals(np.linalg.solve(self.matrix.toarray(), pressed.toarray()))
            largest = float(values.real.max())
        else:
            largest = float(
                eigsh(
                    pressed, k=1, M=self.matrix, Minv=inverse, which="LA", v0=start,
                    return_eigenvectors=False, tol=NEGLIGIBLE,
                )[0]
            )  # fmt: skip
        return 1 / largest if largest > NOISE else float("inf")

    def second_order(self, loads: Loads) -> Response | None:
        """The case with equilibrium on the bent frame; None when it does not settle: it buckles.

        Displacements are taken small against the lengths; normal forces are iterated.
        """
        right = self.right_side(loads)
        response = self.solve(loads)
        for _ in range(ROUNDS):
            extra = self.beams.geometric(response.normal)
            turn = self.beams.turn
            blocks = self.beams.in_car + turn.transpose(0, 2, 1) @ extra @ turn
            solve = self._factored(self.assembled(blocks))
            if solve is None:
                return None
            moved = self.spread(solve(right[self.free]))
            new = self._response(moved, loads, self.beams.stiffness + extra)
            change = np.abs(new.moved - response.moved).max()
            response = new
            if not np.isfinite(change):
                return None
            if change <= SETTLED * max(float(np.abs(new.moved).max()), NOISE):
                return response
        return None

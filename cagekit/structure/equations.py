"""Equations of the free freedoms of a frame: what its beams add to them; solved sparse."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from cagekit.geometry.arrays import Bools, Ints
from cagekit.geometry.centre_line import Vec

if TYPE_CHECKING:
    from collections.abc import Callable


class Equations:
    """Where the freedoms of beams stand among those that are free.

    Args:
        ends: ``(m, 2)`` node numbers.
        held: ``(n, 6)`` freedoms that are not free.
    """

    def __init__(self, ends: Ints, held: Bools) -> None:
        self.freedoms = _freedoms(ends)
        self.total = held.size
        self.free = np.flatnonzero(~held.ravel())
        self._pattern = _pattern(ends.tobytes(), held.tobytes())

    def matrix(self, blocks: Vec, own: Vec) -> Any:
        """Sparse matrix from ``(m, 12, 12)`` blocks, and ``own`` on the diagonal, ``(free,)``."""
        from scipy.sparse import csc_matrix

        keep, slots, rows, starts = self._pattern
        size = len(self.free)
        values = np.bincount(slots, np.concatenate([blocks.ravel()[keep], own]), len(rows))
        return csc_matrix((values, rows, starts), shape=(size, size))

    def summed(self, values: Vec) -> Vec:
        """Sum at all freedoms, ``(6 n,)``, of values at those of beams, ``(m, 12)``."""
        return np.asarray(np.bincount(self.freedoms.ravel(), values.ravel(), self.total), float)

    def spread(self, values: Vec) -> Vec:
        """Values of the free freedoms as ``(n, 6)``, zero where held."""
        out = np.zeros(self.total)
        out[self.free] = values
        return out.reshape(-1, 6)


def factored(matrix: Any, least: float) -> Callable[[Vec], Vec] | None:
    """What solves with a symmetric matrix; None when it resists some motion not at all.

    Args:
        matrix: sparse; None comes back too when it pushes some motion on.
        least: pivots below this share of the diagonal count as no resistance.
    """
    from scipy.sparse.linalg import splu

    own = matrix.diagonal()
    if not len(own) or own.min() <= 0:
        return None
    try:
        factors = splu(
            matrix,
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )
    except RuntimeError:
        return None
    pivots = factors.U.diagonal() / own[np.argsort(factors.perm_c)]
    if not np.isfinite(pivots).all() or pivots.min() <= least:
        return None
    solve: Callable[[Vec], Vec] = factors.solve
    return solve


def _freedoms(ends: Ints) -> Ints:
    return (6 * ends[:, :, None] + np.arange(6)).reshape(len(ends), 12)


@lru_cache(maxsize=8)
def _pattern(ends: bytes, held: bytes) -> tuple[Bools, Ints, Ints, Ints]:
    """Which entries of the beams' blocks count, where each adds up, and the sparse pattern.

    The last entries are those of the diagonal, for springs. Kept: a frame of other tubes between
    the same nodes has the same.
    """
    free = np.flatnonzero(~np.frombuffer(held, np.bool_))
    number = np.full(len(held), -1)
    number[free] = np.arange(len(free))
    at = number[_freedoms(np.frombuffer(ends, np.int64).reshape(-1, 2))]
    rows, columns = np.repeat(at, 12, axis=1).ravel(), np.tile(at, (1, 12)).ravel()
    keep = (rows >= 0) & (columns >= 0)
    size = len(free)
    own = np.arange(size)
    places = np.concatenate([columns[keep] * size + rows[keep], own * size + own])
    found, slots = np.unique(places, return_inverse=True)
    starts = np.searchsorted(found, np.arange(size + 1) * size)
    return keep, np.asarray(slots).ravel(), found % max(size, 1), starts

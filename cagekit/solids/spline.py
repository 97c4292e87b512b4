"""Spline interpolation at fixed nodes: poles are a constant matrix times the samples."""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass
from functools import cache

import numpy as np
from msgspec import Struct

from cagekit.geometry.arrays import Array
from cagekit.units.tolerance import FLAT_POINT

DEGREE = 13
LADDER = (
    16, 19, 22, 25, 27, 29, 31, 33, 37, 40, 43, 46, 49, 52, 55, 58, 61, 64, 67, 70, 73, 79,
    85, 93, 101, 121, 145, 173, 205, 241,
)  # fmt: skip
"""Numbers of nodes to choose from."""
STALLED = FLAT_POINT
"""Below this (mm) a deviation that more nodes do not halve is the noise of the samples: where rays
graze a surface, they are uncertain along it and sure across it."""


@dataclass(frozen=True, eq=False)
class Interpolant:
    """A not-a-knot B-spline on [0, 1] through ``n`` fixed nodes.

    Attributes:
        nodes: parameters of the interpolated samples, ``(n,)``.
        between: parameters midway, where the error is measured, ``(n - 1,)``.
        knots: distinct knots; ``multiplicities`` belong to them.
        to_poles: ``(n, n)``, poles = ``to_poles @ samples``.
        to_between: ``(n - 1, n)``, curve at ``between`` = ``to_between @ samples``.
    """

    nodes: Array
    between: Array
    knots: Array
    multiplicities: tuple[int, ...]
    to_poles: Array
    to_between: Array

    @property
    def all_nodes(self) -> Array:
        """``nodes`` followed by ``between``, ``(2 n - 1,)``."""
        return np.concatenate([self.nodes, self.between])

    def fit(self, samples: Array) -> tuple[Array, float]:
        """Interpolate samples taken at :attr:`all_nodes`, shape ``(2 n - 1, k)``.

        Returns:
            The poles ``(n, k)`` and the largest deviation midway between the nodes.
        """
        n = len(self.nodes)
        gap = self.to_between @ samples[:n] - samples[n:]
        return self.to_poles @ samples[:n], float(np.sqrt((gap * gap).sum(1)).max())


class Fit(Struct, frozen=True, eq=False):
    """A curve through samples: its interpolant, poles ``(n, k)``, and how far off it is midway.

    ``samples`` are those that it was made from, ``(2 n - 1, k)``.
    """

    tool: Interpolant
    poles: Array
    off: float
    samples: Array


def fitted(
    sample: Callable[[Array], Array],
    close: float,
    *,
    first: int = 0,
    most: int = LADDER[-1],
    least: Callable[[Fit], int] | None = None,
) -> Fit:
    """Interpolate a curve with as few nodes as bring it close enough; see :func:`fitting`.

    Args:
        sample: gives points ``(m, k)`` at parameters ``(m,)`` in [0, 1].
        close: deviation at which no more nodes are tried.
        first: the number of nodes to begin with.
        most: the largest number; the closest curve found is taken then.
        least: tells of a curve that is close enough how many nodes it must have.
    """
    work = fitting(close, first=first, most=most, least=least)
    u = next(work)
    try:
        while True:
            u = work.send(sample(u))
    except StopIteration as end:
        return end.value  # type: ignore[no-any-return]


def fitting(
    close: float,
    *,
    first: int = 0,
    most: int = LADDER[-1],
    least: Callable[[Fit], int] | None = None,
) -> Generator[Array, Array, Fit]:
    """Interpolate a curve: gives parameters ``(m,)`` in [0, 1] and takes its points ``(m, k)``.

    The deviation falls with a power of the number of nodes, which tells the next number to try.
    It ends where more nodes do not help.

    Args:
        close: deviation at which no more nodes are tried.
        first: the number of nodes to begin with.
        most: the largest number; the closest curve found is taken then.
        least: tells of a curve that is close enough how many nodes it must have.
    """
    fit = yield from _close(close, first, most)
    wanted = least(fit) if least is not None else 0
    if len(fit.poles) >= min(wanted, most):
        return fit
    return (yield from _close(close, wanted, most))


def _close(close: float, first: int, most: int) -> Generator[Array, Array, Fit]:
    rungs = [n for n in LADDER if n <= most]
    k = next(i for i, n in enumerate(rungs) if n >= min(first, rungs[-1]))
    best: Fit | None = None
    while True:
        tool = interpolant(rungs[k])
        samples = yield tool.all_nodes
        poles, off = tool.fit(samples)
        stalled = best is not None and best.off < STALLED and off > best.off / 2
        if best is None or (off < best.off and not stalled):
            best = Fit(tool, poles, off, samples)
        if off < close or stalled or k + 1 == len(rungs):
            return best
        wanted = rungs[k] * min((off / close) ** (1 / (DEGREE + 1)), 2.0)
        k = next((i for i, n in enumerate(rungs) if n >= wanted and i > k), len(rungs) - 1)


@cache
def at_ends(n: int, step: float) -> Array:
    """Matrix from the poles of ``n`` nodes to five points at each end, ``(10, n)``.

    They stand ``step`` apart, those of the far end from the end backwards.

    Args:
        n: number of nodes.
        step: between the points, in the parameter from 0 to 1.
    """
    tool = interpolant(n)
    near = step * np.arange(5)
    knots = np.repeat(tool.knots, tool.multiplicities)
    return basis(np.concatenate([near, 1.0 - near]), knots, DEGREE)


def basis(x: Array, knots: Array, degree: int) -> Array:
    """B-spline basis functions, ``(len(x), len(knots) - degree - 1)`` (Cox and de Boor).

    Args:
        x: parameters within the knot range, ``(m,)``.
        knots: full knot vector with repetitions.
        degree: polynomial degree.
    """
    last = knots[-1]
    inside = np.where(x >= last, np.nextafter(last, knots[0]), x)
    span = np.searchsorted(knots, inside, side="right") - 1
    # only the functions over a span are not zero there: degree + 1, the last of its number
    near = knots[span + np.arange(1 - degree, degree + 1)[:, None]]
    behind, ahead = x - near[:degree], near[degree:] - x
    table = np.zeros((degree + 1, len(x)))
    table[0] = 1.0
    for d in range(1, degree + 1):
        left, right = behind[degree - d :], ahead[:d]
        # never nothing: the span lies within both
        share = table[:d] / (left + right)
        np.multiply(right, share, out=table[:d])
        table[1 : d + 1] += left * share
    whole = np.zeros((len(x), len(knots) - degree - 1))
    whole[np.arange(len(x)), span + np.arange(-degree, 1)[:, None]] = table
    return whole


@cache
def interpolant(n: int, degree: int = DEGREE) -> Interpolant:
    """The interpolant with ``n`` nodes of a degree that is odd; built once.

    The nodes are midway between even and cosine spacing: cosine keeps the ends calm, even keeps
    long loops from starving in the middle. Few digits keep the knots short in a file.
    """
    even = np.linspace(0.0, 1.0, n)
    nodes = (even + (1 - np.cos(np.pi * even)) / 2) / 2
    nodes = np.round(nodes, 3 if n < 100 else 4)
    nodes[0], nodes[-1] = 0.0, 1.0
    skip = (degree + 1) // 2
    full = np.concatenate([np.zeros(degree + 1), nodes[skip:-skip], np.ones(degree + 1)])
    between = (nodes[1:] + nodes[:-1]) / 2
    to_poles = np.asarray(np.linalg.inv(basis(nodes, full, degree)), dtype=np.float64)
    return Interpolant(
        nodes=nodes,
        between=between,
        knots=full[degree : len(full) - degree],
        multiplicities=(degree + 1, *(1 for _ in nodes[skip:-skip]), degree + 1),
        to_poles=to_poles,
        to_between=basis(between, full, degree) @ to_poles,
    )

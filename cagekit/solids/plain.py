"""Solids in plain numbers: all that the kernel's process is told of them.

That process has no use for arrays, nor for what makes them: it would take a tenth of its start to
load. :mod:`cagekit.solids.telling` puts records into these words. mm, rad.
"""

from __future__ import annotations

from typing import NamedTuple

PlainRows = list[list[float]]
"""Points or directions, one below the other."""


class PlainShape(NamedTuple):
    """A curve or a surface that has a frame.

    Attributes:
        kind: ``line``, ``ring``, ``plane``, ``cylinder``, ``cone`` or ``torus``.
        frame: its origin, and its unit directions, the axis first; of a line the one it runs in.
        sizes: radii, of a cone its half angle too.
    """

    kind: str
    frame: PlainRows
    sizes: list[float]


class PlainSpline(NamedTuple):
    """A B-spline in space, or in the parameters of a face."""

    degree: int
    poles: PlainRows
    knots: list[float]
    multiplicities: tuple[int, ...]


class PlainRuled(NamedTuple):
    """The straight lines from one spline to another of the same knots."""

    first: PlainSpline
    second: PlainSpline


class PlainLine(NamedTuple):
    """A line in the parameters of a face: ``start + t slope``, slope unit."""

    start: list[float]
    slope: list[float]


class PlainImage(NamedTuple):
    """Where an edge runs in the parameters of a face.

    ``curves`` are two for a seam: where it is walked forward, and where backward. ``tol`` is how
    far (mm) they may lie off the edge.
    """

    edge: int
    curves: tuple[PlainLine | PlainSpline, ...]
    tol: float


class PlainEdge(NamedTuple):
    """An edge as :class:`cagekit.solids.brep.Edge` has it."""

    first: int
    last: int
    curve: PlainShape | PlainSpline
    t0: float
    t1: float
    tol: float


class PlainFace(NamedTuple):
    """A face as :class:`cagekit.solids.brep.Face` has it, with the images of its edges.

    On a plane there are none: the kernel needs none there.
    """

    surface: PlainShape | PlainRuled
    same_sense: bool
    loops: tuple[tuple[tuple[int, bool], ...], ...]
    images: list[PlainImage]


class PlainSolid(NamedTuple):
    """One closed solid; across the edges named in ``smooth`` its faces are tangent."""

    vertices: PlainRows
    edges: list[PlainEdge]
    faces: list[PlainFace]
    smooth: set[int]

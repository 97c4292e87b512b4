"""Edges and surfaces looked at together against each looked at alone, and images of edges."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.interpolate import BSpline

from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.cope import Parent, cut_end
from cagekit.geometry.drill import Drill
from cagekit.solids.brep import (
    ConeSurface,
    Edge,
    EllipseCurve,
    LineCurve,
    PlaneSurface,
    Record,
    SplineCurve,
    TorusSurface,
)
from cagekit.solids.images import CLOSE_ENOUGH, DEGREE, SeamImage, StraightImage, images
from cagekit.solids.rows import EdgeRows, SurfaceRows
from cagekit.solids.tube import tube_record

RO, RI = 20.64, 17.24


@cache
def _tubes() -> tuple[Record, ...]:
    """A bent tube between two others, one of its own diameter, and a drilled one on its bend."""
    corners = [(0, -500, 0), (0, -450, 900), (100, 450, 900), (0, 500, 0)]
    hoop = CentreLine.from_polyline(corners, 152.0)
    feet = [Parent(f"foot_{y}", CentreLine.straight((-300, y, 0), (300, y, 0)), r)
            for y, r in ((-500, RO), (500, 25.0))]  # fmt: skip
    ends = [cut_end(hoop, end, RO, RI, parents=(p,))
            for end, p in zip(("a", "b"), feet, strict=True)]  # fmt: skip
    bend = hoop.bends[0]
    brace = CentreLine.straight(tuple(bend.point(bend.length / 2)), (-700, -400, 100))
    on_hoop = cut_end(brace, "a", RO, RI, parents=(Parent("hoop", hoop, RO),))
    middle = 0.5 * (np.array(brace.start) + brace.end)
    along = (brace.end - brace.start) / np.linalg.norm(brace.end - brace.start)
    across = np.cross(along, (0, 0, 1))
    side = across / np.linalg.norm(across)
    drill = Drill(point=middle, axis=side, along=along, radius=6.0)
    square = cut_end(brace, "b", RO, RI)
    return (
        tube_record("hoop", hoop, *ends),
        tube_record("brace", brace, on_hoop, square, drills=[drill]),
    )


def test_edges_together_are_each_edge_alone() -> None:
    edges = [e for record in _tubes() for e in record.edges]
    assert {type(e.curve) for e in edges} == {LineCurve, EllipseCurve, SplineCurve}
    shares = np.array([0.0, 0.11, 0.5, 0.93, 1.0])
    rows = np.array([*range(len(edges)), 0, 3])
    found = EdgeRows(edges).at(shares, rows)
    for points, i in zip(found, rows.tolist(), strict=True):
        e = edges[i]
        alone = e.curve.at(e.t0 + (e.t1 - e.t0) * shares)
        np.testing.assert_allclose(points, alone, rtol=0, atol=1e-9)


def test_splines_together_are_where_another_library_has_them() -> None:
    edges = [e for record in _tubes() for e in record.edges if isinstance(e.curve, SplineCurve)]
    shares = np.linspace(0.0, 1.0, 7)
    for e, points in zip(edges, EdgeRows(edges).at(shares), strict=True):
        c = e.curve
        assert isinstance(c, SplineCurve)
        other = BSpline(np.repeat(c.knots, c.multiplicities), c.poles, c.degree)
        np.testing.assert_allclose(points, other(e.t0 + (e.t1 - e.t0) * shares), rtol=0, atol=1e-9)


def test_surfaces_together_are_each_surface_alone() -> None:
    rng = np.random.default_rng(3)
    surfaces = [f.surface for record in _tubes() for f in record.faces]
    surfaces += [
        ConeSurface(np.array([1.0, 2, 3]), np.array([0.0, 0, 1]), np.array([1.0, 0, 0]), 9.0, 0.4),
        PlaneSurface(np.array([5.0, 2, 3]), np.array([0.0, 1, 0]), np.array([1.0, 0, 0])),
    ]
    assert len({type(s) for s in surfaces}) == 4
    assert any(isinstance(s, TorusSurface) for s in surfaces)
    points = rng.uniform(-400.0, 400.0, (len(surfaces), 6, 3))
    together, rows = SurfaceRows(surfaces), np.arange(len(surfaces))
    uv, height = together.uv(points, rows), together.height(points, rows)
    for s, p, here, off in zip(surfaces, points, uv, height, strict=True):
        turns = (here - s.uv(p)) / (2 * np.pi)
        if not isinstance(s, PlaneSurface):
            turns[:, 0] -= np.round(turns[:, 0])
        if isinstance(s, TorusSurface):
            turns[:, 1] -= np.round(turns[:, 1])
        np.testing.assert_allclose(turns, 0.0, atol=1e-10)
        np.testing.assert_allclose(off, s.height(p), rtol=0, atol=1e-9)


@pytest.mark.parametrize("which", [0, 1])
def test_an_image_leads_back_to_its_edge(which: int) -> None:
    """Put into the surface's own equation, the image gives the edge's points in space."""
    record = _tubes()[which]
    found = images(_tubes())[which]
    straight = 0
    for (k, e), image in found.items():
        edge, surface = record.edges[e], record.faces[k].surface
        t = np.linspace(edge.t0, edge.t1, 101)
        if isinstance(image, SeamImage):
            uv = np.concatenate([q.start + t[:, None] * q.slope for q in (image.ahead, image.back)])
            t, close = np.append(t, t), 1e-7
        elif isinstance(image, StraightImage):
            uv = image.start + t[:, None] * image.slope
            close = 1e-7
            straight += 1
        else:
            full = np.repeat(image.knots, image.multiplicities)
            uv = BSpline(full, image.poles, DEGREE)(t)
            assert image.off < CLOSE_ENOUGH
            close = 3 * CLOSE_ENOUGH
        off = np.linalg.norm(_in_space(surface, uv) - edge.curve.at(t), axis=1)
        assert off.max() < close
    assert straight >= 2
    walked = [
        (k, e) for k, face in enumerate(record.faces)
        if not isinstance(face.surface, PlaneSurface) for loop in face.loops for e, _ in loop
    ]  # fmt: skip
    assert set(found) == set(walked)
    seams = {use for use, image in found.items() if isinstance(image, SeamImage)}
    assert seams == {use for use in walked if walked.count(use) == 2}


def test_a_face_lies_left_of_the_two_lines_of_its_seam() -> None:
    """Round in a face's parameters, seam and rings go once about it, against the clock."""
    for record, found in zip(_tubes(), images(_tubes()), strict=True):
        for k, face in enumerate(record.faces):
            walked = [e for loop in face.loops for e, _ in loop]
            seam = next((e for e in walked if walked.count(e) == 2), None)
            if seam is None or isinstance(face.surface, PlaneSurface):
                continue
            image, edge = found[k, seam], record.edges[seam]
            assert isinstance(image, SeamImage)
            spots = np.array([[q.start + t * q.slope for t in (edge.t0, edge.t1)]
                              for q in (image.ahead, image.back)])  # fmt: skip
            walk = np.concatenate([spots[0], spots[1, ::-1]])
            x, y = walk.T
            area = 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))
            length = abs(edge.t1 - edge.t0)
            assert area == pytest.approx(2 * np.pi * length, rel=1e-12)


def _in_space(s: object, uv: np.ndarray) -> np.ndarray:
    """Points of a cylinder or torus at its parameters."""
    u, v = uv[:, :1], uv[:, 1:]
    axis, x = s.axis, s.x  # type: ignore[attr-defined]
    ring = np.cos(u) * x + np.sin(u) * np.cross(axis, x)
    if isinstance(s, TorusSurface):
        return np.asarray(s.centre + (s.major + s.minor * np.cos(v)) * ring
                          + s.minor * np.sin(v) * axis)  # fmt: skip
    return np.asarray(s.origin + s.radius * ring + v * axis)  # type: ignore[attr-defined]


def test_an_edge_alone_is_the_edge_among_many() -> None:
    ring = EllipseCurve(np.zeros(3), np.array([0.0, 0, 1]), np.array([1.0, 0, 0]), 3.0, 2.0)
    edge = Edge(0, 0, ring, 0.2, 4.0)
    shares = np.linspace(0.0, 1.0, 5)
    others = [e for record in _tubes() for e in record.edges]
    np.testing.assert_array_equal(
        EdgeRows([edge]).at(shares)[0], EdgeRows([*others, edge]).at(shares)[-1]
    )

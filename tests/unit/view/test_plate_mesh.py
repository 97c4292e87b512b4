"""Plates as meshes: closed, and as large as the plate."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cagekit.cage.plate import Hole, Plate
from cagekit.geometry.fold import Fold
from cagekit.geometry.outline import Outline
from cagekit.view.plate_mesh import plate_mesh
from cagekit.view.triangulate import signed_area, triangulate

trimesh = pytest.importorskip("trimesh")


@st.composite
def stars(draw: st.DrawFn) -> np.ndarray:
    """A polygon that winds once round the origin, at radii from 20 to 50."""
    n = draw(st.integers(3, 24))
    radii = np.array(draw(st.lists(st.floats(20, 50), min_size=n, max_size=n)))
    angles = np.linspace(0, 2 * pi, n, endpoint=False)
    return np.column_stack([radii * np.cos(angles), radii * np.sin(angles)])


def areas(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    a, b, c = (points[triangles[:, k]] for k in range(3))
    return ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2


@given(stars(), st.integers(0, 3), st.booleans())
def test_triangles_fill_the_polygon_and_nothing_else(
    outer: np.ndarray, holes: int, turned: bool
) -> None:
    ring = np.linspace(0, 2 * pi, 9, endpoint=False)
    small = np.column_stack([np.cos(ring), np.sin(ring)])
    spots = [(-4.0, 0.0), (4.0, 0.0), (0.0, 5.0)][:holes]
    # the innermost circle of any such star: 20 cos(pi / 3)
    inner = [1.5 * small + np.array(s) for s in spots]
    points, triangles = triangulate(outer[::-1] if turned else outer, inner)
    got = areas(points, triangles)
    assert (got > 0).all()
    want = abs(signed_area(outer)) - sum(abs(signed_area(h)) for h in inner)
    assert got.sum() == pytest.approx(want, rel=1e-9)


def test_points_in_line_stay_on_the_edge() -> None:
    square = np.array([(0, 0), (5, 0), (10, 0), (10, 10), (5, 10), (0, 10)], float)
    points, triangles = triangulate(square)
    assert areas(points, triangles).sum() == pytest.approx(100.0)
    assert set(triangles.ravel()) == set(range(6))


def test_holes_in_a_row_hide_each_other_from_the_edge() -> None:
    ring = np.linspace(0, 2 * pi, 24, endpoint=False)
    round_ = 2.0 * np.column_stack([np.cos(ring), np.sin(ring)])
    outer = np.array([(0, 0), (100, 0), (100, 10), (0, 10)], float)
    holes = [round_ + np.array((x, 5.0)) for x in np.arange(10, 95, 5)]
    points, triangles = triangulate(outer, holes)
    got = areas(points, triangles)
    assert (got > 0).all()
    assert got.sum() == pytest.approx(1000 - 17 * signed_area(round_), rel=1e-9)


def test_a_hole_outside_is_refused() -> None:
    square = np.array([(0, 0), (10, 0), (10, 10), (0, 10)], float)
    with pytest.raises(ValueError, match=r"outside|crosses"):
        triangulate(square, [square + 50.0])


def plate(**over: object) -> Plate:
    values: dict[str, object] = {
        "id": "p",
        "kind": "floor_plate",
        "thickness": 3.0,
        "material": "a36",
        "outline": Outline.polygon([(0, 0), (120, 0), (120, 80), (0, 80)]),
        "holes": (Hole.circle((20, 20), 11.0), Hole.slot((70, 20), (100, 20), 9.0)),
        "base": (20.0, 40.0),
    }
    return Plate(**{**values, **over})  # type: ignore[arg-type]


FOLDED = plate(
    folds=(
        Fold(start=np.array([0, 50.0]), end=np.array([120, 50.0]), angle=1.2, inside_radius=6.0),
    )
)


@pytest.mark.parametrize("made", [plate(), FOLDED], ids=["flat", "folded"])
def test_it_is_closed_and_as_large_as_the_plate(made: Plate) -> None:
    mesh = plate_mesh(made)
    solid = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    solid.merge_vertices(merge_norm=True)
    assert solid.is_winding_consistent
    assert mesh.volume == pytest.approx(made.volume, rel=3e-3)
    if not made.folds:
        assert solid.is_watertight
    facing = np.einsum("ij,ij->i", solid.face_normals, mesh.normals[::3])
    assert (facing > 0.99).all()


def test_it_stands_where_the_plate_is_placed() -> None:
    place = np.eye(4)
    place[:3, :3] = [[0, 0, 1], [1, 0, 0], [0, 1, 0]]
    place[:3, 3] = (100, 200, 300)
    mesh = plate_mesh(plate(placement=place))
    assert np.allclose(mesh.bounds, [[97, 200, 300], [100, 320, 380]])

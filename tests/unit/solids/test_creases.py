"""What parents' surfaces and the ridges between them tell of points."""

from __future__ import annotations

import numpy as np
import pytest

from cagekit.geometry.contact import CylinderPiece, PlaneFace, TorusPiece
from cagekit.solids.creases import Crease, Cut, Refused, distance, distance_of_one

AXIS = np.array([2.0, -1.0, 2.0]) / 3
ACROSS = np.array([1.0, 2.0, 0.0]) / np.sqrt(5)
STRAIGHT = CylinderPiece(
    owner="p", piece=0, start=np.array([3.0, -4.0, 5.0]), axis=AXIS, radius=20.0,
    low=-np.inf, high=np.inf,
)  # fmt: skip
BEND = TorusPiece(
    owner="p", piece=1, centre=np.array([1.0, 2.0, -3.0]), axis=AXIS, x=ACROSS,
    y=np.cross(AXIS, ACROSS), major=130.0, radius=20.0, angle=1.2,
)  # fmt: skip
FLAT = PlaneFace(owner="q", point=np.array([0.0, 7.0, 1.0]), normal=ACROSS)
SURFACES = (STRAIGHT, BEND, FLAT, Cut(FLAT.point, FLAT.normal))


@pytest.mark.parametrize("surface", SURFACES, ids=lambda s: type(s).__name__)
def test_one_point_is_as_far_off_as_it_is_among_many(surface: Cut) -> None:
    points = np.random.default_rng(5).uniform(-200, 200, (40, 3))
    far, normals = distance(surface, points)
    for point, off, normal in zip(points, far, normals, strict=True):
        found, *way = distance_of_one(surface, *point.tolist())
        assert found == pytest.approx(off, abs=1e-11)
        np.testing.assert_allclose(way, normal, atol=1e-13)


def test_a_point_on_a_centre_line_has_no_nearest_place() -> None:
    with pytest.raises(Refused):
        distance_of_one(STRAIGHT, *STRAIGHT.start.tolist())


def test_a_point_settles_where_it_does_among_many() -> None:
    """Two tubes whose axes pass 5 mm apart; the points lie on both, and the tangent along both."""
    other = CylinderPiece(
        owner="q", piece=0, start=STRAIGHT.start + 5 * np.cross(AXIS, ACROSS), axis=ACROSS,
        radius=16.0, low=-np.inf, high=np.inf,
    )  # fmt: skip
    ridge = Crease(STRAIGHT, other)
    angle = np.linspace(0.3, 2.8, 9)
    sides = np.multiply.outer(np.cos(angle), AXIS)
    sides += np.multiply.outer(np.sin(angle), np.cross(AXIS, ACROSS))
    near = other.start + 16.5 * sides + 13.0 * ACROSS
    together = ridge.settle(near)
    for point, among in zip(near, together, strict=True):
        (alone,) = ridge.settle(point[None])
        np.testing.assert_allclose(alone, among, atol=1e-11)
        for surface in (STRAIGHT, other):
            assert abs(distance(surface, alone[None])[0][0]) < 1e-11
            assert abs(distance(surface, alone[None])[1][0] @ ridge.tangent(alone)) < 1e-12

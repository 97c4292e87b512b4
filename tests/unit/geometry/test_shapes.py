"""Distances of capsule, slab and ring against closed forms and each other."""

from __future__ import annotations

from math import hypot, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cagekit.geometry.centre_line import unit, vec
from cagekit.geometry.shapes import Capsule, Ring, Slab, Solids

number = st.floats(-900, 900)
point = st.tuples(number, number, number).map(np.array)


def test_point_to_torus_is_the_closed_form() -> None:
    ring = Ring(vec((0, 0, 0)), vec((0, 0, 1)), 175.0, 15.0)
    for x, y, z in ((300, 40, 20), (10, 5, 90), (175, 0, 0), (-120, 60, -30)):
        expected = hypot(hypot(x, y) - 175.0, z) - 15.0
        assert ring.gap(np.array([[x, y, z]]))[0] == pytest.approx(expected, abs=1e-9)


def test_point_on_the_axis_of_a_torus() -> None:
    ring = Ring(vec((5, 5, 5)), unit((1, 0, 1)), 100.0, 10.0)
    at = np.array([ring.centre + 70.0 * ring.axis])
    assert ring.gap(at)[0] == pytest.approx(sqrt(100.0**2 + 70.0**2) - 10.0)
    assert np.linalg.norm(ring.nearest(at)[0] - at[0]) == pytest.approx(ring.gap(at)[0])


def test_capsule_is_cylinder_in_the_middle_and_ball_at_the_ends() -> None:
    capsule = Capsule(vec((0, 0, 0)), vec((200, 0, 0)), 130.0)
    assert capsule.gap(np.array([[100, 300, 400]]))[0] == pytest.approx(500 - 130)
    assert capsule.gap(np.array([[-30, 40, 0]]))[0] == pytest.approx(50 - 130)
    assert capsule.gap(np.array([[260, 0, 80]]))[0] == pytest.approx(100 - 130)


def test_slab_face_edge_corner_and_inside() -> None:
    slab = Slab(vec((0, 0, 0)), np.eye(3), vec((10, 20, 30)))
    points = np.array([[15, 0, 0], [13, 24, 0], [11, 22, 32], [9, 0, 0]], dtype=float)
    assert slab.gap(points) == pytest.approx([5, 5, 3, -1])


@given(point)
def test_nearest_spot_is_on_the_surface_and_as_far_as_the_gap(p: np.ndarray) -> None:
    tilt = np.array([unit((1, 0, 1)), (0, 1, 0), unit((-1, 0, 1))])
    solids = (
        Capsule(vec((-40, 10, 0)), vec((90, 60, 30)), 55.0),
        Ring(vec((10, -20, 30)), unit((1, 2, 3)), 175.0, 20.0),
        Slab(vec((5, 6, 7)), tilt, vec((30, 240, 300))),
    )
    for solid in solids:
        gap = float(solid.gap(p[None])[0])
        spot = solid.nearest(p[None])
        assert float(np.linalg.norm(spot[0] - p)) == pytest.approx(abs(gap), abs=1e-6)
        assert float(solid.gap(spot)[0]) == pytest.approx(0.0, abs=1e-6)


def test_many_solids_tell_together_what_each_tells_alone() -> None:
    rng = np.random.default_rng(5)
    tilt = np.array([unit((1, 2, 2)), unit((2, 1, -2)), unit((2, -2, 1))])
    solids = [
        Slab(vec((5, 6, 7)), tilt, vec((30, 240, 300))),
        Capsule(vec((-40, 10, 0)), vec((90, 60, 30)), 55.0),
        Ring(vec((10, -20, 30)), unit((1, 2, 3)), 175.0, 20.0),
        Slab(vec((-50, 0, 0)), np.eye(3), vec((100, 20, 60))),
        Capsule(vec((20, 20, 20)), vec((20, 20, 20)), 90.0),
    ]
    points = rng.uniform(-400, 400, (len(solids), 300, 3))
    for own, rows in ((points, points), (points[:1], np.repeat(points[:1], len(solids), axis=0))):
        together = Solids(solids).gaps(own)
        for solid, at, found in zip(solids, rows, together, strict=True):
            assert found == pytest.approx(solid.gap(at), abs=1e-9)
            # to the last bit whatever stands beside
            assert (Solids([solid]).gaps(at[None, :7])[0] == found[:7]).all()
        assert (together < 0).any()
    spots = Solids(solids).nearest(points)
    for solid, at, found in zip(solids, points, spots, strict=True):
        assert found == pytest.approx(solid.nearest(at), abs=1e-9)
        assert (Solids([solid]).nearest(at[None, :7])[0] == found[:7]).all()

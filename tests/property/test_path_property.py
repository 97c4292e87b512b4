"""Random tubes: what must hold whatever the corners are."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from cagekit.errors import GeometryError
from cagekit.geometry.centre_line import CentreLine
from cagekit.units.tolerance import SAME_POINT

coordinate = st.floats(-1500, 1500, allow_nan=False, allow_infinity=False)
corners = st.lists(st.tuples(coordinate, coordinate, coordinate), min_size=2, max_size=7)


def made(points: list, radius: float) -> CentreLine:
    try:
        return CentreLine.from_polyline(points, radius)
    except GeometryError:
        assume(False)
        raise


@settings(max_examples=150, deadline=None)
@given(corners, st.floats(20, 200))
def test_walked_backwards_a_tube_is_as_long(points: list, radius: float) -> None:
    path = made(points, radius)
    back = path.reversed()
    assert back.length == pytest.approx(path.length, rel=1e-12)
    s = np.linspace(0, path.length, 20)
    assert back.points(path.length - s) == pytest.approx(path.points(s), abs=1e-6)


@settings(max_examples=150, deadline=None)
@given(corners, st.floats(20, 200))
def test_a_tube_is_never_longer_than_its_polyline_and_never_shorter_than_the_straight(
    points: list, radius: float
) -> None:
    path = made(points, radius)
    straight = float(np.linalg.norm(np.subtract(points[-1], points[0])))
    polyline = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
    assert straight - 1e-6 <= path.length <= polyline + 1e-6


@settings(max_examples=100, deadline=None)
@given(corners, st.floats(20, 200), st.floats(0, 1))
def test_the_nearest_spot_of_a_point_on_the_tube_is_that_point(
    points: list, radius: float, at: float
) -> None:
    path = made(points, radius)
    point = path.spot(at * path.length).point
    assert path.nearest(point).point == pytest.approx(point, abs=1e-6)


@settings(max_examples=100, deadline=None)
@given(corners, st.floats(20, 200), st.floats(-1200, 1200))
def test_crossings_are_all_there(points: list, radius: float, z: float) -> None:
    path = made(points, radius)
    s = np.linspace(0, path.length, 4001)
    rise = path.points(s)[:, 2] - z
    above = rise[np.abs(rise) > SAME_POINT] > 0  # a tube that lies level crosses nowhere
    changes = int((above[1:] != above[:-1]).sum())
    spots = path.at_height(z)
    assert len(spots) >= changes
    for spot in spots:
        assert spot.point[2] == pytest.approx(z, abs=1e-6)


@settings(max_examples=100, deadline=None)
@given(
    corners,
    st.floats(20, 200),
    st.lists(st.tuples(coordinate, coordinate, coordinate), min_size=1, max_size=5),
)
def test_distances_agree_with_the_nearest_spots(points: list, radius: float, asked: list) -> None:
    path = made(points, radius)
    for q, distance in zip(asked, path.distances(asked), strict=True):
        assert distance == pytest.approx(
            np.linalg.norm(path.nearest(q).point - np.array(q)), abs=1e-6
        )

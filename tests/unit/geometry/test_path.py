"""Paths: closed forms, refusals and the ways to find a spot."""

from __future__ import annotations

from itertools import pairwise
from math import cos, pi, radians, sin, sqrt, tan

import numpy as np
import pytest

from cagekit.errors import GeometryError
from cagekit.geometry.centre_line import Arc, CentreLine, Line, perpendicular, rotate, unit

HOOP = [(0, 600, 0), (0, 640, 560), (0, 480, 1120), (0, -480, 1120), (0, -640, 560), (0, -600, 0)]


def right_angle(radius: float = 100.0) -> CentreLine:
    return CentreLine.from_polyline([(0, 0, 0), (300, 0, 0), (300, 400, 0)], radius)


def test_a_right_angle_has_the_length_of_its_legs_less_two_radii_and_a_quarter_circle() -> None:
    assert right_angle().length == pytest.approx(200 + 300 + pi / 2 * 100, abs=1e-9)


def test_legs_are_tangent_to_the_bend() -> None:
    path = CentreLine.from_polyline(HOOP, 152)
    for before, after in pairwise(path.pieces):
        assert before.end == pytest.approx(after.start, abs=1e-9)
        assert before.tangent(before.length) == pytest.approx(after.tangent(0.0), abs=1e-9)


@pytest.mark.parametrize("angle_deg", [5, 30, 61.5, 90, 120, 170])
def test_bend_angle_is_the_turn_of_the_polyline(angle_deg: float) -> None:
    a = radians(angle_deg)
    far = 3000.0
    points = [(-far, 0, 0), (0, 0, 0), (far * cos(a), far * sin(a), 0)]
    path = CentreLine.from_polyline(points, 150)
    assert path.bends[0].angle == pytest.approx(a, abs=1e-12)
    straight = 2 * far - 2 * 150 * tan(a / 2)
    assert path.length == pytest.approx(straight + 150 * a, abs=1e-8)


def test_every_bend_may_have_its_own_radius_and_plane() -> None:
    path = CentreLine.from_polyline(
        [(0, 0, 0), (500, 0, 0), (500, 500, 0), (500, 500, 500)], [100, 150]
    )
    assert [b.radius for b in path.bends] == pytest.approx([100, 150])
    assert path.bends[0].axis == pytest.approx([0, 0, 1])
    assert path.bends[1].axis == pytest.approx([1, 0, 0])


def test_a_helix_of_corners_is_rebuilt_from_its_own_corners() -> None:
    path = CentreLine.from_polyline(HOOP, 152)
    again = CentreLine.from_polyline(path.corners(), 152)
    assert again.length == pytest.approx(path.length, abs=1e-9)


@pytest.mark.parametrize(
    ("points", "radius", "says"),
    [
        ([(0, 0, 0), (150, 0, 0), (150, 150, 0), (0, 150, 0)], 100, "bends 1 and 2 need 200.0 mm"),
        ([(0, 0, 0), (80, 0, 0), (80, 400, 0)], 100, "bend 1 needs 100.0 mm"),
        ([(0, 0, 0), (100, 0, 0), (0, 0, 0)], 50, "doubles back on itself at bend 1"),
        ([(0, 0, 0), (0, 0, 0)], 50, "same spot"),
        ([(0, 0, 0), (100, 0, 0), (100, 100, 0)], -5, "above zero"),
        ([(0, 0, 0), (float("nan"), 0, 0)], 5, "finite"),
        ([(0, 0, 0)], 5, "at least two points"),
    ],
)
def test_impossible_tubes_are_refused_by_name_and_numbers(
    points: list, radius: float, says: str
) -> None:
    with pytest.raises(GeometryError, match=says) as caught:
        CentreLine.from_polyline(points, radius, owner="halo")
    assert caught.value.owner == "halo"


def test_a_bend_that_just_fits_is_made() -> None:
    path = CentreLine.from_polyline([(0, 0, 0), (100, 0, 0), (100, 200, 0), (0, 200, 0)], 100)
    assert [type(p) for p in path.pieces] == [Arc, Arc]


def test_corners_in_line_are_no_bends() -> None:
    path = CentreLine.from_polyline([(0, 0, 0), (100, 0, 0), (300, 0, 0)], 50)
    assert [type(p) for p in path.pieces] == [Line]


def test_spots_by_height_lie_at_that_height_on_the_tube() -> None:
    path = CentreLine.from_polyline(HOOP, 152)
    for z in (10.0, 500.0, 1000.0, 1110.0):
        spots = path.at_height(z)
        assert len(spots) == 2
        for spot in spots:
            assert spot.point[2] == pytest.approx(z, abs=1e-9)
            assert path.nearest(spot.point).station == pytest.approx(spot.station, abs=1e-6)
    assert path.at_height(1500.0) == ()


def test_a_plane_cuts_a_bend_where_the_circle_says() -> None:
    path = right_angle()
    # the bend is the quarter circle about (200, 100, 0) from (200, 0) to (300, 100)
    (spot,) = path.crossings((270, 0, 0), (1, 0, 0))
    assert spot.point == pytest.approx([270, 100 - sqrt(100**2 - 70**2), 0], abs=1e-9)


def test_stations_off_the_tube_are_refused() -> None:
    with pytest.raises(GeometryError, match="off the tube"):
        right_angle().spot(5000.0)


def test_splitting_keeps_the_length_and_the_ends() -> None:
    path = CentreLine.from_polyline(HOOP, 152)
    parts = path.split(300.0, 620.0, 1500.0)
    assert sum(p.length for p in parts) == pytest.approx(path.length, abs=1e-9)
    for left, right in pairwise(parts):
        assert left.end == pytest.approx(right.start, abs=1e-9)
        assert left.out_direction("b") == pytest.approx(-right.out_direction("a"), abs=1e-9)


def test_the_reference_line_turns_with_the_tube() -> None:
    path = CentreLine.from_polyline([(0, 0, 0), (500, 0, 0), (500, 500, 0), (500, 500, 500)], 100)
    rows = path.reference_lines()
    # outside of the first bend (to the left): -Y, then carried round to +X, kept by the second
    assert rows[0] == pytest.approx([0, -1, 0], abs=1e-12)
    assert rows[2] == pytest.approx([1, 0, 0], abs=1e-12)
    assert rows[-1] == pytest.approx([1, 0, 0], abs=1e-12)
    for row, piece in zip(rows[:-1], path.pieces, strict=True):
        assert row @ piece.direction == pytest.approx(0, abs=1e-12)


def test_reference_of_straight_tubes_is_the_top_or_the_front() -> None:
    level = CentreLine.straight((0, 0, 0), (0, 800, 0)).reference_lines()
    assert level[0] == pytest.approx([0, 0, 1])
    upright = CentreLine.straight((0, 0, 0), (0, 0, 800)).reference_lines()
    assert upright[0] == pytest.approx([1, 0, 0])


def test_a_mirror_swaps_sides_and_keeps_lengths() -> None:
    path = CentreLine.from_polyline([(0, 500, 0), (0, 520, 600), (300, 400, 900)], 150)
    twin = path.mirrored()
    s = np.linspace(0, path.length, 50)
    assert twin.points(s) == pytest.approx(path.points(s) * [1, -1, 1], abs=1e-9)
    assert twin.length == pytest.approx(path.length, abs=1e-12)


def test_helpers() -> None:
    assert rotate([1, 0, 0], [0, 0, 1], pi / 2) == pytest.approx([0, 1, 0])
    assert perpendicular(unit([1, 0, 0.2])) @ unit([1, 0, 0.2]) == pytest.approx(0)
    with pytest.raises(ValueError, match="direction needs a length"):
        unit([0, 0, 0])

"""Volume and centre of gravity of cut tubes."""

from __future__ import annotations

from math import pi, radians, tan

import numpy as np
import pytest

from cagekit.errors import CopeError
from cagekit.geometry.centre_line import CentreLine, Vec
from cagekit.geometry.cope import Parent, cut_end
from cagekit.geometry.volume import centroid, end_moments, uncut_moments, wall_volume

RO, RI = 20.65, 17.25
AREA = pi * (RO**2 - RI**2)


def square(path: CentreLine) -> tuple[object, object]:
    return cut_end(path, "a", RO, RI), cut_end(path, "b", RO, RI)


def test_square_tube_is_area_times_length() -> None:
    path = CentreLine.from_polyline([[0, 0, 0], [0, 0, 700], [500, 200, 900]], 150.0)
    a, b = square(path)
    assert wall_volume(path, RO, RI, a, b) == pytest.approx(AREA * path.length, rel=1e-12)


def test_mitre_takes_off_on_one_side_what_it_leaves_on_the_other() -> None:
    class Leaning:
        point = np.zeros(3)
        normal = np.array([np.sin(0.5), 0.0, np.cos(0.5)])

    path = CentreLine.straight([0, 0, 0], [0, 0, 400])
    cut = cut_end(path, "a", RO, RI, plane=Leaning)
    gone = end_moments(cut, RO, RI)
    assert gone.volume == pytest.approx(0.0, abs=1e-9)
    # the wedge's moment: tan(lean) times the second moment of the section
    inertia = pi / 4 * (RO**4 - RI**4)
    assert gone.first[0] == pytest.approx(-inertia * tan(0.5), rel=1e-9)
    assert gone.first[2] == pytest.approx(0.5 * inertia * tan(0.5) ** 2, rel=1e-9)


def test_centroid_of_a_quarter_bend() -> None:
    # Pappus' second theorem for a ring sector of annular section, summed over thin slices
    path = CentreLine.from_polyline([[200, 0, 0], [200, 200, 0], [0, 200, 0]], 200.0)
    assert len(path.pieces) == 1
    a, b = square(path)
    r, f = np.meshgrid(np.linspace(RI, RO, 401), np.linspace(0, 2 * pi, 401), indexing="ij")
    x = r * np.cos(f)
    weight = _trapezium(r * (200 + x), r, f)
    first = _trapezium(r * (200 + x) ** 2, r, f)
    expected = first / weight * 2 / pi
    where = centroid(path, RO, RI, a, b)
    assert where == pytest.approx([expected, expected, 0.0], rel=1e-6, abs=1e-9)


def _trapezium(values: Vec, r: Vec, f: Vec) -> float:
    rows = np.trapezoid(values, f[0], axis=1)
    return float(np.trapezoid(rows, r[:, 0]))


def test_centroid_of_a_straight_lies_in_its_middle() -> None:
    post = [
        Parent(n, CentreLine.straight([x, -400, 0], [x, 400, 0]), RO)
        for n, x in (("p", 0), ("q", 500))
    ]
    path = CentreLine.straight([0, 0, 0], [500, 0, 0])
    a = cut_end(path, "a", RO, RI, parents=post[:1])
    b = cut_end(path, "b", RO, RI, parents=post[1:])
    assert centroid(path, RO, RI, a, b) == pytest.approx([250.0, 0.0, 0.0], abs=1e-9)


def test_moments_do_not_depend_on_how_a_tube_is_split() -> None:
    path = CentreLine.from_polyline([[0, 0, 0], [0, 0, 700], [500, 200, 900]], 150.0)
    whole = uncut_moments(path, RO, RI)
    parts = [uncut_moments(p, RO, RI) for p in path.split(200.0, 640.0)]
    assert sum(p.volume for p in parts) == pytest.approx(whole.volume, rel=1e-12)
    assert np.sum([p.first for p in parts], axis=0) == pytest.approx(whole.first, rel=1e-12)


def test_centroid_turns_and_shifts_with_the_tube() -> None:
    hoop = CentreLine.from_polyline(
        [[0, -600, 0], [0, -520, 1000], [0, 520, 1000], [0, 600, 0]], 150.0
    )
    node = hoop.spot(420.0).point
    path = CentreLine.from_polyline(
        [node, node + np.array([-400, 50, -100]), node + np.array([-700, 0, -420])], 120.0
    )
    a = radians(37)
    m = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    shift = np.array([10.0, -40.0, 7.0])

    def where(p: CentreLine, parent: CentreLine) -> Vec:
        cut = cut_end(p, "a", RO, RI, parents=[Parent("hoop", parent, RO)])
        return centroid(p, RO, RI, cut, cut_end(p, "b", RO, RI))

    moved = where(path.mapped(m, shift), hoop.mapped(m, shift))
    assert moved == pytest.approx(m @ where(path, hoop) + shift, abs=1e-6)


def test_nothing_left_is_refused() -> None:
    posts = [
        Parent(n, CentreLine.straight([x, 0, -500], [x, 0, 500]), RO)
        for n, x in (("p", 0), ("q", 38))
    ]
    path = CentreLine.straight([0, 0, 0], [38, 0, 0])
    a = cut_end(path, "a", 15.0, 12.0, parents=posts[:1], owner="bar")
    b = cut_end(path, "b", 15.0, 12.0, parents=posts[1:], owner="bar")
    with pytest.raises(CopeError, match="bar"):
        wall_volume(path, 15.0, 12.0, a, b)

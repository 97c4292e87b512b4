"""Rows of feed, rotation and angle, against a rebuild written here with 4x4 matrices."""

from __future__ import annotations

from math import pi, radians

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from cagekit.errors import GeometryError
from cagekit.geometry.centre_line import Arc, CentreLine, Line, vec
from cagekit.shop.bending.rows import BendRow, bend_rows, rebuild, trimmed

coordinate = st.floats(-1500, 1500)
corner = st.tuples(coordinate, coordinate, coordinate)


@st.composite
def tubes(draw):
    """Random tubes: 2 to 7 corners in space, one radius per bend, made or not made."""
    points = draw(st.lists(corner, min_size=2, max_size=7))
    radii = [draw(st.floats(60, 250)) for _ in points[2:]]
    try:
        return CentreLine.from_polyline(points, radii)
    except GeometryError:
        assume(False)


def chain(rows):
    """Points along a tube from its rows, with homogeneous matrices: an independent rebuild."""

    def move(x, y, z):
        m = np.eye(4)
        m[:3, 3] = (x, y, z)
        return m

    def turn(axis, a):
        m = np.eye(4)
        i, j = {"x": (1, 2), "z": (0, 1)}[axis]
        m[i, i] = m[j, j] = np.cos(a)
        m[i, j], m[j, i] = -np.sin(a), np.sin(a)
        return m

    t, out = np.eye(4), [np.zeros(3)]
    for feed, rotation, angle, clr in rows:
        t = t @ move(feed, 0, 0)
        out.append(t[:3, 3])
        if angle is None:
            continue
        t = t @ turn("x", rotation)
        for _ in range(4):
            step = angle / 4
            t = t @ move(clr * np.sin(step), clr * (1 - np.cos(step)), 0) @ turn("z", step)
            out.append(t[:3, 3])
    return np.array(out)


def stations(rows):
    """Stations at which `chain` gives points."""
    s, out = 0.0, [0.0]
    for feed, _, angle, clr in rows:
        s += feed
        out.append(s)
        if angle is not None:
            out += [s + clr * angle * k / 4 for k in (1, 2, 3, 4)]
            s = out[-1]
    return np.array(out)


def rigid_gap(p, q):
    """Largest distance between two point rows after the best rotation (no mirror) and shift."""
    a, b = p - p.mean(0), q - q.mean(0)
    u, _, vt = np.linalg.svd(a.T @ b)
    d = np.diag([1, 1, np.sign(np.linalg.det(u @ vt))])
    return float(np.linalg.norm(a @ u @ d @ vt - b, axis=1).max())


def plain(rows):
    return [(r.feed, r.rotation, r.angle, r.clr) for r in rows]


@given(tubes())
def test_rows_rebuild_the_tube_up_to_a_rigid_motion(path):
    rows = bend_rows(path)
    assert len(rows) == len(path.bends) + 1
    assert [r.row for r in rows] == list(range(1, len(rows) + 1))
    assert rows[-1].angle is None
    assert rows[0].rotation == 0.0
    s = stations(plain(rows))
    assert rigid_gap(chain(plain(rows)), path.points(s)) < 1e-5
    assert rigid_gap(rebuild(rows).points(s), path.points(s)) < 1e-5


@given(tubes())
def test_a_mirror_image_is_told_apart(path):
    rows, other = bend_rows(path), bend_rows(path.mirrored())
    for r, m in zip(rows, other, strict=True):
        assert r.feed == pytest.approx(m.feed, abs=1e-9)
        turned = (r.rotation + m.rotation + pi) % (2 * pi) - pi
        assert min(abs(turned), abs(abs(turned) - 2 * pi)) < 1e-7


@given(tubes())
def test_walking_back_keeps_the_sense_of_rotation(path):
    ahead, back = bend_rows(path), bend_rows(path.reversed())
    n = len(ahead) - 1
    for i in range(1, n):
        gap = ahead[i].rotation - back[n - i].rotation
        assert abs((gap + pi) % (2 * pi) - pi) < 1e-7


def test_two_square_bends_with_a_known_rotation():
    # along X, up Z, then to the left: the second plane is turned a quarter, right-handed about up
    path = CentreLine.from_polyline([(0, 0, 0), (500, 0, 0), (500, 0, 600), (500, 400, 600)], 100)
    rows = bend_rows(path)
    assert rows[0].feed == pytest.approx(400)
    assert rows[1].feed == pytest.approx(400)
    assert rows[2].feed == pytest.approx(300)
    assert rows[0].angle == pytest.approx(pi / 2)
    # bend 1 turns towards +Z: its axis is -Y; bend 2 turns from +Z to +Y: its axis is -X;
    # -Y to -X about +Z is clockwise from above: minus a quarter turn
    assert rows[1].rotation == pytest.approx(-pi / 2)


def test_an_s_bend_turns_by_half():
    path = CentreLine.from_polyline([(0, 0, 0), (400, 0, 0), (700, 300, 0), (1100, 300, 0)], 120)
    assert bend_rows(path)[1].rotation == pytest.approx(pi)


def test_bends_that_touch_have_no_feed():
    bend = Arc(vec((0, 0, 0)), vec((0, 100, 0)), vec((0, 0, 1)), radians(40))
    after = Arc(bend.end, vec(bend.end + (bend.end - bend.centre)), vec((0, 0, -1)), radians(40))
    rows = bend_rows(CentreLine((bend, after)))
    assert [r.feed for r in rows] == [0.0, 0.0, 0.0]
    assert rows[1].rotation == pytest.approx(pi)
    assert rebuild(rows).length == pytest.approx(2 * 100 * radians(40))


@given(tubes(), st.floats(-40, 120), st.floats(-40, 120))
@settings(max_examples=60)
def test_trimmed_runs_between_the_tips(path, tip_a, tip_b):
    assume(path.length > tip_a + tip_b + 1)
    cut = trimmed(path, tip_a, tip_b)
    assert cut.length == pytest.approx(path.length - tip_a - tip_b, abs=1e-6)
    if tip_a < 0:
        ahead = path.start + tip_a * path.pieces[0].direction
        assert cut.start == pytest.approx(ahead, abs=1e-6)
    else:
        assert cut.start == pytest.approx(path.points([tip_a])[0], abs=1e-6)


def test_a_tip_beyond_a_bend_adds_a_straight():
    bend = Arc(vec((0, 0, 0)), vec((0, 100, 0)), vec((0, 0, 1)), radians(40))
    cut = trimmed(CentreLine((bend,)), -12.0, -7.0)
    assert [type(q) for q in cut.pieces] == [Line, Arc, Line]
    assert [round(r.feed, 9) for r in bend_rows(cut)] == [12.0, 7.0]


def test_rows_no_tube_can_have_are_refused():
    with pytest.raises(GeometryError, match="below zero"):
        rebuild((BendRow(row=1, feed=-5.0),), owner="dash_bar")
    with pytest.raises(GeometryError, match="needs an angle and a radius"):
        rebuild((BendRow(row=1, feed=5.0, angle=1.0),))
    with pytest.raises(GeometryError, match="no tube at all"):
        rebuild((BendRow(row=1, feed=0.0),))

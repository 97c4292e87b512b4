"""Outlines of lines and arcs: closed forms, and a polygon fine enough to stand for the arcs."""

from __future__ import annotations

from math import ceil, pi, sqrt, tan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cagekit.errors import GeometryError
from cagekit.geometry.outline import Outline, Segment, vec2
from cagekit.geometry.outline_tables import OutlineTables
from cagekit.plates.foot import through, through_open


def shoelace(points):
    x, y = points.T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


@st.composite
def rounded_polygons(draw):
    """Star-shaped polygons about the origin, corners rounded as far as they go."""
    n = draw(st.integers(3, 9))
    radii = draw(st.lists(st.floats(30, 100), min_size=n, max_size=n))
    a = np.arange(n) * 2 * pi / n
    points = np.column_stack([np.array(radii) * np.cos(a), np.array(radii) * np.sin(a)])
    for r in (draw(st.floats(0, 15)), 3.0, 0.5, 0.0):
        try:
            return Outline.polygon(points, r)
        except GeometryError:
            continue
    raise AssertionError("a sharp polygon always works")


def test_rectangle_with_round_corners():
    o = Outline.rectangle(150, 90, 12)
    assert o.area == pytest.approx(150 * 90 - (4 - pi) * 144, rel=1e-14)
    assert o.length == pytest.approx(2 * (150 + 90) - 8 * 12 + 2 * pi * 12, rel=1e-14)
    assert o.centroid == pytest.approx([0, 0], abs=1e-12)
    assert o.size == pytest.approx([150, 90], abs=1e-12)


def test_circle_slot_and_half_disc():
    c = Outline.circle((3, -2), 22)
    assert c.area == pytest.approx(121 * pi, rel=1e-14)
    assert c.centroid == pytest.approx([3, -2], abs=1e-12)
    assert Outline.slot((0, 0), (20, 0), 8).area == pytest.approx(160 + 16 * pi, rel=1e-14)
    half = Outline(np.array([[-10.0, 0], [10, 0]]), np.array([0.0, 1.0]))
    assert half.area == pytest.approx(50 * pi, rel=1e-14)
    # centre of area of a half disc, any handbook: 4 r / 3 pi
    assert half.centroid == pytest.approx([0, 40 / (3 * pi)], abs=1e-12)


def test_flat_arc_keeps_its_area():
    """A cap of a thousandth of a radian: the closed form cancels, the series must not."""
    bulge = tan(1e-3 / 4)
    cap = Outline(np.array([[0.0, 0], [1.0, 0]]), np.array([bulge, 0.0]))
    radius = 0.5 / np.sin(0.5e-3)
    assert cap.area == pytest.approx(radius**2 * (1e-3) ** 3 / 12, rel=1e-6)


@given(rounded_polygons())
def test_area_centroid_and_length_agree_with_a_fine_polygon(o):
    p = o.flat_points(1e-4)
    assert o.area == pytest.approx(shoelace(p), rel=1e-5)
    assert o.length == pytest.approx(float(np.hypot(*(np.roll(p, -1, 0) - p).T).sum()), rel=1e-5)


@given(rounded_polygons(), st.floats(-40, 40), st.floats(0, pi))
def test_a_cut_keeps_the_area_and_sides(o, offset, angle):
    d = np.array([np.cos(angle), np.sin(angle)])
    n = np.array([-d[1], d[0]])
    origin = offset * 0.3 * n
    parts = o.cut(origin, d)
    if parts is None:
        assert not o.contains(origin)[0] or float(o.distance(origin)[0]) < 1e-6
        return
    left, right = parts
    assert left.area + right.area == pytest.approx(o.area, rel=1e-9)
    assert ((left.centroid - origin) @ n) > 0 > ((right.centroid - origin) @ n)


@given(rounded_polygons(), st.floats(0.2, 5))
def test_outward_offset_obeys_steiner(o, d):
    """Area of a body's parallel body: A + L d + pi d^2 for a convex one (Steiner's formula)."""
    p = o.flat_points(0.01)
    edge = np.roll(p, -1, 0) - p
    turn = edge[:, 0] * np.roll(edge, -1, 0)[:, 1] - edge[:, 1] * np.roll(edge, -1, 0)[:, 0]
    if (turn < -1e-9).any():
        return
    grown = o.offset(d)
    assert grown.area == pytest.approx(o.area + o.length * d + pi * d * d, rel=1e-9)
    assert o.distance(grown.sampled(0.5)) == pytest.approx(d, abs=1e-6)


@pytest.mark.parametrize("power", range(-10, 1))
def test_corners_of_next_to_no_radius_are_rolled_round(power):
    """From less than an atom to a millimetre: Steiner's formula again, no corner refused."""
    a = np.arange(7) * 2 * pi / 7
    o = Outline.polygon(80 * np.column_stack([np.cos(a), np.sin(a)]), 3 * 10.0**power)
    for d in (0.3, 1.1, 4.7):
        assert o.offset(d).area == pytest.approx(o.area + o.length * d + pi * d * d, rel=1e-9)


@given(rounded_polygons(), st.floats(0.2, 2))
def test_inward_offset_stays_at_its_distance(o, d):
    try:
        less = o.offset(-d)
    except GeometryError:
        return
    assert float(o.distance(less.sampled(0.5)).min()) > d - 1e-4
    assert o.contains(less.sampled(0.5)).all()


@given(rounded_polygons(), st.lists(st.tuples(st.floats(-99, 99), st.floats(-99, 99)), min_size=40))
def test_inside_agrees_with_a_fine_polygon(o, points):
    q = np.array(points)
    fine = o.flat_points(1e-4)
    wind = np.zeros(len(q))
    for a, b in zip(fine, np.roll(fine, -1, 0), strict=True):
        u, v = a - q, b - q
        wind += np.arctan2(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0], (u * v).sum(1))
    clear = o.distance(q) > 0.01
    assert (o.contains(q) == (np.abs(wind) > pi))[clear].all()


def _laid(outlines, points):
    """Distances and insides of points ``(m, n, 2)``, a row for each outline, in one pass."""
    tables = OutlineTables.laid([o.tables for o in outlines])
    x, y = points[:, None, :, 0], points[:, None, :, 1]
    return tables, tables.distance(x, y), tables.contains(x, y)


@given(st.lists(rounded_polygons(), min_size=1, max_size=4), st.integers(0, 99))
def test_an_outline_beside_others_tells_what_it_tells_alone_to_the_last_bit(outlines, seed):
    outlines += [Outline.circle((3.0, -2.0), 50.0), Outline.polygon([(0, 0), (9, 0), (3, 70)])]
    points = np.random.default_rng(seed).uniform(-110, 110, (len(outlines), 40, 2))
    # corners, and points beside a horizontal chord, are where rounding tells
    for o, own in zip(outlines, points, strict=True):
        own[:3], own[3:6, 1] = o.vertices[0], o.vertices[1, 1]
    tables, distance, inside = _laid(outlines, points)
    for o, own, apart, within in zip(outlines, points, distance, inside, strict=True):
        assert np.array_equal(apart, o.distance(own))
        assert np.array_equal(within, o.contains(own))
    rows = np.array([len(outlines) - 1, 0])
    few, (x, y) = tables.some(rows), points[rows].transpose(2, 0, 1)[:, :, None]
    assert np.array_equal(few.distance(x, y), distance[rows])
    assert np.array_equal(few.contains(x, y), inside[rows])


def test_points_on_the_chord_of_a_circle_are_inside():
    o = Outline.circle((0, 0), 20)
    x = np.linspace(-9.9, 9.9, 41)
    assert o.contains(np.column_stack([x, 0 * x])).all()
    assert o.turned(0.3).contains(np.column_stack([x * np.cos(0.3), x * np.sin(0.3)])).all()


def test_a_line_through_a_corner_crosses_once():
    square = Outline.rectangle(20, 20)
    hits = square.line_crossings((0, 0), (1, 1))
    assert [round(h[0], 9) for h in hits] == pytest.approx([-10 * sqrt(2), 10 * sqrt(2)])


def test_a_cut_along_a_ledge_leaves_no_spikes():
    tee = Outline.polygon(
        [(-30, -20), (30, -20), (30, 0), (10, 0), (10, 25), (-10, 25), (-10, 0), (-30, 0)]
    )
    parts = tee.cut((0, 0), (1, 0))
    assert parts is not None
    assert parts[0].area == pytest.approx(500)
    assert len(parts[0]) == 4
    assert len(parts[1]) == 4


def test_arcs_through_points_of_an_ellipse():
    """Area of an ellipse from arcs through 48 of its points; it is pi a b in every handbook."""
    t = np.linspace(0, 2 * pi, 48, endpoint=False)
    o = through(np.column_stack([30 * np.cos(t), 20 * np.sin(t)]))
    assert o.area == pytest.approx(600 * pi, rel=1e-4)


def test_arc_through_three_points_both_ways_round():
    for flip in (1.0, -1.0):
        (s,) = through_open(np.array([(1.0, 0.0), (0.0, flip), (-1.0, 0.0)])).segments
        assert s.radius == pytest.approx(1)
        assert s.centre == pytest.approx([0, 0], abs=1e-12)
        assert s.bulge == pytest.approx(flip)


def test_corner_radius_too_large_names_the_side():
    with pytest.raises(GeometryError, match=r"side 2 is 10\.0 mm long.*need 12\.0 mm"):
        Outline.polygon([(0, 0), (40, 0), (40, 10), (0, 10)], 6, owner="p")


def test_turning_left_at_every_corner_is_not_enough_to_be_simple():
    """A five-pointed star turns left five times, and twice round."""
    turn = np.arange(5) * 4 * pi / 5
    assert not Outline.polygon(np.column_stack([np.cos(turn), np.sin(turn)]) * 50).is_simple()
    turn = np.arange(5) * 2 * pi / 5
    assert Outline.polygon(np.column_stack([np.cos(turn), np.sin(turn)]) * 50, 3).is_simple()


def test_a_bow_tie_is_not_simple():
    assert not Outline.polygon([(0, 0), (10, 10), (10, 0), (0, 10)]).is_simple()
    assert Outline.rectangle(10, 10, 2).is_simple()


def test_a_hole_smaller_than_the_kerf_is_refused():
    with pytest.raises(GeometryError, match="vanishes"):
        Outline.circle((0, 0), 3).offset(-2)
    with pytest.raises(GeometryError):
        Outline.rectangle(60, 3).offset(-2)


def test_a_segment_splits_into_arcs_of_the_same_circle():
    s = Segment(vec2((10, 0)), vec2((0, 10)), tan(pi / 8))
    a, b = s.part(0, 0.3), s.part(0.3, 1)
    assert a.radius == pytest.approx(10)
    assert b.centre == pytest.approx([0, 0], abs=1e-12)
    assert a.length + b.length == pytest.approx(5 * pi)


@given(rounded_polygons(), st.floats(0.5, 400.0), st.booleans())
def test_points_along_an_outline_are_those_of_its_pieces(
    outline: Outline, spacing: float, closed: bool
) -> None:
    outline = Outline(outline.vertices, outline.bulges, closed)
    rows = []
    for piece in outline.segments:
        n = max(2 if piece.is_arc else 1, ceil(piece.length / spacing))
        rows.append(piece.point(np.arange(n) / n))
    rows += [] if closed else [outline.segments[-1].end[None]]
    assert np.array_equal(outline.sampled(spacing), np.concatenate(rows))
    spots = outline.vertices.mean(0) + np.array([(40.0, -7.0), (0.5, 90.0), (-130.0, 3.0)])
    apart = np.min([piece.distance(spots) for piece in outline.segments], axis=0)
    assert outline.distance(spots) == pytest.approx(apart, abs=1e-9)


@pytest.mark.parametrize("closed", [True, False])
def test_walked_the_other_way_it_is_the_same_pieces_from_the_last_to_the_first(closed: bool):
    """Each piece turned round by itself, and those without a length left out."""
    o = Outline([(0, 0), (40, 0), (40, 0), (50, 30), (0, 30)], [0, 0.5, 0.4, -0.3, 0.2], closed)
    other, pieces = o.reversed(), [s.reversed() for s in reversed(o.segments) if s.chord > 1]
    assert len(other.segments) == len(pieces) == len(o.segments) - 1
    for a, b in zip(other.segments, pieces, strict=True):
        assert (a.start.tolist(), a.end.tolist(), a.bulge) == (
            b.start.tolist(), b.end.tolist(), b.bulge,
        )  # fmt: skip
    assert other.closed is closed

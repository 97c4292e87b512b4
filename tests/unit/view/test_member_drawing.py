"""Drawings of one tube: they fill the field, and a twisted tube gets a second view to scale."""

from __future__ import annotations

import re
from itertools import combinations

import demos
import numpy as np
import pytest

from cagekit.geometry.centre_line import CentreLine
from cagekit.shop.bending.rows import trimmed
from cagekit.view.fonts import font
from cagekit.view.member_drawing import DrawnTube, bend_plane, end_words, lift_of_b, member_drawings
from cagekit.view.straight_drawing import StraightEnd, straight_drawing

FIELD = (186.0, 150.0)


def loop(lift: float) -> CentreLine:
    """A roof loop whose right front corner lies higher by ``lift``."""
    corners = [(0, 500, 900), (900, 480, 850), (900, -480, 850 + lift), (0, -500, 900)]
    return CentreLine.from_polyline(np.array(corners, float), [150.0, 150.0], owner="loop")


def views(path: CentreLine):  # type: ignore[no-untyped-def]
    return member_drawings(DrawnTube(tips=path, od=45.0), *FIELD)


def test_a_flat_tube_is_drawn_once() -> None:
    (view,) = views(loop(0.0))
    assert view.drawing.width <= FIELD[0] + 1e-9
    assert view.drawing.height <= FIELD[1] + 1e-9
    assert view.seen == "from above"


@pytest.mark.parametrize("lean", [0.3, -0.3])
def test_a_tube_whose_plane_leans_is_mostly_seen_from_a_side(lean: float) -> None:
    """A pillar bar, rear end on the left of the drawing, its top up: seen from the car's right."""
    corners = [(0.0, -500.0 * lean, 500.0), (500.0, 0.0, 300.0), (500.0, 150.0 * lean, -200.0)]
    (view,) = views(CentreLine.from_polyline(np.array(corners), [150.0], owner="bar"))
    assert view.seen == "square to its bends, mostly from the right"
    a, b, c = np.array(corners)
    square = np.cross(c - b, a - b)
    assert 0.7 < abs(square[1]) / np.linalg.norm(square) < 0.97


@pytest.mark.parametrize("lift", [20.0, -60.0, 250.0])
def test_a_twisted_tube_is_drawn_twice_at_one_scale(lift: float) -> None:
    plan, edge = views(loop(lift))
    assert edge.drawing.scale == plan.drawing.scale > 0.02
    assert edge.drawing.width == pytest.approx(plan.drawing.width)
    assert plan.drawing.height + edge.drawing.height <= FIELD[1] + 1e-9
    for view in (plan, edge):
        # both views are dimensioned
        assert view.drawing.svg.count("over the outside") >= 2
        assert len(re.findall(r"rotate\(-90", view.drawing.svg)) >= 1


def test_the_second_view_holds_the_whole_tube() -> None:
    edge = views(loop(250.0))[1].drawing
    axis = re.search(r'<path d="([^"]+)"[^>]*stroke-dasharray', edge.svg)
    assert axis
    points = np.array(re.findall(r"[ML](-?[.0-9]+) (-?[.0-9]+)", axis[1]), float)
    assert points.min() > 0
    assert points[:, 0].max() < edge.width
    assert points[:, 1].max() < edge.height


@pytest.mark.parametrize("half", [350.0, 600.0])
def test_the_words_at_a_bend_stand_off_the_tube(half: float) -> None:
    # legs that lean: below its upper bends the tube comes in towards the words
    corners = [(0, 0.8 * half, 0), (0, half, 500), (0, 0.6 * half, 1000)]
    corners += [(0, -y, z) for _, y, z in reversed(corners)]
    hoop = CentreLine.from_polyline(np.array(corners, float), [150.0] * 4, owner="hoop")
    plan = views(hoop)[0].drawing
    axis = re.search(r'<path d="([^"]+)"[^>]*stroke-dasharray', plan.svg)
    assert axis
    points = np.array(re.findall(r"[ML](-?[.0-9]+) (-?[.0-9]+)", axis[1]), float)
    words_at = r'<text x="([.0-9]+)" y="([.0-9]+)"[^>]*size="([.0-9]+)"[^>]*>(\d: [.0-9]+°)'
    told = re.findall(words_at, plan.svg)
    assert len({words for *_, words in told}) == 4
    for x, y, size, words in told:
        # the font's own measure of the words, in mm
        box = font(100, bold=True).getbbox(words, anchor="ms")
        left, top, right, low = np.array(box) * float(size) / 100
        low_corner = np.array([float(x) + left, float(y) + top])
        high_corner = np.array([float(x) + right, float(y) + low])
        off = np.maximum(np.maximum(low_corner - points, points - high_corner), 0.0)
        assert np.hypot(*off.T).min() > 45.0 * plan.scale / 2 + 0.5


@pytest.mark.parametrize("half", [350.0, 420.0, 490.0, 540.0])
def test_the_words_of_two_bends_stand_apart(half: float) -> None:
    """A narrow front hoop, drawn small as it takes two views."""
    corners = [(600, 1.3 * half, 0), (700, 1.4 * half, 600), (0, half, 1150)]
    corners += [(x, -y, z) for x, y, z in reversed(corners)]
    hoop = CentreLine.from_polyline(np.array(corners, float), [139.7] * 4, owner="hoop")
    svg = member_drawings(DrawnTube(tips=hoop, od=38.1), 186.0, 110.0)[0].drawing.svg
    words_at = r'<text x="([.0-9]+)" y="([.0-9]+)"[^>]*size="([.0-9]+)"[^>]*>(\d: [.0-9]+°)'
    boxes = {}
    for x, y, size, words in re.findall(words_at, svg):
        box = font(100, bold=True).getbbox(words, anchor="ms")
        left, top, right, low = np.array(box) * float(size) / 100
        boxes[words] = float(x) + left, float(y) + top, float(x) + right, float(y) + low
    assert len(boxes) == 4
    for one, other in combinations(boxes.values(), 2):
        beside = one[2] < other[0] or other[2] < one[0]
        assert beside or one[3] < other[1] or other[3] < one[1]


def chord(path: CentreLine) -> tuple[np.ndarray, float]:
    """Axis on the paper, ``(n, 2)`` mm, and the height at which the ends' distance is told."""
    svg = views(path)[0].drawing.svg
    axis = re.search(r'<path d="([^"]+)"[^>]*stroke-dasharray', svg)
    words = re.search(r'<text x="([-.0-9]+)" y="([-.0-9]+)"[^>]*>A to B', svg)
    assert axis
    assert words
    return np.array(re.findall(r"[ML](-?[.0-9]+) (-?[.0-9]+)", axis[1]), float), float(words[2])


@pytest.mark.parametrize("out", [30.0, -30.0, 60.0, 120.0, -350.0])
def test_the_distance_of_the_ends_is_told_off_the_tube(out: float) -> None:
    corners = [(0, 600, 500), (out, 400, 500), (out, -400, 500), (0, -600, 500)]
    path = CentreLine.from_polyline(np.array(corners, float), [150.0, 150.0], owner="bar")
    axis, told = chord(path)
    scale = np.ptp(axis[:, 0]) / 1200
    middle = axis[np.abs(axis[:, 0] - axis[:, 0].mean()) < 15, 1]
    assert np.abs(middle - told).min() > 45.0 * scale / 2 + 1.0


@pytest.mark.parametrize("out", [60.0, 90.0, 110.0, 130.0, 160.0, 220.0])
def test_the_distance_of_the_ends_does_not_run_through_the_words_of_a_bend(out: float) -> None:
    """A door bar bowed out into the door: its bends are near the line between its ends."""
    corners = [(0, 600, 300), (500, 600 + out, 300), (950, 600 + out, 300), (1450, 600, 300)]
    path = CentreLine.from_polyline(np.array(corners, float), [180.0, 180.0], owner="bar")
    svg = views(path)[0].drawing.svg
    y = chord(path)[1] + 1.0  # the line lies under its words
    told = re.findall(r'<text [^>]*y="([.0-9]+)"[^>]*size="([.0-9]+)"[^>]*>\d: [.0-9]+°', svg)
    assert told
    for foot, size in told:
        assert y < float(foot) - 0.75 * float(size) or y > float(foot)


@pytest.mark.parametrize("name", [*demos.DEMOS, *demos.STRANGERS])
def test_all_sizes_are_those_of_the_tube_square_at_its_tips(name: str) -> None:
    """Before its ends are coped, which is what a tape lies on beside the bender."""
    cage = demos.design(name).fitted
    for s in demos.design(name).bends:
        if not s.bends:
            continue
        m = cage.members[s.member]
        tips = trimmed(m.path, cage.cut(m.id, "a").shortest, cage.cut(m.id, "b").shortest)
        main = bend_plane(tips)
        stations = np.linspace(0.0, tips.length, 3000)
        at, way = (main.project(v) for v in (tips.points(stations), heads(tips, stations)))
        reach = m.tube.od / 2 * np.sqrt(np.clip(1.0 - way**2, 0.0, None))
        sizes = (at + reach).max(axis=0) - (at - reach).min(axis=0)
        found = member_drawings(DrawnTube(tips=tips, od=m.tube.od), *FIELD)
        assert found[0].wide == pytest.approx(sizes[0], abs=0.05)
        assert found[0].tall == pytest.approx(sizes[1], abs=0.05)
        if len(found) == 2:
            assert found[1].tall == pytest.approx(sizes[2], abs=0.05)


def heads(path: CentreLine, stations: np.ndarray) -> np.ndarray:
    """Directions along a path from its points alone, ``(n, 3)``."""
    step = 1e-4
    low, high = np.clip(stations - step, 0.0, None), np.clip(stations + step, None, path.length)
    ways = path.points(high) - path.points(low)
    return np.asarray(ways / np.linalg.norm(ways, axis=1)[:, None])


def test_twist_check_is_what_a_floor_and_a_tape_find() -> None:
    path = loop(250.0)
    first = path.bends[0]
    # the floor: the plane of the first bend, its legs in it
    corners = path.corners()
    one, two = corners[1] - corners[0], corners[2] - corners[1]
    up = np.cross(one, two) / np.linalg.norm(np.cross(one, two))
    assert lift_of_b(path) == pytest.approx(float((path.end - corners[0]) @ up))
    assert abs(lift_of_b(path)) > 100
    assert abs(float((first.end - corners[0]) @ up)) < 1e-9
    assert lift_of_b(loop(0.0)) == pytest.approx(0.0, abs=1e-9)


def test_ends_are_called_by_where_they_are() -> None:
    assert end_words(loop(0.0)) == ("left", "right")
    bar = CentreLine.straight((-100, 0, 0), (900, 50, 10))
    assert end_words(bar) == ("rear", "front")


def test_the_hand_of_a_clock_points_to_the_deep_side() -> None:
    design = demos.design("sprint-wagon")
    cage = design.fitted
    cut = cage.cut("hoop_diagonal", "b")
    phi = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    deep = float(np.degrees(phi[np.argmax(cut.trim(phi, cut.outer_radius))]))
    drawn = straight_drawing(
        StraightEnd(cut=cage.cut("hoop_diagonal", "a"), deepest=None),
        StraightEnd(cut=cut, deepest=deep), "L", 84.0,
    )  # fmt: skip
    # looking at the cut, out of the end towards the eye, angles run anticlockwise from the top
    hands = re.findall(
        r'd="M([\d.]+) ([\d.]+) L[\d. ]+L([\d.]+) ([\d.]+)"[^>]*width="0.5"', drawn.svg
    )
    ((x0, y0, x1, y1),) = [tuple(map(float, h)) for h in hands]
    seen = np.degrees(np.arctan2(-(x1 - x0), -(y1 - y0))) % 360
    assert seen == pytest.approx(deep, abs=1.0)
    assert ">square<" in drawn.svg

"""Gaps between tubes and to solids, against closed forms, dense sampling and scipy's minimiser."""

from __future__ import annotations

from math import hypot, pi

import numpy as np
import pytest
from scipy.optimize import minimize

from cagekit.errors import GeometryError
from cagekit.geometry.centre_line import Arc, CentreLine, vec
from cagekit.geometry.clearance import (
    Lines,
    Rod,
    bars_of,
    closest_pairs,
    gap,
    near_pairs,
    point_gap,
    points_gap,
    segment_gap,
)

HOOP = CentreLine.from_polyline([[0, -600, 0], [0, -520, 1000], [0, 520, 1000], [0, 600, 0]], 150.0)
EXACT = 0.01
"""Gaps must be right to this (mm)."""


def random_paths(seed: int, count: int) -> list[CentreLine]:
    rng = np.random.default_rng(seed)
    out: list[CentreLine] = []
    while len(out) < count:
        corners = rng.uniform(-800, 800, (rng.integers(2, 5), 3))
        try:
            out.append(CentreLine.from_polyline(corners, float(rng.choice([95.0, 150.0, 1200.0]))))
        except GeometryError:
            continue
    return out


def sampled_gap(a: CentreLine, b: CentreLine) -> float:
    """Distance of two centre lines: dense samples, the best few polished by scipy."""
    sa, sb = np.linspace(0, a.length, 700), np.linspace(0, b.length, 700)
    away = np.linalg.norm(a.points(sa)[:, None] - b.points(sb)[None], axis=2)
    i, j = np.unravel_index(int(np.argmin(away)), away.shape)

    def between(x: np.ndarray) -> float:
        return float(np.linalg.norm(a.points(x[:1]) - b.points(x[1:])))

    polished = minimize(
        between, [sa[i], sb[j]], method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-9}
    )
    return float(polished.fun)


# --- tube and tube -------------------------------------------------------------------------


def test_crossing_straights() -> None:
    a = CentreLine.straight([-500, 0, 0], [500, 0, 0])
    b = CentreLine.straight([30, -400, 60], [30, 400, 60])
    found = gap(a, 20.0, b, 15.0)
    assert found.gap == pytest.approx(25.0)
    assert found.station_a == pytest.approx(530.0)
    assert found.station_b == pytest.approx(400.0)
    assert found.point_b - found.point_a == pytest.approx([0, 0, 60])


def test_of_no_tube_and_of_one_there_are_no_pairs() -> None:
    """A check of a cage of which nothing could be made ended with a fault."""
    one = Rod(HOOP, 20.0)
    for bars in ([], [one]):
        assert near_pairs(bars, 0.0) == []
        assert closest_pairs(bars, limit=5.0) == []


def test_parallel_straights_and_straights_end_to_end() -> None:
    a = CentreLine.straight([0, 0, 0], [500, 0, 0])
    assert gap(a, 20.0, CentreLine.straight([100, 70, 0], [900, 70, 0]), 20.0).gap == pytest.approx(
        30.0
    )
    beyond = CentreLine.straight([530, 40, 0], [900, 40, 0])
    assert gap(a, 5.0, beyond, 5.0).gap == pytest.approx(hypot(30, 40) - 10)


def test_overlap_is_negative() -> None:
    a = CentreLine.straight([-500, 0, 0], [500, 0, 0])
    b = CentreLine.straight([0, -400, 12], [0, 400, 12])
    assert gap(a, 20.0, b, 20.0).gap == pytest.approx(-28.0)


def test_ring_and_its_axis_and_concentric_rings() -> None:
    quarter = CentreLine((Arc(vec([150, 0, 0]), vec([0, 0, 0]), vec([0, 0, 1]), pi / 2),))
    axis = CentreLine.straight([0, 0, -100], [0, 0, 100])
    assert gap(quarter, 20.0, axis, 10.0).gap == pytest.approx(120.0, abs=EXACT)
    wider = CentreLine((Arc(vec([260, 0, 0]), vec([0, 0, 0]), vec([0, 0, 1]), pi / 2),))
    assert gap(quarter, 20.0, wider, 20.0).gap == pytest.approx(70.0, abs=EXACT)


def test_linked_rings() -> None:
    # the second ring's plane is square to the first's and passes through its side
    one = CentreLine((Arc(vec([100, 0, 0]), vec([0, 0, 0]), vec([0, 0, 1]), 6.0),))
    two = CentreLine((Arc(vec([140, 0, 0]), vec([40, 0, 0]), vec([0, 1, 0]), 6.0),))
    found = gap(one, 0.0, two, 0.0)
    assert found.gap == pytest.approx(40.0, abs=EXACT)
    assert found.station_a == pytest.approx(0.0, abs=0.5)


@pytest.mark.parametrize("seed", range(4))
def test_random_pairs(seed: int) -> None:
    paths = random_paths(seed, 8)
    bars = [Rod(p, 10.0 + k) for k, p in enumerate(paths)]
    pairs = closest_pairs(bars)
    assert [(p.a, p.b) for p in pairs] == [(i, j) for i in range(8) for j in range(i + 1, 8)]
    for p in pairs[seed::4]:
        expected = sampled_gap(paths[p.a], paths[p.b]) - bars[p.a].radius - bars[p.b].radius
        assert p.found.gap == pytest.approx(expected, abs=EXACT)
        on_a = paths[p.a].spot(p.found.station_a).point
        assert on_a == pytest.approx(p.found.point_a, abs=1e-6)


def test_limit_and_skip_leave_out_and_change_nothing_else() -> None:
    bars = bars_of((p, 20.0) for p in random_paths(9, 14))
    every = {(p.a, p.b): p.found.gap for p in closest_pairs(bars)}
    near = {(p.a, p.b): p.found.gap for p in closest_pairs(bars, limit=60.0)}
    assert set(near) == {k for k, g in every.items() if g <= 60.0}
    assert near == pytest.approx({k: every[k] for k in near})
    some = list(every)[:5]
    rest = closest_pairs(bars, skip=[some[0], some[1][::-1]])
    assert {(p.a, p.b) for p in rest} == set(every) - set(some[:2])


def test_trimmed_bar_ends_at_its_cut() -> None:
    post = Rod(CentreLine.straight([0, 0, -500], [0, 0, 500]), 20.0)
    rung = CentreLine.straight([0, 0, 0], [300, 0, 0])
    (whole,) = closest_pairs([post, Rod(rung, 15.0)])
    assert whole.found.gap == pytest.approx(-35.0)
    (cut,) = closest_pairs([post, Rod(rung, 15.0, low=50.0)])
    assert cut.found.gap == pytest.approx(15.0)
    assert cut.found.station_b == pytest.approx(50.0)


def test_bar_without_length_is_refused() -> None:
    with pytest.raises(GeometryError, match="nothing is left"):
        closest_pairs([Rod(HOOP, 20.0), Rod(HOOP, 20.0, low=900.0, high=900.0)])


def test_no_pairs() -> None:
    assert closest_pairs([Rod(HOOP, 20.0)]) == []


# --- points and segments -------------------------------------------------------------------


def test_points_agree_one_by_one_and_with_samples() -> None:
    rng = np.random.default_rng(3)
    points = rng.uniform([-200, -800, -100], [200, 800, 1200], (60, 3))
    gaps, stations = points_gap(points, HOOP, 20.0)
    line = HOOP.points(np.linspace(0, HOOP.length, 60001))
    for p, g, s in zip(points, gaps, stations, strict=True):
        assert g == pytest.approx(np.linalg.norm(line - p, axis=1).min() - 20.0, abs=1e-3)
        one = point_gap(p, HOOP, 20.0)
        assert one.gap == pytest.approx(g, abs=1e-9)
        assert np.linalg.norm(HOOP.spot(float(s)).point - p) == pytest.approx(g + 20.0)


def test_segment() -> None:
    assert segment_gap([300, -100, 500], [300, 100, 500], HOOP, 20.0, 10.0).gap == pytest.approx(
        gap(CentreLine.straight([300, -100, 500], [300, 100, 500]), 10.0, HOOP, 20.0).gap
    )
    ball = segment_gap([0, 0, 900], [0, 0, 900], HOOP, 20.0, 30.0)
    assert ball.gap == pytest.approx(50.0)


def test_many_points_beside_lines_of_their_own_are_as_near_as_each_is_alone() -> None:
    paths, rng = random_paths(11, 6), np.random.default_rng(3)
    line = rng.integers(0, len(paths), 4000)  # more pairs than go into one pass
    points = rng.uniform(-900, 900, (len(line), 3))
    away, station = Lines.of(paths).nearest(line, points)
    for i in range(0, len(line), 37):
        spot = paths[line[i]].nearest(points[i])
        assert away[i] == pytest.approx(np.linalg.norm(points[i] - spot.point), abs=1e-9)
        assert station[i] == pytest.approx(spot.station, abs=1e-6)
    few = Lines.of(paths).nearest(line[5:9], points[5:9])
    assert few[0].tobytes() == away[5:9].tobytes()
    assert few[1].tobytes() == station[5:9].tobytes()
    assert all(len(a) == 0 for a in Lines.of(paths).nearest(line[:0], points[:0]))


def test_pairs_that_may_be_near_hold_all_that_are() -> None:
    bars = bars_of([(path, 20.0) for path in random_paths(7, 30)])
    gaps = {(p.a, p.b): p.found.gap for p in closest_pairs(bars)}
    for limit in (-5.0, 0.0, 12.0):
        near = near_pairs(bars, limit)
        assert near == sorted(near)
        assert {pair for pair, apart in gaps.items() if apart <= limit} <= set(near)
        # two bends, each half a millimetre from its chords
        assert all(gaps[pair] <= limit + 2.1 for pair in near)
        assert 5 < len(near) < len(gaps) / 2

"""Chords never say that two tubes are further apart than they are."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.chords import (
    Chord,
    ChordRows,
    apart,
    chords,
    chords_from,
    segment_gap,
    square_gap,
)

numbers = st.floats(-500, 500).map(lambda x: round(x, 2))
points = st.tuples(numbers, numbers, numbers).map(np.array)
corners = st.lists(points, min_size=2, max_size=4)


def path_of(corners: list[np.ndarray]) -> CentreLine | None:
    """A path with bends of 60 mm, or None where these corners give none."""
    try:
        return CentreLine.from_polyline(corners, 60.0 if len(corners) > 2 else 0.0, owner="x")
    except ValueError:
        return None


def least(a: np.ndarray, b: np.ndarray) -> float:
    return float(np.linalg.norm(a[:, None, :] - b[None, :, :], axis=2).min())


def columns(start: np.ndarray, end: np.ndarray) -> np.ndarray:
    return np.array([[*start, *(end - start)]], dtype=float).T


def far(one: CentreLine, other: CentreLine, by: float) -> bool:
    """Whether two tubes are told apart, alone."""
    rows = [ChordRows.of([chords(path)]) for path in (one, other)]
    first = np.zeros(1, np.intp)
    return bool(apart(*rows, (first, first), np.array([by]))[0])


def away(point: np.ndarray, chord: Chord) -> float:
    """Distance of a point from a chord, mm."""
    start, way = np.array(chord.start), np.array(chord.way)
    share = np.clip((point - start) @ way / (way @ way), 0.0, 1.0)
    return float(np.linalg.norm(point - start - share * way))


@given(points, points, points, points)
def test_gap_of_two_straights_is_the_least_of_all_their_points(
    a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray
) -> None:
    (square,) = square_gap(columns(a, b), columns(c, d))
    alone = segment_gap(Chord.between(a, b), Chord.between(c, d))
    assert alone == math.inf if math.isnan(square) else alone == pytest.approx(math.sqrt(square))
    if math.isnan(square):  # side by side, or of no length
        assert np.linalg.norm(np.cross(b - a, d - c)) <= 1e-4 * max(
            np.linalg.norm(b - a) * np.linalg.norm(d - c), 1e-9
        )
        return
    share = np.linspace(0.0, 1.0, 101)[:, None]
    seen = least(a + share * (b - a), c + share * (d - c))
    between = (np.linalg.norm(b - a) + np.linalg.norm(d - c)) / 200
    assert math.sqrt(square) <= seen + 1e-9
    assert seen <= math.sqrt(square) + between + 1e-9


@given(corners, corners, st.floats(1.0, 300.0))
def test_what_is_told_apart_has_no_two_points_that_near(
    one: list[np.ndarray], other: list[np.ndarray], by: float
) -> None:
    a, b = path_of(one), path_of(other)
    if a is None or b is None:
        return
    gap = least(a.points(np.linspace(0, a.length, 120)), b.points(np.linspace(0, b.length, 120)))
    if far(a, b, by):
        assert gap > by


def test_tubes_a_car_apart_are_told_apart() -> None:
    hoop = CentreLine.from_polyline(
        [(0, 600, 0), (0, 500, 900), (0, -500, 900), (0, -600, 0)], 150.0, owner="x"
    )
    bar = CentreLine.straight((1000, 600, 300), (1000, -600, 310))
    assert far(hoop, bar, 950.0)
    assert not far(hoop, bar, 1001.0)


def test_what_is_told_of_a_pair_is_the_same_beside_others() -> None:
    dice = np.random.default_rng(4)
    rows = [path for c in dice.uniform(-400, 400, (60, 3, 3)) if (path := path_of([*c]))]
    every = ChordRows.of([chords(p) for p in rows])
    i, j = (k.ravel() for k in np.indices((len(rows), len(rows))))
    by = dice.uniform(5.0, 300.0, len(i))
    told = apart(every, every, (i, j), by)
    assert 0.1 < told.mean() < 0.9
    pairs = zip(i[::7], j[::7], by[::7], told[::7], strict=True)
    assert all(far(rows[m], rows[n], b) == way for m, n, b, way in pairs)


@pytest.mark.parametrize("end", ["a", "b"])
@given(corners, st.floats(1.0, 900.0))
def test_chords_from_an_end_hold_all_that_is_within_reach(
    end: str, line: list[np.ndarray], reach: float
) -> None:
    path = path_of(line)
    if path is None:
        return
    along = np.linspace(0.0, min(reach, path.length), 25)
    stretch = path.points(along if end == "a" else path.length - along)
    held = chords_from(path, end, reach)
    for point in stretch:
        assert min(away(point, c) - c.off for c in held) <= 1e-6

"""Rays at bends, against closed forms: circles where a plane through the centre cuts a torus."""

from __future__ import annotations

from math import inf, pi, sqrt

import numpy as np
import pytest

from cagekit.geometry.contact import TorusPiece
from cagekit.geometry.quartic import Quartic

R, TUBE = 114.0, 22.25
X, Y, Z = np.eye(3)


def bend(angle: float = pi) -> TorusPiece:
    """A bend about Z that starts at X."""
    return TorusPiece(
        owner="hoop", piece=1, centre=np.zeros(3), axis=Z, x=X, y=Y, major=R, radius=TUBE,
        angle=angle,
    )  # fmt: skip


@pytest.mark.parametrize("under", [40.0, 1.0, 1e-3, 1e-6, 1e-9])
def test_a_ray_in_the_bends_plane_leaves_its_outer_circle(under: float) -> None:
    """However close to grazing: two roots that nearly agree."""
    off = R + TUBE - under
    s, gap, over = bend().solve(np.array([[50.0, off, 0.0]]), -X)
    assert gap[0] == 0.0
    assert over[0] == 0.0
    # rounding of ``off`` is all that a ray so near to grazing may lose
    assert s[0] - 50.0 == pytest.approx(sqrt(under * (2 * (R + TUBE) - under)), abs=3e-7)


@pytest.mark.parametrize("off", [0.0, 5.0, -22.0, 22.2499])
def test_a_ray_along_the_axis_leaves_the_section(off: float) -> None:
    start = np.array([[0.0, R + off, 30.0]])
    s, gap, over = bend().solve(start, Z)
    assert gap[0] == 0.0
    assert over[0] == 0.0
    assert s[0] == pytest.approx(sqrt(TUBE**2 - off**2) - 30.0, abs=1e-9)


@pytest.mark.parametrize("past", [1e-3, 0.5, 8.0])
def test_a_ray_that_passes_tells_where_and_by_how_much(past: float) -> None:
    origin = np.array([[70.0, R + TUBE + past, 0.0]])
    s, gap, over = bend().solve(origin, -X)
    assert s[0] == pytest.approx(70.0, abs=1e-6)
    assert gap[0] == pytest.approx(past, abs=1e-9)
    assert over[0] == 0.0


def test_a_window_chooses_between_the_two_sides_of_a_bend() -> None:
    """A ray across the whole bend leaves its tube twice."""
    origin = np.array([[-300.0, 20.0, 0.0]])
    far = sqrt((R + TUBE) ** 2 - 20.0**2) + 300.0
    near = 300.0 - sqrt((R - TUBE) ** 2 - 20.0**2)
    for window, s in (((-inf, inf), far), ((0.0, 300.0), near), ((300.0, 600.0), far)):
        assert bend().solve(origin, X, window).s[0] == pytest.approx(s, abs=1e-9)


def test_valleys_are_the_roots_of_the_slope() -> None:
    rng = np.random.default_rng(5)
    c0, c1, c2 = rng.normal(size=(3, 300)) * np.array([[1e8], [5e5], [1e4]])
    valleys = Quartic(c0, c1, c2).valleys()
    assert 60 < valleys.two.sum() < 240
    for i in range(300):
        roots = np.roots([4.0, 0.0, 2.0 * c2[i], c1[i]])
        real = np.sort(roots[np.abs(roots.imag) < 1e-6].real)
        ours = [valleys.low[i], valleys.hill[i], valleys.high[i]] if valleys.two[i] else None
        assert np.allclose(real, ours or [valleys.low[i]], rtol=1e-9, atol=1e-7)

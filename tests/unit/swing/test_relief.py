"""The end relief against plain rotation of many points."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from cagekit.errors import GeometryError
from cagekit.swing.relief import end_clearance, least_travel, relief_lean

UPRIGHT = (0.0, 0.0, 1.0)


def turned(points: np.ndarray, pivot: np.ndarray, angle: float) -> np.ndarray:
    """Rotation about z in the plan, written out."""
    c, s = np.cos(angle), np.sin(angle)
    w = points - pivot
    return pivot + np.stack([c * w[:, 0] - s * w[:, 1], s * w[:, 0] + c * w[:, 1], w[:, 2]], axis=1)


def brute(lean: float, gap: float, r: float, offset: float, angle: float) -> float:
    """Least x of the rim over the swing by stepping through it."""
    phi = np.linspace(0, 2 * np.pi, 200)
    y, z = r * np.cos(phi), r * np.sin(phi)
    rim = np.stack([gap + lean * (y + r), y, z], axis=1)
    pivot = np.array([offset, 0.0, 0.0])
    return min(float(turned(rim, pivot, a)[:, 0].min()) for a in np.linspace(0, angle, 500))


def room(lean: float, gap: float, r: float, offset: float, angle: float) -> float:
    return end_clearance(
        lean, gap=gap, radius=r, pivot=(offset, 0.0, 0.0), axis=UPRIGHT, angle=angle
    )


def lean_of(gap: float, clearance: float, r: float, offset: float, angle: float) -> float:
    return relief_lean(
        "x", gap=gap, clearance=clearance, radius=r,
        pivot=(offset, 0.0, 0.0), axis=UPRIGHT, angle=angle,
    )  # fmt: skip


def test_least_travel_of_a_sinusoid() -> None:
    rng = np.random.default_rng(5)
    for _ in range(200):
        c, s, k, top = *rng.normal(size=3), rng.uniform(0.1, 3.0)
        t = np.linspace(0, top, 200_001)
        want = float((k + c * np.cos(t) + s * np.sin(t)).min())
        got = float(least_travel(*(np.array([v]) for v in (k, c, s)), top)[0])
        assert got == pytest.approx(want, abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(
    lean=st.floats(0, 0.6),
    gap=st.floats(1, 4),
    r=st.floats(15, 30),
    offset=st.floats(20, 60),
    angle=st.floats(0.2, 2.2),
)
def test_clearance_is_what_stepping_through_the_swing_finds(
    lean: float, gap: float, r: float, offset: float, angle: float
) -> None:
    assert room(lean, gap, r, offset, angle) == pytest.approx(
        brute(lean, gap, r, offset, angle), abs=5e-3
    )


@settings(max_examples=30, deadline=None)
@given(r=st.floats(15, 30), offset=st.floats(24, 60), clearance=st.floats(0.3, 2.0))
def test_relief_is_enough_and_no_more(r: float, offset: float, clearance: float) -> None:
    gap, angle = 2.0, np.pi / 2
    if offset - clearance < r + 2:
        offset = r + clearance + 2
    lean = lean_of(gap, clearance, r, offset, angle)
    assert brute(lean, gap, r, offset, angle) >= clearance - 5e-3
    if lean > 0:
        assert brute(0.98 * lean, gap, r, offset, angle) < clearance


def test_clearance_about_a_leaning_pin_aside_is_what_turning_the_rim_finds() -> None:
    """The axis is neither square to the plan nor through the middle of the bar."""
    lean, gap, r, angle = 0.05, 6.0, 20.0, 1.2
    pivot, axis = np.array([30.0, 6.0, -8.0]), np.array([0.1, -0.2, 0.95])
    axis /= np.linalg.norm(axis)
    phi = np.linspace(0, 2 * np.pi, 721)[:-1]
    y, z = r * np.cos(phi), r * np.sin(phi)
    rim = np.stack([gap + lean * (y + r), y, z], axis=1) - pivot
    turns = Rotation.from_rotvec(np.linspace(0, angle, 400)[:, None] * axis)
    want = min(float(turn.apply(rim)[:, 0].min()) for turn in turns) + pivot[0]
    got = end_clearance(
        lean, gap=gap, radius=r, pivot=tuple(pivot.tolist()), axis=tuple(axis.tolist()), angle=angle
    )
    assert want < gap - 1.0  # not where it is shut
    assert got == pytest.approx(want, abs=1e-3)


def test_closed_form_of_a_full_swing() -> None:
    # outer corner on the circle about the pin: gap + 2 r lean = c - sqrt((c - k)^2 - r^2)
    r, offset, gap, clearance = 20.0, 30.0, 2.0, 1.0
    edge = offset - np.sqrt((offset - clearance) ** 2 - r**2)
    assert lean_of(gap, clearance, r, offset, np.pi / 2) == pytest.approx((edge - gap) / (2 * r))


def test_small_swing_needs_less() -> None:
    assert lean_of(2.0, 1.0, 20.0, 30.0, 0.2) < lean_of(2.0, 1.0, 20.0, 30.0, 1.2)
    assert lean_of(2.0, 1.0, 20.0, 30.0, 0.01) == 0.0


def test_pin_at_the_cut_cannot_be_relieved() -> None:
    with pytest.raises(GeometryError, match="pin_offset"):
        lean_of(2.0, 1.0, 20.0, 12.0, np.pi / 2)

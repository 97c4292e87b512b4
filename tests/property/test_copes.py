"""What holds for any cope: moved, mirrored or reversed, it is the same cope."""

from __future__ import annotations

from math import cos, pi, radians, sin

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.typing import NDArray

from cagekit.errors import CopeError
from cagekit.geometry.centre_line import CentreLine, perpendicular, rotate, unit
from cagekit.geometry.cope import EndCut, Parent, cut_end
from cagekit.geometry.volume import end_moments, wall_volume

HOOP = CentreLine.from_polyline([[0, -600, 0], [0, -520, 1000], [0, 520, 1000], [0, 600, 0]], 150.0)
PHI = np.linspace(0, 2 * pi, 72, endpoint=False)
R = 20.65


def degrees(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high).map(radians)


joints = st.fixed_dictionaries(
    {
        "station": st.floats(80.0, HOOP.length - 80.0),
        "angle": degrees(25, 90),
        "roll": degrees(0, 360),
        "r": st.floats(12.0, R),
        "offset": st.sampled_from([0.0, 0.0, 1e-6, 2.0]),
    }
)


def branch(joint: dict[str, float]) -> CentreLine:
    spot = HOOP.spot(joint["station"])
    square = rotate(perpendicular(spot.tangent), spot.tangent, joint["roll"])
    back = cos(joint["angle"]) * spot.tangent + sin(joint["angle"]) * square
    node = spot.point + joint["offset"] * unit(np.cross(back, spot.tangent))
    return CentreLine.straight(node, node + 800 * back)


def cut(path: CentreLine, hoop: CentreLine, r: float, which: str = "a", **more: object) -> EndCut:
    try:
        return cut_end(path, which, r, r - 3, parents=[Parent("hoop", hoop, R)], **more)  # type: ignore[arg-type]
    except CopeError:
        assume(False)
        raise


@given(joints)
def test_every_point_lies_on_the_parent(joint: dict[str, float]) -> None:
    one = cut(branch(joint), HOOP, joint["r"])
    c = one.contact(PHI, joint["r"])
    points = one.points(PHI, joint["r"])[c.ok]
    away = [float(np.linalg.norm(p - HOOP.nearest(p).point)) for p in points]
    # nearest point on the tube, not on its imagined continuation: never inside
    assert min(away) > R - 1e-4
    assert np.median(away) < R + 1e-4


@given(joints)
def test_wall_beyond_the_cope_is_clear_of_the_parent(joint: dict[str, float]) -> None:
    one = cut(branch(joint), HOOP, joint["r"])
    c = one.contact(PHI, joint["r"])
    for beyond in (0.01, 3.0, 20.0):
        points = one.origins(PHI, joint["r"]) - (c.s + beyond)[:, None] * one.out
        away = [float(np.linalg.norm(p - HOOP.nearest(p).point)) for p in points[c.ok]]
        assert min(away) > R - 1e-6


@given(joints)
def test_mirror(joint: dict[str, float]) -> None:
    path = branch(joint)
    across = perpendicular(path.pieces[0].direction)
    one = cut(path, HOOP, joint["r"], zero=across)
    two = cut(path.mirrored(), HOOP.mirrored(), joint["r"], zero=across * np.array([1, -1, 1]))
    assert np.allclose(two.trim(PHI, joint["r"]), one.trim(-PHI, joint["r"]), atol=1e-7)
    assert np.isclose(two.saddle_length, one.saddle_length, rtol=1e-6)


@given(joints, degrees(0, 360), degrees(0, 180), st.floats(-2000, 2000))
def test_rigid_motion(joint: dict[str, float], turn: float, tip: float, shift: float) -> None:
    m = _rotation(turn, tip)
    t = np.array([shift, -0.5 * shift, 100.0])
    path = branch(joint)
    across = perpendicular(path.pieces[0].direction)
    one = cut(path, HOOP, joint["r"], zero=across)
    two = cut(path.mapped(m, t), HOOP.mapped(m, t), joint["r"], zero=m @ across)
    # rounding at 2 m shows near tangent rays as its square root
    assert np.allclose(two.trim(PHI, joint["r"]), one.trim(PHI, joint["r"]), atol=1e-4)
    moved, here = end_moments(two, joint["r"], 10.0), end_moments(one, joint["r"], 10.0)
    assert np.isclose(moved.volume, here.volume, rtol=1e-6, atol=1e-3)


@given(joints)
def test_reversed_branch_has_the_same_cut_at_its_other_end(joint: dict[str, float]) -> None:
    path = branch(joint)
    across = perpendicular(path.pieces[0].direction)
    one = cut(path, HOOP, joint["r"], zero=across)
    two = cut(path.reversed(), HOOP, joint["r"], "b", zero=across)
    assert np.allclose(two.trim(PHI, joint["r"]), one.trim(PHI, joint["r"]), atol=1e-9)


@given(joints)
def test_reversed_parent_makes_no_difference(joint: dict[str, float]) -> None:
    one = cut(branch(joint), HOOP, joint["r"])
    two = cut(branch(joint), HOOP.reversed(), joint["r"])
    assert np.allclose(two.trim(PHI, joint["r"]), one.trim(PHI, joint["r"]), atol=1e-5)


@given(joints)
def test_volume_is_what_a_plain_sum_over_rays_gives(joint: dict[str, float]) -> None:
    path = branch(joint)
    r = joint["r"]
    one, square = cut(path, HOOP, r), cut_end(path, "b", r, r - 3)
    rho = r - 3 + (np.arange(12) + 0.5) / 12 * 3
    phi = (np.arange(180) + 0.5) * pi / 90
    s = one.trim(phi[None, :], rho[:, None])
    rough = float((s.sum(axis=1) * rho).sum() * 0.25 * pi / 90)
    whole = pi * (r**2 - (r - 3) ** 2) * path.length
    assert np.isclose(wall_volume(path, r, r - 3, one, square), whole - rough, rtol=2e-5)


@given(
    st.floats(1.0, HOOP.length - 1.0),
    degrees(5, 175),
    degrees(0, 360),
    st.floats(1.0, 25.0) | st.floats(1.0, 60.0),
    st.floats(0.05, 0.999),
    st.sampled_from([0.0, 0.0, 1e-7, 3.0, -15.0, 60.0]),
    st.just(0.0) | st.floats(-60.0, 60.0),
    st.booleans(),
    st.booleans(),
)
def test_any_joint_is_cut_or_refused(
    station: float,
    angle: float,
    roll: float,
    r: float,
    bore: float,
    offset: float,
    beyond: float,
    open_ends: bool,
    second: bool,
) -> None:
    spot = HOOP.spot(station)
    square = rotate(perpendicular(spot.tangent), spot.tangent, roll)
    back = cos(angle) * spot.tangent + sin(angle) * square
    side = unit(np.cross(back, spot.tangent))
    node = spot.point + offset * side - beyond * back
    parents = [Parent("hoop", HOOP, R, open_ends, open_ends)]
    if second:
        other = CentreLine.straight(spot.point, spot.point + 300 * unit(side + 0.4 * square))
        parents.append(Parent("other", other, 15.0, open_ends, True))
    path = CentreLine.straight(node, node + 400 * back)
    try:
        one = cut_end(path, "a", r, bore * r, parents=parents, owner="bar")
    except CopeError as error:
        assert str(error).startswith("bar: ")
        assert error.hint
        return
    curve = one.outer_curve(90)
    assert np.isfinite(curve).all()
    assert curve[:, 1].max() <= one.longest + 1e-2
    assert curve[:, 1].min() >= one.shortest - 1e-2
    assert one.longest < path.length
    assert 2 * pi * r * 0.999 <= one.saddle_length < 100 * r
    whole = pi * r**2 * (1 - bore**2) * path.length
    left = wall_volume(path, r, bore * r, one, cut_end(path, "b", r, bore * r))
    assert 0 < left < whole * (1 - one.shortest / path.length) + 1e-6 * whole


def _rotation(turn: float, tip: float) -> NDArray[np.float64]:
    a = np.array([[cos(turn), -sin(turn), 0], [sin(turn), cos(turn), 0], [0, 0, 1.0]])
    b = np.array([[1.0, 0, 0], [0, cos(tip), -sin(tip)], [0, sin(tip), cos(tip)]])
    return np.asarray(a @ b)

"""First contact of rays with cylinders, tori and planes."""

from __future__ import annotations

from math import inf, pi, sqrt

import numpy as np
import pytest

from cagekit.geometry.centre_line import Arc, CentreLine, vec
from cagekit.geometry.contact import (
    CylinderPiece,
    PlaneFace,
    TorusPiece,
    first_contact,
    tube_surfaces,
)

X, Y, Z = np.eye(3)


def cylinder(*, low: float = -inf, high: float = inf) -> CylinderPiece:
    return CylinderPiece(
        owner="t", piece=0, start=vec([0, 0, 0]), axis=vec(Z), radius=20.0, low=low, high=high
    )


def torus(angle: float = pi) -> TorusPiece:
    # half a ring in the XY plane from +X over +Y
    (piece,) = tube_surfaces(CentreLine((Arc(vec(100 * X), vec([0, 0, 0]), vec(Z), angle),)), 20.0)
    assert isinstance(piece, TorusPiece)
    return piece


def test_cylinder_far_side_is_the_contact() -> None:
    c = first_contact([cylinder()], [[-50.0, 12.0, 3.0], [-50.0, 25.0, 3.0]], X)
    assert c.s == pytest.approx([50 + 16.0, 50.0])
    assert c.ok.tolist() == [True, False]
    assert c.gap == pytest.approx([0.0, 5.0])


def test_cylinder_counts_only_between_its_ends() -> None:
    c = first_contact([cylinder(low=0.0, high=10.0)], [[0, 0, 5.0], [0, 0, 15.0]], X)
    assert c.ok.tolist() == [True, False]


@pytest.mark.parametrize("height", [0.0, 7.0, -13.0, 19.999])
def test_torus_radial_rays(height: float) -> None:
    # from the centre outwards: the far side of the tube at this height
    c = first_contact([torus()], [[0.0, 0.0, height]], Y)
    assert c.s == pytest.approx([100 + sqrt(400 - height**2)], abs=1e-8)


def test_torus_window_keeps_the_far_leg_out() -> None:
    half = torus()
    origin, across = [[-100.0, 5.0, 0.0]], X
    assert first_contact([half], origin, across).s > 190
    near = first_contact([half], origin, across, [(-60.0, 60.0)])
    assert near.ok.all()
    assert half.axis_distance(np.array(origin) + near.s[:, None] * across) == pytest.approx(20.0)
    assert near.s == pytest.approx([20.0], abs=1.0)


@pytest.mark.parametrize(
    ("above", "hit"),
    [(-1e-3, True), (-1e-7, True), (0.0, True), (1e-3, False)],
)
def test_torus_grazing_ray(above: float, hit: bool) -> None:
    # across the top of the ring: the ray dips into the tube by less than a hair or not at all
    c = first_contact([torus()], [[30.0, 0.0, 20.0 + above]], Y)
    assert c.ok.tolist() == [hit]
    # it leaves on the far side of the line along the top
    wide = 100 + sqrt(max(400 - (20 + above) ** 2, 0.0))
    assert c.s == pytest.approx([sqrt(wide**2 - 30**2)], abs=2e-3)


def test_torus_miss_tells_by_how_much() -> None:
    c = first_contact([torus()], [[30.0, -60.0, 23.0]], Y)
    assert not c.ok.any()
    assert c.gap == pytest.approx([3.0], abs=0.02)


def test_torus_and_cylinder_meet_without_a_gap() -> None:
    path = CentreLine.from_polyline([[0, 0, 0], [0, 0, 500], [400, 0, 500]], 120.0)
    surfaces = tube_surfaces(path, 20.0, open_a=True, open_b=True)
    joint = path.starts[1]
    point, tangent = path.spot(joint).point, path.spot(joint).tangent
    offsets = np.linspace(-5, 5, 501)
    origins = point + offsets[:, None] * tangent
    c = first_contact(surfaces, origins, Y)
    assert c.ok.all()
    # 20 off the straight, a touch less where the bend leans away
    assert c.s == pytest.approx(np.full(501, 20.0), abs=3e-4)
    assert np.abs(np.diff(c.s)).max() < 5e-6
    assert set(c.active.tolist()) == {0, 1}


def test_farthest_of_several_wins() -> None:
    plane = PlaneFace(owner="", point=vec([15.0, 0, 0]), normal=vec(X))
    c = first_contact([cylinder(), plane], [[0, 0, 0.0], [0, 18.0, 0.0]], X)
    assert c.s == pytest.approx([20.0, 15.0])
    assert c.active.tolist() == [0, 1]


def test_shapes_follow_the_rays() -> None:
    origins = np.zeros((3, 4, 3))
    c = first_contact([cylinder(), torus()], origins, X)
    assert c.s.shape == c.active.shape == c.ok.shape == (3, 4)


def test_normals_point_out_and_are_units() -> None:
    for surface in (cylinder(), torus()):
        origins = np.array([[0.0, 3.0, 2.0], [0.0, 9.0, -4.0]])
        direction = X if isinstance(surface, CylinderPiece) else Y
        c = first_contact([surface], origins, direction)
        points = origins + c.s[:, None] * direction
        n = surface.normals(points)
        assert np.linalg.norm(n, axis=1) == pytest.approx([1.0, 1.0])
        h = 1e-4
        rise = surface.axis_distance(points + h * n) - surface.axis_distance(points)
        assert rise == pytest.approx([h, h], rel=1e-6)


def test_open_end_on_a_bend_goes_on_straight() -> None:
    arc = CentreLine((Arc(vec(100 * X), vec([0, 0, 0]), vec(Z), 1.0),))
    surfaces = tube_surfaces(arc, 20.0, open_a=True, open_b=False)
    assert [type(q).__name__ for q in surfaces] == ["CylinderPiece", "TorusPiece"]
    c = first_contact(surfaces, [[100.0, -30.0, 0.0]], Z)
    assert c.ok.all()
    assert c.s == pytest.approx([20.0])

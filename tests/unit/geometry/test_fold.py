"""Folding: flat holes folded into place, by hand and by rotation matrices of their own."""

from __future__ import annotations

from math import cos, pi, radians, sin

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pieces import shape_key
from scipy.spatial.transform import Rotation

from cagekit.cage.plate import Hole, HolePurpose, Plate
from cagekit.errors import GeometryError
from cagekit.geometry.fold import Fold, bend_allowance, bend_name
from cagekit.geometry.outline import Outline

T, R, K = 4.0, 5.0, 0.42
EPS = np.finfo(float).eps


def angle_plate(angle=pi / 2, *, holes=(), **changes):
    """A strip 60 wide with one fold at x = 0, base on the left."""
    values = {
        "id": "angle",
        "kind": "test",
        "thickness": T,
        "material": "s235",
        "outline": Outline.rectangle(160, 60, 5),
        "folds": (Fold.along((0, -30), (0, 30), angle, R, K),),
        "holes": tuple(holes),
        "base": (-50, 0),
    }
    return Plate(**{**values, **changes})


def folded_point(plate, xy, z=0.0):
    """Where one point of the flat pattern lies once it is folded."""
    return plate.folded.place(np.array([xy], float), z)[0]


def test_a_right_angle_by_hand():
    """Fold up 90 degrees: the far flat stands R past the near tangent line, its face inward."""
    p = angle_plate()
    half = bend_allowance(pi / 2, R, T, K) / 2
    # a hole 40 mm from the fold line lies 40 - half above the tangent point, on the face
    assert folded_point(p, (40, 12)) == pytest.approx([-half + R, 12, R + 40 - half])
    # its back is a thickness further out
    assert folded_point(p, (40, 12), -T) == pytest.approx([-half + R + T, 12, R + 40 - half])
    # what stays put stays put
    assert folded_point(p, (-40, 3)) == pytest.approx([-40, 3, 0])


def test_a_right_angle_down_by_hand():
    p = angle_plate(-pi / 2)
    half = bend_allowance(pi / 2, R, T, K) / 2
    assert folded_point(p, (40, 12)) == pytest.approx([-half + R + T, 12, -(R + T + 40 - half)])
    assert folded_point(p, (40, 12), -T) == pytest.approx([-half + R, 12, -(R + T + 40 - half)])


def test_points_beside_the_plate_go_with_the_part_that_is_nearest():
    """Off the far flat's edge as on it, off the near one's likewise, on face and back alike."""
    p = angle_plate()
    half = bend_allowance(pi / 2, R, T, K) / 2
    flat = [(40, 90), (-40, -90)]
    face, back = p.folded.layers(flat, (0.0, -T))
    assert face == pytest.approx(np.array([[-half + R, 90, R + 40 - half], [-40, -90, 0]]))
    assert back == pytest.approx(np.array([[-half + R + T, 90, R + 40 - half], [-40, -90, -T]]))
    for z, layer in ((0.0, face), (-T, back)):
        assert (p.folded.place(flat, z) == layer).all()


@given(st.floats(0.05, 2.6), st.booleans(), st.floats(0.3, 0.5), st.floats(0, 12))
def test_outside_dimensions_agree_with_the_mould_line(angle, up, k, radius):
    """Outer faces prolonged meet in the mould line: legs to it follow from the set-back."""
    sign = 1.0 if up else -1.0
    fold = Fold.along((0, -30), (0, 30), sign * angle, radius, k)
    p = angle_plate(folds=(fold,))
    z = -T if up else 0.0
    half = fold.allowance(T) / 2
    setback = (radius + T) * np.tan(angle / 2)
    corner = np.array([-half + setback, 0, z])
    far = folded_point(p, (75, 0), z)
    assert np.linalg.norm(far - corner) == pytest.approx(75 - half + setback, rel=1e-12)
    direction = (far - corner) / np.linalg.norm(far - corner)
    assert direction == pytest.approx([cos(angle), 0, sign * sin(angle)], abs=1e-12)


@given(st.floats(0.1, 2.6), st.booleans(), st.floats(0.2, 0.5))
def test_the_neutral_axis_keeps_its_length(angle, up, k):
    sign = 1.0 if up else -1.0
    p = angle_plate(folds=(Fold.along((0, -30), (0, 30), sign * angle, R, k),))
    z = -k * T if up else -(1 - k) * T
    x = np.linspace(-70, 70, 40001)
    path = p.folded.place(np.column_stack([x, 0 * x]), z)
    assert float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum()) == pytest.approx(
        140, rel=1e-8
    )


def rotation(axis, point, angle):
    """4x4 rotation right-handed about an axis through a point, from scipy."""
    from scipy.spatial.transform import Rotation

    m = np.eye(4)
    m[:3, :3] = Rotation.from_rotvec(np.asarray(axis, float) * angle).as_matrix()
    m[:3, 3] = np.asarray(point, float) - m[:3, :3] @ np.asarray(point, float)
    return m


def test_holes_of_a_twice_folded_plate_land_where_two_rotations_put_them():
    """A Z of two folds: each flat is slid by what the bend uses up, then turned."""
    a1, a2 = radians(70), radians(-50)
    f1 = Fold.along((0, -30), (0, 30), a1, R, K)
    f2 = Fold.along((45, 30), (45, -30), a2, R, K)
    hole = np.array([63.0, -11.0])
    p = angle_plate(
        folds=(f1, f2), holes=[Hole.circle(hole, 8)], outline=Outline.rectangle(200, 60, 5)
    )
    w1, w2 = f1.allowance(T), f2.allowance(T)
    point = np.array([*hole, 0.0, 1.0])
    # the second fold first, while everything else is flat: slide the far flat to the near edge
    # of the bend zone, then turn about the bend's axis
    slide2, slide1 = np.eye(4), np.eye(4)
    slide2[0, 3], slide1[0, 3] = -w2, -w1
    m2 = rotation((0, 1, 0), (45 - w2 / 2, 0, -T - R), -a2) @ slide2
    m1 = rotation((0, -1, 0), (-w1 / 2, 0, R), a1) @ slide1
    expected = (m1 @ m2 @ point)[:3]
    assert folded_point(p, hole) == pytest.approx(expected, abs=1e-9)
    assert p.facets[p.bends[1].outer].holes == (0,)


def test_the_side_that_holds_the_base_stays():
    near, far = angle_plate(base=(-50, 0)), angle_plate(base=(50, 0))
    assert folded_point(near, (-60, 0)) == pytest.approx([-60, 0, 0])
    assert folded_point(far, (60, 0)) == pytest.approx([60, 0, 0])
    a, b = np.array([[-60, 5.0], [60, -7.0], [30, 20]]), [near, far]
    gaps = [np.linalg.norm(q.folded.place(a)[:, None] - q.folded.place(a)[None], axis=2) for q in b]
    assert gaps[0] == pytest.approx(gaps[1])


def test_volume_says_what_k_implies():
    p = angle_plate()
    # more metal in the model than in the blank: angle t^2 (1/2 - k) per mm of fold
    extra = pi / 2 * T**2 * (0.5 - K) * 60
    assert p.volume - p.flat_volume == pytest.approx(extra)
    middle = angle_plate(folds=(Fold.along((0, -30), (0, 30), pi / 2, R, 0.5),))
    assert middle.volume == pytest.approx(middle.flat_volume)
    # the mass is that of the body which the volume and the solid describe
    assert p.mass == pytest.approx(p.volume * 7.85e-6)


def test_flanges_in_two_directions():
    outline = Outline.polygon(
        [(-40, -30), (40, -30), (40, -12), (70, -12), (70, 12), (40, 12), (40, 60), (-40, 60)]
    )
    side = Fold.along((-40, 30), (40, 30), pi / 2, 4, K)
    end = Fold.along((45, -12), (45, 12), pi / 3, 4, K)
    p = angle_plate(outline=outline, folds=(side, end), base=(0, 0))
    assert len(p.facets) == 3
    assert sum(f.loop.area for f in p.facets) + sum(b.loop.area for b in p.bends) == pytest.approx(
        outline.area
    )
    assert folded_point(p, (60, 0))[2] > 5
    assert folded_point(p, (0, 55))[2] > 5
    assert abs(folded_point(p, (0, -20))[2]) < 1e-12


def test_a_mirrored_plate_is_its_mirror_image():
    place = np.eye(4)
    place[:3, :3] = [[0.6, 0, 0.8], [0, 1, 0], [-0.8, 0, 0.6]]
    place[:3, 3] = (700, 520, -60)
    p = angle_plate(radians(40), holes=[Hole.circle((50, 14), 9)], id="tab_left", placement=place)
    m = p.mirrored()
    assert m.id == "tab_right"
    assert np.linalg.det(m.placement[:3, :3]) == pytest.approx(1)
    flat = np.array([[50, 14.0], [-30, 5], [1, -20]])
    there = m.car_points(flat * [-1, 1])
    assert there == pytest.approx(p.car_points(flat) * [1, -1, 1])
    assert m.volume == pytest.approx(p.volume)
    assert shape_key(m.mirrored()) == shape_key(p) != shape_key(m)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            {"holes": [Hole.circle((2, 0), 9)]},
            r"fold 1 runs through bolt hole 1.*bend zone is 10\.5 mm",
        ),
        (
            {"holes": [Hole.circle((79, 0), 9)]},
            r"bolt hole 1 at \(79\.0, 0\.0\) mm lies outside.*3\.5 mm",
        ),
        ({"holes": [Hole.circle((300, 0), 9)]}, r"lies outside the plate"),
        ({"holes": [Hole.circle((40, 0), 9), Hole.circle((46, 0), 9)]}, "holes 1 and 2 run into"),
        ({"holes": [Hole.circle((40, 0), 30), Hole.circle((41, 0), 4)]}, "holes 1 and 2 run into"),
        ({"folds": (Fold.along((200, -9), (200, 9), 1, R),)}, "fold 1 at .* is off the plate"),
        ({"folds": (Fold.along((78, -9), (78, 9), 1, R),)}, "fold 1 has no room"),
        ({"folds": (Fold.along((0, -9), (0, 9), 3.2, R),)}, r"turns 183\.3 degrees"),
        ({"folds": (Fold.along((0, -9), (0, 9), 1, -1),)}, "inside radius -1 mm"),
        (
            {"folds": (Fold.along((0, -9), (0, 9), 1, R), Fold.along((3, -9), (3, 9), 1, R))},
            "bend zone of another fold",
        ),
        ({"base": (0, 0)}, "base point .* must lie on a flat part"),
        ({"thickness": 0}, "thickness 0 mm must be above zero"),
        ({"placement": np.diag([1.0, -1, 1, 1])}, "mirrors the plate"),
        (
            {"placement": np.diag([1.0, 1, 1 + 1e-5, 1])},
            r"shears by 2\.0e-05 \(allowed",
        ),
        ({"placement": np.eye(4) + 1e-4 * np.eye(4, k=1)}, "stretches or shears by"),
        ({"placement": np.full((4, 4), np.nan)}, "no rigid motion"),
        ({"placement": np.diag([np.nan, 1, 1, 1])}, "not finite"),
        ({"placement": np.array([[1, 0, 0, np.inf], *np.eye(4)[1:]])}, "not finite"),
        ({"placement": np.eye(3)}, "4x4 matrix"),
        ({"placement": np.diag([1.0, 1, 1, 2])}, "last row 0 0 0 1"),
        ({"outline": Outline.polygon([(0, 0), (90, 90), (90, 0), (0, 80)])}, "crosses itself"),
    ],
)
def test_what_cannot_be_made_is_refused_with_numbers(change, words):
    with pytest.raises(GeometryError, match=words) as error:
        angle_plate(**change)
    assert error.value.owner == "angle"


@pytest.mark.parametrize("digits", [7, 8, 12])
def test_a_placement_that_lost_digits_on_the_way_is_made_rigid(digits: int) -> None:
    """The nearest rotation is the one that the other library finds in the same matrix."""
    turn = Rotation.from_rotvec([0.3, -1.1, 0.7])
    placement = np.eye(4)
    placement[:3, :3] = np.round(turn.as_matrix(), digits)
    placement[:3, 3] = (812.5, -34.25, 90.0)
    p = angle_plate(placement=placement)
    r = p.placement[:3, :3]
    # to a few roundings of a product of three, whatever library works out the decomposition
    assert np.abs(r @ r.T - np.eye(3)).max() < (16 * EPS if digits < 9 else 1e-11)
    nearest = Rotation.from_matrix(placement[:3, :3]).as_matrix()
    np.testing.assert_allclose(r, nearest, rtol=0, atol=1e-12 if digits < 9 else 1e-11)
    assert p.placement[:3, 3].tolist() == [812.5, -34.25, 90.0]
    assert p.placement[3].tolist() == [0.0, 0.0, 0.0, 1.0]


def test_a_rigid_placement_keeps_its_bits() -> None:
    placement = np.eye(4)
    placement[:3, :3] = Rotation.from_rotvec([0.3, -1.1, 0.7]).as_matrix()
    assert angle_plate(placement=placement).placement.tobytes() == placement.tobytes()


def test_a_lightening_loop_may_have_any_shape():
    loop = Outline.rectangle(20, 12, 3, centre=(45, 0))
    p = angle_plate(holes=[Hole.free(loop.reversed(), HolePurpose.LIGHTENING)])
    assert p.area == pytest.approx(p.outline.area - loop.area)


def test_fold_lines_are_named_for_the_brake():
    assert bend_name(Fold.along((0, 0), (1, 0), radians(-90), 3)) == "DOWN 90 R3"
    assert bend_name(Fold.along((0, 0), (1, 0), radians(62.5), 4.5)) == "UP 62.5 R4.5"
    assert bend_name(Fold.along((0, 0), (1, 0), radians(90), 4.775), "in") == "UP 90 R0.188"

"""Written-down tubes without the kernel: closed, of the right volume, on exact surfaces."""

from __future__ import annotations

from math import cos, radians, sin

import numpy as np
import pytest

from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.cope import EndCut, Parent, cut_end
from cagekit.geometry.volume import wall_volume
from cagekit.solids.brep import CylinderSurface, EllipseCurve, PlaneSurface, Record, TorusSurface
from cagekit.solids.creases import Refused
from cagekit.solids.measure import measure
from cagekit.solids.tube import tube_record

RO, RI = 20.64, 17.24
LEVEL = Parent("level", CentreLine.straight((-500, 0, 0), (500, 0, 0)), RO)
HOOP = Parent(
    "hoop",
    CentreLine.from_polyline([(0, -400, 0), (0, -400, 800), (0, 400, 800), (0, 400, 0)], 152.0),
    RO,
)


def made(path: CentreLine, *parents: Parent, ro: float = RO) -> tuple[Record, EndCut, EndCut]:
    a = cut_end(path, "a", ro, ro - 3.4, parents=parents)
    b = cut_end(path, "b", ro, ro - 3.4)
    return tube_record("tube", path, a, b), a, b


def check(path: CentreLine, *parents: Parent, ro: float = RO) -> Record:
    record, a, b = made(path, *parents, ro=ro)
    assert record.closure_errors() == []
    wanted = wall_volume(path, ro, ro - 3.4, a, b)
    assert measure(record).volume == pytest.approx(wanted, rel=2e-6)
    return record


@pytest.mark.parametrize("angle_deg", [90, 75, 60, 45, 30, 20])
@pytest.mark.parametrize("ro", [20.64, 19.05, 12.7])
def test_joint_at_any_angle(angle_deg: float, ro: float) -> None:
    a = radians(angle_deg)
    end = 400 * np.array([cos(a), 0.6 * sin(a), 0.8 * sin(a)])
    record = check(CentreLine.straight((0, 0, 0), end), LEVEL, ro=ro)
    (cap,) = [f for f in record.faces if isinstance(f.surface, CylinderSurface)][:1]
    assert cap.surface.radius == RO


def test_equal_tubes_meet_in_two_exact_half_ellipses() -> None:
    record, _, _ = made(CentreLine.straight((0, 0, 0), (300, 0, 300)), LEVEL)
    rims = [e.curve for e in record.edges if isinstance(e.curve, EllipseCurve)]
    ovals = [c for c in rims if not c.is_circle]
    # each plane halves the angle between the axes: semi-axis R / sin(45 / 2) and R / cos(45 / 2)
    longest = sorted({round(c.major, 9) for c in ovals})
    assert longest == [
        pytest.approx(RO / cos(radians(22.5)), rel=1e-9),
        pytest.approx(RO / sin(radians(22.5)), rel=1e-9),
    ]
    assert {c.minor for c in ovals} == {RO}


@pytest.mark.parametrize(
    "offset", [0.0, 1e-6, 3e-5, 1e-4, 1e-3, 0.01, 0.1, 0.5, 1.0, 2.0, 3.3, 3.5, 4.5, 6.0]
)
def test_branch_beside_the_axis(offset: float) -> None:
    record = check(CentreLine.straight((0, offset, 0), (200, offset, 300)), LEVEL)
    planes = [f for f in record.faces if isinstance(f.surface, PlaneSurface)]
    assert len(planes) == (1 if offset < 2e-5 else 2)


@pytest.mark.parametrize("station", [600.0, 630.0, 640.0, 647.9, 648.0, 648.1, 660.0, 700.0, 760.0])
@pytest.mark.parametrize(
    "way",
    [
        (-300, 0, -200), (-300, 0, 0), (-200, -100, -300), (0, -300, 300), (-200, 200, 0),
        (0, 300, -120),
    ],
)  # fmt: skip
def test_joint_on_and_beside_a_bend(station: float, way: tuple[float, float, float]) -> None:
    node = HOOP.path.spot(station).point
    record = check(CentreLine.straight(node, node + np.array(way, float)), HOOP)
    kinds = {type(f.surface) for f in record.faces}
    assert TorusSurface in kinds or station < 648.0


def _through(way: tuple[float, float, float], ro: float = RO, shift: float = 0.0) -> Parent:
    d = np.array(way, float) / np.linalg.norm(way)
    off = np.array([0.0, shift, 0.0])
    return Parent(f"p{way}{shift}", CentreLine.straight(off - 500 * d, off + 500 * d), ro)


@pytest.mark.parametrize(
    ("ways", "branch"),
    [
        ([(1, 0, 0), (0, 1, 0)], (0, 0, 1)),
        ([(1, 0, 0), (1, 1, 0)], (0, 0, 1)),
        ([(1, 0, 0), (1, 0, 1)], (-1, 0, 1)),
        ([(1, 0, 0), (1, 0, 1)], (-1, 0.5, 1)),
        ([(1, 0, 0), (1, 0, 1), (0, 1, 0.5)], (-1, 0.7, 1)),
        ([(1, 0, 0), (0, 1, 0), (0, 1, 0.7)], (-0.3, 0.2, 1)),
    ],
)
@pytest.mark.parametrize("ro", [20.64, 16.0])
def test_several_parents_in_one_node(
    ways: list[tuple[float, float, float]], branch: tuple[float, float, float], ro: float
) -> None:
    end = 300 * np.array(branch) / np.linalg.norm(branch)
    check(CentreLine.straight((0, 0, 0), end), *[_through(w) for w in ways], ro=ro)


@pytest.mark.parametrize("shift", [1.0, 3.0, -7.0])
def test_two_parents_that_do_not_meet(shift: float) -> None:
    end = 200 * np.array([-1, 0.5, 1])
    check(
        CentreLine.straight((0, 0, 0), end), _through((1, 0, 0)), _through((1, 0, 1), shift=shift)
    )


def test_mirror_image_has_the_same_volume() -> None:
    node = HOOP.path.spot(655.0).point
    path = CentreLine.straight(node, node + np.array([-250.0, 60.0, -180.0]))
    there = measure(check(path, HOOP)).volume
    other = Parent("hoop", HOOP.path.mirrored(), RO)
    back = measure(check(path.mirrored(), other)).volume
    assert back == pytest.approx(there, rel=1e-8)


def test_reversed_tube_has_the_same_volume() -> None:
    path = CentreLine.straight((0, 0, 0), (200, 0, 300))
    there = measure(check(path, LEVEL)).volume
    back = path.reversed()
    a = cut_end(back, "a", RO, RI)
    record = tube_record("back", back, a, cut_end(back, "b", RO, RI, parents=[LEVEL]))
    assert record.closure_errors() == []
    assert measure(record).volume == pytest.approx(there, rel=1e-9)


def test_ridge_that_grazes_the_bore_is_left_to_the_kernel() -> None:
    with pytest.raises(Refused, match="grazes a rim"):
        made(CentreLine.straight((0, 3.4, 0), (200, 3.4, 300)), LEVEL)


@pytest.mark.parametrize("station", [526.0, 535.0, 541.0, 542.5, 543.0, 543.5, 544.0, 560.0])
@pytest.mark.parametrize("side", [1, -1])
def test_door_bar_in_the_node_of_hoop_and_harness_bar(station: float, side: int) -> None:
    """Just beside the harness bar the hoop's bend shows over a fiftieth of a radian of the rim."""
    foot, up = np.array([0.0, side * 628.0, -92.0]), np.array([0.0, side * 0.1091651, 0.99402363])
    turned = np.array([0.0, side * cos(1.911), sin(1.911)])
    corner = foot + 563.4 * up
    hoop = CentreLine.from_polyline([foot, corner, corner + 300.0 * turned], 160.0)
    node = hoop.spot(station).point
    across = Parent("harness", CentreLine.straight(node, (0, side * 100, node[2])), 20.0)
    door = CentreLine.straight(node, (1293, side * 627, 105))
    check(door, Parent("hoop", hoop, 22.5), across, ro=20.0)


def test_an_edge_that_drops_from_tube_to_tube() -> None:
    """The near tube stands beside the axis: past its side the edge lands on the far one, deeper.

    Between them stands a wall along the tube, in the plane of the near tube's side.
    """
    near, far = _through((1, 0, 0), shift=12.0), _through((1, 0.4, 0))
    path = CentreLine.straight((0, 0, 0), (60, 0, 300))
    lowered = Parent("far", far.path.mapped(np.eye(3), np.array([0.0, 0.0, -24.0])), RO)
    record = check(path, near, lowered)
    walls = [f.surface for f in record.faces if isinstance(f.surface, PlaneSurface)]
    along = path.pieces[0].direction
    walls = [w for w in walls if abs(float(w.normal @ along)) < 1e-12]
    assert walls
    for wall in walls:
        assert abs(float(wall.normal @ near.path.pieces[0].direction)) < 1e-12
        assert abs(float((wall.origin - (0, 12.0, 0)) @ wall.normal)) == pytest.approx(RO)

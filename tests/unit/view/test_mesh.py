"""Meshes of cut tubes: closed, on the surfaces, and as big as the integral says."""

from __future__ import annotations

import demos
import numpy as np
import pytest

from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.cope import EndCut, Parent, cut_end
from cagekit.geometry.drill import Drill
from cagekit.geometry.end_cut import in_step
from cagekit.geometry.volume import wall_volume
from cagekit.view.mesh import Mesh, TubeShape, joined, tube_mesh
from cagekit.view.rough import ROUGH, SIDES, rough_meshes

RO, RI = 20.65, 17.25
HOOP = CentreLine.from_polyline([[0, -600, 0], [0, -520, 1000], [0, 520, 1000], [0, 600, 0]], 150.0)
PARENT = Parent("hoop", HOOP, RO)


def brace(station: float, *, second: bool = False) -> tuple[CentreLine, EndCut, EndCut]:
    node = HOOP.spot(station).point
    path = CentreLine.from_polyline(
        [node, node + np.array([-500, 40, -300]), node + np.array([-700, 40, -900])], 150.0
    )
    parents = [PARENT]
    if second:
        strut = CentreLine.straight(node, node + np.array([-400.0, 400.0, 60.0]))
        parents.append(Parent("strut", strut, RO, False))
    a = cut_end(path, "a", RO, RI, parents=parents, owner="brace")
    return path, a, cut_end(path, "b", RO, RI)


CASES = {
    "straight": brace(400.0),
    "bend": brace(float(HOOP.starts[1]) + 100.0),
    "straddle": brace(float(HOOP.starts[1]) + 6.0),
    "two parents": brace(600.0, second=True),
    "hoop": (HOOP, cut_end(HOOP, "a", RO, RI), cut_end(HOOP, "b", RO, RI)),
    "bend only": (
        HOOP.part(float(HOOP.starts[1]), float(HOOP.starts[2])),
        cut_end(HOOP.part(float(HOOP.starts[1]), float(HOOP.starts[2])), "a", RO, RI),
        cut_end(HOOP.part(float(HOOP.starts[1]), float(HOOP.starts[2])), "b", RO, RI),
    ),
}


def edge_uses(mesh: Mesh) -> np.ndarray:
    """How often each edge is used, counting vertices on one spot as one."""
    _, same = np.unique(mesh.vertices, axis=0, return_inverse=True)
    t = same.reshape(-1)[mesh.triangles]
    edges = np.sort(np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]]), axis=1)
    return np.unique(edges, axis=0, return_counts=True)[1]


@pytest.mark.parametrize("name", CASES)
def test_closed(name: str) -> None:
    path, a, b = CASES[name]
    mesh = tube_mesh(path, RO, RI, a, b)
    assert set(edge_uses(mesh)) == {2}
    _, same = np.unique(mesh.vertices, axis=0, return_inverse=True)
    t = same.reshape(-1)[mesh.triangles]
    assert (t[:, 0] != t[:, 1]).all() and (t[:, 1] != t[:, 2]).all()  # noqa: PT018


@pytest.mark.parametrize("name", CASES)
def test_volume_approaches_the_integral(name: str) -> None:
    path, a, b = CASES[name]
    exact = wall_volume(path, RO, RI, a, b)
    coarse = tube_mesh(path, RO, RI, a, b, sides=48, bend_step=0.015).volume / exact - 1
    # a regular polygon of 48 sides has 0.29 % less area than its circle
    assert coarse == pytest.approx(-0.00285, abs=5e-4)
    fine = tube_mesh(path, RO, RI, a, b, sides=384, bend_step=0.015).volume / exact - 1
    # what is left: an end face is straight across the wall, the saddle bulges
    assert abs(fine) < 3e-4


@pytest.mark.parametrize("name", CASES)
def test_normals_are_units_and_agree_with_the_facets(name: str) -> None:
    path, a, b = CASES[name]
    mesh = tube_mesh(path, RO, RI, a, b)
    assert np.linalg.norm(mesh.normals, axis=1) == pytest.approx(np.ones(len(mesh.normals)))
    p, q, r = (mesh.vertices[mesh.triangles[:, k]] for k in range(3))
    facet = np.cross(q - p, r - p)
    area = np.linalg.norm(facet, axis=1)
    lean = np.einsum("ij,ij->i", facet, mesh.normals[mesh.triangles].mean(axis=1))
    big = area > 1e-2
    # only facets on the ridge between two parents have a corner of each
    assert (lean[big] / area[big]).min() > 0.4
    assert np.quantile(lean[big] / area[big], 0.01) > 0.9


def test_cope_edge_lies_on_the_parent() -> None:
    path, a, b = CASES["bend"]
    mesh = tube_mesh(path, RO, RI, a, b)
    away = np.array([np.linalg.norm(v - HOOP.nearest(v).point) for v in mesh.vertices])
    on_edge = np.abs(away - RO) < 1e-6
    # outside, bore and end face each hold their own copy of the rings
    assert on_edge.sum() >= 4 * 48
    assert away.min() > RO - 1e-6


def test_own_zero_turns_nothing_over() -> None:
    path, _, b = CASES["straight"]
    a = cut_end(path, "a", RO, RI, parents=[PARENT], zero=[0.3, 0.9, -0.2])
    mesh = tube_mesh(path, RO, RI, a, b)
    assert set(edge_uses(mesh)) == {2}
    assert mesh.volume == pytest.approx(wall_volume(path, RO, RI, a, b), rel=4e-3)


def test_joined_keeps_everything() -> None:
    meshes = [tube_mesh(p, RO, RI, a, b) for p, a, b in list(CASES.values())[:3]]
    whole = joined(meshes)
    assert len(whole.triangles) == sum(len(m.triangles) for m in meshes)
    assert whole.volume == pytest.approx(sum(m.volume for m in meshes))
    assert whole.bounds[0] == pytest.approx(np.min([m.bounds[0] for m in meshes], axis=0))


@pytest.mark.parametrize("turn", [0.0, 0.4, 2.9])
def test_a_drilled_tube_is_closed_and_lacks_what_is_drilled(turn: float) -> None:
    path = CentreLine.straight([0, 0, 0], [300, 40, 20])
    a, b = (cut_end(path, e, RO, RI) for e in ("a", "b"))
    d = path.out_direction("b")
    axis = np.cross(d, np.array([0.0, np.sin(turn), np.cos(turn)]))
    drill = Drill(
        point=path.spot(30.0).point,
        axis=axis / np.linalg.norm(axis), along=d, radius=9.5,
    )  # fmt: skip
    whole, mesh = (tube_mesh(path, RO, RI, a, b, drills=x, sides=96) for x in ((), (drill,)))
    assert set(edge_uses(mesh)) == {2}
    gone = whole.volume - mesh.volume
    assert gone == pytest.approx(drill.volume(RO, RI), rel=0.02)
    p, q, r = (mesh.vertices[mesh.triangles[:, k]] for k in range(3))
    facet = np.cross(q - p, r - p)
    lean = np.einsum("ij,ij->i", facet, mesh.normals[mesh.triangles].mean(axis=1))
    big = np.linalg.norm(facet, axis=1) > 1e-2
    assert (lean[big] > 0).all()


@pytest.mark.parametrize("demo", ["track-roadster", "sprint-wagon"])
def test_rough_edges_lie_near_the_exact_ones(demo):

    cage = demos.cage(demo)
    tubes = [
        TubeShape(path=m.path, ro=m.tube.outer_radius, ri=m.tube.inner_radius,
             cuts=(cage.cut(m.id, "a"), cage.cut(m.id, "b")), drills=m.drills)
        for m in cage.members.values()
    ]  # fmt: skip
    for tube, mesh in zip(tubes, rough_meshes(tubes), strict=True):
        for cut in tube.cuts:
            (spots,) = in_step([cut.fine_curve(tube.ro, 0.05)])
            exact = cut.points(spots[:, 0], tube.ro, spots[:, 1])
            assert np.abs(_gaps_to_edges(exact, mesh)).max() < ROUGH


def test_a_rough_mesh_is_closed_and_the_same_whatever_moves_beside_it() -> None:
    tubes = [TubeShape(path=p, ro=RO, ri=RI, cuts=(a, b)) for p, a, b in CASES.values()]
    for tube, mesh in zip(tubes, rough_meshes(tubes), strict=True):
        assert set(edge_uses(mesh)) == {2}
        exact = tube_mesh(tube.path, RO, RI, *tube.cuts, sides=SIDES)
        assert mesh.volume == pytest.approx(exact.volume, rel=2e-3)
        (alone,) = rough_meshes([tube])
        assert mesh.vertices.tobytes() == alone.vertices.tobytes()
        assert mesh.normals.tobytes() == alone.normals.tobytes()


def _gaps_to_edges(points, mesh):
    """Distance of each point to the nearest edge of the triangles, mm."""
    corners = mesh.vertices[mesh.triangles]
    a, b = corners.reshape(-1, 3), np.roll(corners, -1, axis=1).reshape(-1, 3)
    low, high = points.min(axis=0) - 5, points.max(axis=0) + 5
    near = ((np.minimum(a, b) < high) & (np.maximum(a, b) > low)).all(axis=1)
    a, way = a[near], (b - a)[near]
    size = np.maximum((way * way).sum(axis=1), 1e-12)
    share = np.clip(((points[:, None] - a) * way).sum(axis=2) / size, 0.0, 1.0)
    return np.linalg.norm(points[:, None] - a - share[..., None] * way, axis=2).min(axis=1)

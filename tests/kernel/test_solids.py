"""Solids in the kernel: sound, of the volume of path and cut, on exact cylinders and tori.

The kernel is the outside judge here: it is given the boundary that was written down, and asked
whether it is sound and how much it holds. A second judge is its own boolean of the same joint.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import combinations
from math import cos, radians, sin
from typing import Any

import numpy as np
import pytest
from joints import random_joint

from cagekit.errors import KernelError
from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.cope import EndCut, Parent, cut_end
from cagekit.geometry.volume import wall_volume
from cagekit.solids import kernel
from cagekit.solids.fallback import KernelSolid, boolean_tube
from cagekit.solids.tube import tube_record
from cagekit.solids.worker import KernelWorker

pytestmark = pytest.mark.kernel

RO, WALL = 20.64, 3.4
LEVEL = Parent("level", CentreLine.straight((-500, 0, 0), (500, 0, 0)), RO)
HOOP = Parent(
    "hoop",
    CentreLine.from_polyline([(0, -400, 0), (0, -400, 800), (0, 400, 800), (0, 400, 0)], 152.0),
    RO,
)
CROSSING = Parent("crossing", CentreLine.straight((-400, 0, -400), (400, 0, 400)), RO)
BESIDE = Parent("beside", CentreLine.straight((-400, 4, -400), (400, 4, 400)), RO)
UPRIGHT = Parent("upright", CentreLine.straight((0, -300, -150), (0, 300, 150)), RO)


def face_kinds(shape: Any) -> dict[str, int]:
    """Count the faces of a kernel shape by kind of surface."""
    import cadquery as cq

    return dict(Counter(f.geomType().lower() for f in cq.Shape(shape).Faces()))


def _cuts(path: CentreLine, parents: tuple[Parent, ...], ro: float) -> tuple[EndCut, EndCut]:
    return (
        cut_end(path, "a", ro, ro - WALL, parents=parents),
        cut_end(path, "b", ro, ro - WALL),
    )


def _sloping(angle_deg: float) -> CentreLine:
    a = radians(angle_deg)
    return CentreLine.straight((0, 0, 0), 400 * np.array([cos(a), 0.6 * sin(a), 0.8 * sin(a)]))


def _from_hoop(station: float, way: tuple[float, float, float]) -> CentreLine:
    node = HOOP.path.spot(station).point
    return CentreLine.straight(node, node + np.array(way, float))


JOINTS = {
    **{f"equal at {a}": (_sloping(a), (LEVEL,), RO) for a in (90, 75, 60, 45, 30, 20)},
    **{f"smaller at {a}": (_sloping(a), (LEVEL,), 16.0) for a in (90, 60, 45, 30, 20)},
    **{
        f"beside by {e}": (CentreLine.straight((0, e, 0), (200, e, 300)), (LEVEL,), RO)
        for e in (1e-6, 1e-4, 0.01, 0.5, 2.0, 3.3, 6.0)
    },
    **{
        f"smaller beside by {e}": (CentreLine.straight((0, e, 0), (200, e, 300)), (LEVEL,), 16.0)
        for e in (2.0, 4.6, 4.64, 4.7, 8.0)
    },
    **{
        f"bend at {s} towards {w}": (_from_hoop(s, w), (HOOP,), RO)
        for s in (630.0, 647.9, 648.0, 660.0, 720.0)
        for w in ((-300, 0, -200), (-200, -100, -300), (0, -300, 300))
    },
    "on the bend, smaller": (_from_hoop(655.0, (-300, 20, -100)), (HOOP,), 15.9),
    "two parents": (CentreLine.straight((0, 0, 0), (-250, 100, 250)), (LEVEL, CROSSING), RO),
    "two parents in one plane": (
        CentreLine.straight((0, 0, 0), (-250, 0, 250)), (LEVEL, CROSSING), RO,
    ),
    "two parents apart": (CentreLine.straight((0, 0, 0), (-250, 125, 250)), (LEVEL, BESIDE), RO),
    "two parents, smaller": (
        CentreLine.straight((0, 0, 0), (-250, 100, 250)), (LEVEL, CROSSING), 16.0,
    ),
    "three parents": (
        CentreLine.straight((0, 0, 0), (-200, 140, 200)), (LEVEL, CROSSING, UPRIGHT), RO,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", JOINTS)
def test_written_down_solid_is_sound_and_holds_what_it_must(name: str) -> None:
    path, parents, ro = JOINTS[name]
    a, b = _cuts(path, parents, ro)
    shape = kernel.to_shape(tube_record("tube", path, a, b))
    assert kernel.is_valid(shape)
    assert kernel.count_solids(shape) == 1
    assert kernel.volume(shape) == pytest.approx(wall_volume(path, ro, ro - WALL, a, b), rel=3e-6)
    assert set(face_kinds(shape)) <= {"cylinder", "torus", "plane"}


@pytest.mark.parametrize(
    "name",
    ["equal at 60", "smaller at 30", "beside by 2.0", "bend at 660.0 towards (-300, 0, -200)",
     "bend at 648.0 towards (-200, -100, -300)", "two parents", "two parents apart"],
)  # fmt: skip
def test_boolean_of_the_shadows_makes_the_same_solid(name: str) -> None:
    """Two ways that share no step but the cut's parents end at one volume."""
    path, parents, ro = JOINTS[name]
    a, b = _cuts(path, parents, ro)
    written = kernel.volume(kernel.to_shape(tube_record("tube", path, a, b)))
    cut = boolean_tube("tube", path, a, b)
    assert cut.volume == pytest.approx(written, rel=5e-6)


def test_bent_tube_has_one_torus_per_bend_outside_and_in() -> None:
    a, b = (cut_end(HOOP.path, e, RO, RO - WALL) for e in ("a", "b"))  # type: ignore[arg-type]
    shape = kernel.to_shape(tube_record("hoop", HOOP.path, a, b))
    assert face_kinds(shape) == {"cylinder": 6, "torus": 4, "plane": 2}


def test_solid_is_cadquerys_own() -> None:
    import cadquery as cq

    path, parents, ro = JOINTS["equal at 60"]
    solid = kernel.as_cadquery(kernel.to_shape(tube_record("t", path, *_cuts(path, parents, ro))))
    assert isinstance(solid, cq.Solid)
    assert solid.isValid()
    assert {f.geomType() for f in solid.Faces()} == {"CYLINDER", "PLANE"}
    box = solid.BoundingBox()
    assert box.zmax > 250


def test_binary_form_brings_the_solid_back() -> None:
    path, parents, ro = JOINTS["equal at 45"]
    shape = kernel.to_shape(tube_record("t", path, *_cuts(path, parents, ro)))
    back = kernel.from_bytes(kernel.to_bytes(shape))
    assert kernel.volume(back) == pytest.approx(kernel.volume(shape), rel=1e-12)


# -- the kernel's own process ------------------------------------------------------------------


@pytest.fixture(scope="module")
def worker() -> Iterator[KernelWorker]:
    with KernelWorker(seconds=60.0) as process:
        yield process


def test_boolean_in_the_process(worker: KernelWorker) -> None:
    path, parents, ro = JOINTS["equal at 60"]
    a, b = _cuts(path, parents, ro)
    solid = worker.call("boolean", "tube", path, a, b)
    assert isinstance(solid, KernelSolid)
    assert solid.volume == pytest.approx(wall_volume(path, ro, ro - WALL, a, b), rel=1e-6)
    assert "MANIFOLD_SOLID_BREP" in solid.step
    assert kernel.is_valid(kernel.from_bytes(solid.data))


def test_too_much_memory_is_an_error_and_the_next_job_runs(worker: KernelWorker) -> None:
    with pytest.raises(KernelError, match="memory"):
        worker.call("hog", 64 * 1024)
    worker.call("load")


def test_too_much_time_is_an_error_and_the_next_job_runs() -> None:
    with KernelWorker(seconds=60.0) as process:
        process.call("load")
        process.seconds = 0.5
        with pytest.raises(KernelError, match=r"0\.5 s"):
            process.call("sleep", 30.0)
        process.seconds = 60.0
        process.call("load")


def test_errors_cross_over(worker: KernelWorker) -> None:
    with pytest.raises(KernelError, match="cannot read"):
        worker.call("read", "/no/such/file.step")


# -- known defects of the kernel: a test that passes tells that a work-around can go --------------


def _plain_cut(path: CentreLine, parents: tuple[Parent, ...], *, clean: bool) -> object:
    """The solid that a plain script makes: a ring pulled along, every parent taken away."""
    import cadquery as cq

    def rod(p: CentreLine, radius: float) -> cq.Workplane:
        plane = cq.Plane(origin=tuple(p.start), normal=tuple(p.pieces[0].direction))
        return cq.Workplane(plane).circle(radius)

    line = cq.Edge.makeLine(cq.Vector(*path.start), cq.Vector(*path.end))
    tube = rod(path, RO).circle(RO - WALL).sweep(cq.Workplane(cq.Wire.assembleEdges([line])))
    for p in parents:
        tube = tube.cut(rod(p.path, p.outer_radius).extrude(p.path.length), clean=clean)
    return tube.val()


@pytest.mark.xfail(strict=True, reason="default volume of a cleaned cope is off by 1e-3")
def test_default_volume_of_a_coped_tube() -> None:
    path, parents, ro = JOINTS["equal at 30"]
    a, b = _cuts(path, parents, ro)
    solid = _plain_cut(path, parents, clean=True)
    wanted = wall_volume(path, ro, ro - WALL, a, b)
    assert kernel.volume(solid.wrapped) == pytest.approx(wanted, rel=1e-6)  # type: ignore[attr-defined]
    assert solid.Volume() == pytest.approx(wanted, rel=1e-4)  # type: ignore[attr-defined]


@pytest.mark.xfail(strict=True, reason="a plain cut leaves a hook behind the second parent")
def test_plain_cut_stops_at_first_contact() -> None:
    way = np.array([0.712, -0.700, 0.044]) * 400
    off = np.array([0.0, -8.95, 0.0])
    second = Parent("second", CentreLine.straight(off - way, off + way), RO)
    path = CentreLine.straight((0, 0, 0), 250 * np.array([-0.567, 0.842, 1.0]))
    a, b = _cuts(path, (LEVEL, second), RO)
    solid = _plain_cut(path, (LEVEL, second), clean=False)
    wanted = wall_volume(path, RO, RO - WALL, a, b)
    assert kernel.volume(solid.wrapped) == pytest.approx(wanted, rel=1e-5)  # type: ignore[attr-defined]


def test_shadow_cut_stops_at_first_contact() -> None:
    """The way round that defect."""
    way = np.array([0.712, -0.700, 0.044]) * 400
    off = np.array([0.0, -8.95, 0.0])
    second = Parent("second", CentreLine.straight(off - way, off + way), RO)
    path = CentreLine.straight((0, 0, 0), 250 * np.array([-0.567, 0.842, 1.0]))
    a, b = _cuts(path, (LEVEL, second), RO)
    wanted = wall_volume(path, RO, RO - WALL, a, b)
    assert boolean_tube("tube", path, a, b).volume == pytest.approx(wanted, rel=2e-6)


def test_shadow_cut_beside_one_parent_leaves_what_touches_another() -> None:
    """A wide branch on two thin tubes: some rays miss one, some both; the nearer closes those."""
    thin = RO - 1.5
    parents = (
        Parent("along", CentreLine.straight((-300, 0, 0), (300, 0, 0)), thin),
        Parent("askew", CentreLine.straight((-260, -150, -35), (260, 150, 35)), thin),
    )
    path = CentreLine.straight((0, 0, 0), (60, -60, 300))
    a, b = _cuts(path, parents, RO)
    wanted = wall_volume(path, RO, RO - WALL, a, b)
    assert boolean_tube("tube", path, a, b).volume == pytest.approx(wanted, rel=2e-6)


@pytest.mark.parametrize("way", [(-300, 0, -200), (-200, -100, -300)])
def test_branch_beside_a_bend_is_as_the_kernel_cuts_it(way: tuple[float, float, float]) -> None:
    node = HOOP.path.spot(700.0).point + np.array([0.0, 3.0, 2.0])
    path = CentreLine.straight(node, node + np.array(way, float))
    a, b = _cuts(path, (HOOP,), RO)
    wanted = wall_volume(path, RO, RO - WALL, a, b)
    written = kernel.volume(kernel.to_shape(tube_record("tube", path, a, b)))
    assert written == pytest.approx(wanted, rel=5e-6)
    assert boolean_tube("tube", path, a, b).volume == pytest.approx(wanted, rel=5e-6)


def test_cut_that_is_silently_left_out_is_done_another_way() -> None:
    """Three bent parents whose second bend the first way of cutting leaves standing."""
    rng = np.random.default_rng([7, 3])
    path, parents, ro = [random_joint(rng, 3) for _ in range(3)][-1]
    a, b = _cuts(path, tuple(parents), ro)
    wanted = wall_volume(path, ro, ro - WALL, a, b)
    assert boolean_tube("tube", path, a, b).volume != pytest.approx(wanted, rel=1e-5)
    assert boolean_tube("tube", path, a, b, wanted).volume == pytest.approx(wanted, rel=1e-5)


def test_the_three_tubes_of_a_bent_x_share_no_steel() -> None:
    from cagekit.design import Design
    from cagekit.inputs.resolve import load_build
    from cagekit.solids.bodies import member_solid

    build = load_build("gravel-hatch")
    cage = Design(build).changed("door_bar", bend_out=45, bend_up=15).cage
    ids = ("door_bar_left", "door_bar_left_cross_1", "door_bar_left_cross_2")
    solids = [member_solid(cage, i) for i in ids]
    for solid, other in combinations(solids, 2):
        assert solid.isValid()
        assert solid.intersect(other).Volume() < 1e-3
    touch = [solids[0].distance(half) for half in solids[1:]]
    assert touch == pytest.approx([0.0, 0.0], abs=1e-5)
    assert solids[1].distance(solids[2]) > 0

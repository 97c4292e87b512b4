"""The frame model of a cage: nodes, supports, pins, links; what cannot stand is named."""

from __future__ import annotations

import demos
import numpy as np
import pytest
from other_solver import displacements

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, Member
from cagekit.errors import GeometryError
from cagekit.geometry.centre_line import CentreLine
from cagekit.materials.tubes import Tube
from cagekit.structure.model import CHORD, LONGEST, Ground, Model, model_of, solver_of
from cagekit.structure.solve import Loads, Solver

TUBE = Tube(od=40.0, wall=2.0, material="e355-n")


def pushed(model: Model, cage: Cage) -> Loads:
    """A push down and sideways in the middle of the main hoop."""
    out = Loads.none(model.frame)
    top = model.node_at("main_hoop", cage.member("main_hoop").path.length / 2)
    out.at_nodes[top, :3] = (3000.0, 8000.0, -20000.0)
    return out


@pytest.mark.parametrize("name", demos.DEMOS)
def test_all_of_a_cage_is_in_its_frame(name: str) -> None:
    cage = demos.cage(name)
    model = model_of(cage)
    assert set(model.member) - {""} == set(cage.members)
    assert set(model.joints) == {j.id for j in cage.joints}
    for j in cage.joints:
        assert np.linalg.norm(model.frame.nodes[model.joints[j.id]] - j.point) < 1.0
    assert model.frame.lengths.min() > 0.5
    assert len(model.pins) == 2 * len(cage.doors)


@pytest.mark.parametrize("name", demos.DEMOS)
def test_pynite_finds_the_same_for_the_demos(name: str) -> None:
    cage = demos.cage(name)
    model = model_of(cage)
    case = pushed(model, cage)
    ours = Solver(model.frame).solve(case).moved
    assert np.abs(ours - displacements(model.frame, case)).max() < 1e-8 * np.abs(ours).max()


@pytest.mark.parametrize("name", demos.DEMOS)
def test_finer_chords_change_nothing_by_a_percent(name: str) -> None:
    cage = demos.cage(name)
    got = []
    for finer in (1, 2):
        top = ("main_hoop", cage.member("main_hoop").path.length / 2)
        model = model_of(cage, marks=[top], chord=CHORD / finer, longest=LONGEST / finer)
        case = pushed(model, cage)
        solver = solver_of(model, name)
        response = solver.solve(case)
        got.append(
            (
                np.abs(response.moved[:, :3]).max(),
                np.abs(response.forces[:, [4, 5, 10, 11]]).max(),
                np.abs(response.normal).max(),
                solver.critical(response),
            )
        )
    assert got[0] == pytest.approx(got[1], rel=0.01)


def test_a_pin_turns_about_its_own_axis_alone() -> None:
    cage = demos.cage("sprint-wagon")
    model = model_of(cage)
    response = solver_of(model, "cage").solve(pushed(model, cage))
    for pin in model.pins:
        z = model.frame.axes[pin.beam, 2]
        assert abs(z @ pin.axis) == pytest.approx(1, abs=1e-9)
        assert abs(response.forces[pin.beam, 11]) < 1e-6
        assert abs(response.forces[pin.beam, 10]) > 1.0


def stand(*, gap: float = 0.0, foot: bool = True) -> Cage:
    """A post with an arm whose axis passes it at a distance."""
    post = Member(
        id="post", role="strut", tube=TUBE, path=CentreLine.straight((0, 0, 0), (0, 0, 1000)),
        a=End.flat((0, 0, 0), (0, 0, 1), foot="left.main_foot", surface="frame") if foot else End(),
    )  # fmt: skip
    arm = Member(
        id="arm", role="strut", tube=TUBE, path=CentreLine.straight((0, gap, 600), (700, gap, 600)),
        a=End.coped("post"),
    )  # fmt: skip
    return Cage("stand", [post, arm])


def test_an_offset_joint_hangs_on_a_stiff_link() -> None:
    """The tip of the arm sinks by its own bending, the post's, and the post's twist is none."""
    model = model_of(stand(gap=4.0), lambda s: Ground(hold="fixed"), longest=1e9)
    assert model.member.count("") == 1
    case = Loads.none(model.frame)
    case.at_nodes[model.node_at("arm", 700.0), 0] = 100.0
    tip = solver_of(model, "stand").solve(case).moved[model.node_at("arm", 700.0)]
    # pulled along its axis 4 mm beside the post: the post twists by 100 N x 4 mm
    twist = 100 * 4 * 600 / (TUBE.torsion_constant * 210000 / 2.6)
    assert abs(tip[1]) == pytest.approx(twist * 700, rel=0.01)


def test_a_stiff_end_bends_from_the_face_of_its_parent_only() -> None:
    """An arm pulled down at its tip: 700 mm from the post's axis, 680 mm from its face."""
    post = TUBE.outer_radius
    sinks = {}
    for stiff in (False, True):
        model = model_of(stand(), lambda s: Ground(hold="fixed"), longest=1e9, stiff_ends=stiff)
        tip = model.node_at("arm", 700.0)
        case = Loads.none(model.frame)
        case.at_nodes[tip, 2] = -100.0
        sinks[stiff] = -solver_of(model, "stand").solve(case).moved[tip, 2]
        beam, end = model.joint_beams[next(iter(model.joints))]
        face = model.frame.nodes[model.frame.ends[beam, end]]
        assert face[0] == pytest.approx(post if stiff else 0.0)
        assert model.welded[model.frame.ends[beam, end]]
    ei, gs = 210000 * TUBE.second_moment, model.frame.shear[0] * model.frame.shear_area[0]
    less = 100 * ((700**3 - 680**3) / 3 / ei + post / gs)
    assert sinks[False] - sinks[True] == pytest.approx(less, rel=0.02)


def test_a_part_held_by_nothing_is_named() -> None:
    with pytest.raises(GeometryError, match=r"arm, post: held by nothing"):
        solver_of(model_of(stand(foot=False)), "stand")


def test_a_frame_that_moves_freely_is_named_with_its_members() -> None:
    with pytest.raises(GeometryError, match=r"moves freely: .*arm.*Add a tube"):
        solver_of(model_of(stand()), "stand")


def test_a_spring_gives_under_a_foot() -> None:
    def tip(how: Ground) -> float:
        model = model_of(demos.cage("track-roadster"), lambda surface: how)
        case = pushed(model, demos.cage("track-roadster"))
        return float(np.abs(solver_of(model, "r").solve(case).moved[:, 2]).max())

    fixed, pinned, soft = (
        tip(Ground(hold="fixed")), tip(Ground()), tip(Ground(spring=500.0)),
    )  # fmt: skip
    assert fixed < pinned < soft

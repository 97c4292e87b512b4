"""Tubes that run into each other: crossing, grazing, joined, and the demos free of it."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import pytest

from cagekit.assembly.assemble import assemble
from cagekit.cage.cage import Cage
from cagekit.cage.member import End, Member
from cagekit.checks import Finding, Status, run
from cagekit.checks.quantities.collisions import overlaps
from cagekit.design import Design
from cagekit.geometry.centre_line import CentreLine
from cagekit.inputs.presets import list_presets
from cagekit.inputs.resolve import load_build
from cagekit.materials.tubes import Tube

R = 20.0


def bar(id_: str, start: tuple[float, ...], end: tuple[float, ...], **ends: End) -> Member:
    tube = Tube(name="t", od=2 * R, wall=2.0, material="e355")
    return Member(id=id_, role="strut", tube=tube, path=CentreLine.straight(start, end), **ends)


def found(*members: Member) -> list[tuple[str, str]]:
    return [(h.a.id, h.b.id) for h in overlaps(Cage("test", members))]


def collisions(cage: Cage) -> list[Finding]:
    rows = run(Design(cage=cage), ["geometry"])
    return [f for f in rows if f.code == "cage/collision"]


@pytest.mark.parametrize("past", [-30.0, 0.0, 30.0, 37.0])
def test_crossing_bars_collide_by_their_distance(past: float) -> None:
    one = bar("one", (-500, 0, 0), (500, 0, 0))
    two = bar("two", (0, -400, past), (0, 400, past))
    (hit,) = collisions(Cage("test", [one, two]))
    assert hit.status is Status.FAIL
    assert hit.code == "cage/collision"
    assert hit.measured == pytest.approx(abs(past) - 2 * R, abs=1e-6)
    assert hit.subject == "two, one"
    assert "split_by" in hit.cure
    # the deepest point of either wall lies on the line through both axes, within a step
    assert np.linalg.norm(hit.evidence.points[0][:2]) < 2 * R


def test_bars_that_pass_or_only_touch_do_not() -> None:
    one = bar("one", (-500, 0, 0), (500, 0, 0))
    assert found(one, bar("two", (0, -400, 39.0), (0, 400, 39.0))) == []
    (clear,) = collisions(Cage("test", [one, bar("two", (0, -400, 60.0), (0, 400, 60.0))]))
    assert clear.status is Status.PASS


@pytest.mark.parametrize("turn", [pi / 6, pi / 4, pi / 2])
def test_a_coped_branch_does_not_collide_with_its_parent(turn: float) -> None:
    parent = bar("parent", (-600, 0, 0), (600, 0, 0))
    far = (500 * np.cos(turn), 500 * np.sin(turn), 0.0)
    assert found(parent, bar("branch", (0, 0, 0), far, a=End.coped("parent"))) == []
    # the same branch sawn square reaches into it up to its axis
    assert found(parent, bar("branch", (0, 0, 0), far)) == [("parent", "branch")]


def test_a_branch_that_meets_its_parent_again_collides() -> None:
    """A loop that is coped at one end and runs through its parent farther on."""
    parent = bar("parent", (-600, 0, 0), (600, 0, 0))
    loop = CentreLine.from_polyline(
        [(-300, 0, 0), (-300, 300, 0), (200, 300, 0), (200, -300, 0)], 100.0, owner="loop"
    )
    tube = parent.tube
    branch = Member(id="loop", role="strut", tube=tube, path=loop, a=End.coped("parent"))
    (hit,) = overlaps(Cage("test", [parent, branch]))
    assert not hit.joined
    assert abs(hit.point[0] - 200) <= R + 1e-6


def test_two_branches_of_a_node_collide_unless_coped_to_each_other() -> None:
    parent = bar("parent", (-600, 0, 0), (600, 0, 0))
    one = bar("one", (0, 0, 0), (0, 500, 0), a=End.coped("parent"))
    slant = (500 / sqrt(2), 500 / sqrt(2), 0.0)
    two = bar("two", (0, 0, 0), slant, a=End.coped("parent"))
    (hit,) = collisions(Cage("test", [parent, one, two]))
    assert hit.subject == "two, one"
    assert "Move the end of two" in hit.cure
    both = bar("two", (0, 0, 0), slant, a=End.coped("parent", "one"))
    assert found(parent, one, both) == []


@pytest.mark.parametrize("name", [p.name for p in list_presets("build")])
def test_the_demos_are_free_of_collisions(name: str) -> None:
    assert overlaps(assemble(load_build(name))) == []

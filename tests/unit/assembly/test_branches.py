"""Which branches of a node run into each other, held against the plain definition."""

from __future__ import annotations

import numpy as np
import pytest

from cagekit.assembly.branches import LOOK, STEP, TOUCH, Meeting, run_into
from cagekit.cage.member import End, Member
from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import CentreLine
from cagekit.materials.tubes import Tube

SIZES = [Tube(od=od, wall=2.5, material="cds-bright") for od in (25.0, 38.0, 45.0)]


def drawn(count: int, seed: int) -> list[Meeting]:
    """Pairs of branches near the bend of a parent, their nodes apart or one, to any side."""
    dice, out = np.random.default_rng(seed), []
    while len(out) < count:
        top = np.array([*dice.uniform(-400, 400, 2), dice.uniform(250, 600)])
        trunk = CentreLine.from_polyline([[0.0, 0.0, -500.0], [0.0, 0.0, 0.0], top], 90.0)
        parent = Member(id="parent", role="hoop", tube=SIZES[dice.integers(3)], path=trunk)
        tubes = []
        for name in ("first", "second"):
            station = np.clip(trunk.length / 2 + dice.normal(0, 60), 0.0, trunk.length)
            node = trunk.spot(float(station)).point
            way = dice.normal(0.0, 1.0, 3)
            ends = [node, node + dice.uniform(330, 700) * way / np.linalg.norm(way)]
            at = "b" if dice.random() < 0.5 else "a"
            path = CentreLine.straight(*(ends if at == "a" else ends[::-1]))
            end = {at: End.coped("parent")}
            tubes.append(
                Member(id=name, role="strut", tube=SIZES[dice.integers(3)], path=path, **end)
            )
        other, member = tubes
        out.append(Meeting(member, "a" if member.a.parents else "b", parent, other))
    return out


def along(path: CentreLine) -> Points:
    """Points of a centre line, close beside each other, ``(n, 3)`` mm."""
    return path.points(np.linspace(0.0, path.length, int(path.length / STEP)))


def gap(q: Meeting, *, outside: float) -> float:
    """The least distance of two branches' axes near the node, this far outside their parent."""
    trunk, node = along(q.parent.path), q.member.path.end_point(q.end)
    free = []
    for tube in (q.member, q.other):
        points = along(tube.path)
        points = points[np.linalg.norm(points - node, axis=1) < LOOK - STEP]
        away = np.linalg.norm(points[:, None] - trunk, axis=-1).min(axis=1)
        wall = q.parent.tube.outer_radius + 0.1 * tube.tube.outer_radius
        free.append(points[away > wall + outside])
    if not min(map(len, free)):
        return np.inf
    return float(np.linalg.norm(free[0][:, None] - free[1], axis=-1).min())


@pytest.fixture(scope="module")
def answers() -> list[tuple[Meeting, bool]]:
    asked = drawn(150, 5)
    return list(zip(asked, run_into(asked), strict=True))


def test_axes_too_near_outside_the_parent_run_into_each_other(
    answers: list[tuple[Meeting, bool]],
) -> None:
    near = 0
    for q, hit in answers:
        reach = q.member.tube.outer_radius + q.other.tube.outer_radius - TOUCH
        if gap(q, outside=STEP) < reach - STEP:
            near += 1
            assert hit
    assert near > 15


def test_axes_that_nowhere_come_near_do_not(answers: list[tuple[Meeting, bool]]) -> None:
    far = 0
    for q, hit in answers:
        reach = q.member.tube.outer_radius + q.other.tube.outer_radius
        if gap(q, outside=-np.inf) > reach + STEP:
            far += 1
            assert not hit
    assert far > 15


def test_an_answer_does_not_hang_on_what_is_asked_beside_it(
    answers: list[tuple[Meeting, bool]],
) -> None:
    assert {hit for _, hit in answers} == {True, False}
    for q, hit in answers[:40]:
        assert run_into([q]) == [hit]

"""Tacks are broken as seldom as hidden joints allow, for as few positions as show them."""

from __future__ import annotations

import random
from itertools import chain, combinations

import numpy as np

from cagekit.geometry.centre_line import vec
from cagekit.shop.welding.breaks import Shown, fewest_breaks
from cagekit.shop.welding.moves import Pose, Way


def slid(amount: float) -> Pose:
    return Pose(
        way=Way.SLID, amount=amount, lift=0.0, turn=np.eye(3), shift=vec((amount, 0, 0)),
        pivot=vec((0, 0, 0)), moved=(), loose=(),
    )  # fmt: skip


def offers(*stages: dict[float, str]) -> dict[int, Shown]:
    """Letters are joints."""
    return {
        i: [(slid(a), frozenset(joints)) for a, joints in stage.items()]
        for i, stage in enumerate(stages)
    }


def told(plan: dict[int, Shown]) -> dict[int, dict[float, str]]:
    return {
        i: {pose.amount: "".join(sorted(joints)) for pose, joints in stage}
        for i, stage in plan.items()
    }


def test_without_hidden_joints_nothing_is_moved() -> None:
    assert fewest_breaks({}) == {}


def test_a_joint_waits_for_a_later_move_that_shows_it_too() -> None:
    assert told(fewest_breaks(offers({50: "a"}, {50: "b", 100: "ab"}))) == {1: {100: "ab"}}
    assert told(fewest_breaks(offers({50: "a"}, {50: "b"}))) == {0: {50: "a"}, 1: {50: "b"}}


def test_two_positions_cost_less_than_two_breaks_and_one_less_than_two() -> None:
    assert told(fewest_breaks(offers({50: "a"}, {50: "b", -50: "a"}))) == {1: {50: "b", -50: "a"}}
    assert told(fewest_breaks(offers({50: "a", -50: "b", 200: "ab"}))) == {0: {200: "ab"}}


def test_no_choice_of_stages_breaks_the_tacks_less_often() -> None:
    rng = random.Random(4)
    often = 0
    for _ in range(60):
        stages: list[dict[float, str]] = []
        for k in range(5):
            known = "abcdefgh"[: 2 * k + 2]
            shown = {float(n): "".join(j for j in known if rng.random() < 0.35) for n in (1, 2, 3)}
            stages.append(shown)
        plan = fewest_breaks(offers(*stages))
        done = "".join(chain.from_iterable(chain(*(s.values() for s in told(plan).values()))))
        every = {j for s in stages for shown in s.values() for j in shown}
        assert sorted(done) == sorted(every)
        for i, stage in told(plan).items():
            assert all(set(joints) <= set(stages[i][a]) for a, joints in stage.items())
        fewer = (c for n in range(len(plan)) for c in combinations(stages, n))
        assert all({j for s in c for shown in s.values() for j in shown} != every for c in fewer)
        often += len(plan) > 1
    assert often > 20

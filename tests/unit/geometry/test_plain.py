"""What plain numbers tell of a cut, against a look all round it."""

from __future__ import annotations

from math import cos, radians, sin, tan

import numpy as np
import pytest
from sweeps import size

from cagekit.geometry.centre_line import CentreLine, Vec, unit
from cagekit.geometry.cope import EndCut, EndToCut, Parent, cut_ends
from cagekit.geometry.end_cut import STEEP
from cagekit.geometry.scan import surely_met


def ends_round_bends(count: int) -> list[EndToCut]:
    """Ends on a bend or the straights beside it, most of them on a second tube near the node."""
    dice, ends = np.random.default_rng(4), []
    while len(ends) < count:
        lean, radius = radians(dice.uniform(20, 95)), float(dice.choice((19.05, 22.5)))
        corner = np.array([0.0, 0.0, 1000.0])
        bend = float(dice.choice((70.0, 110.0, 150.0, 250.0)))
        leg = bend * tan(lean / 2) + dice.choice((20.0, 500.0))
        last = corner + leg * np.array([0.0, sin(lean), cos(lean)])
        hoop = CentreLine.from_polyline([[0, 0, 0], corner, last], bend)
        most = min(hoop.starts[2] + 80, hoop.length - 10)
        spot = dice.uniform(hoop.starts[1] - 80, most)
        parents = [Parent("hoop", hoop, radius, open_b=bool(dice.integers(2)))]
        rho = float(dice.choice((radius, radius, radius - 2, radius - 5, 12.0, radius + 1.5)))
        kind, way, node = dice.integers(5), way_of(dice), hoop.spot(spot).point
        if kind:
            second = second_tube(hoop, spot, dice, kind)
            parents.append(second)
            if kind == 4:  # at a small angle to it
                way = unit(second.path.out_direction("b") + 0.3 * way)
        path = CentreLine.straight(node, node + dice.choice((70, 120, 500)) * way)
        ends.append(
            EndToCut(
                path=path, which="a", outer_radius=rho, inner_radius=rho - 2.0,
                parents=tuple(parents), owner=f"bar {len(ends)}",
            )
        )  # fmt: skip
    return ends


def way_of(dice: np.random.Generator) -> Vec:
    return unit(dice.normal(size=3))


def second_tube(hoop: CentreLine, spot: float, dice: np.random.Generator, kind: int) -> Parent:
    """A tube that starts on the hoop at the spot, or, by its kind, near it, or goes through."""
    aside = dice.uniform(-8, 8) if kind == 2 else 0.0
    beside = dice.choice((0.0, 6.0)) * way_of(dice) if kind == 2 else np.zeros(3)
    node, way = hoop.spot(spot + aside).point + beside, way_of(dice)
    start = node - 300 * way if kind > 2 else node
    path = CentreLine.straight(start, node + dice.choice((60, 400)) * way)
    return Parent("second", path, float(dice.choice((16.0, 19.05, 22.5, 26.0))), open_a=False)


def test_no_end_round_a_bend_is_told_to_be_good_that_a_scan_finds_otherwise() -> None:
    count = size(everyday=300, whole=900)
    ends = ends_round_bends(count)
    quick, slow = cut_ends(ends, later=True), cut_ends(ends)
    told = [isinstance(cut, EndCut) and cut.put_off for cut in quick]
    good = sum(
        isinstance(cut, EndCut) and cut.sits and not cut.may_step and cut.bound < end.path.length
        for end, cut in zip(ends, slow, strict=True)
    )
    assert sum(told) > good / 3  # it tells often enough to pay
    late = [(cut, ("second",)) for cut in quick if isinstance(cut, EndCut) and cut.put_off]
    met = iter(surely_met(late))
    steepest, shed, taken = 0.0, 0, 0
    for end, plain, cut, at_once in zip(ends, told, quick, slow, strict=True):
        if not plain:
            continue
        assert isinstance(cut, EndCut)
        assert isinstance(at_once, EndCut)
        assert at_once.sits
        assert not at_once.may_step
        assert at_once.bound < end.path.length
        assert [(q.owner, q.piece) for q in cut.on] == [(q.owner, q.piece) for q in at_once.on]
        assert cut.windows == at_once.windows
        for name in ("grid", "tangents"):
            assert getattr(cut, name).tobytes() == getattr(at_once, name).tobytes()
        assert cut._scan.s.tobytes() == at_once._scan.s.tobytes()
        assert cut._scan.active.tobytes() == at_once._scan.active.tobytes()
        assert (cut.steepest, cut.bound) == (at_once.steepest, at_once.bound)
        steepest = max(steepest, cut.steepest / cut.outer_radius)
        shed += len(cut.on) < len(cut.touching)
        owners = next(met)
        assert owners <= {q.owner for q in cut.on}
        taken += "second" in owners
    assert STEEP / 5 < steepest < STEEP
    assert min(shed, taken) > count / 45


@pytest.mark.parametrize("degrees", [16.0, 18.0, 40.0])
def test_of_an_end_along_its_second_tube_nothing_is_told(degrees: float) -> None:
    lean = radians(degrees)
    way = np.array([0.0, 500.0 * sin(lean), 500.0 * cos(lean)])
    end = EndToCut(
        path=CentreLine.straight([0, 0, 0], [0, 0, 900]), which="a", outer_radius=20.0,
        inner_radius=18.0, owner="bar",
        parents=(Parent("first", CentreLine.straight([-500, 0, 0], [500, 0, 0]), 20.0),
                 Parent("post", CentreLine.straight(-way, way), 20.0)),
    )  # fmt: skip
    (cut,) = cut_ends([end], later=True)
    assert isinstance(cut, EndCut)
    assert cut.put_off == (degrees > 30)


def test_a_cut_that_was_put_off_lets_go_of_surfaces_when_one_asks_what_it_sits_on() -> None:
    ends = [end for end in ends_round_bends(60) if len(end.parents) == 1]
    for end in ends:
        (cut,) = cut_ends([end], later=True)
        if isinstance(cut, EndCut) and cut.put_off and len(cut.touching) > 1:
            used = len(cut.on)
            assert not cut.put_off
            assert {*cut.seen(0).tolist(), *cut.seen(1).tolist()} == set(range(used))
            break
    else:
        pytest.fail("none was put off")

"""Tubes written down side by side are those that are written down alone."""

from __future__ import annotations

import demos
import numpy as np
from scipy.integrate import quad

from cagekit.geometry.contact import Bundle, CylinderPiece
from cagekit.solids.brep import SplineCurve
from cagekit.solids.creases import Refused
from cagekit.solids.rims import Graze, RimArc, _evened
from cagekit.solids.side_by_side import RayWork, done, together
from cagekit.solids.tube import TubeToWrite, tube_record, tube_records


def test_a_tube_is_the_same_to_the_last_bit_whatever_is_written_beside_it() -> None:
    cage = demos.cage("track-roadster")
    tubes = [
        TubeToWrite(
            name=m.id, path=m.path, cut_a=cage.cut(m.id, "a"), cut_b=cage.cut(m.id, "b"),
            drills=m.drills,
        )
        for m in cage.members.values()
    ]  # fmt: skip
    for tube, beside in zip(tubes, tube_records(tubes), strict=True):
        assert not isinstance(beside, Refused)
        alone = tube_record(tube.name, tube.path, tube.cut_a, tube.cut_b, drills=tube.drills)
        np.testing.assert_array_equal(alone.vertices, beside.vertices)
        assert [len(f.loops) for f in alone.faces] == [len(f.loops) for f in beside.faces]
        for one, two in zip(alone.edges, beside.edges, strict=True):
            assert (one.first, one.last, one.t0, one.t1) == (two.first, two.last, two.t0, two.t1)
            assert type(one.curve) is type(two.curve)
            if isinstance(one.curve, SplineCurve) and isinstance(two.curve, SplineCurve):
                np.testing.assert_array_equal(one.curve.poles, two.curve.poles)


def _reach(count: int, height: float) -> RayWork[float]:
    """Ask ``count`` times how far a ray runs down onto a tube of 20 mm about x."""
    tube = CylinderPiece(
        owner="p", piece=0, start=np.zeros(3), axis=np.array([1.0, 0.0, 0.0]), radius=20.0,
        low=-np.inf, high=np.inf,
    )  # fmt: skip
    total = 0.0
    for _ in range(count):
        start = np.array([[0.0, 0.0, height]])
        answers = yield [Bundle((tube,), start, np.array([0.0, 0.0, 1.0]), ((-np.inf, np.inf),))]
        total += float(answers[0][0].s[0]) + height
    return total


def test_each_work_gets_its_own_answers_however_often_it_asks() -> None:
    asked = [(3, 0.0), (0, 5.0), (1, -7.0), (4, 100.0)]
    found = done(together([_reach(count, height) for count, height in asked]))
    np.testing.assert_allclose(found, [count * 20.0 for count, _ in asked], atol=1e-9)
    assert done(together([])) == []


def test_places_of_a_soft_turn_go_round_at_the_pace_that_is_asked() -> None:
    """The parameter of an angle is the integral of the pace, by another library's quadrature."""
    turns = (Graze(1.1, 0.41, 0), Graze(4.0, 0.9, 0))
    arc = RimArc(0.2, 0.2 + 2 * np.pi, 0, turns=turns)

    def pace(phi: float) -> float:
        roots = [g.width**2 + 4 * np.sin((phi - g.angle) / 2) ** 2 for g in turns]
        return float(np.prod(roots) ** -0.25)

    whole = quad(pace, arc.start, arc.stop, epsabs=1e-12, epsrel=1e-12, limit=200)[0]
    u = np.linspace(0.0, 1.0, 23)
    phi = _evened(u, arc)
    run = [quad(pace, arc.start, p, epsabs=1e-12, epsrel=1e-12, limit=200)[0] for p in phi]
    np.testing.assert_allclose(np.array(run) / whole, u, atol=1e-11)
    assert phi[0] == arc.start
    assert phi[-1] == arc.stop

"""Bends set on the marks of a dial, and twists too small to turn a tube by."""

from __future__ import annotations

from math import degrees, pi, radians

import demos
import numpy as np
import pytest

from cagekit.geometry.centre_line import CentreLine
from cagekit.shop.bending.bends import schedule
from cagekit.shop.bending.clocking import beside_table
from cagekit.shop.bending.dial import drift, settings
from cagekit.shop.bending.rows import BendRow, rebuild
from cagekit.shop.bending.springback import Springback

HOOP = np.array(
    [(0, 600, 0), (0, 560, 500), (0, 470, 1000), (0, -470, 1000), (0, -560, 480), (0, -600, 0)],
    float,
)


@pytest.mark.parametrize("name", demos.DEMOS)
def test_every_setting_lies_on_a_mark(name: str) -> None:
    design = demos.design(name)
    step = design.tooling.bender.angle_step
    assert step > 0
    for sheet in design.bends:
        for s in sheet.steps:
            assert s.set_angle / step == pytest.approx(round(s.set_angle / step), abs=1e-6)
            assert sheet.springback is not None
            assert sheet.springback.set_angle(s.left) == pytest.approx(s.set_angle)
            assert abs(s.left - s.angle) <= step * 1.01


def test_what_one_bend_is_over_is_taken_off_the_next() -> None:
    angles = [radians(a) for a in (10.3, 80.3, 80.3, 10.3)]
    step = radians(1.0)
    driven = settings(angles, [0.0] * 4, Springback(), step, pi)
    sums = np.degrees(np.cumsum(np.array(driven) - angles))
    assert np.abs(sums).max() <= 0.5 + 1e-9
    alone = np.degrees(np.cumsum([-0.3] * 4))
    assert abs(alone[-1]) > 1.0


def test_a_bend_the_other_way_takes_it_off_too() -> None:
    angles = [radians(30.3), radians(30.3)]
    driven = settings(angles, [0.0, pi], Springback(), radians(1.0), pi)
    # an S: both a third of a degree short leaves the far leg parallel
    assert [round(degrees(a)) for a in driven] == [30, 30]


def test_no_setting_is_beyond_the_die() -> None:
    (one,) = settings([radians(119.8)], [0.0], Springback(), radians(1.0), radians(119.9))
    assert degrees(one) == pytest.approx(119.0)


def test_drift_is_what_a_straightedge_finds() -> None:
    # an L of two long legs bent one degree too far: laid over the drawing both tips are off
    rows = [
        BendRow(row=1, feed=1000.0, angle=radians(90.0), clr=100.0),
        BendRow(row=2, feed=1000.0),
    ]
    off = drift(rows, [radians(91.0)])
    gap = np.linalg.norm(rebuild(rows).end - rebuild(rows).start)
    assert 0.15 * gap * radians(1.0) < off < gap * radians(1.0)
    assert drift(rows, [radians(90.0)]) == pytest.approx(0.0, abs=1e-9)


def test_a_twist_under_half_a_degree_is_no_turn() -> None:
    design = demos.design("gravel-hatch")
    corners = HOOP.copy()
    corners[-1, 0] += 0.2
    path = CentreLine.from_polyline(corners, [160.0] * 4, owner="hoop")
    sheet = schedule("hoop", design.bends[0].tube, path, design.tooling)
    turns = [degrees(r.rotation) for r in sheet.rows[:-1]]
    assert 0.01 < max(abs(t) for t in turns) < 0.5
    assert all(s.rotation in (None, 0.0) and s.clock == 0.0 for s in sheet.steps)
    assert not any("clockwise" in line for line in beside_table(sheet, str))
    assert 0.0 < sheet.drift < 5.0

"""Surfaces of the shell: what their distances are at least."""

from __future__ import annotations

from pathlib import Path

import demos
import numpy as np
import pytest

from cagekit.car.floor import steepest
from cagekit.car.shell import FAR, Skin, surfaces
from cagekit.checks.registry import run
from cagekit.design import Design
from cagekit.inputs.car import OWN_SURFACES
from cagekit.inputs.presets import find_preset


@pytest.mark.parametrize("name", demos.DEMOS)
def test_a_skin_is_no_nearer_than_its_steepest_slope_says(name: str) -> None:
    rng = np.random.default_rng(11)
    points = rng.uniform((-600, -900, -400), (1300, 900, 1500), (20_000, 3))
    steps = rng.normal(size=points.shape) * rng.choice([0.5, 20.0, 100.0], (len(points), 1))
    steps = steps.clip(-300.0, 300.0)
    skins = {s.name: s.solid for s in surfaces(demos.build(name).car)}
    told = 0
    for skin in skins.values():
        if not isinstance(skin, Skin):
            continue
        gap, least = skin.gap(points), skin.at_least(points)
        assert (least <= np.where(gap > 0, gap, np.inf) + 1e-9).all()
        assert (least[gap < 0] <= 0).all()
        further = np.abs(skin.at_least(points + steps) - least)
        assert (further <= np.linalg.norm(steps, axis=1) + 1e-9).all()
        below = skin.gap_below(points, 60.0)
        close = gap < 60.0
        assert (below[close] == gap[close]).all()
        assert (below[~close] >= 60.0).all()
        told += np.isfinite(skin.steep) and (below == FAR).any()
    assert told >= 4


def test_the_steepest_lean_of_a_line_is_that_of_its_steepest_piece() -> None:
    assert steepest(np.array([0.0, 10.0, 12.0]), np.array([0.0, 5.0, 1.0])) == 2.0
    assert steepest(np.array([3.0]), np.array([1.0])) == 0.0
    assert steepest(np.array([0.0, 0.0, 5.0]), np.array([0.0, 4.0, 4.0])) == np.inf


def test_no_surface_that_a_car_can_have_is_called_like_a_keep_out() -> None:
    names = {s.name for c in demos.DEMOS for s in surfaces(demos.build(c).car)}
    names -= {k.name for c in demos.DEMOS for k in demos.build(c).car.keepouts}
    names -= {p.name for c in demos.DEMOS for p in demos.build(c).car.panels}
    assert names == set(OWN_SURFACES)


def test_an_outrigger_may_end_on_the_sill_above_the_floor(tmp_path: Path) -> None:
    text = find_preset("car", "sprint-wagon").read_text("utf-8")
    foot = "point = [0, 24, -3.5]"
    assert text.count(foot) == 1
    (tmp_path / "car.toml").write_text(text.replace(foot, "point = [0, 24, -0.5]"), "utf-8")
    text = find_preset("build", "sprint-wagon").read_text("utf-8")
    build = tmp_path / "build.toml"
    build.write_text(text.replace('car = "sprint-wagon"', 'car = "car.toml"'), "utf-8")
    rooms = [f for f in run(Design.load(str(build)), ["car"]) if "side-at-the-hoop" in f.code]
    assert len(rooms) == 2
    assert not any("outrigger" in m for f in rooms for m in f.evidence.members)

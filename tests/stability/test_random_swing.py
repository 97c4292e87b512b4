"""Random swing-out bars, sane and insane: made whole or refused in words, never a traceback."""

from __future__ import annotations

import random
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError
from sweeps import size

from cagekit.cage.cage import Cage
from cagekit.cage.member import Member, Swing
from cagekit.errors import CagekitError
from cagekit.geometry.centre_line import CentreLine
from cagekit.inputs.entries import DoorBarEntry
from cagekit.inputs.swing_bracket import SwingBracketEntry
from cagekit.materials.tubes import Tube
from cagekit.swing.divide import divide
from cagekit.swing.motion import sweep
from cagekit.swing.opened import opened_cage
from cagekit.view.scene import bodies

COUNT = size(60, 150)


def number(rng: random.Random, usual: float) -> float:
    """Mostly near the usual, now and then far off."""
    kind = rng.random()
    if kind < 0.75:
        return usual * rng.uniform(0.7, 1.4)
    if kind < 0.92:
        return usual * rng.uniform(0.05, 8.0)
    return rng.choice([0.0, -usual, 1e-6, 1e5, usual * 50])


def bracket(rng: random.Random) -> dict[str, Any]:
    usual = {
        "thickness": 5.0, "pin_offset": 28.0, "hole": 10.5, "sleeve_od": 16.0, "sleeve_bore": 10.2,
        "sleeve_stand": 0.5, "spacer": 1.0, "ear": 16.5, "overlap": 50.0, "ligament": 6.0,
        "clearance": 1.0, "stop_gap": 0.2, "reach": 41.0, "cup_wall": 3.0, "cup_overlap": 30.0,
        "fold_radius": 5.0, "corner_radius": 6.0,
    }  # fmt: skip
    chosen = rng.sample(sorted(usual), rng.randint(0, 6))
    out: dict[str, Any] = {n: number(rng, usual[n]) for n in chosen}
    out["design"] = rng.choice(["saddle", "cheeks"])
    out["pin_size"] = rng.choice(["M8", "M10", "M12", "3/8", "1/2", None])
    out["pin"] = rng.choice(["bolt", "quick-release", None])
    out["cup"] = rng.choice(["latch", "none", None])
    return out


def case(seed: int) -> tuple[Member, dict[str, Any], dict[str, Any]]:
    rng = random.Random(seed)
    od = number(rng, 42.0)
    points = [(0.0, 650.0, 380.0), (number(rng, 1150.0), 610.0, number(rng, 300.0))]
    if rng.random() < 0.3:
        points.insert(1, (500.0, number(rng, 700.0), 350.0))
    tube = Tube(od=od, wall=od / 15, material="e235-n")
    path = CentreLine.from_polyline(points, 120.0, owner="door_bar_left")
    cuts = sorted(number(rng, 160.0) for _ in "ab")
    swing = Swing(
        hinge_end=rng.choice("ab"),  # type: ignore[arg-type]
        hinge_cut=path.length - cuts[0],
        latch_cut=cuts[1],
    )
    if swing.hinge_end == "a":
        swing = Swing(hinge_end="a", hinge_cut=swing.latch_cut, latch_cut=swing.hinge_cut)
    member = Member(
        id="door_bar_left", role="door_bar", side="left", tube=tube, path=path, swing=swing
    )
    bar = {
        "cut_gap": number(rng, 2.0),
        "pin_tilt": rng.uniform(-90, 90),
        "open_angle": rng.uniform(8, 170),
    }
    return member, bar, bracket(rng)


@pytest.mark.parametrize("block", range(5))
def test_made_whole_or_refused_in_words(block: int) -> None:
    made = 0
    for seed in range(block * COUNT // 5, (block + 1) * COUNT // 5):
        try:
            member, bar, fields = case(seed)
            how = DoorBarEntry.model_validate({"kind": "door_bar", "id": "door_bar_left", **bar})
            entry = SwingBracketEntry.model_validate({"kind": "swing_bracket", **fields})
            d = divide(member, how, (entry,), None, "mm")
            cage = Cage("x", d.pieces, plates=d.plates, doors=[d.door], hardware=d.hardware)
            swept = sweep(cage, None, d.door)
            opened = opened_cage(cage, {d.door.bar: max(swept.full, 0.01)})
            volumes = [opened.volume(i) for i in d.door.pieces]
        except (CagekitError, ValidationError):
            continue
        made += 1
        assert min(volumes) > 0
        assert all(p.volume > 0 for p in (*d.plates, *d.hardware))
        assert np.isfinite([c.gap for c in swept.closest]).all()
        assert bodies(opened)
    assert made > 2

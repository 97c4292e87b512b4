"""Box feet and plate outriggers in the papers: put together, set, welded to the car, not marked."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from cagekit.design import Design
from cagekit.inputs.presets import shipped_root
from cagekit.plates.in_car import ground_of, rooms_in_car

BOXES = """
[[plate]]
kind = "floor_plate"
at = "rear_foot"
preset = "plinth-2in"

[[plate]]
kind = "outrigger_box"
at = "front_foot"
width = 3
"""


@pytest.fixture(scope="module")
def design(tmp_path_factory: pytest.TempPathFactory) -> Design:
    text = (shipped_root() / "builds/sprint-wagon.toml").read_text("utf-8")
    # the front feet stand on boxes in place of their floor plates
    before, _, after = text.partition('[[plate]]\nkind = "floor_plate"\nat = "front_foot"')
    text = before + after[after.index("# within reach") :]
    path: Path = tmp_path_factory.mktemp("boxes") / "mine.toml"
    path.write_text(text + BOXES)
    return Design.load(str(path))


def test_walls_and_base_touch_no_tube_and_are_marked_on_none(design: Design) -> None:
    """The foot stands on the top alone: a wall ends a plate's thickness below it."""
    out = design.setting_out
    boxes = {p.id: p for p in design.fitted.plates if p.box}
    assert len(boxes) == 24
    assert not {m.plate for m in out.fixings} & boxes.keys()
    told = {p.plate for p in out.plates} & boxes.keys()
    assert told == {i for i, p in boxes.items() if p.kind in ("box_top", "box_base")}


def test_the_order_puts_them_together_and_welds_them_down(design: Design) -> None:
    words = [t for s in design.steps for t in s.text if "Put the box" in t or "put the box" in t]
    assert len(words) == 2
    plinth, outrigger = sorted(words, key=lambda t: "sill" in t)
    assert plinth.startswith("Rear brace left B, rear brace right B: ")
    assert "its base to the frame" in plinth
    assert outrigger.startswith("A-pillar bar left B, A-pillar bar right B: ")
    assert "tack both its ends" in outrigger
    (last,) = [s for s in design.steps if s.title.startswith("Feet and plates")]
    (cut,) = [t for s in design.steps for t in s.text if "cut it out" in t]
    (fit,) = [s for s in design.steps if cut in s.text]
    assert "a_pillar_bar_left" in fit.members
    assert fit.text.index(cut) < fit.text.index(outrigger), "the floor is open when a box goes in"
    assert cut.count("3 in by") == 2
    assert any(t.startswith("Weld outrigger box left") and "sill" in t for t in last.text)
    for name in ("outrigger box left", "foot of rear brace right B"):
        assert sum(t.count(f"{name},") + t.count(f"{name} to") for t in last.text) == 1
    assert {p.id for p in design.fitted.plates if p.box} <= set(last.finish)


def test_every_box_has_its_weld_to_the_car(design: Design) -> None:
    """A plate outrigger by both ends, all round them; a box foot all round its base."""
    rows = [r for r in design.weld_rows if r.kind == "plate to car"]
    inch = 25.4
    for side in ("left", "right"):
        own = [r for r in rows if r.what.startswith(f"outrigger_box_{side}")]
        lengths = {r.what.rpartition("_")[2]: r.length for r in own}
        high = 50 - 2 * design.build.foot_plate
        ends = {"top": 2 * 3 * inch, "base": 2 * 3 * inch, "front": 2 * high, "rear": 2 * high}
        assert lengths == pytest.approx(ends)
        (base,) = [r for r in rows if r.what == f"foot_rear_brace_{side}_b_base"]
        plate = next(p for p in design.fitted.plates if p.id == base.what)
        round_ = np.linalg.norm(np.diff(plate.outline.sampled(0.2), axis=0), axis=1).sum()
        assert base.length == pytest.approx(round_, rel=0.01)


def test_a_plate_outrigger_stands_in_an_opening_of_the_floor(design: Design) -> None:
    """What lies below the floor's level cannot be shifted off it: no cure would cure that."""
    own = [p for p in design.fitted.plates if p.outrigger]
    assert len(own) == 12
    assert all(float(p.car_points(p.base[None])[0][2]) < -2.75 * 25.4 for p in own)
    rooms = rooms_in_car(design.fitted, own, ground_of(design.fitted.kept, design.build.car))
    assert not [room for room in rooms if room is not None and "floor" in room[1].name]

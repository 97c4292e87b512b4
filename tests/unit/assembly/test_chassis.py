"""A cage on the car's own frame of tubes: coped to it, and none of it made."""

from __future__ import annotations

import json
from collections.abc import Sequence
from importlib.resources import files
from math import asin, hypot
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from chassis_car import BUILD, CAR, loaded

from cagekit.assembly.assemble import assemble
from cagekit.cage.collisions import overlaps
from cagekit.checks.registry import run
from cagekit.design import Design
from cagekit.errors import InputError
from cagekit.fit.readings import helmet_to_nearest
from cagekit.fit.view_angles import pillar_view
from cagekit.page.cards import cards
from cagekit.page.data import page_data
from cagekit.structure.model import model_of
from cagekit.view.driver_views import fit_sheet
from cagekit.view.nearest import ViewFrame
from cagekit.view.raster import Render, render_both
from cagekit.view.scene import SceneBody, bodies, frame_bodies
from cagekit.writers.csv import setting_out_table
from cagekit.writers.json import cage_dict

SCHEMA = json.loads((files("cagekit") / "data" / "cage.schema.json").read_text("utf-8"))
RAIL = np.array([-900.0, 190.0, 85.0]), np.array([1300.0, 380.0, 40.0])
WAY = (RAIL[1] - RAIL[0]) / np.linalg.norm(RAIL[1] - RAIL[0])


@pytest.fixture(scope="module")
def design(tmp_path_factory: pytest.TempPathFactory) -> Design:
    return Design(loaded(tmp_path_factory.mktemp("chassis")))


def test_feet_are_coped_to_the_frame_in_its_axis(design: Design) -> None:
    cage = design.cage
    hoop, brace = cage.member("main_hoop"), cage.member("rear_brace_left")
    assert hoop.a.parents == ("waist_rail_left", "hoop_cross")
    assert hoop.b.parents == ("waist_rail_right", "hoop_cross")
    assert brace.b.parents == ("waist_rail_left",)
    for node in (hoop.path.start, brace.path.end):
        out = node - RAIL[0]
        assert np.linalg.norm(out - (out @ WAY) * WAY) < 1e-9
    # what is left of the tube touches one of both tubes all round and is inside of neither
    cut = cage.cut("main_hoop", "a")
    edge = cut.points(np.linspace(0, 2 * np.pi, 90), cut.outer_radius)
    gaps = np.array([
        cage.member(p).path.distances(edge) - cage.member(p).tube.outer_radius
        for p in hoop.a.parents
    ])  # fmt: skip
    assert np.abs(gaps.min(axis=0)).max() < 0.01
    assert (np.abs(gaps) < 0.01).any(axis=1).all()


def test_nothing_of_the_frame_is_made(design: Design) -> None:
    cage = design.cage
    frame = {"waist_rail_left", "waist_rail_right", "floor_rail_left", "floor_rail_right"}
    assert set(cage.chassis) == {*frame, "hoop_cross"}
    assert not set(cage.chassis) & set(cage.members)
    assert cage.plates == ()
    assert not set(cage.chassis) & {b.name for b in bodies(cage)}
    assert {b.name for b in frame_bodies(cage)} == set(cage.chassis)
    data = cage_dict(cage)
    jsonschema.validate(data, SCHEMA)
    assert [t["id"] for t in data["chassis"]] == list(cage.chassis)
    assert cage.mass_total() == pytest.approx(sum(cage.mass(m) for m in cage.members))


def test_setting_out_finds_every_node_by_tape_along_the_frame(design: Design) -> None:
    """From the start that the car sheet gives, so far along the axis: there the node is."""
    rows = list(setting_out_table(design.fitted, design.setting_out))
    found = {(r["on"], r["what"]): r for r in rows if r["kind"] == "branch"}
    for what in ("main_hoop", "rear_brace_left"):
        row = found["waist_rail_left", what]
        node = RAIL[0] + float(row["from_a_mm"]) * WAY
        assert node == pytest.approx([row["x_mm"], row["y_mm"], row["z_mm"]], abs=0.01)
        # both come down on its top
        assert min(float(row["clock_deg"]), 360 - float(row["clock_deg"])) < 5
    feet = {(r["what"], r["end"]): r["note"] for r in rows if r["kind"] == "foot"}
    assert feet["main_hoop", "b"] == "on waist rail right"


def test_work_and_welds_name_the_frame(design: Design) -> None:
    steps = design.steps
    text = " ".join(t for s in steps for t in s.text)
    assert "Main hoop A on waist rail left and hoop cross" in text
    on_frame = [j.id for j in design.fitted.joints if set(j.parents) & set(design.cage.chassis)]
    assert len(on_frame) == 4
    for joint in on_frame:
        assert sum(joint in s.tack for s in steps) == 1
        assert sum(joint in s.weld for s in steps) == 1


def test_the_page_shows_the_frame_and_what_is_coped_to_it(design: Design) -> None:
    shown = {b["id"]: b["group"] for b in page_data(design)["bodies"]}
    assert all(shown[name] == "car" for name in design.cage.chassis)
    rows = dict(cards(design)["main_hoop"]["rows"])
    assert rows["End A"].startswith("coped to waist rail left and hoop cross")


def test_the_frame_holds_the_cage_as_ground(design: Design) -> None:
    model = model_of(design.cage)
    assert {(f.member, f.end, f.spot) for f in model.feet} == {
        ("main_hoop", "a", "waist_rail_left"), ("main_hoop", "b", "waist_rail_right"),
        ("rear_brace_left", "b", "waist_rail_left"), ("rear_brace_right", "b", "waist_rail_right"),
    }  # fmt: skip
    assert model.frame.fixed.any(axis=1).sum() == 4
    assert not set(model.member) & set(design.cage.chassis)


def test_a_tube_through_the_frame_is_told(tmp_path: Path) -> None:
    through = """
[[strut]]
id = "stay"
from = "on main_hoop.left at height 300"
to = "at 300, 250, -100"
"""
    design = Design(loaded(tmp_path, build=BUILD + through))
    assert ("stay", "floor_rail_left") in {(o.a.id, o.b.id) for o in overlaps(design.cage)}
    told = next(f for f in run(design, ["geometry"]) if f.code == "cage/collision")
    # the car's own tube is not made: no entry of it can say `split_by`
    assert "split_by" not in told.cure
    assert "Move stay clear, or end it on floor_rail_left, which is the car's own" in told.cure


def test_the_fit_picture_draws_what_room_is_measured_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    design = Design(loaded(tmp_path))
    drawn: list[str] = []

    def listed(
        tubes: Sequence[SceneBody], persons: Sequence[SceneBody], frame: ViewFrame, **_: object
    ) -> tuple[Render, Render]:
        drawn.extend(b.name for b in tubes)
        return render_both(tubes[:1], persons[:1], frame, paper=(255, 255, 255))

    monkeypatch.setattr("cagekit.view.driver_views.render_both", listed)
    fit_sheet(design.cage, design.cockpit)
    assert {"waist_rail_left", "floor_rail_right", "hoop_cross"} <= set(drawn)


def test_a_strut_hangs_on_the_frame_by_name(tmp_path: Path) -> None:
    strut = """
[[strut]]
id = "stay"
from = "on main_hoop.left at height 300"
to = "on waist_rail_left at x 600"
"""
    member = assemble(loaded(tmp_path, build=BUILD + strut)).member("stay")
    assert member.b.parents == ("waist_rail_left",)
    assert member.path.end[0] == pytest.approx(600)


@pytest.mark.parametrize(
    ("table", "at"),
    [
        ('[[plate]]\nkind = "tab"\nat = "{}"', "on waist_rail_left at x 600"),
        ('[[plate]]\nkind = "tab"\nat = "{}"', "on waist_rail.right at x 600"),
        ('[[joint]]\nat = "{}"', "on hoop_cross at middle"),
    ],
)
def test_what_only_a_tube_of_the_cage_can_carry_is_refused_on_the_frame(
    tmp_path: Path, table: str, at: str
) -> None:
    with pytest.raises(InputError, match="is a tube of the car's own frame") as told:
        assemble(loaded(tmp_path, build=f"{BUILD}\n{table.format(at)}\n"))
    assert "Did you mean" not in str(told.value)


WRONG = [
    ('tube = "waist_rail"', 'tube = "waste_rail"', "Did you mean"),
    ("point = [0, 268, 60]", "point = [0, 310, 60]", "from the axis of waist_rail"),
    ("start = [-900, 250", "start = [-900, -250", "negative y"),
    ('name = "floor_rail"', 'name = "waist_rail"', "two tubes are called"),
    ('tube = "waist_rail"', 'tube = "waist_rail"\nsheet = 2', "leave out 'sheet'"),
    ("wall = 2.6", "wall = 26", "thinner than half"),
    ("end = [1300, 250, -40]", "end = [-900, 250, -40]", "are one point"),
    ("od = 30", 'od = 30\nmaterial = "cheese"', "cheese"),
]


@pytest.mark.parametrize(("old", "new", "words"), WRONG)
def test_a_frame_that_cannot_be_is_refused_with_its_field(
    tmp_path: Path, old: str, new: str, words: str
) -> None:
    assert old in CAR
    with pytest.raises(InputError, match=words) as told:
        loaded(tmp_path, car=CAR.replace(old, new, 1))
    assert "car.toml:" in str(told.value)


def test_a_member_may_not_take_the_name_of_a_tube_of_the_frame(tmp_path: Path) -> None:
    strut = '[[strut]]\nid = "hoop_cross"\nfrom = "at 0, 0, 300"\nto = "at 300, 0, 300"\n'
    with pytest.raises(InputError, match="own frame has this name"):
        assemble(loaded(tmp_path, build=BUILD + strut))


PILLAR = """
[[chassis.tube]]
name = "screen_post"
side = "both"
start = [1000, 300, 300]
end = [800, 260, 1100]
od = 100
wall = 3
"""
BEFORE_HEAD = """
[[chassis.tube]]
name = "old_header_left"
start = [470, 150, 750]
end = [470, -150, 750]
od = 38
wall = 2.5
"""


def test_the_frame_counts_in_the_room_of_people_and_in_their_sight(tmp_path: Path) -> None:
    bare = Design(loaded(tmp_path)).cockpit
    pads = BUILD + '\n[[padding]]\nmembers = ["old_header_left"]\nthickness = 20\n'
    framed = Design(loaded(tmp_path, car=CAR + PILLAR + BEFORE_HEAD, build=pads)).cockpit
    who = framed.occupants[0]
    gap = framed.gaps(who, "helmet")["old_header_left"]
    assert helmet_to_nearest(framed, who).members == ("old_header_left",)
    assert helmet_to_nearest(bare, who).members == ("hoop_diagonal",)
    # the helmet's surface to the padding, 20 mm nearer than to the steel
    (gaps,) = framed.gaps_to([("helmet", who.parts()["helmet"])])
    steel = gaps["old_header_left"]
    assert steel.gap - gap.gap == pytest.approx(20.0)
    assert {"waist_rail_left", "floor_rail_right", "hoop_cross"} <= set(framed.members)
    view = pillar_view(framed, who, "left")
    assert view is not None
    # the post is the car's own: nothing is added by the cage
    assert (view.alone, view.added) == (view.total, 0.0)
    across = 2 * asin(50 / hypot(980 - who.eye[0], 290 - who.eye[1]))
    assert 0.0 < view.alone < across
    assert pillar_view(bare, who, "left") is None


def test_the_side_of_a_frame_tube_is_where_it_lies(tmp_path: Path) -> None:
    tubes = Design(loaded(tmp_path, car=CAR + BEFORE_HEAD)).cage.chassis
    sides = {i: tubes[i].side for i in ("waist_rail_left", "floor_rail_right", "hoop_cross")}
    assert sides == {
        "waist_rail_left": "left", "floor_rail_right": "right", "hoop_cross": "centre"
    }  # fmt: skip
    assert tubes["old_header_left"].side == "centre"
    signed = BEFORE_HEAD.replace("[470, -150", "[600, 200").replace("_left", "_right")
    own = Design(loaded(tmp_path, car=CAR + signed)).cage.chassis
    assert own["old_header_right"].side == "left"


def test_room_to_the_cars_own_tube_is_cured_by_the_seat(tmp_path: Path) -> None:
    """Nobody moves a rail of the car: the cure speaks of what can be moved."""
    wide = CAR.replace("half_width = 200", "half_width = 260").replace(
        "hip = [470, 0, 0]", "hip = [470, 0, 60]"
    )
    made = Design(loaded(tmp_path, wide))
    bad = [f for f in run(made, groups=["fit"]) if f.cure and f.evidence.members]
    rails = [f for f in bad if f.evidence.members[0] in made.cage.chassis]
    assert rails
    for f in rails:
        assert "the car's own tube; move, lower or change the seat" in f.cure
        assert "the bar" not in f.cure


@pytest.mark.parametrize(("z", "among"), [(-55.1, False), (-54.9, True)])
def test_a_rail_under_the_floor_is_in_nobodys_way(tmp_path: Path, z: float, among: bool) -> None:
    rail = f"""
[[chassis.tube]]
name = "keel"
start = [-900, 0, {z - 5}]
end = [1300, 0, {z}]
od = 30
wall = 2.0
"""
    design = Design(loaded(tmp_path, car=CAR + rail))
    assert ("keel" in design.cockpit.members) is among
    assert "keel" in design.cage.tubes

"""Whatever a build file says acts, or is refused: things that were once accepted and ignored."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from cagekit.assembly.assemble import assemble, members_only
from cagekit.cage.cage import Cage
from cagekit.checks import Status, run
from cagekit.design import Design
from cagekit.design.makeable import makeable
from cagekit.errors import GeometryError, InputError
from cagekit.inputs.car import Tunnel
from cagekit.inputs.presets import shipped_root
from cagekit.inputs.resolve import load_build


def written(tmp_path: Path, demo: str, *more: str, at_end: str = "") -> Path:
    """A demo's build file with lines in front of its tables and some at its end."""
    text = (shipped_root() / "builds" / f"{demo}.toml").read_text("utf-8")
    head, bracket, tail = text.partition("\n[")
    path = tmp_path / f"{demo}.toml"
    path.write_text("\n".join([head, *more]) + bracket + tail + "\n" + at_end, "utf-8")
    return path


def test_a_tube_for_a_role_that_nobody_has_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, "sprint-wagon", at_end='[tubes]\nmain_hop = "cds-45x2.5"\n')
    with pytest.raises(InputError, match=r"toml:\d+ \[tubes\] main_hop .*'main_hoop'"):
        load_build(str(path))


def test_a_key_swallowed_by_the_tubes_is_told(tmp_path: Path) -> None:
    text = '[tubes]\nmain_hoop = "cds-45x2.5"\nfoot_plate = "5 mm"\n'
    path = written(tmp_path, "sprint-wagon", at_end=text)
    with pytest.raises(InputError, match="Move foot_plate above the first"):
        load_build(str(path))


def test_the_side_of_a_layouts_member_is_not_ignored(tmp_path: Path) -> None:
    path = written(tmp_path, "sprint-wagon", at_end='[members.sill_bar]\nside = "left"\n')
    with pytest.raises(InputError, match=r"\[members.sill_bar\] side"):
        load_build(str(path))


@pytest.mark.parametrize(
    ("demo", "table", "field", "why"),
    [
        ("sprint-wagon", "door_bar", "low_rear = 5", "single bar has no lower node"),
        ("gravel-hatch", "door_bar", "cut_gap = 3", "does not swing out"),
        ("gravel-hatch", "door_bar_left", 'hinge_end = "rear"', "does not swing out"),
        ("sprint-wagon", "harness_bar", "below_shoulder = 4", "`height` says already"),
        ("track-roadster", "main_hoop", "roof_gap = 20", "`height` says already"),
        ("track-roadster", "main_hoop", "half_width_belt = 500", "legs are straight"),
        ("track-roadster", "main_hoop", "gap = 30", "own sizes say already"),
        ("sprint-wagon", "rear_brace", "bend_radius = 6", "the tube is straight"),
    ],
)
def test_a_field_that_others_make_idle_is_refused(
    tmp_path: Path, demo: str, table: str, field: str, why: str
) -> None:
    text = written(tmp_path, demo).read_text("utf-8")
    head = f"[members.{table}]\n"
    text = text.replace(head, f"{head}{field}\n") if head in text else f"{text}\n{head}{field}\n"
    path = tmp_path / f"{demo}.toml"
    path.write_text(text, "utf-8")
    line = text.splitlines().index(field) + 1
    name = field.split()[0]
    with pytest.raises(InputError, match=rf"toml:{line} \[members.{table}\] {name} .*{why}"):
        load_build(str(path))


HARNESS = """[[add]]
kind = "harness_bar"
id = "second_bar"
from = "on main_hoop.left at height 500"
to = "on main_hoop.right at height 500"
"""


def test_a_field_of_an_entry_that_its_places_make_idle_is_refused(tmp_path: Path) -> None:
    text = written(tmp_path, "track-roadster", at_end=f"{HARNESS}height = 400\n").read_text("utf-8")
    line = text.splitlines().index("height = 400") + 1
    said = rf"toml:{line} \[add entry 1\] height = 400: `from` and `to` say already"
    with pytest.raises(InputError, match=said):
        load_build(str(tmp_path / "track-roadster.toml"))
    written(tmp_path, "track-roadster", at_end=HARNESS.replace("to =", "height = 500 #"))
    assert "second_bar" in {e.id for e in load_build(str(tmp_path / "track-roadster.toml")).entries}


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('upper = "driver"', 'upper = "driver"\nbend_radius = 90', "bend_radius = 90: the tube is"),
        (
            'upper = "driver"',
            'from = "on main_hoop.{side} at height 300"',
            "has no side to fill in",
        ),
    ],
)
def test_a_field_of_a_layout_that_nothing_is_made_of_is_refused(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    text = (shipped_root() / "layouts/four-point.toml").read_text("utf-8").replace(old, new, 1)
    (tmp_path / "mine.toml").write_text(text, "utf-8")
    path = written(tmp_path, "track-roadster")
    build = path.read_text("utf-8").replace('layout = "four-point"', 'layout = "mine.toml"')
    path.write_text(build, "utf-8")
    line = text.splitlines().index(new.splitlines()[-1]) + 1
    with pytest.raises(InputError, match=rf"mine.toml:{line} \[member entry 2\] .*{said}"):
        load_build(str(path))


PLATE = '[[plate]]\nkind = "floor_plate"\nat = "{}"\n{}\n'


@pytest.mark.parametrize(
    ("field", "why", "switch"),
    [
        ("plinth_height = 3", "is no plinth", 'style = "plinth"'),
        ("bolts = 2", "is not bolted", 'fix = "bolted"'),
        ("plug_diameter = 0.3", "has no plug welds", "plugs = 4"),
        ("edge = 0.9", "has no bolts and no plug welds", "plugs = 4"),
        ("front_angle = 40", "has no front flange", "front_flange = 2"),
    ],
)
def test_a_field_of_a_floor_plate_that_its_feet_do_not_read_is_refused(
    tmp_path: Path, field: str, why: str, switch: str
) -> None:
    """Whatever other feet have: what a later entry switches on for one of its own is read."""
    said, name = PLATE.format("rear_foot", field), field.split()[0]
    on = {at: PLATE.format(at, switch) for at in ("front_foot", "rear_foot", "left.rear_foot")}

    def cage(more: str) -> Cage:
        return assemble(load_build(str(written(tmp_path, "sprint-wagon", at_end=said + more))))

    for elsewhere in ("", on["front_foot"]):
        match = rf"toml:\d+ \[plate entry 2\] {field}: each plate there {why}"
        with pytest.raises(InputError, match=match):
            cage(elsewhere)
    assert not any(name in note for note in cage(on["rear_foot"]).notes)
    idle = f"`{name}` of plate entry 2 does nothing at rear brace right B: the plate there {why}."
    assert idle in cage(on["left.rear_foot"]).notes


def test_a_field_of_a_floor_plate_in_a_layout_is_refused_for_the_layout_alone(
    tmp_path: Path,
) -> None:
    """A build that wants another plate there leaves nothing of it, and that is its right."""
    layout = (shipped_root() / "layouts/four-point.toml").read_text("utf-8")

    def cage(of_layout: str, of_build: str) -> Cage:
        said = PLATE.format("main_foot", of_layout)
        (tmp_path / "mine.toml").write_text(f"{layout}\n{said}", "utf-8")
        path = written(tmp_path, "track-roadster", at_end=PLATE.format("main_foot", of_build))
        text = path.read_text("utf-8").replace('layout = "four-point"', 'layout = "mine.toml"')
        path.write_text(text, "utf-8")
        return assemble(load_build(str(path)))

    match = r"mine\.toml:\d+ \[plate entry 1\] plugs = 4: each plate there is bolted"
    with pytest.raises(InputError, match=match):
        cage('fix = "bolted"\nplugs = 4', "width = 140")
    assert cage('fix = "welded"\nplugs = 4', 'fix = "bolted"').plates


@pytest.mark.parametrize("at", ["right.main_foot", "rear_brace_right", "main_hoop end b"])
@pytest.mark.parametrize("side", ["left", "both"])
def test_a_side_on_which_a_foot_is_not_is_refused(tmp_path: Path, at: str, side: str) -> None:
    for kind, size in (("floor_plate", "thickness = 5"), ("outrigger_box", "inner_y = 300")):
        plate = PLATE.replace("floor_plate", kind).format(at, f'side = "{side}"\n{size}')
        path = written(tmp_path, "track-roadster", at_end=plate)
        line = path.read_text("utf-8").splitlines().index(f'side = "{side}"') + 1
        with pytest.raises(InputError, match=rf"toml:{line} .* side: {at} is on the right only"):
            _ = Design.load(str(path)).cage


@pytest.mark.parametrize(
    ("fields", "name", "why"),
    [
        ('fix = "bolted"\nplugs = 4', "plugs", "is bolted"),
        ('fix = "bolted"\nbacking = false\nbacking_thickness = 0.1', "backing_thickness", "below"),
        ('style = "plinth"\nfront_flange = 2', "front_flange", "is a plinth"),
        ('style = "plinth"\nplugs = 4', "plugs", "is a plinth"),
        ('style = "flat"\nfold_radius = 0.2', "fold_radius", "has no folds"),
    ],
)
def test_a_field_of_a_floor_plate_that_its_own_others_make_idle_is_refused(
    tmp_path: Path, fields: str, name: str, why: str
) -> None:
    path = written(tmp_path, "sprint-wagon", at_end=PLATE.format("rear_foot", fields))
    with pytest.raises(InputError, match=rf"\[plate entry 2\] {name} .*{why}"):
        assemble(load_build(str(path)))
    # none of it, in so many words, is no slip
    none = 'style = "plinth"\nplugs = 0\nfront_flange = 0'
    assemble(
        load_build(str(written(tmp_path, "sprint-wagon", at_end=PLATE.format("rear_foot", none))))
    )


def test_a_tab_has_no_corners_to_round(tmp_path: Path) -> None:
    tab = '[[plate]]\nkind = "tab"\nat = "on harness_bar at y 10"\ncorner_radius = 0.1\n'
    with pytest.raises(InputError, match=r"corner_radius .*is not a field here"):
        load_build(str(written(tmp_path, "sprint-wagon", at_end=tab)))


def test_a_field_acts_where_one_of_its_members_reads_it(tmp_path: Path) -> None:
    """Said of both sides, or switched off in so many words, it may stand there."""
    one = "[members.door_bar_left]\nswing_out = false\n\n[members.door_bar]\ncut_gap = 0.1\n"
    source = (shipped_root() / "builds" / "sprint-wagon.toml").read_text("utf-8")
    path = tmp_path / "one.toml"
    path.write_text(source.replace("[members.door_bar]\n", one), "utf-8")
    load_build(str(path))
    rest = "[members.door_bar]\nswing_out = false\ncut_gap = 0.1\n"
    path.write_text(source.replace("[members.door_bar]\n", rest), "utf-8")
    load_build(str(path))


def test_the_places_of_an_outrigger_act(tmp_path: Path) -> None:
    text = '[members.outrigger_left]\nfrom = "at 0, 8, -4.5"\n'
    moved = members_only(load_build(str(written(tmp_path, "sprint-wagon", at_end=text))))
    member = moved.member("outrigger_left")
    assert np.allclose(member.path.start, np.array([0, 8, -4.5]) * 25.4)
    assert np.allclose(member.path.end, members_only(load_build("sprint-wagon")).member(
        "outrigger_left").path.end)  # fmt: skip


def test_a_tube_that_spans_the_car_gives_each_side_its_own_half(tmp_path: Path) -> None:
    text = '[members.door_bar]\nfront_member = "front_hoop"\n'
    path = tmp_path / "b.toml"
    source = (shipped_root() / "builds" / "gravel-hatch.toml").read_text("utf-8")
    path.write_text(source.replace("[members.door_bar]\n", text), "utf-8")
    cage = members_only(load_build(str(path)))
    for side, sign in (("left", 1), ("right", -1)):
        bar = cage.member(f"door_bar_{side}")
        assert sign * bar.path.end[1] > 300


@pytest.mark.parametrize(
    ("start", "end"),
    [
        ("on half_hoop_left at height 500", "on half_hoop_right at height 500"),
        ("on main_hoop at y 300", "car left rear_foot"),
        ("on main_hoop.left at height 500", "at -700, 0, 300"),
    ],
)
def test_one_place_for_both_sides_is_told_with_its_line(
    tmp_path: Path, start: str, end: str
) -> None:
    strut = f'[[strut]]\nid = "own"\nside = "both"\nfrom = "{start}"\nto = "{end}"\n'
    path = written(tmp_path, "hillclimb-coupe", at_end=strut)
    with pytest.raises(InputError, match=r"side = \"both\": both tubes would stand in one place"):
        load_build(str(path))


@pytest.mark.parametrize(
    ("table", "end"),
    [
        ('to = "at -900, 430, 500"\nvia = [[-700, 420, 650]]', -900.0),
        ('to = "at -900, 430, 500"', -900.0),
        ('to = "car {side} rear_foot"\n[members.stay]\nto = "at -950, 430, 500"', -950.0),
    ],
)
def test_a_point_of_a_strut_on_both_sides_is_mirrored_as_its_corners_are(
    tmp_path: Path, table: str, end: float
) -> None:
    strut = '[[strut]]\nid = "stay"\nside = "both"\n'
    strut += f'from = "on main_hoop.{{side}} at height 700"\n{table}\n'
    cage = members_only(load_build(str(written(tmp_path, "hillclimb-coupe", at_end=strut))))
    for side, y in (("left", 430.0), ("right", -430.0)):
        assert tuple(cage.member(f"stay_{side}").path.end) == (end, y, 500.0)


def test_a_point_of_a_strut_on_the_right_alone_is_as_written(tmp_path: Path) -> None:
    strut = '[[strut]]\nid = "stay"\nside = "right"\nfrom = "on main_hoop.right at height 700"\n'
    path = written(tmp_path, "hillclimb-coupe", at_end=strut + 'to = "at -900, -430, 500"\n')
    assert members_only(load_build(str(path))).member("stay_right").path.end[1] == -430.0


@pytest.mark.parametrize("start", ["on main_hoop at height 500", "on half_hoop_{side} at middle"])
def test_a_place_that_each_side_has_is_one_of_its_own(tmp_path: Path, start: str) -> None:
    to = "car {side} rear_foot" if "main_hoop" not in start else "on rear_brace_left at middle"
    strut = f'[[strut]]\nid = "own"\nside = "both"\nfrom = "{start}"\nto = "{to}"\n'
    cage = members_only(load_build(str(written(tmp_path, "hillclimb-coupe", at_end=strut))))
    left, right = (cage.member(f"own_{side}").path.start for side in ("left", "right"))
    assert np.allclose(left, right * [1, -1, 1], atol=60)
    assert left[1] > 300


def test_a_foot_on_an_outrigger_that_is_not_there_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, "sprint-wagon", at_end="[members.outrigger]\nomit = true\n")
    with pytest.raises(InputError, match=r"main_foot.surface .*outrigger"):
        members_only(load_build(str(path)))


def test_a_box_that_cannot_be_made_is_told_not_the_foot_that_stood_on_it(tmp_path: Path) -> None:
    text = "[members.outrigger]\nomit = true\n"
    box = '[[plate]]\nkind = "outrigger_box"\nat = "main_foot"\ninner_y = 25\n'
    design = Design(load_build(str(written(tmp_path, "sprint-wagon", at_end=text + box))))
    with pytest.raises(GeometryError, match="does not stand on a box from"):
        makeable(design)


def _halo_on(tmp_path: Path, name: str, *more: str) -> Path:
    path = tmp_path / f"{name}.toml"
    head = (
        'kind = "build"',
        f'name = "{name}"',
        'car = "gravel-hatch"',
        'layout = "halo-a-pillar"',
        'tube = "cds-40x2.0"',
        'tooling = "metric-shop"',
    )
    path.write_text("\n".join((*head, *more)) + "\n", "utf-8")
    return path


@pytest.mark.parametrize(
    ("more", "made", "told"),
    [
        ((), set(), "outrigger_left and outrigger_right: left out"),
        (("[members.outrigger]", "omit = true"), set(), ""),
        (("[members.outrigger]", "omit = false"), {"left", "right"}, ""),
        (("[members.outrigger_left]", "below = 5"), {"left"}, "[members.outrigger_right], omit"),
        (
            ("[[add]]", 'kind = "outrigger"', 'id = "own_left"', 'side = "left"'),
            {"own"},
            "left out",
        ),
    ],
)
def test_a_layouts_outriggers_are_for_feet_that_stand_on_them(
    tmp_path: Path, more: tuple[str, ...], made: set[str], told: str
) -> None:
    """The hatch's main feet stand on its floor."""
    build = load_build(str(_halo_on(tmp_path, "loop", *more)))
    ids = {e.id for e in build.entries if e.kind == "outrigger"}
    names = {"left": "outrigger_left", "right": "outrigger_right", "own": "own_left"}
    assert ids == {names[m] for m in made}
    remarks = [r for r in build.remarks if "outrigger" in r]
    assert bool(remarks) is bool(told)
    assert told in "".join(remarks)
    members_only(build)


def test_the_wagons_outriggers_stay() -> None:
    ids = {e.id for e in load_build("sprint-wagon").entries}
    assert {"outrigger_left", "outrigger_right"} <= ids


def test_the_second_bar_of_an_x_that_is_none_is_dropped_from_what_cuts_the_harness_bar(
    tmp_path: Path,
) -> None:
    """The layout names it; the build makes one diagonal of the two."""
    source = (shipped_root() / "builds" / "gravel-hatch.toml").read_text("utf-8")
    head = source.partition("# gussets in")[0]
    path = tmp_path / "gravel-hatch.toml"
    path.write_text(head + '[members.hoop_diagonal]\nstyle = "single"\n', "utf-8")
    entries = {e.id: e for e in load_build(str(path)).entries}
    assert entries["harness_bar"].split_by == ("hoop_diagonal",)
    path.write_text(head, "utf-8")
    entries = {e.id: e for e in load_build(str(path)).entries}
    assert entries["harness_bar"].split_by == ("hoop_diagonal", "hoop_diagonal_cross")


def test_a_bar_on_each_side_is_cut_by_that_of_both_named_which_is_on_its_side(
    tmp_path: Path,
) -> None:
    table = """
[[strut]]
id = "stay"
side = "both"
from = "on main_hoop.{side} at height 250"
to = "on front_hoop.{side} at height 600"
split_by = ["door_bar_left", "door_bar_right"]
"""
    cage = members_only(load_build(str(written(tmp_path, "gravel-hatch", at_end=table))))
    for side in ("left", "right"):
        first, second = (m for m in cage.members.values() if m.bar == f"stay_{side}")
        assert first.b.parents == second.a.parents == (f"door_bar_{side}",)


def test_a_tunnel_whose_sides_are_told_needs_no_third_width() -> None:
    tunnel = Tunnel.model_validate({"half_width_left": 90, "half_width_right": 130, "top_z": 100})
    assert (tunnel.half("left"), tunnel.half("right")) == (90, 130)


def test_what_a_layout_hangs_on_one_of_several_members_goes_with_the_last_of_them(
    tmp_path: Path,
) -> None:
    """Pillar braces hang on roof rails, halo or half hoops; the build leaves its rails out."""
    source = (shipped_root() / "builds" / "gravel-hatch.toml").read_text("utf-8")
    head = source.partition("# gussets in")[0] + "[members.roof_rail]\nomit = true\n"
    path = tmp_path / "gravel-hatch.toml"
    path.write_text(head, "utf-8")
    cage = members_only(load_build(str(path)))
    assert not [m for m in cage.members.values() if m.kind == "windscreen_brace"]
    told = [n for n in cage.notes if n.startswith("windscreen_brace_")]
    assert len(told) == 2
    assert all("is left out too: it hangs on one of halo, roof_rail" in n for n in told)
    # asked for by the build: refused
    path.write_text(head + "[members.windscreen_brace_left]\nlow = 20\n", "utf-8")
    with pytest.raises(GeometryError, match="windscreen_brace_left"):
        members_only(load_build(str(path)))


@pytest.mark.parametrize("side", ["", 'side = "centre"'])
@pytest.mark.parametrize("kind", ["roof_rail", "rear_brace", "windscreen_brace", "rocker_brace"])
def test_what_is_on_one_side_has_to_say_which(tmp_path: Path, kind: str, side: str) -> None:
    """It was made on the right, or hung on a tube of the side None."""
    head = (shipped_root() / "builds" / "gravel-hatch.toml").read_text("utf-8").split("[[plate]]")
    path = tmp_path / "own.toml"
    path.write_text(f'{head[0]}[[add]]\nkind = "{kind}"\nid = "one"\n{side}\n', "utf-8")
    with pytest.raises(InputError, match=r"own\.toml:\d+ .*is on one side of the car"):
        load_build(str(path))


def test_a_node_with_a_side_needs_an_entry_with_one(tmp_path: Path) -> None:
    head = (shipped_root() / "builds" / "gravel-hatch.toml").read_text("utf-8").split("[[plate]]")
    path = tmp_path / "own.toml"
    gusset = '[[add]]\nkind = "tube_gusset"\nnode = "rear_brace_{side} end a"\n'
    path.write_text(head[0] + gusset, "utf-8")
    with pytest.raises(InputError, match=r"own\.toml:\d+ .*no side to fill in"):
        load_build(str(path))


def test_a_rocker_brace_is_lifted_by_its_own_plate_which_lies_on_the_sill(tmp_path: Path) -> None:
    table = """
[members.rocker_brace]
omit = false
[[plate]]
kind = "floor_plate"
at = "rocker"
thickness = "1/4 in"
"""
    design = Design.load(str(written(tmp_path, "sprint-wagon", at_end=table)))
    for side in ("left", "right"):
        assert design.cage.member(f"rocker_brace_{side}").path.end[2] == pytest.approx(6.35)
    judged = run(design.against(["common-practice"]), ["plates"])
    told = {f.code for f in judged if f.status in (Status.WARN, Status.FAIL)}
    assert "plate/foot-area" not in told, "no plate lies on the floor too little"

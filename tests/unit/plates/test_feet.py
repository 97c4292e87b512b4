"""Plates of whole cages: every foot gets one, entries change them, wrong entries are told."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

from cagekit.assembly.assemble import members_only
from cagekit.cage.plate import HolePurpose
from cagekit.errors import GeometryError, InputError
from cagekit.inputs.build import BuildFile
from cagekit.inputs.places import read_location
from cagekit.inputs.plate_presets import spread
from cagekit.inputs.presets import find_preset, read_toml, table_error
from cagekit.inputs.resolve import load_build, resolve
from cagekit.plates.feet import feet_of, plates_for

DEMOS = ("gravel-hatch", "hillclimb-coupe", "sprint-wagon", "track-roadster")


def changed(name, *tables):
    path = find_preset("build", name)
    data = {**read_toml(path)[0], "plate": list(tables)}
    try:
        file = BuildFile.model_validate(data, context={"units": data["units"]})
    except ValidationError as error:
        raise table_error(error, BuildFile, data, path=path, within=()) from None
    return resolve(file, path)


def made(name, *tables):
    build = changed(name, *tables)
    cage = members_only(build)
    return build, cage, plates_for(build, cage)


@pytest.mark.parametrize("name", DEMOS)
def test_every_foot_of_the_demos_stands_on_a_plate(name):
    build = load_build(name)
    cage = members_only(build)
    plates = plates_for(build, cage)
    feet = {f"{m}.{e}" for m, e in feet_of(cage) if cage.member(m).end(e).surface != "outrigger"}
    assert feet <= {e for p in plates for e in p.ends}
    assert len({p.id for p in plates}) == len(plates)
    for p in plates:
        for e in p.ends:
            member, _, end = e.partition(".")
            foot = cage.member(member).path.end_point(end)
            plane = cage.member(member).end(end).plane
            # the tube's end lies on the plate's face, and the face looks at the tube
            assert (foot - p.placement[:3, 3]) @ p.normal == pytest.approx(0, abs=1e-6)
            assert p.normal == pytest.approx(plane.normal, abs=1e-9)


def test_left_and_right_feet_mirror_each_other_on_a_symmetric_car():
    _, _, plates = made("track-roadster")
    by_id = {p.id: p for p in plates}
    a, b = by_id["foot_main_hoop_a"], by_id["foot_main_hoop_b"]
    corners = a.car_points(a.outline.vertices) * [1, -1, 1]
    other = b.car_points(b.outline.vertices)
    gaps = np.linalg.norm(corners[:, None] - other[None], axis=2).min(1)
    assert gaps.max() < 1e-6


def test_a_later_entry_changes_what_an_earlier_one_said():
    _, _, plates = made(
        "track-roadster",
        {"kind": "floor_plate", "at": "feet", "length": 130, "width": 120},
        {"kind": "floor_plate", "at": "main_foot", "length": 160},
    )
    sizes = {p.id: tuple(np.round(p.size, 6)) for p in plates}
    assert sizes["foot_main_hoop_a"] == (160, 120)
    assert sizes["foot_rear_brace_left_b"] == (130, 120)


def test_a_bolted_preset_brings_backing_plates():
    _, _, plates = made(
        "track-roadster", {"kind": "floor_plate", "at": "feet", "preset": "floor-bolted-m10"}
    )
    kinds = [p.kind for p in plates]
    assert kinds.count("floor_plate") == kinds.count("backing_plate") == 4
    assert all(len(p.bolts) == 4 for p in plates)


def test_a_thicker_plate_lifts_its_tube():
    thin, thick = (
        made("track-roadster", {"kind": "floor_plate", "at": "main_foot", "thickness": t})
        for t in (3, 8)
    )
    ends = [c.member("main_hoop").path.end_point("a") for _, c, _ in (thin, thick)]
    assert ends[1][2] - ends[0][2] == pytest.approx(5)
    backs = [
        p.car_points([[0, 0]], -p.thickness)[0, 2] for _, _, ps in (thin, thick) for p in ps[:1]
    ]
    assert backs[0] == pytest.approx(backs[1])


def test_a_plinth_lifts_its_tube():
    _, cage, plates = made(
        "track-roadster", {"kind": "floor_plate", "at": "rear_foot", "preset": "plinth-60"}
    )
    assert sum(p.kind == "box_wall" for p in plates) == 8
    base = next(p for p in plates if p.id == "foot_rear_brace_left_b_base")
    flat = made("track-roadster")[2]
    plain = next(p for p in flat if p.id == "foot_rear_brace_left_b")
    gap = base.car_points([base.base], -base.thickness) - plain.car_points(
        [[0, 0]], -plain.thickness
    )
    assert gap[0] @ base.normal == pytest.approx(0, abs=1e-6)
    assert cage.member("rear_brace_left").end("b").plane.point[2] > 100


def test_gussets_tabs_and_omissions():
    _, _, plates = made(
        "track-roadster",
        {"kind": "gusset", "at": "rear_brace end a", "preset": "gusset-80"},
        {"kind": "tab", "at": "on harness_bar at y 120", "preset": "harness-tab"},
        {"kind": "floor_plate", "at": "rear_foot", "omit": True},
    )
    ids = [p.id for p in plates]
    assert sum(i.startswith("gusset_rear_brace") for i in ids) == 2
    assert sum(p.kind == "tab" for p in plates) == 2
    assert not any("foot_rear_brace" in i for i in ids)
    tab = next(p for p in plates if p.kind == "tab")
    assert tab.holes[0].purpose is HolePurpose.PIN


def test_a_plate_outrigger_carries_the_foot():
    _, _, plates = made(
        "track-roadster",
        {"kind": "outrigger_box", "at": "main_foot", "inner_y": 380, "outer_y": 660},
    )
    tops = [p for p in plates if p.kind == "box_top"]
    assert {e for p in tops for e in p.ends} == {"main_hoop.a", "main_hoop.b"}
    # all but its side walls reach from what is inboard to the sill, so that all can be welded there
    side_walls = [p for p in plates if p.id.endswith(("_inner", "_outer"))]
    assert len(side_walls) == 4
    for p in plates:
        if p.outrigger and p not in side_walls:
            y = np.abs(p.car_points(p.outline.vertices)[:, 1])
            assert (y.min(), y.max()) == pytest.approx((380, 660), abs=1e-6)
            assert [w for w in p.welds if w.to == "car"]
    for side in ("left", "right"):
        inner, outer = (
            abs(p.placement[1, 3]) for n in ("inner", "outer") for p in side_walls
            if p.id == f"outrigger_box_{side}_{n}"
        )  # fmt: skip
        assert 380 < inner < outer < 660
    # it takes the place of a floor plate, which nobody need leave out
    assert not [p for p in plates if p.id.startswith("foot_main_hoop")]


@pytest.mark.parametrize(
    ("entry", "boxes"),
    [
        ({"at": "main_foot"}, {"outrigger_box_left", "outrigger_box_right"}),
        ({"at": "main_foot", "id": "crate"}, {"crate_left", "crate_right"}),
        ({"at": "main_foot", "id": "crate", "side": "both"}, {"crate_left", "crate_right"}),
        ({"at": "main_foot", "id": "crate", "side": "right"}, {"crate"}),
        ({"at": "main_hoop end b", "id": "crate"}, {"crate"}),
        ({"at": "main_hoop end b"}, {"outrigger_box_right"}),
    ],
)
def test_every_box_of_an_entry_has_a_name_of_its_own(entry, boxes):
    table = {"kind": "outrigger_box", "inner_y": 380, "outer_y": 660, **entry}
    _, _, plates = made("track-roadster", table)
    assert {p.box for p in plates if p.outrigger} == boxes
    assert len({p.id for p in plates}) == len(plates)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ({"kind": "floor_plate", "at": "mane_hoop"}, "no tube stands there.*main_hoop"),
        ({"kind": "floor_plate", "at": "feet", "preset": "floor-15"}, r"no such preset.*floor-150"),
        ({"kind": "floor_plate", "at": "feet", "preset": "gusset-80"}, "is a gusset"),
        ({"kind": "floor_plate", "at": "feet", "lenght": 10}, "lenght"),
        ({"kind": "floor_plate", "at": "feet", "material": "cheese"}, "material.*cheese"),
        ({"kind": "flor_plate"}, "flor_plate"),
        ({"kind": "gusset", "at": "rear_brace end z"}, "names no end of a tube"),
        ({"kind": "tab", "at": "at 0, 0, 0"}, "stands on a tube"),
        ({"kind": "floor_plate", "at": "main_hoop end a", "thickness": 9}, "raised 3.0 mm"),
        ({"kind": "outrigger_box", "at": "nowhere", "inner_y": 1}, "no tube stands there"),
        ({"kind": "outrigger_box", "inner_y": 1}, "must name the foot"),
    ],
)
def test_wrong_entries_name_entry_field_and_cure(table, words):
    with pytest.raises(InputError, match=words) as error:
        made("track-roadster", table)
    assert "track-roadster" in str(error.value)
    assert "plate" in str(error.value)


def test_a_box_is_not_rounded_past_its_walls():
    box = {"kind": "outrigger_box", "at": "main_foot", "inner_y": 380, "outer_y": 660}
    with pytest.raises(GeometryError, match=r"rounded by 20\.0 mm .*6\.0 mm or less"):
        made("track-roadster", {**box, "corner_radius": 20})
    _, _, plates = made("track-roadster", {**box, "corner_radius": 5})
    top = next(p for p in plates if p.kind == "box_top")
    # a rounded corner leaves out what a square has over a quarter of a circle
    plain = next(p for p in made("track-roadster", box)[2] if p.id == top.id)
    gone = plain.outline.area - top.outline.area
    assert gone == pytest.approx((4 - np.pi) * 5**2, rel=1e-6)


def test_a_foot_has_a_box_or_a_floor_plate_of_its_own():
    box = {"kind": "outrigger_box", "at": "main_foot", "inner_y": 380, "outer_y": 660}
    with pytest.raises(InputError, match="stands on an outrigger_box"):
        made("track-roadster", box, {"kind": "floor_plate", "at": "main_foot", "width": 120})
    _, _, plates = made("track-roadster", box, {"kind": "floor_plate", "at": "feet", "width": 120})
    assert {p.id for p in plates if p.kind == "floor_plate"} == {
        "foot_rear_brace_left_b",
        "foot_rear_brace_right_b",
    }


def test_an_impossible_plate_names_itself():
    with pytest.raises(GeometryError, match="foot_main_hoop_a: the foot of main_hoop end a hangs"):
        made("track-roadster", {"kind": "floor_plate", "at": "main_foot", "width": 30})


def test_both_sides_are_spread_and_mirrored():
    table = {
        "kind": "tab",
        "id": "net",
        "side": "both",
        "at": "on rear_brace_{side} at fraction 0.5",
        "toward": [0, 1, 0],
    }
    build = changed("track-roadster", table)
    left, right = [e for e in build.plates if e.id.startswith("net")]
    assert (left.id, right.id) == ("net_left", "net_right")
    assert (left.at, right.toward) == (
        read_location("on rear_brace_left at fraction 0.5"),
        (0, -1, 0),
    )
    assert spread(left.model_copy(update={"side": None})) != ()


def test_every_plate_preset_loads_and_carries_its_source():
    from cagekit.inputs.plate import PlateFile
    from cagekit.inputs.presets import list_presets, load_file

    found = list_presets("plate")
    assert len(found) >= 12
    for preset in found:
        file = load_file("plate", preset.path, PlateFile)
        assert file.name == preset.name
        assert len(file.source) > 10


@pytest.mark.parametrize(
    "table",
    [
        {"kind": "gusset", "at": "rear_brace end a", "preset": "gusset-3in"},
        {"kind": "tab", "at": "on harness_bar at y 10", "preset": "harness-tab-in"},
        {"kind": "floor_plate", "at": "front_foot", "preset": "floor-bolted-6in"},
        {"kind": "floor_plate", "at": "rear_foot", "preset": "plinth-2in"},
    ],
    ids=lambda t: t["preset"],
)
def test_inch_presets_in_an_inch_build(table):
    _, _, plates = made("sprint-wagon", table)
    sizes = {round(p.thickness / 25.4 * 16, 3) for p in plates}
    assert sizes <= {2.0, 3.0}


def test_folded_feet_rise_outboard_on_both_sides():
    """The floor section runs up the inner sill: the wing stands outboard, left and right."""
    build = load_build("gravel-hatch")
    plates = plates_for(build, members_only(build))
    folded = [p for p in plates if p.kind == "floor_plate" and p.folds]
    assert len(folded) == 4
    for p in folded:
        side = np.sign(p.placement[1, 3])
        corners = p.car_points(p.outline.vertices)
        top = corners[np.argmax(corners[:, 2])]
        assert top[2] > p.placement[2, 3] + 20
        assert side * (top[1] - p.placement[1, 3]) > 0

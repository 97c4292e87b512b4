"""Tubes that come apart at bolted sleeves: pieces, parts, papers, and what cannot be."""

from __future__ import annotations

import json
import re
from importlib.resources import files
from math import ceil
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import members_only
from cagekit.cage.cage import Cage
from cagekit.design import Design
from cagekit.errors import InputError
from cagekit.inputs.bolted import SleeveEntry
from cagekit.inputs.loads import LoadsFile
from cagekit.inputs.resolve import load_build
from cagekit.shop.sawing.templates import templates
from cagekit.solids.bodies import expected_volumes, member_body, small_part_body
from cagekit.solids.measure import measure
from cagekit.structure.cases import LoadScene, cases_of
from cagekit.structure.model import model_of, solver_of
from cagekit.structure.solve import Loads
from cagekit.view.scene import bodies
from cagekit.writers.json import cage_dict

from .conftest import built

TWICE = """
[[joint]]
at = "on rear_brace_{side} at fraction 0.3"
side = "both"
[[joint]]
at = "on rear_brace_{side} at fraction 0.75"
side = "both"
bolts = 1
turn = 40
length = 90
"""


@pytest.fixture(scope="module")
def design(tmp_path_factory: pytest.TempPathFactory) -> Design:
    return built(tmp_path_factory.mktemp("sleeve"), TWICE)


def test_pieces_are_the_whole_tube_less_the_saw_cuts(design: Design) -> None:
    cage = design.cage
    for tube in cage.bolted:
        whole = tube.fitted
        pieces = [cage.member(i) for i in tube.pieces]
        assert len(pieces) == 3
        assert sum(p.path.length for p in pieces) == pytest.approx(whole.path.length - 2 * 2.0)
        assert pieces[0].path.start == pytest.approx(whole.path.start)
        assert pieces[-1].path.end == pytest.approx(whole.path.end)
        first, second = tube.joints
        assert first.station == pytest.approx(0.3 * whole.path.length)
        assert [len(p.drills) for p in pieces] == [2, 3, 1]
        # three diameters of the tube, rounded up to 5 mm
        assert (first.length, len(first.bolts)) == (5 * ceil(3 * whole.tube.od / 5), 4)
        assert (second.length, len(second.bolts)) == (90.0, 2)
        # the ends are those of the whole tube, and so are plates and welds
        assert pieces[0].a is whole.a
        assert pieces[-1].b is whole.b
    pieces_of = {i for t in cage.bolted for i in t.pieces}
    rest = [m for m in cage.members if m not in pieces_of]
    assert sorted(cage.as_fitted().members) == sorted(
        [*rest, "rear_brace_left", "rear_brace_right"]
    )
    fitted = design.fitted
    stood = {e for p in fitted.plates for e in p.ends}
    assert {"rear_brace_left.b", "rear_brace_right.b"} <= stood
    assert {w.to for p in fitted.plates for w in p.welds} >= {"rear_brace_left end b"}


@pytest.mark.parametrize(("fraction", "piece"), [(0.2, 0), (0.5, 1), (0.9, 2)])
def test_a_plate_and_a_load_stand_where_a_strut_would_on_a_tube_that_comes_apart(
    tmp_path: Path, fraction: float, piece: int
) -> None:
    """Along the whole tube, as its joints are counted."""
    at = f"on rear_brace_left at fraction {fraction}"
    design = built(tmp_path, f'{TWICE}\n[[plate]]\nkind = "tab"\nat = "{at}"\n')
    tube = next(t for t in design.cage.bolted if t.fitted.id == "rear_brace_left")
    path = tube.fitted.path
    (tab,) = [p for p in design.cage.plates if p.id.startswith("other_tab")]
    assert tab.members == (tube.pieces[piece],)
    assert path.nearest(tab.placement[:3, 3]).station == pytest.approx(fraction * path.length)
    load = {"at": [at.replace("_left", ".left")], "force": [0, 0, -1000]}
    case = {"id": "a", "title": "a", "load": [load]}
    own = LoadsFile.model_validate({"name": "own", "title": "own", "case": [case]})
    scene = LoadScene(
        cage=design.cage, car=design.build.car, people=1, file=own, where="own", leg_over_wall=1.0
    )
    ((push,),) = [c.pushes for c in cases_of(scene)]
    assert push.member == tube.pieces[piece]
    point = design.cage.member(push.member).path.points([push.station])[0]
    assert path.nearest(point).station == pytest.approx(fraction * path.length)


def test_every_hole_is_where_its_bolt_is_and_bushes_stay_inside_the_tube(design: Design) -> None:
    cage = design.cage
    parts = {p.id: p for p in cage.hardware}
    for tube in cage.bolted:
        for joint in tube.joints:
            sleeve = parts[joint.id]
            for n, x in enumerate(joint.bolts, start=1):
                at = joint.origin + x * joint.along
                bolt, bush = (parts[f"{joint.id}_{n}_{k}"] for k in ("bolt", "bush"))
                for part in (bolt, bush):  # its axis passes through the place, square to the tube
                    way, start = part.frame[:3, 2], part.frame[:3, 3]
                    assert abs(way @ joint.along) < 1e-9
                    assert np.linalg.norm(np.cross(at - start, way)) < 1e-9
                hole = next(
                    d for i in tube.pieces for d in cage.member(i).drills
                    if np.linalg.norm(d.point - at) < 1e-6
                )  # fmt: skip
                assert 2 * hole.radius == pytest.approx(joint.size.sleeve_od)
                assert any(np.linalg.norm(d.point - at) < 1e-6 for d in sleeve.drills)
                # the bush's rim is on the tube's outside, not beyond it
                reach = np.hypot(bush.length / 2, joint.size.sleeve_od / 2)
                assert reach == pytest.approx(tube.fitted.tube.outer_radius)
                assert bush.welded_to in tube.pieces
                grip = joint.od + 2 * joint.size.washer_thickness + joint.size.nut_height
                assert bolt.stages[0].length >= grip
            assert sleeve.bore == pytest.approx(tube.fitted.tube.od + 0.3)


def test_solids_and_meshes_have_the_holes(design: Design) -> None:
    cage = design.cage
    parts = {p.id: p for p in cage.hardware}
    meshes = {b.name: b.mesh for b in bodies(cage)}
    volumes = expected_volumes(cage)
    for name in ("rear_brace_left_sleeve_1", "rear_brace_left_sleeve_2"):
        part = parts[name]
        ro, ri = part.walls
        ring = np.pi * (ro**2 - ri**2) * part.length
        bolts = 4 if name.endswith("1") else 2
        # a hole takes a little more than its disc times twice the wall
        disc = bolts * np.pi / 4 * 8.2**2 * 2 * (ro - ri)
        assert 1.0 < (ring - part.volume) / disc < 1.05
        assert measure(small_part_body(part)).volume == pytest.approx(part.volume, rel=1e-6)
        v, t = meshes[name].vertices, meshes[name].triangles
        a, b, c = (v[t[:, k]] for k in range(3))
        assert np.einsum("ij,ij->", a, np.cross(b, c)) / 6 == pytest.approx(part.volume, rel=0.01)
    piece = "rear_brace_left_piece_b"
    assert measure(member_body(cage, piece)).volume == pytest.approx(volumes[piece], rel=1e-6)


def test_papers_measure_from_the_tip_and_add_up(design: Design) -> None:
    steps = [s for s in design.steps_in("mm") if s.title == "Sleeves of rear brace left"]
    assert len(steps) == 1
    number = steps[0].number
    fit = next(s for s in design.steps if "rear_brace_left" in s.members)
    assert number < fit.number
    words = " ".join(steps[0].text)
    tube = next(t for t in design.cage.bolted if t.fitted.id == "rear_brace_left")
    tip = design.fitted.cut("rear_brace_left", "a").shortest
    tail = design.fitted.cut("rear_brace_left", "b").shortest
    said = [float(x) for x in re.findall(r"([\d.]+) mm from the tip", words)]
    assert said == pytest.approx([j.station - tip for j in tube.joints], abs=0.06)
    lengths = [float(x) for x in re.findall(r"rear brace left piece [ABC] ([\d.]+) mm", words)]
    assert sum(lengths) + 2 * 2.0 == pytest.approx(
        tube.fitted.path.length - tip - tail, abs=0.16
    )  # fmt: skip
    assert "turned 40 degrees from the scribed line, clockwise" in words
    holes = [t for t in templates(design.cage, 0.1) if t.member == "rear_brace_left_piece_a"]
    assert [(t.end, t.square, len(t.holes)) for t in holes if not t.parents] == [("b", True, 4)]
    blanks = {s.member for s in design.bends}
    assert blanks & {"rear_brace_left", "rear_brace_left_piece_a"} == {"rear_brace_left"}
    bought = {(h.kind, h.count) for h in design.materials.hardware}
    assert {("joint_sleeve", 2), ("bush", 12), ("bolt", 12), ("nut", 12)} <= bought


def test_cage_json_tells_it(design: Design) -> None:
    schema = json.loads((files("cagekit") / "data" / "cage.schema.json").read_text("utf-8"))
    said = json.loads(json.dumps(cage_dict(design.cage)))
    jsonschema.validate(said, schema)
    assert [t["id"] for t in said["bolted"]] == ["rear_brace_left", "rear_brace_right"]
    sleeve = next(p for p in said["parts"] if p["id"] == "rear_brace_left_sleeve_1")
    assert [d["diameter"] for d in sleeve["drills"]] == [8.2] * 4


def test_people_shell_and_plates_meet_the_sleeve_not_only_the_tube(design: Design) -> None:
    sleeve = design.cockpit.members["rear_brace_left_sleeve_1"]
    assert sleeve.tube.od == pytest.approx(45 + 0.3 + 2 * 3.0)
    assert design.cage.tubes["rear_brace_left_sleeve_1"].role == "joint_sleeve"


def test_a_sleeved_tube_is_as_stiff_as_a_whole_one(design: Design, tmp_path: Path) -> None:
    def give(cage: Cage) -> float:
        """How far the middle of the main hoop gives way to a push from ahead, mm."""
        hoop = cage.member("main_hoop")
        model = model_of(cage, marks=[("main_hoop", hoop.path.length / 2)])
        node = model.node_at("main_hoop", hoop.path.length / 2)
        loads = Loads.none(model.frame)
        loads.at_nodes[node, 0] = -1000.0
        return float(solver_of(model, "my").solve(loads).moved[node, 0])

    whole = give(built(tmp_path, "").cage)
    assert give(design.cage) == pytest.approx(whole, rel=0.02)
    # without what the sleeves hold together the braces would carry nothing
    assert whole < 0.0


def test_a_sleeve_that_says_no_wall_is_no_thinner_than_its_tube() -> None:
    build = load_build("sprint-wagon")
    joint = SleeveEntry.model_validate({"at": "on rear_brace_left at fraction 0.4"})
    cage = members_only(replace(build, file=build.file.model_copy(update={"joint": (joint,)})))
    tube = cage.bolted[0]
    assert tube.joints[0].wall == tube.fitted.tube.wall > 3.0


REFUSED = [
    ('at = "on main_hoop.left at height 300"', "is bent, and a sleeve joins straight tubes only"),
    ('at = "at 0, 300, 300"', "names no place on one tube"),
    ('at = "on rear_brace_{side} at middle"', "no side to fill in"),
    ('at = "on rear_brace_left at fraction 0.01"', "clear of the welds at its ends"),
    ('at = "on rear_brace_left at middle"\nlength = 2000', "2000.0 mm"),
    ('at = "on rear_brace_left at middle"\nlength = 700', "cannot be slid off the cut"),
    ('at = "on rear_brace_left at middle"\nlength = 40', "2 bolts in each piece need"),
    ('at = "on rear_brace_left at middle"\nbolt_size = "M7"', "not in the table"),
    ('at = "on rear_brace_left at middle"\nbolt_grade = "4.6"', "no such grade"),
    ('at = "on rear_brake_left at middle"', "Did you mean"),
    ('at = "on rear_brace_left at middle"\nwall = 60', "wall"),
    (
        'at = "on rear_brace_left at middle"\n[[joint]]\nat = "on rear_brace_left at middle up 50"',
        "overlap by",
    ),
]


@pytest.mark.parametrize(("joint", "words"), REFUSED)
def test_what_cannot_be_is_refused_with_its_line(tmp_path: Path, joint: str, words: str) -> None:
    with pytest.raises(InputError, match=re.escape(words)) as told:
        built(tmp_path, f"\n[[joint]]\n{joint}\n").cage  # noqa: B018
    assert "my.toml:" in str(told.value)
    assert "[joint entry " in str(told.value)


def test_a_tube_in_three_places_is_refused(tmp_path: Path) -> None:
    rows = "".join(
        f'[[joint]]\nat = "on rear_brace_left at fraction {f}"\n' for f in (0.2, 0.5, 0.8)
    )
    with pytest.raises(InputError, match="hangs on nothing"):
        built(tmp_path, "\n" + rows).cage  # noqa: B018


def test_a_bolted_tube_may_stand_on_bolted_tubes(tmp_path: Path) -> None:
    rows = """
[[strut]]
id = "link"
from = "on rear_brace_left at fraction 0.6"
to = "on rear_brace_right at fraction 0.2"
[[joint]]
at = "on link at middle"
[[joint]]
at = "on rear_brace_{side} at fraction 0.4"
side = "both"
"""
    cage = built(tmp_path, rows).cage
    ends = [cage.member(f"link_piece_{p}") for p in "ab"]
    assert ends[0].a.parents == ("rear_brace_left_piece_b",)
    assert ends[1].b.parents == ("rear_brace_right_piece_a",)
    assert cage.as_fitted().member("link").b.parents == ("rear_brace_right",)
    one, two = (cage.cut_length(m.id) for m in ends)
    assert one == pytest.approx(two, rel=0.1)

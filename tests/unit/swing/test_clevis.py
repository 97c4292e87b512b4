"""Tubes that come apart at a clevis: fork and eye, their bolt, papers, and what cannot be."""

from __future__ import annotations

import json
import re
from importlib.resources import files
from math import acos, pi, sqrt
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import trimesh

from cagekit.cage.bolted import ClevisJoint
from cagekit.cage.cage import Cage
from cagekit.cage.door import SmallPart
from cagekit.checks import run
from cagekit.design import Design
from cagekit.errors import GeometryError, InputError
from cagekit.names import named
from cagekit.solids.bodies import small_part_body
from cagekit.solids.measure import measure
from cagekit.structure.model import model_of, solver_of
from cagekit.structure.solve import Loads
from cagekit.view.scene import bodies
from cagekit.view.turned_drawing import turned_drawing
from cagekit.writers.json import cage_dict
from cagekit.writers.machined_pages import machined_cards
from cagekit.writers.shopbook import Book

from .conftest import built

TWICE = """
[[joint]]
kind = "clevis"
at = "on rear_brace_{side} at fraction 0.2"
side = "both"
[[joint]]
kind = "clevis"
at = "on rear_brace_{side} at fraction 0.8"
side = "both"
fork = "b"
turn = -35
eye = 12
play = 0.4
"""


@pytest.fixture(scope="module")
def design(tmp_path_factory: pytest.TempPathFactory) -> Design:
    return built(tmp_path_factory.mktemp("clevis"), TWICE)


def joints_of(cage: Cage, tube: str = "rear_brace_left") -> list[ClevisJoint]:
    found = next(t for t in cage.bolted if t.fitted.id == tube)
    return [j for j in found.joints if isinstance(j, ClevisJoint)]


def part(cage: Cage, name: str) -> SmallPart:
    return next(p for p in cage.hardware if p.id == name)


def test_sizes_left_out_are_those_of_the_bolt_and_the_tube(design: Design) -> None:
    first, second = joints_of(design.cage)
    tube = next(t for t in design.cage.bolted if t.fitted.id == "rear_brace_left").fitted.tube
    assert (first.size.size, first.grade) == ("M10", "10.9")
    assert (first.eye, first.cheek, first.width) == (10.0, 6.0, 30.0)
    assert (second.eye, second.cheek) == (12.0, 7.5)  # 0.6 of the eye, in half millimetres
    for j in (first, second):
        assert j.gap == pytest.approx(2 * (j.width / 2 + 1.5 + 8.0))
        assert j.grip == pytest.approx(j.slot + 2 * j.cheek)
        assert np.hypot(j.width, j.grip) < tube.od  # nothing stands out of the tube
        assert j.spigot_od == pytest.approx(2 * tube.inner_radius - 0.2)


def test_parts_have_the_volume_of_bar_lugs_and_holes(design: Design) -> None:
    """Cylinders, boxes and half rounds added up by hand; the boundary and a mesh agree."""
    meshes = {b.name: b.mesh for b in bodies(design.cage)}
    for j in joints_of(design.cage):
        bar = pi / 4 * (j.spigot_od**2 * j.spigot + j.od**2 * j.collar)
        flat = j.width * j.stand + pi / 8 * j.width**2 - pi / 4 * j.hole**2
        for kind, thick in (("fork", 2 * j.cheek), ("eye", j.eye)):
            made = part(design.cage, f"{j.id}_{kind}")
            assert made.volume == pytest.approx(bar + flat * thick, rel=1e-12)
            found = measure(small_part_body(made))
            assert found.volume == pytest.approx(made.volume, rel=1e-9)
            assert found.gap < 1e-9
            mesh = trimesh.Trimesh(meshes[made.id].vertices, meshes[made.id].triangles)
            assert mesh.volume == pytest.approx(made.volume, rel=0.02)
            assert made.length == pytest.approx(j.spigot + j.collar + j.stand + j.width / 2)


def test_eye_and_fork_share_no_steel_and_the_bolt_passes_both(design: Design) -> None:
    """Points of one part's flats, seen in the other's own axes."""
    for j in joints_of(design.cage):
        fork, eye = (part(design.cage, f"{j.id}_{k}") for k in ("fork", "eye"))
        bolt = part(design.cage, f"{j.id}_1_bolt")
        for made in (fork, eye):
            for lug in made.lugs:  # the hole's axis is the bolt's
                at = np.array([(lug.low + lug.high) / 2, 0.0, made.turned + lug.stand])
                where = made.frame[:3, :3] @ at + made.frame[:3, 3]
                way = bolt.frame[:3, 2]
                assert np.linalg.norm(np.cross(where - bolt.frame[:3, 3], way)) < 1e-9
                assert abs(made.frame[:3, 0] @ way) == pytest.approx(1.0)
        (tongue,), cheeks = eye.lugs, fork.lugs
        play = [c.low - tongue.high for c in cheeks if c.low > 0]
        play += [tongue.low - c.high for c in cheeks if c.high < 0]
        assert play == pytest.approx([(j.slot - j.eye) / 2] * 2)
        # round ends clear the collar opposite by what the build says, as far as they turn
        assert 2 * j.stand - tongue.tip - tongue.width / 2 < j.gap
        assert j.stand - tongue.width / 2 == pytest.approx(1.5)
        shank = bolt.stages[0].length
        assert shank >= j.grip + 2 * j.size.washer_thickness + j.size.nut_height


def test_pieces_end_at_the_collars(design: Design) -> None:
    cage = design.cage
    tube = next(t for t in cage.bolted if t.fitted.id == "rear_brace_left")
    pieces = [cage.member(i) for i in tube.pieces]
    whole = tube.fitted.path.length
    assert sum(p.path.length for p in pieces) == pytest.approx(
        whole - sum(j.gap for j in tube.joints)
    )
    for n, j in enumerate(joints_of(cage)):
        for kind in ("fork", "eye"):
            made = part(cage, f"{j.id}_{kind}")
            holds = pieces[n] if (kind == "fork") == (j.fork == "a") else pieces[n + 1]
            assert made.welded_to == holds.id
            face = made.frame[:3, 3] + j.spigot * made.frame[:3, 2]
            ends = [holds.path.start, holds.path.end]
            assert min(np.linalg.norm(face - e) for e in ends) < 1e-9


def test_the_paper_gives_the_pieces_and_the_holes(design: Design) -> None:
    """Replayed: lengths and turns as the step says them land on the parts."""
    steps = [s for s in design.steps_in("mm") if s.title == "Clevises of rear brace left"]
    assert len(steps) == 1
    words = " ".join(steps[0].text)
    cage = design.cage
    tube = next(t for t in cage.bolted if t.fitted.id == "rear_brace_left")
    tip = design.fitted.cut("rear_brace_left", "a").shortest
    tail = design.fitted.cut("rear_brace_left", "b").shortest
    bolts = [float(x) for x in re.findall(r"bolt is ([\d.]+) mm from the tip of end A", words)]
    halves = [float(x) for x in re.findall(r"cut ([\d.]+) mm to both sides", words)]
    lengths = [float(x) for x in re.findall(r"rear brace left piece [ABC] ([\d.]+) mm", words)]
    start = tube.fitted.path.start + tip * tube.joints[0].along
    for bolt, half, j in zip(bolts, halves, joints_of(cage), strict=True):
        assert np.linalg.norm(start + bolt * j.along - j.origin) < 0.06
        assert half == pytest.approx(j.gap / 2, abs=0.06)
    stops = [0.0, *(b + w * h for b, h in zip(bolts, halves, strict=True) for w in (-1, 1))]
    stops.append(tube.fitted.path.length - tip - tail)
    assert lengths == pytest.approx(
        [b - a for a, b in zip(stops[::2], stops[1::2], strict=True)], abs=0.21
    )
    turn, way = re.findall(r"turned (\d+) degrees from the scribed line, (\w+)", words)[0]
    j = joints_of(cage)[1]
    up = np.array([0.0, 0.0, 1.0])
    top = up - (up @ j.along) * j.along
    top /= np.linalg.norm(top)
    assert np.degrees(acos(abs(float(j.across @ top)))) == pytest.approx(float(turn), abs=0.5)
    # clockwise as seen from end a is right-handed about the way from a to b
    assert float(np.cross(top, j.across) @ j.along) * (1 if way == "clockwise" else -1) > 0
    first, second = joints_of(cage)
    assert f"fork's spigot into {first_piece(cage, first)}" in words
    assert f"fork's spigot into {first_piece(cage, second)}" in words


def first_piece(cage: Cage, j: ClevisJoint) -> str:
    return named(part(cage, f"{j.id}_fork").welded_to)


def test_lists_and_cage_json_tell_it(design: Design) -> None:
    schema = json.loads((files("cagekit") / "data" / "cage.schema.json").read_text("utf-8"))
    said = json.loads(json.dumps(cage_dict(design.cage)))
    jsonschema.validate(said, schema)
    assert {j["kind"] for t in said["bolted"] for j in t["joints"]} == {"clevis"}
    fork = next(p for p in said["parts"] if p["id"] == "rear_brace_left_clevis_1_fork")
    assert [g["hole"] for g in fork["lugs"]] == [10.2, 10.2]
    bought = {(h.kind, h.count) for h in design.materials.hardware}
    assert {("fork", 2), ("eye", 2), ("bolt", 2), ("nut", 4), ("washer", 8)} <= bought
    weighed = {p.id: p.mass for p in design.materials.mass.parts}
    assert weighed["rear_brace_left_clevis_1_fork"] == pytest.approx(fork["mass_kg"])


def test_bolts_stand_out_for_people_and_tubes(design: Design) -> None:
    """Head to tip of the bolt is in the room that people and other tubes need."""
    j = joints_of(design.cage)[0]
    rod = design.cockpit.members[f"{j.id}_1_bolt"]
    bolt = part(design.cage, f"{j.id}_1_bolt")
    ends = {tuple(np.round(p, 6)) for p in (rod.path.start, rod.path.end)}
    want = (bolt.axis.start, bolt.axis.end)
    assert ends == {tuple(np.round(p, 6)) for p in want}
    flats = 16.0  # across the flats of an M10 head: ISO 4014
    assert rod.tube.od == pytest.approx(flats * 2 / sqrt(3))


def test_a_clevis_turns_about_its_bolt_alone(tmp_path: Path) -> None:
    """Statics: at its bolt a piece carries forces and moments, but none about the bolt."""
    cage = built(tmp_path, "[[joint]]" + TWICE.split("[[joint]]")[1]).cage
    model = model_of(cage)
    load = Loads.none(model.frame)
    hoop = cage.member("main_hoop")
    load.at_nodes[model.node_at("main_hoop", hoop.path.length / 2)] = [-900, 400, -300, 0, 0, 0]
    response = solver_of(model, "my").solve(load)
    assert len(model.bolted) == 2
    for b in model.bolted:
        ends = response.forces[b.beam, 6:]
        moment = np.array(ends[3:]) @ model.axes[b.beam]
        force = np.array(ends[:3]) @ model.axes[b.beam]
        assert abs(moment @ b.joint.across) < 1e-6 * max(np.linalg.norm(moment), 1.0)
        assert np.linalg.norm(force) > 1.0
        assert np.linalg.norm(moment) > 1.0


def test_a_chain_of_hinges_is_told(tmp_path: Path) -> None:
    """Two clevises in line and a foot that turns hold nothing: said with what would do."""
    cage = built(tmp_path, TWICE.replace("turn = -35\n", "")).cage
    with pytest.raises(GeometryError, match="Two clevises in a row") as told:
        solver_of(model_of(cage), "my")
    for side in ("left", "right"):
        assert f"rear_brace_{side}_piece_b" in str(told.value)


def test_practice_judges_it(tmp_path: Path) -> None:
    twisted = built(tmp_path, TWICE)
    codes = {f.code: f.status for f in run(twisted) if "clevis" in f.code}
    assert codes["geometry/clevis-parallel"] == "warn"
    good = built(tmp_path, TWICE.replace("turn = -35\n", ""))
    assert all(f.status == "pass" for f in run(good) if "clevis" in f.code)
    middle = built(tmp_path, '[[joint]]\nkind = "clevis"\nat = "on rear_brace_left at middle"\n')
    assert {f.code: f.status for f in run(middle)}["geometry/clevis-place"] == "warn"


REFUSED = [
    ('at = "on main_hoop.left at height 300"', "is bent, and a clevis joins straight tubes only"),
    ('at = "on rear_brace_left at fraction 0.02"', "its clevis of"),
    ('at = "on rear_brace_left at middle"\ncut_gap = 2', "cut_gap"),
    ('at = "on rear_brace_left at middle"\nwidth = 44', "stands out of the tube"),
    ('at = "on rear_brace_left at middle"\nwidth = 12', "of metal beside the hole"),
    ('at = "on rear_brace_left at middle"\neye = 30', "of metal beside the hole"),
    (
        'at = "on rear_brace_left at middle"\nwidth = 17\nclearance = 0.1\nbolt_size = "5/16"',
        "washers of",
    ),
    ('at = "on rear_brace_left at middle"\nfit = 3', "fit"),
    ('at = "on rear_brace_left at middle"\nfork = "c"', "fork"),
    ('at = "on rear_brace_left at middle"\nbolt_size = "M7"', "not in the table"),
    ('at = "on rear_brace_left at middle"\nbolt_grade = "4.6"', "no such grade"),
    (
        'at = "on rear_brace_left at middle"\n[[joint]]\nat = "on rear_brace_left at middle up 50"',
        "this clevis and the sleeve before it on rear_brace_left overlap by",
    ),
]


@pytest.mark.parametrize(("joint", "words"), REFUSED)
def test_what_cannot_be_is_refused_with_its_line(tmp_path: Path, joint: str, words: str) -> None:
    text = f'\n[[joint]]\nkind = "clevis"\n{joint}\n'
    with pytest.raises(InputError, match=re.escape(words)) as told:
        built(tmp_path, text).cage  # noqa: B018
    assert "my.toml:" in str(told.value)
    assert "[joint entry " in str(told.value)


def test_an_unknown_kind_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="clevice") as told:
        built(tmp_path, '\n[[joint]]\nkind = "clevice"\nat = "on rear_brace_left at middle"\n')
    assert "clevis" in str(told.value)


def test_the_drawing_gives_every_size_of_the_part(design: Design) -> None:
    """What the lathe and the mill need stands in the picture, as the geometry has it."""
    for j in joints_of(design.cage):
        for kind in ("fork", "eye"):
            made = part(design.cage, f"{j.id}_{kind}")
            drawn = turned_drawing(made, 176.0, 66.0, lambda mm: f"{mm:.3f}")
            assert drawn.svg.count("<svg") == 1
            words = set(re.findall(r">([^<>]*\d)<", drawn.svg))
            thick = {j.cheek, j.slot, j.grip} if kind == "fork" else {j.eye}
            sizes = {j.spigot, j.collar, made.length, j.width, j.stand, *thick}
            want = {f"{v:.3f}" for v in sizes} | {f"⌀ {v:.3f}" for v in (j.od, j.spigot_od)}
            assert want <= words
            assert f"hole ⌀ {j.hole:.3f}" in drawn.svg


def test_parts_alike_are_one_card_of_the_book(design: Design) -> None:
    cards = machined_cards(Book(design))
    assert [(c["title"], c["off"]) for c in cards] == [
        ("Fork", "2 off"), ("Eye", "2 off"), ("Eye", "2 off"), ("Fork", "2 off"),
    ]  # fmt: skip

"""Tubes that come apart at a tapered plug: socket and plug, papers, and what cannot be."""

from __future__ import annotations

import json
import re
from importlib.resources import files
from itertools import pairwise
from math import atan, degrees, pi, radians, tan
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import trimesh

from cagekit.cage.bolted import PlugJoint
from cagekit.cage.cage import Cage
from cagekit.cage.door import SmallPart
from cagekit.checks import run
from cagekit.design import Design
from cagekit.errors import InputError
from cagekit.solids.bodies import small_part_body
from cagekit.solids.measure import measure
from cagekit.structure.bolted import plane_shear
from cagekit.view.scene import bodies
from cagekit.view.turned_drawing import turned_drawing
from cagekit.writers.json import cage_dict
from cagekit.writers.machined_pages import FIELD

from .conftest import built

BOTH = """
[[joint]]
kind = "plug"
at = "on rear_brace_{side} at fraction 0.2"
side = "both"
turn = 25
[[joint]]
kind = "plug"
at = "on rear_brace_{side} at fraction 0.8"
side = "both"
socket = "b"
taper = 20
angle = 10
nose = 34
"""


@pytest.fixture(scope="module")
def design(tmp_path_factory: pytest.TempPathFactory) -> Design:
    return built(tmp_path_factory.mktemp("plug"), BOTH)


def joints_of(cage: Cage) -> list[PlugJoint]:
    found = next(t for t in cage.bolted if t.fitted.id == "rear_brace_left")
    return [j for j in found.joints if isinstance(j, PlugJoint)]


def part(cage: Cage, name: str) -> SmallPart:
    return next(p for p in cage.hardware if p.id == name)


def crossed(ro: float, hole: float, ri: float = 0.0) -> float:
    """Volume of a round hole right across a round bar or ring, by slices across it, mm3."""
    y = (np.arange(200_000) + 0.5) / 200_000 * hole - hole / 2
    wide = 2 * np.sqrt((hole / 2) ** 2 - y**2)
    deep = np.sqrt(ro**2 - y**2) - (np.sqrt(ri**2 - y**2) if ri else 0.0)
    return float((wide * 2 * deep).mean() * hole)


def frustum(d0: float, d1: float, length: float) -> float:
    return pi / 12 * length * (d0**2 + d0 * d1 + d1**2)


def test_a_plug_that_says_no_sizes_keeps_to_their_own_least(tmp_path: Path) -> None:
    """A bolt of 3/8 in, three times of which is no whole step: the nose is not below."""
    design = built(
        tmp_path,
        '\n[[joint]]\nkind = "plug"\nat = "on rear_brace_left at fraction 0.2"\n'
        'bolt_size = "3/8"\n',
    )
    (joint,) = joints_of(design.cage)
    assert joint.nose / 2 >= 1.5 * joint.size.diameter
    assert not [
        f for f in run(design) if f.code == "geometry/plug-nose" and f.status.name == "WARN"
    ]


def test_volumes_by_hand_boundary_and_mesh(design: Design) -> None:
    meshes = {b.name: b.mesh for b in bodies(design.cage)}
    for j in joints_of(design.cage):
        spigot = pi / 4 * j.spigot_od**2 * j.spigot
        body = pi / 4 * j.od**2 * (j.collar + j.deep + j.taper)
        bore = frustum(j.mouth, j.nose_od, j.taper) + pi / 4 * j.nose_od**2 * j.deep
        want = {
            "socket": spigot + body - bore - crossed(j.od / 2, j.hole, j.nose_od / 2),
            "plug": spigot
            + pi / 4 * (j.od**2 * j.collar + j.mouth**2 * j.seat)
            + frustum(j.mouth, j.nose_od, j.taper)
            + pi / 4 * (j.nose_od - j.fit) ** 2 * j.nose
            - crossed((j.nose_od - j.fit) / 2, j.hole),
        }
        for kind, volume in want.items():
            made = part(design.cage, f"{j.id}_{kind}")
            assert made.volume == pytest.approx(volume, rel=1e-6)
            found = measure(small_part_body(made))
            assert found.volume == pytest.approx(made.volume, rel=1e-8)
            mesh = trimesh.Trimesh(meshes[made.id].vertices, meshes[made.id].triangles)
            mesh.merge_vertices()
            assert mesh.is_watertight
            assert mesh.volume == pytest.approx(made.volume, rel=0.01)


def test_the_taper_sits_and_everything_else_has_room(design: Design) -> None:
    """Radii of plug and socket along the tube's axis: alike on the taper, the nose clear."""
    for j in joints_of(design.cage):
        socket, plug = (part(design.cage, f"{j.id}_{k}") for k in ("socket", "plug"))
        inner, outer = (_radii(p, j, bored=p is socket) for p in (socket, plug))
        at = np.linspace(-j.gap / 2, j.gap / 2, 2001)[1:-1]
        bore, nose = inner(at), outer(at)
        both = ~np.isnan(bore) & ~np.isnan(nose)
        gap = (bore - nose)[both]
        assert gap.min() > -1e-9
        assert (gap < 1e-9).sum() * j.gap / 2000 == pytest.approx(j.taper, abs=0.1)
        assert gap.max() == pytest.approx(j.fit / 2, abs=1e-9)
        assert degrees(atan((j.mouth - j.nose_od) / 2 / j.taper)) == pytest.approx(
            8.3 if j.turn else 10.0
        )
        assert j.mouth == pytest.approx(j.od - 7.0)
        # the hole goes across the middle of the nose
        (drill,) = plug.drills
        z = float((drill.point - plug.frame[:3, 3]) @ plug.frame[:3, 2])
        assert plug.turned - z == pytest.approx(j.nose / 2)
        assert np.allclose(drill.point, socket.drills[0].point)


def _radii(p: SmallPart, j: PlugJoint, *, bored: bool):  # type: ignore[no-untyped-def]
    """Radius over the way from the middle of the cut, along the tube from a to b; nan: none."""
    start = float((p.frame[:3, 3] - j.origin) @ j.along)
    way = float(p.frame[:3, 2] @ j.along)
    z, rows = (p.turned, p.hollow) if bored else (0.0, p.stages)
    spots: list[tuple[float, float, float, float]] = []
    for stage in rows:
        near, far, length = stage.round_
        end = z - length if bored else z + length
        spots.append((z, end, near, far))
        z = end

    def radius(x: np.ndarray) -> np.ndarray:
        own = (x - start) / way
        out = np.full(len(x), np.nan)
        for a, b, near, far in spots[0 if bored else 2 :]:
            t = (own - a) / (b - a)
            inside = (t > 0) & (t < 1)
            out[inside] = near + (far - near) * t[inside]
        return out

    return radius


def test_the_paper_gives_pieces_and_hole(design: Design) -> None:
    steps = [s for s in design.steps_in("mm") if s.title == "Tapered plugs of rear brace left"]
    assert len(steps) == 1
    words = " ".join(steps[0].text)
    cage = design.cage
    tube = next(t for t in cage.bolted if t.fitted.id == "rear_brace_left")
    tip = design.fitted.cut("rear_brace_left", "a").shortest
    start = tube.fitted.path.start + tip * tube.joints[0].along
    middles = [float(x) for x in re.findall(r"cut out ([\d.]+) mm from the tip", words)]
    halves = [float(x) for x in re.findall(r"a cut ([\d.]+) mm to both sides", words)]
    holes = [float(x) for x in re.findall(r"10.2 mm, ([\d.]+) mm from the socket's", words)]
    for middle, half, hole, j in zip(middles, halves, holes, joints_of(cage), strict=True):
        socket = part(cage, f"{j.id}_socket")
        assert np.linalg.norm(start + middle * j.along - j.origin) < 0.06
        shoulder = socket.frame[:3, 3] + j.spigot * socket.frame[:3, 2]
        side = -1 if j.socket == "a" else 1
        assert np.linalg.norm(start + (middle + side * half) * j.along - shoulder) < 0.12
        at = shoulder + hole * socket.frame[:3, 2]
        assert np.linalg.norm(at - socket.drills[0].point) < 0.06
        assert np.linalg.norm(at - (j.origin + j.bolts[0] * j.along)) < 0.06
        holds = cage.member(socket.welded_to)
        assert min(np.linalg.norm(shoulder - e) for e in (holds.path.start, holds.path.end)) < 1e-6


def test_drawing_lists_and_cage_json_tell_it(design: Design) -> None:
    schema = json.loads((files("cagekit") / "data" / "cage.schema.json").read_text("utf-8"))
    said = json.loads(json.dumps(cage_dict(design.cage)))
    jsonschema.validate(said, schema)
    socket = next(p for p in said["parts"] if p["id"] == "rear_brace_left_plug_1_socket")
    assert len(socket["hollow"]) == 2
    assert {("socket", 2), ("plug", 2)} <= {(h.kind, h.count) for h in design.materials.hardware}
    for j in joints_of(design.cage):
        for kind in ("socket", "plug"):
            made = part(design.cage, f"{j.id}_{kind}")
            drawn = turned_drawing(made, 176.0, 66.0, lambda mm: f"{mm:.3f}").svg
            for stage in (*made.stages, *made.hollow):
                near, far, length = stage.round_
                for words in (f"⌀ {2 * near:.3f}", f"⌀ {2 * far:.3f}", f">{length:.3f}<"):
                    assert words in drawn
            assert f"hole ⌀ {j.hole:.3f}" in drawn


def test_no_two_sizes_below_a_drawing_stand_in_each_other(design: Design) -> None:
    """Letters of 2.7 mm, a little over half as wide as high, in the rows of lengths."""
    level = re.compile(r'<text x="([\d.]+)" y="([\d.]+)"[^>]*font-size="2.70"[^>]*>([^<]+)<')
    for made in design.cage.hardware:
        if not made.revolved:
            continue
        for words in ("{:.1f}", "{:.3f} in"):
            drawn = turned_drawing(made, *FIELD, words.format).svg
            found = [m for m in level.finditer(drawn) if "rotate" not in m[0] and "⌀" not in m[3]]
            rows = sorted({(float(m[2]), float(m[1]), len(m[3]) * 0.55 * 2.7) for m in found})
            assert len(rows) >= 4
            assert max(y for y, *_ in rows) < FIELD[1]
            for (y, x, wide), (other, after, its) in pairwise(rows):
                assert y != other or after - x > (wide + its) / 2


def test_books_and_strength_judge_it(design: Design, tmp_path: Path) -> None:
    """Two plugs cannot be drawn off between fixed nodes; a sleeve with such a gap lets one go."""
    codes = {f.code: f.status for f in run(design) if "plug" in f.code}
    assert codes.pop("geometry/plug-room") == "warn"
    assert set(codes.values()) == {"pass"}
    first = "[[joint]]" + BOTH.split("[[joint]]")[1]
    sleeve = '[[joint]]\nat = "on rear_brace_{side} at fraction 0.6"\nside = "both"\n'
    free = built(tmp_path, first + sleeve + "cut_gap = 58\nlength = 190\n")
    assert {f.code: f.status for f in run(free)}["geometry/plug-room"] == "pass"
    for r in design.strength.results.values():
        told = [a for a in r.attachments if a.subject == "rear_brace_left_plug_1"]
        assert [a.kind for a in told] == ["joint_bolt"]
        assert told[0].use is not None
    j = joints_of(design.cage)[0]
    from cagekit.materials.fasteners import fastener

    # M10 10.9, shank in both planes: 0.6 x 1040 x 78.5 / 1.25 (ISO 898-1, EN 1993-1-8)
    bolt = fastener(j.size.thread, j.grade)
    assert plane_shear(bolt, threads=False) == pytest.approx(0.6 * 1040 * 78.54 / 1.25, rel=1e-3)


REFUSED = [
    ('at = "on main_hoop.left at height 300"', "is bent, and a plug joins straight tubes only"),
    ('at = "on rear_brace_left at fraction 0.02"', "its tapered plug of"),
    ('at = "on rear_brace_left at middle"\nnose = 15', "needs a nose of 20.4 mm"),
    ('at = "on rear_brace_left at middle"\ntaper = 70', "needs 20.4 mm at least"),
    ('at = "on rear_brace_left at middle"\ntaper = 3\nangle = 4', "that is no seat"),
    ('at = "on rear_brace_left at middle"\nsocket = "c"', "socket"),
    ('at = "on rear_brace_left at middle"\ncheek = 5', "cheek"),
]


@pytest.mark.parametrize(("joint", "words"), REFUSED)
def test_what_cannot_be_is_refused_with_its_line(tmp_path: Path, joint: str, words: str) -> None:
    with pytest.raises(InputError, match=re.escape(words)) as told:
        built(tmp_path, f'\n[[joint]]\nkind = "plug"\n{joint}\n').cage  # noqa: B018
    assert "my.toml:" in str(told.value)
    assert "[joint entry " in str(told.value)


def test_the_usual_taper_lets_go() -> None:
    """A machine taper of 7/24 leans by 8.3 degrees: ISO 7388-1."""
    assert tan(radians(8.3)) == pytest.approx(7 / 48, rel=2e-3)


def test_shoulders_and_bushes_are_in_the_weld_map(tmp_path: Path) -> None:
    """Once round each shoulder of 45 mm, as deep as the wall; both ends of each bush of 14 mm."""
    sleeve = '[[joint]]\nat = "on rear_brace_left at fraction 0.6"\n'
    plug = '[[joint]]\nkind = "plug"\nat = "on rear_brace_left at fraction 0.2"\n'
    made = built(tmp_path, plug + sleeve)
    rows = [r for r in made.weld_rows if r.kind == "bolted joint"]
    assert [r.id for r in rows] == [f"b{n:02d}" for n in range(1, len(rows) + 1)]
    told = {r.what: r for r in rows}
    for kind, piece in (("socket", "a"), ("plug", "b")):
        row = told[f"rear_brace_left_plug_1_{kind}"]
        assert row.to == f"rear_brace_left_piece_{piece}"
        assert (row.form, row.count) == ("bevel groove", 1)
        assert row.length == pytest.approx(pi * 45.0)
        end = made.cage.member(row.to).path
        assert min(np.linalg.norm(row.point - e) for e in (end.start, end.end)) < 1e-6
    bushes = [r for r in rows if "bush" in r.what]
    assert [(r.count, r.form) for r in bushes] == [(2, "fillet")] * 4
    assert all(r.length == pytest.approx(pi * 14.0) for r in bushes)

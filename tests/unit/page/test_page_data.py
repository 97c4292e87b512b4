"""What the page holds: meshes small and true, texts that stay texts, a policy that fits."""

from __future__ import annotations

import json
import re
import zlib
from base64 import b64decode, b64encode
from hashlib import sha256
from html.parser import HTMLParser

import demos
import numpy as np
import pytest

from cagekit.design import Design
from cagekit.page.data import page_data
from cagekit.page.html import html
from cagekit.page.meshes import packed, packed_all, shared, squeezed
from cagekit.page.rows import changed_rows, sizes
from cagekit.page.strength import strength_data
from cagekit.view.camera import FRONT, SIDE
from cagekit.view.extents import cage_extents
from cagekit.view.scene import bodies
from cagekit.writers.report import write_report


@pytest.fixture(scope="module")
def roadster() -> Design:
    return demos.design("track-roadster")


@pytest.fixture(scope="module")
def report(roadster, tmp_path_factory) -> str:
    folder = tmp_path_factory.mktemp("report")
    write_report(roadster, folder)
    return (folder / "report.html").read_text("utf-8")


def unpacked(mesh: dict) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    low, high = np.array(mesh["low"]), np.array(mesh["high"])
    steps = np.frombuffer(b64decode(mesh["points"]), "<u2").reshape(-1, 3)
    normals = np.frombuffer(b64decode(mesh["normals"]), "i1").reshape(-1, 3) / 127
    kind = "<u4" if mesh.get("wide") else "<u2"
    triangles = np.frombuffer(b64decode(mesh["triangles"]), kind).reshape(-1, 3)
    return low + (high - low) * steps / 65535, normals, triangles


def test_a_packed_mesh_lies_within_a_step_of_the_mesh(roadster):
    for body in bodies(roadster.cage):
        points, normals, triangles = unpacked(packed(body.mesh))
        span = np.ptp(body.mesh.vertices, axis=0).max()
        assert np.abs(points - body.mesh.vertices).max() <= span / 65535 + 1e-3
        assert np.abs(normals - body.mesh.normals).max() < 0.5 / 127 + 1e-9
        assert (triangles == body.mesh.triangles).all()


@pytest.mark.parametrize("build", ["gravel-hatch", "sprint-wagon", "track-roadster"])
def test_every_body_is_closed_and_faces_outwards(build):
    """The page draws no back of a face: where one looked the wrong way there would be a hole."""
    for row in page_data(demos.design(build))["bodies"]:
        points, normals, triangles = unpacked(row["packed"])
        corners = points[triangles]
        faces = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        sizes = np.linalg.norm(faces, axis=1)
        wrong = sizes[np.einsum("ij,ij->i", faces, normals[triangles].sum(axis=1)) < 0]
        assert wrong.sum() < 1e-3 * sizes.sum(), row["id"]
        # Gauss: the faces of a closed body add up to nothing, its volume is positive
        assert np.abs(faces.sum(axis=0)).max() < 1e-4 * sizes.sum(), row["id"]
        middle = corners - points.mean(axis=0)
        volumes = np.einsum("ij,ij->i", middle[:, 0], np.cross(middle[:, 1], middle[:, 2]))
        assert volumes.sum() > 0, row["id"]


def test_meshes_packed_at_one_go_are_as_packed_alone(roadster):
    meshes = [b.mesh for b in bodies(roadster.cage)]
    assert packed_all(meshes) == [packed(m) for m in meshes]
    assert packed_all([]) == []


def test_the_key_tells_meshes_apart(roadster):
    first, second = (b.mesh for b in bodies(roadster.cage)[:2])
    assert packed(first)["key"] == packed(first)["key"] != packed(second)["key"]


def test_squeezed_meshes_come_back(roadster):
    rows = page_data(roadster)["bodies"]
    light, text = squeezed(rows)
    back = json.loads(zlib.decompress(b64decode(text)))
    assert [back[b["key"]] for b in light] == [b["packed"] for b in rows]
    assert not any("packed" in b for b in light)


def test_rows_that_a_page_has_are_sent_as_numbers():
    names = ("code", "subject", "measured", "text", "limit")
    one, two, other = (dict.fromkeys(names, word) for word in ("one", "two", "other"))
    stricter = {**two, "limit": "less"}
    assert changed_rows([two, other, one], [one, two]) == [1, other, 0]
    assert changed_rows([stricter, one], [one, two]) == [stricter, 0]
    assert changed_rows([one], []) == [one]
    # rows that cannot be told apart come whole, or with the number of one that is the same
    before = [one, {**one, "limit": "less"}]
    found = changed_rows(before, before)
    assert [before[f] if isinstance(f, int) else f for f in found] == before


def test_triangles_that_many_bodies_have_are_sent_once(roadster):
    rows = page_data(roadster)["bodies"]
    want = [b["packed"]["triangles"] for b in rows]
    light, lists = shared([*rows, {"id": "known"}])
    assert [lists[b["packed"]["triangles"]] for b in light[:-1]] == want
    assert light[-1] == {"id": "known"}
    assert sorted(lists) == sorted(set(want))
    assert len(lists) < len(want) / 2
    assert [b["packed"]["triangles"] for b in rows] == want  # the rows themselves stay


def test_every_tube_has_a_card_with_its_cut_length(roadster):
    cards = page_data(roadster)["cards"]
    for id_ in roadster.cage.members:
        rows = dict(cards[id_]["rows"])
        assert float(rows["Cut length"].split()[0]) == pytest.approx(
            roadster.cage.cut_length(id_), abs=0.06
        )
        # what is sawn of a bent tube is another length
        assert ("blank" in rows["Cut length"]) == (rows["Bends"] != "none, straight")
        ends = np.array(cards[id_]["axis"])[[0, -1]]
        path = roadster.cage.member(id_).path
        assert np.abs(ends - [path.start, path.end]).max() < 1e-3


class Scripts(HTMLParser):
    """Collects what stands in script and style elements, and every attribute."""

    def __init__(self) -> None:
        super().__init__()
        self.open, self.texts, self.attributes = "", [], []

    def handle_starttag(self, tag, attrs):
        self.attributes += [(tag, *a) for a in attrs]
        self.open = tag
        if tag in ("script", "style"):
            self.texts.append([tag, dict(attrs).get("type", ""), ""])

    def handle_endtag(self, tag):
        self.open = ""

    def handle_data(self, data):
        if self.open in ("script", "style"):
            self.texts[-1][2] += data


def parsed(text: str) -> Scripts:
    page = Scripts()
    page.feed(text)
    return page


def test_the_policy_names_script_and_style_by_hash_and_nothing_from_outside(report):
    page = parsed(report)
    policy = next(v for t, k, v in page.attributes if k == "content" and "default-src" in v)
    assert "default-src 'none'" in policy
    assert "connect-src 'none'" in policy
    assert "unsafe" not in policy
    for tag, kind, text in page.texts:
        if kind == "application/json":
            continue
        assert b64encode(sha256(text.encode()).digest()).decode() in policy, tag
    for tag, name, value in page.attributes:
        assert not name.startswith("on"), (tag, name)
        assert name != "style"
        if name in ("src", "href"):
            assert value.startswith("data:")
    assert not re.search(r"https?://", report)


def test_the_report_is_small_and_the_same_again(roadster, report, tmp_path):
    assert len(report.encode()) < 1_500_000
    write_report(roadster, tmp_path)
    assert (tmp_path / "report.html").read_text("utf-8") == report


def test_hostile_texts_stay_in_the_data():
    evil = "</script><script>alert(1)</script><!--script--><img src=x onerror=alert(2)>\u2028"
    page = parsed(html({"name": evil}, title=evil))
    assert [t for t, *_ in page.texts] == ["style", "script", "script"]
    data = next(text for _, kind, text in page.texts if kind == "application/json")
    assert json.loads(data) == {"name": evil}
    assert "<" not in data
    assert not any(name == "onerror" for _, name, _ in page.attributes)


@pytest.mark.slow
def test_strength_comes_with_every_case_and_a_line_for_each_tube(roadster):
    """Uses and shifts are those of the solver; bands hold every use."""
    data = strength_data(roadster)
    result = roadster.strength
    assert [c["id"] for c in data["cases"]] == list(result.results)
    assert "never approval" in data["caution"]
    for case in data["cases"]:
        found = result.results[case["id"]]
        assert case["uses"] == {u.member: round(u.use, 3) for u in found.uses}
        assert set(case["shifts"]) == set(data["lines"]) == set(roadster.cage.members)
        for name, at in result.model.nodes_of.items():
            moved = found.response.moved[[n for _, n in at], :3]
            assert np.allclose(case["shifts"][name], moved, atol=1e-4)
            assert len(data["lines"][name]) == len(at)
        assert all(use <= data["bands"][-1]["upto"] for use in case["uses"].values())
    assert data["worst"] == result.worst.case.id


def test_the_largest_demos_stay_below_the_limit(made):
    for build in ("sprint-wagon", "gravel-hatch"):
        assert (made(build) / "report.html").stat().st_size < 1_500_000, build


def test_sizes_are_those_of_the_drawings_and_stand_on_the_floor(roadster):
    """Feet are cut level: no tube reaches half its diameter below its plate."""
    cage = roadster.cage
    (length, height), (width, _) = (np.ptp(cage_extents(cage, c), axis=0) for c in (SIDE, FRONT))
    told = {row["text"].split()[0]: np.subtract(row["to"], row["from"]) for row in sizes(roadster)}
    assert np.abs(told["length"]).max() == pytest.approx(length, abs=0.02)
    assert np.abs(told["width"]).max() == pytest.approx(width, abs=0.02)
    assert np.abs(told["height"]).max() == pytest.approx(height, abs=0.02)
    lowest = min(body.mesh.vertices[:, 2].min() for body in bodies(cage))
    assert sizes(roadster)[2]["from"][2] == pytest.approx(lowest, abs=0.02)

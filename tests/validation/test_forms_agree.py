"""Forms, labels, templates and steps against cage.json and the tables, by words on the page.

What `test_shopbook_agrees.py` does for the drawings and tables of the shop book, for the pages
that are filled in, stuck on and followed. Knows the writers' words, not their code.
"""

from __future__ import annotations

import csv
import json
import re
from collections import Counter
from collections.abc import Callable, Iterator
from itertools import accumulate
from pathlib import Path
from typing import Any

import bookreader
import demos
import numpy as np
import pdfpages
import pytest
from bookreader import degrees_of, mm

from cagekit.names import named
from cagekit.writers.json import write_cage

CLEAR = 75.0
"""A gauge reads a wall on a straight at least this far from bends and cuts, or it is told, mm."""


class Papers:
    """A demo's printed papers, and its whole tubes as data."""

    def __init__(self, name: str, folder: Path, spare: Path) -> None:
        self.folder = folder
        self.design = demos.design(name)
        self.unit = self.design.units
        self.pages = bookreader.read(folder / "shopbook.pdf")
        self.cage: dict[str, Any] = json.loads((folder / "cage.json").read_text("utf-8"))
        self.pieces = {m["id"]: m for m in self.cage["members"]}
        told = self.cage["members"]
        self.doors = self.cage.get("doors", [])
        if self.doors:
            from cagekit.design import Design

            write_cage(Design(self.design.build, cage=self.design.fitted), spare)
            told = json.loads((spare / "cage.json").read_text("utf-8"))["members"]
        self.members = {m["id"]: m for m in told}
        self.numbers = {str(n): m for n, m in enumerate(told, start=1)}
        self.fine = 25.4 / self.design.tooling.paper.fraction / 2 if self.unit == "in" else 0.51

    def table(self, name: str) -> list[dict[str, str]]:
        return list(csv.DictReader((self.folder / name).read_text("utf-8").splitlines()))

    def named(self, title: str) -> bookreader.Page:
        return next(p for p in self.pages if title in p.title)


_READ: dict[str, Papers] = {}


@pytest.fixture(
    params=[
        pytest.param(n, marks=pytest.mark.xdist_group(f"book of {n}"))
        for n in ("sprint-wagon", "track-roadster")
    ]
)
def papers(
    request: pytest.FixtureRequest,
    made: Callable[[str], Path],
    tmp_path_factory: pytest.TempPathFactory,
) -> Papers:
    name = request.param
    if name not in _READ:
        _READ[name] = Papers(name, made(name), tmp_path_factory.mktemp(name))
    return _READ[name]


def rim(member: dict[str, Any], end: str) -> np.ndarray:
    """A cut's outer curve ``(n, 2)``: degrees round, mm back; a square one where none is told."""
    found = member["ends"][end].get("outer")
    return np.array(found, float) if found else np.array([[0.0, 0.0]])


def tip(member: dict[str, Any], end: str) -> float:
    inner = member["ends"][end].get("inner") or [[0.0, 0.0]]
    return float(min(rim(member, end)[:, 1].min(), np.array(inner)[:, 1].min()))


def lengths(member: dict[str, Any]) -> list[float]:
    return [
        float(np.radians(p["angle_deg"]) * p["radius"])
        if p["kind"] == "arc"
        else float(np.linalg.norm(np.subtract(p["end"], p["start"])))
        for p in member["path"]
    ]


def size(text: str) -> list[float]:
    """Diameter and wall of ``45 mm x 2.5 mm`` or ``1.625 in x 0.134 in``, mm."""
    return [mm(t) for t in text.split(" x ")]


# ---- inspection ----


def test_the_gauge_is_held_on_a_straight_of_the_tube(papers: Papers) -> None:
    text = next(p for p in papers.pages if "Inspection by the builder" in p.text())
    rest = [p for p in papers.pages if p.number >= text.number]
    heads = ("Tube", "Nominal", "Where", "Outside", "Wall", "Welds seen")
    body = "\n".join(p.text() for p in rest)
    said = re.findall(r"^(\d+) [A-Za-z -]+?[\d ]*? ?([\d.]+ (?:mm|in) x [\d.]+ (?:mm|in)) "
                      r"([\d/ .]+ (?:mm|in)) from end A's tip(.*)$", body, re.M)  # fmt: skip
    assert [n for n, *_ in said] == list(papers.numbers), heads
    for number, nominal, where, more in said:
        m = papers.numbers[number]
        assert size(nominal) == pytest.approx([m["tube"]["od"], m["tube"]["wall"]], abs=0.02)
        at = mm(where) + tip(m, "a")
        found = lengths(m)
        ends = list(accumulate(found))
        last = len(found) - 1
        room = -np.inf
        for k, (p, end, long) in enumerate(zip(m["path"], ends, found, strict=True)):
            if p["kind"] != "line":
                continue
            low = end - long + (rim(m, "a")[:, 1].max() if k == 0 else 0.0)
            high = end - (rim(m, "b")[:, 1].max() if k == last else 0.0)
            room = max(room, min(at - low, high - at))
        assert room > -papers.fine
        assert ("only" in more) == (room < CLEAR), (m["id"], room)


# ---- scrutineer ----


def test_the_scrutineers_page_counts_what_is_there(papers: Papers) -> None:
    page = papers.named("For the scrutineer")
    text = " ".join(page.text().split())
    sizes = Counter((m["tube"]["od"], m["tube"]["wall"]) for m in papers.members.values())
    left, right = page.halves()
    for said, count in re.findall(r"([\d.]+ \w+ x [\d.]+ \w+), \S+: (\d+) tubes?:", text):
        od, wall = size(said)
        (one,) = [k for k in sizes if abs(k[0] - od) < 0.02 and abs(k[1] - wall) < 0.02]
        assert sizes.pop(one) == int(count)
    assert not sizes
    bars = re.findall(r"^([A-Za-z -]+) (\d+) \(([\d, ]+)\)$", right.text(), re.M)
    roles: dict[str, list[str]] = {}
    for n, m in papers.numbers.items():
        roles.setdefault(named(m["role"]), []).append(n)
    assert {b: (c, n.split(", ")) for b, c, n in bars} == {
        k: (str(len(v)), v) for k, v in roles.items()
    }
    kinds: Counter[tuple[str, float]] = Counter()
    for p in papers.cage["plates"]:
        kinds[named(p["kind"]), p["thickness"]] += p.get("quantity", 1)
    plates = re.findall(r"^([a-z ]+), ([\d.]+ (?:mm|in)) \S+ (\d+)$", left.text(), re.M)
    assert len(plates) == len(kinds)
    for kind, thick, count in plates:
        (one,) = [k for k in kinds if k[0] == kind and abs(k[1] - mm(thick)) < 0.02]
        assert kinds[one] == int(count)
    pads = papers.table("materials.csv")
    padded = {r["item"] for r in pads if r.get("kind") == "padding"} if pads else set()
    listed = re.search(r"Padding tubes ([\d, ]+)", text)
    assert listed
    want = {m["id"] for n, m in papers.numbers.items() if n in listed[1].split(", ")}
    assert not padded or want <= padded


def test_every_row_of_the_scrutineers_table_is_printed_with_its_status(papers: Papers) -> None:
    sheet = papers.named("For the scrutineer").number
    rows = [p for p in papers.pages if p.number > sheet]
    firsts = Counter(
        words[0]["text"]
        for p in rows
        for words in p.lines()
        if words[0]["x0"] < 50 and words[0]["size"] < 8.5
    )
    told = papers.table("scrutineer.csv")
    for status, count in Counter(r["status"].split()[0] for r in told).items():
        assert firsts[status] == count, status
    # every measured value is there as it is in the table, in a table of the same units
    if papers.unit == "mm":
        body = " ".join(" ".join(p.text().split()) for p in rows)
        for r in told:
            for one in filter(None, r["measured"].split(", ")):
                assert all(word in body for word in one.split()), r


# ---- order of work ----


def test_the_tapes_of_the_steps_are_those_of_the_table(papers: Papers) -> None:
    """Each tape check of a step: the distance and the crossed one of order.csv."""
    told = [r for r in papers.table("order.csv") if r["distance_mm"]]
    body = "\n".join(p.text() for p in papers.pages)
    length = r"[\d/ .]+ (?:mm|in)"
    found = re.findall(rf"^. (.+) to (.+): ({length})(?:, crossed ({length}))?", body, re.M)
    assert len(found) == len(told)
    for (_, _, near, cross), r in zip(found, told, strict=True):
        assert mm(near) == pytest.approx(float(r["distance_mm"]), abs=papers.fine + 0.06)
        assert bool(cross) == bool(r["crossed_mm"])
        if cross:
            assert mm(cross) == pytest.approx(float(r["crossed_mm"]), abs=papers.fine + 0.06)


def test_a_bar_is_divided_where_its_pieces_end(papers: Papers) -> None:
    """The stub's length from its tip, the saw's width and the pin, as cage.json has them."""
    body = " ".join(" ".join(p.text().split()) for p in papers.pages)
    length = r"([\d/ .]+ (?:mm|in))"
    said = re.findall(
        rf"(Hinge|Latch): the stub ends {length} from the tip of the bar's end ([AB]), the saw "
        rf"takes {length}, the pin is {length} from that tip. Drill {length}",
        body,
    )
    joints = [j for d in papers.doors for j in d["joints"]]
    assert len(said) == len(joints)
    fine = 25.4 / 64 + 0.01 if papers.unit == "in" else 0.06
    for (name, stub, end, saw, pin, drill), j in zip(said, joints, strict=True):
        assert (name.lower(), end.lower()) == (j["name"], j["end"])
        whole = papers.pieces[j["stub"]]["cut_length"]
        assert mm(stub) == pytest.approx(whole, abs=fine)
        assert mm(saw) == pytest.approx(j["cut_gap"], abs=fine)
        assert mm(pin) == pytest.approx(whole + j["pin_offset"], abs=fine)
        assert mm(drill) == pytest.approx(j["drill"]["diameter"], abs=fine)


# ---- plates ----


def test_every_card_of_a_plate_names_a_drawing_that_is_there(papers: Papers) -> None:
    found = 0
    for page in papers.pages:
        if not re.search(r"\bP\d+ \d+ off", page.text()):
            continue
        for name, twins in re.findall(r"File (\w+)\.dxf( or a twin's)?", page.text()):
            assert (papers.folder / "plates" / f"{name}.dxf").is_file()
            found += 1
            (one,) = [p for p in papers.cage["plates"] if p["id"] == name]
            alike = [
                p
                for p in papers.cage["plates"]
                if (p["thickness"], p["kind"]) == (one["thickness"], one["kind"])
                and np.isclose(p["volume"], one["volume"], rtol=1e-6)
            ]
            assert len(alike) >= (2 if twins else 1)
    assert found > 0


# ---- labels ----


def boxes(folder: Path) -> Iterator[list[list[str]]]:
    """Words of every label, line by line."""
    for page in pdfpages.pages(folder / "labels.pdf"):
        for s in page.shapes:
            if len(s.points) < 3 or s.x1 - s.x0 < 120:
                continue
            inside = [
                w
                for w in page.words
                if s.x0 < w["x0"] and w["x1"] < s.x1 and s.top < w["top"] and w["bottom"] < s.bottom
            ]
            yield [[w["text"] for w in line] for line in pdfpages.lines(inside)]


def test_a_label_says_what_its_tube_is_sawn_from(papers: Papers) -> None:
    blanks = {r["member"]: float(r["blank_mm"]) for r in papers.table("bends.csv") if r["blank_mm"]}
    tubes, plates = {}, Counter()
    for lines in boxes(papers.folder):
        text = " ".join(" ".join(line) for line in lines)
        found = re.search(r"A (\w+) - B (\w+) line: (.+) blank (.+), (.+)$", text)
        if found:
            number = re.search(r"\b(\d+)\b", text)
            assert number
            m = papers.numbers[number[1]]
            start, end = np.array(m["path"][0]["start"]), np.array(m["path"][-1]["end"])
            for axis, pair in enumerate((("front", "rear"), ("left", "right"), ("top", "bottom"))):
                if found[1] in pair:
                    assert {found[1], found[2]} == set(pair)
                    assert ((start - end)[axis] > 0) == (found[1] == pair[0]), m["id"]
            assert mm(found[4]) == pytest.approx(blanks[m["id"]], abs=papers.fine + 0.01)
            job = found[5].removesuffix(f" {papers.design.name}")
            assert size(job) == pytest.approx([m["tube"]["od"], m["tube"]["wall"]], abs=0.02)
            tubes[number[1]] = m["id"]
        else:
            one = re.search(r"(\w+)\.dxf", text)
            assert one, text
            plates[one[1]] += 1
    assert list(tubes) == list(papers.numbers)
    assert plates == Counter({p["id"]: p.get("quantity", 1) for p in papers.cage["plates"]})


# ---- templates ----


def test_the_words_on_a_template_are_those_of_its_cut(papers: Papers) -> None:
    """Number, name and end, what it is coped to, tube, reference line and the deepest side."""
    joints = {(j["branch"], j["branch_end"]): j for j in papers.cage["joints"]}
    whole = {named(p): d["fitted"]["id"] for d in papers.doors for p in d["pieces"]}
    seen = 0
    for page in pdfpages.pages(papers.folder / "copes.pdf"):
        starts = [w for w in page.words if w["text"] in ("deepest", "cut")]
        for w in starts:
            label = [
                v
                for v in page.words
                if -1.0 < v["x0"] - w["x0"] < 185.0 and -38.0 < v["top"] - w["top"] < 2.0
            ]
            lines = [" ".join(v["text"] for v in line) for line in pdfpages.lines(label)]
            told = re.search(
                r"\n(\d+) ([A-Za-z \d-]+) ([AB])\nto (.+), tube (.+)\n(0°: .+)\n"
                r"(?:deepest at (.+°)|cut)",
                "\n".join(["", " ".join(lines[:-5]), *lines[-5:]]).replace(",\n", ", "),
            )
            if not told or told[1] not in papers.numbers:
                continue  # the words on top
            m, end = papers.numbers[told[1]], told[3].lower()
            if told[2] in whole:  # the end of a piece: it bears its whole tube's number
                assert whole[told[2]] == m["id"]
                continue
            assert told[2] == named(m["id"])
            assert size(told[5]) == pytest.approx([m["tube"]["od"], m["tube"]["wall"]], abs=0.02)
            joint = joints.get((m["id"], end))
            if joint:
                # of several tubes the clocks between which each but the first is follow its name
                first, *more = told[4].split(", ")
                further = [re.fullmatch(r"(.+?)((?: and)? \d+° to \d+°)+", t) for t in more]
                assert [first, *(t[1] for t in further if t)] == [
                    named(p) for p in joint["parents"]
                ]
            bent = any(p["kind"] == "arc" for p in m["path"])
            assert told[6].startswith("0°: outside" if bent else "0°: top of the tube")
            cut = rim(m, end)
            if told[7]:
                at = np.interp(degrees_of(told[7]), cut[:, 0], cut[:, 1], period=360)
                assert at == pytest.approx(cut[:, 1].max(), abs=0.2)
            seen += 1
    cuts = (rim(m, e)[:, 1] for m in papers.members.values() for e in "ab")
    assert seen == sum(np.ptp(cut) > 0.05 for cut in cuts)

"""Every table, drawing and picture carries the caution with it; tables tell one unit system."""

from __future__ import annotations

import csv
import re
import shutil
import subprocess
from collections.abc import Callable
from math import degrees
from pathlib import Path

import demos
import pytest

from cagekit.design import Design
from cagekit.names import named
from cagekit.shop.nesting.letters import strokes
from cagekit.shop.nesting.plate_drawing import Layer
from cagekit.swing.motion import sweep
from cagekit.view.door_sheet import FOOT, HALF, OPEN, door_sheet, opening
from cagekit.writers.copes import all_templates, drawing, table

INCH_WORDS = re.compile(r"\d\s?(in|ft)\b|\d\"")


@pytest.fixture(scope="module")
def design() -> Design:
    return demos.design("sprint-wagon")


@pytest.fixture(scope="module")
def folder(design: Design, made: Callable[[str], Path]) -> Path:
    return made(design.build.name)


def test_every_table_carries_the_caution_and_stays_a_table(folder: Path) -> None:
    found = sorted(folder.glob("*.csv"))
    assert {f.stem for f in found} >= {
        "bends", "cuts", "materials", "welds", "order", "setting-out", "inspection", "scrutineer",
        "copes",
    }  # fmt: skip
    for file in found:
        rows = list(csv.DictReader(file.read_text("utf-8").splitlines()))
        assert "can kill" in rows[0]["caution"], file.name
        assert not any(r["caution"] for r in rows[1:]), file.name
        assert not any(None in r for r in rows), file.name


def test_tables_of_an_inch_build_are_in_millimetres_to_the_last_word(folder: Path) -> None:
    for file in folder.glob("*.csv"):
        rows = list(csv.DictReader(file.read_text("utf-8").splitlines()))
        assert not [c for c in rows[0] if c.endswith("_in")], file.name
        if file.name in ("order.csv", "scrutineer.csv"):
            for row in rows:  # a limit stands as its rulebook writes it
                told = " ".join(row.get(c) or "" for c in ("text", "measured"))
                assert not INCH_WORDS.search(told), (file.name, told)


def test_ends_without_a_parent_say_what_they_are_cut_for(design: Design) -> None:
    header, rows = table(design)
    ends = {(r[0], r[1]): r[header.index("to")] for r in rows}
    assert ends["outrigger_left", "a"] == "plate"
    assert ends["main_hoop", "a"] == "outrigger_left"
    cut = [t for t in all_templates(design) if t.member in {d.bar for d in design.cage.doors}]
    assert cut
    from cagekit.writers.copes import pdf_data

    told = {t["title"]: t["to"] for t in pdf_data(design, all_templates(design))["templates"]}
    for t in cut:
        name = named(t.member)
        assert told[f"{name}  {t.end.upper()}"] in ("hinge relief", "latch relief")


def test_a_template_for_the_plotter_carries_caution_and_check_bar(design: Design) -> None:
    t = all_templates(design)[0]
    notes = [s.line for s in drawing(t, "in") if s.layer is Layer.NOTE]
    words = strokes("computed geometry, not approval:", 2.5)
    # its letters are there, the same shapes on the note layer alone
    shapes = [(n.vertices - n.vertices[0]).round(6).tolist() for n in notes]
    for letter in words:
        assert (letter - letter[0]).round(6).tolist() in shapes
    bar = [n for n in notes if len(n.vertices) == 2 and n.length == pytest.approx(100.0)]
    assert len(bar) == 1


def test_the_sheet_of_doors_has_greys_dimensions_and_caution(design: Design) -> None:
    swept = {d.bar: sweep(design.cage, design.build.car, d) for d in design.cage.doors}
    for way in swept.values():
        assert "_" not in opening(way)  # names, no ids
        assert f"opens {degrees(way.full):.0f} degrees; meets " in opening(way)
    sheet = door_sheet(design.cage, swept, "in")
    for colour in (HALF, OPEN):
        assert max(colour) - min(colour) < 0.1
    blue = sum(n for n, c in sheet.getcolors(1 << 24) if c == (20, 60, 150))
    assert blue > 3000
    foot = sheet.crop((0, sheet.height - FOOT + 12, sheet.width, sheet.height)).convert("L")
    assert foot.getextrema()[0] < 90


@pytest.mark.skipif(shutil.which("pdfinfo") is None, reason="poppler is not installed")
def test_poppler_reads_the_papers_without_complaint(folder: Path) -> None:
    papers = sorted(folder.glob("*.pdf"))
    assert {p.name for p in papers} >= {"copes.pdf", "labels.pdf", "shopbook.pdf"}
    for file in papers:
        told = subprocess.run(
            ["pdfinfo", "-struct", str(file)], capture_output=True, text=True, check=True
        )
        assert told.stderr == ""

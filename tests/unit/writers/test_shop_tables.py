"""The shop's tables as CSV: every row is there, numbers are those of the cage."""

from __future__ import annotations

import csv
from collections.abc import Callable
from math import degrees
from pathlib import Path
from types import SimpleNamespace

import demos
import numpy as np
import pytest
from msgspec.structs import replace

from cagekit.checks.registry import run
from cagekit.design import Design
from cagekit.make.products import chosen
from cagekit.shop.papers.takeoff import PaddingOrder
from cagekit.shop.sawing.templates import template
from cagekit.writers.copes import table
from cagekit.writers.scrutineer_page import padding_text
from cagekit.writers.shopbook import Book

TABLES = ("welds", "order", "inspection", "scrutineer", "copes")


@pytest.fixture(scope="module")
def design() -> Design:
    return demos.design("gravel-hatch")


@pytest.fixture(scope="module")
def tables(design: Design, made: Callable[[str], Path]) -> dict[str, list[dict[str, str]]]:
    folder = made(design.build.name)
    out = {}
    for name in TABLES:
        text = (folder / f"{name}.csv").read_text("utf-8")
        assert "\r" not in text
        out[name] = list(csv.DictReader(text.splitlines()))
    return out


def test_every_joint_is_in_the_weld_table(design: Design, tables: dict) -> None:
    rows = {r["joint"]: r for r in tables["welds"]}
    assert [i for i in rows if rows[i]["kind"] == "tube joint"] == [
        j.id for j in design.cage.joints
    ]
    assert {r["plate"] for r in rows.values() if r["plate"]} <= {p.id for p in design.cage.plates}
    assert all(r["welder"] == r["date"] == "" for r in rows.values())
    for joint in design.cage.joints:
        row = rows[joint.id]
        assert float(row["angle_deg"]) == pytest.approx(degrees(joint.angle), abs=1e-4)
        at = [float(row[k]) for k in ("x_mm", "y_mm", "z_mm")]
        assert at == pytest.approx(list(joint.point), abs=1e-3)
        assert 0 <= float(row["reached_percent"]) <= float(row["best_reached_percent"]) <= 100


def test_the_order_fits_every_tube_once_and_welds_every_joint_once(
    design: Design, tables: dict
) -> None:
    rows = tables["order"]
    assert sorted(r["item"] for r in rows if r["kind"] == "fit") == sorted(design.cage.members)
    welded = [r["item"] for r in rows if r["kind"] in ("weld", "weld in part")]
    assert sorted(welded) == sorted(j.id for j in design.cage.joints)
    steps = [int(r["step"]) for r in rows]
    assert steps == sorted(steps)
    measured = [r for r in rows if r["kind"] == "measure"]
    assert measured
    assert all(float(r["distance_mm"]) > 0 for r in measured)


def test_inspection_and_scrutineer_leave_blanks_to_fill_in(design: Design, tables: dict) -> None:
    assert [r["member"] for r in tables["inspection"]] == list(design.cage.members)
    assert all(r["wall_measured_mm"] == "" for r in tables["inspection"])
    assert tables["scrutineer"]
    assert all(r["signature"] == "" for r in tables["scrutineer"])


def test_checks_and_welds_are_worked_out_once_for_a_job(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    design = Design.load("track-roadster")
    run(design)
    welds = design.welds

    def never(*_: object) -> None:
        raise AssertionError("the checks ran twice")

    monkeypatch.setattr("cagekit.checks.books.findings", never)
    for product in chosen(("welds", "order", "inspection", "scrutineer")):
        product.load()(design, tmp_path)
    assert len(list(tmp_path.glob("*.csv"))) == 4
    assert design.welds is welds


def test_the_turn_between_the_ends_is_that_of_the_deepest_spots_in_space(design: Design) -> None:
    book = Book(design)
    rows = {r[0]: r for r in book.clocks()}
    member = design.cage.members["windscreen_brace_left"]
    axis = member.path.out_direction("b")
    deep = []
    for end in ("a", "b"):
        t = template(design.cage, member, end, 0.1)  # type: ignore[arg-type]
        out, zero = member.path.out_direction(end), design.cage.cut(member.id, end).zero
        phi = np.radians(t.deepest)
        deep.append(np.cos(phi) * zero + np.sin(phi) * np.cross(out, zero))
    turn = degrees(np.arctan2(np.cross(deep[0], deep[1]) @ axis, deep[0] @ deep[1]))
    said = float(rows[book.number(member.id)][-1].rstrip("°"))
    assert (said - turn + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1.0)


def test_every_end_has_a_row_for_the_saw_and_for_the_grinder(design: Design) -> None:
    book = Book(design)
    ends = [(m.id, e, end) for m in design.cage.members.values() for e, end in m.ends]
    coped = [(m, e) for m, e, end in ends if end.parents or end.plane]
    assert [(r[0], r[1]) for r in book.saws()] == [(book.number(m), e.upper()) for m, e in coped]
    stations = design.tooling.paper.stations
    assert all(len(r) == stations + 1 for r in book.ordinates())
    assert len(book.ordinates()) >= len(coped)


@pytest.mark.parametrize("stations", [8, 12, 16])
def test_an_ordinate_is_that_of_the_angle_over_its_column(design: Design, stations: int) -> None:
    paper = design.tooling.paper.model_copy(update={"stations": stations})
    tooling = design.tooling.model_copy(update={"paper": paper})
    header, rows = table(Design(replace(design.build, tooling=tooling), cage=design.cage))
    named = {n: k for k, n in enumerate(header) if n.startswith("ordinate_")}
    assert len(named) == stations
    row = next(r for r in rows if r[:2] == ["rear_brace_left", "a"])
    cut = design.cage.cut("rear_brace_left", "a")
    angles = np.radians([float(n.split("_")[1]) for n in named])
    depths = cut.trim(angles, cut.outer_radius) - cut.shortest
    assert [float(row[k]) for k in named.values()] == pytest.approx(list(depths), abs=0.06)


def test_padding_is_no_longer_than_its_tube(design: Design) -> None:
    long = {p.member: p.length / design.cage.cut_length(p.member) for p in design.materials.padding}
    assert max(long.values()) == pytest.approx(1.0, abs=1e-9)  # some are padded from tip to tip
    assert min(long.values()) < 0.9


def test_a_bare_bar_near_a_helmet_is_not_called_padded(design: Design) -> None:
    book = Book(design)
    bare = PaddingOrder(member="header_bar", od=40.0, length=275.0, thickness=0.0, asked=False)
    worn = replace(bare, member="main_hoop", thickness=20.0, asked=True)
    assert book.padding_order(bare)[2:] == [
        "not chosen",
        "within reach of a helmet; the build does not pad it",
    ]
    assert book.padding_order(worn)[2:] == ["20.0 mm", "asked for"]
    listed = SimpleNamespace(
        numbers=book.numbers,
        design=SimpleNamespace(materials=SimpleNamespace(padding=(bare, worn))),
    )
    assert padding_text(listed) == f"tubes {book.numbers['main_hoop']}"  # type: ignore[arg-type]

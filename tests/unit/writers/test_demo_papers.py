"""The shop papers of every demo build, read back from their files as a fabricator would."""

from __future__ import annotations

import csv
from functools import cache
from math import radians

import numpy as np
import pytest

from cagekit.assembly.assemble import assemble
from cagekit.checks import run as run_checks
from cagekit.checks.finding import Status
from cagekit.design import Design
from cagekit.inputs.resolve import load_build
from cagekit.shop.bending.rows import BendRow, rebuild, trimmed
from cagekit.shop.sawing.stock import sawn
from cagekit.writers.csv import write_bends, write_cuts, write_materials

DEMOS = ("sprint-wagon", "hillclimb-coupe", "gravel-hatch", "track-roadster")


@cache
def made(name):
    build = load_build(name)
    cage = assemble(build)
    return Design(build=build, cage=cage), Design(build)


def table(path):
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def rigid_gap(p, q):
    """Largest distance between two point rows after the best rotation (no mirror) and shift."""
    a, b = p - p.mean(0), q - q.mean(0)
    u, _, vt = np.linalg.svd(a.T @ b)
    d = np.diag([1, 1, np.sign(np.linalg.det(u @ vt))])
    return float(np.linalg.norm(a @ u @ d @ vt - b, axis=1).max())


@pytest.mark.parametrize("name", DEMOS)
def test_every_tube_is_rebuilt_from_the_file(name, tmp_path):
    design, _ = made(name)
    write_bends(design, tmp_path)
    rows = table(tmp_path / "bends.csv")
    fitted = design.cage.as_fitted()
    everything = {m.id: (m, fitted) for m in fitted.members.values()} | {
        m.id: (m, design.cage) for m in design.cage.members.values()
    }
    assert {r["member"] for r in rows} == set(everything)
    for member, cage in everything.values():
        mine = [r for r in rows if r["member"] == member.id]
        back = rebuild(
            [
                BendRow(
                    row=int(r["row"]),
                    feed=float(r["feed_mm"]),
                    rotation=radians(float(r["rotation_deg"] or 0)),
                    angle=radians(float(r["angle_deg"])) if r["angle_deg"] else None,
                    clr=float(r["clr_mm"]) if r["clr_mm"] else None,
                )
                for r in mine
            ]
        )
        drawn = trimmed(
            member.path,
            cage.cut(member.id, "a").shortest,
            cage.cut(member.id, "b").shortest,
        )
        share = np.linspace(0, 1, 60)
        gap = rigid_gap(back.points(share * back.length), drawn.points(share * drawn.length))
        assert gap < 0.01
        assert drawn.length == pytest.approx(cage.cut_length(member.id), abs=1e-6)


@pytest.mark.parametrize("name", DEMOS)
def test_marks_stand_in_order_on_the_blank_and_the_sheet_adds_up(name):
    _, papers = made(name)
    for sheet in papers.bends:
        assert sheet.balance == pytest.approx(0, abs=1e-9)
        assert sheet.problem == ""
        starts = [s.start for s in sheet.steps if s.lead == sheet.work.datum]
        assert starts == sorted(starts)
        assert all(0 <= s.mark <= sheet.blank for s in sheet.steps)


@pytest.mark.parametrize("name", DEMOS)
def test_every_blank_is_sawn_once_from_bars_that_hold_it(name, tmp_path):
    design, papers = made(name)
    write_cuts(design, tmp_path)
    rows = [r for r in table(tmp_path / "cuts.csv") if r["cut"]]
    # a swing-out bar is sawn, bent and fitted whole
    assert sorted(r["member"] for r in rows) == sorted(design.cage.as_fitted().members)
    blank = {s.member: sawn(s.blank) for s in papers.bends}
    for r in rows:
        assert float(r["length_mm"]) == pytest.approx(blank[r["member"]])
        assert r["proved"] == "yes"
        end = float(r["start_mm"]) + float(r["length_mm"])
        trim = design.tooling.saw.end_trim
        assert end <= float(r["bar_length_mm"]) - trim - design.tooling.saw.kerf + 1e-3


@pytest.mark.parametrize("name", DEMOS)
def test_the_shop_can_make_it(name):
    design, _ = made(name)
    findings = run_checks(Design(build=design.build, cage=design.cage), ["shop"])
    assert {m for f in findings for m in f.evidence.members} <= set(design.cage.members)
    assert [f for f in findings if f.status in (Status.FAIL, Status.WARN)] == []


@pytest.mark.parametrize("name", DEMOS)
def test_files_are_the_same_every_time(name, tmp_path):
    design, _ = made(name)
    again = Design(build=design.build, cage=assemble(design.build))
    for run, which in (("a", design), ("b", again)):
        folder = tmp_path / run
        folder.mkdir()
        for write in (write_bends, write_cuts, write_materials):
            write(which, folder)
    for file in ("bends.csv", "cuts.csv", "materials.csv"):
        first = (tmp_path / "a" / file).read_bytes()
        assert first == (tmp_path / "b" / file).read_bytes()
        assert b"\r" not in first


@pytest.mark.parametrize("name", DEMOS)
def test_materials_hold_the_parts_of_the_cage(name, tmp_path):
    design, papers = made(name)
    write_materials(design, tmp_path)
    rows = table(tmp_path / "materials.csv")
    tubes = [r for r in rows if r["kind"] == "part: tube"]
    assert [r["item"] for r in tubes] == list(design.cage.members)
    total = next(r for r in rows if r["kind"] == "total")
    assert float(total["mass_kg"]) == pytest.approx(
        design.cage.tube_mass()
        + sum(p.mass * p.quantity for p in design.cage.plates)
        + sum(p.mass for p in design.cage.hardware),
        abs=1e-3,
    )
    metal = [r for r in rows if r["kind"] in ("tube to buy", "tube in the rack")]
    bought = sum(float(r["length_mm"]) * int(r["count"] or 1) for r in metal)
    needed = sum(p.pieces_length for p in papers.cuts)
    assert bought >= needed * (1 + design.tooling.order.spare)


def test_swing_out_bars_bring_their_pins(tmp_path):
    design, papers = made("sprint-wagon")
    assert design.cage.doors
    write_materials(design, tmp_path)
    rows = table(tmp_path / "materials.csv")
    counted = sum(
        int(r["count"]) for r in rows if r["kind"] in {p.kind for p in design.cage.hardware}
    )
    assert counted == len(design.cage.hardware)
    pieces = {i for d in design.cage.doors for i in d.pieces}
    assert {s.member for s in papers.pieces} == pieces
    assert set(papers.bar_of_piece) == pieces
    # what is cut out of the whole bar is shorter than it by the two saw cuts and reliefs
    for door in design.cage.doors:
        whole = next(s for s in papers.bends if s.member == door.fitted.id)
        parts = sum(s.cut_length for s in papers.pieces if s.member in door.pieces)
        assert 0 < whole.cut_length - parts < 40

"""What ``make`` writes for the cutting table of a whole cage."""

from __future__ import annotations

import csv
import io
from collections import Counter
from math import pi

import ezdxf
import numpy as np
import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import assemble
from cagekit.design import Design
from cagekit.inputs.resolve import load_build
from cagekit.shop.nesting.plate_drawing import CutOptions, Layer
from cagekit.writers.dxf import cut_options, dxf_options, nest_options, write_plates, write_sheets

BUILD = load_build("track-roadster")
CAGE = assemble(BUILD)


def design(*, table=None, **options):
    build = BUILD
    if table:
        tooling = BUILD.tooling
        changed = tooling.table.model_copy(update=table)
        build = replace(BUILD, tooling=tooling.model_copy(update={"table": changed}))
    return Design(build=build, cage=CAGE, options=options)


def layer_area(doc, layer):
    """Area inside the closed contours of a layer, from bulges and circles."""
    total = 0.0
    for e in doc.modelspace().query(f'*[layer=="{layer.value}"]'):
        if e.dxftype() == "CIRCLE":
            total += pi * e.dxf.radius**2
            continue
        assert e.closed
        rows = np.array(list(e.get_points("xyb")))
        x, y, b = rows.T
        area = 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))
        chord = np.hypot(np.roll(x, -1) - x, np.roll(y, -1) - y)
        turn = 4 * np.arctan(np.abs(b))
        with np.errstate(divide="ignore", invalid="ignore"):
            radius = np.where(b != 0, chord * (1 + b * b) / (4 * np.abs(b)), 0.0)
        area += float(np.sum(np.sign(b) * radius**2 / 2 * (turn - np.sin(turn))))
        total += abs(area)
    return total


def test_one_file_per_plate_with_its_area(tmp_path):
    write_plates(design(table={"ream": 0.0}), tmp_path)
    files = sorted((tmp_path / "plates").iterdir())
    assert [f.stem for f in files] == sorted(p.id for p in CAGE.plates)
    plates = {p.id: p for p in CAGE.plates}
    for f in files:
        doc = ezdxf.readfile(f)
        assert doc.audit().errors == []
        p = plates[f.stem]
        cut = layer_area(doc, Layer.OUTSIDE) - layer_area(doc, Layer.INSIDE)
        assert cut * p.thickness == pytest.approx(p.flat_volume, rel=1e-9)


def test_sheets_hold_every_piece_once(tmp_path):
    write_sheets(design(table={"ream": 0.0}), tmp_path)
    folder = tmp_path / "sheets"
    rows = list(csv.DictReader(io.StringIO((folder / "pieces.csv").read_text(encoding="utf-8"))))
    assert Counter(r["plate"] for r in rows) == {p.id: p.quantity for p in CAGE.plates}
    sheets = sorted({r["sheet"] for r in rows})
    assert [f.name for f in sorted(folder.glob("*.dxf"))] == [f"{s}.dxf" for s in sheets]
    total = 0.0
    for s in sheets:
        doc = ezdxf.readfile(folder / f"{s}.dxf")
        assert doc.audit().errors == []
        total += layer_area(doc, Layer.OUTSIDE) - layer_area(doc, Layer.INSIDE)
        assert (folder / f"{s}.png").read_bytes().startswith(b"\x89PNG")
    assert total == pytest.approx(sum(p.area * p.quantity for p in CAGE.plates), rel=1e-9)


def test_the_shops_table_says_how_files_are_made():
    old = design(
        table={
            "dxf_version": "R12",
            "dxf_units": "in",
            "dxf_entities": "lines",
            "compensate_kerf": True,
            "kerf": 1.5,
            "bridges": 2,
            "turning": "grain",
        }
    )
    how = dxf_options(old)
    assert (how.version, how.units, how.entities) == ("R12", "in", "lines")
    cut = cut_options(old)
    assert (cut.kerf, cut.bridges) == (1.5, 2)
    assert cut_options(design()).kerf == 0.0
    # what a run is told goes before the shop's habits
    assert dxf_options(design(table={"dxf_units": "in"}, dxf_units="mm")).units == "mm"
    assert cut_options(design(kerf=0.8)).kerf == 0.8
    assert nest_options(design(gap=9.0)) == {"gap": 9.0}
    assert CutOptions.of(None, "in").units == "in"


def test_a_shop_with_off_cuts_uses_them_first(tmp_path):
    from cagekit.inputs.tooling import Sheet

    sheets = (*BUILD.tooling.table.sheet, Sheet(width=400, length=600, offcut=True, label="B3"))
    write_sheets(design(table={"sheet": sheets}), tmp_path)
    text = (tmp_path / "sheets" / "pieces.csv").read_text(encoding="utf-8")
    assert text.splitlines()[1].startswith("sheet-01,600,400")


def test_a_cage_without_plates_writes_nothing(tmp_path):
    bare = Design(build=BUILD, cage=CAGE.replace(plates=()))
    write_plates(bare, tmp_path)
    write_sheets(bare, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_piece_is_found_on_its_sheet_by_place_and_turn(tmp_path):
    write_sheets(design(table={"ream": 0.0}), tmp_path)
    plates = {p.id: p for p in CAGE.plates}
    text = (tmp_path / "sheets" / "pieces.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert rows
    for r in rows:
        doc = ezdxf.readfile(tmp_path / "sheets" / f"{r['sheet']}.dxf")
        a = np.radians(float(r["turn_deg"]))
        turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        corners = plates[r["plate"]].outline.vertices @ turn.T
        corners += np.array([float(r["x_mm"]), float(r["y_mm"])])
        found = [
            np.array(list(e.get_points("xy")))
            for e in doc.modelspace().query(f'LWPOLYLINE[layer=="{Layer.OUTSIDE.value}"]')
        ]
        assert any(
            len(f) == len(corners)
            and np.abs(f[:, None] - corners[None]).max(axis=2).min(axis=1).max() < 0.02
            for f in found
        ), r["plate"]
        low = corners.min(axis=0)
        assert float(r["box_x_mm"]) <= low[0] + 0.01
        assert float(r["box_y_mm"]) <= low[1] + 0.01


def test_pin_holes_are_pilots_and_say_so(tmp_path):
    from cagekit.cage.plate import HolePurpose
    from cagekit.shop.nesting.plate_drawing import note_lines, plate_drawing

    options = cut_options(design(table={"ream": 0.8}))
    pinned = [p for p in CAGE.plates if any(h.purpose is HolePurpose.PIN for h in p.holes)]
    assert pinned
    for p in pinned:
        widths = sorted(
            2 * line.segments[0].radius for line in plate_drawing(p, options).on(Layer.INSIDE)
        )
        pins = sorted(h.diameter for h in p.holes if h.purpose is HolePurpose.PIN)
        for d in pins:
            assert min(abs(w - (d - 0.8)) for w in widths) < 1e-6
            assert min(abs(w - d) for w in widths) > 0.1
        assert any("ream to" in line for line in note_lines(p, options, 1))


def test_a_pilot_that_the_table_cuts_no_longer_clean_is_drilled_and_reamed():
    """Not the finished hole but the pilot is what the table cuts."""
    from cagekit.cage.plate import HolePurpose
    from cagekit.shop.nesting.plate_drawing import hole_work, note_lines, plate_drawing

    def least(ream):
        return {"min_hole_ratio": (pin.diameter - 1.0) / plate.thickness, "ream": ream}

    plate, pin = next((p, h) for p in CAGE.plates for h in p.holes if h.purpose is HolePurpose.PIN)
    for ream, cut in ((0.8, True), (1.2, False)):
        options = cut_options(design(table=least(ream)))
        inside = [line.box for line in plate_drawing(plate, options).on(Layer.INSIDE)]
        middle = pin.centre
        assert any((low < middle).all() and (high > middle).all() for low, high in inside) is cut
        work = hole_work(plate, pin, options)
        assert work.startswith("cut" if cut else "drill on the mark")
        assert work.endswith("ream")
        notes = " ".join(note_lines(plate, options, 1))
        assert ("drill on the marks" in notes) is not cut
        assert "ream to" in notes


@pytest.mark.parametrize("name", ["sprint-wagon", "gravel-hatch"])
def test_no_part_leaves_the_table_without_a_name_or_its_folds(name):
    import demos

    from cagekit.shop.nesting.alike import alike, numbers
    from cagekit.shop.nesting.engraving import engraved
    from cagekit.shop.nesting.nest import nest_for
    from cagekit.shop.nesting.sheet_drawing import sheet_drawing, sheet_lines

    one = demos.design(name)
    plates = one.cage.plates
    called = numbers(plates)
    for p in plates:
        assert engraved(p, 6.0, called[p.id]), p.id
    assert sum(g.quantity for g in alike(plates)) == sum(p.quantity for p in plates)
    # what is alike weighs the same, and is of the same flat size
    for g in alike(plates):
        # within what a hundredth of a millimetre on an edge weighs
        assert np.ptp([p.mass for p in g.plates]) < 2e-4 * g.plates[0].mass
        assert len({tuple(np.round(p.outline.size, 2)) for p in g.plates}) == 1
    plan = nest_for(plates, one.tooling)
    for sheet in plan.sheets:
        drawing = sheet_drawing(sheet, cut_options(one), called)
        edge = [*drawing.on(Layer.NOTE)]
        inside = [
            n
            for n in edge
            if n.box[0][1] > 0 and n.box[1][1] < sheet.stock.width and n.length < 100
        ]
        folded = any(part.plate.folds for part in sheet.parts)
        # letters of direction, angle and radius lie on the parts themselves
        assert bool(inside) == folded
        lines = sheet_lines(sheet, "mm", called)
        count = sum(int(t.split(" x ")[0]) for t in lines if " x P" in t)
        assert count == len(sheet.parts)


def test_twins_that_fold_the_other_way_are_two_pieces():
    import demos

    from cagekit.shop.nesting.alike import numbers

    called = numbers(demos.design("sprint-wagon").cage.plates)
    assert called["foot_a_pillar_bar_left_b"] != called["foot_a_pillar_bar_right_b"]
    assert called["foot_outrigger_left_a"] == called["foot_outrigger_right_a"]

"""Nesting: every piece once, gaps measured by another library, jigsaws, off-cuts, refusals."""

from __future__ import annotations

import json
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace
from pieces import cut_area

from cagekit.cage.plate import Hole, Plate
from cagekit.errors import GeometryError
from cagekit.geometry.fold import Fold
from cagekit.geometry.outline import Outline
from cagekit.shop.nesting.nest import (
    Laid,
    distance_between,
    faults,
    has_engine,
    nest,
    outer_polygon,
)
from cagekit.shop.nesting.plate_drawing import CutOptions, Layer
from cagekit.shop.nesting.sheet_drawing import sheet_drawing, sheet_lines
from cagekit.shop.nesting.sheets import NestOptions, SheetStock

JIGSAWS = json.loads(
    (Path(__file__).parents[3] / "data" / "nesting_jigsaws.json").read_text(encoding="utf-8")
)
SHEET = SheetStock(length=1000, width=500)


def plate(name, outline, thickness=3.0, **more):
    return Plate(
        id=name, kind="test", thickness=thickness, material="s235", outline=outline, **more
    )


def some_plates():
    tee = Outline.polygon(
        [(-40, 0), (40, 0), (40, 20), (10, 20), (10, 70), (-10, 70), (-10, 20), (-40, 20)], 4
    )
    return [
        plate("square", Outline.rectangle(150, 150, 15), quantity=4),
        plate("tee", tee, quantity=5),
        plate("tri", Outline.polygon([(0, 0), (110, 0), (30, 90)], 6), quantity=6),
        plate("disc", Outline.circle((0, 0), 80), quantity=3, holes=(Hole.circle((0, 0), 20),)),
        plate("thick", Outline.rectangle(90, 60, 5), thickness=5.0, quantity=2),
    ]


@pytest.mark.parametrize("engine", ["shapes", "boxes", "auto"])
def test_every_piece_is_laid_once_and_keeps_its_distance(engine):
    """Gaps are measured again by shapely, which shares no code with the nest or its check."""
    shapely = pytest.importorskip("shapely")
    options = NestOptions(gap=6, margin=10, engine=engine)
    plan = nest(some_plates(), [SHEET], options)
    counts = {}
    for sheet in plan.sheets:
        assert len({p.plate.thickness for p in sheet.parts}) == 1
        shapes = [shapely.Polygon(p.outline.flat_points(0.001)) for p in sheet.parts]
        inner = shapely.box(10, 10, SHEET.length - 10, SHEET.width - 10).buffer(2e-3)
        for part, shape in zip(sheet.parts, shapes, strict=True):
            counts[part.plate.id] = counts.get(part.plate.id, 0) + 1
            assert inner.covers(shape)
            assert shape.area == pytest.approx(part.plate.outline.area, rel=1e-4)
        for a, b in combinations(shapes, 2):
            assert a.distance(b) >= 6 - 2e-3
        assert sheet.used_area == pytest.approx(sum(s.area for s in shapes), rel=1e-4)
    assert counts == {"square": 4, "tee": 5, "tri": 6, "disc": 3, "thick": 2}
    assert [s.name for s in plan.sheets] == ["sheet-01", "sheet-02"]


def test_the_same_parts_give_the_same_layout():
    one, two = (nest(some_plates(), [SHEET], NestOptions()) for _ in range(2))
    rows = [[(p.number, p.angle, *p.shift) for s in q.sheets for p in s.parts] for q in (one, two)]
    assert rows[0] == rows[1]


@pytest.mark.slow
@pytest.mark.skipif(not has_engine(), reason="the nesting library is not installed")
@pytest.mark.parametrize("name", ["dighe1", "dighe2"])
def test_jigsaws_pack_closer_than_boxes(name):
    """Pieces that fill a 100 x 100 square exactly (optimum length 100), laid on a long strip.

    No heuristic rebuilds a jigsaw; real shapes must still beat their boxes by a good part.
    """
    data = JIGSAWS[name]
    parts = [plate(p["id"], Outline.polygon(p["vertices"])) for p in data["pieces"]]
    assert sum(p.area for p in parts) == pytest.approx(100 * 100)
    strip = SheetStock(length=400, width=100.01)
    lengths = {}
    for engine in ("shapes", "boxes"):
        options = NestOptions(gap=0.0, margin=0.0, turning="fixed", engine=engine, effort=4)
        (sheet,) = nest(parts, [strip], options).sheets
        assert len(sheet.parts) == len(parts)
        lengths[engine] = sheet.used_length
    assert 100 <= lengths["shapes"] <= 145
    assert lengths["shapes"] < 0.85 * lengths["boxes"]


def test_off_cuts_are_used_first_and_once():
    stock = [SheetStock(length=340, width=180, offcut=True, count=1, label="R7"), SHEET]
    plan = nest(
        [plate("square", Outline.rectangle(150, 150, 15), quantity=4)], stock, NestOptions()
    )
    assert [s.stock.offcut for s in plan.sheets] == [True, False]
    assert [len(s.parts) for s in plan.sheets] == [2, 2]
    assert "off-cut R7" in sheet_lines(plan.sheets[0], "mm")[0]


def test_the_smallest_sheet_that_takes_everything_is_taken():
    stock = [SHEET, SheetStock(length=400, width=200), SheetStock(length=2000, width=1000)]
    plan = nest([plate("square", Outline.rectangle(150, 150), quantity=2)], stock, NestOptions())
    assert [s.stock.length for s in plan.sheets] == [400]


def test_a_full_sheet_is_followed_by_another():
    plan = nest([plate("square", Outline.rectangle(150, 150), quantity=30)], [SHEET], NestOptions())
    assert sum(len(s.parts) for s in plan.sheets) == 30
    # 6 x 3 squares of 150 with gaps of 6 and margins of 10 go on a sheet of 1000 x 500
    assert len(plan.sheets[0].parts) == 18


def test_thickness_and_steel_choose_the_sheet():
    stock = [replace(SHEET, thickness=5.0, material="s235"), replace(SHEET, thickness=3.0)]
    plan = nest(some_plates(), stock, NestOptions())
    assert [(s.thickness, s.stock.thickness) for s in plan.sheets] == [(3.0, 3.0), (5.0, 5.0)]


@pytest.mark.parametrize(("turning", "allowed"), [("fixed", {0}), ("grain", {0, 180})])
def test_grain_and_fixed_turns_are_kept(turning, allowed):
    long = [plate("strip", Outline.polygon([(0, 0), (300, 0), (300, 40), (0, 60)]), quantity=8)]
    plan = nest(long, [SHEET], NestOptions(turning=turning))
    turns = {round(np.degrees(p.angle)) % 360 for s in plan.sheets for p in s.parts}
    assert turns <= allowed


def test_folds_run_across_the_grain():
    fold = Fold.along((-30, 0), (30, 0), 1.5, 3.0)
    part = plate("bent", Outline.rectangle(60, 120), folds=(fold,), base=(0, -40), quantity=3)
    plan = nest([part], [SHEET], NestOptions(folds_across_grain=True))
    for p in plan.sheets[0].parts:
        assert abs((p.turn @ fold.direction)[0]) < 1e-9


def test_a_part_larger_than_every_sheet_is_named():
    with pytest.raises(GeometryError, match=r"giant: measures 1200 x 300 mm and fits none"):
        nest([plate("giant", Outline.rectangle(1200, 300))], [SHEET], NestOptions())
    with pytest.raises(GeometryError, match=r"no sheet of 3 mm s235 in stock"):
        nest(some_plates(), [replace(SHEET, thickness=8.0)], NestOptions())
    with pytest.raises(GeometryError, match="fits none of the sheets left"):
        nest(
            [plate("square", Outline.rectangle(150, 150), quantity=30)],
            [replace(SHEET, count=1)],
            NestOptions(),
        )


def test_the_measuring_finds_what_is_wrong():
    square = plate("square", Outline.rectangle(100, 100))
    options = NestOptions(gap=5, margin=10)

    def laid(*spots):
        return [
            Laid(plate=square, number=i, angle=0.0, shift=np.array(s, float))
            for i, s in enumerate(spots)
        ]

    assert faults(laid((60, 60), (165, 60)), SHEET, options) == []
    assert "4.000 mm apart" in faults(laid((60, 60), (164, 60)), SHEET, options)[0]
    assert "-" in faults(laid((60, 60), (100, 100)), SHEET, options)[0]
    assert "9.000 mm from the edge" in faults(laid((59, 60)), SHEET, options)[0]
    assert "-60.000 mm from the edge" in faults(laid((1010, 60)), SHEET, options)[0]


def test_distance_of_outlines_with_arcs():
    a, b = Outline.circle((0, 0), 40), Outline.circle((50, 0), 30)
    assert distance_between(a, b) == pytest.approx(15, abs=1e-6)
    assert distance_between(a, Outline.circle((5, 0), 10)) < 0
    # crossed bars: no corner of one lies in the other
    bars = Outline.rectangle(100, 10), Outline.rectangle(10, 100)
    assert distance_between(*bars) < 0


def test_the_simplified_polygon_holds_the_outline():
    for o in (
        Outline.rectangle(100, 60, 20),
        Outline.circle((0, 0), 50),
        Outline.polygon([(0, 0), (80, 0), (80, 60), (40, 20), (0, 60)], 8),
    ):
        p = Outline.polygon(outer_polygon(o))
        q = o.sampled(0.5)
        assert (p.contains(q) | (p.distance(q) < 1e-6)).all()
        assert p.area < 1.04 * o.area


def test_the_sheet_is_drawn_with_all_its_cuts_and_a_list():
    plan = nest(some_plates(), [SHEET], NestOptions())
    for sheet in plan.sheets:
        drawing = sheet_drawing(sheet, CutOptions(process="laser"))
        assert len(drawing.on(Layer.OUTSIDE)) == len(sheet.parts)
        assert cut_area(drawing) == pytest.approx(sum(p.plate.area for p in sheet.parts))
        text = "\n".join(sheet_lines(sheet, "mm"))
        assert f"{len(sheet.parts)} parts" in text
        for name, count in sheet.pieces:
            assert f"{count} x {name}" in text

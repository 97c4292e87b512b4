"""Cutting files: read back by ezdxf and by GDAL's own DXF reader, areas against closed forms."""

from __future__ import annotations

import io
import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace as with_fields
from math import pi, radians

import ezdxf
import ezdxf.bbox
import ezdxf.path
import numpy as np
import pytest
from ezdxf.math import bulge_to_arc
from msgspec.structs import replace
from pieces import plate_dxf

from cagekit.cage.plate import Hole, HolePurpose, Mark, Plate
from cagekit.errors import GeometryError
from cagekit.geometry.fold import Fold
from cagekit.geometry.outline import Outline
from cagekit.shop.nesting.plate_drawing import CutOptions, Drawing, Layer, plate_drawing, process
from cagekit.writers.dxf import DxfOptions, dxf_bytes

OUTLINE = Outline.rectangle(180, 120, 15)
PLATE = Plate(
    id="foot_main_hoop_a",
    kind="floor_plate",
    thickness=4,
    material="s235",
    outline=OUTLINE,
    holes=(
        *(Hole.circle((x, y), 11) for x in (-70, 70) for y in (-40, 40)),
        Hole.slot((-12, -40), (12, -40), 8),
        Hole.free(Outline.polygon([(-30, 20), (30, 20), (0, 45)], 4), HolePurpose.LIGHTENING),
    ),
    marks=(Mark(kind="foot", line=Outline.circle((0, 0), 30), text="main_hoop end a"),),
    quantity=2,
)
FOLDED = Plate(
    id="flange",
    kind="test",
    thickness=3,
    material="s235",
    outline=Outline.rectangle(160, 60, 8),
    folds=(
        Fold.along((20, -30), (20, 30), radians(90), 3),
        Fold.along((50, -30), (50, 30), radians(-30), 3),
    ),
    base=(-40, 0),
)
PLAIN = CutOptions(process="laser")


def read(data):
    return ezdxf.read(io.StringIO(data.decode("utf-8")))


def shoelace(p):
    x, y = p.T
    return abs(0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))))


def areas(doc, layer):
    """Areas of the closed entities on a layer; ezdxf turns the bulges back into arcs."""
    out = []
    for e in doc.modelspace().query(f'*[layer=="{layer}"]'):
        if e.dxftype() == "CIRCLE":
            out.append(pi * e.dxf.radius**2)
            continue
        assert e.closed, "an open contour on a cut layer"
        rows = list(e.get_points("xyb"))
        area = shoelace(np.array(rows)[:, :2])
        for (x, y, bulge), (u, v, _) in zip(rows, [*rows[1:], rows[0]], strict=True):
            if bulge:
                _, start, end, radius = bulge_to_arc((x, y), (u, v), bulge)
                turn = (end - start) % (2 * pi)
                area += np.sign(bulge) * radius**2 / 2 * (turn - np.sin(turn))
        out.append(area)
    return out


@pytest.mark.parametrize("plate", [PLATE, FOLDED], ids=lambda p: p.id)
@pytest.mark.parametrize("version", ["R12", "R2000", "R2010", "R2018"])
@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("entities", ["polyline", "lines"])
def test_audit_is_clean_and_the_header_tells_the_units(plate, version, units, entities):
    data = plate_dxf(plate, PLAIN, DxfOptions(units=units, version=version, entities=entities))
    doc = read(data)
    audit = doc.audit()
    assert audit.errors == []
    assert audit.fixes == []
    if version == "R12":
        assert b"$INSUNITS" not in data
    else:
        assert doc.header["$INSUNITS"] == {"mm": 4, "in": 1}[units]
        assert doc.header["$MEASUREMENT"] == {"mm": 1, "in": 0}[units]
    kinds = {e.dxftype() for e in doc.modelspace()}
    allowed = (
        {"LWPOLYLINE", "POLYLINE", "CIRCLE"}
        if entities == "polyline"
        else {"LINE", "ARC", "CIRCLE"}
    )
    assert kinds <= allowed
    assert {e.dxf.layer for e in doc.modelspace()} <= {layer.value for layer in Layer}


@pytest.mark.parametrize("version", ["R12", "R2000", "R2010", "R2018"])
@pytest.mark.parametrize("entities", ["polyline", "lines"])
def test_the_library_would_write_the_same_entities(version, entities):
    data = plate_dxf(FOLDED, PLAIN, DxfOptions(version=version, entities=entities))
    doc = read(data)
    ours = data.decode("utf-8")
    again = io.StringIO()
    doc.write(again)

    def section(text):
        return text[text.index("  2\nENTITIES\n") :].partition("  0\nENDSEC\n")[0]

    assert section(ours).count("\n") > 1000
    assert section(again.getvalue()) == section(ours)
    seed = int(ours.split("$HANDSEED\n  5\n")[1].split("\n")[0], 16)
    assert seed > max(int(e.dxf.handle, 16) for e in doc.modelspace())


@pytest.mark.parametrize("units", ["mm", "in"])
def test_area_times_thickness_is_the_volume(units):
    doc = read(plate_dxf(PLATE, PLAIN, DxfOptions(units=units)))
    scale = 1.0 if units == "mm" else 25.4**2
    (outer,) = areas(doc, Layer.OUTSIDE.value)
    inner = areas(doc, Layer.INSIDE.value)
    assert len(inner) == len(PLATE.holes)
    assert (outer - sum(inner)) * scale * PLATE.thickness == pytest.approx(PLATE.volume, rel=1e-9)


def test_true_arcs_and_circles():
    doc = read(plate_dxf(PLATE, PLAIN))
    circles = [e for e in doc.modelspace().query("CIRCLE") if e.dxf.layer == Layer.INSIDE.value]
    assert [c.dxf.radius for c in circles] == pytest.approx([5.5] * 4)
    (outer,) = doc.modelspace().query(f'LWPOLYLINE[layer=="{Layer.OUTSIDE.value}"]')
    assert outer.closed
    bulges = sorted(row[2] for row in outer.get_points("xyb"))
    assert bulges == pytest.approx([0] * 4 + [np.tan(pi / 8)] * 4)


def test_separate_entities_meet_end_to_end():
    doc = read(plate_dxf(PLATE, PLAIN, DxfOptions(entities="lines")))
    ends = []
    for e in doc.modelspace().query(f'*[layer=="{Layer.OUTSIDE.value}"]'):
        if e.dxftype() == "LINE":
            ends += [e.dxf.start, e.dxf.end]
        else:
            assert e.dxftype() == "ARC"
            ends += [e.start_point, e.end_point]
    points = np.array([(v.x, v.y) for v in ends])
    near = np.linalg.norm(points[:, None] - points[None], axis=2) < 1e-9
    assert (near.sum(1) == 2).all()


@pytest.mark.parametrize("plate", [PLATE, FOLDED], ids=lambda p: p.id)
@pytest.mark.parametrize("entities", ["polyline", "lines"])
def test_nothing_twice_and_nothing_of_no_length(plate, entities):
    doc = read(plate_dxf(plate, PLAIN, DxfOptions(entities=entities)))
    seen = set()
    for e in doc.modelspace():
        p = np.array([(v.x, v.y) for v in ezdxf.path.make_path(e).flattening(0.01)])
        assert np.hypot(*np.diff(p, axis=0).T).sum() > 1e-6
        key = (e.dxf.layer, tuple(sorted(map(tuple, np.round(p, 6).tolist()))))
        assert key not in seen
        seen.add(key)


def test_equal_plates_give_equal_bytes():
    again = with_fields(PLATE)
    assert plate_dxf(PLATE, PLAIN) == plate_dxf(again, PLAIN)


def test_every_run_gives_equal_bytes():
    """Text hashes change by run, and with them the order of every set."""
    code = (
        "import hashlib\n"
        "from cagekit.cage.plate import Plate\n"
        "from cagekit.geometry.outline import Outline\n"
        "from cagekit.shop.nesting.plate_drawing import CutOptions, plate_drawing\n"
        "from cagekit.writers.dxf import DxfOptions, dxf_bytes\n"
        "plate = Plate(id='p', kind='test', thickness=3, material='s235',"
        " outline=Outline.rectangle(80, 60, 5))\n"
        "drawing = plate_drawing(plate, CutOptions())\n"
        "print(hashlib.sha256(dxf_bytes(drawing, DxfOptions())).hexdigest())"
    )
    sums = {
        subprocess.run(
            [sys.executable, "-c", code],
            env=os.environ | {"PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in "123"
    }
    assert len(sums) == 1


@pytest.mark.skipif(shutil.which("ogr2ogr") is None, reason="GDAL's command line is not installed")
@pytest.mark.parametrize("version", ["R12", "R2010"])
def test_gdal_reads_the_same_areas(version, tmp_path):
    """GDAL has a DXF reader of its own; it turns arcs into chords as finely as it is told."""
    file = tmp_path / "plate.dxf"
    file.write_bytes(plate_dxf(PLATE, PLAIN, DxfOptions(version=version)))
    out = subprocess.run(
        [
            "ogr2ogr",
            "-f",
            "GeoJSON",
            "/vsistdout/",
            str(file),
            "--config",
            "OGR_ARC_STEPSIZE",
            "0.05",
        ],
        capture_output=True,
        check=True,
        text=True,
    )
    found = {Layer.OUTSIDE.value: [], Layer.INSIDE.value: []}
    for feature in json.loads(out.stdout)["features"]:
        layer = feature["properties"]["Layer"]
        if layer in found:
            ring = feature["geometry"]["coordinates"]
            ring = ring[0] if feature["geometry"]["type"] == "Polygon" else ring
            p = np.array(ring)[:, :2]
            assert np.hypot(*(p[0] - p[-1])) < 1e-6
            found[layer].append(shoelace(p[:-1]))
    assert found[Layer.OUTSIDE.value] == pytest.approx([OUTLINE.area], rel=1e-5)
    expected = sorted(h.area for h in PLATE.holes)
    assert sorted(found[Layer.INSIDE.value]) == pytest.approx(expected, rel=1e-5)


def test_fold_lines_run_from_edge_to_edge_in_the_middle_of_the_bend():
    drawing = plate_drawing(FOLDED, PLAIN)
    lines = drawing.on(Layer.FOLD)
    assert [line.length for line in lines] == pytest.approx([60, 60])
    assert [line.vertices[0, 0] for line in lines] == pytest.approx([20, 50])


def test_engraved_id_keeps_off_edges_holes_folds_and_foot():
    for plate in (PLATE, FOLDED):
        drawing = plate_drawing(plate, PLAIN)
        marks = {id(m.line) for m in plate.marks}
        letters = [line for line in drawing.on(Layer.MARK) if id(line) not in marks]
        assert letters
        points = np.concatenate([line.sampled(0.5) for line in letters])
        assert plate.outline.contains(points).all()
        closed = [plate.outline, *(h.loop for h in plate.holes), *(b.loop for b in plate.bends)]
        for loop in [*closed, *(m.line for m in plate.marks)]:
            assert loop.distance(points).min() > 1.5
        for h in plate.holes:
            assert not h.loop.contains(points).any()


def test_a_plate_too_small_for_letters_says_so():
    small = with_fields(PLATE, outline=Outline.rectangle(14, 9), holes=(), marks=())
    drawing = plate_drawing(small, PLAIN)
    assert "no room to engrave" in drawing.warnings[0]
    assert drawing.on(Layer.MARK) == ()


def test_kerf_moves_contours_by_half_of_it():
    drawing = plate_drawing(PLATE, replace(PLAIN, kerf=1.6))
    (outer,) = drawing.on(Layer.OUTSIDE)
    # Steiner's formula for a convex outline
    assert outer.area == pytest.approx(OUTLINE.area + OUTLINE.length * 0.8 + pi * 0.64)
    round_hole = drawing.on(Layer.INSIDE)[0]
    assert round_hole.area == pytest.approx(pi * (5.5 - 0.8) ** 2)
    assert any(s.is_arc and s.radius == pytest.approx(15.8) for s in outer.segments)
    # what the torch leaves is the part: the kerf's inner edge is the outline again
    assert outer.offset(-0.8).area == pytest.approx(OUTLINE.area)


def test_bridges_leave_gaps_on_straights():
    drawing = plate_drawing(PLATE, replace(PLAIN, bridges=3, bridge_width=1.5))
    parts = drawing.on(Layer.OUTSIDE)
    assert len(parts) == 3
    assert not any(p.closed for p in parts)
    assert sum(p.length for p in parts) == pytest.approx(OUTLINE.length - 3 * 1.5)
    doc = read(dxf_bytes(drawing, DxfOptions()))
    assert doc.audit().errors == []


def test_small_holes_are_marked_for_drilling():
    """Plasma cuts holes of 1.5 thicknesses and more clean (plasma design rules table)."""
    assert process("plasma").min_hole_ratio == 1.5
    thick = with_fields(PLATE, thickness=10, marks=())
    drawing = plate_drawing(thick, CutOptions(process="plasma"))
    assert len([w for w in drawing.warnings if "drill it on the mark" in w]) == 5
    assert "11.0 mm is under the 15.0 mm" in drawing.warnings[0]
    assert len(drawing.on(Layer.INSIDE)) == 1
    ends = np.array([line.vertices.mean(0) for line in drawing.on(Layer.MARK) if len(line) == 2])
    for h in thick.holes[:4]:
        assert (np.hypot(*(ends - h.centre).T) < 1e-9).sum() == 2
    kept = plate_drawing(thick, CutOptions(process="plasma", pilot=False))
    assert len(kept.on(Layer.INSIDE)) == len(PLATE.holes)
    assert kept.warnings


def test_the_check_bar_is_a_hundred_millimetres_in_both_units():
    for units, scale in (("mm", 1.0), ("in", 25.4)):
        doc = read(plate_dxf(PLATE, replace(PLAIN, units=units), DxfOptions(units=units)))
        level = [
            e.get_points("xy")
            for e in doc.modelspace().query(f'LWPOLYLINE[layer=="{Layer.NOTE.value}"]')
        ]
        spans = [(p[1][0] - p[0][0]) * scale for p in level if len(p) == 2 and p[0][1] == p[1][1]]
        assert max(spans) == pytest.approx(100.0, abs=1e-9)


def test_an_empty_drawing_is_not_written():
    with pytest.raises(GeometryError, match="nothing to cut"):
        dxf_bytes(Drawing(name="none", strokes=()), DxfOptions())


def test_a_notch_narrower_than_the_kerf_is_refused():
    notched = Outline.polygon(
        [(0, 0), (60, 0), (60, 40), (31, 40), (31, 10), (30, 10), (30, 40), (0, 40)]
    )
    with pytest.raises(GeometryError, match="narrow"):
        plate_drawing(
            with_fields(PLATE, outline=notched, holes=(), marks=()), replace(PLAIN, kerf=3.0)
        )


@pytest.mark.parametrize("version", ["R12", "R2000", "R2010", "R2018"])
@pytest.mark.parametrize(("units", "scale"), [("mm", 1.0), ("in", 1 / 25.4)])
def test_limits_and_extents_are_the_drawings_own_in_the_files_units(version, units, scale):
    data = plate_dxf(PLATE, CutOptions(), DxfOptions(units=units, version=version))
    doc = ezdxf.read(io.StringIO(data.decode("cp1252")))
    drawn = ezdxf.bbox.extents(doc.modelspace(), fast=False)
    for low, high in (("$EXTMIN", "$EXTMAX"), ("$LIMMIN", "$LIMMAX")):
        assert doc.header[low][:2] == pytest.approx(tuple(drawn.extmin)[:2], abs=1e-3)
        assert doc.header[high][:2] == pytest.approx(tuple(drawn.extmax)[:2], abs=1e-3)
    assert doc.header["$PLIMMAX"] == pytest.approx((420 * scale, 297 * scale))

"""DXF files for the cutting table: closed contours with true arcs on layers of our own.

Closed polylines carry their arcs as bulges; round holes are circles; with ``entities="lines"``
contours are separate lines and arcs. No splines, no text entities (letters are strokes), nothing
twice and nothing of no length. The same drawing gives the same bytes.
"""

from __future__ import annotations

import io
import logging
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import lru_cache
from math import atan2, degrees, pi
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np
from msgspec import Struct

from cagekit.errors import GeometryError, OutputError
from cagekit.geometry.outline import Outline, Segment
from cagekit.shop.nesting.alike import numbers
from cagekit.shop.nesting.plate_drawing import CutOptions, Drawing, Layer, Stroke, plate_drawing
from cagekit.units.tolerance import ROUNDING, SAME_ANGLE, SAME_POINT
from cagekit.writers.csv import Cell, text

if TYPE_CHECKING:
    from cagekit.design import Design
    from cagekit.shop.nesting.nest import NestPlan

INCH = 25.4
SHORTEST = SAME_POINT
"""Pieces below this (mm) are not written."""

COLOURS: Mapping[Layer, int] = {
    Layer.OUTSIDE: 7,
    Layer.INSIDE: 4,
    Layer.FOLD: 6,
    Layer.MARK: 3,
    Layer.NOTE: 8,
}
"""Colour index of each layer, for the eye only: what a layer means is its name."""

Version = Literal["R12", "R2000", "R2010", "R2018"]


class DxfOptions(Struct, frozen=True, kw_only=True):
    """How a drawing is written.

    Args:
        units: unit of the coordinates, told in the header (R12 has no place for it: the note
            says it).
        entities: ``polyline`` (bulges) or ``lines`` (separate lines and arcs).
        version: R12 for old controllers.
    """

    units: Literal["mm", "in"] = "mm"
    entities: Literal["polyline", "lines"] = "polyline"
    version: Version = "R2010"


PIECE_COLUMNS = (
    "sheet", "length_mm", "width_mm", "thickness_mm", "material", "number", "plate", "kind",
    "x_mm", "y_mm", "turn_deg", "box_x_mm", "box_y_mm", "box_length_mm", "box_width_mm",
    "sheet_used_pct",
)  # fmt: skip


def write_plates(design: Design, folder: Path) -> None:
    """Write ``plates/<id>.dxf`` for every plate of the cage (product ``dxf``)."""
    options = cut_options(design)
    how = dxf_options(design)
    target = folder / "plates"
    plates = design.cage.plates
    if not plates:
        return
    target.mkdir(parents=True, exist_ok=True)
    called = numbers(plates)
    for plate in plates:
        drawing = plate_drawing(plate, options, quantity=plate.quantity, number=called[plate.id])
        save(drawing, target / f"{plate.id}.dxf", how)


def write_sheets(design: Design, folder: Path) -> None:
    """Write ``sheets/sheet-NN.dxf``, a picture of each and ``sheets/pieces.csv`` (``sheets``)."""
    from cagekit.shop.nesting.nest import nest_for
    from cagekit.shop.nesting.sheet_drawing import sheet_drawing
    from cagekit.writers.plate_png import save_picture

    plates = design.cage.plates
    if not plates:
        return
    plan = nest_for(plates, design.tooling, **nest_options(design))
    target = folder / "sheets"
    target.mkdir(parents=True, exist_ok=True)
    options, how = cut_options(design), dxf_options(design)
    called = numbers(plates)
    for sheet in plan.sheets:
        drawing = sheet_drawing(sheet, options, called)
        save(drawing, target / f"{sheet.name}.dxf", how)
        save_picture(drawing, target / f"{sheet.name}.png", width=1800)
    (target / "pieces.csv").write_text(pieces_csv(plan, called), encoding="utf-8", newline="")


def pieces_csv(plan: NestPlan, called: Mapping[str, str]) -> str:
    """One row per piece: the sheet, what it is, and where it lies on the sheet.

    ``x_mm`` and ``y_mm`` are where the origin of the plate's own file lies once that is turned
    anticlockwise by ``turn_deg``; the ``box`` columns its lower left corner and size on the sheet.

    Args:
        plan: the sheets.
        called: number of the piece by plate id.
    """
    return text(PIECE_COLUMNS, _piece_rows(plan, called))


def _piece_rows(plan: NestPlan, called: Mapping[str, str]) -> Iterator[dict[str, Cell]]:
    """Rows of ``pieces.csv``."""
    for s in plan.sheets:
        for part in s.parts:
            low, high = part.outline.box
            places = (*part.shift, degrees(part.angle) % 360.0, *low, *(high - low))
            rounded = [round(float(v), 2) for v in places]
            yield {
                "sheet": s.name,
                "length_mm": s.stock.length,
                "width_mm": s.stock.width,
                "thickness_mm": s.thickness,
                "material": s.material,
                "number": called.get(part.plate.id, ""),
                "plate": part.plate.id,
                "kind": part.plate.kind,
                **dict(zip(PIECE_COLUMNS[8:15], rounded, strict=True)),
                "sheet_used_pct": round(100 * s.utilisation, 2),
            }


def nest_options(design: Design) -> dict[str, Any]:
    """What the design's options say about nesting.

    Options: ``gap`` (mm), ``margin`` (mm), ``turning``, ``effort``, ``engine``,
    ``folds_across_grain``.
    """
    names = ("gap", "margin", "turning", "effort", "engine", "folds_across_grain")
    return {n: design.options[n] for n in names if n in design.options}


def cut_options(design: Design) -> CutOptions:
    """What the design's options and tooling say about cutting.

    Options: ``kerf`` (mm), ``bridges``, ``bridge_width`` (mm), ``process``, ``pilot``,
    ``letter_height`` (mm).
    """
    from msgspec.structs import replace

    base = CutOptions.of(design.tooling, design.units)
    names = ("kerf", "bridges", "bridge_width", "process", "pilot", "letter_height")
    return replace(base, **{n: design.options[n] for n in names if n in design.options})


def dxf_options(design: Design) -> DxfOptions:
    """The files that the shop's table reads; options of the same names go before it."""
    o: Mapping[str, Any] = design.options
    table = design.tooling.table
    own = (table.dxf_units, table.dxf_entities, table.dxf_version) if table else ()
    units, entities, version = own or ("mm", "polyline", "R2010")
    return DxfOptions(
        units=o.get("dxf_units", units),
        entities=o.get("dxf_entities", entities),
        version=o.get("dxf_version", version),
    )


def save(drawing: Drawing, path: Path, options: DxfOptions | None = None) -> None:
    """Write a drawing; OutputError when the file cannot be written.

    Args:
        drawing: what to draw.
        path: of the file.
        options: units, entities and version.

    Raises:
        OutputError: the file cannot be written.
    """
    data = dxf_bytes(drawing, options or DxfOptions())
    try:
        path.write_bytes(data)
    except OSError as error:
        raise OutputError(f"{path}: cannot be written ({error.strerror or error}).") from error


def dxf_bytes(drawing: Drawing, options: DxfOptions) -> bytes:
    """The DXF of a drawing as bytes, equal for equal drawings.

    Raises:
        GeometryError: the drawing holds nothing to cut.
    """
    if not any(s.layer.is_cut for s in drawing):
        raise GeometryError(drawing.name, "there is nothing to cut on the drawing.")
    frame, strokes = _frame(options), _once(drawing)
    pen = _Pen(frame, options)
    entities = pen.draw(strokes)
    whole = frame.around(entities, pen.handle, _ends(strokes, pen.scale))
    return whole.encode("cp1252" if options.version in ("R12", "R2000") else "utf-8")


class _Frame(NamedTuple):
    """All of a file but its entities, with marks where a drawing's own numbers go.

    ``first`` is the handle of its first entity, ``owner`` that of the space they are in.
    """

    before: str
    after: str
    first: int
    owner: str

    def around(self, entities: str, handle: int, ends: Sequence[float]) -> str:
        """The whole file; ``handle`` is the first free one, ``ends`` the extents low and high."""

        def told(text: str) -> str:
            text = _LATE.sub(lambda late: f"{int(late[0], 16) - _LATE_FROM + handle:X}", text)
            for mark, end in zip(_MARKS, ends, strict=True):
                text = text.replace(str(mark), str(end))
            return text

        return told(self.before) + entities + told(self.after)


_MARKS = (-11111.25, -22222.5, 33333.75, 44444.125)
"""Extents that stand for those of a drawing: no other number of a frame is like them."""
_LATE_FROM = 0x7F000000
"""Handles that the library gives away after the entities', counted from here in a frame."""
_LATE = re.compile("7F0000[0-9A-F]{2}")


@lru_cache(maxsize=8)
def _frame(options: DxfOptions) -> _Frame:
    """The library's file for these options, made once: it takes longer than the drawing in it."""
    with _no_settings():
        import ezdxf
        import ezdxf.units

    with _fixed_metadata():
        doc = ezdxf.new(options.version)  # type: ignore[attr-defined]
        inches = options.units == "in"
        if options.version != "R12":
            doc.units = ezdxf.units.IN if inches else ezdxf.units.MM
            doc.header["$MEASUREMENT"] = 0 if inches else 1
            doc.header["$LUNITS"] = 2
        else:
            del doc.header["$INSUNITS"]
        for layer in Layer:
            doc.layers.add(layer.value, color=COLOURS[layer])
        first = int(str(doc.entitydb.handles), 16)
        doc.entitydb.handles.reset(f"{_LATE_FROM:X}")
        _limit(doc, 1 / INCH if inches else 1.0)
        _name_classes(doc)
        out = io.StringIO()
        doc.write(out)
    head, opening, tail = out.getvalue().partition("  2\nENTITIES\n")
    return _Frame(head + opening, tail, first, doc.modelspace().layout_key)


def _limit(doc: Any, scale: float) -> None:
    """Mark limits and extents, in the file's own units; the library's are a sheet of A3 in mm."""
    low, high = _MARKS[:2], _MARKS[2:]
    space = doc.modelspace()
    space.reset_limits(low, high)
    space.reset_extents((*low, 0.0), (*high, 0.0))
    for layout in doc.layouts:
        if layout.name != "Model":
            sheet = [(x * scale, y * scale) for x, y in ((0.0, 0.0), (420.0, 297.0))]
            layout.reset_limits(*sheet)


def _ends(strokes: Sequence[Stroke], scale: float) -> list[float]:
    """Lowest x and y of a drawing and its highest, in the file's units."""
    every = [s.line.vertices for s in strokes]
    every += [np.array(s.line.box) for s in strokes if s.line.bulges.any()]
    points = np.concatenate(every) * scale
    return [round(v, 6) + 0.0 for v in (*points.min(0).tolist(), *points.max(0).tolist())]


def _name_classes(doc: Any) -> None:
    """List the classes in use by name; ezdxf lists them in an order that changes by run."""
    if doc.dxfversion == "AC1009":
        return
    for name in sorted(doc.entitydb.dxf_types_in_use()):
        doc.classes.add_class(name)


@contextmanager
def _no_settings() -> Iterator[None]:
    """Keep the library, while it is loaded, from settings files in the working folder or home.

    They change what is written or end the program, and the folder may be a stranger's.
    """
    import configparser

    whole = configparser.ConfigParser

    class Deaf(whole):  # type: ignore[misc, valid-type]
        def read(self, *_: Any, **__: Any) -> list[str]:
            return []

    configparser.ConfigParser = Deaf  # type: ignore[misc]
    try:
        yield
    finally:
        configparser.ConfigParser = whole  # type: ignore[misc]


class _fixed_metadata:
    """Take dates, user and random ids out of the file while it is written.

    The library's remark that R12 has no place for units is kept quiet: the note in the drawing
    says them.
    """

    def __enter__(self) -> None:
        from ezdxf import options  # type: ignore[attr-defined]

        self.log = logging.getLogger("ezdxf")
        self.level = self.log.level
        self.log.setLevel(logging.ERROR)
        self.options, self.before = options, options.write_fixed_meta_data_for_testing
        options.write_fixed_meta_data_for_testing = True

    def __exit__(self, *_: object) -> None:
        self.options.write_fixed_meta_data_for_testing = self.before
        self.log.setLevel(self.level)


def _once(strokes: Iterable[Stroke]) -> list[Stroke]:
    """Leave out lines that lie on top of one another on the same layer."""
    every = list(strokes)
    if not every:
        return []
    corners = np.round(np.concatenate([s.line.vertices for s in every]), 6) + 0.0
    bulges = np.round(np.concatenate([s.line.bulges for s in every]), 9) + 0.0
    seen: set[tuple[object, ...]] = set()
    out = []
    last = 0
    for s in every:
        first, last = last, last + len(s.line)
        ends = corners[first:last]
        key = (
            s.layer,
            s.line.closed,
            min(ends.tobytes(), ends[::-1].tobytes()),
            bulges[first:last].tobytes(),
        )
        # the chords alone are mostly long enough, and no longer than the line
        long = sum(s.line.chords) > SHORTEST or s.line.length > SHORTEST
        if key not in seen and long:
            seen.add(key)
            out.append(s)
    return out


class _Pen:
    """Writes strokes as the text of entities in a document's model space.

    The library makes everything around them. Its own entities cost a third of a millisecond each,
    and a template of letters has four hundred; the text is the same.
    """

    def __init__(self, frame: _Frame, options: DxfOptions) -> None:
        self.handle = frame.first
        self.old = options.version == "R12"
        self.owner = frame.owner
        self.options = options
        self.scale = 1 / INCH if options.units == "in" else 1.0

    def draw(self, strokes: Iterable[Stroke]) -> str:
        """Give the text of all entities, with handles of their own."""
        return "".join(text for s in strokes for text in self._stroke(s.line, s.layer.value))

    def _stroke(self, line: Outline, layer: str) -> Iterator[str]:
        if _is_circle(line):
            first = line.segments[0]
            yield self._head("CIRCLE", layer, "AcDbCircle")
            yield _point(first.centre * self.scale) + f" 40\n{first.radius * self.scale}\n"
        elif self.options.entities == "lines":
            for piece in line.segments:
                if piece.chord > SHORTEST:
                    yield self._piece(piece, layer)
        else:
            yield self._polyline(line, layer)

    def _head(self, kind: str, layer: str, subclass: str) -> str:
        """What every entity begins with: kind, handle, owner and layer."""
        start = f"  0\n{kind}\n  5\n{self.handle:X}\n"
        self.handle += 1
        if self.old:
            return f"{start}  8\n{layer}\n"
        return f"{start}330\n{self.owner}\n100\nAcDbEntity\n  8\n{layer}\n100\n{subclass}\n"

    def _polyline(self, line: Outline, layer: str) -> str:
        if self.old:
            return self._old_polyline(_rows(line, self.scale), layer, closed=line.closed)
        return self._head("LWPOLYLINE", layer, "AcDbPolyline") + _corners(line, self.scale)

    def _old_polyline(self, rows: Sequence[Sequence[float]], layer: str, *, closed: bool) -> str:
        """A polyline of R12: its vertices are entities that an end of sequence closes."""
        head = self._head("POLYLINE", layer, "") + f" 66\n1\n{ORIGIN} 70\n{int(closed)}\n"
        corners = (
            f"{self._head('VERTEX', layer, '')}{_point((x, y))}{_bulge(b)} 70\n0\n"
            for x, y, b in rows
        )
        return head + "".join(corners) + self._head("SEQEND", layer, "")

    def _piece(self, piece: Segment, layer: str) -> str:
        p, q = piece.start * self.scale, piece.end * self.scale
        if not piece.is_arc:
            return self._head("LINE", layer, "AcDbLine") + _point(p) + _point(q, 1)
        c = piece.centre * self.scale
        start, end = (p, q) if piece.bulge > 0 else (q, p)
        a, b = (degrees(atan2(v[1] - c[1], v[0] - c[0])) % 360 for v in (start, end))
        return (
            f"{self._head('ARC', layer, 'AcDbCircle')}{_point(c)} 40\n{piece.radius * self.scale}\n"
            f"{'' if self.old else ARC}"
            f" 50\n{a}\n 51\n{b}\n"
        )


ARC = "100\nAcDbArc\n"
ORIGIN = " 10\n0.0\n 20\n0.0\n 30\n0.0\n"


def _point(at: Iterable[float], code: int = 0) -> str:
    """A point of the drawing's plane as three tags; ``code`` 1 for the second of an entity."""
    x, y = (float(v) for v in at)
    return f" 1{code}\n{x}\n 2{code}\n{y}\n 3{code}\n0.0\n"


def _bulge(bulge: float) -> str:
    """The tag of an arc; a straight piece has none."""
    return f" 42\n{bulge}\n" if bulge else ""


def _is_circle(line: Outline) -> bool:
    """Whether an outline is one full circle in two half turns."""
    if not line.closed or len(line) != 2:
        return False
    return (
        bool(np.allclose(np.abs(line.bulges), 1.0, atol=ROUNDING))
        and abs(abs(line.segments[0].sweep) - pi) < SAME_ANGLE
    )


def _rows(line: Outline, scale: float) -> list[tuple[float, float, float]]:
    """Corners of a polyline in the file's units, each with the bulge behind it."""
    ends, bulges = (line.vertices * scale).tolist(), line.bulges.tolist()
    rows = [(*ends[i], bulges[i]) for i, chord in enumerate(line.chords) if chord > SHORTEST]
    if not line.closed:
        rows.append((*ends[-1], 0.0))
    return rows


@lru_cache(maxsize=512)
def _corners(line: Outline, scale: float) -> str:
    """What a polyline says of its corners; the letters of a caution are on every template."""
    rows = _rows(line, scale)
    corners = "".join(
        [f" 10\n{x}\n 20\n{y}\n 42\n{b}\n" if b else f" 10\n{x}\n 20\n{y}\n" for x, y, b in rows]
    )
    return f" 90\n{len(rows)}\n 70\n{int(line.closed)}\n{corners}"

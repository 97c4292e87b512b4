"""What goes to the cutting table: contours with kerf and bridges, marks, folds, letters, notes.

A `Drawing` is plain 2D geometry on our own layers, mm, in the plate's flat frame; the DXF and
picture writers draw it as it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum
from functools import cache
from math import atan2, pi
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import ArrayLike

from cagekit.cage.plate import Hole, HolePurpose, Plate
from cagekit.data import rows as table_rows
from cagekit.errors import GeometryError, NotFoundError
from cagekit.geometry.fold import bend_name
from cagekit.geometry.outline import Outline, Segment
from cagekit.hints import did_you_mean
from cagekit.names import named
from cagekit.shop.nesting.engraving import engraved, written
from cagekit.shop.nesting.letters import strokes
from cagekit.units import format_length, format_mass
from cagekit.units.tolerance import ROUNDING

if TYPE_CHECKING:
    from cagekit.inputs.tooling import Tooling


CAUTION = "computed geometry, not approval: rulebook and scrutineer decide; measure the real car"


class Layer(StrEnum):
    """What a line on the drawing is for; the value is the layer's name in the file."""

    OUTSIDE = "CUT_OUTSIDE"
    INSIDE = "CUT_INSIDE"
    FOLD = "FOLD_LINE"
    MARK = "MARK_SCRIBE"
    NOTE = "NOTE_ONLY"

    @property
    def is_cut(self) -> bool:
        """Tell whether the table cuts through on this layer."""
        return self in (Layer.OUTSIDE, Layer.INSIDE)


class Stroke(Struct, frozen=True, eq=False):
    """One contour or line of a drawing."""

    layer: Layer
    line: Outline


class Process(Struct, frozen=True, kw_only=True):
    """A cutting process: what it can cut.

    Args:
        name: ``plasma``, ``laser``, ``waterjet``, ``oxyfuel`` or ``router``.
        kerf: usual width of the cut, low and high, mm.
        min_hole_ratio: smallest clean hole over the thickness.
        spacing: least distance of two parts on a sheet, mm.
        source, certainty: of the figures.
    """

    name: str
    kerf: tuple[float, float]
    min_hole_ratio: float
    spacing: float
    source: str
    certainty: str


@cache
def processes() -> dict[str, Process]:
    """Every process of the table."""
    return {
        r["process"]: Process(
            name=r["process"],
            kerf=(float(r["kerf_low"]), float(r["kerf_high"])),
            min_hole_ratio=float(r["min_hole_ratio"]),
            spacing=float(r["spacing"]),
            source=r["source"],
            certainty=r["certainty"],
        )
        for r in table_rows("cutting")
    }


def process(name: str) -> Process:
    """One process; NotFoundError names the closest.

    Raises:
        NotFoundError: no such process; names the closest.
    """
    known = processes()
    if name not in known:
        raise NotFoundError(f"process {name!r}: not in the table. {did_you_mean(name, known)}")
    return known[name]


class CutOptions(Struct, frozen=True, kw_only=True):
    """How plates are prepared for the table.

    Args:
        process: cutting process.
        min_hole_ratio: smallest hole over thickness; the process's own when None.
        kerf: width of the cut that the contours are moved for, mm; 0 leaves that to the table.
        own_kerf: the same that the table moves its cutter for, mm; 0 where nobody says.
        lead_in: run of the cutter from the piercing to the contour, in the waste, mm.
        pilot: mark the middle of holes that the process cannot cut, instead of cutting them.
        ream: left in the width of pin holes for the reamer, mm; 0 cuts them to size.
        bridges: tabs that hold the part in the sheet.
        bridge_width: width of a bridge, mm.
        letter_height: of the engraved id, mm; reduced where there is no room, 0 for none.
        units: of the notes, ``mm`` or ``in``.
        check_bar: length of the bar to measure on the drawing, mm; 0 for none.
    """

    process: str = "plasma"
    min_hole_ratio: float | None = None
    kerf: float = 0.0
    own_kerf: float = 0.0
    lead_in: float = 0.0
    pilot: bool = True
    ream: float = 0.0
    bridges: int = 0
    bridge_width: float = 1.0
    letter_height: float = 6.0
    units: str = "mm"
    check_bar: float = 100.0

    @classmethod
    def of(cls, tooling: Tooling | None, units: str = "mm") -> CutOptions:
        """The options for a shop's own table."""
        if tooling is None or tooling.table is None:
            return cls(units=units)
        table = tooling.table
        return cls(
            process=table.process,
            min_hole_ratio=table.min_hole_ratio,
            kerf=table.kerf if table.compensate_kerf else 0.0,
            own_kerf=0.0 if table.compensate_kerf else table.kerf,
            lead_in=table.lead_in,
            pilot=table.pilot,
            ream=table.ream,
            bridges=table.bridges,
            bridge_width=table.bridge_width,
            units=units,
        )

    def smallest_hole(self, thickness: float) -> float:
        """Smallest clean hole in a plate of ``thickness`` mm, mm."""
        ratio = self.min_hole_ratio
        return (process(self.process).min_hole_ratio if ratio is None else ratio) * thickness


class Drawing(Struct, frozen=True, kw_only=True, eq=False):
    """A plate (or a sheet of plates) as lines on layers, and what had to be said about it."""

    name: str
    strokes: tuple[Stroke, ...]
    warnings: tuple[str, ...] = ()

    def __iter__(self) -> Iterator[Stroke]:
        return iter(self.strokes)

    def on(self, layer: Layer) -> tuple[Outline, ...]:
        """The lines of one layer."""
        return tuple(s.line for s in self.strokes if s.layer is layer)

    def mapped(self, matrix: ArrayLike, shift: ArrayLike) -> Drawing:
        """Turn by a ``(2, 2)`` matrix, then shift by ``(2,)`` mm."""
        moved = tuple(replace(s, line=s.line.mapped(matrix, shift)) for s in self.strokes)
        return replace(self, strokes=moved)

    def without(self, *layers: Layer) -> Drawing:
        """The drawing without some layers."""
        return replace(self, strokes=tuple(s for s in self.strokes if s.layer not in layers))


def plate_drawing(
    plate: Plate,
    options: CutOptions,
    *,
    quantity: int = 1,
    number: str = "",
    titled: bool = True,
) -> Drawing:
    """Draw one plate for the cutting table.

    Args:
        plate: what to cut.
        options: process, kerf, bridges and letters.
        quantity: pieces to cut, for the note.
        number: of the piece on the papers, engraved with the id or, where room is short, alone.
        titled: whether the note and the check bar stand below it.

    Raises:
        GeometryError: a contour cannot be followed at the kerf's offset.
    """
    warnings: list[str] = []
    out = _contours(plate, options, warnings)
    out += [Stroke(Layer.FOLD, line) for line in _fold_lines(plate)]
    out += [Stroke(Layer.NOTE, line) for line in _fold_names(plate, options.units)]
    out += [Stroke(Layer.MARK, m.line) for m in plate.marks]
    label = engraved(plate, options.letter_height, number)
    if not label and options.letter_height > 0:
        label_of = f"{number} {plate.id}".strip()
        warnings.append(f"{label_of}: no room to engrave it, paint it on.")
        out += _called(plate, number or plate.id)
    out += [Stroke(Layer.MARK, line) for line in label]
    if titled:
        out += _title(plate, options, quantity, number)
    return Drawing(name=plate.id, strokes=tuple(out), warnings=tuple(warnings))


# -- contours ----------------------------------------------------------------------------------


def _contours(plate: Plate, options: CutOptions, warnings: list[str]) -> list[Stroke]:
    half = options.kerf / 2
    outer = plate.outline.offset(half, owner=plate.id)
    lines = bridged(outer, options.bridges, options.bridge_width) if options.bridges else [outer]
    out = [Stroke(Layer.OUTSIDE, line) for line in lines]
    least = options.smallest_hole(plate.thickness)
    for i, h in enumerate(plate.holes, 1):
        if _too_small(plate, h, options):
            width = h.pilot(options.ream)
            warnings.append(
                f"{plate.id}: hole {i} of {width:.1f} mm is under the {least:.1f} mm that "
                f"{options.process} cuts clean in {plate.thickness:.1f} mm"
                + (": drill it on the mark." if options.pilot else ".")
            )
            if options.pilot:
                out += [Stroke(Layer.MARK, line) for line in _pilot(h)]
                continue
        # a reamed hole is cut smaller by what the reamer takes
        take = half + (options.ream / 2 if reamed(h, options) else 0.0)
        out.append(Stroke(Layer.INSIDE, h.loop.offset(-take, owner=f"{plate.id} hole {i}")))
    return out


def _too_small(plate: Plate, hole: Hole, options: CutOptions) -> bool:
    """Whether the table does not cut a hole clean; of one that is reamed it cuts the pilot."""
    least = options.smallest_hole(plate.thickness)
    return hole.diameter > 0 and hole.pilot(options.ream) < least - ROUNDING


def reamed(hole: Hole, options: CutOptions) -> bool:
    """Whether a hole is cut as a pilot and reamed for its pin."""
    return hole.pilot(options.ream) < hole.diameter


def hole_work(plate: Plate, hole: Hole, options: CutOptions) -> str:
    """What is left to do at a hole when the plate comes off the table; empty for nothing.

    Args:
        plate: it is in.
        hole: one of its holes.
        options: how plates are prepared.
    """
    u: Any = options.units
    pin = reamed(hole, options)
    if options.pilot and _too_small(plate, hole, options):
        drill = "drill on the mark"
        return f"{drill}, {format_length(hole.pilot(options.ream), u)}, ream" if pin else drill
    if pin:
        return f"cut {format_length(hole.pilot(options.ream), u)}, ream"
    return ""


def _called(plate: Plate, words: str) -> list[Stroke]:
    """The number in the middle of a part that has no room for engraved letters, as a note."""
    low, high = plate.outline.box
    height = min(4.0, 0.25 * float(min(high - low)))
    return [Stroke(Layer.NOTE, line) for line in written(words, height, plate.outline.centroid)]


def _pilot(hole: Hole) -> list[Outline]:
    """A cross at the middle of a hole that is to be drilled."""
    c, s = hole.centre, max(min(hole.diameter * 0.35, 3.0), 1.0)
    across, up = np.array([s, 0.0]), np.array([0.0, s])
    return [_line(c - across, c + across), _line(c - up, c + up)]


def bridged(outline: Outline, count: int, width: float) -> list[Outline]:
    """Break a contour for bridges that hold the part: on straights, spread round the outline.

    Args:
        outline: closed contour.
        count: of the bridges.
        width: of a bridge, mm.

    Raises:
        GeometryError: no straight is long enough for a bridge.
    """
    segments = outline.segments
    starts = np.concatenate([[0.0], np.cumsum([s.length for s in segments])])
    total = float(starts[-1])
    room = [
        (float(starts[i]) + width, float(starts[i + 1]) - width)
        for i, s in enumerate(segments)
        if not s.is_arc and s.length > 2.5 * width
    ]
    if not room:
        raise GeometryError(
            "bridges", f"no straight of the outline has room for a bridge of {width:.1f} mm."
        )
    spots: list[float] = []
    for n in range(count):
        want = total * (n + 0.5) / count
        spot = min((min(max(want, a), b) for a, b in room), key=lambda s: abs(s - want))
        if all(abs(spot - other) > 2 * width for other in spots):
            spots.append(spot)
    spots.sort()
    cuts = [(s - width / 2, s + width / 2) for s in spots]
    return [
        stretch(
            outline,
            cuts[i][1],
            cuts[(i + 1) % len(cuts)][0] + (total if i + 1 == len(cuts) else 0.0),
        )
        for i in range(len(cuts))
    ]


def stretch(outline: Outline, start: float, end: float) -> Outline:
    """The open part of a closed outline between two stations, mm; ``end`` may pass the start.

    Args:
        outline: closed contour.
        start: station along the contour, mm.
        end: station along the contour, mm.
    """
    segments = outline.segments
    out: list[Segment] = []
    at = 0.0
    for s in [*segments, *segments]:
        lo, hi = max(start - at, 0.0), min(end - at, s.length)
        if hi - lo > ROUNDING:
            out.append(s.part(lo / s.length, hi / s.length))
        at += s.length
    return Outline.of_segments(out, closed=False)


# -- folds, marks, letters ---------------------------------------------------------------------


def _line(a: ArrayLike, b: ArrayLike) -> Outline:
    return Outline(np.array([a, b], float), np.zeros(2), closed=False)


def _fold_lines(plate: Plate) -> list[Outline]:
    """The middle of each bend zone, from edge to edge of the plate."""
    out = []
    for b in plate.bends:
        f = plate.folds[b.fold]
        hit = b.loop.chord_through(f.middle, f.direction)
        ends = [f.middle + d[0] * f.direction for d in hit] if hit else [f.start, f.end]
        out.append(_line(ends[0], ends[1]))
    return out


def _fold_names(plate: Plate, units: Any) -> list[Outline]:
    """Direction, angle and radius beside each fold, on the note layer."""
    out: list[Outline] = []
    for f, line in zip(plate.folds, _fold_lines(plate), strict=True):
        text = bend_name(f, units)
        span = line.length
        height = min(3.5, span / max(len(text), 1))
        angle = atan2(f.direction[1], f.direction[0])
        if not -pi / 2 < angle <= pi / 2:
            angle += pi
        middle = line.segments[0].point(0.5)
        out += written(text, height, middle, angle, lift=0.8)
    return out


# -- notes -------------------------------------------------------------------------------------


def note_lines(plate: Plate, options: CutOptions, quantity: int, number: str = "") -> list[str]:
    """What is written beside the plate: id, pieces, steel, thickness, folds, drilling.

    Args:
        plate: the plate that is drawn.
        options: how plates are prepared.
        quantity: how many are cut.
        number: of the piece on the papers.
    """
    u: Any = options.units
    thick = format_length(plate.thickness, u)
    low, high = plate.outline.box
    size = " x ".join(format_length(float(v), u) for v in high - low)
    out = [
        f"{number} {plate.id}".strip(),
        f"QTY {quantity}  {thick}  {plate.material.upper()}",
        f"{named(plate.kind)}, flat {size}, {format_mass(plate.mass, u)}",
    ]
    if plate.folds:
        first = plate.folds[0]
        out.append(
            f"{len(plate.folds)} fold{'s' if len(plate.folds) > 1 else ''}, lines in the middle of "
            f"the bend, drawn from the face, K {first.k:.3g}"
        )
    small = {h.pilot(options.ream) for h in plate.holes if _too_small(plate, h, options)}
    if small and options.pilot:
        out.append("drill on the marks: " + ", ".join(format_length(d, u) for d in sorted(small)))
    pins = sorted({h.diameter for h in plate.holes if reamed(h, options)})
    if pins:
        pilots = ", ".join(format_length(d - options.ream, u) for d in pins)
        to = ", ".join(format_length(d, u) for d in pins)
        out.append(f"pin holes are pilots of {pilots}: ream to {to} when folded")
    out += cut_lines(options)
    plugs = sum(h.purpose is HolePurpose.PLUG for h in plate.holes)
    if plugs:
        out.append(f"{plugs} plug weld holes")
    out.append(CAUTION)
    return out


def cut_lines(options: CutOptions) -> list[str]:
    """What the table's control has to know of the contours."""
    u: Any = options.units
    out = []
    if options.kerf:
        kerf = format_length(options.kerf, u, decimals=3 if u == "in" else 2)
        out.append(f"contours moved for a kerf of {kerf}: switch off the table's own")
    elif options.own_kerf:
        kerf = format_length(options.own_kerf, u, decimals=3 if u == "in" else 2)
        out.append(f"contours at size: set the table's own kerf to {kerf}")
    if options.lead_in:
        out.append(f"lead in over {format_length(options.lead_in, u)} of waste")
    return out


def _title(plate: Plate, options: CutOptions, quantity: int, number: str) -> list[Stroke]:
    """The note under the plate and the check bar."""
    low = plate.outline.box[0]
    out: list[Outline] = []
    height = 4.0
    x, y = float(low[0]), float(low[1]) - 12.0
    if options.check_bar > 0:
        out += check_bar((x, y), options.check_bar, options.units)
        y -= 14.0
    for text in note_lines(plate, options, quantity, number):
        rows = strokes(_plain(text), height)
        out += [Outline(r + np.array([x, y]), np.zeros(len(r)), closed=False) for r in rows]
        y -= 1.8 * height
    return [Stroke(Layer.NOTE, o) for o in out]


def check_bar(
    start: tuple[float, float], length: float, units: str, height: float = 3.0
) -> list[Outline]:
    """A bar of known length to measure before cutting, with its length written above.

    Args:
        start: lower left corner, ``(2,)`` mm.
        length: of the bar, mm.
        units: of the words beside it, ``mm`` or ``in``.
        height: of the letters, mm.
    """
    x, y = start
    ends = [_line((x, y), (x + length, y))]
    ends += [_line((x + d, y - 2.0), (x + d, y + 2.0)) for d in (0.0, length)]
    said = f"CHECK {length:g} mm" + (f" = {length / 25.4:.3f} in" if units == "in" else "")
    shift = np.array([x + 2.0, y + max(3.0, 0.4 * height)])
    ends += [Outline(r + shift, np.zeros(len(r)), closed=False) for r in strokes(said, height)]
    return ends


def _plain(text: str) -> str:
    """Letters that the single-stroke font has."""
    swaps = {"×": "x", "°": " deg", "–": "-", "⌀": "dia ", "″": '"', "′": "'"}
    for a, b in swaps.items():
        text = text.replace(a, b)
    return "".join(c if 32 <= ord(c) < 127 else "?" for c in text)

"""A nested sheet as a drawing: every part with its marks, the sheet's edge, what is on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from cagekit.geometry.outline import Outline
from cagekit.names import named
from cagekit.shop.nesting.letters import strokes
from cagekit.shop.nesting.nest import NestedSheet
from cagekit.shop.nesting.plate_drawing import (
    CAUTION,
    CutOptions,
    Drawing,
    Layer,
    Stroke,
    check_bar,
    cut_lines,
    plate_drawing,
)
from cagekit.units import format_length


def sheet_drawing(
    sheet: NestedSheet, options: CutOptions, called: Mapping[str, str] | None = None
) -> Drawing:
    """Draw one nested sheet for the table.

    Every part brings its cuts, folds with direction, angle and radius, marks, number and name; the
    sheet's edge, the check bar, the piece list and the utilisation are on the note layer, outside
    the sheet.

    Args:
        sheet: the layout.
        options: how plates are prepared.
        called: number of the piece by plate id.
    """
    called = called or {}
    out: list[Stroke] = []
    warnings: list[str] = []
    known: dict[str, Drawing] = {}
    for part in sheet.parts:
        drawing = known.get(part.plate.id)
        if drawing is None:
            number = called.get(part.plate.id, "")
            drawing = plate_drawing(part.plate, options, number=number, titled=False)
            known[part.plate.id] = drawing
            warnings += drawing.warnings
        out += drawing.mapped(part.turn, part.shift).strokes
    size = sheet.stock.length, sheet.stock.width
    edge = Outline(
        np.array([[0.0, 0.0], [size[0], 0.0], [size[0], size[1]], [0.0, size[1]]]), np.zeros(4)
    )
    out.append(Stroke(Layer.NOTE, edge))
    out += _notes(sheet, options, called)
    return Drawing(name=sheet.name, strokes=tuple(out), warnings=tuple(dict.fromkeys(warnings)))


def sheet_lines(
    sheet: NestedSheet,
    units: str,
    called: Mapping[str, str] | None = None,
    cut: Sequence[str] = (),
) -> list[str]:
    """What is written beside a sheet, pieces that are alike in one line.

    Args:
        sheet: the layout.
        units: of the sizes, ``mm`` or ``in``.
        called: number of the piece by plate id.
        cut: what the table's control has to know.
    """
    u: Any = units
    size = " x ".join(format_length(v, u) for v in (sheet.stock.length, sheet.stock.width))
    kind = "off-cut" if sheet.stock.offcut else "sheet"
    label = f" {sheet.stock.label}" if sheet.stock.label else ""
    return [
        f"{sheet.name}: {kind}{label} {size}, {format_length(sheet.thickness, u)} "
        f"{sheet.material.upper()}",
        f"{len(sheet.parts)} parts, {100 * sheet.utilisation:.1f} % of the sheet, "
        f"{100 * sheet.density:.1f} % of the {format_length(sheet.used_length, u)} used, gap "
        f"{format_length(sheet.options.gap, u)}",
        *cut,
        CAUTION,
        *_list(sheet, called or {}),
    ]


def _list(sheet: NestedSheet, called: Mapping[str, str]) -> list[str]:
    """Count, number and name of every piece; several that are alike by the first."""
    groups: dict[str, list[tuple[str, int]]] = {}
    for name, n in sheet.pieces:
        groups.setdefault(called.get(name, name), []).append((name, n))
    out = []
    for number, found in groups.items():
        total = sum(n for _, n in found)
        name = named(found[0][0])
        name += " and alike" if len(found) > 1 else ""
        out.append(f"{total} x {number} {name}" if number != found[0][0] else f"{total} x {name}")
    return out


def _notes(sheet: NestedSheet, options: CutOptions, called: Mapping[str, str]) -> list[Stroke]:
    height = max(4.0, sheet.stock.length / 140)
    y = -3.0 * height
    lines: list[Outline] = []
    if options.check_bar > 0:
        lines += check_bar((0.0, y), options.check_bar, options.units, 0.6 * height)
        y -= 3.0 * height
    rows = sheet_lines(sheet, options.units, called, cut_lines(options))
    head = len(rows) - len(_list(sheet, called))
    column, width = 0.0, 0.0
    top = y
    for n, text in enumerate(rows):
        shift = np.array([column, y])
        drawn = strokes(text, height)
        lines += [Outline(r + shift, np.zeros(len(r)), closed=False) for r in drawn]
        width = max([width, *(float(r[:, 0].max()) for r in drawn)]) if n >= head else width
        y -= 1.8 * height
        if n == head - 1:
            top = y
        elif n >= head and (n - head + 1) % 14 == 0:
            column, y, width = column + width + 4 * height, top, 0.0
    return [Stroke(Layer.NOTE, line) for line in lines]

"""The placement plot: one lane per finding, one column per place tried."""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING, Literal

from msgspec import Struct

from cagekit.names import filled
from cagekit.view.fonts import font
from cagekit.view.ink import INK, SOFT, Rgb
from cagekit.view.sheet import PictureSheet

if TYPE_CHECKING:
    from PIL.Image import Image

State = Literal["good", "warn", "fail", "none"]

FILL: dict[State, Rgb] = {
    "good": (214, 234, 219),
    "warn": (252, 231, 183),
    "fail": (240, 190, 186),
    "none": (240, 241, 243),
}
LETTER: dict[State, Rgb] = {
    "good": (28, 84, 46),
    "warn": (122, 78, 0),
    "fail": (140, 20, 20),
    "none": SOFT,
}
SIGN: dict[State, str] = {"good": "", "warn": "!", "fail": "✕", "none": ""}
"""Marks beside the colour, so that nothing hangs on colour alone."""

MARGIN, HEAD, CELL, LANE = 46, 150, 66, 46
LABEL = 560
"""Least width of the column of names, pixels; it grows with the longest one."""
LEAST = 1500
"""Width of the narrowest plot, pixels."""
CAUTION = (
    "Geometry and screening figures only; the current rulebook and the scrutineer decide. Try it "
    "in the car with the people who will sit in it."
)


class PlotCell(Struct, frozen=True, kw_only=True):
    """One number and what it means."""

    text: str
    state: State


class Lane(Struct, frozen=True, kw_only=True):
    """One finding over all places; ``limit`` is printed under its name."""

    name: str
    limit: str
    cells: tuple[PlotCell, ...]


class Chart(Struct, frozen=True, kw_only=True):
    """What is to be drawn.

    ``columns`` are the places as printed; ``now`` is where the member is, as a fraction of the
    columns (column ``i`` spans ``i`` to ``i + 1``); ``best`` the column proposed; ``lanes`` from
    top to bottom; ``remarks`` stand under the chart; ``grey`` says what a cell without state is.
    """

    title: str
    axis: str
    columns: tuple[str, ...]
    lanes: tuple[Lane, ...]
    best: int | None
    now: float | None
    remarks: tuple[str, ...]
    best_lane: int | None = None
    grey: str = "no finding of its own"


def placement_plot(chart: Chart) -> Image:
    """Return the plot as a pillow image."""
    label = _label_width(chart)
    width = max(2 * MARGIN + label + CELL * len(chart.columns), LEAST)
    room = max(int((width - 2 * MARGIN) / 11), 40)
    remarks = [line for r in chart.remarks for line in filled(r, room).splitlines()]
    bottom = HEAD + LANE * len(chart.lanes)
    height = bottom + 76 + 30 * len(remarks) + 80
    sheet = PictureSheet(width, height, edge=MARGIN)
    sheet.write((MARGIN, 24), chart.title, 34, bold=True)
    sheet.rule(78)
    _columns(sheet, chart, label)
    for n, lane in enumerate(chart.lanes):
        _lane(sheet, lane, HEAD + n * LANE, label)
    _marks(sheet, chart, bottom, label)
    y = bottom + 84
    for line in remarks:
        sheet.write((MARGIN, y), line, 18, anchor="ls")
        y += 30
    sheet.foot(CAUTION, size=17)
    return sheet.image


def _label_width(chart: Chart) -> int:
    """Width of the column of names, so that every name and limit is whole."""
    names = [(lane.name, 18) for lane in chart.lanes] + [(chart.axis, 19)]
    limits = [(lane.limit, 14) for lane in chart.lanes]
    longest = max(font(size).getlength(text) for text, size in (*names, *limits))
    return max(LABEL, ceil(longest) + 24)


def _left(column: float, label: float) -> float:
    return MARGIN + label + column * CELL


def _columns(sheet: PictureSheet, chart: Chart, label: float) -> None:
    sheet.write((MARGIN, HEAD - 18), chart.axis, 19, SOFT, anchor="ls")
    for i, text in enumerate(chart.columns):
        bold = i == chart.best
        letters = font(16 if len(text) < 7 else 13, bold=bold)
        sheet.pen.text(
            (_left(i + 0.5, label), HEAD - 12), text, INK if bold else SOFT, letters, anchor="ms"
        )


def _lane(sheet: PictureSheet, lane: Lane, y: float, label: float) -> None:
    middle = y + LANE / 2
    sheet.write((MARGIN, middle - 1), lane.name, 18, anchor="ls")
    sheet.write((MARGIN, middle + 2), lane.limit, 14, SOFT, anchor="la")
    for i, cell in enumerate(lane.cells):
        box = (_left(i, label) + 1, y + 2, _left(i + 1, label) - 1, y + LANE - 2)
        sheet.pen.rectangle(box, FILL[cell.state])
        text = f"{cell.text} {SIGN[cell.state]}".strip()
        size = 16 if len(text) < 8 else 13
        sheet.write((_left(i + 0.5, label), middle), text, size, LETTER[cell.state], anchor="mm")


def _marks(sheet: PictureSheet, chart: Chart, bottom: float, label: float) -> None:
    """Frame the column proposed and point at where the member is now."""
    if chart.best is not None:
        low = HEAD if chart.best_lane is None else HEAD + chart.best_lane * LANE
        high = bottom if chart.best_lane is None else low + LANE
        box = (_left(chart.best, label), low, _left(chart.best + 1, label), high)
        sheet.pen.rectangle(box, outline=INK, width=4)
        sheet.write(
            (_left(chart.best + 0.5, label), bottom + 32), "proposed", 17, bold=True, anchor="ms"
        )
    if chart.now is not None and 0 <= chart.now <= len(chart.columns):
        x = _left(chart.now, label)
        sheet.pen.polygon([(x, bottom + 2), (x - 8, bottom + 14), (x + 8, bottom + 14)], INK)
        lift = 56 if chart.best is not None and abs(chart.best + 0.5 - chart.now) < 1.6 else 32
        sheet.write((x, bottom + lift), "now", 17, anchor="ms")
    _legend(sheet, chart, max(_left(len(chart.columns), label), LEAST - MARGIN))


def _legend(sheet: PictureSheet, chart: Chart, right: float) -> None:
    """Say what the fills mean, from the right edge leftwards; grey only where it is drawn."""
    known: list[tuple[State, str]] = [("fail", "fails"), ("warn", "warning"), ("good", "good")]
    if any(cell.state == "none" for lane in chart.lanes for cell in lane.cells):
        known.append(("none", chart.grey))
    at = right
    for state, text in known:
        at -= font(16).getlength(text) + 60
        sheet.pen.rectangle((at, 96, at + 24, 114), FILL[state], outline=SOFT)
        sheet.write((at + 12, 105), SIGN[state], 14, LETTER[state], anchor="mm")
        sheet.write((at + 32, 105), text, 16, SOFT, anchor="lm")

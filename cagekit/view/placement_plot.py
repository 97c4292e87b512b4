"""The placement plot: one lane per finding, one column per place tried."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Literal

from cagekit.view.fonts import font
from cagekit.view.ink import HAIR, INK, PAPER, SOFT, Rgb

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

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


@dataclass(frozen=True, slots=True, kw_only=True)
class PlotCell:
    """One number and what it means."""

    text: str
    state: State


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """One finding over all places; ``limit`` is printed under its name."""

    name: str
    limit: str
    cells: tuple[PlotCell, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """What is to be drawn.

    ``columns`` are the places as printed; ``now`` is where the member is, as a fraction of the
    columns (column ``i`` spans ``i`` to ``i + 1``); ``best`` the column proposed; ``lanes`` from
    top to bottom; ``remarks`` stand under the chart.
    """

    title: str
    axis: str
    columns: tuple[str, ...]
    lanes: tuple[Lane, ...]
    best: int | None
    now: float | None
    remarks: tuple[str, ...]
    best_lane: int | None = None


def placement_plot(chart: Chart) -> Image:
    """Return the plot as a pillow image."""
    from PIL import Image as image_module
    from PIL import ImageDraw as draw_module

    label = _label_width(chart)
    width = max(2 * MARGIN + label + CELL * len(chart.columns), LEAST)
    room = max(int((width - 2 * MARGIN) / 11), 40)
    remarks = [line for r in chart.remarks for line in textwrap.wrap(r, room)]
    bottom = HEAD + LANE * len(chart.lanes)
    height = bottom + 66 + 30 * len(remarks) + 80
    sheet = image_module.new("RGB", (width, height), PAPER)
    draw = draw_module.Draw(sheet)
    draw.text((MARGIN, 24), chart.title, INK, font(34, bold=True))
    draw.line((MARGIN, 78, width - MARGIN, 78), HAIR, 2)
    _columns(draw, chart, label)
    for n, lane in enumerate(chart.lanes):
        _lane(draw, lane, HEAD + n * LANE, label)
    _marks(draw, chart, bottom, label)
    y = bottom + 74
    for line in remarks:
        draw.text((MARGIN, y), line, INK, font(18), anchor="ls")
        y += 30
    draw.line((MARGIN, height - 58, width - MARGIN, height - 58), HAIR, 2)
    draw.text((MARGIN, height - 38), CAUTION, SOFT, font(17))
    return sheet


def _label_width(chart: Chart) -> int:
    """Width of the column of names, so that every name and limit is whole."""
    names = [(lane.name, 18) for lane in chart.lanes] + [(chart.axis, 19)]
    limits = [(lane.limit, 14) for lane in chart.lanes]
    longest = max(font(size).getlength(text) for text, size in (*names, *limits))
    return max(LABEL, ceil(longest) + 24)


def _left(column: float, label: float) -> float:
    return MARGIN + label + column * CELL


def _columns(draw: ImageDraw, chart: Chart, label: float) -> None:
    draw.text((MARGIN, HEAD - 18), chart.axis, SOFT, font(19), anchor="ls")
    for i, text in enumerate(chart.columns):
        bold = i == chart.best
        letters = font(16 if len(text) < 7 else 13, bold=bold)
        draw.text(
            (_left(i + 0.5, label), HEAD - 12), text, INK if bold else SOFT, letters, anchor="ms"
        )


def _lane(draw: ImageDraw, lane: Lane, y: float, label: float) -> None:
    middle = y + LANE / 2
    draw.text((MARGIN, middle - 1), lane.name, INK, font(18), anchor="ls")
    draw.text((MARGIN, middle + 2), lane.limit, SOFT, font(14), anchor="la")
    for i, cell in enumerate(lane.cells):
        box = (_left(i, label) + 1, y + 2, _left(i + 1, label) - 1, y + LANE - 2)
        draw.rectangle(box, FILL[cell.state])
        text = f"{cell.text} {SIGN[cell.state]}".strip()
        size = 16 if len(text) < 8 else 13
        draw.text(
            (_left(i + 0.5, label), middle), text, LETTER[cell.state], font(size), anchor="mm"
        )


def _marks(draw: ImageDraw, chart: Chart, bottom: float, label: float) -> None:
    """Frame the column proposed and point at where the member is now."""
    if chart.best is not None:
        low = HEAD if chart.best_lane is None else HEAD + chart.best_lane * LANE
        high = bottom if chart.best_lane is None else low + LANE
        box = (_left(chart.best, label), low, _left(chart.best + 1, label), high)
        draw.rectangle(box, outline=INK, width=4)
        draw.text(
            (_left(chart.best + 0.5, label), bottom + 24),
            "proposed",
            INK,
            font(17, bold=True),
            anchor="ms",
        )
    if chart.now is not None and 0 <= chart.now <= len(chart.columns):
        x = _left(chart.now, label)
        draw.polygon([(x, bottom + 2), (x - 8, bottom + 14), (x + 8, bottom + 14)], INK)
        lift = 46 if chart.best is not None and abs(chart.best + 0.5 - chart.now) < 1.4 else 30
        draw.text((x, bottom + lift), "now", INK, font(17), anchor="ms")
    x = max(_left(len(chart.columns), label), LEAST - MARGIN)
    legend: Sequence[tuple[State, str]] = (("good", "good"), ("warn", "warning"), ("fail", "fails"))
    for n, (state, text) in enumerate(legend):
        at = x - 330 + 112 * n
        draw.rectangle((at, 96, at + 24, 114), FILL[state])
        draw.text((at + 12, 105), SIGN[state], LETTER[state], font(14), anchor="mm")
        draw.text((at + 32, 105), text, SOFT, font(16), anchor="lm")

"""Cope templates: ``copes.pdf`` at true size, and one DXF per end."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from functools import cache
from itertools import pairwise
from math import ceil, degrees
from pathlib import Path
from typing import Any

import numpy as np
from msgspec import Struct

from cagekit.cage.cage import Cage
from cagekit.cage.member import EndName
from cagekit.design import Design
from cagekit.geometry.centre_line import Vec
from cagekit.geometry.outline import Outline
from cagekit.inputs.grind import told
from cagekit.inputs.tooling import Tooling
from cagekit.names import named
from cagekit.shop.nesting.letters import strokes as letters
from cagekit.shop.nesting.plate_drawing import CAUTION, Drawing, Layer, Stroke, check_bar
from cagekit.shop.sawing.templates import SawSetting, Template, ordinates, saw_setting, templates
from cagekit.units import LengthUnit, format_length
from cagekit.units.tolerance import ANGLE_ROUNDING, MICRON, ROUNDING
from cagekit.view.overview import numbers_of
from cagekit.writers.csv import write_table
from cagekit.writers.dxf import dxf_options, save
from cagekit.writers.pdf import document

PAGES: Mapping[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height of the papers, mm (ISO 216; ANSI/ASME Y14.1 size A)."""
SIDE, TOP, BOTTOM, RIGHT = 12.0, 25.0, 20.0, 12.0
GAP = 9.0
TAB = 10.0
OVERLAP = 15.0
PT = 25.4 / 72
"""A point of type, mm."""
THIN = round(0.35 * PT, 4)
"""Width of the line of the wall's inside, mm."""
FAINT = "#595959"


class Placed(Struct, frozen=True, kw_only=True):
    """A template, or a part of one, on a sheet: mm from the sheet's upper left corner."""

    index: int
    x: float
    y: float
    w: float
    h: float
    dx: float = 0.0
    dy: float = 0.0
    part: str = ""

    @property
    def tiled(self) -> bool:
        """Whether this is one part of several."""
        return bool(self.part)


LABEL, ARROW = 66.0, 21.0
"""Width of a template's words, and of the arrow to the tube's middle beside them, mm."""


def lay_out(found: Sequence[Template], page: str) -> list[list[Placed]]:
    """Lay templates on sheets, none across an edge; what is larger than a sheet is tiled."""
    width, height = PAGES[page]
    free_w, free_h = width - SIDE - RIGHT, height - TOP - BOTTOM
    whole = [i for i, t in enumerate(found) if t.width + TAB <= free_w and t.height <= free_h]
    sheets: list[list[Placed]] = []
    shelf_x = shelf_y = shelf_h = 0.0
    for i in sorted(whole, key=lambda k: (-round(found[k].height, 1), k)):
        w, h = found[i].width + TAB, found[i].height
        if sheets and shelf_x + w <= free_w and h <= shelf_h:
            pass
        elif sheets and shelf_y + shelf_h + GAP + h <= free_h:
            shelf_x, shelf_y, shelf_h = 0.0, shelf_y + shelf_h + GAP, h
        else:
            sheets.append([])
            shelf_x, shelf_y, shelf_h = 0.0, 0.0, h
        sheets[-1].append(Placed(index=i, x=SIDE + shelf_x, y=TOP + shelf_y, w=w, h=h))
        shelf_x += w + GAP
    for i in range(len(found)):
        if i not in whole:
            sheets.extend(_tiles(i, found[i], free_w, free_h - 6.0))
    return sheets


def _tiles(index: int, t: Template, free_w: float, free_h: float) -> list[list[Placed]]:
    """Cut one template into parts that overlap, a sheet each."""
    total_w, total_h = t.width + TAB, t.height
    across = max(ceil((total_w - OVERLAP) / (free_w - OVERLAP)), 1)
    down = max(ceil((total_h - OVERLAP) / (free_h - OVERLAP)), 1)
    out: list[list[Placed]] = []
    for r in range(down):
        for c in range(across):
            dx, dy = c * (free_w - OVERLAP), r * (free_h - OVERLAP)
            w, h = min(free_w, total_w - dx), min(free_h, total_h - dy)
            part = f"{r * across + c + 1} of {across * down}"
            out.append([Placed(index=index, x=SIDE, y=TOP, w=w, h=h, dx=dx, dy=dy, part=part)])
    return out


def _crosses(p: Placed, t: Template, free_w: float) -> list[list[float]]:
    """Register marks in the strips where parts overlap, on the part's own sheet."""
    out = []
    for k in range(1, ceil((t.width + TAB) / (free_w - OVERLAP)) + 1):
        x = k * (free_w - OVERLAP) + OVERLAP / 2 - p.dx
        if 0 < x < p.w:
            out += [[x, 0.25 * p.h], [x, 0.75 * p.h]]
    return out


def _label(t: Template) -> tuple[list[float], list[float]]:
    """Where the text and the arrow to the middle go: below the curve, where it is highest."""
    x = t.outer[:, 0]
    need = LABEL + ARROW
    best, at = -1.0, 4.0
    for start in np.arange(3.0, max(t.width - need, 4.0), 2.0):
        inside = (x >= start) & (x <= start + need)
        room = t.height - float(t.outer[inside, 1].max())
        if room > best + 0.01:
            best, at = room, float(start)
    top = t.height - 22.0
    return [at, top], [min(at + LABEL + 2.0, t.width - ARROW + 2.0), top]


def all_templates(design: Design) -> tuple[Template, ...]:
    """Templates of the tubes as they are made, then of what swing-out bars are cut to.

    A swing-out bar is coped whole; its ends at the cuts come after it. Worked out once for all
    papers that show or name them.
    """
    return design.once("templates", _unrolled_of)


def _unrolled_of(design: Design) -> tuple[Template, ...]:
    thickness = design.tooling.paper.thickness
    sawn = _sawn(design.cage)
    divided = {piece for piece, _ in sawn}
    pieces = [i for i in design.cage.members if i in divided]
    cut = [t for t in templates(design.cage, thickness, pieces) if (t.member, t.end) in sawn]
    return (*templates(design.fitted, thickness, design.fitted.members), *cut)


def pdf_data(design: Design, found: Sequence[Template]) -> dict[str, Any]:
    """What the document shows, in mm."""
    page = str(design.options.get("page", design.tooling.paper.page))
    sheets = lay_out(found, page)
    width, height = PAGES[page]
    rows: list[dict[str, Any]] = []
    numbers = numbers_of(design.fitted) | numbers_of(design.cage)
    for t in found:
        label, arrow = _label(t)
        tube = t.tube
        rows.append(
            {
                "title": f"{named(t.member)}  {t.end.upper()}",
                "number": str(numbers[t.member]),
                "zero": "TOP" if t.reference.startswith("top") else "LINE",
                "to": fitted_to(t) or stands_on(design, t.member, t.end),
                "grind": grinding(t, design.units),
                "tube": " x ".join(_size(d, design.units) for d in (tube.od, tube.wall)),
                "deepest": "cut square" if t.square else f"deepest at {round(t.deepest) % 360}°",
                "reference": t.reference,
                "width": t.width,
                "height": t.height,
                "left": float(t.outer[0, 1]),
                "tab": TAB,
                "picture": _picture_name(len(rows)),
                "box": _box(t),
                "label": label,
                "arrow": arrow,
            }
        )
    free_w = width - SIDE - RIGHT
    return {
        "name": design.name,
        "page": page,
        "width": width,
        "foot": height - 17.0,
        "inches": design.units == "in",
        "templates": rows,
        "sheets": [
            [
                {
                    "index": p.index,
                    "x": p.x,
                    "y": p.y,
                    "w": p.w,
                    "h": p.h,
                    "dx": p.dx,
                    "dy": p.dy,
                    "part": p.part,
                    "tiled": p.tiled,
                    "crosses": _crosses(p, found[p.index], free_w) if p.tiled else [],
                }
                for p in sheet
            ]
            for sheet in sheets
        ],
    }


def fitted_to(t: Template) -> str:
    """The tubes an end is coped to, those after the first with the clocks between which it is."""
    said = dict.fromkeys(t.parents, "")
    for parent, start, stop in t.shares:
        said[parent] += f" {'and ' if said[parent] else ''}{start:.0f}° to {stop:.0f}°"
    return ", ".join(named(p) + clocks for p, clocks in said.items())


def pdf(design: Design, found: Sequence[Template]) -> bytes:
    """``copes.pdf`` with templates of a design."""
    pictures = {_picture_name(i): _picture(t).encode() for i, t in enumerate(found)}
    return document("copes", pdf_data(design, found), pictures)


def _picture_name(index: int) -> str:
    return f"template-{index}.svg"


def _lines(t: Template) -> list[tuple[str, Vec]]:
    """Curves of a template on the sheet, each with how it is drawn; strokes in mm."""
    dots = f"{THIN} {2 * PT:.4f}"
    return [
        (f'stroke="{FAINT}" stroke-width="{THIN}" stroke-dasharray="{dots}"', t.inner),
        (f'stroke="black" stroke-width="{0.8 * PT:.4f}"', t.outer),
        *(
            (f'stroke="black" stroke-width="{0.6 * PT:.4f}"', line)
            for hole in t.holes
            for line in _wrapped(hole, t)
        ),
    ]


def _box(t: Template) -> list[float]:
    """Left and upper end of a template's picture on the sheet, its width and height, mm."""
    points = np.concatenate([line for _, line in _lines(t)])
    low, high = np.floor(points.min(axis=0)) - 1, np.ceil(points.max(axis=0)) + 1
    return [*low.tolist(), *(high - low).tolist()]


def _picture(t: Template) -> str:
    """The curves of a template as SVG: point by point they take the typesetter twice as long."""
    x, y, width, height = _box(t)
    paths = []
    for how, line in _lines(t):
        points = " ".join([f"{a} {b}" for a, b in np.round(line, 4).tolist()])
        paths.append(f'<path d="M{points}" fill="none" {how}/>')
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="{x} {y} {width} {height}">{"".join(paths)}</svg>'
    )


def _wrapped(hole: Vec, t: Template) -> list[Vec]:
    """A hole's edge on the sheet: twice, a turn apart, when it lies across the paper's edge."""
    low, high = float(hole[:, 0].min()), float(hole[:, 0].max())
    turns = [k for k in (-1, 0, 1) if high + k * t.width > 0 and low + k * t.width < t.width]
    return [np.column_stack([np.clip(hole[:, 0] + k * t.width, 0.0, t.width), hole[:, 1]])
            for k in turns]  # fmt: skip


def grinding(t: Template, units: LengthUnit) -> str:
    """What is ground at an end besides the cut, in words; empty for nothing."""
    return "; ".join(
        f"grind up to {told(depth, units)} off at {named(other)}" for other, depth in t.grind
    )


def _size(mm: float, units: LengthUnit) -> str:
    return format_length(mm, "in", decimals=3) if units == "in" else f"{mm:g} mm"


def _line(points: Vec, *, closed: bool = False) -> Outline:
    return Outline(points, np.zeros(len(points)), closed)


def drawing(t: Template, units: LengthUnit = "mm") -> Drawing:
    """A template as lines for a plotter or a laser: paper outline, inner line, marks and label.

    Args:
        t: the template.
        units: of grinding notes, mm or in.
    """
    up = [1.0, -1.0]
    outer, inner = t.outer * up, t.inner * up
    paper = [*outer, (t.width + TAB, outer[-1, 1]), (t.width + TAB, -t.height), (0.0, -t.height)]
    strokes = [
        Stroke(layer=Layer.OUTSIDE, line=_line(np.array(paper), closed=True).cleaned()),
        Stroke(layer=Layer.MARK, line=_line(inner).cleaned()),
    ]
    for hole in (line for h in t.holes for line in _wrapped(h, t)):
        strokes.append(Stroke(layer=Layer.MARK, line=_line(hole * up)))
    for k in range(5):
        x = t.width * k / 4
        size = 9.0 if k % 4 == 0 else 4.5
        tick = np.array([(x, -t.height), (x, size - t.height)])
        strokes.append(Stroke(layer=Layer.MARK, line=_line(tick)))
    at = np.array(_label(t)[0]) * up
    texts = (f"{named(t.member)} {t.end.upper()}", f"0: {t.reference}", grinding(t, units))
    for row, text in enumerate(texts):
        height = 4.0 if row == 0 else 2.0
        shift = at + np.array([0.0, -5.0 - 5.0 * row])
        strokes += [
            Stroke(layer=Layer.NOTE, line=_line(line + shift)) for line in letters(text, height)
        ]
    return Drawing(name=f"{t.member}-{t.end}", strokes=(*strokes, *_on_every(units)))


@cache
def _on_every(units: LengthUnit) -> tuple[Stroke, ...]:
    """What stands on every template: the bar to measure its print with, and the caution."""
    strokes = [Stroke(layer=Layer.NOTE, line=o) for o in check_bar((0.0, 8.0), 100.0, units)]
    for row, text in enumerate(reversed(textwrap.wrap(CAUTION, 50))):
        strokes += [
            Stroke(layer=Layer.NOTE, line=_line(line + np.array([0.0, 18.0 + 5.0 * row])))
            for line in letters(text, 2.5)
        ]
    return tuple(strokes)


def table(design: Design) -> tuple[list[str], list[list[str]]]:
    """The notching table: saw settings and grinder's ordinates of every end, header and rows."""
    stations = design.tooling.paper.stations
    units: LengthUnit = "mm"  # a data file, whatever the papers are in
    header = ["member", "end", "to", f"node_from_tip_{units}", "angle_deg", "dial_deg"]
    header += [f"offset_{units}", "offset_clock_deg", f"saw_{units}", f"depth_{units}"]
    header += [f"axis_from_tip_{units}", "clock_deg", "hole_saw"]
    header += [f"ordinate_{k * 360 / stations:g}_deg_{units}" for k in range(stations)]
    rows = []
    cage = design.fitted
    ends = [(m.id, name) for m in cage.members.values() for name, _ in m.ends]
    depths = {(o.member, o.end): o.depths for o in ordinates(cage, ends, stations)}
    for member in cage.members.values():
        for end, how in member.ends:
            cut = cage.cut(member.id, end)
            saw = saw_setting(cage, member.id, end)
            told = saw.reason or shop_cuts(saw, design.tooling, units)
            cells = [
                member.id,
                end,
                " ".join(how.parents) or stands_on(design, member.id, end),
                _number(-cut.shortest, units),
            ]
            cells += [""] * 8 if saw.reason else _saw_cells(saw, units)
            told_depths = (_number(d, units) for d in depths[member.id, end])
            rows.append([*cells, told, *told_depths])
    return header, rows


def stands_on(design: Design, member: str, end: EndName) -> str:
    """What an end without parents is cut for: its plate, the car, a swing-out bar's own relief."""
    sawn = _sawn(design.cage).get((member, end))
    if sawn is not None:
        return sawn
    if any(f"{member}.{end}" in p.ends for p in (*design.cage.plates, *design.fitted.plates)):
        return "plate"
    how = design.fitted.member(member).end(end)
    return (how.surface or "car") if how.plane is not None else "free"


def _sawn(cage: Cage) -> dict[tuple[str, EndName], str]:
    """Ends that a tube has only when it is divided, by piece and end, and what each is cut for."""
    out: dict[tuple[str, EndName], str] = {}
    for tube in cage.bolted:
        for bolted, (first, then) in zip(tube.joints, pairwise(tube.pieces), strict=True):
            out[first, "b"] = out[then, "a"] = f"bolted {bolted.kind}"
    for door in cage.doors:
        for joint in door.joints:
            out[door.bar, joint.end] = f"{joint.name} relief"
            out[joint.stub, "a" if joint.end == "b" else "b"] = f"{joint.name} cut"
    return out


def _saw_cells(saw: SawSetting, units: LengthUnit) -> list[str]:
    """Angle, dial, offset and its side, saw, depth, where the axes pass, clock."""
    aside = saw.offset > 0.05
    return [
        f"{degrees(saw.angle):.1f}",
        f"{abs(degrees(saw.dial)):.1f}",
        _number(saw.offset, units),
        _degrees(saw.offset_clock) if aside else "",
        # where both tubes are of one size a tenth off shows at the tips
        "" if saw.flat else f"{saw.diameter:.2f}",
        _number(saw.depth, units),
        _number(saw.position, units),
        _degrees(saw.clock),
    ]


def _degrees(clock: float) -> str:
    return f"{round(clock, 1) % 360.0:.1f}"


def shop_cuts(setting: SawSetting, tooling: Tooling, units: LengthUnit = "mm") -> str:
    """With what the shop makes a cut: its saw, its notcher, or else the template and why.

    Args:
        setting: the cut.
        tooling: of the shop.
        units: of lengths, ``"mm"`` or ``"in"``.
    """
    lean, notcher = setting.dial, tooling.notcher
    if setting.flat:
        reach = tooling.saw.max_angle
        return _too_far(lean, "saw", reach) or "straight saw cut"
    if notcher is None:
        return "no notcher in the tooling sheet: use the template"
    fit = notcher.saw_for(setting.diameter)
    if fit is None:
        return f"no saw for {_size(round(setting.diameter, 2), units)}: use the template"
    if leans := _too_far(lean, "notcher", notcher.max_angle):
        return leans
    if setting.offset > notcher.max_offset + 0.5:
        return "offset beyond the notcher: use the template"
    if setting.stroke > notcher.max_depth:
        return "deeper than the saw cuts: use the template"
    if setting.straight < notcher.clamp - ROUNDING:
        has, needs = (_size(round(v, 1), units) for v in (setting.straight, notcher.clamp))
        return f"{has} of straight, the vice needs {needs}: use the template"
    return f"saw {_size(round(fit, 2), units)}"


def _too_far(lean: float, tool: str, reach: float | None) -> str:
    """What is told of a cut that leans further than a tool reaches, nothing of another."""
    if reach is None or abs(lean) <= reach + ANGLE_ROUNDING:
        return ""
    turns = f"leans {degrees(abs(lean)):.0f} deg, {tool} reaches {degrees(reach):.0f}"
    return f"{turns}: use the template"


def _number(mm: float, units: LengthUnit) -> str:
    value = 0.0 if abs(mm) < MICRON / 2 else mm
    return format_length(value, units, unit=False)


def write_copes(design: Design, folder: Path) -> None:
    """Write ``copes.pdf``, ``copes.csv`` and ``copes/<member>-<end>.dxf`` below ``folder``."""
    found = all_templates(design)
    (folder / "copes.pdf").write_bytes(pdf(design, found))
    header, rows = table(design)
    write_table(folder / "copes.csv", header, [dict(zip(header, row, strict=True)) for row in rows])
    if found:
        (folder / "copes").mkdir(parents=True, exist_ok=True)
    for t in found:
        save(
            drawing(t, design.units),
            folder / "copes" / f"{t.member}-{t.end}.dxf",
            dxf_options(design),
        )

"""``strength.png``: each case: how hard the tubes work, how they move, how they fold."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from cagekit.geometry.centre_line import Vec
from cagekit.structure.strength import CAUTION
from cagekit.units import format_length
from cagekit.units.tolerance import NO_LENGTH, ROUNDING
from cagekit.view.bands import BANDS, SHOWN, Band, words_of
from cagekit.view.camera import OBLIQUE, Camera
from cagekit.view.sheet import PictureSheet
from cagekit.writers.png import save_png

if TYPE_CHECKING:
    from PIL.Image import Image

    from cagekit.design import Design
    from cagekit.structure.model import Model
    from cagekit.structure.strength import CaseResult, StrengthResult
    from cagekit.units import LengthUnit

WIDTH, HEIGHT, HEAD, EDGE = 900, 640, 150, 40
INK, SOFT, PAPER = (38, 44, 54), (150, 158, 168), (255, 255, 255)
FORCE = (120, 30, 120)


def write_png(design: Design, folder: Path) -> None:
    """Write ``strength.png``."""
    save_png(picture(design.strength, design.name, design.units), folder / "strength.png")


def case_png(result: StrengthResult, case: CaseResult, units: LengthUnit) -> bytes:
    """One case alone with the key, as a PNG file: packed loosely, as the typesetter unpacks it."""
    sheet = PictureSheet(2 * WIDTH, HEIGHT + 40, edge=EDGE)
    _key(sheet, EDGE, 20)
    _row(sheet, result, case, 46, units)
    out = BytesIO()
    sheet.image.save(out, "PNG", optimize=False, compress_level=1)
    return out.getvalue()


def picture(result: StrengthResult, title: str, units: LengthUnit = "mm") -> Image:
    """The sheet: a row for each case, use and elastic shape on the left, mechanism on the right."""
    rows = list(result.results.values())
    sheet = PictureSheet(2 * WIDTH, HEAD + max(len(rows), 1) * HEIGHT + 50, edge=EDGE)
    sheet.write((EDGE, 22), f"{title}: strength, {result.file.title}", 34, bold=True)
    sheet.write((EDGE, 68), CAUTION, 20)
    _key(sheet, EDGE, 112)
    if not rows:
        sheet.write((EDGE, HEAD + 20), result.problem or "No case could act.", 22)
    for n, r in enumerate(rows):
        _row(sheet, result, r, HEAD + n * HEIGHT, units)
    return sheet.image


def _key(sheet: PictureSheet, x: int, y: int) -> None:
    sheet.write((x, y - 12), "use:", 22)
    for n, band in enumerate(BANDS):
        left = x + 60 + n * 210
        _line(sheet, [(left, y), (left + 70, y)], band)
        sheet.write((left + 80, y - 12), words_of(n), 22)
    sheet.write((x + 1130, y - 12), "thin dark line: elastic shape; ring: plastic hinge", 22)


def _row(
    sheet: PictureSheet, result: StrengthResult, r: CaseResult, top: int, units: LengthUnit
) -> None:
    model, coarse = result.model, result.coarse
    assert model is not None
    assert coarse is not None
    place = _Place(OBLIQUE, model.frame.nodes, (EDGE, top + 135))
    sheet.pen.line([(EDGE, top), (2 * WIDTH - EDGE, top)], SOFT, 1)
    source = ", ".join(dict.fromkeys((r.case.source, r.case.certainty.value)))
    head = f"{r.case.id}: {r.case.title} ({source})"
    sheet.write((EDGE, top + 8), head, 24, bold=True)
    most = float(np.linalg.norm(r.response.moved[:, :3], axis=1).max())
    times = SHOWN * place.size / most if most > 0 else 0.0
    moves = format_length(r.deflection, units)
    words = f"moves {moves} at the load; shape drawn {times:.0f} times"
    sheet.write((EDGE, top + 40), words, 22)
    uses = {u.member: u.use for u in r.uses}
    _tubes(sheet, place, model, model.frame.nodes, uses)
    _thin(sheet, place, model, result.moved(r.case.id, times))
    for push in r.case.pushes:
        tip = model.frame.nodes[model.node_at(push.member, push.station)]
        _arrow(sheet, place, tip, push.force)
    right = _Place(OBLIQUE, model.frame.nodes, (WIDTH + EDGE, top + 135))
    if r.collapse is None:
        sheet.write((WIDTH + EDGE, top + 40), "nothing folds it", 22)
        return
    words = (
        f"folds at {r.collapse.factor:.2f} of the load, {r.factor:.2f} with second order; "
        f"buckles at {min(r.critical, 999):.1f}"
    )
    sheet.write((WIDTH + EDGE, top + 40), words, 22)
    for name in dict.fromkeys(coarse.member):
        for a, b in coarse.frame.ends[list(coarse.beams_of(name))]:
            pair = coarse.frame.nodes[[a, b]]
            sheet.pen.line(right.pixels(pair), SOFT, 3)
    bent = coarse.frame.nodes + SHOWN * 1.5 * right.size * r.collapse.motion[:, :3]
    _thin(sheet, right, coarse, bent, 3)
    for h in r.collapse.hinges:
        a, b = bent[coarse.frame.ends[h.beam]]
        x, y = right.pixels(np.array([a + h.at * (b - a)]))[0]
        radius = 5 + 14 * h.share**0.5
        sheet.pen.ellipse(
            [x - radius, y - radius, x + radius, y + radius], outline=(190, 30, 45), width=3
        )


class _Place:
    """Where a view lies on the sheet."""

    def __init__(self, camera: Camera, points: Vec, corner: tuple[int, int]) -> None:
        self.camera = camera
        flat = camera.project(points)[:, :2]
        self.low, high = flat.min(axis=0), flat.max(axis=0)
        self.size = float(np.linalg.norm(points.max(axis=0) - points.min(axis=0)))
        room = np.array([WIDTH - 3 * EDGE, HEIGHT - 170])
        self.scale = float((room / (high - self.low + NO_LENGTH)).min()) * 0.9
        self.corner = np.array(corner) + (room - self.scale * (high - self.low)) / 2
        self.height = self.scale * float(high[1] - self.low[1])

    def pixels(self, points: Vec) -> list[tuple[float, float]]:
        flat = (self.camera.project(points)[:, :2] - self.low) * self.scale
        return [
            (float(self.corner[0] + x), float(self.corner[1] + self.height - y)) for x, y in flat
        ]


def _tubes(
    sheet: PictureSheet, place: _Place, model: Model, nodes: Vec, uses: dict[str, float]
) -> None:
    for name in sorted(uses, key=lambda m: (uses[m], m)):
        chain = [n for _, n in model.nodes_of[name]]
        band = next(b for b in BANDS if uses[name] <= b.upto)
        _line(sheet, place.pixels(nodes[chain]), band)


def _thin(sheet: PictureSheet, place: _Place, model: Model, nodes: Vec, width: int = 2) -> None:
    for chain in model.nodes_of.values():
        sheet.pen.line(place.pixels(nodes[[n for _, n in chain]]), INK, width)


def _line(sheet: PictureSheet, points: Sequence[tuple[float, float]], band: Band) -> None:
    if band.dash is None:
        sheet.pen.line(list(points), band.colour, band.width, joint="curve")
        return
    on, off = band.dash
    walked = 0.0
    for (x0, y0), (x1, y1) in pairwise(points):
        length = float(np.hypot(x1 - x0, y1 - y0))
        s = -(walked % (on + off))
        while s < length:
            a, b = (
                max(s, 0.0) / max(length, NO_LENGTH),
                min(s + on, length) / max(length, NO_LENGTH),
            )
            if b > a:
                ends = [(x0 + t * (x1 - x0), y0 + t * (y1 - y0)) for t in (a, b)]
                sheet.pen.line(ends, band.colour, band.width)
            s += on + off
        walked += length


def _arrow(sheet: PictureSheet, place: _Place, tip: Vec, force: Vec) -> None:
    """The load, rimmed in white so that it stands out from the tube that it pushes."""
    way = force / max(float(np.linalg.norm(force)), ROUNDING)
    tail, head = map(np.array, place.pixels(np.array([tip - 0.13 * place.size * way, tip])))
    along = head - tail
    size = float(np.linalg.norm(along))
    along = along / max(size, ROUNDING)
    side, length = np.array([-along[1], along[0]]), min(22.0, size)
    for colour, more in ((PAPER, 4.0), (FORCE, 0.0)):
        base, point = head - (length + more) * along, head + more * along
        sheet.pen.line([tuple(tail - more * along), tuple(base)], colour, int(6 + 2 * more))
        wide = (9 + 1.5 * more) * side
        sheet.pen.polygon([tuple(point), tuple(base + wide), tuple(base - wide)], fill=colour)

"""The overview sheet: side, front, top and oblique view, scale, overall sizes, list of members.

Side, front and top view share one scale and stand in first-angle projection, so that one can run
a ruler from view to view.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import floor, log10
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from cagekit.cage.colours import FAMILIES, FRAME, PART, PLATE, Colour, member_colour
from cagekit.names import named
from cagekit.units import format_length, format_mass
from cagekit.units.lengths import LengthUnit
from cagekit.units.scale import INCH
from cagekit.view.camera import FRONT, OBLIQUE, SIDE, TOP, Camera
from cagekit.view.extents import cage_extents
from cagekit.view.fonts import font
from cagekit.view.ink import INK, PAPER, SOFT, Rgb
from cagekit.view.nearest import ViewFrame
from cagekit.view.raster import Render, render
from cagekit.view.scene import SceneBody, bodies, frame_bodies
from cagekit.view.sheet import PictureSheet

if TYPE_CHECKING:
    from PIL.Image import Image

    from cagekit.cage.cage import Cage
    from cagekit.cage.member import Member


WIDTH = 2400
DATUM: Rgb = (64, 120, 170)

MARGIN, HEAD, GAP = 50, 120, 84
ORTHO_WIDTH, ORTHO_HEIGHT = 1290, 1010
KEY_TOP, KEY_ROW = 92, 30
"""First row of the colours below the front view's scale, and from row to row."""
ROW = 27
COLUMNS = 4
BALLOON = 15

CAUTION = (
    "Geometry only: the current rulebook and the scrutineer decide. A cage can kill when it is "
    "wrong. Measure twice on the real car."
)


class Tile(Struct, frozen=True, kw_only=True):
    """A view on the sheet: its frame, and where its upper left corner lies, pixels."""

    frame: ViewFrame
    x: int
    y: int
    title: str


def overview(cage: Cage, *, units: LengthUnit = "mm", title: str = "") -> Image:
    """Return the sheet as a pillow image.

    Args:
        cage: the whole cage.
        units: of the numbers, ``mm`` or ``in``.
        title: over the sheet.
    """
    scene = list(bodies(cage))
    rows = -(-len(cage.members) // COLUMNS)
    places = _placed(scene) if scene else []
    bottoms = [p.y + p.frame.height for p in places]
    if places:
        bottoms.append(places[2].y + KEY_TOP + KEY_ROW * len(_used(cage)) - 40)
    list_top = max(bottoms, default=HEAD) + 90
    height = list_top + max(rows, 1) * ROW + 110
    sheet = PictureSheet(WIDTH, height, edge=MARGIN)
    _header(sheet, cage, units, title)
    if scene:
        # the sizes are the cage's: of the car's frame only what lies in its box is seen
        around = [*scene, *frame_bodies(cage)]
        renders = [render(around, p.frame, paper=PAPER) for p in places]
        for place, shown in zip(places, renders, strict=True):
            sheet.lay(shown.image, (place.x, place.y))
        for place in places[:3]:
            _datum_lines(sheet, place)
        for place in places:
            _title(sheet, place)
        _sizes(sheet, places, cage, units)
        _scale_bar(sheet, places[0].frame.scale, places, units)
        _families(sheet, cage, places)
        _balloons(sheet, cage, places[3], renders[3])
    _members(sheet, cage, list_top, rows, units)
    sheet.foot(CAUTION)
    return sheet.image


def _box(scene: Sequence[SceneBody], camera: Camera) -> NDArray[np.float64]:
    """Lowest and highest x, y in the picture of a camera, ``(2, 2)`` mm."""
    flat = [camera.project(b.mesh.vertices)[:, :2] for b in scene]
    low = np.min([f.min(axis=0) for f in flat], axis=0)
    high = np.max([f.max(axis=0) for f in flat], axis=0)
    return np.array([low, high])


def _placed(scene: Sequence[SceneBody]) -> list[Tile]:
    """Side, front and top view in one scale, and the oblique view as large as fits."""
    boxes = {c.name: _box(scene, c) for c in (SIDE, FRONT, TOP, OBLIQUE)}
    size = {name: np.maximum(b[1] - b[0], 1.0) for name, b in boxes.items()}
    wide = size["side"][0] + size["front"][0]
    tall = size["side"][1] + size["top"][1]
    scale = float(min((ORTHO_WIDTH - GAP) / wide, (ORTHO_HEIGHT - 2 * GAP) / tall))
    x0, y0 = MARGIN + 62, HEAD + 40
    column = x0 + round(size["side"][0] * scale) + GAP
    row = y0 + round(size["side"][1] * scale) + GAP + 30
    oblique_x = MARGIN + ORTHO_WIDTH + 90
    bottom = max(row + round(size["top"][1] * scale), HEAD + 640)
    room = np.array([WIDTH - MARGIN - oblique_x, float(bottom - HEAD - 40)])
    large = float((room / size["oblique"]).min())
    spots = {
        "side": (x0, y0, scale, "from the left"),
        "front": (column, y0, scale, "from the front"),
        "top": (x0, row, scale, "from above"),
        "oblique": (oblique_x, HEAD + 40, large, "oblique"),
    }
    places = []
    for camera in (SIDE, FRONT, TOP, OBLIQUE):
        x, y, s, title = spots[camera.name]
        box = boxes[camera.name]
        # two pixels of air, so that no outline is cut off
        w, h = (int(np.ceil(v * s)) + 4 for v in size[camera.name])
        centre = (box[0] + box[1]) / 2
        frame = ViewFrame(
            camera=camera, width=w, height=h, scale=s, centre=(float(centre[0]), float(centre[1]))
        )
        if camera is OBLIQUE:
            x += int((room[0] - w) / 2)
            y += int(max(room[1] - h, 0) / 2)
        places.append(Tile(frame=frame, x=x, y=y, title=title))
    return places


def _header(sheet: PictureSheet, cage: Cage, units: LengthUnit, title: str) -> None:
    length = sum(cage.cut_length(i) for i in cage.members)
    metres = f"{length / 1000:.1f} m" if units == "mm" else f"{length / INCH / 12:.1f} ft"
    count = len(cage.as_fitted().members)
    parts = [f"{count} tube{'' if count == 1 else 's'}", f"{metres} of tube"]
    parts.append(f"{format_mass(cage.tube_mass(), units)} of tube")
    if cage.plates:
        plates = sum(p.mass * p.quantity for p in cage.plates)
        some = "1 plate" if len(cage.plates) == 1 else f"{len(cage.plates)} plates"
        parts.append(f"{some}, {format_mass(plates, units)}")
    sheet.head(named(title or cage.name), "   ·   ".join(parts), size=44)
    sheet.rule(92)


def _title(sheet: PictureSheet, place: Tile) -> None:
    sheet.write((place.x, place.y - 14), place.title, 20, SOFT, anchor="ls")


def _datum_lines(sheet: PictureSheet, place: Tile) -> None:
    """Dashes for the plane of the sills, the plane of the hoop's feet and the centre plane."""
    f = place.frame
    zero = f.pixels(np.zeros((1, 3)))[0]
    name = f.camera.name
    names = {"side": ("x = 0", "sills, z = 0"), "front": ("", ""), "top": ("", "")}[name]
    if 0 <= zero[1] <= f.height:
        _dashes(
            sheet, (place.x - 20, place.y + zero[1]), (place.x + f.width + 20, place.y + zero[1])
        )
        if names[1]:
            sheet.write(
                (place.x + f.width + 22, place.y + zero[1] - 5), "z = 0", 15, DATUM, anchor="ls"
            )
    if 0 <= zero[0] <= f.width:
        _dashes(
            sheet, (place.x + zero[0], place.y - 8), (place.x + zero[0], place.y + f.height + 16)
        )
        if names[0]:
            sheet.write(
                (place.x + zero[0] + 5, place.y + f.height + 18), names[0], 15, DATUM, anchor="ls"
            )


def _dashes(sheet: PictureSheet, a: tuple[float, float], b: tuple[float, float]) -> None:
    p, q = np.array(a, float), np.array(b, float)
    length = float(np.linalg.norm(q - p))
    for s in np.arange(0.0, length, 14.0):
        e = min(s + (9.0 if int(s / 14) % 2 == 0 else 3.0), length)
        one, two = p + (q - p) * s / length, p + (q - p) * e / length
        sheet.pen.line((*one, *two), DATUM, 1)


def _sizes(sheet: PictureSheet, places: Sequence[Tile], cage: Cage, units: LengthUnit) -> None:
    """Overall length, height and width, as dimension lines."""
    side, front, _, _ = places
    low, high = cage_extents(cage, SIDE)
    length, height = high - low
    low, high = cage_extents(cage, FRONT)
    width = (high - low)[0]
    y = side.y + side.frame.height + 34
    _dimension(sheet, (side.x + 2, y), (side.x + side.frame.width - 2, y), _size(length, units))
    _dimension(sheet, (front.x + 2, y), (front.x + front.frame.width - 2, y), _size(width, units))
    x = side.x - 32
    _dimension(sheet, (x, side.y + 2), (x, side.y + side.frame.height - 2), _size(height, units))


def _size(mm: float, units: LengthUnit) -> str:
    if units == "mm":
        return format_length(float(mm), "mm", decimals=0)
    return format_length(float(mm), "in", decimals=1)


def _dimension(
    sheet: PictureSheet, a: tuple[float, float], b: tuple[float, float], text: str
) -> None:
    """A dimension line with its number in a gap; on an upright one it reads upwards."""
    from PIL import Image as image_module
    from PIL import ImageDraw as draw_module

    upright = a[0] == b[0]
    sheet.pen.line((*a, *b), SOFT, 1)
    sheet.tips((a, b), SOFT, head=(14.0, 4.0), dot=2.0)
    mid = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
    letters = font(19)
    w = int(sheet.pen.textlength(text, letters)) + 16
    label = image_module.new("RGB", (w, 26), PAPER)
    draw_module.Draw(label).text((w / 2, 13), text, INK, letters, anchor="mm")
    if upright:
        label = label.rotate(90, expand=True)
    sheet.image.paste(label, (int(mid[0] - label.width / 2), int(mid[1] - label.height / 2)))


def _scale_bar(
    sheet: PictureSheet, scale: float, places: Sequence[Tile], units: LengthUnit
) -> None:
    """A ruler in the free quarter of the three views."""
    unit = 1.0 if units == "mm" else INCH
    most = 420 / scale / unit
    step = 10 ** floor(log10(most))
    step *= next(m for m in (5, 2, 1) if m * step <= most)
    front, top = places[1], places[2]
    x, y = front.x, top.y + 46
    part = step * unit * scale / 5
    for k in range(5):
        box = (x + k * part, y, x + (k + 1) * part, y + 10)
        sheet.pen.rectangle(box, INK if k % 2 == 0 else PAPER, INK, 1)
    for k in (0, 5):
        sheet.write((x + k * part, y - 6), f"{step * k / 5:g}", 18, anchor="ms")
    sheet.write((x + 5 * part + 22, y + 5), units, 18, anchor="lm")


def _families(sheet: PictureSheet, cage: Cage, places: Sequence[Tile]) -> None:
    """Which colour is what."""
    front, top = places[1], places[2]
    y = top.y + KEY_TOP
    for name, colour in _used(cage):
        sheet.pen.rounded_rectangle((front.x, y, front.x + 34, y + 16), 5, _rgb(colour), INK, 1)
        sheet.write((front.x + 48, y + 8), name, 18, anchor="lm")
        y += KEY_ROW


def _used(cage: Cage) -> list[tuple[str, Colour]]:
    """The families of colours that occur."""
    used = {member_colour(m) for m in cage.members.values()}
    used |= {
        c
        for c, there in ((PLATE, cage.plates), (PART, cage.hardware), (FRAME, cage.chassis))
        if there
    }
    return [(n, c) for n, c in FAMILIES if c in used]


def _balloons(sheet: PictureSheet, cage: Cage, place: Tile, shown: Render) -> None:
    """Number each member in the oblique view, where it is seen and the numbers keep apart."""
    taken: list[NDArray[np.float64]] = []
    numbers = numbers_of(cage)
    order = sorted(enumerate(cage.members.values()), key=lambda q: (q[1].path.length, q[0]))
    for n, member in order:
        spot, hidden = _free_spot(n, member, place.frame, shown, taken)
        taken.append(spot)
        x, y = place.x + spot[0], place.y + spot[1]
        box = (x - BALLOON, y - BALLOON, x + BALLOON, y + BALLOON)
        sheet.pen.ellipse(box, PAPER, SOFT if hidden else INK, 2)
        number = str(numbers[member.id])
        letters = font(17 if len(number) < 3 else 13, bold=True)
        sheet.pen.text((x, y), number, SOFT if hidden else INK, letters, anchor="mm")


def numbers_of(cage: Cage) -> dict[str, int]:
    """Number of each member as the papers call it: pieces bear that of the tube they are cut from.

    Args:
        cage: with bars that swing out or come apart in pieces.
    """
    called = {id_: n for n, id_ in enumerate(cage.as_fitted().members, start=1)}
    whole = {piece: d.fitted.id for d in cage.divided for piece in d.pieces}
    return {id_: called[whole.get(id_, id_)] for id_ in cage.members}


def _free_spot(
    n: int, member: Member, frame: ViewFrame, shown: Render, taken: Sequence[NDArray[np.float64]]
) -> tuple[NDArray[np.float64], bool]:
    """The spot on the member's axis that is seen and farthest from other numbers.

    A spot near the middle wins among those that are far enough.
    """
    share = np.linspace(0.08, 0.92, 57)
    spots = frame.pixels(member.path.points(share * member.path.length))[:, :2]
    col = np.clip(spots[:, 0].astype(int), 0, frame.width - 1)
    row = np.clip(spots[:, 1].astype(int), 0, frame.height - 1)
    seen = shown.seen[row, col] == n
    air = np.full(len(share), 4.0 * BALLOON)
    for other in taken:
        air = np.minimum(air, np.linalg.norm(spots - other, axis=1))
    score = np.minimum(air, 3.0 * BALLOON) / BALLOON - 2.0 * np.abs(share - 0.5) + 4.0 * seen
    best = int(np.argmax(score))
    return spots[best], not bool(seen[best])


def _members(sheet: PictureSheet, cage: Cage, top: int, rows: int, units: LengthUnit) -> None:
    """The list of members: number, id, tube and cut length."""
    sheet.rule(top - 14)
    pitch = (WIDTH - 2 * MARGIN) / COLUMNS
    numbers = numbers_of(cage)
    for n, member in enumerate(cage.members.values()):
        x = MARGIN + (n // max(rows, 1)) * pitch
        y = top + (n % max(rows, 1)) * ROW + ROW / 2
        sheet.write((x + 28, y), str(numbers[member.id]), 18, bold=True, anchor="rm")
        mark = (x + 38, y - 7, x + 54, y + 7)
        sheet.pen.rounded_rectangle(mark, 4, _rgb(member_colour(member)), INK, 1)
        name = sheet.fitted(named(member.id), pitch - 64 - 280, 18)
        sheet.write((x + 64, y), name, 18, anchor="lm")
        cut = format_length(cage.cut_length(member.id), units, decimals=0 if units == "mm" else 1)
        sheet.write((x + pitch - 150, y), _tube(member, units), 17, SOFT, anchor="rm")
        sheet.write((x + pitch - 34, y), cut, 17, anchor="rm")


def _tube(member: Member, units: LengthUnit) -> str:
    od, wall = member.tube.od, member.tube.wall
    if units == "mm":
        return f"{od:.1f} × {wall:.1f}"
    return f"{od / INCH:.3f} × {wall / INCH:.3f}"


def _rgb(colour: Colour) -> Rgb:
    r, g, b = (round(c * 255) for c in colour)
    return r, g, b

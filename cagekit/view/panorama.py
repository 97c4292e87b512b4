"""The panorama: what the driver sees past the bars, with both eyes, in degrees.

Azimuth runs across, elevation up, evenly. Something far away lies in the same direction from both
eyes; where both have it hidden a bar is drawn full, where one eye sees past it pale.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from math import degrees, radians
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from cagekit.cage.colours import member_colour
from cagekit.fit.cockpit import Cockpit
from cagekit.fit.sight import BallRow, Caps
from cagekit.fit.view_angles import PLANES, car_rows, header_edge, lower_edges, pillar_view
from cagekit.geometry.arrays import Array
from cagekit.geometry.centre_line import Vec
from cagekit.inputs.car import Car
from cagekit.names import named
from cagekit.people.posture import Occupant
from cagekit.view.fonts import font
from cagekit.view.ink import HAIR, INK, PAPER, SOFT, Rgb
from cagekit.view.sheet import PictureSheet

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw


REACH_DEG, UP_DEG, DOWN_DEG = 100, 40, 40
"""The picture's edges, degrees from straight ahead."""
SCALE = 10
"""Pixels per degree."""
FINE = 2
"""Masks are drawn this much finer."""
MARGIN, HEAD, FOOT = 60, 110, 150
SKY: Rgb = (226, 238, 247)
GROUND: Rgb = (233, 232, 224)
SHELL: Rgb = (176, 180, 186)
PILLAR: Rgb = (128, 133, 141)
WHEEL: Rgb = (84, 88, 95)
BEHIND = -600.0
"""Rails and belt lines are carried on to this far behind the hoop, mm."""
HALF = 0.30
"""Weight of what only one eye has hidden."""
CAUTION = (
    "For information: the 6 degree limit of UN R125 is for a new car's own pillar and is shown for "
    "comparison only; it is no approval. Sit in the car and look before anything is welded."
)


class Hider(Struct, frozen=True, eq=False):
    """Something that hides: rows of balls, or all above (or below) an edge; and its colour.

    ``edges`` are polylines ``(n, 3)`` mm, each with True when what lies above it is hidden.
    """

    colour: Rgb
    rows: tuple[BallRow, ...] = ()
    edges: tuple[tuple[Array, bool], ...] = ()


def panorama(cockpit: Cockpit, who: Occupant, *, title: str = "") -> Image:
    """Return the panorama of one person as a pillow image.

    Args:
        cockpit: people seated in the cage.
        who: whose eyes look.
        title: over the picture.
    """
    width, height = 2 * REACH_DEG * SCALE, (UP_DEG + DOWN_DEG) * SCALE
    view = np.empty((height, width, 3), np.float32)
    view[: UP_DEG * SCALE], view[UP_DEG * SCALE :] = SKY, GROUND
    for layer in layers(cockpit, who):
        _cover(view, layer, who)
    sheet = PictureSheet(width + 2 * MARGIN, height + HEAD + FOOT, edge=MARGIN)
    view += 0.5
    sheet.lay(view.clip(0, 255, out=view).astype(np.uint8), (MARGIN, HEAD))
    _header(sheet, who, title)
    _grid(sheet, width, height)
    _planes(sheet, width)
    _pillars(sheet, cockpit, who)
    _names(sheet, cockpit, who)
    sheet.foot(CAUTION, size=18)
    return sheet.image


def layers(cockpit: Cockpit, who: Occupant) -> list[Hider]:
    """What hides, the farthest first: shell, pillars, then tubes and wheel by distance."""
    car, rows = cockpit.car, car_rows(cockpit.car)
    out = [Hider(SHELL, edges=tuple(shell_edges(car)))]
    pillars = tuple(rows[k] for k in ("pillar_left", "pillar_right") if k in rows)
    if pillars:
        out.append(Hider(PILLAR, rows=pillars))
    things: list[tuple[float, Hider]] = []
    for member in cockpit.members.values():
        row = BallRow.of(member, cockpit.padding.get(member.id, 0.0))
        colour = _rgb(member_colour(member))
        things.append((_distance(row, who.eye), Hider(colour, rows=(row,))))
    if who.at_wheel:
        ring = cockpit.wheel(15.0)
        turn = np.linspace(0.0, 2 * np.pi, 240)
        x = np.array([0.0, 1.0, 0.0])
        y = np.cross(ring.axis, x)
        points = ring.centre + ring.ring_radius * (
            np.multiply.outer(np.cos(turn), x) + np.multiply.outer(np.sin(turn), y)
        )
        wheel = BallRow("wheel", points, ring.radius)
        things.append((_distance(wheel, who.eye), Hider(WHEEL, rows=(wheel,))))
    things.sort(key=lambda t: -t[0])
    return out + [layer for _, layer in things]


def _distance(row: BallRow, eye: Vec) -> float:
    return float(np.linalg.norm(row.points - eye, axis=1).min())


def shell_edges(car: Car) -> Iterable[tuple[Array, bool]]:
    """Edges of roof, dash and doors, each with whether the shell is above it."""
    header = header_edge(car)
    sides = [(car.side("left"), 1.0), (car.side("right"), -1.0)]
    if header is not None:
        rails = [(BEHIND, k * s.hoop.rail[0], s.hoop.rail[1]) for s, k in sides if s.hoop.rail]
        yield np.array([*rails[:1], *header, *rails[1:]]), True
    for edge in lower_edges(car):
        yield np.array(edge), False
    for side, sign in sides:
        if side.pillar is not None:
            front = [side.pillar.base]
        elif car.dash is not None:
            wide, dash = side.hoop.side_width, car.dash
            front = [(dash.cowl_x, wide, dash.cowl_z), (dash.face_x, wide, dash.top_z)]
        else:
            continue
        belt = side.hoop.belt or (side.sill_top_y[0], 0.0)
        rear = (BEHIND, sign * belt[0], belt[1])
        yield np.array([*((x, sign * y, z) for x, y, z in front), rear]), False


def _cover(view: NDArray[np.float32], layer: Hider, who: Occupant) -> None:
    """Paint a layer: full where both eyes have it in the way, pale where one has."""
    eyes = (who.eyes["left"], who.eyes["right"])
    seen = [[Caps.seen(row, eye) for row in layer.rows] for eye in eyes]
    box = (0, 0, view.shape[1], view.shape[0]) if layer.edges else _window(seen, view.shape)
    if box is None:
        return
    left, right = (
        _mask(box, caps, [(edge - eye, up) for edge, up in layer.edges])
        for caps, eye in zip(seen, eyes, strict=True)
    )
    hides = (left > 0) | (right > 0)
    left, right = left[hides], right[hides]
    both = np.minimum(left, right)
    weight = (both + np.float32(HALF) * (np.maximum(left, right) - both))[..., None]
    part = view[box[1] : box[3], box[0] : box[2]]
    part[hides] = (1 - weight) * part[hides] + weight * np.array(layer.colour, np.float32)


Box = tuple[int, int, int, int]


def _window(seen: Sequence[Sequence[Caps]], shape: Sequence[int]) -> Box | None:
    """The part of the picture that balls may cover: left, top, right, bottom."""
    spots = [_ovals(caps, 1) for eye in seen for caps in eye]
    table = np.concatenate(spots) if spots else np.zeros((0, 4))
    if not len(table):
        return None
    x, y, rx, ry = table.T
    left, right = int(max((x - rx).min() - 2, 0)), int(min((x + rx).max() + 2, shape[1]))
    top, bottom = int(max((y - ry).min() - 2, 0)), int(min((y + ry).max() + 2, shape[0]))
    return (left, top, right, bottom) if right > left and bottom > top else None


def _ovals(caps: Caps, k: int) -> Array:
    """Centre and half axes in pixels of the balls near the picture, ``(n, 4)``."""
    near = (np.abs(caps.azimuth) < radians(REACH_DEG + 20)) & (caps.half < radians(60))
    ry = np.degrees(caps.half[near]) * SCALE * k
    return np.column_stack(
        [
            (REACH_DEG - np.degrees(caps.azimuth[near])) * SCALE * k,
            (UP_DEG - np.degrees(caps.elevation[near])) * SCALE * k,
            ry / np.maximum(np.cos(caps.elevation[near]), 0.2),
            ry,
        ]
    )


def _mask(
    box: Box, seen: Sequence[Caps], edges: Sequence[tuple[Array, bool]]
) -> NDArray[np.float32]:
    """How much of each pixel of ``box`` is hidden from one eye, 0 to 1."""
    from PIL import Image as image_module
    from PIL import ImageDraw as draw_module

    width, height = box[2] - box[0], box[3] - box[1]
    mask = image_module.new("L", (width * FINE, height * FINE), 0)
    draw = draw_module.Draw(mask)
    x0, y0 = box[0] * FINE, box[1] * FINE
    for edge, up in edges:
        _fill(draw, edge, up)
    for caps in seen:
        for x, y, rx, ry in _ovals(caps, FINE):
            draw.ellipse((x - rx - x0, y - ry - y0, x + rx - x0, y + ry - y0), fill=255)
    small = np.asarray(mask).reshape(height, FINE, width, FINE)
    total = np.zeros((height, width), np.uint16)
    for i in range(FINE):
        for j in range(FINE):
            total += small[:, i, :, j]
    return total * np.float32(1 / FINE**2 / 255)


def _fill(draw: ImageDraw, edge: Array, up: bool) -> None:
    """Fill all above or below an edge given from the eye, cut fine because it bends."""
    points = []
    for a, b in pairwise(edge):
        for t in np.linspace(0.0, 1.0, 60):
            p = a + t * (b - a)
            azimuth = float(np.arctan2(p[1], p[0]))
            elevation = float(np.arcsin(p[2] / np.linalg.norm(p)))
            points.append(_pixel(azimuth, elevation, FINE))
    level = 0.0 if up else float((UP_DEG + DOWN_DEG) * SCALE * FINE)
    draw.polygon([*points, (points[-1][0], level), (points[0][0], level)], fill=255)


def _pixel(azimuth: float, elevation: float, k: int = 1) -> tuple[float, float]:
    """Picture spot of a direction (rad), ``k`` times finer, without the margins."""
    x = (REACH_DEG - degrees(azimuth)) * SCALE * k
    y = (UP_DEG - degrees(elevation)) * SCALE * k
    return x, y


def _at(azimuth: float, elevation: float) -> tuple[float, float]:
    x, y = _pixel(azimuth, elevation)
    return x + MARGIN, y + HEAD


def _header(sheet: PictureSheet, who: Occupant, title: str) -> None:
    name = f"{title}: " if title else ""
    text = "full: hidden from both eyes   pale: hidden from one eye   grey: the car itself"
    sheet.head(f"{name}what {who.name} sees", text, size=36)


def _grid(sheet: PictureSheet, width: int, height: int) -> None:
    """Degrees along the edges and the horizon."""
    for a in range(-90, 91, 15):
        x, _ = _at(radians(a), 0.0)
        sheet.pen.line((x, HEAD + height, x, HEAD + height + 8), SOFT, 1)
        side = "" if a == 0 else (" left" if a > 0 else " right")
        sheet.write((x, HEAD + height + 12), f"{abs(a)}°{side}", 16, SOFT, anchor="ma")
    for e in range(-DOWN_DEG, UP_DEG + 1, 10):
        _, y = _at(0.0, radians(e))
        sheet.pen.line((MARGIN - 8, y, MARGIN, y), SOFT, 1)
        sheet.write((MARGIN - 12, y), f"{e}°", 16, SOFT, anchor="rm")
    _, y = _at(0.0, 0.0)
    sheet.pen.line((MARGIN, y, MARGIN + width, y), SOFT, 1)
    x, _ = _at(0.0, 0.0)
    sheet.pen.line((x, HEAD, x, HEAD + height), HAIR, 1)
    sheet.pen.rectangle((MARGIN, HEAD, MARGIN + width, HEAD + height), outline=INK)


def _planes(sheet: PictureSheet, width: int) -> None:
    """The two directions in which pillars are measured."""
    for plane in PLANES:
        _, y = _at(0.0, plane)
        for x in range(MARGIN, MARGIN + width, 14):
            sheet.pen.line((x, y, x + 6, y), INK, 1)
        sheet.write((MARGIN + width + 6, y), f"{degrees(plane):.0f}°", 15, anchor="lm")


def _pillars(sheet: PictureSheet, cockpit: Cockpit, who: Occupant) -> None:
    """Numbers for each pillar, under the picture."""
    if not who.at_wheel:
        return
    y = HEAD + (UP_DEG + DOWN_DEG) * SCALE + 46
    shown = False
    for side, x, anchor in (
        ("left", MARGIN, "ls"),
        ("right", MARGIN + 2 * REACH_DEG * SCALE, "rs"),
    ):
        view = pillar_view(cockpit, who, side)
        if view is None:
            continue
        shown = True
        text = (
            f"{side} pillar: the car's own hides {degrees(view.alone):.1f}°, "
            f"with the bars {degrees(view.total):.1f}° (+{degrees(view.added):.1f}°)"
        )
        sheet.write((x, y + 24), text, 20, anchor=anchor)
    if not shown:
        return
    middle = MARGIN + REACH_DEG * SCALE
    sheet.write((middle, y + 24), "UN R125: 6° (information)", 18, SOFT, anchor="ms")


def _names(sheet: PictureSheet, cockpit: Cockpit, who: Occupant) -> None:
    """Write the bars' names where there is most room in the picture."""
    taken: list[tuple[float, float, float, float]] = []
    for member in cockpit.members.values():
        caps = Caps.seen(BallRow.of(member), who.eye)
        inside = (np.abs(caps.azimuth) < radians(REACH_DEG - 8)) & (
            np.abs(caps.elevation) < radians(UP_DEG - 4)
        )
        if not inside.any():
            continue
        text = named(member.id)
        letters = font(16, bold=True)
        w = sheet.pen.textlength(text, letters)
        order = np.argsort(np.abs(np.linspace(0, 1, int(inside.sum())) - 0.5), kind="stable")
        rows = np.nonzero(inside)[0][order][:: max(int(inside.sum()) // 24, 1)]
        for i in rows:
            x, y = _at(float(caps.azimuth[i]), float(caps.elevation[i]))
            box = (x - w / 2 - 4, y - 11, x + w / 2 + 4, y + 11)
            if box[0] < MARGIN or box[2] > MARGIN + 2 * REACH_DEG * SCALE:
                continue
            if any(_overlap(box, other) for other in taken):
                continue
            taken.append(box)
            sheet.pen.rounded_rectangle(box, 6, PAPER, HAIR)
            sheet.pen.text((x, y), text, INK, letters, anchor="mm")
            break


def _overlap(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _rgb(colour: tuple[float, float, float]) -> Rgb:
    r, g, b = (round(c * 255) for c in colour)
    return r, g, b

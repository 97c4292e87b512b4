"""The fit sheet: everybody in the cage from the side, the front and above, with room in numbers.

Measures are numbered where they are taken; the list gives number, what it is and how much. A
second panel shows the way out through the door opening.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from math import cos, degrees, sin
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from cagekit.fit import readings
from cagekit.fit.cockpit import Cockpit, Reading
from cagekit.fit.egress import Opening, way_out
from cagekit.geometry.arrays import Array
from cagekit.geometry.centre_line import Vec, vec
from cagekit.names import named
from cagekit.people.posture import Occupant
from cagekit.units import format_length
from cagekit.units.lengths import LengthUnit
from cagekit.units.tolerance import NO_LENGTH, ROUNDING
from cagekit.view.camera import FRONT, SIDE, TOP, Camera
from cagekit.view.fonts import font
from cagekit.view.ink import HAIR, INK, PAPER, SOFT, Rgb
from cagekit.view.nearest import ViewFrame
from cagekit.view.person_mesh import people
from cagekit.view.raster import render_both
from cagekit.view.scene import SceneBody, bodies, frame_bodies
from cagekit.view.sheet import PictureSheet

if TYPE_CHECKING:
    from PIL.Image import Image

    from cagekit.cage.cage import Cage


WIDTH, HEIGHT = 2200, 1500
MARGIN, HEAD = 46, 108
MARK: Rgb = (196, 30, 58)
FREE: Rgb = (222, 238, 226)
STRAIGHT = {"hoop above helmet": 2, "harness bar below shoulder": 2, "shoulder to hoop": 1}
"""Measures taken along one axis of the car (index); the rest run from spot to spot."""
FAR = 450.0
"""Room beyond this is not worth a number, mm."""
GHOST = 0.42
"""Weight of a tube in front of a person."""

CAUTION = (
    "The posture is a simple model of a seated person, not a measurement: sit in the car, belted "
    "and helmeted, before anything is welded. The rulebook and the scrutineer decide."
)

FROM_RIGHT = Camera.looking("side", (0, -1, 0), (0, 0, 1))


class NumberedLine(Struct, frozen=True, kw_only=True, eq=False):
    """One numbered measure: a line from ``start`` to ``end`` and what it says."""

    name: str
    value: str
    start: Vec
    end: Vec
    bad: bool
    views: tuple[str, ...]
    who: int = 0


class Panel(Struct, frozen=True, kw_only=True, eq=False):
    """A view on the sheet."""

    frame: ViewFrame
    x: int
    y: int
    title: str

    def spot(self, point: Vec) -> Array:
        """Pixel of a point, ``(2,)``."""
        return self.frame.pixels(point[None, :])[0, :2] + (self.x, self.y)


TakeLine = Callable[[Cockpit, Occupant], Reading]

TAKEN: tuple[tuple[str, TakeLine, tuple[str, ...]], ...] = (
    ("hoop above helmet", readings.hoop_over_helmet, ("side", "front")),
    ("helmet to main hoop", readings.helmet_to_hoop, ("side", "top")),
    ("harness bar below shoulder", readings.harness_drop, ("side", "front")),
    ("shoulder to hoop", readings.shoulder_to_hoop, ("front", "top")),
    ("arm", lambda c, o: readings.room(c, o, "elbow"), ("front", "top")),
    ("leg", lambda c, o: readings.room(c, o, "knee"), ("side", "top")),
    ("shoe", lambda c, o: readings.room(c, o, "foot"), ("side", "top")),
    ("seat", readings.seat_room, ("side", "top")),
    ("knuckles", lambda c, o: readings.wheel_room(c, o, readings.DASH_ROLES), ("side", "top")),
    ("knuckles", lambda c, o: readings.wheel_room(c, o, readings.PILLAR_ROLES), ("side", "front")),
)


def fit_sheet(cage: Cage, cockpit: Cockpit, *, units: LengthUnit = "mm", title: str = "") -> Image:
    """Return the sheet as a pillow image.

    Args:
        cage: the whole cage.
        cockpit: people seated in it.
        units: of the numbers, ``mm`` or ``in``.
        title: over the sheet.
    """
    sheet = PictureSheet(WIDTH, HEIGHT, edge=MARGIN)
    _header(sheet, cockpit, title or cage.name)
    tubes, bodies_of = list(bodies(cage)), list(people(cockpit))
    if tubes and cockpit.occupants:
        near = cockpit.occupants[0]
        panels = _panels([*tubes, *bodies_of], near)
        # room is measured to the car's own tubes too; what lies off the picture is not shown
        tubes += frame_bodies(cage)
        taken = [m for who in cockpit.occupants for m in measures(cockpit, who, units)]
        for name, panel in panels.items():
            image = _blended(tubes, bodies_of, panel.frame)
            sheet.lay(image, (panel.x, panel.y))
            sheet.write((panel.x, panel.y - 14), panel.title, 20, SOFT, anchor="ls")
            _draw_measures(sheet, panel, taken, name)
        _list(sheet, taken, {who.index: who.name for who in cockpit.occupants})
        _egress(sheet, cockpit, near, units)
        _sizes(sheet, cockpit, panels, units)
    sheet.foot(CAUTION)
    return sheet.image


def measures(cockpit: Cockpit, who: Occupant, units: LengthUnit) -> list[NumberedLine]:
    """What is drawn for one person, in the order of the numbers.

    Args:
        cockpit: people seated in it.
        who: the person.
        units: of the numbers, ``mm`` or ``in``.
    """
    out = _helmet(cockpit, who, units)
    for name, take, views in TAKEN:
        reading = take(cockpit, who)
        if reading.value is None or len(reading.points) < 2 or reading.value > FAR:
            continue
        member = named(reading.members[0]) if reading.members else ""
        part = reading.note.split(",")[0] if name in ("arm", "leg", "shoe", "seat") else name
        label = f"{part} to {member}" if part != name or name == "knuckles" else name
        out.append(_measure(label, reading, views, units, STRAIGHT.get(name)))
    belt = readings.belt_angle(cockpit, who)
    if belt.value is not None:
        way = "above" if round(degrees(belt.value)) < 0 else "below"
        text = f"{abs(degrees(belt.value)):.0f}° {way} level"
        out.append(
            NumberedLine(
                name="shoulder belts", value=text, start=belt.points[0], end=belt.points[1],
                bad=belt.value < 0, views=("side",),
            )
        )  # fmt: skip
    return [replace(m, who=who.index) for m in out]


def _helmet(cockpit: Cockpit, who: Occupant, units: LengthUnit) -> list[NumberedLine]:
    """The three bars nearest to the helmet."""
    rows = sorted(readings.helmet_to_bar(cockpit, who).items(), key=lambda r: (r[1].value, r[0]))
    near = [(n, r) for n, r in rows if cockpit.members[n].role != "main_hoop"][:3]
    views = ("side", "front", "top")
    return [
        _measure(f"helmet to {named(n)}", r, views, units)
        for n, r in near
        if (r.value or 0.0) < 250.0
    ]


def _measure(
    label: str,
    reading: Reading,
    views: tuple[str, ...],
    units: LengthUnit,
    axis: int | None = None,
) -> NumberedLine:
    value = float(reading.value or 0.0)
    end = np.array(reading.points[1])
    if axis is not None:
        end = np.array(reading.points[0])
        end[axis] = reading.points[1][axis]
    return NumberedLine(
        name=label,
        value=_size(value, units),
        start=reading.points[0],
        end=vec(end),
        bad=value < 0,
        views=views,
    )


def _size(mm: float, units: LengthUnit) -> str:
    return format_length(mm, units, decimals=0 if units == "mm" else 2)


def _seat(cockpit: Cockpit, who: Occupant) -> str:
    """Which seat somebody has, as it is said."""
    centre = any(s.side == "centre" and s.hip == tuple(who.hip) for s in cockpit.car.seats)
    return "centre" if centre else who.door_side


def _header(sheet: PictureSheet, cockpit: Cockpit, title: str) -> None:
    said = "   ·   ".join(
        f"{who.name} ({who.role.replace('_', '-')}, {_seat(cockpit, who)} seat)"
        for who in cockpit.occupants
    )
    sheet.head(f"{title}: the people in the cage", said or "no driver sheet")
    sheet.rule(92)


def _panels(scene: Sequence[SceneBody], who: Occupant) -> dict[str, Panel]:
    """Side, front and top view in one scale, the side view from the driver's door."""
    side = SIDE if who.door_side == "left" else FROM_RIGHT
    top = TOP
    if side is FROM_RIGHT:
        top = Camera.looking("top", (0, 0, 1), (0, 1, 0))
    cameras = {"side": side, "front": FRONT, "top": top}
    boxes = {name: _box(scene, c) for name, c in cameras.items()}
    size = {name: np.maximum(b[1] - b[0], 1.0) for name, b in boxes.items()}
    gap = 70
    scale = float(
        min(
            (LIST_X - MARGIN - 60 - gap) / (size["side"][0] + size["front"][0]),
            (HEIGHT - HEAD - 170 - gap) / (size["side"][1] + size["top"][1]),
        )
    )
    right = MARGIN + round(size["side"][0] * scale) + gap
    low = HEAD + 40 + round(size["side"][1] * scale) + gap
    spots = {
        "side": (MARGIN, HEAD + 40, f"from the {who.door_side}"),
        "front": (right, HEAD + 40, "from the front"),
        "top": (MARGIN, low, "from above"),
    }
    out = {}
    for name, camera in cameras.items():
        x, y, text = spots[name]
        width, height = (int(np.ceil(v * scale)) + 4 for v in size[name])
        middle = boxes[name].mean(axis=0)
        centre = (float(middle[0]), float(middle[1]))
        frame = ViewFrame(camera=camera, width=width, height=height, scale=scale, centre=centre)
        out[name] = Panel(frame=frame, x=x, y=y, title=text)
    return out


def _box(scene: Sequence[SceneBody], camera: Camera) -> Array:
    flat = [camera.project(b.mesh.vertices)[:, :2] for b in scene]
    low = np.min([f.min(axis=0) for f in flat], axis=0)
    high = np.max([f.max(axis=0) for f in flat], axis=0)
    return np.array([low, high])


def _blended(
    tubes: Sequence[SceneBody], persons: Sequence[SceneBody], frame: ViewFrame
) -> NDArray[np.uint8]:
    """The whole scene, tubes in front of people half transparent."""
    whole, alone = render_both(tubes, persons, frame, paper=PAPER)
    cover = (whole.seen >= 0) & (whole.seen < len(tubes)) & (alone.seen >= 0)
    image = whole.image.copy()
    image[cover] = GHOST * whole.image[cover].astype(float) + (1 - GHOST) * alone.image[cover]
    return image


def _draw_measures(
    sheet: PictureSheet, panel: Panel, taken: Sequence[NumberedLine], view: str
) -> None:
    """Lines first, then their numbers, kept apart from each other."""
    here = [
        (n, m)
        for n, m in enumerate(taken, start=1)
        # from the side the second person is hidden behind the first
        if view in m.views and not (view == "side" and m.who)
    ]
    lines = [(n, m, panel.spot(m.start), panel.spot(m.end)) for n, m in here]
    for _, m, a, b in lines:
        _arrow(sheet, a, b, MARK if m.bad else INK)
    placed: list[Array] = []
    for n, m, a, b in lines:
        spot = _free(a, b, placed)
        placed.append(spot)
        middle = (a + b) / 2
        if np.linalg.norm(spot - middle) > 16:
            sheet.pen.line((*middle, *spot), SOFT, 1)
        colour = MARK if m.bad else INK
        sheet.pen.ellipse(
            (spot[0] - 14, spot[1] - 14, spot[0] + 14, spot[1] + 14), PAPER, colour, 2
        )
        sheet.write((spot[0], spot[1]), str(n), 16, colour, bold=True, anchor="mm")


def _arrow(sheet: PictureSheet, a: Array, b: Array, colour: Rgb) -> None:
    sheet.pen.line((*a, *b), PAPER, 6)
    sheet.pen.line((*a, *b), colour, 3)
    sheet.tips((a, b), colour, head=(10.0, 4.0), dot=4.0, least=14.0)


def _free(a: Array, b: Array, placed: Sequence[Array]) -> Array:
    """Where a number goes: near the middle of its line, off it, clear of the others."""
    middle = (a + b) / 2
    radius = np.repeat((26.0, 40.0, 56.0, 74.0), 16)
    turn = np.tile(2 * np.pi * np.arange(16) / 16, 4)
    spots = middle + radius[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    away = [np.linalg.norm(spots - p, axis=1) for p in placed]
    air = np.min(away, axis=0) if away else np.full(len(spots), 99.0)
    off = np.minimum(_off_line(spots, a, b), 30.0)
    best, score = middle, -np.inf
    for spot, value in zip(spots, np.minimum(air, 36.0) * 2 + off - 0.35 * radius, strict=True):
        if value > score + ROUNDING:
            best, score = spot, value
    return best


def _off_line(p: Array, a: Array, b: Array) -> Array:
    """How far points ``(n, 2)`` are from the line between ``a`` and ``b``."""
    d = b - a
    t = np.clip((p - a) @ d / max(float(d @ d), NO_LENGTH), 0.0, 1.0)
    return np.asarray(np.linalg.norm(p - a - t[:, None] * d, axis=1))


LIST_X, EGRESS_Y = 1580, 820


def _list(sheet: PictureSheet, taken: Sequence[NumberedLine], names: Mapping[int, str]) -> None:
    """Number, what, how much; of several people below the name of each."""
    y = HEAD + 26.0
    sheet.write((LIST_X, y), "room, surface to surface", 20, SOFT, anchor="ls")
    y += 14
    heads = len(names) if len(names) > 1 else 0
    pitch = min(31, (EGRESS_Y - 60 - y) / max(len(taken) + heads, 1))
    size = 19 if pitch >= 25 else 16
    told: set[int] = set()
    for n, m in enumerate(taken, start=1):
        if heads and m.who not in told:
            told.add(m.who)
            sheet.write((LIST_X, y + pitch / 2), names[m.who], size, SOFT, anchor="lm")
            y += pitch
        colour = MARK if m.bad else INK
        mid = y + pitch / 2
        sheet.write((LIST_X + 30, mid), str(n), size, colour, bold=True, anchor="rm")
        sheet.write((LIST_X + 46, mid), m.name, size, colour, anchor="lm")
        sheet.write((WIDTH - MARGIN, mid), m.value, size, colour, bold=True, anchor="rm")
        y += pitch


SHOWN = (
    "stature", "sitting_height", "eye_height", "shoulder_height", "shoulder_breadth",
    "buttock_knee_length", "knee_height", "helmet_width", "helmet_length",
)  # fmt: skip


def _sizes(
    sheet: PictureSheet, cockpit: Cockpit, panels: dict[str, Panel], units: LengthUnit
) -> None:
    """How each person was sized: measured, or at which percentile of whom."""
    front, top = panels["front"], panels["top"]
    x, y = front.x, top.y + 10
    for who in cockpit.occupants:
        sheet.write((x, y), f"{who.name}: how sized", 20, SOFT, anchor="ls")
        y += 28
        for name in SHOWN:
            value = _size(getattr(who.body, name), units)
            origin = who.body.origin[name].replace(" (army population)", "*")
            sheet.write((x, y), named(name), 16, anchor="ls")
            sheet.write((x + 290, y), value, 16, bold=True, anchor="rs")
            sheet.write((x + 304, y), origin, 14, SOFT, anchor="ls")
            y += 23
        for limb, short in sorted(who.short.items()):
            text = f"{limb} is {_size(short, units)} short of its place"
            sheet.write((x, y), text, 16, MARK, anchor="ls")
            y += 23
        y += 24
    if any("army" in o for who in cockpit.occupants for o in who.body.origin.values()):
        sheet.write((x, y - 8), "* soldiers, not the general public", 14, SOFT, anchor="ls")


def _egress(sheet: PictureSheet, cockpit: Cockpit, who: Occupant, units: LengthUnit) -> None:
    """The way out in side view."""
    opening = way_out(cockpit, who)
    if opening is None:
        return
    x0, y0, width = LIST_X, EGRESS_Y, WIDTH - MARGIN - LIST_X
    lines = _way_out_lines(sheet, cockpit, who, opening, units)
    # key and lines end above the rule over the caution
    height = min(460, sheet.height - 62 - 12 - 30 * (len(lines) - 1) - 70 - y0)
    outline = np.array(opening.outline)
    low, high = outline.min(axis=0), outline.max(axis=0)
    scale = float(min(width / (high[0] - low[0]), height / (high[1] - low[1])))
    flip = who.door_side == "left"

    def at(points: object) -> list[tuple[float, float]]:
        p = np.asarray(points, dtype=float).reshape(-1, 2)
        along = (high[0] - p[:, 0]) if flip else (p[:, 0] - low[0])
        return [
            (float(x0 + u * scale), float(y0 + (high[1] - z) * scale))
            for u, z in zip(along, p[:, 1], strict=True)
        ]

    sheet.write((x0, y0 - 18), f"way out through the {who.door_side} door", 20, SOFT, anchor="ls")
    sheet.pen.polygon(at(outline), (240, 241, 243), HAIR)
    if len(opening.polygon) >= 3:
        sheet.pen.polygon(at(opening.polygon), FREE, SOFT)
    sheet.pen.line([*at(outline), at(outline)[0]], INK, 3)
    bad = opening.margin < 0
    sheet.pen.polygon(at(stadium(opening)), (255, 226, 226) if bad else PAPER, MARK if bad else INK)
    bottom = y0 + (high[1] - low[1]) * scale + 34
    _way_out_key(sheet, x0, bottom, bad=bad)
    for k, text in enumerate(lines):
        sheet.write((x0, bottom + 36 + 30 * k), text, 18, MARK if bad else INK, anchor="ls")


def _way_out_lines(
    sheet: PictureSheet, cockpit: Cockpit, who: Occupant, opening: Opening, units: LengthUnit
) -> list[str]:
    """What is said below the way out."""
    size = f": {_size(opening.width, units)} x {_size(opening.depth, units)}, shoulders by chest"
    room = WIDTH - MARGIN - LIST_X - sheet.pen.textlength(size, font(18))
    lines = [
        sheet.fitted(who.name, room, 18) + size,
        f"room all round: {_size(opening.margin, units)}",
    ]
    if opening.tightest:
        names = [named(t) for t in opening.tightest]
        more = f" and {len(names) - 2} more" if len(names) > 2 else ""
        lines.append(f"limited by {', '.join(names[:2])}{more}")
    if any(m.swing is not None for m in readings.door_bars(cockpit, who)):
        swung = way_out(cockpit, who, swung=True)
        assert swung is not None
        lines.append(f"with the door bar swung out: {_size(swung.margin, units)}")
    return lines


def _way_out_key(sheet: PictureSheet, x: float, y: float, *, bad: bool) -> None:
    """What the colours of the way out are."""
    person = "the person, dressed" + (": does not fit" if bad else "")
    for fill, line, words in (
        ((240, 241, 243), INK, "door opening"),
        (FREE, SOFT, "clear of bars"),
        ((255, 226, 226) if bad else PAPER, MARK if bad else INK, person),
    ):
        sheet.pen.rectangle((x, y - 14, x + 24, y + 2), fill, line)
        sheet.write((x + 32, y - 6), words, 16, anchor="lm")
        x += 32 + sheet.pen.textlength(words, font(16)) + 22


def stadium(opening: Opening) -> list[tuple[float, float]]:
    """Outline of the person's section where it fits best, x and z, mm."""
    r, core = opening.depth / 2, max(opening.width - opening.depth, 0.0) / 2
    c, s = cos(opening.turn), sin(opening.turn)
    out = []
    for k in range(49):
        a = np.pi * k / 24 - np.pi / 2
        u = r * cos(a) + (core if k <= 24 else -core)
        w = r * sin(a)
        out.append((opening.place[0] + u * c - w * s, opening.place[1] + u * s + w * c))
    return out

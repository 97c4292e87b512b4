"""Pictures of the measuring sheet: an invented shell, the datum, and a number on every measure.

The shell is drawn from a car sheet of its own (``cagekit/data/measuring_car.toml``), so each
number stands where that field of a car sheet is measured. SVG in mm of paper, black and white.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cache
from importlib.resources import as_file, files
from math import cos, sin, tan
from typing import Literal

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import Vec
from cagekit.inputs.car import Car, HoopSection
from cagekit.inputs.presets import load_file
from cagekit.units.tolerance import NO_LENGTH
from cagekit.view.camera import SIDE, TOP, Camera
from cagekit.view.linework import BALLOON, LineDrawing, arrow, balloon, path_data, svg, text

BEHIND = Camera.looking("behind", (-1, 0, 0), (0, 0, 1))
"""From behind, as the driver sits: left on the left."""

Weight = Literal["skin", "edge", "seen", "datum", "hidden"]
STYLES: Mapping[Weight, str] = {
    "skin": 'stroke="#8a8a8a" stroke-width="0.25"',
    "edge": 'stroke="black" stroke-width="0.4"',
    "seen": 'stroke="#555555" stroke-width="0.25"',
    "datum": 'stroke="black" stroke-width="0.3" stroke-dasharray="5 1.2 0.8 1.2"',
    "hidden": 'stroke="#777777" stroke-width="0.22" stroke-dasharray="1.6 1"',
}
PLAIN = frozenset({"fall", "door-section"})
"""Pictures of details, which carry no sides."""
NOTES: Mapping[str, Sequence[tuple[tuple[float, float, float], str]]] = {
    "datum-side": (
        ((0, 0, 1175), "X = 0: plane of the hoop's feet"),
        ((560, 0, 45), "Z = 0: tops of the sills"),
        ((640, 0, -300), "X counts forward from here"),
        ((-390, 0, 600), "Z counts up"),
    ),
    "datum-top": (
        ((-640, -90, 0), "Y = 0: centre string"),
        ((150, -400, 0), "X = 0"),
        ((-190, 330, 0), "Y"),
        ((330, -80, 0), "X"),
    ),
    "fall": (
        ((0, 1440, 335), "from the left: to the front"),
        ((0, 290, 335), "from behind: outwards"),
        ((0, 1500, -235), "degrees"),
        ((0, 350, -235), "degrees"),
    ),
}
"""Words in the pictures: where, car axes mm, and what."""
FRACTIONS = (0.5, 0.38, 0.62, 0.28, 0.72, 0.2, 0.8, 0.12, 0.88)


class ShellLine(Struct, frozen=True, kw_only=True, eq=False):
    """A line of the shell: points ``(n, 3)`` mm, and how heavy; ``thick`` mm for a limb."""

    points: Points
    weight: Weight = "skin"
    thick: float = 0.0


class FieldMark(Struct, frozen=True, kw_only=True, eq=False):
    """Where a field is measured: a spot, or a span from ``a`` to ``b``, ``(3,)`` mm each.

    ``part`` tells the spots of one field apart, such as the corners of an opening.
    """

    field: str
    a: tuple[float, float, float]
    b: tuple[float, float, float] | None = None
    part: str = ""


@cache
def shell() -> Car:
    """The invented car of the pictures."""
    with as_file(files("cagekit.data") / "measuring_car.toml") as path:
        return load_file("car", path, Car)


def measuring_picture(
    name: str, numbers: Mapping[str, int], width: float, height: float
) -> LineDrawing:
    """Draw one picture of the measuring sheet.

    Args:
        name: picture, a key of ``PICTURES``.
        numbers: number of each field that is asked for; other marks are left out.
        width: of the paper's field, mm.
        height: of the paper's field, mm.
    """
    camera, strokes, marks = PICTURES[name]
    car = shell()
    shown = [m for m in marks(car) if m.field in numbers]
    paper = PicturePlane(camera, strokes(car), width, height)
    body = [paper.stroke(s) for s in paper.strokes]
    body += paper.labels(name)
    body += paper.marks(shown, numbers)
    return LineDrawing(
        svg=svg(paper.width, paper.height, body),
        width=paper.width,
        height=paper.height,
        scale=paper.scale,
    )


class PicturePlane:
    """One picture: from car axes to paper, y down."""

    def __init__(
        self, camera: Camera, strokes: Sequence[ShellLine], width: float, height: float
    ) -> None:
        self.camera, self.strokes = camera, strokes
        margin = 7.0
        flat = np.concatenate([camera.project(s.points)[:, :2] for s in strokes])
        self.low, high = flat.min(axis=0), flat.max(axis=0)
        size = high - self.low
        self.scale = float(min((width - 2 * margin) / size[0], (height - 2 * margin) / size[1]))
        self.margin = margin
        self.width = float(size[0]) * self.scale + 2 * margin
        self.height = float(size[1]) * self.scale + 2 * margin
        self.taken: list[Vec] = []
        self.lines: list[tuple[Vec, Vec]] = []

    def at(self, points: ArrayLike) -> Vec:
        """Paper coordinates ``(n, 2)`` of points ``(n, 3)``."""
        flat = self.camera.project(np.atleast_2d(np.asarray(points, float)))[:, :2]
        flat = (flat - self.low) * self.scale + self.margin
        return np.column_stack([flat[:, 0], self.height - flat[:, 1]])

    def stroke(self, s: ShellLine) -> str:
        """A line of the shell, or a limb as a white band between two lines."""
        data = path_data(self.at(s.points))
        if not s.thick:
            return f'<path d="{data}" fill="none" {STYLES[s.weight]}/>'
        wide = s.thick * self.scale
        ends = 'fill="none" stroke-linecap="round"'
        return (
            f'<path d="{data}" {ends} stroke="#555555" stroke-width="{wide:.3f}"/>'
            f'<path d="{data}" {ends} stroke="white" stroke-width="{wide - 0.5:.3f}"/>'
        )

    def labels(self, name: str) -> list[str]:
        """Front, left and right, so that nobody holds the sheet the wrong way."""
        if name in NOTES:
            out = [text(self.at([at])[0], words, size=2.9, bold=True, halo=True)
                   for at, words in NOTES[name]]  # fmt: skip
        else:
            out = []
        if name in PLAIN:
            return out
        if self.camera is BEHIND:
            return [
                *out,
                text((3, self.height / 2), "LEFT", size=3.0, turn=-90, bold=True),
                text((self.width - 1, self.height / 2), "RIGHT", size=3.0, turn=-90, bold=True),
            ]
        out.append(text((3.4, self.height / 2), "FRONT", size=3.0, turn=-90, bold=True))
        if self.camera is TOP:
            out.append(text((self.width / 4, self.height - 1), "LEFT", size=3.0, bold=True))
            out.append(text((self.width / 4, 3.4), "RIGHT", size=3.0, bold=True))
        return out

    def marks(self, marks: Sequence[FieldMark], numbers: Mapping[str, int]) -> list[str]:
        """Arrows and spots first, then a balloon for each that covers none of the others."""
        out: list[str] = []
        spans = [(m, self.at([m.a, m.b])) for m in marks if m.b is not None]
        spots = [(m, self.at([m.a])[0]) for m in marks if m.b is None]
        for _, ends in spans:
            out.append(arrow(ends[0], ends[1]))
            self.lines.append((ends[0], ends[1]))
        for _, p in spots:
            out.append(_spot(p))
            self.taken.append(p)
        for own, (m, ends) in enumerate(spans):
            words = str(numbers[m.field])
            long = float(np.hypot(*(ends[1] - ends[0]))) > 3.4 * BALLOON
            places = [ends[0] + f * (ends[1] - ends[0]) for f in FRACTIONS] if long else []
            free = next((p for p in places if self._free(p, own)), None)
            out += self._balloon(free, (ends[0] + ends[1]) / 2, words)
        for m, p in spots:
            out += self._balloon(None, p, f"{numbers[m.field]}{m.part}")
        return out

    def _balloon(self, free: Vec | None, spot: Vec, words: str) -> list[str]:
        out = []
        if free is None:
            free = self._aside(spot)
            toward = free - spot
            n = float(np.hypot(*toward))
            if n > BALLOON + 0.6:
                tip = spot + toward / n * 0.8
                rows = path_data(np.array([tip, free]))
                out.append(f'<path d="{rows}" fill="none" stroke="black" stroke-width="0.2"/>')
        self.taken.append(free)
        return [*out, balloon(free, words)]

    def _aside(self, spot: Vec) -> Vec:
        """The nearest free place round a spot."""
        for reach in np.arange(BALLOON + 1.4, 40.0, 1.0):
            for a in np.linspace(0.0, 2 * np.pi, 24, endpoint=False) - np.pi / 4:
                p = spot + reach * np.array([cos(a), sin(a)])
                inside = all(
                    BALLOON < p[k] < (self.width, self.height)[k] - BALLOON for k in (0, 1)
                )
                if inside and self._free(p):
                    return np.asarray(p)
        return spot

    def _free(self, p: Vec, own: int = -1) -> bool:
        if any(float(np.hypot(*(p - q))) < 2.1 * BALLOON for q in self.taken):
            return False
        return all(n == own or _gap(p, a, b) > BALLOON + 0.4 for n, (a, b) in enumerate(self.lines))


def _spot(p: Vec) -> str:
    x, y = (float(v) for v in p)
    return (
        f'<path d="M{x - 1.5:.3f} {y:.3f} h3 M{x:.3f} {y - 1.5:.3f} v3" fill="none" '
        f'stroke="black" stroke-width="0.3"/>'
        f'<circle cx="{x:.3f}" cy="{y:.3f}" r="0.75" fill="white" stroke="black" '
        'stroke-width="0.35"/>'
    )


def _gap(p: Vec, a: Vec, b: Vec) -> float:
    """Distance of a point from a segment, mm of paper."""
    d = b - a
    t = float(np.clip((p - a) @ d / max(float(d @ d), NO_LENGTH), 0.0, 1.0))
    return float(np.hypot(*(p - a - t * d)))


# ---- the shell ----


def _row(points: Sequence[tuple[float, float, float]], weight: Weight = "skin") -> ShellLine:
    return ShellLine(points=np.array(points, float), weight=weight)


def side_view(car: Car) -> list[ShellLine]:
    """Cabin in side view, as the left side is seen with its skin gone."""
    s = car.left
    roof, dash, pillar, door = car.roof, car.dash, s.pillar, s.door
    assert roof
    assert dash
    assert pillar
    assert door
    assert car.pedals
    assert s.front_foot
    fx, fz = s.front_foot.point[0], car.floor_z
    rear = s.rear_foot.point
    belt, rail = _lines(s.hoop)
    skin = [
        (-1250, 0, 470), (-1180, 0, 700), (-980, 0, 905), (-600, 0, 1045),
        (0, 0, roof.height_at_hoop), (450, 0, roof.height_at_hoop - 8),
        (roof.header_x, 0, roof.height_at_header),
        (dash.cowl_x, 0, dash.cowl_z), (dash.cowl_x + 330, 0, dash.cowl_z - 40),
    ]  # fmt: skip
    floor = [
        (-1250, 0, rear[2]), (rear[0] - 150, 0, rear[2]), (rear[0] + 190, 0, rear[2]),
        (-360, 0, fz + 60), (-300, 0, fz), (fx + 40, 0, fz), (fx + 190, 0, fz + 260),
        (fx + 190, 0, dash.cowl_z - 60),
    ]  # fmt: skip
    out = [
        _row(skin, "edge"),
        _row(floor, "edge"),
        _row([(-300, 0, 0), (fx + 150, 0, 0)], "seen"),
        _row([pillar.top, pillar.base], "edge"),
        _row([(x + 55, y, z + 20) for x, y, z in (pillar.top, pillar.base)], "skin"),
        ShellLine(points=_closed([(x, 0, z) for x, z in door.outline]), weight="seen"),
        _row([(-60, 0, belt[1]), (door.outline[2][0], 0, belt[1])], "skin"),
        _row([(-60, 0, rail[1]), (0, 0, rail[1])], "skin"),
    ]
    return out + _datum_side()


def _body(car: Car) -> list[ShellLine]:
    """Wheels and the driver's seat, where the whole car is shown."""
    assert car.suspension_x
    turn = np.linspace(0.0, 2 * np.pi, 61)
    wheels = [
        ShellLine(points=np.column_stack([x + r * np.cos(turn), 0 * turn, r * np.sin(turn) - 30]))
        for x in car.suspension_x
        for r in (290.0, 190.0)
    ]
    return [*wheels, *_seat(car)]


def cabin(car: Car) -> list[ShellLine]:
    """Seat, wheel, dash and pedals in side view."""
    dash, wheel, pedals = car.dash, car.wheel, car.pedals
    assert dash
    assert pedals
    c, r, a = wheel.centre, wheel.diameter / 2, wheel.column_angle
    rim = [(c[0] - r * sin(a) * k, 0, c[2] + r * cos(a) * k) for k in (-1, 1)]
    return [
        *_seat(car),
        _row(rim, "edge"),
        _row([(c[0], 0, c[2]), (c[0] + 330 * cos(a), 0, c[2] - 330 * sin(a))], "seen"),
        _row(
            [
                (dash.cowl_x, 0, dash.cowl_z - 12),
                (dash.face_x + 60, 0, dash.top_z),
                (dash.face_x, 0, dash.top_z),
                (dash.face_x, 0, dash.bottom_z),
                (dash.face_x + 120, 0, dash.bottom_z),
            ],
            "edge",
        ),
        _row([(pedals.x, 0, pedals.z - 60), (pedals.x + 25, 0, pedals.z + 60)], "edge"),
        _row([(pedals.x + 12, 0, pedals.z), (pedals.x + 90, 0, pedals.z + 260)], "seen"),
    ]


def _seat(car: Car) -> list[ShellLine]:
    """The driver's seat in side view: cushion and back."""
    seat = car.seats[0]
    x, y, z = seat.hip
    lean = tan(seat.back_angle)
    heel = z - 100.0
    back = x - 130.0
    rows = [
        (x + 330, y, heel + 60), (back + 20, y, heel), (back - 620 * lean, y, heel + 620),
        (back - 620 * lean - 50, y, heel + 620), (back - 70, y, heel - 60),
        (x + 330, y, heel - 20),
    ]  # fmt: skip
    return [ShellLine(points=_closed(rows), weight="seen")]


def _closed(rows: Sequence[tuple[float, float, float]]) -> Vec:
    return np.array([*rows, rows[0]], float)


def _datum_side() -> list[ShellLine]:
    """The hoop plane and the sill plane in side view."""
    return [
        _row([(0, 0, -190), (0, 0, 1130)], "datum"),
        _row([(-500, 0, 0), (1500, 0, 0)], "datum"),
    ]


def _top(car: Car) -> list[ShellLine]:
    """Shell from above."""
    roof, dash = car.roof, car.dash
    assert roof
    assert dash
    out: list[ShellLine] = []
    for sign, s in ((1.0, car.left), (-1.0, car.right)):
        pillar = s.pillar
        assert pillar
        assert s.front_foot
        assert s.roof_corner
        inner, outer = (sign * y for y in s.sill_top_y)
        out += [
            _row([(-280, inner, 0), (pillar.base[0] + 60, inner, 0)], "edge"),
            _row([(-280, outer, 0), (pillar.base[0] + 60, outer, 0)], "edge"),
            _row(
                [
                    (-900, sign * 470, 0),
                    (0, sign * _lines(s.hoop)[1][0], 0),
                    (s.roof_corner[0], sign * s.roof_corner[1], 0),
                ],
                "seen",
            ),
            _row([(p[0], sign * p[1], 0) for p in (pillar.top, pillar.base)], "edge"),
            _row([(p[0] + 60, sign * p[1], 0) for p in (pillar.top, pillar.base)], "skin"),
            _row([(-1150, sign * 560, 0), (-280, sign * (s.sill_top_y[1] - 20), 0)], "skin"),
        ]
    header = [(roof.header_x, sign * y, 0) for sign, y in ((1, 470), (-1, 470))]
    corners = [
        (s.roof_corner[0], k * s.roof_corner[1], 0)
        for k, s in ((1, car.left), (-1, car.right))
        if s.roof_corner
    ]
    out += [
        _row([corners[0], header[0], header[1], corners[1]], "seen"),
        _row([(dash.cowl_x - 20, 690, 0), (dash.cowl_x + 25, 0, 0), (dash.cowl_x - 20, -690, 0)]),
        _row([(0, 830, 0), (0, -830, 0)], "datum"),
        _row([(-1200, 0, 0), (dash.cowl_x + 160, 0, 0)], "datum"),
    ]
    return out


def _top_inside(car: Car) -> list[ShellLine]:
    """Seats, wheel and dash from above."""
    dash, wheel = car.dash, car.wheel
    assert dash
    out = []
    for seat in car.seats:
        x, y, _ = seat.hip
        h = seat.half_width
        rows = [(x + 330, y - h, 0), (x + 330, y + h, 0), (x - 190, y + h, 0), (x - 190, y - h, 0)]
        out.append(ShellLine(points=_closed(rows), weight="seen"))
    c, r = wheel.centre, wheel.diameter / 2
    out += [
        _row([(c[0], c[1] - r, 0), (c[0], c[1] + r, 0)], "edge"),
        _row([(dash.face_x, 640, 0), (dash.face_x, -640, 0)], "seen"),
    ]
    return out


def _axes_side() -> list[ShellLine]:
    """Arrows along X and Z from the datum."""
    return [
        _row([(60, 0, -190), (420, 0, -190)], "edge"),
        _row([(380, 0, -175), (420, 0, -190), (380, 0, -205)], "edge"),
        _row([(-120, 0, 60), (-120, 0, 640)], "edge"),
        _row([(-105, 0, 600), (-120, 0, 640), (-135, 0, 600)], "edge"),
    ]


def _axes_top() -> list[ShellLine]:
    """Arrows along X and Y from the datum."""
    return [
        _row([(60, -30, 0), (560, -30, 0)], "edge"),
        _row([(520, -15, 0), (560, -30, 0), (520, -45, 0)], "edge"),
        _row([(-110, 60, 0), (-110, 460, 0)], "edge"),
        _row([(-95, 420, 0), (-110, 460, 0), (-125, 420, 0)], "edge"),
    ]


def _lines(h: HoopSection) -> tuple[tuple[float, float], tuple[float, float]]:
    """Half width and height of belt line and roof rail, which the drawn car has."""
    assert h.belt
    assert h.rail
    return h.belt, h.rail


def _section(car: Car) -> list[ShellLine]:
    """Shell in the plane of the main hoop, from behind."""
    roof, tunnel = car.roof, car.tunnel
    assert roof
    assert tunnel
    half: list[list[tuple[float, float, float]]] = []
    out: list[ShellLine] = []
    for sign, side in ((1.0, "left"), (-1.0, "right")):
        s = car.side(side)
        h = s.hoop
        belt, rail = _lines(h)
        inner, outer = s.sill_top_y
        inside: list[tuple[float, float, float]] = [
            (0, sign * tunnel.half(side) * 0.8, tunnel.top_z),
            (0, sign * tunnel.half(side), car.floor_z),
            (0, sign * h.half_width_floor, car.floor_z), (0, sign * inner, 0), (0, sign * outer, 0),
            (0, sign * belt[0], belt[1] - 160),
            (0, sign * belt[0], belt[1]),
            (0, sign * rail[0], rail[1]),
            (0, sign * (rail[0] - 110), roof.height_at_hoop - 35),
            (0, sign * 240, roof.height_at_hoop - 5),
        ]  # fmt: skip
        half.append(inside)
        skin = [(0, sign * (abs(y) + 45), z + (25 if z > 900 else 0)) for _, y, z in inside[5:8]]
        out.append(
            _row(
                [
                    (0, sign * (outer + 25), car.floor_z - 40),
                    (0, sign * (outer + 40), 60),
                    *skin,
                    (0, sign * (rail[0] - 90), roof.height_at_hoop),
                ]
            )
        )
        out.append(_row([(0, sign * inner, 0), (0, sign * (outer - 5), car.floor_z)], "hidden"))
    whole = [*reversed(half[0]), *half[1]]
    centre = (0.0, 0.0, roof.height_at_hoop)
    out.append(_row([*half[0][::-1], *half[1]], "edge"))
    out.append(_row([whole[0], centre, whole[-1]], "edge"))
    out += [
        _row([(0, 0, car.floor_z - 60), (0, 0, roof.height_at_hoop + 45)], "datum"),
        _row([(0, 850, 0), (0, -850, 0)], "datum"),
    ]
    return out


def _door_section(car: Car) -> list[ShellLine]:
    """Sill and door of the left side, from behind: what bars and people must clear."""
    s = car.left
    assert s.door
    inner, outer = s.sill_top_y
    d = s.door
    return [
        _row([(0, 430, car.floor_z), (0, inner - 12, car.floor_z), (0, d.y_inner, 0), (0, outer, 0),
              (0, outer + 30, car.floor_z - 40)], "edge"),
        _row([(0, d.y_trim, 25), (0, d.y_trim, 400), (0, d.y_trim + 25, 460)], "edge"),
        _row([(0, outer + 55, 10), (0, outer + 75, 300), (0, outer + 45, 460)]),
        _row([(0, d.y_trim + 20, 460), (0, d.y_trim + 12, 520)], "seen"),
        _row([(0, 360, 0), (0, 860, 0)], "datum"),
        _row([(0, 360, car.floor_z - 40), (0, 360, 540)], "datum"),
    ]  # fmt: skip


def _fall(car: Car) -> list[ShellLine]:
    """A foot's sheet metal with an angle finder on it: from the left, and from behind."""
    out: list[ShellLine] = []
    for shift in (0.0, 1150.0):
        row: list[list[tuple[float, float]]] = [
            [(20, 0), (560, -95)], [(20, 0), (560, 0)], [(240, -39), (250, 300)],
            [(340, -56), (350, 300)],
        ]  # fmt: skip
        weights: tuple[Weight, ...] = ("edge", "hidden", "seen", "seen", "skin")
        row.append([(-60, -130), (640, -130)])
        out += [
            _row([(0, shift + y, z) for y, z in line], weight)
            for line, weight in zip(row, weights, strict=True)
        ]
        turn = np.radians(np.linspace(-10.0, 0.0, 12))
        arc = np.column_stack([0 * turn, shift + 20 + 480 * np.cos(turn), 480 * np.sin(turn)])
        out.append(ShellLine(points=arc, weight="edge"))
    return out


# ---- where each field is measured ----


def _section_marks(car: Car) -> list[FieldMark]:
    left, roof, tunnel = car.left, car.roof, car.tunnel
    assert roof
    assert tunnel
    h, r = left.hoop, car.right
    (wide, belt), (narrow, rail) = _lines(h)
    other = _lines(r.hoop)
    return [
        FieldMark(
            field="side.hoop.half_width_floor", a=(0, 0, -62), b=(0, h.half_width_floor, -62)
        ),
        FieldMark(field="side.hoop.half_width_belt", a=(0, 0, belt), b=(0, wide, belt)),
        FieldMark(field="side.hoop.half_width_rail", a=(0, 0, rail), b=(0, narrow, rail)),
        FieldMark(field="floor_z", a=(0, -330, 0), b=(0, -330, car.floor_z)),
        FieldMark(
            field="side.hoop.height_belt",
            a=(0, -other[0][0], 0),
            b=(0, -other[0][0], other[0][1]),
        ),
        FieldMark(
            field="side.hoop.height_rail",
            a=(0, -other[1][0], 0),
            b=(0, -other[1][0], other[1][1]),
        ),
        FieldMark(field="roof.height_at_hoop", a=(0, -90, 0), b=(0, -90, roof.height_at_hoop)),
        FieldMark(field="tunnel.half_width", a=(0, 0, -100), b=(0, -tunnel.half_width, -100)),
        FieldMark(field="tunnel.top_z", a=(0, 60, tunnel.top_z)),
        FieldMark(
            field="side.sill_top_y", a=(0, left.sill_top_y[0], 0), b=(0, left.sill_top_y[1], 0)
        ),
    ]


def _roof_side_marks(car: Car) -> list[FieldMark]:
    roof, p = car.roof, car.left.pillar
    assert roof
    assert p
    assert car.left.roof_corner
    return [
        FieldMark(
            field="roof.header_x",
            a=(0, 0, roof.height_at_header - 230),
            b=(roof.header_x, 0, roof.height_at_header - 230),
        ),
        FieldMark(
            field="roof.height_at_header",
            a=(roof.header_x, 0, 0),
            b=(roof.header_x, 0, roof.height_at_header),
        ),
        FieldMark(field="side.roof_corner", a=car.left.roof_corner),
        FieldMark(field="side.pillar.top", a=p.top),
        FieldMark(field="side.pillar.base", a=p.base),
    ]


def _roof_top_marks(car: Car) -> list[FieldMark]:
    roof, p = car.roof, car.left.pillar
    assert roof
    assert p
    assert car.left.roof_corner
    mid = (np.array(p.top) + p.base) / 2
    x, y, z = (float(v) for v in mid)
    return [
        FieldMark(field="roof.header_x", a=(0, -150, 0), b=(roof.header_x, -150, 0)),
        FieldMark(field="side.roof_corner", a=car.left.roof_corner),
        FieldMark(field="side.pillar.top", a=p.top),
        FieldMark(field="side.pillar.base", a=p.base),
        FieldMark(field="side.pillar.width", a=(x - 6, y, z), b=(x + 68, y, z)),
    ]


def _feet_marks(car: Car) -> list[FieldMark]:
    s = car.left
    assert s.front_foot
    assert car.suspension_x
    return [
        FieldMark(field="side.main_foot.point", a=s.main_foot.point),
        FieldMark(field="side.front_foot.point", a=s.front_foot.point),
        FieldMark(field="side.rear_foot.point", a=s.rear_foot.point),
    ]


def _feet_side_marks(car: Car) -> list[FieldMark]:
    s = car.left
    assert car.suspension_x
    fx = s.front_foot.point[0] if s.front_foot else 0.0
    rear = s.rear_foot.point
    return [
        *_feet_marks(car),
        FieldMark(field="suspension_x", a=(car.suspension_x[0], 0, rear[2] + 90)),
        FieldMark(field="side.main_foot.sheet", a=(-110, 0, car.floor_z)),
        FieldMark(field="side.front_foot.sheet", a=(fx - 140, 0, car.floor_z)),
        FieldMark(field="side.rear_foot.sheet", a=(rear[0] + 110, 0, rear[2])),
    ]


def _feet_top_marks(car: Car) -> list[FieldMark]:
    s = car.right
    out = _feet_marks(car)
    for name, foot in (("main", s.main_foot), ("front", s.front_foot)):
        if foot is not None:
            x, y, _ = foot.point
            out.append(
                FieldMark(
                    field=f"side.{name}_foot.profile", a=(x, -130, 0), b=(x, -s.sill_top_y[0], 0)
                )
            )
            out.append(FieldMark(field=f"side.{name}_foot.surface", a=(x - 60, -y, 0)))
    x, y, _ = s.rear_foot.point
    out.append(FieldMark(field="side.rear_foot.surface", a=(x, -y, 0)))
    return out


def _fall_marks(car: Car) -> list[FieldMark]:
    return []


def _door_side_marks(car: Car) -> list[FieldMark]:
    door = car.left.door
    assert door
    out = [
        FieldMark(field="side.door.outline", a=(x, 0, z), part=f".{k}")
        for k, (x, z) in enumerate(door.outline, start=1)
    ]
    out.append(FieldMark(field="side.door.quarter_x", a=(0, 0, 240), b=(door.quarter_x, 0, 240)))
    front = max(door.outline)
    out.append(FieldMark(field="side.door.opens", a=(front[0], 0, front[1] - 90)))
    return out


def _door_section_marks(car: Car) -> list[FieldMark]:
    d = car.left.door
    assert d
    return [
        FieldMark(field="side.door.y_inner", a=(0, 360, -60), b=(0, d.y_inner, -60)),
        FieldMark(field="side.door.y_trim", a=(0, 360, 300), b=(0, d.y_trim, 300)),
    ]


def _cabin_side_marks(car: Car) -> list[FieldMark]:
    dash, pedals, seat, wheel = car.dash, car.pedals, car.seats[0], car.wheel
    assert dash
    assert pedals
    x, y, z = seat.hip
    c, a = wheel.centre, wheel.column_angle
    up = 420.0
    back = x - 130.0 - tan(seat.back_angle) * up
    return [
        FieldMark(field="seats.hip", a=seat.hip),
        FieldMark(field="seats.back_angle", a=(back, y, z - 100 + up)),
        FieldMark(
            field="seats.back_thickness", a=(back + 60, y, z + 140), b=(back - 5, y, z + 155)
        ),
        FieldMark(field="seats.back_height", a=(back + 20, y, z), b=(back - 140, y, z + 620)),
        FieldMark(field="wheel.centre", a=wheel.centre),
        FieldMark(field="wheel.column_angle", a=(c[0] + 210 * cos(a), 0, c[2] - 210 * sin(a))),
        FieldMark(field="dash.face_x", a=(0, 0, 330), b=(dash.face_x, 0, 330)),
        FieldMark(
            field="dash.top_z", a=(dash.face_x + 40, 0, 0), b=(dash.face_x + 40, 0, dash.top_z)
        ),
        FieldMark(
            field="dash.bottom_z",
            a=(dash.face_x - 60, 0, 0),
            b=(dash.face_x - 60, 0, dash.bottom_z),
        ),
        FieldMark(field="dash.cowl_x", a=(0, 0, 760), b=(dash.cowl_x, 0, 760)),
        FieldMark(field="dash.cowl_z", a=(dash.cowl_x, 0, 0), b=(dash.cowl_x, 0, dash.cowl_z)),
        FieldMark(field="pedals.x", a=(0, 0, -60), b=(pedals.x, 0, -60)),
        FieldMark(field="pedals.z", a=(pedals.x + 12, 0, pedals.z)),
        FieldMark(field="pedals.heel_z", a=(pedals.x - 130, 0, car.floor_z)),
    ]


def _cabin_top_marks(car: Car) -> list[FieldMark]:
    seat, wheel = car.seats[0], car.wheel
    x, y, z = seat.hip
    c, r = wheel.centre, wheel.diameter / 2
    return [
        FieldMark(field="seats.hip", a=seat.hip),
        FieldMark(field="seats.half_width", a=(x - 120, y, z), b=(x - 120, y + seat.half_width, z)),
        FieldMark(field="wheel.diameter", a=(c[0] - 40, c[1] - r, 0), b=(c[0] - 40, c[1] + r, 0)),
        FieldMark(field="wheel.centre", a=wheel.centre),
    ]


ShellLines = Callable[[Car], list[ShellLine]]
Marks = Callable[[Car], list[FieldMark]]
PICTURES: Mapping[str, tuple[Camera, ShellLines, Marks]] = {
    "datum-side": (SIDE, lambda c: _body(c) + side_view(c) + _axes_side(), lambda c: []),
    "datum-top": (TOP, lambda c: _top(c) + _axes_top(), lambda c: []),
    "section": (BEHIND, _section, _section_marks),
    "roof-side": (SIDE, side_view, _roof_side_marks),
    "roof-top": (TOP, _top, _roof_top_marks),
    "feet-side": (SIDE, side_view, _feet_side_marks),
    "feet-top": (TOP, _top, _feet_top_marks),
    "fall": (BEHIND, _fall, _fall_marks),
    "door-side": (SIDE, side_view, _door_side_marks),
    "door-section": (BEHIND, _door_section, _door_section_marks),
    "cabin-side": (SIDE, lambda c: side_view(c) + cabin(c), _cabin_side_marks),
    "cabin-top": (TOP, lambda c: _top(c) + _top_inside(c), _cabin_top_marks),
}
"""Camera, lines and marks of every picture."""

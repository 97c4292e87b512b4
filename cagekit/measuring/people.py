"""Pictures of the measuring sheet for the people: seated in the car, on a chair, the helmet.

Figures of plain limbs, invented to point at; the same numbering as on the sheet.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import cos, radians, sin

import numpy as np

from cagekit.geometry.centre_line import Vec
from cagekit.measuring.points import (
    BEHIND,
    FieldMark,
    PicturePlane,
    ShellLine,
    Weight,
    cabin,
    shell,
    side_view,
)
from cagekit.view.camera import SIDE, Camera
from cagekit.view.linework import LineDrawing, svg

ChairSpot = tuple[float, float, float]
SEAT = 430.0
"""Height of the chair, mm."""


def person_picture(
    name: str, numbers: Mapping[str, int], width: float, height: float
) -> LineDrawing:
    """Draw one picture of a person; ``name`` is a key of ``PEOPLE``.

    Args:
        name: its name.
        numbers: of the measurements, by field.
        width: of the picture, mm.
        height: mm.
    """
    camera, strokes, marks = PEOPLE[name]
    paper = PicturePlane(camera, strokes, width, height)
    body = [paper.stroke(s) for s in paper.strokes]
    body += paper.marks([m for m in marks if m.field in numbers], numbers)
    return LineDrawing(
        svg=svg(paper.width, paper.height, body),
        width=paper.width,
        height=paper.height,
        scale=paper.scale,
    )


def _limb(points: Sequence[ChairSpot], thick: float) -> ShellLine:
    return ShellLine(points=np.array(points, float), weight="seen", thick=thick)


def _line(points: Sequence[ChairSpot], weight: Weight = "seen") -> ShellLine:
    return ShellLine(points=np.array(points, float), weight=weight)


def _oval(centre: ChairSpot, wide: float, tall: float, axis: int) -> ShellLine:
    """A head or a helmet; ``axis`` 0 in side view, 1 from the front."""
    turn = np.linspace(0.0, 2 * np.pi, 49)
    points: Vec = np.tile(np.array(centre, float), (49, 1))
    points[:, axis] += wide / 2 * np.cos(turn)
    points[:, 2] += tall / 2 * np.sin(turn)
    return ShellLine(points=points, weight="seen")


def _seated() -> tuple[Camera, list[ShellLine], list[FieldMark]]:
    """In the car, in side view."""
    car = shell()
    seat, wheel, pedals = car.seats[0], car.wheel, car.pedals
    assert pedals
    hip = seat.hip
    lean = seat.back_angle
    y = hip[1]

    def up(base: ChairSpot, along: float, ahead: float, angle: float) -> ChairSpot:
        return (
            base[0] - along * sin(angle) + ahead * cos(angle),
            y,
            base[2] + along * cos(angle) + ahead * sin(angle),
        )

    shoulder = up(hip, 480.0, 20.0, lean)
    head = up(shoulder, 205.0, 60.0, radians(8.0))
    eye = (head[0] + 85.0, y, head[2] + 15.0)
    elbow = (shoulder[0] + 190.0, y, shoulder[2] - 250.0)
    hand = (wheel.centre[0] - 20.0, y, wheel.centre[2] + 60.0)
    knee = (hip[0] + 430.0, y, hip[2] + 210.0)
    heel = (pedals.x - 110.0, y, pedals.heel_z + 20.0)
    toe = (pedals.x, y, pedals.z + 40.0)
    top = (head[0], y, head[2] + 150.0)
    figure = [
        _limb([hip, up(hip, 430.0, 0.0, lean)], 210.0),
        _limb([hip, knee], 150.0),
        _limb([knee, (heel[0] + 20.0, y, heel[2] + 60.0)], 100.0),
        _limb([heel, toe], 60.0),
        _oval(head, 330.0, 300.0, 0),
        _oval((head[0] + 5.0, y, head[2] - 15.0), 200.0, 225.0, 0),
        _limb([shoulder, elbow], 95.0),
        _limb([elbow, hand], 75.0),
    ]
    marks = [
        FieldMark(field="seated.hip", a=hip),
        FieldMark(field="seated.back_angle", a=up(hip, 250.0, 0.0, lean)),
        FieldMark(field="seated.helmet_top", a=top),
        FieldMark(field="seated.eye", a=eye),
        FieldMark(field="seated.shoulder", a=shoulder),
        FieldMark(field="seated.elbow", a=elbow),
        FieldMark(field="seated.knee", a=knee),
    ]
    return SIDE, [*side_view(car), *cabin(car), *figure], marks


def _chair_side() -> tuple[Camera, list[ShellLine], list[FieldMark]]:
    """On a flat chair against a wall, in side view."""
    hip, shoulder = (120.0, 0.0, SEAT + 90.0), (100.0, 0.0, SEAT + 560.0)
    head = (110.0, 0.0, SEAT + 810.0)
    crown = SEAT + 920.0
    elbow, grip = (100.0, 0.0, SEAT + 250.0), (430.0, 0.0, SEAT + 255.0)
    knee, ankle = (540.0, 0.0, SEAT + 70.0), (540.0, 0.0, 70.0)
    strokes = [
        _line([(0, 0, 0), (0, 0, crown + 60)], "edge"),
        _line([(0, 0, SEAT), (430, 0, SEAT), (430, 0, 0)], "edge"),
        _line([(-120, 0, 0), (860, 0, 0)], "edge"),
        _limb([(115, 0, SEAT + 110), (115, 0, SEAT + 480)], 225.0),
        _limb([hip, knee], 145.0),
        _limb([knee, ankle], 105.0),
        _limb([(505, 0, 30), (720, 0, 30)], 60.0),
        _oval(head, 195.0, 225.0, 0),
        _limb([shoulder, elbow], 95.0),
        _limb([elbow, grip], 75.0),
    ]
    marks = [
        FieldMark(field="body.sitting_height", a=(330, 0, SEAT), b=(330, 0, crown)),
        FieldMark(field="body.eye_height", a=(265, 0, SEAT), b=(265, 0, SEAT + 805)),
        FieldMark(field="body.shoulder_height", a=(-60, 0, SEAT), b=(-60, 0, SEAT + 605)),
        FieldMark(field="body.upper_arm_length", a=(100, 0, SEAT + 605), b=(100, 0, SEAT + 212)),
        FieldMark(field="body.forearm_grip_length", a=(52, 0, SEAT + 190), b=(430, 0, SEAT + 190)),
        FieldMark(field="body.buttock_knee_length", a=(0, 0, SEAT - 70), b=(600, 0, SEAT - 70)),
        FieldMark(field="body.knee_height", a=(680, 0, 0), b=(680, 0, SEAT + 125)),
        FieldMark(field="body.thigh_clearance", a=(470, 0, SEAT), b=(470, 0, SEAT + 145)),
        FieldMark(field="body.chest_depth", a=(2, 0, SEAT + 420), b=(228, 0, SEAT + 420)),
        FieldMark(field="body.head_length", a=(12, 0, SEAT + 850), b=(208, 0, SEAT + 850)),
        FieldMark(field="body.foot_length", a=(475, 0, -60), b=(750, 0, -60)),
    ]
    return SIDE, [*strokes, _line([(475, 0, -90), (475, 0, -60)], "hidden")], marks


def _front() -> tuple[Camera, list[ShellLine], list[FieldMark]]:
    """Sitting upright, from behind: breadths."""
    crown = SEAT + 920.0
    strokes = [
        _line([(0, -330, SEAT), (0, 330, SEAT)], "edge"),
        _line([(0, -380, 0), (0, 380, 0)], "edge"),
        _limb([(0, 0, SEAT + 170), (0, 0, SEAT + 480)], 320.0),
        _limb([(0, -70, SEAT + 90), (0, 70, SEAT + 90)], 200.0),
        _oval((0, 0, SEAT + 810), 155.0, 225.0, 1),
    ]
    for k in (-1.0, 1.0):
        strokes += [
            _limb([(0, k * 195, SEAT + 560), (0, k * 215, SEAT + 250)], 95.0),
            _limb([(0, k * 105, SEAT - 40), (0, k * 105, 60)], 105.0),
            _limb([(0, k * 95, 30), (0, k * 125, 30)], 60.0),
        ]
    marks = [
        FieldMark(
            field="body.shoulder_joint_breadth", a=(0, 195, SEAT + 640), b=(0, -195, SEAT + 640)
        ),
        FieldMark(field="body.shoulder_breadth", a=(0, 255, SEAT + 480), b=(0, -255, SEAT + 480)),
        FieldMark(field="body.hip_breadth", a=(0, 170, SEAT + 80), b=(0, -170, SEAT + 80)),
        FieldMark(field="body.head_breadth", a=(0, 78, SEAT + 850), b=(0, -78, SEAT + 850)),
        FieldMark(field="body.eye_spacing", a=(0, 31, SEAT + 800), b=(0, -31, SEAT + 800)),
    ]
    return BEHIND, [*strokes, _line([(0, 0, crown), (0, 0, crown + 60)], "hidden")], marks


def _standing() -> tuple[Camera, list[ShellLine], list[FieldMark]]:
    """Standing barefoot against a wall."""
    top = 1780.0
    strokes = [
        _line([(0, 300, 0), (0, -300, 0)], "edge"),
        _limb([(0, 0, 950), (0, 0, 1330)], 300.0),
        _oval((0, 0, top - 112), 155.0, 225.0, 1),
    ]
    for k in (-1.0, 1.0):
        strokes += [
            _limb([(0, k * 195, 1420), (0, k * 220, 830)], 85.0),
            _limb([(0, k * 80, 880), (0, k * 95, 50)], 120.0),
        ]
    marks = [FieldMark(field="body.stature", a=(0, -290, 0), b=(0, -290, top))]
    return BEHIND, [*strokes, _line([(0, 0, top), (0, -300, top)], "hidden")], marks


def _helmet(axis: int) -> tuple[Camera, list[ShellLine], list[FieldMark]]:
    """The helmet from the side (``axis`` 0) or from behind (1)."""
    wide, head = (345.0, 195.0) if axis == 0 else (260.0, 155.0)

    def at(along: float, z: float) -> ChairSpot:
        return (along, 0.0, z) if axis == 0 else (0.0, along, z)

    strokes = [
        _oval((0, 0, 150), wide, 300.0, axis),
        _oval((0, 0, 145), head, 230.0, axis),
        _line([at(-0.62 * wide, 300), at(0.62 * wide, 300)], "hidden"),
        _line([at(-0.62 * wide, 260), at(0.62 * wide, 260)], "hidden"),
    ]
    if axis == 0:
        strokes.append(_line([at(168, 180), at(60, 185), at(60, 110), at(160, 95)]))
        marks = [
            FieldMark(field="helmet.length", a=at(-172, -30), b=at(172, -30)),
            FieldMark(field="helmet.above_crown", a=at(-190, 260), b=at(-190, 300)),
        ]
    else:
        marks = [FieldMark(field="helmet.width", a=at(130, -30), b=at(-130, -30))]
    strokes.append(_line([at(-1, -60), at(1, -60)], "skin"))
    return (SIDE if axis == 0 else BEHIND), strokes, marks


PEOPLE: Mapping[str, tuple[Camera, list[ShellLine], list[FieldMark]]] = {
    "seated": _seated(),
    "chair-side": _chair_side(),
    "chair-behind": _front(),
    "standing": _standing(),
    "helmet-side": _helmet(0),
    "helmet-behind": _helmet(1),
}
"""Camera, lines and marks of every picture of a person."""

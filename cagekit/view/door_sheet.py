"""Picture of the swing-out bars: each bar closed, half open and open, hinge and latch near by.

Dimensions are true lengths between the points they are drawn at, whatever the view.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import degrees
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from cagekit.cage.colours import Colour, member_colour
from cagekit.cage.door import SwingDoor, SwingJoint
from cagekit.names import in_words, named
from cagekit.swing.motion import Swept
from cagekit.swing.opened import opened_cage
from cagekit.swing.work import by_gauge, by_rule, stub_length
from cagekit.units import LengthUnit, format_length
from cagekit.units.tolerance import NO_LENGTH
from cagekit.view.camera import Camera
from cagekit.view.fonts import font
from cagekit.view.ink import INK, PAPER, Rgb
from cagekit.view.nearest import ViewFrame
from cagekit.view.raster import render
from cagekit.view.scene import SceneBody, bodies
from cagekit.view.sheet import PictureSheet

if TYPE_CHECKING:
    from PIL.Image import Image

    from cagekit.cage.cage import Cage

Pixel = NDArray[np.float64]

HALF: Colour = (0.86, 0.88, 0.90)
"""Half open: a ghost of the open bar."""
OPEN: Colour = (0.66, 0.69, 0.73)
"""Open: a grey, since warm colours elsewhere say that something is wrong."""
DIMENSION: Rgb = (20, 60, 150)
CAUTION = (
    "A cage can kill when it is wrong. Computed geometry, not approval: the current rulebook and "
    "the scrutineer decide.",
    "Moving bars pinch: keep hands clear. A bar that is not pinned protects nobody.",
)
WIDTH, TALL, CLOSE = 1560, 620, 430
"""Pixels: width of the sheet, height of the plan and of the close views."""
NEAR = 130.0
"""Half width (mm) of what a close view shows."""
PAD = 40
HEAD = 154
"""Pixels of the title above each bar."""
FOOT = 84
"""Pixels of the caution below all."""


def door_sheet(cage: Cage, swept: Mapping[str, Swept], units: LengthUnit = "mm") -> Image:
    """Return the sheet of every swing-out bar, one row each.

    Args:
        cage: the cage, its bars divided.
        swept: how each bar swings, by its id.
        units: of the dimensions.
    """
    rows = [_row(cage, d, swept[d.bar]) for d in cage.doors]
    height = sum(r.shape[0] for r in rows) + FOOT
    sheet = PictureSheet(WIDTH, height, edge=PAD)
    top = 0
    whole = cage.as_fitted()
    for row, door in zip(rows, cage.doors, strict=True):
        sheet.lay(row, (0, top))
        bar = door.fitted.id
        tips = (whole.cut(bar, "a").shortest, whole.cut(bar, "b").shortest)
        _write(sheet, door, swept[door.bar], top, units, tips)
        _legend(sheet, cage, door, top + 118)
        _dimensions(sheet, door, swept[door.bar], top, units)
        top += row.shape[0]
    sheet.rule(top + 8)
    for n, line in enumerate(CAUTION):
        sheet.write((PAD, top + 18 + 28 * n), line, 19)
    return sheet.image


def _legend(sheet: PictureSheet, cage: Cage, door: SwingDoor, top: int) -> None:
    """Which colour is which place of the bar."""
    x = PAD
    closed = member_colour(cage.member(door.bar))
    for colour, words in ((closed, "closed"), (HALF, "half open"), (OPEN, "open")):
        r, g, b = (round(255 * c) for c in colour)
        sheet.pen.rectangle((x, top, x + 34, top + 20), (r, g, b), INK)
        sheet.write((x + 44, top + 10), words, 18, anchor="lm")
        x += 190
    words = "blue: true lengths between the marked points"
    sheet.write((x, top + 10), words, 18, DIMENSION, anchor="lm")


def _said(mm: float, units: LengthUnit) -> str:
    if units == "in":
        return format_length(mm, "in", denominator=16)
    return format_length(mm, "mm", decimals=0)


def _dimensions(
    sheet: PictureSheet, door: SwingDoor, swept: Swept, top: int, units: LengthUnit
) -> None:
    """Pin to pin, how far the free end swings, and the saw cuts."""
    frame = _plan_frame(door)
    low = np.array([0.0, top + HEAD])
    pins = [frame.pixels(j.origin[None])[0, :2] + low for j in door.joints]
    pin_to_pin = float(np.linalg.norm(door.hinge.origin - door.latch.origin))
    _dimension(sheet, pins[0], pins[1], f"{_said(pin_to_pin, units)} pin to pin", lift=-64.0)
    ends = frame.pixels(swept.path[[0, -1]])[:, :2] + low
    swing = float(np.linalg.norm(swept.path[-1] - swept.path[0]))
    _dimension(sheet, ends[0], ends[1], f"{_said(swing, units)} free end, closed to open")
    third = WIDTH // 3
    for n, joint in enumerate((door.hinge, door.latch)):
        near = _near_frame(joint, _outside(door), third)
        faces = [joint.stub_face.point, joint.face.point]
        shift = np.array([n * third, top + HEAD + TALL])
        a, b = near.pixels(np.array(faces))[:, :2] + shift
        _dimension(sheet, a, b, f"saw cut {by_gauge(joint.gap, units)}", lift=-96.0)


def _dimension(sheet: PictureSheet, a: Pixel, b: Pixel, words: str, *, lift: float = 0.0) -> None:
    """A dimension line between two spots, moved off them by ``lift`` pixels (up when negative)."""
    way = b - a
    size = max(float(np.hypot(*way)), NO_LENGTH)
    across = np.array([-way[1], way[0]]) / size
    off = across * (lift if across[1] > 0 else -lift)
    p, q = a + off, b + off
    if lift:
        for spot, end in ((a, p), (b, q)):
            sheet.pen.line((*spot, *(end + 0.1 * off)), DIMENSION, 1)
    sheet.pen.line((*p, *q), DIMENSION, 2)
    sheet.tips((p, q), DIMENSION, head=(14.0, 5.0), dot=3.0, least=40.0)
    letters = font(19, bold=True)
    x, y = (p + q) / 2 + (off / max(abs(lift), 1.0)) * 18
    box = sheet.pen.textbbox((x, y), words, letters, anchor="mm")
    sheet.pen.rectangle((box[0] - 4, box[1] - 2, box[2] + 4, box[3] + 2), PAPER)
    sheet.pen.text((x, y), words, DIMENSION, letters, anchor="mm")


def _write(
    sheet: PictureSheet,
    door: SwingDoor,
    swept: Swept,
    top: int,
    units: LengthUnit,
    tips: tuple[float, float],
) -> None:
    big, small = font(26, bold=True), font(20)
    side = door.side
    text = sheet.pen.text
    name = named(door.bar)
    text((PAD, top + 14), f"{name}: closed, half open and open", font=big, fill=INK)
    stubs = "from the fitted bar's tip to the saw cut: " + ", ".join(
        f"{by_rule(stub_length(door, j, tips), units)} at the {j.name} (end {j.end.upper()})"
        for j in door.joints
    )
    text(
        (PAD, top + 50),
        opening(swept),
        font=small,
        fill=INK,
    )
    text(
        (PAD, top + 80),
        stubs,
        font=small,
        fill=INK,
    )
    third = WIDTH // 3
    names = (
        f"hinge from outside ({side})",
        f"latch from outside ({side})",
        "hinge from above, open",
    )
    for n, name in enumerate(names):
        spot = (n * third + PAD, top + HEAD + TALL + CLOSE - 34)
        left, high, right, low = sheet.pen.textbbox(spot, name, small)
        sheet.pen.rectangle((left - 6, high - 4, right + 6, low + 4), PAPER)
        text(spot, name, font=small, fill=INK)


def opening(swept: Swept) -> str:
    """How far a bar opens and what it meets, in words.

    Args:
        swept: the way of the bar.
    """
    if swept.limit is None or swept.meets is None:
        stop = "meets nothing up to 150 degrees"
    else:
        stop = in_words(f"meets {swept.meets.name} at {degrees(swept.limit):.0f} degrees")
    return f"opens {degrees(swept.full):.0f} degrees; {stop}"


def _row(cage: Cage, door: SwingDoor, swept: Swept) -> NDArray[np.uint8]:
    plan = _plan(cage, door, swept)
    third = WIDTH // 3
    scene = _near(cage, door, bodies(cage))
    sign = 1.0 if door.side == "left" else -1.0
    outside = _outside(door)
    above = Camera.looking("above", (0, 0, 1), (0, -sign, 0))
    opened = opened_cage(cage, {door.bar: swept.full})
    closes = [
        _close(scene, door.hinge, outside, third),
        _close(scene, door.latch, outside, third),
        _close(_near(cage, door, bodies(opened)), door.hinge, above, WIDTH - 2 * third),
    ]
    head = np.full((HEAD, WIDTH, 3), 255, np.uint8)
    return np.concatenate([head, plan, np.concatenate(closes, axis=1)])


def _plan(cage: Cage, door: SwingDoor, swept: Swept) -> NDArray[np.uint8]:
    """The car's side from outside and above, the bar in three places."""
    scene = list(bodies(cage))
    still = {p.id for p in cage.hardware if p.kind in ("half_cup", "bolt", "nut")}
    for angle, colour in ((swept.half, HALF), (swept.full, OPEN)):
        own = {door.bar, *door.hardware}
        there = bodies(opened_cage(cage, {door.bar: angle}))
        scene += [
            replace(b, name=f"{b.name}_{degrees(angle):.0f}", colour=colour)
            for b in there
            if b.name in own - still
        ]
    return render(scene, _plan_frame(door), paper=PAPER).image


def _plan_frame(door: SwingDoor) -> ViewFrame:
    """Frame of the view of a whole bar from outside and above."""
    camera = Camera.around("plan", 62.0 if door.side == "left" else -62.0, 52.0)
    middle = (door.hinge.origin + door.latch.origin) / 2
    reach = float(np.linalg.norm(door.hinge.origin - door.latch.origin))
    centre = middle + 0.42 * reach * door.hinge.out
    x, y, _ = camera.project(centre[None])[0]
    return ViewFrame(
        camera=camera,
        width=WIDTH,
        height=TALL,
        scale=WIDTH / (3.1 * reach),
        centre=(float(x), float(y)),
    )


def _outside(door: SwingDoor) -> Camera:
    """The camera of the close views of hinge and latch."""
    return Camera.around("outside", 60.0 if door.side == "left" else -60.0, 24.0)


def _near(cage: Cage, door: SwingDoor, scene: Sequence[SceneBody]) -> list[SceneBody]:
    """The bar's own bodies and the tubes it hangs on."""
    parents = {p for i in door.pieces for _, e in cage.member(i).ends for p in e.parents}
    names = {*door.pieces, *door.plates, *door.hardware, *parents}
    return [b for b in scene if b.name in names]


def _close(
    scene: Sequence[SceneBody], joint: SwingJoint, camera: Camera, width: int
) -> NDArray[np.uint8]:
    return render(list(scene), _near_frame(joint, camera, width), paper=PAPER).image


def _near_frame(joint: SwingJoint, camera: Camera, width: int) -> ViewFrame:
    """Frame of the close view of a joint."""
    x, y, _ = camera.project(joint.origin[None])[0]
    return ViewFrame(
        camera=camera,
        width=width,
        height=CLOSE,
        scale=width / (2 * NEAR),
        centre=(float(x), float(y)),
    )

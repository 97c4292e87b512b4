"""Picture of the swing-out bars: each bar closed, half open and open, hinge and latch near by."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import degrees
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cagekit.cage.colours import Colour
from cagekit.cage.door import SwingDoor, SwingJoint
from cagekit.swing.motion import Swept
from cagekit.swing.opened import opened_cage
from cagekit.view.camera import Camera
from cagekit.view.fonts import font
from cagekit.view.raster import ViewFrame, render
from cagekit.view.scene import SceneBody, bodies

if TYPE_CHECKING:
    from PIL.Image import Image

    from cagekit.cage.cage import Cage

PAPER = (255, 255, 255)
INK = (33, 37, 41)
HALF: Colour = (0.62, 0.80, 0.78)
OPEN: Colour = (0.95, 0.66, 0.35)
WIDTH, TALL, CLOSE = 1560, 620, 430
"""Pixels: width of the sheet, height of the plan and of the close views."""
NEAR = 130.0
"""Half width (mm) of what a close view shows."""
PAD = 40
HEAD = 92
"""Pixels of the title above each bar."""


def door_sheet(cage: Cage, swept: Mapping[str, Swept]) -> Image:
    """Return the sheet of every swing-out bar, one row each."""
    from PIL import Image, ImageDraw

    rows = [_row(cage, d, swept[d.bar]) for d in cage.doors]
    height = sum(r.shape[0] for r in rows)
    sheet = Image.new("RGB", (WIDTH, height), PAPER)
    pen = ImageDraw.Draw(sheet)
    top = 0
    for row, door in zip(rows, cage.doors, strict=True):
        sheet.paste(Image.fromarray(row), (0, top))
        _write(pen, door, swept[door.bar], top)
        top += row.shape[0]
    return sheet


def _write(pen: object, door: SwingDoor, swept: Swept, top: int) -> None:
    big, small = font(26, bold=True), font(20)
    side = door.side
    text = pen.text  # type: ignore[attr-defined]
    text((PAD, top + 14), f"{door.bar}: closed, half open and open", font=big, fill=INK)
    stop = (
        "meets nothing up to 150"
        if swept.limit is None or swept.meets is None
        else f"meets {swept.meets.name} at {degrees(swept.limit):.0f}"
    )
    text(
        (PAD, top + 50),
        f"opens {degrees(swept.full):.0f} degrees; {stop} degrees",
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
        text((n * third + PAD, top + HEAD + TALL + CLOSE - 34), name, font=small, fill=INK)


def _row(cage: Cage, door: SwingDoor, swept: Swept) -> NDArray[np.uint8]:
    plan = _plan(cage, door, swept)
    third = WIDTH // 3
    scene = _near(cage, door, bodies(cage))
    sign = 1.0 if door.side == "left" else -1.0
    outside = Camera.around("outside", 60.0 * sign, 24.0)
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
    sign = 1.0 if door.side == "left" else -1.0
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
    camera = Camera.around("plan", 62.0 * sign, 52.0)
    middle = (door.hinge.origin + door.latch.origin) / 2
    reach = float(np.linalg.norm(door.hinge.origin - door.latch.origin))
    centre = middle + 0.25 * reach * door.hinge.out
    x, y, _ = camera.project(centre[None])[0]
    frame = ViewFrame(
        camera=camera,
        width=WIDTH,
        height=TALL,
        scale=WIDTH / (2.6 * reach),
        centre=(float(x), float(y)),
    )
    return render(scene, frame, paper=PAPER).image


def _near(cage: Cage, door: SwingDoor, scene: Sequence[SceneBody]) -> list[SceneBody]:
    """The bar's own bodies and the tubes it hangs on."""
    parents = {p for i in door.pieces for _, e in cage.member(i).ends for p in e.parents}
    names = {*door.pieces, *door.plates, *door.hardware, *parents}
    return [b for b in scene if b.name in names]


def _close(
    scene: Sequence[SceneBody], joint: SwingJoint, camera: Camera, width: int
) -> NDArray[np.uint8]:
    x, y, _ = camera.project(joint.origin[None])[0]
    frame = ViewFrame(
        camera=camera,
        width=width,
        height=CLOSE,
        scale=width / (2 * NEAR),
        centre=(float(x), float(y)),
    )
    return render(list(scene), frame, paper=PAPER).image

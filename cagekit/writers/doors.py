"""Swing-out bars: the cage with its bars open as STEP and GLB, and pictures of them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from msgspec.structs import replace

from cagekit.swing.motion import Swept, sweep
from cagekit.swing.opened import opened_cage
from cagekit.writers.png import save_png

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.design import Design
    from cagekit.view.scene import SceneBody
    from cagekit.writers.step_check import ReadBack


def write_doors(design: Design, folder: Path) -> ReadBack | None:
    """Write ``door_open.step``, ``door_open.glb``, ``doors.png`` and a picture of each bracket.

    Nothing is written when no bar swings out.
    """
    if not design.cage.doors:
        return None
    from cagekit.view.door_sheet import door_sheet
    from cagekit.writers.glb import glb

    swept = {d.bar: sweep(design.cage, design.build.car, d) for d in design.cage.doors}
    opened = opened_cage(design.cage, {i: s.full for i, s in swept.items()})
    read = write_open_step(opened, folder / "door_open.step")
    scene = open_scene(design.cage, swept)
    (folder / "door_open.glb").write_bytes(glb(scene, name=f"{design.cage.name}_open"))
    sheet = door_sheet(design.cage, swept, design.units)
    save_png(sheet, folder / "doors.png")
    write_bracket_pictures(design, folder / "plates")
    return read


def write_bracket_pictures(design: Design, folder: Path) -> None:
    """Write ``plates/<id>.png``: the drawing of each bracket, as it goes to the cutting table."""
    from cagekit.shop.nesting.plate_drawing import plate_drawing
    from cagekit.writers.dxf import cut_options
    from cagekit.writers.plate_png import save_picture

    folder.mkdir(parents=True, exist_ok=True)
    own = {i for d in design.cage.doors for i in d.plates}
    for plate in design.cage.plates:
        if plate.id in own:
            drawing = plate_drawing(plate, cut_options(design), quantity=plate.quantity)
            save_picture(drawing, folder / f"{plate.id}.png")


def write_open_step(opened: Cage, path: Path) -> ReadBack:
    """Write the open cage as one STEP file and read it back without the kernel."""
    from cagekit.solids.bodies import build_records, expected_volumes, plain_name
    from cagekit.solids.brep import Record
    from cagekit.writers.step import step_parts, write_step
    from cagekit.writers.step_check import ReadBack, read_back

    left_out: dict[str, str] = {}
    bodies = build_records(opened, left_out=left_out)
    name = f"{plain_name(opened.name)}_open"
    write_step(path, name, step_parts(opened, bodies), left_out=left_out)
    made = {i for i, body in bodies.items() if not isinstance(body, Record)}
    expected = {i: v for i, v in expected_volumes(opened).items() if i in bodies}
    report = read_back(path, expected, kernel_made=made)
    return ReadBack(replace(report, left_out=left_out), expected)


def open_scene(cage: Cage, swept: dict[str, Swept]) -> tuple[SceneBody, ...]:
    """What is in ``door_open.glb``: the cage with its bars open, and the bars half open.

    Bars and sleeves have a node ``<id>_open`` in the group ``open`` and one ``<id>_half`` in the
    group ``half``; the rest of the cage keeps its names.
    """
    from cagekit.view.door_sheet import HALF
    from cagekit.view.scene import bodies

    full = opened_cage(cage, {i: s.full for i, s in swept.items()})
    half = opened_cage(cage, {i: s.half for i, s in swept.items()})
    swings = swinging(cage)
    out = [
        replace(b, name=f"{b.name}_open", group="open") if b.name in swings else b
        for b in bodies(full)
    ]
    out += [
        replace(b, name=f"{b.name}_half", group="half", colour=HALF)
        for b in bodies(half)
        if b.name in swings
    ]
    return tuple(out)


def swinging(cage: Cage) -> frozenset[str]:
    """Ids of what moves when the bars are opened."""
    sleeves = (p.id for p in cage.hardware if p.kind == "sleeve")
    return frozenset([*(d.bar for d in cage.doors), *sleeves])

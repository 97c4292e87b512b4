"""A floor plate folded to the corner of the floor, and its flat pattern as DXF."""

import tempfile
from pathlib import Path

import cadquery as cq

import cagekit as ck

width = 180.0  # mm
length = 150.0  # mm
thickness = 3.0  # mm
fold_at = 55.0  # from the tube's middle to the corner of the floor, mm
fold_angle = 60.0  # how far the floor turns up there, degrees
folder = tempfile.gettempdir()  # where the drawing goes

plate = ck.floor_plate(
    width=width, length=length, thickness=thickness, fold_at=fold_at, fold_angle=fold_angle
)
drawing = plate.save(Path(folder) / "floor_plate.dxf")
print(f"{drawing}: flat {plate.outline().area / 100:.1f} cm2, {len(plate.bends())} fold")

result = cq.Workplane(obj=plate.solid())
if "show_object" in globals():
    show_object(result, name="floor_plate")

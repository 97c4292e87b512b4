"""A study: the hoop on several dies, as a table of length, mass and bend marks."""

import csv
import io

import cadquery as cq

import cagekit as ck

height = 1100.0  # axis of the top above the feet, mm
radii = (135.0, 152.0, 180.0, 210.0)  # centre-line radii of the dies, mm
tube = "dom-1.75x0.095"  # tube preset

table = io.StringIO()
rows = csv.writer(table)
rows.writerow(["radius_mm", "sawn_mm", "mass_kg", "marks_mm"])
hoop = ck.main_hoop(height=height, tube=tube)
for radius in radii:
    hoop = hoop.replace(bend_radius=radius)
    marks = " ".join(f"{bend.mark:.1f}" for bend in hoop.bends())
    rows.writerow([f"{radius:g}", f"{hoop.length:.1f}", f"{hoop.mass:.2f}", marks])
print(table.getvalue())

result = cq.Workplane(obj=hoop.solid())
if "show_object" in globals():
    show_object(result, name="main_hoop")

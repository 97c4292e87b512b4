"""A main hoop that stands on two box feet: change the numbers at the top."""

import cadquery as cq

import cagekit as ck

height = 1100.0  # axis of the top above the feet, mm
width_foot = 1220.0  # between the axes of the legs at the feet, mm
foot_height = 60.0  # floor to the top of the box feet, mm
tube = "cds-45x2.5"  # tube preset

hoop = ck.main_hoop(height=height, width_foot=width_foot, tube=tube)
foot = ck.plinth(height=foot_height, od=hoop.tube.od, width=140, length=140)

cage = cq.Assembly(name="hoop_on_feet")
cage.add(hoop.solid(), name="main_hoop", color=cq.Color(0.75, 0.3, 0.2))
for end in ("a", "b"):
    x, y, z = hoop.frames[end].toTuple()[0]
    for plate in foot.plates:
        solid = foot.plate(plate).solid().moved(cq.Location((x, y, z)))
        cage.add(solid, name=f"{plate}_{end}", color=cq.Color(0.6, 0.6, 0.62))

result = cq.Workplane(obj=cage.toCompound())
if "show_object" in globals():
    show_object(cage)  # a CadQuery editor has it

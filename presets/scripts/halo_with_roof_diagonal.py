"""A halo on two legs with a roof diagonal coped to it."""

import cadquery as cq

import cagekit as ck

length = 790.0  # from the legs to the header, level, mm
width_rear = 1060.0  # between the legs' axes, mm
width_front = 930.0  # between the corners of the front bends, mm
bend_radius = 152.0  # centre-line radius, mm

halo = ck.halo(
    length=length, width_rear=width_rear, width_front=width_front, bend_radius=bend_radius
)
# from the left rail, a hand behind the front bend, to the right rail near the leg
rail = halo.path.pieces[0].length
front = halo.at(station=rail - 60.0)
rear = halo.at(station=halo.path.length - 90.0)
diagonal = ck.between(front, rear, tube="dom-1.5x0.120", name="roof_diagonal")
print(f"diagonal: {diagonal.length:.0f} mm, {diagonal.mass:.2f} kg")

result = cq.Workplane().newObject([halo.solid(), diagonal.solid()])
if "show_object" in globals():
    show_object(halo.solid(), name="halo")
    show_object(diagonal.solid(), name="roof_diagonal")

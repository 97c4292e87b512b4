"""A door bar that swings out, with both brackets, closed and open."""

import cadquery as cq

import cagekit as ck

build = "sprint-wagon"  # any build with a swing-out bar
side = "left"  # which door
open_share = 1.0  # 0 closed, 1 as far as the bar swings

design = ck.load(build)
door = next(d for d in design.cage.doors if d.side == side)
plates = [p.id for p in design.cage.plates if set(p.members) & {*door.pieces, door.bar}]

closed = [design[name].solid() for name in (*door.pieces, *plates)]
opened = design.opened(open_share)[door.bar].solid()

result = cq.Workplane().newObject([*closed, opened])
if "show_object" in globals():
    for n, solid in enumerate(closed):
        show_object(solid, name=f"closed_{n}")
    show_object(opened, name="open", options={"alpha": 0.5})

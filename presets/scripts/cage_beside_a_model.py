"""A tube beside a model read from STEP: how far apart they are, and a bar coped to it."""

import tempfile
from pathlib import Path

import cadquery as cq

import cagekit as ck
import cagekit.plugin as plugin

step_file = ""  # a model of your own; a stand-in for a chassis tube when empty
height = 450.0  # of the bar on the hoop, mm

if not step_file:
    chassis = cq.Workplane("XZ", origin=(-400, 700, 450)).circle(25).circle(22).extrude(1400)
    step_file = str(Path(tempfile.gettempdir()) / "chassis_tube.step")
    cq.exporters.export(chassis, step_file)
chassis = cq.importers.importStep(step_file)

hoop = ck.main_hoop()
print(f"hoop to chassis: {hoop.solid().distance(chassis.val()):.1f} mm")
node = hoop.at(height=height).point
bar = plugin.tube([(-400.0, float(node[1]), 450.0), tuple(node)], 38.1, 2.4)
bar = plugin.cope(bar, hoop.solid(), end="b").solid
bar = plugin.cope(bar, chassis.val(), end="a").solid
print(f"bar: {bar.Volume() / 1000:.1f} cm3, valid {bar.isValid()}")

result = cq.Workplane().newObject([hoop.solid(), chassis.val(), bar])
if "show_object" in globals():
    show_object(result)

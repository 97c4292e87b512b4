"""A whole cage on another car, one member changed: what weighs more, what fails."""

import cadquery as cq

import cagekit as ck

build = "track-roadster"  # the build to start from
harness_height = "19 in"  # axis of the harness bar above the sill plane
tube = "cds-45x3.0"  # tube of every member without one of its own

before = ck.load(build)
after = before.change({"members.harness_bar.height": harness_height, "tube": tube})
for name, design in (("before", before), ("after", after)):
    fails = [f for f in design.check() if f.status == "fail"]
    print(f"{name}: {design.cage.mass_total():.1f} kg, {len(fails)} checks fail")
    for finding in fails[:3]:
        print(f"  {finding.quantity}: {finding.subject}. {finding.cure}")

result = cq.Workplane().newObject([m.solid() for m in after.members.values()])
if "show_object" in globals():
    show_object(after.assembly())

"""Plates in the kernel: sound solids of the stated volume, holes where folding puts them."""

from __future__ import annotations

from itertools import combinations
from math import radians

import numpy as np
import pytest
from msgspec.structs import replace
from pieces import cut_area

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, Member
from cagekit.cage.plate import Hole, Plate
from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.fold import Fold
from cagekit.geometry.outline import Outline
from cagekit.inputs.places import TubeEnd
from cagekit.materials.tubes import Tube
from cagekit.plates.box import BoxSpec, box
from cagekit.plates.corner import Corner, joints_at
from cagekit.plates.floor_plate import FloorPlateSpec, floor_plate
from cagekit.plates.foot import Foot
from cagekit.plates.gusset import GussetSpec, flat_gusset
from cagekit.plates.profile import Folding
from cagekit.plates.saddle import folded_gusset
from cagekit.plates.tab import TabSpec, tabs
from cagekit.shop.nesting.plate_drawing import CutOptions, plate_drawing
from cagekit.solids import kernel
from cagekit.solids.sheet import plate_record

pytestmark = pytest.mark.kernel

BRAKE = Folding(radius=3.0, k=0.42, flange=16.0)
TUBES = Tube(od=45, wall=2.5, material="e235-n"), Tube(od=40, wall=2, material="e235-n")


def hoop_cage():
    """A hoop with a branch on its straight leg and one on its top bend."""
    path = CentreLine.from_polyline([(0, 600, 0), (0, 560, 900), (0, -560, 900), (0, -600, 0)], 150)
    spots = {
        "brace_left": (path.at_height(600)[0], (-700, 450, 100)),
        "stay": (path.spot(path.starts[1] + 120), (-500, 200, 150)),
    }
    hoop = Member(id="main_hoop", role="main_hoop", tube=TUBES[0], path=path)
    branches = [
        Member(
            id=name,
            role=name,
            tube=TUBES[1],
            path=CentreLine.straight(spot.point, end),
            a=End.coped("main_hoop"),
        )
        for name, (spot, end) in spots.items()
    ]
    return Cage("stand_in", [hoop, *branches])


CAGE = hoop_cage()
GUSSET = GussetSpec(thickness=3, material="s235", folding=BRAKE)
FLOOR = ((-300.0, 20.0), (-60.0, -3.0), (60.0, -3.0), (72.0, 80.0), (160.0, 80.0))
PLACE = np.array([[0.6, 0, 0.8, 700], [0, 1, 0, 520], [-0.8, 0, 0.6, -60], [0, 0, 0, 1.0]])


def corner(branch, way):
    (joint,) = joints_at(CAGE, TubeEnd(tube=branch, end="a"), "test")
    return Corner.of(CAGE, joint, way)


def plates():
    spec = FloorPlateSpec(thickness=3, material="s235", length=150, width=260, folding=BRAKE)
    foot = replace(Foot.square(45, member="main_hoop"), profile=FLOOR, frame=PLACE, sheet=1.2)
    folded = replace(spec, style="folded", backing=3.0, front=(40.0, radians(50)))
    out = [*floor_plate("foot_flat", foot, spec), *floor_plate("foot_folded", foot, folded)]
    out += [flat_gusset("flat_brace", corner("brace_left", "a"), GUSSET)]
    out += [flat_gusset("flat_stay", corner("stay", "b"), GUSSET)]
    out += [folded_gusset(f"saddle_{w}", corner("brace_left", w), GUSSET) for w in "ab"]
    tab = TabSpec(thickness=5, material="s235", hole=11.5, reach=32, width=56, ear=20)
    hoop = CAGE.member("main_hoop")
    out += tabs("tab", "main_hoop", hoop.path, 22.5, 300.0, tab, (-1.0, 0.0, 0.0))
    out.append(
        Plate(
            id="zed",
            kind="test",
            thickness=4,
            material="s235",
            outline=Outline.rectangle(200, 60, 5),
            holes=(
                Hole.circle((63, -11), 9),
                Hole.circle((85, 10), 6),
                Hole.slot((-60, 0), (-40, 0), 8),
            ),
            folds=(
                Fold.along((0, -30), (0, 30), radians(70), 5),
                Fold.along((45, -30), (45, 30), radians(-120), 5),
            ),
            base=(-50, 0),
            placement=PLACE,
        )
    )
    return out + [p.mirrored(f"{p.id}_other") for p in out[-2:]]


@pytest.mark.parametrize("plate", plates(), ids=lambda p: p.id)
def test_every_plate_is_one_sound_solid_of_its_volume(plate):
    shape = kernel.to_shape(plate_record(plate))
    assert kernel.is_valid(shape)
    assert kernel.count_solids(shape) == 1
    assert kernel.volume(shape) == pytest.approx(plate.volume, rel=1e-6)
    drawn = plate_drawing(plate, CutOptions(process="laser", pilot=False))
    if not plate.folds:
        # what is cut, times the thickness, is the solid
        assert cut_area(drawn) * plate.thickness == pytest.approx(kernel.volume(shape), rel=1e-6)
    else:
        # the folded model differs from the blank by what k implies, and by nothing else
        extra = sum(
            abs(f.angle) * plate.thickness**2 * (0.5 - f.k) * abs(b.loop.area) / b.width
            for f, b in zip(plate.folds, plate.bends, strict=True)
        )
        blank = cut_area(drawn) * plate.thickness
        assert kernel.volume(shape) - blank == pytest.approx(extra, rel=1e-4, abs=1e-3)


def test_flat_holes_are_found_folded_in_the_solid():
    """The kernel's own cylinders of the bores: axis through where the flat holes fold to."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_Cylinder
    from OCP.TopAbs import TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    plate = next(p for p in plates() if p.id == "zed")
    walk = TopExp_Explorer(kernel.to_shape(plate_record(plate)), TopAbs_FACE)
    bores = []
    while walk.More():
        surface = BRepAdaptor_Surface(TopoDS.Face_s(walk.Current()))
        if surface.GetType() == GeomAbs_Cylinder:
            c = surface.Cylinder()
            at, d = c.Location(), c.Axis().Direction()
            bores.append(
                (c.Radius(), np.array([at.X(), at.Y(), at.Z()]), np.array([d.X(), d.Y(), d.Z()]))
            )
        walk.Next()
    for hole in plate.holes[:2]:
        ends = [plate.car_points([hole.centre], z)[0] for z in (0.0, -plate.thickness)]
        near = [
            b
            for b in bores
            if abs(b[0] - hole.diameter / 2) < 1e-9
            and all(np.linalg.norm(np.cross(e - b[1], b[2])) < 1e-6 for e in ends)
        ]
        assert near, f"no bore of {hole.diameter} mm where the hole folds to"


def common(a, b):
    """Volume that two plates share, mm3."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Common

    shared = BRepAlgoAPI_Common(*(kernel.to_shape(plate_record(p)) for p in (a, b)))
    return kernel.volume(shared.Shape())


def test_the_plates_of_a_box_fit_into_each_other():
    spec = BoxSpec(length=120, width=100, height=60, top=4, wall=3, base=5, material="s235")
    for a, b in combinations(box("b", PLACE, spec), 2):
        assert common(a, b) == pytest.approx(0, abs=1e-6)


def test_a_saddle_clears_both_tubes():
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Common
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    c = corner("brace_left", "a")
    saddle = kernel.to_shape(plate_record(folded_gusset("saddle", c, GUSSET)))
    for path, radius in ((c.parent_path, c.parent_radius), (c.branch_path, c.branch_radius)):
        first = path.pieces[0]
        axis = gp_Ax2(gp_Pnt(*first.start), gp_Dir(*first.direction))
        tube = BRepPrimAPI_MakeCylinder(axis, radius, first.length).Shape()
        assert kernel.volume(BRepAlgoAPI_Common(saddle, tube).Shape()) == pytest.approx(0, abs=1e-6)

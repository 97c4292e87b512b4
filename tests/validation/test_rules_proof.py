"""Every rule of every shipped rulebook: a build that passes it and a mutated one that does not.

The builds are the demo builds with one input changed (a thinner tube, a steeper brace, a smaller
plate). Where no input can break a rule (a hoop cut in two), the made cage is changed instead.
The limits are those of the profiles; what is measured must cross them.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass
from dataclasses import replace as with_fields
from functools import cache
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import members_only
from cagekit.cage.cage import Cage
from cagekit.cage.door import SwingJoint
from cagekit.cage.kept import Kept
from cagekit.cage.member import End, Member
from cagekit.cage.plate import Hole, HolePurpose, Pin, Plate
from cagekit.checks.engine import evaluate_rule
from cagekit.checks.finding import Status
from cagekit.checks.profile import GENERAL, Rule, load_profile
from cagekit.checks.quantities.quantity import quantities
from cagekit.checks.quantities.survey import Survey
from cagekit.design import Design
from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.outline import Outline
from cagekit.inputs.build import Build, BuildFile
from cagekit.inputs.car import Car
from cagekit.inputs.driver import Driver
from cagekit.inputs.presets import find_preset, read_toml
from cagekit.inputs.resolve import resolve
from cagekit.inputs.tooling import Tooling
from cagekit.materials.pins import pin_size
from cagekit.plates.feet import plates_for

PROFILES = (
    "fia-253", "motorsport-uk", "nhra", "scca-gcr", "nasa-ccr", "formula-sae", "common-practice",
)  # fmt: skip
HATCH = "gravel-hatch"
PLAIN, COUPE, WAGON, ROADSTER = (
    f"{name} without the plates that its build file adds"
    for name in ("gravel-hatch", "hillclimb-coupe", "sprint-wagon", "track-roadster")
)

Mutation = Callable[[Cage], Cage]


@dataclass(frozen=True)
class Scene:
    """A demo build with inputs changed, and perhaps the made cage."""

    demo: str
    inputs: tuple[tuple[str, Any], ...] = ()
    after: Mutation | None = None

    def survey(self) -> Survey:
        return surveyed(self.demo, repr(self.inputs), self.after)


def scene(demo: str, after: Mutation | None = None, /, **inputs: Any) -> Scene:
    """``inputs`` are dotted places with ``__`` for the dot: ``build__tube``, ``car__mass``."""
    _INPUTS[repr(tuple(inputs.items()))] = tuple(inputs.items())
    return Scene(demo, tuple(inputs.items()), after)


@cache
def surveyed(demo: str, key: str, after: Mutation | None) -> Survey:
    build, cage = made(demo, key)
    return Survey(Design(build, cage=after(cage) if after else cage))


_INPUTS: dict[str, tuple[tuple[str, Any], ...]] = {}


@cache
def made(demo: str, key: str) -> tuple[Build, Cage]:
    changes = _INPUTS[key]
    name, _, bare = demo.partition(" ")
    path = find_preset("build", name)
    data = copy.deepcopy(read_toml(path)[0])
    if bare:
        data["plate"] = []
    _change(data, changes, "build")
    file = BuildFile.model_validate(data, context={"units": data.get("units", "mm")})
    build = resolve(file, path)
    car = _sheet("car", file.car, Car, changes)
    tooling = _sheet("tooling", file.tooling, Tooling, changes)
    drivers = tuple(_sheet("driver", d, Driver, changes) for d in file.drivers)
    build = replace(build, car=car, tooling=tooling, drivers=drivers)
    tubes = repr(tuple(c for c in changes if c[0] != "build__plate"))
    if tubes not in _TUBES.setdefault(demo, {}):
        _TUBES[demo][tubes] = members_only(build, KEPT)
    cage = _TUBES[demo][tubes]
    return build, cage.replace(plates=(*plates_for(build, cage), *cage.plates))


_TUBES: dict[str, dict[str, Cage]] = {}
KEPT = Kept()
"""What scenes have in common is worked out once."""


def _sheet(kind: str, name: str, model: Any, changes: tuple[tuple[str, Any], ...]) -> Any:
    data = copy.deepcopy(read_toml(find_preset(kind, name))[0])
    _change(data, changes, kind)
    return model.model_validate(data, context={"units": data.get("units", "mm")})


def _change(data: dict[str, Any], changes: tuple[tuple[str, Any], ...], kind: str) -> None:
    for place, value in changes:
        first, *steps = place.split("__")
        if first != kind:
            continue
        here: Any = data
        for step in steps[:-1]:
            here = here[int(step)] if isinstance(here, list) else here.setdefault(step, {})
        if isinstance(here, list):
            here[int(steps[-1])] = value
        elif steps[-1] in ("plate", "add", "strut") and steps[-1] in here:
            here[steps[-1]] = [*here[steps[-1]], *value]
        else:
            here[steps[-1]] = value


# --- changes of the made cage, where no input breaks the rule ----------------------------------


def _members(change: Callable[[Member], Member | tuple[Member, ...]]) -> Mutation:
    def after(cage: Cage) -> Cage:
        out: list[Member] = []
        for m in cage.members.values():
            new = change(m)
            out += new if isinstance(new, tuple) else [new]
        return Cage(cage.name, out, plates=cage.plates, kept=KEPT)

    return after


def sleeved(
    tube: str = "rear_brace_left", /, *, after: Mutation | None = None, **fields: Any
) -> Scene:
    """The coupe with one bolted sleeve."""
    joint = {"at": f"on {tube} at fraction 0.35", **fields}
    return scene(COUPE, after, build__joint=[joint])


def clevised(tube: str = "rear_brace_left", /, **fields: Any) -> Scene:
    """The coupe with one clevis."""
    return sleeved(tube, kind="clevis", **fields)


def _sleeves(**sizes: Any) -> Mutation:
    """Sleeves with other sizes than can be bought or asked for."""

    def after(cage: Cage) -> Cage:
        tubes = [
            replace(t, joints=tuple(replace(j, **sizes) for j in t.joints)) for t in cage.bolted
        ]
        return Cage(cage.name, cage.members.values(), plates=cage.plates, bolted=tubes, kept=KEPT)

    return after


soft_bolts = _sleeves(grade="grade-2")
thin_bolts = _sleeves(size=replace(pin_size("M8"), diameter=5.0))


def as_hoop(cage: Cage) -> Cage:
    """A sleeve in a tube that is a lateral hoop."""
    pieces = {p for t in cage.bolted for p in t.pieces}
    members = [
        with_fields(m, role="lateral_hoop") if m.id in pieces else m for m in cage.members.values()
    ]
    return Cage(cage.name, members, plates=cage.plates, bolted=cage.bolted, kept=KEPT)


def cut_in_two(name: str) -> Mutation:
    """A tube with a butt joint in its middle."""

    def change(m: Member) -> Member | tuple[Member, ...]:
        if m.id != name:
            return m
        one, two = m.path.split(m.path.length / 2)
        first = with_fields(m, id=f"{name}_1", path=one, b=End())
        return first, with_fields(m, id=f"{name}_2", path=two, a=End())

    return _members(change)


def steel(role: str, material: str, od: float = 0.0, wall: float = 0.0) -> Mutation:
    """Another steel (and size) for one role, or for every tube."""

    def change(m: Member) -> Member:
        if role and m.role != role:
            return m
        tube = with_fields(m.tube, material=material, od=od or m.tube.od, wall=wall or m.tube.wall)
        return with_fields(m, tube=tube)

    return _members(change)


def roles(**new: str) -> Mutation:
    """Other roles for members."""
    return _members(lambda m: with_fields(m, role=new.get(m.role, m.role)))


def both(*mutations: Mutation) -> Mutation:
    def after(cage: Cage) -> Cage:
        for m in mutations:
            cage = m(cage)
        return cage

    return after


def in_the_air(name: str, end: str) -> Mutation:
    """A tube's end that stands on nothing."""
    return _members(lambda m: with_fields(m, **{end: End()}) if m.id == name else m)


def stub(name: str, length: float) -> Mutation:
    """A tube cut down to its first ``length`` mm."""
    return _members(
        lambda m: with_fields(m, path=m.path.part(0.0, length), b=End()) if m.id == name else m
    )


def twisted(name: str) -> Mutation:
    """A hoop bent out of its plane: one top corner 30 mm forward."""

    def change(m: Member) -> Member:
        if m.id != name:
            return m
        corners = m.path.corners().copy()
        corners[2, 0] += 30.0
        radii = [q.radius for q in m.path.bends]
        return with_fields(m, path=CentreLine.from_polyline(corners, radii))

    return _members(change)


def plates(change: Callable[[Plate], Plate]) -> Mutation:
    return lambda cage: cage.replace(plates=[change(p) for p in cage.plates])


def bolts(**new: Any) -> Mutation:
    """Other bolts in every plate."""
    return plates(lambda p: with_fields(p, bolts=tuple(replace(b, **new) for b in p.bolts)))


def kinked(name: str, aside: float = 25.0) -> Mutation:
    """A hoop with one bend more in its first leg."""

    def change(m: Member) -> Member:
        if m.id != name:
            return m
        c = m.path.corners()
        between = 0.5 * (c[0] + c[1]) + np.array([aside, 15.0, 0.0])
        corners = np.vstack([c[:1], between[None], c[1:]])
        radii = [120.0, *(q.radius for q in m.path.bends)]
        return with_fields(m, path=CentreLine.from_polyline(corners, radii))

    return _members(change)


def one_bolt(role: str) -> Mutation:
    """Feet of a role held by a single bolt."""
    return plates(
        lambda p: with_fields(p, bolts=p.bolts[:1]) if any(role in e for e in p.ends) else p
    )


def hung(
    thickness: float = 6.5,
    pin: float = 10.0,
    planes: int = 2,
    width: float = 60.0,
    back: float = 90.0,
) -> Mutation:
    """A hinge bracket on the left door bar: a flat ear with one pin, ``back`` mm off the hoop."""

    def after(cage: Cage) -> Cage:
        hoop, bar = cage.members["main_hoop"], cage.members["door_bar_left"]
        spot = bar.path.nearest(hoop.path.nearest(bar.path.start).point)
        place = np.eye(4)
        place[:3, 3] = spot.point + np.array([back, 0.0, 0.0])
        half = width / 2
        ear = Plate(
            id="hinge_bracket_left",
            kind="hinge_bracket",
            thickness=thickness,
            material="a36",
            outline=Outline.polygon([(-half, -half), (half, -half), (half, half), (-half, half)]),
            holes=(Hole.circle((0.0, 0.0), pin + 0.3, HolePurpose.PIN),),
            pins=(Pin(hole=0, diameter=pin, shear_planes=planes, load=(1.0, 0.0)),),
            placement=place,
            members=("door_bar_left",),
        )
        return cage.replace(plates=[*cage.plates, ear])

    return after


def more_legs(n: int) -> Mutation:
    """So many further rear braces."""

    def after(cage: Cage) -> Cage:
        leg = cage.members["rear_brace_left"]
        more = [with_fields(leg, id=f"rear_brace_left_{i}") for i in range(n)]
        return Cage(cage.name, [*cage.members.values(), *more], plates=cage.plates, kept=KEPT)

    return after


def brackets(**fields: Any) -> Mutation:
    """Brackets of other sizes at every joint of the swing-out bars."""

    def sized(joint: SwingJoint) -> SwingJoint:
        return replace(joint, spec=replace(joint.spec, **fields))

    def after(cage: Cage) -> Cage:
        doors = [replace(d, hinge=sized(d.hinge), latch=sized(d.latch)) for d in cage.doors]
        return Cage(cage.name, cage.members.values(), plates=cage.plates, doors=doors, kept=KEPT)

    return after


def tube_gusset(along: float, **fields: Any) -> list[dict[str, Any]]:
    """A short tube in the corner of left rear brace and main hoop."""
    return [
        {
            "kind": "tube_gusset",
            "id": "tube_gusset_left",
            "side": "left",
            "from": f"on rear_brace_left at station {along}",
            "to": "on main_hoop.left at height 780",
            **fields,
        }
    ]


# --- plates by input ---------------------------------------------------------------------------


def floor(at: str = "feet", **fields: Any) -> list[dict[str, Any]]:
    return [{"kind": "floor_plate", "at": at, **fields}]


def gusset(at: str, **fields: Any) -> list[dict[str, Any]]:
    return [{"kind": "gusset", "at": at, **fields}]


def bolted(**fields: Any) -> list[dict[str, Any]]:
    return floor(fix="bolted", **{"length": 150, "width": 150, "thickness": 5, **fields})


Proof = tuple[Scene, Scene]
"""A scene that passes and one that does not."""

SWUNG = scene(
    PLAIN, build__members__door_bar__style="single", build__members__door_bar__swing_out=True
)
_DOOR_LOW = [[110, 0], [960, 0], [1000, 300], [900, 560], [180, 580]]
_STRUT = {"kind": "strut", "id": "door_strut_left", "side": "left", "role": "door_strut"}
_SMALL = [
    {**_STRUT, "from": "on front_hoop.left at height 800", "to": "on roof_rail_left at x 520"}
]
_LONG = [{**_STRUT, "from": "on front_hoop.left at height 620", "to": "on roof_rail_left at x 100"}]
_TALL = [{**_STRUT, "from": "on front_hoop.left at height 400", "to": "on roof_rail_left at x 300"}]

BY_QUANTITY: dict[str, Proof] = {
    # tubes
    "tube_process": (scene(PLAIN), scene(PLAIN, build__tubes__door_bar="dom-1.625x0.134")),
    "steel_family": (scene(PLAIN), scene(PLAIN, build__tubes__door_bar="4130-1.625x0.083")),
    "steel_tensile": (scene(PLAIN), scene(PLAIN, steel("harness_bar", "e235-a"))),
    "steel_yield": (scene(PLAIN), scene(PLAIN, steel("door_bar", "e235-n"))),
    "bend_radius_over_od": (scene(PLAIN), scene(PLAIN, build__members__main_hoop__bend_radius=120)),
    "bend_roundness": (
        scene(PLAIN),
        scene(
            PLAIN,
            tooling__die__0__min_over_max_od=0.85,
            tooling__die__1__min_over_max_od=0.85,
            tooling__die__2__min_over_max_od=0.85,
            tooling__die__3__min_over_max_od=0.85,
        ),
    ),
    "pieces": (scene(PLAIN), scene(PLAIN, cut_in_two("main_hoop"))),
    "beyond_suspension": (scene(WAGON), scene(WAGON, car__suspension_x=[-20, 30])),
    # hoops
    "hoop_lean": (scene(PLAIN), scene(PLAIN, build__members__main_hoop__lean=12)),
    "hoop_out_of_plane": (scene(PLAIN), scene(PLAIN, twisted("main_hoop"))),
    "base_layout": (
        scene(PLAIN, car__engine_capacity=2500),
        scene(WAGON, car__engine_capacity=2500),
    ),
    "front_leg_bends": (
        scene(PLAIN, build__members__windscreen_brace__omit=True),
        scene(PLAIN, kinked("front_hoop"), build__members__windscreen_brace__omit=True),
    ),
    "leg_spacing": (scene(ROADSTER), scene(ROADSTER, car__side__main_foot__point=[0, 180, -60])),
    "hoop_share_over_door": (
        scene(ROADSTER),
        scene(
            ROADSTER,
            build__members__main_hoop__half_width_top=220,
            build__members__harness_bar__omit=True,
            build__members__hoop_diagonal__omit=True,
        ),
    ),
    "hoop_above_helmet": (scene(ROADSTER), scene(ROADSTER, build__members__main_hoop__height=840)),
    # braces
    "bars_each_side": (scene(COUPE), scene(COUPE, build__members__rear_brace_right__omit=True)),
    "rear_brace_angle": (scene(COUPE), scene(COUPE, car__side__rear_foot__point=[-330, 470, 268])),
    "rear_brace_hoop_angle": (
        scene(COUPE),
        scene(COUPE, car__side__rear_foot__point=[-330, 470, 268]),
    ),
    "rear_brace_drop": (scene(COUPE), scene(COUPE, build__members__rear_brace__drop=250)),
    "rear_brace_rearward": (
        scene(ROADSTER),
        scene(ROADSTER, car__side__rear_foot__point=[690, 420, 110]),
    ),
    "rear_brace_bends": (
        scene(COUPE),
        scene(COUPE, build__members__rear_brace__via=[[-400, 500, 700]]),
    ),
    "hoop_diagonals": (
        scene(COUPE, car__homologated=1999),
        scene(COUPE, roles(hoop_diagonal="strut"), car__homologated=1999),
    ),
    "hoop_diagonals_crossed": (
        scene(PLAIN),
        scene(
            PLAIN,
            build__members__hoop_diagonal__style="single",
            build__members__harness_bar__split_by=["hoop_diagonal"],
        ),
    ),
    "diagonal_one_piece_legs": (scene(PLAIN), scene(PLAIN, cut_in_two("hoop_diagonal"))),
    "diagonal_bends": (
        scene(WAGON),
        scene(
            WAGON,
            build__members__hoop_diagonal__via=[[-3, 4, 26]],
            build__members__harness_bar__split_by=[],
        ),
    ),
    "diagonal_foot_gap": (scene(WAGON), scene(WAGON, build__members__hoop_diagonal__rise=10)),
    "diagonal_brace_gap": (scene(WAGON), scene(WAGON, build__members__hoop_diagonal__drop=10)),
    "diagonal_corner_gap": (scene(WAGON), scene(WAGON, build__members__hoop_diagonal__drop=16)),
    "diagonal_from_driver_corner": (
        scene(WAGON),
        scene(WAGON, build__members__hoop_diagonal__upper="passenger"),
    ),
    "diagonal_out_of_plane": (
        scene(WAGON),
        scene(
            WAGON,
            build__members__hoop_diagonal__to="at -5, -22, 1",
            build__members__harness_bar__split_by=[],
        ),
    ),
    "harness_bar_out_of_plane": (
        scene(WAGON),
        scene(
            WAGON,
            build__members__harness_bar__via=[[-4, 0, 16]],
            build__members__harness_bar__split_by=[],
        ),
    ),
    # doors
    "door_bars_on_driver_side": (
        scene(PLAIN),
        scene(PLAIN, build__members__door_bar_left__omit=True),
    ),
    "door_bars_on_passenger_side": (
        scene(PLAIN),
        scene(PLAIN, build__members__door_bar_right__omit=True),
    ),
    "door_bars_identical": (
        scene(PLAIN),
        scene(PLAIN, build__members__door_bar_right__height_rear=300),
    ),
    "door_bar_pattern": (scene(PLAIN), scene(PLAIN, build__members__door_bar__style="single")),
    "door_bar_height_ratio": (
        scene(PLAIN),
        scene(PLAIN, build__members__door_bar__height_rear=640),
    ),
    "door_x_one_piece_legs": (scene(PLAIN), scene(PLAIN, cut_in_two("door_bar_left"))),
    "door_figure_a": (scene(PLAIN), scene(PLAIN, car__side__door__outline=_DOOR_LOW)),
    "door_figure_b": (scene(PLAIN, build__add=_SMALL), scene(PLAIN, build__add=_LONG)),
    "door_figure_c": (scene(PLAIN, build__add=_SMALL), scene(PLAIN, build__add=_TALL)),
    "door_figure_e": (scene(PLAIN), scene(PLAIN, build__members__door_bar__height_rear=640)),
    # roof and pillar
    "roof_pattern": (scene(PLAIN), scene(PLAIN, build__members__roof_diagonal__style="single")),
    "roof_bars": (
        scene(COUPE, car__homologated=2006),
        scene(COUPE, car__homologated=2006, build__members__roof_diagonal__omit=True),
    ),
    "roof_front_on_driver_side": (
        scene(
            COUPE,
            build__members__roof_diagonal__from="on main_hoop.right at top bend inboard 60",
            build__members__roof_diagonal__to="on half_hoop_left at top bend back 60",
        ),
        scene(
            COUPE,
            build__members__roof_diagonal__from="on main_hoop.left at top bend inboard 60",
            build__members__roof_diagonal__to="on half_hoop_right at top bend back 60",
        ),
    ),
    "roof_end_gap": (scene(PLAIN), scene(PLAIN, build__members__roof_diagonal__inset=170)),
    "roof_apex_gap": (
        scene(PLAIN, build__members__roof_diagonal__style="v"),
        scene(
            PLAIN,
            build__members__roof_diagonal__omit=True,
            build__strut=[
                {
                    "id": f"roof_{side}",
                    "role": "roof_diagonal",
                    "from": f"on main_hoop at y {y}",
                    "to": f"on front_hoop.{side} at top bend inboard 60",
                }
                for side, y in (("left", 110), ("right", -110))
            ],
        ),
    ),
    "front_leg_bow": (
        scene(COUPE, car__homologated=2006, car__side__pillar__base=[1420, 668, 560]),
        scene(COUPE, car__homologated=2006),
    ),
    "side_view_turn": (
        scene(PLAIN),
        scene(PLAIN, build__members__windscreen_brace__via=[[1050, 600, 640]]),
    ),
    "pillar_brace_upper_gap": (
        scene(PLAIN),
        scene(PLAIN, build__members__windscreen_brace__from="on roof_rail_{side} at station 260"),
    ),
    "pillar_brace_lower_gap": (
        scene(PLAIN),
        scene(PLAIN, build__members__windscreen_brace__to="on front_hoop.{side} at height 300"),
    ),
    "front_bar_over_dash": (scene(PLAIN), scene(PLAIN, build__members__dash_bar__height=640)),
    "front_bar_over_column": (scene(PLAIN), scene(PLAIN, build__members__dash_bar__height=150)),
    # gussets
    "gussets_at_pillar_brace": (
        scene(
            PLAIN,
            build__members__door_bar__front_member="windscreen_brace_{side}",
            build__members__door_bar__style="single",
            build__plate=[
                *gusset("door_bar_left end b", way="both"),
                *gusset("door_bar_right end b", way="both"),
            ],
        ),
        scene(
            PLAIN,
            build__members__door_bar__front_member="windscreen_brace_{side}",
            build__members__door_bar__style="single",
        ),
    ),
    "gusset_reach_over_od": (
        scene(
            PLAIN, build__plate=gusset("rear_brace_left end a", along_branch=80, along_parent=80)
        ),
        scene(
            PLAIN, build__plate=gusset("rear_brace_left end a", along_branch=45, along_parent=45)
        ),
    ),
    "gusset_reach": (
        scene(WAGON, build__plate=gusset("sill_bar_left end a", along_branch=3, along_parent=3)),
        scene(
            WAGON, build__plate=gusset("sill_bar_left end a", along_branch=1.2, along_parent=1.2)
        ),
    ),
    "gusset_hole_over_od": (
        scene(PLAIN, build__plate=gusset("rear_brace_left end a", hole=14)),
        scene(
            PLAIN,
            build__plate=gusset(
                "rear_brace_left end a", along_branch=140, along_parent=140, hole=46
            ),
        ),
    ),
    "tube_gusset_share": (
        scene(PLAIN, build__add=tube_gusset(180)),
        scene(PLAIN, build__add=tube_gusset(640)),
    ),
    # feet
    "plates_at_foot": (scene(PLAIN), scene(PLAIN, build__plate=floor("main_hoop", omit=True))),
    "plate_area": (scene(PLAIN), scene(PLAIN, build__plate=floor(length=70, width=70))),
    "plate_contact_area": (scene(PLAIN), scene(PLAIN, build__plate=floor(length=90, width=100))),
    "plate_thickness": (scene(PLAIN), scene(PLAIN, build__plate=floor(thickness=1.5))),
    "welded_plate_thickness": (scene(PLAIN), scene(PLAIN, build__plate=floor(thickness=1.5))),
    "bolted_plate_thickness": (
        scene(PLAIN, build__plate=bolted()),
        scene(PLAIN, build__plate=bolted(thickness=3)),
    ),
    "bolted_plate_over_wall": (
        scene(PLAIN, build__plate=bolted()),
        scene(PLAIN, build__plate=bolted(thickness=1.5)),
    ),
    "plate_longest_side": (scene(PLAIN), scene(PLAIN, build__plate=floor(length=400))),
    "plate_shortest_side": (scene(PLAIN), scene(PLAIN, build__plate=floor("rear_brace", width=48))),
    "plate_planes": (
        scene(
            PLAIN,
            build__plate=[
                *floor("main_foot", style="folded", width=200, shift=[0, 30]),
                *floor("front_foot", style="folded", width=200, shift=[0, 30]),
            ],
        ),
        scene(PLAIN),
    ),
    "backing_plates": (
        scene(PLAIN, build__plate=bolted()),
        scene(PLAIN, build__plate=bolted(backing=False)),
    ),
    "backing_plate_thickness_share": (
        scene(PLAIN, build__plate=bolted()),
        scene(PLAIN, build__plate=bolted(backing_thickness=3)),
    ),
    "bolt_count": (scene(PLAIN, build__plate=bolted()), scene(PLAIN, build__plate=bolted(bolts=2))),
    "bolt_diameter": (
        scene(PLAIN, build__plate=bolted()),
        scene(PLAIN, build__plate=bolted(bolt_size="5/16-18", bolt_grade="grade-5")),
    ),
    "bolt_tensile": (
        scene(PLAIN, build__plate=bolted()),
        scene(PLAIN, bolts(grade="5.8"), build__plate=bolted()),
    ),
    "bolt_spread": (
        scene(PLAIN, build__plate=bolted()),
        scene(PLAIN, build__plate=bolted(bolts=8)),
    ),
    "brace_bolt_section_share": (
        scene(PLAIN, build__plate=bolted()),
        scene(PLAIN, build__plate=[*bolted(), *floor("rear_brace", bolts=2)]),
    ),
}
"""Proof for every rule of a quantity, unless the rule has its own below."""

_LATERAL = roles(half_hoop="lateral_hoop", header_bar="rear_header_bar")

BY_CODE: dict[str, Proof] = {
    "fia-253/free-build-closed": (scene(PLAIN), scene(PLAIN, car__homologated=2022)),
    "fia-253/size-main": (scene(PLAIN), scene(PLAIN, build__tubes__main_hoop="cds-40x2.0")),
    "fia-253/size-rear-transverse": (
        scene(COUPE, both(_LATERAL, steel("rear_header_bar", "e355-n", 45.0, 2.5))),
        scene(COUPE, _LATERAL),
    ),
    "fia-253/size-others": (scene(PLAIN), scene(PLAIN, build__tubes__door_bar="dom-1.5x0.095")),
    "fia-253/six-feet": (scene(PLAIN), scene(ROADSTER)),
    "fia-253/mountings-pillars": (scene(PLAIN), scene(PLAIN, in_the_air("main_hoop", "a"))),
    "fia-253/mountings-backstays": (
        scene(PLAIN),
        scene(PLAIN, build__members__rear_brace_left__to="at -700, 480, 360"),
    ),
    "fia-253/pillar-brace-bend": (
        scene(PLAIN),
        scene(PLAIN, build__members__windscreen_brace__via=[[1060, 420, 700]]),
    ),
    "fia-253/gussets-hoop-x": (scene(HATCH), scene(PLAIN)),
    "fia-253/gussets-door-x": (scene(HATCH), scene(PLAIN)),
    "fia-253/gussets-roof-x": (scene(HATCH), scene(PLAIN)),
    "fia-253/gusset-thickness": (
        scene(PLAIN, build__plate=gusset("rear_brace_left end a", thickness=2)),
        scene(PLAIN, build__plate=gusset("rear_brace_left end a", thickness=0.8)),
    ),
    "fia-253/plate-area-backstay": (
        scene(PLAIN),
        scene(PLAIN, build__plate=floor("rear_brace", length=70, width=70)),
    ),
    "fia-253/bolts-backstay": (
        scene(PLAIN, build__plate=bolted()),
        scene(PLAIN, one_bolt("rear_brace"), build__plate=bolted()),
    ),
    # ---
    "motorsport-uk/size-mandatory": (scene(PLAIN, build__tube="cds-45x2.5"), scene(PLAIN)),
    "motorsport-uk/size-optional": (
        scene(PLAIN),
        scene(PLAIN, steel("door_bar", "e355-n", 35.0, 2.5)),
    ),
    "motorsport-uk/harness-bar-size": (
        scene(PLAIN),
        scene(PLAIN, steel("harness_bar", "e355-n", 35.0, 2.5)),
    ),
    "motorsport-uk/padding-helmet": (
        scene(ROADSTER),
        scene(ROADSTER, build__padding=[]),
    ),
    "motorsport-uk/mounting-count": (scene(PLAIN), scene(PLAIN, more_legs(9))),
    "motorsport-uk/bolts-backstay": (
        scene(PLAIN, build__plate=bolted()),
        scene(PLAIN, one_bolt("rear_brace"), build__plate=bolted()),
    ),
    # ---
    "nhra/bar-enough": (
        scene(ROADSTER, car__quarter_mile_time=12.0),
        scene(ROADSTER, car__quarter_mile_time=9.5),
    ),
    "nhra/bar-unaltered": (
        scene(ROADSTER, car__quarter_mile_time=12.0),
        scene(ROADSTER, car__quarter_mile_time=10.5),
    ),
    "nhra/bar-size-mild": (
        scene(ROADSTER, steel("", "1020-dom", 44.45, 3.05)),
        scene(ROADSTER, steel("", "1020-dom", 44.45, 2.4)),
    ),
    "nhra/bar-size-4130": (
        scene(ROADSTER, steel("main_hoop", "4130-n", 44.45, 2.11)),
        scene(ROADSTER, steel("main_hoop", "4130-n", 41.3, 2.11)),
    ),
    "nhra/bar-braces-like-hoop": (
        scene(ROADSTER),
        scene(ROADSTER, build__tubes__rear_brace="cds-40x2.0"),
    ),
    "fia-253/belt-angle": (
        scene(COUPE),
        scene(COUPE, build__members__harness_bar__height=300),
    ),
    "nhra/hoop-to-head": (
        scene(COUPE, car__seats__0__hip=[310, 335, 4]),
        scene(COUPE, car__seats__0__hip=[440, 335, 4]),
    ),
    "nhra/hoop-width": (
        scene(
            ROADSTER,
            build__members__main_hoop__half_width_top=611,
            car__side__door__y_inner=720,
            car__side__door__y_trim=735,
        ),
        scene(
            ROADSTER,
            build__members__main_hoop__half_width_top=611,
            car__side__door__y_inner=720,
            car__side__door__y_trim=735,
            driver__body__shoulder_breadth=1250,
        ),
    ),
    "nhra/side-bar-at-arm": (
        scene(WAGON),
        scene(
            PLAIN,
            build__members__door_bar__style="single",
            build__members__door_bar__height_rear=530,
        ),
    ),
    "nhra/harness-bar": (scene(WAGON), scene(WAGON, build__members__harness_bar__omit=True)),
    "nhra/harness-bar-drop": (
        scene(WAGON, build__members__harness_bar__height=18.25),
        scene(WAGON, build__members__harness_bar__height=12),
    ),
    "nhra/plate-size": (scene(PLAIN, build__plate=floor(length=160, width=160)), scene(PLAIN)),
    "nhra/plate-thickness": (scene(PLAIN, build__plate=floor(thickness=4)), scene(PLAIN)),
    "nhra/wall-check": (scene(WAGON), scene(PLAIN)),
    "nhra/cage-size-mild": (scene(WAGON), scene(WAGON, build__tubes__door_bar="dom-1.5x0.120")),
    "nhra/cage-size-4130": (
        scene(WAGON, build__tubes__door_bar="4130-1.625x0.083"),
        scene(WAGON, steel("door_bar", "4130-n", 38.1, 2.11)),
    ),
    "nhra/cage-size-minor-mild": (
        scene(WAGON),
        scene(WAGON, build__tubes__harness_bar="dom-1.5x0.095"),
    ),
    "nhra/cage-size-minor-4130": (
        scene(WAGON, build__tubes__harness_bar="4130-1.625x0.083"),
        scene(WAGON, steel("harness_bar", "4130-n", 30.0, 1.2)),
    ),
    "nhra/helmet-ahead": (scene(WAGON), scene(WAGON, car__seats__0__hip=[9, 13, 2])),
    "nhra/sill-bar": (scene(WAGON), scene(WAGON, build__members__sill_bar_left__omit=True)),
    "nhra/sill-bar-diameter": (scene(WAGON), scene(WAGON, build__tubes__sill_bar="dom-1.5x0.120")),
    "nhra/sill-bar-wall-mild": (scene(WAGON), scene(WAGON, build__tubes__sill_bar="dom-1.5x0.095")),
    "nhra/sill-bar-wall-4130": (
        scene(WAGON, build__tubes__sill_bar="4130-1.625x0.083"),
        scene(WAGON, steel("sill_bar", "4130-n", 41.275, 1.6)),
    ),
    "nhra/dash-bar-mild": (
        scene(WAGON, build__members__dash_bar__omit=False, car__quarter_mile_time=11.0),
        scene(
            WAGON,
            build__members__dash_bar__omit=False,
            car__quarter_mile_time=11.0,
            build__tubes__dash_bar="dom-1.5x0.095",
        ),
    ),
    "nhra/dash-bar-4130": (
        scene(
            WAGON,
            steel("dash_bar", "4130-n", 38.1, 1.5),
            build__members__dash_bar__omit=False,
            car__quarter_mile_time=11.0,
        ),
        scene(
            WAGON,
            steel("dash_bar", "4130-n", 30.0, 1.2),
            build__members__dash_bar__omit=False,
            car__quarter_mile_time=11.0,
        ),
    ),
    "nhra/gusset-thickness": (
        scene(PLAIN, build__plate=gusset("rear_brace_left end a", thickness=3)),
        scene(PLAIN, build__plate=gusset("rear_brace_left end a", thickness=2)),
    ),
    "nhra/tube-gusset-mild": (
        scene(PLAIN, build__add=tube_gusset(180, tube="dom-1.5x0.120")),
        scene(PLAIN, build__add=tube_gusset(180)),
    ),
    "nhra/tube-gusset-4130": (
        scene(PLAIN, build__add=tube_gusset(180, tube="4130-1.625x0.083")),
        scene(PLAIN, steel("tube_gusset", "4130-n", 15.0, 1.0), build__add=tube_gusset(180)),
    ),
    "nhra/tube-gusset-length": (
        scene(PLAIN, build__add=tube_gusset(180)),
        scene(PLAIN, stub("tube_gusset_left", 90.0), build__add=tube_gusset(180)),
    ),
    "nhra/swing-out-time": (
        scene(WAGON, car__quarter_mile_time=11.0),
        scene(WAGON, car__quarter_mile_time=8.0),
    ),
    "nhra/swing-pin": (scene(WAGON), scene(WAGON, hung(pin=8.0))),
    "nhra/swing-shear": (scene(WAGON), scene(WAGON, hung(planes=1))),
    "nhra/swing-bracket": (scene(WAGON), scene(WAGON, hung(thickness=3.0, back=400.0))),
    "nhra/swing-pin-place": (scene(WAGON), scene(WAGON, hung(back=320.0))),
    "nhra/swing-hole-edge": (scene(WAGON), scene(WAGON, hung(width=26.0))),
    "nhra/swing-cup-wall": (
        scene(WAGON, brackets(cup=True, cup_wall=3.2)),
        scene(WAGON, brackets(cup=True, cup_wall=2.0)),
    ),
    "nhra/swing-cup-reach": (scene(WAGON), scene(WAGON, brackets(reach=30.0))),
    # ---
    "formula-sae/lug-thickness": (scene(WAGON), scene(WAGON, brackets(thickness=4.0))),
    "formula-sae/lug-width": (scene(WAGON), scene(WAGON, brackets(ear=12.0))),
    "formula-sae/pin": (scene(WAGON), scene(WAGON, hung(pin=8.0))),
    "formula-sae/sleeve-length": (sleeved(), sleeved(length=70.0, bolts=1)),
    "formula-sae/sleeve-wall": (sleeved(), sleeved(wall=1.5)),
    "formula-sae/sleeve-bolt": (sleeved(), sleeved(after=thin_bolts)),
    "formula-sae/joint-bolt-class": (sleeved(), sleeved(bolt_grade="8.8")),
    "formula-sae/joint-type": (clevised(), sleeved(kind="plug")),
    "formula-sae/clevis-lug": (clevised(), clevised(cheek=4.0)),
    "formula-sae/clevis-width": (clevised(), clevised(width=24.0)),
    "formula-sae/clevis-bolt": (clevised(), clevised(bolt_size="M8")),
    "fia-253/joint-hinges": (scene(PLAIN), SWUNG),
    "motorsport-uk/joint-hinges": (scene(PLAIN), SWUNG),
    "fia-253/joint-members": (sleeved("harness_bar_1"), clevised()),
    "fia-253/joint-bolts": (sleeved(bolt_grade="8.8"), sleeved(after=soft_bolts)),
    "motorsport-uk/joint-hoops": (sleeved(), sleeved(after=as_hoop)),
    "motorsport-uk/joint-bolts": (sleeved(bolt_grade="8.8"), sleeved(after=soft_bolts)),
    # ---
    "scca-gcr/size-to-1700": (
        scene(ROADSTER, car__mass=600),
        scene(ROADSTER, steel("harness_bar", "e355-n", 30.0, 2.0), car__mass=600),
    ),
    "scca-gcr/size-to-2699": (
        scene(ROADSTER),
        scene(ROADSTER, build__tubes__rear_brace="cds-40x2.0"),
    ),
    "scca-gcr/size-2700-up": (scene(WAGON), scene(WAGON, build__tubes__door_bar="dom-1.5x0.120")),
    "scca-gcr/no-erw": (scene(WAGON), scene(WAGON, build__tubes__door_bar="erw-1.75x0.120")),
    "scca-gcr/helmet-line": (
        scene(PLAIN),
        scene(PLAIN, build__drivers=["tall-driver"], driver__seated__helmet_top=[150, 340, 1090]),
    ),
    "scca-gcr/braces": (scene(COUPE), scene(COUPE, build__members__rear_brace_right__omit=True)),
    "scca-gcr/door-bars": (scene(PLAIN), scene(PLAIN, build__members__door_bar__style="single")),
    "scca-gcr/plate-area": (
        scene(PLAIN),
        scene(PLAIN, build__plate=floor(length=300, width=300)),
    ),
    "scca-gcr/plate-side": (scene(PLAIN), scene(PLAIN, build__plate=floor(length=330))),
    "scca-gcr/plate-too-thick": (scene(PLAIN), scene(PLAIN, build__plate=floor(thickness=8))),
    "scca-gcr/mounting-count": (scene(PLAIN), scene(PLAIN, more_legs(3))),
    "scca-gcr/gusset-count": (
        scene(PLAIN, build__plate=gusset("rear_brace_left end a", way="both")),
        scene(
            PLAIN,
            build__plate=[
                *gusset("rear_brace_left end a", way="both"),
                *gusset("rear_brace_left end a", id="third", along_branch=60, along_parent=60),
            ],
        ),
    ),
    "scca-gcr/solo-roll-bar": (
        scene(ROADSTER, steel("main_hoop", "1020-dom", 44.45, 2.42), car__class="solo"),
        scene(ROADSTER, steel("main_hoop", "1020-dom", 38.1, 2.42), car__class="solo"),
    ),
    "scca-gcr/rally-plate-area": (
        scene(PLAIN, car__class="rally", build__plate=floor(length=160, width=160)),
        scene(PLAIN, car__class="rally", build__plate=floor(length=70, width=70)),
    ),
    "scca-gcr/rally-plate-side": (
        scene(PLAIN, car__class="rally"),
        scene(PLAIN, car__class="rally", build__plate=floor("rear_brace", width=70)),
    ),
    "scca-gcr/rally-plate-welded": (
        scene(PLAIN, car__class="rally", build__plate=floor(thickness=4)),
        scene(PLAIN, car__class="rally"),
    ),
    "scca-gcr/gusset-thickness": (
        scene(PLAIN, build__plate=gusset("rear_brace_left end a", thickness=3)),
        scene(PLAIN, build__plate=gusset("rear_brace_left end a", thickness=4)),
    ),
    # ---
    "nasa-ccr/plate-area": (scene(PLAIN), scene(PLAIN, build__plate=floor(length=300, width=300))),
    "nasa-ccr/diagonal-one-piece": (scene(WAGON), scene(PLAIN)),
    "nasa-ccr/rally-plate-thickness": (
        scene(PLAIN, car__class="rally", build__plate=floor(thickness=4)),
        scene(PLAIN, car__class="rally"),
    ),
    "nasa-ccr/rally-plate-area": (
        scene(PLAIN, car__class="rally"),
        scene(PLAIN, car__class="rally", build__plate=floor(length=70, width=70)),
    ),
    "nasa-ccr/rally-plate-longest": (
        scene(PLAIN, car__class="rally"),
        scene(PLAIN, car__class="rally", build__plate=floor(length=400)),
    ),
    "nasa-ccr/rally-plate-shortest": (
        scene(PLAIN, car__class="rally"),
        scene(PLAIN, car__class="rally", build__plate=floor("rear_brace", width=60)),
    ),
    # ---
    "common-practice/tube-ten-point": (scene(WAGON), scene(PLAIN)),
    "common-practice/hoop-bends": (scene(PLAIN), scene(PLAIN, kinked("main_hoop"))),
    "common-practice/hoop-bend-sum": (scene(PLAIN), scene(PLAIN, kinked("main_hoop", 110.0))),
}
"""Proof for rules whose limit or condition asks for scenes of their own."""


def measured_rules() -> list[Rule]:
    return [r for name in PROFILES for r in load_profile(name).rules if r.measured]


def proof_of(rule: Rule) -> Proof:
    assert rule.quantity is not None
    found = BY_CODE.get(rule.code) or BY_QUANTITY.get(rule.quantity.name)
    assert found, f"{rule.code}: write a build that passes it and one that does not"
    return found


def statuses(rule: Rule, where: Scene) -> dict[str, Status]:
    survey = where.survey()
    found = list(evaluate_rule(rule, survey))
    for f in found:
        assert set(f.evidence.members) <= set(survey.cage.members)
        assert set(f.evidence.plates) <= {p.id for p in survey.plates}
    return {f"{f.subject}: {f.measured}": f.status for f in found}


RULES = measured_rules()


@pytest.mark.parametrize("rule", RULES, ids=lambda r: r.code)
def test_a_build_passes(rule: Rule) -> None:
    got = statuses(rule, proof_of(rule)[0])
    assert set(got.values()) == {Status.PASS}, got


@pytest.mark.parametrize("rule", RULES, ids=lambda r: r.code)
def test_a_mutated_build_does_not(rule: Rule) -> None:
    bad = Status.FAIL if rule.entry.level == "must" else Status.WARN
    got = statuses(rule, proof_of(rule)[1])
    assert bad in got.values(), got


STREETS = (
    scene(PLAIN, car__engine_capacity=1600, car__frame="frame"),
    scene(COUPE, car__engine_capacity=2500),
    scene(WAGON, build__tubes__door_bar="4130-1.625x0.083", car__quarter_mile_time=11.0),
    scene(WAGON, car__quarter_mile_time=7.2),
    scene(WAGON, car__quarter_mile_time=8.0),
    scene(ROADSTER),
)
"""Builds among which every rule that no model can answer has to show up."""


HARD = {
    "nhra/side-bar-at-arm": scene(
        WAGON, build__members__door_bar__height_rear=5, build__members__door_bar__height_front=4
    ),
    "scca-gcr/plate-area": scene(PLAIN, build__plate=floor(length=320, width=320)),
    "scca-gcr/plate-side": scene(PLAIN, build__plate=floor(length=400)),
    "fia-253/belt-angle": scene(WAGON, build__members__harness_bar__height=24),
}
"""For every rule of a rulebook that has a harder limit: a build that breaks it."""


@pytest.mark.parametrize("rule", [r for r in RULES if r.entry.hard], ids=lambda r: r.code)
def test_a_harder_limit_fails(rule: Rule) -> None:
    assert Status.FAIL in statuses(rule, HARD[rule.code]).values()


@pytest.mark.parametrize("name", PROFILES)
def test_no_rule_is_unreachable(name: str) -> None:
    open_rules = [r for r in load_profile(name).rules if not r.measured]
    surveys = [s.survey() for s in STREETS]
    for rule in open_rules:
        wanted = Status.NEEDS_INPUT if rule.entry.needs == "input" else Status.NEEDS_INSPECTION
        found = [f for s in surveys for f in evaluate_rule(rule, s)]
        got = [f for f in found if f.status is wanted]
        assert got, rule.code
        assert all(f.source and f.cure for f in got), rule.code


def test_every_proof_is_used() -> None:
    codes = {r.code for r in RULES}
    assert set(BY_CODE) <= codes
    own = {r.quantity.name for r in RULES if r.quantity and r.code not in BY_CODE}
    assert set(BY_QUANTITY) <= own


FOR_OWN_PROFILES = {"lean_from_vertical", "joint_count"}
"""Quantities that no shipped profile asks for, for people's own rules."""


def test_every_quantity_is_asked_for() -> None:
    books = (*PROFILES, *GENERAL)
    asked = {r.entry.quantity for name in books for r in load_profile(name).rules}
    known = set(quantities())
    facts = {
        c.name for name in PROFILES for r in load_profile(name).rules for c in (*r.when, *r.unless)
    }
    assert known - asked - facts == FOR_OWN_PROFILES

"""Every kind alone is the kind of the cage: one declaration, one default, one geometry.

Each tube of a cage is measured with a ruler, so to say: lengths between its nodes, angles to the
tubes that it meets. Typed after ``cagekit part`` they must make the same tube.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace as with_fields
from math import atan2, degrees
from typing import Any

import demos
import numpy as np
import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import members_only
from cagekit.cage.cage import Cage
from cagekit.cage.member import EndKind, EndName, Member
from cagekit.data import rows
from cagekit.geometry.centre_line import Vec, unit
from cagekit.inputs.build import spread
from cagekit.inputs.entries import (
    ENTRIES,
    DashBarEntry,
    MemberEntry,
    RockerBraceEntry,
    form_of,
)
from cagekit.inputs.layout import FOOT_PLATE
from cagekit.inputs.member_kinds import MEMBER_KINDS
from cagekit.inputs.places import OnTube
from cagekit.inputs.plate import (
    FloorPlateEntry,
    GussetEntry,
    OutriggerBoxEntry,
    TabEntry,
)
from cagekit.inputs.plate_presets import plate_preset
from cagekit.inputs.swing_bracket import SwingBracketEntry
from cagekit.inputs.swing_dims import BracketDims
from cagekit.materials.tubes import Tube
from cagekit.parts.kinds import part_kinds
from cagekit.parts.tubes import KINDS, Part

FRONT, REAR = (OnTube(member=m, side="left") for m in ("front_hoop", "main_hoop"))
HATCH = demos.build("gravel-hatch")
HOOPS = tuple(e for e in HATCH.entries if e.kind in ("main_hoop", "front_hoop"))


def made(kind: str, values: Mapping[str, Any]) -> Part:
    return KINDS[kind].make(KINDS[kind].read(values))


def with_more(*entries: MemberEntry) -> Cage:
    """Two hoops and these."""
    return members_only(replace(HATCH, entries=(*HOOPS, *spread(entries))))


def askew(kind: str) -> Cage:
    """A strut of a kind between two straights of the hoops, wherever its own place would be."""
    ends = {"from": REAR.spot("height", 160), "to": FRONT.spot("height", 330)}
    return with_more(ENTRIES[kind](kind=kind, id="askew", side="left", **ends))


def tubes(kind: str) -> Iterator[tuple[Cage, Member]]:
    for cage in map(demos.cage, demos.DEMOS):
        yield from ((cage, m) for m in cage.members.values() if m.kind == kind)


def tubes_and_more(kind: str) -> Iterator[tuple[Cage, Member]]:
    yield from tubes(kind)
    more = (askew(kind), with_more(RockerBraceEntry(kind="rocker_brace", side="left")))
    for cage in more if kind == "rocker_brace" else more[:1]:
        yield from ((cage, m) for m in cage.members.values() if m.kind == kind)


def tube(m: Member) -> dict[str, Any]:
    bends = m.path.bends
    radius = {"bend_radius": bends[0].radius} if bends else {}
    return {"od": m.tube.od, "wall": m.tube.wall, "material": m.tube.material, **radius}


# -- loops: what is between the corners ----------------------------------------------------------


def lean_of(m: Member) -> float:
    foot, top = m.path.corners()[0], m.path.corners()[2]
    return degrees(atan2(foot[0] - top[0], top[2] - foot[2]))


def hoop(m: Member) -> dict[str, Any]:
    foot, belt, top = m.path.corners()[:3]
    return {
        "width_foot": 2 * foot[1], "width_belt": 2 * belt[1], "width_top": 2 * top[1],
        "height_belt": belt[2] - foot[2], "height": top[2] - foot[2],
        "reach_belt": belt[0] - foot[0], "reach_top": top[0] - foot[0],
    }  # fmt: skip


def main_hoop(m: Member) -> dict[str, Any]:
    return {**hoop(m), "lean": lean_of(m), "reach_belt": 0, "reach_top": 0}


def halo(m: Member) -> dict[str, Any]:
    left, front, other, right = m.path.corners()
    return {
        "width_rear": left[1] - right[1], "width_front": front[1] - other[1],
        "length": front[0] - left[0], "rise": front[2] - left[2],
    }  # fmt: skip


def standing(foot: Vec, knee: Vec, top: Vec) -> dict[str, Any]:
    leg, slope = knee - foot, top - knee
    return {
        "leg_run": leg[0], "leg_splay": leg[1], "leg_height": leg[2],
        "slope_run": -slope[0], "slope_splay": slope[1], "slope_rise": slope[2],
    }  # fmt: skip


def pillar_bar(m: Member) -> dict[str, Any]:
    return standing(*m.path.corners()[::-1])


def half_hoop(m: Member) -> dict[str, Any]:
    foot, knee, corner, node = m.path.corners()
    roof = node - corner
    return {
        **standing(foot, knee, corner),
        "roof_run": -roof[0], "roof_splay": roof[1], "roof_rise": roof[2],
    }  # fmt: skip


LOOPS: Mapping[str, Callable[[Member], dict[str, Any]]] = {
    "main_hoop": main_hoop,
    "front_hoop": hoop,
    "halo": halo,
    "a_pillar_bar": pillar_bar,
    "half_hoop": half_hoop,
}


def even(m: Member) -> bool:
    """Whether a loop across the car is the same on both sides, and on the left otherwise."""
    points = m.path.corners()
    if m.side in ("left", "right"):
        return m.side == "left"
    return bool(np.allclose(points, points[::-1] * [1, -1, 1], atol=1e-6))


def shape(m: Member) -> tuple[list[float], list[float]]:
    """What does not hang on where the tube lies: straights from corner to corner, turns."""
    legs = np.diff(m.path.corners(), axis=0)
    return [float(np.linalg.norm(v)) for v in legs], [b.angle for b in m.path.bends]


@pytest.mark.parametrize("kind", LOOPS)
def test_a_loop_alone_is_that_of_the_cage(kind: str) -> None:
    found = [m for _, m in tubes(kind) if even(m) and len(m.path.bends) in (2, 4, 1)]
    found = [m for m in found if kind not in ("main_hoop", "front_hoop") or len(m.path.bends) == 4]
    assert found or kind == "halo"
    for m in found:
        alone = made(kind, {**tube(m), **LOOPS[kind](m)}).cage.members[kind]
        assert shape(alone)[0] == pytest.approx(shape(m)[0], abs=1e-6), m.id
        assert shape(alone)[1] == pytest.approx(shape(m)[1], abs=1e-9), m.id


def test_a_halo_alone_is_that_of_an_even_car() -> None:
    """No demo's roof is even: the points of the generator are compared on one that is."""
    m = next(m for _, m in tubes("halo"))
    left, front, *_ = m.path.corners()
    points = [left, front, front * [1, -1, 1], left * [1, -1, 1]]
    straight = type(m.path).from_polyline(points, m.path.bends[0].radius)
    same = with_fields(m, path=straight)
    alone = made("halo", {**tube(m), **halo(same)}).cage.members["halo"]
    assert shape(alone)[0] == pytest.approx(shape(same)[0], abs=1e-6)


# -- struts: length, angles and diameters at the ends ----------------------------------------------


def seat(cage: Cage, m: Member, end: EndName, along: Vec) -> dict[str, Any] | None:
    """What a ruler tells of one end, ``up`` with it; None where the place is none of a part's."""
    how = m.end(end)
    if how.kind is EndKind.FLAT and how.plane is not None:
        n = how.plane.normal
        up = n - (n @ along) * along
        size = float(np.linalg.norm(up))
        inward = 1.0 if end == "a" else -1.0
        return {
            "end": "flat", "angle": degrees(atan2(inward * float(n @ along), size)),
            "up": unit(up) if size > 1e-6 else None,
        }  # fmt: skip
    if how.kind is not EndKind.COPE or len(how.parents) != 1:
        return None
    parent = cage.members[how.parents[0]]
    point = m.path.end_point(end)
    spot = parent.path.nearest(point)
    straight = parent.path.pieces[spot.piece] not in parent.path.bends
    room = parent.path.points(
        np.array([spot.station - 3 * m.tube.od, spot.station + 3 * m.tube.od])
    )
    off = np.linalg.norm(np.cross(room - spot.point, spot.tangent), axis=1)
    inside = 3 * m.tube.od < spot.station < parent.path.length - 3 * m.tube.od
    if not (straight and inside and float(off.max()) < 1e-6):
        return None
    t = spot.tangent
    up = unit(t - (t @ along) * along)
    return {
        "end": "cope", "angle": degrees(atan2(float(t @ up), float(t @ along))), "up": up,
        "parent_od": parent.tube.od, "offset": float((spot.point - point) @ np.cross(up, along)),
    }  # fmt: skip


def strut(cage: Cage, m: Member) -> dict[str, Any] | None:
    """Dimensions of a straight tube as ``cagekit part`` asks for them."""
    a, b = m.path.start, m.path.end
    along = unit(b - a)
    ends = {"a": seat(cage, m, "a", along), "b": seat(cage, m, "b", along)}
    if m.path.bends or m.drills or None in ends.values():
        return None
    ups = [e.pop("up") for e in ends.values() if e]
    square = unit(np.cross(along, [0.31, 0.62, 0.72]))
    usual = next((u for u in ups if u is not None), square)
    ups = [usual if u is None else u for u in ups]
    turn = degrees(atan2(float(np.cross(*ups) @ along), float(ups[0] @ ups[1])))
    sizes = {f"{n}_{e}": v for e, row in ends.items() for n, v in (row or {}).items()}
    return {**tube(m), "length": float(np.linalg.norm(b - a)), "twist": turn, **sizes}


@pytest.mark.parametrize("kind", [k for k in MEMBER_KINDS if k not in LOOPS])
def test_a_strut_alone_is_that_of_the_cage(kind: str) -> None:
    compared = 0
    for cage, m in tubes_and_more(kind):
        sizes = strut(cage, m)
        if sizes is None:
            continue
        compared += 1
        alone = made(kind, sizes).cage
        assert alone.cut_length(kind) == pytest.approx(cage.cut_length(m.id), abs=1e-4), m.id
        assert alone.volume(kind) == pytest.approx(cage.volume(m.id), rel=1e-6), m.id
    assert compared


def test_a_dash_bar_set_back_alone_is_that_of_the_cage() -> None:
    cage = with_more(DashBarEntry(kind="dash_bar", set_back=90, height=420))
    (m,) = (m for m in cage.members.values() if m.kind == "dash_bar")
    a, b = m.path.start, m.path.end
    length = float(np.linalg.norm(b - a))
    alone = made("dash_bar", {**tube(m), "length": length, "set_back": 90}).cage
    # the nodes of the cage are level and abreast but for a little: shapes agree that far
    assert shape(alone.members["dash_bar"])[0] == pytest.approx(shape(m)[0], rel=1e-3)
    assert alone.members["dash_bar"].path.bends[0].angle == pytest.approx(
        atan2(90, 0.2 * length), rel=1e-9
    )


# -- one declaration --------------------------------------------------------------------------


@pytest.mark.parametrize("kind", MEMBER_KINDS)
def test_what_holds_with_and_without_a_car_is_declared_once(kind: str) -> None:
    """A name in entry and part is the form's, but for the tube that a build gives by name."""
    entry, alone = ENTRIES[kind], KINDS[kind].dims
    shared = {n for form in form_of(kind) for n in form.model_fields}
    both = set(entry.model_fields) & set(alone.model_fields)
    # a hoop's height is counted from the sill plane in a car, from its feet alone
    assert both - {"bend_radius", "height"} == shared
    for name in shared:
        assert entry.model_fields[name].default == alone.model_fields[name].default
        assert issubclass(alone, form_of(kind))


PLATES: Mapping[str, tuple[type, Mapping[str, Any]]] = {
    "floor_plate": (FloorPlateEntry, {}),
    "gusset": (GussetEntry, {}),
    "folded_gusset": (GussetEntry, {"preset": "gusset-folded"}),
    "tab": (TabEntry, {}),
    "plinth": (FloorPlateEntry, {}),
    "outrigger_box": (OutriggerBoxEntry, {}),
    "hinge_bracket": (SwingBracketEntry, {"preset": "swing-saddle-m10"}),
    "latch_bracket": (SwingBracketEntry, {"preset": "swing-saddle-m10"}),
    "sleeve": (SwingBracketEntry, {"preset": "swing-saddle-m10"}),
}


def test_every_kind_of_part_is_compared() -> None:
    assert {*PLATES, *MEMBER_KINDS} == set(part_kinds())


@pytest.mark.parametrize("name", PLATES)
def test_a_plate_alone_has_the_defaults_of_a_build(name: str) -> None:
    entry, how = PLATES[name]
    kind = part_kinds()[name]
    said = plate_preset(how["preset"]) if "preset" in how else None
    usual = kind.usual
    both = set(entry.model_fields) & set(kind.dims.model_fields) - {"style"}
    assert both
    for field in sorted(both):
        theirs = entry.model_fields[field].default
        if said is not None and field in said.model_fields_set:
            theirs = getattr(said, field)
        if theirs is None and field in ("material", "bolt_size", "bolt_grade"):
            continue  # by the units: see the next test
        if field == "thickness" and theirs is None:
            theirs = usual.thickness if said else FOOT_PLATE["mm"]  # type: ignore[attr-defined]
        assert getattr(usual, field) == theirs, field
    assert kind.source_in()


@pytest.mark.parametrize("name", PLATES)
@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_plate_alone_is_of_sheet_that_is_sold_in_its_units(name: str, units: str) -> None:
    kind = part_kinds()[name]
    thickness = getattr(kind.read({}, units), "thickness", None)
    sold = [r for r in rows("sheet_thicknesses") if r["name"].endswith(" mm") == (units == "mm")]
    assert thickness is None or any(abs(float(r["mm"]) - thickness) < 0.01 for r in sold)


@pytest.mark.parametrize(("units", "steel"), [("mm", "s235"), ("in", "a36")])
@pytest.mark.parametrize("name", [n for n in PLATES if part_kinds()[n].dims.model_fields.get("k")
                                  or n in ("tab", "plinth", "outrigger_box")])  # fmt: skip
def test_steel_and_bolts_follow_the_units_as_in_a_build(name: str, units: str, steel: str) -> None:
    kind = part_kinds()[name]
    plates = kind.make(kind.read({}, units)).cage.plates
    assert {p.material for p in plates} == {steel}
    if name == "floor_plate":
        bolted = kind.make(kind.read({"fix": "bolted"}, units)).cage.plates
        assert {b.size for p in bolted for b in p.bolts} == {{"mm": "M10", "in": "3/8-16"}[units]}
        # bolted through the sheet: the matching plate below comes with it, as in a build
        assert [p.kind for p in bolted] == ["floor_plate", "backing_plate"]


def test_brackets_share_the_swing_with_the_bar() -> None:
    for field in ("cut_gap", "pin_tilt"):
        ours, theirs = BracketDims.model_fields[field], ENTRIES["door_bar"].model_fields[field]
        assert (ours.default, ours.description) == (theirs.default, theirs.description)


def test_the_usual_bend_is_that_of_the_usual_die() -> None:
    usual = KINDS["main_hoop"].usual
    tool = Tube(od=usual.od, wall=usual.wall, material=usual.material)  # type: ignore[attr-defined]
    die = demos.build("sprint-wagon").tooling.die_for(tool.od)
    assert die.clr == usual.bend_radius  # type: ignore[attr-defined]


def test_plates_alone_are_of_what_is_sold_in_the_units_that_are_typed() -> None:
    def thickness(kind: str, units: str, **typed: Any) -> float:
        read: Any = part_kinds()[kind].read(typed, units)
        return float(read.thickness)

    assert [thickness("gusset", u) for u in ("mm", "in")] == [3.0, 3.175]
    assert thickness("gusset", "in", thickness="3 mm") == 3.0
    # a preset's own sheet stays: it is not what the units alone would give
    assert [thickness("folded_gusset", u) for u in ("mm", "in")] == [2.0, pytest.approx(1.89738)]

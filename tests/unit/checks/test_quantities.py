"""Quantities against closed forms, on small cages made by hand."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import atan, cos, degrees, hypot, radians, sin, tan
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, Member
from cagekit.cage.plate import Bolt, Hole, Plate
from cagekit.checks.finding import Value
from cagekit.checks.quantities.quantity import Measure, Pick, quantities
from cagekit.checks.quantities.survey import Survey, extreme
from cagekit.design import Design
from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.fold import Fold
from cagekit.geometry.outline import Outline
from cagekit.inputs.resolve import load_build
from cagekit.materials.tubes import Tube

OD, WALL, CLR = 45.0, 2.5, 150.0
TUBE = Tube(od=OD, wall=WALL, material="e355-n")
W, H = 500.0, 1000.0
"""Half width at the feet and height of the axis of a plain hoop with upright legs, mm."""


@dataclass
class Sheet:
    """As much of a build as the geometry quantities ask for."""

    car: Any = field(
        default_factory=lambda: SimpleNamespace(
            driver_side="left", suspension_x=(-900.0, 1500.0), dash=None, body="closed"
        )
    )
    drivers: tuple[Any, ...] = ()


def hoop(lean: float = 0.0) -> Member:
    """A hoop with upright legs, its plane leaned back by ``lean`` rad."""
    flat = np.array([(0, W, 0), (0, W, H), (0, -W, H), (0, -W, 0)], float)
    back = np.array([[cos(lean), 0, -sin(lean)], [0, 1, 0], [sin(lean), 0, cos(lean)]])
    path = CentreLine.from_polyline(flat @ back.T, CLR)
    foot = End.flat((0, 0, 0), (0, 0, 1))
    return Member(id="main_hoop", role="main_hoop", tube=TUBE, path=path, a=foot, b=foot)


def bar(
    id_: str,
    role: str,
    start: Any,
    stop: Any,
    *,
    side: Any = "centre",
    ends: Any = ((), ()),
    tube: Tube = TUBE,
    foot: End | None = None,
) -> Member:
    """A straight tube; ``ends`` are the parents of both ends, ``foot`` replaces the second."""
    a, b = (End.coped(*e) if e else End() for e in ends)
    return Member(
        id=id_,
        role=role,
        side=side,
        tube=tube,
        path=CentreLine.straight(start, stop),
        a=a,
        b=foot or b,
    )


def brace(
    foot: tuple[float, float, float], node: tuple[float, float, float] = (0, W, 700)
) -> Member:
    return bar(
        "rear_brace_left", "rear_brace", node, foot, side="left",
        ends=(("main_hoop",), ()), foot=End.flat(foot, (0, 0, 1)),
    )  # fmt: skip


def survey(*members: Member, plates: tuple[Plate, ...] = (), sheet: Sheet | None = None) -> Survey:
    cage = Cage("by hand", members, plates=plates)
    sheet = sheet or Sheet()
    return Survey(Design(sheet, cage=cage, name="by hand", units="mm", rules=(), files={}))  # type: ignore[arg-type]


def measure(name: str, s: Survey, **pick: Any) -> list[Measure]:
    return list(quantities()[name].measure(s, Pick(**pick)))


def value(name: str, s: Survey, **pick: Any) -> Value:
    (one,) = measure(name, s, **pick)
    return one.value


# --- hoops --------------------------------------------------------------------------------------


@given(st.floats(-30, 30))
@settings(max_examples=25)
def test_lean_is_the_angle_the_plane_was_turned_by(lean: float) -> None:
    s = survey(hoop(radians(lean)))
    assert value("hoop_lean", s, roles=("main_hoop",)) == pytest.approx(abs(lean), abs=1e-6)
    assert value("hoop_out_of_plane", s, roles=("main_hoop",)) == pytest.approx(0, abs=1e-6)


def test_bends_of_a_plain_hoop() -> None:
    s = survey(hoop())
    assert value("bend_count", s) == 2
    assert value("bend_sum", s) == pytest.approx(180)
    assert value("bend_radius_over_od", s) == pytest.approx(CLR / OD)


def test_legs_of_a_plain_hoop() -> None:
    s = survey(hoop())
    assert value("leg_spacing", s) == pytest.approx(2 * W - OD)
    assert value("mounting_points", s) == 2
    assert [m.value for m in measure("mountings_per_leg", s, roles=("main_hoop",))] == [1, 1]


def test_a_hoop_in_two_pieces_is_counted_as_two() -> None:
    whole = hoop()
    one, two = whole.path.split(whole.path.length / 2)
    foot = End.flat((0, 0, 0), (0, 0, 1))
    s = survey(
        Member(id="main_hoop_1", role="main_hoop", tube=TUBE, path=one, a=foot),
        Member(id="main_hoop_2", role="main_hoop", tube=TUBE, path=two, b=foot),
    )
    assert value("pieces", s, roles=("main_hoop",)) == 2
    assert value("bar_count", s, roles=("main_hoop",)) == 1


def test_the_top_of_a_bend_is_found_between_its_ends() -> None:
    """A quarter ring rises to its radius above its centre."""
    path = CentreLine.from_polyline([(0, 0, 0), (0, 100, 100), (0, 200, 0)], 60.0)
    top, point = extreme(path, (0, 0, 1))
    assert top == pytest.approx(100 - 60 * (2**0.5 - 1))
    assert point[1] == pytest.approx(100)


# --- braces and diagonals -----------------------------------------------------------------------


@given(st.floats(50, 900), st.floats(-200, 200), st.floats(0, 500))
@settings(max_examples=40)
def test_brace_angle_is_that_of_the_right_triangle(back: float, aside: float, z: float) -> None:
    s = survey(hoop(), brace((-back, W + aside, z)))
    run, drop = hypot(back, aside), 700 - z
    assert value("rear_brace_angle", s) == pytest.approx(degrees(atan(run / drop)))
    length = hypot(run, drop)
    assert value("rear_brace_hoop_angle", s) == pytest.approx(degrees(np.arcsin(back / length)))


def test_brace_drop_is_measured_from_the_axis_at_the_top() -> None:
    s = survey(hoop(), brace((-700, W, 100)))
    assert value("rear_brace_drop", s) == pytest.approx(H - 700)


def test_a_brace_on_the_top_bend_is_at_the_bend() -> None:
    """45 deg round the bend; and 100 mm below its start on the leg."""
    mid = (0, W - CLR * (1 - cos(radians(45))), H - CLR * (1 - sin(radians(45))))
    assert value("rear_brace_to_bend", survey(hoop(), brace((-700, W, 100), mid))) == 0
    low = (0, W, H - CLR - 100)
    assert value("rear_brace_to_bend", survey(hoop(), brace((-700, W, 100), low))) == pytest.approx(
        100
    )


def test_joints_of_hoop_and_brace() -> None:
    s = survey(hoop(), brace((-700, W, 100)), diagonal(50))
    assert [m.value for m in measure("joint_count", s)] == [3, 1, 2]


def test_lean_of_a_strut() -> None:
    leaning = bar("strut", "strut", (0, 0, 0), (300, 0, 300 * 3**0.5))
    assert value("lean_from_vertical", survey(leaning)) == pytest.approx(30)


def test_a_forward_brace_is_seen() -> None:
    assert value("rear_brace_rearward", survey(hoop(), brace((-700, W, 100)))) is True
    assert value("rear_brace_rearward", survey(hoop(), brace((700, W, 100)))) is False


def diagonal(rise: float, at: float = 1.0) -> Member:
    return bar(
        "hoop_diagonal", "hoop_diagonal", (0, at * W, 800), (0, -at * W, rise),
        ends=(("main_hoop",), ("main_hoop",)),
    )  # fmt: skip


@pytest.mark.parametrize("rise", [40.0, 160.0])
def test_diagonal_foot_gap(rise: float) -> None:
    s = survey(hoop(), diagonal(rise))
    assert value("diagonal_foot_gap", s) == pytest.approx(rise)


def test_diagonal_brace_gap_and_corner_gap() -> None:
    s = survey(hoop(), brace((-700, W, 100)), diagonal(50))
    assert value("diagonal_brace_gap", s) == pytest.approx(100)
    assert value("diagonal_corner_gap", s) == pytest.approx(H - 800)
    assert value("diagonal_from_driver_corner", s) is True


def test_pieces_of_a_crossed_diagonal_are_one_bar() -> None:
    """One leg runs through, the other is cut in the crossing."""
    through = bar("hoop_diagonal", "hoop_diagonal", (0, W, 800), (0, -W, 100))
    mid = (0.0, 0.0, 450.0)
    one = bar("hoop_diagonal_cross_1", "hoop_diagonal", (0, -W, 800), mid)
    two = bar("hoop_diagonal_cross_2", "hoop_diagonal", mid, (0, W, 100))
    s = survey(hoop(), through, one, two)
    assert value("hoop_diagonals", s) == 2
    assert value("hoop_diagonals_crossed", s) == 2
    assert value("diagonal_one_piece_legs", s) == 1


def test_bars_that_meet_in_a_v_stay_two() -> None:
    apex = (0.0, 0.0, 1000.0)
    s = survey(
        hoop(),
        bar("roof_diagonal_1", "roof_diagonal", apex, (800, 400, 980)),
        bar("roof_diagonal_2", "roof_diagonal", apex, (800, -400, 980)),
    )
    assert value("roof_bars", s) == 2
    assert value("roof_pattern", s) == "v"
    assert value("roof_apex_gap", s) == pytest.approx(0)


# --- doors --------------------------------------------------------------------------------------


def door_sheet(driver_side: str = "left") -> Sheet:
    opening = SimpleNamespace(
        outline=((100.0, 0.0), (900.0, 0.0), (900.0, 800.0), (100.0, 800.0)),
        y_inner=560.0, y_trim=600.0, quarter_x=100.0,
    )  # fmt: skip
    side = SimpleNamespace(door=opening)
    car = SimpleNamespace(driver_side=driver_side, side=lambda name: side, left=side, right=side)
    return Sheet(car=car)


def x_bars() -> list[Member]:
    ends = (("main_hoop",), ())
    through = bar("door_bar_left", "door_bar", (0, W, 500), (1000, W, 100), side="left", ends=ends)
    mid = (500.0, W, 300.0)
    one = bar("door_bar_left_cross_1", "door_bar", (0, W, 100), mid, side="left", ends=ends)
    two = bar("door_bar_left_cross_2", "door_bar", mid, (1000, W, 500), side="left")
    return [through, one, two]


def test_an_x_in_the_door() -> None:
    s = survey(hoop(), *x_bars(), sheet=door_sheet())
    assert [m.value for m in measure("door_bar_pattern", s)] == ["x", "none"]
    assert value("door_x_one_piece_legs", s) == 1
    assert value("door_bars_on_driver_side", s) == 2
    assert value("door_bars_on_passenger_side", s) == 0
    assert value("door_bars_identical", s) is False


def test_door_heights_of_the_rectangle() -> None:
    """Each leg crosses the opening's edges (x = 100, 900) at 460 mm; E adds the radius."""
    s = survey(hoop(), *x_bars(), sheet=door_sheet())
    assert value("door_bar_height_ratio", s) == pytest.approx(460 / 800, abs=2 / 800)
    assert value("door_figure_e", s) == pytest.approx((460 + OD / 2) / 800, abs=2 / 800)


def test_free_height_over_the_bars() -> None:
    """In the middle the X is 300 mm high: 800 - 300 - radius."""
    s = survey(hoop(), *x_bars(), sheet=door_sheet())
    got = {m.subject: m.value for m in measure("door_figure_a", s)}
    assert got["door left"] == pytest.approx(800 - 300 - OD / 2, abs=2)
    assert got["door right"] == pytest.approx(800)


def test_mirrored_door_bars_are_alike() -> None:
    left = x_bars()[0]
    right = Member(
        id="door_bar_right", role="door_bar", side="right", tube=TUBE, path=left.path.mirrored()
    )
    assert value("door_bars_identical", survey(left, right)) is True
    moved = replace(right, path=right.path.mapped(np.eye(3), (0, 0, 5)))
    assert value("door_bars_identical", survey(left, moved)) is False


# --- front --------------------------------------------------------------------------------------


def half_hoop(knee: float) -> Member:
    """Foot, pillar base, roof corner, roof; the knee ``knee`` mm ahead of the chord."""
    foot, top = np.array((1200.0, W, 0.0)), np.array((800.0, W, 1000.0))
    chord = (top - foot) / np.linalg.norm(top - foot)
    across = np.array((chord[2], 0.0, -chord[0]))
    corner = foot + 0.5 * (top - foot) + knee * across
    path = CentreLine.from_polyline([foot, corner, top, (0, W, 1000)], 100.0)
    return Member(id="half_hoop_left", role="half_hoop", side="left", tube=TUBE, path=path)


@pytest.mark.parametrize("knee", [120.0, 260.0])
def test_bow_of_a_front_leg(knee: float) -> None:
    """The corner stands ``knee`` mm off the chord; the bend cuts off r (1/cos(t/2) - 1) of it."""
    leg = half_hoop(knee)
    turn = leg.path.bends[0].angle
    want = knee - 100.0 * (1 / cos(turn / 2) - 1)
    assert value("front_leg_bow", survey(leg)) == pytest.approx(want, abs=0.5)
    assert value("front_leg_bends", survey(leg)) == 1


def test_a_braced_leg_is_not_asked_for_its_bow() -> None:
    stay = bar(
        "windscreen_brace_left", "windscreen_brace", (800, W, 1000), (1200, W, 0), side="left"
    )
    assert measure("front_leg_bow", survey(half_hoop(200), stay)) == []


@given(st.floats(2, 60), st.floats(0, 80))
@settings(max_examples=25)
def test_a_turn_is_seen_from_the_side_as_its_shadow(angle: float, yaw: float) -> None:
    """A bend in a plane turned by ``yaw`` out of the side view: tan a cos yaw is seen."""
    a, y = radians(angle), radians(yaw)
    far = (300 + 300 * cos(a), 300 * sin(a) * sin(y), 300 * sin(a) * cos(y))
    path = CentreLine.from_polyline([(0, 0, 0), (300, 0, 0), far], 80.0)
    tube = Member(id="windscreen_brace_left", role="windscreen_brace", tube=TUBE, path=path)
    want = degrees(np.arctan2(sin(a) * cos(y), cos(a)))
    assert value("side_view_turn", survey(tube)) == pytest.approx(want, abs=1e-6)


def test_dash_bar_against_dash_and_column() -> None:
    sheet = Sheet(
        car=SimpleNamespace(
            dash=SimpleNamespace(top_z=500.0),
            wheel=SimpleNamespace(centre=(800.0, 350.0, 450.0), column_angle=radians(20)),
        )
    )
    s = survey(bar("dash_bar", "dash_bar", (1000, W, 460), (1000, -W, 460)), sheet=sheet)
    assert value("front_bar_over_dash", s) == pytest.approx(460 - OD / 2 - 500)
    assert value("front_bar_over_column", s) == pytest.approx(460 - (450 - 200 * tan(radians(20))))


def test_reach_beyond_the_suspension() -> None:
    s = survey(brace((-1000, W, 200)))
    assert value("beyond_suspension", s) == pytest.approx(100 + OD / 2)


# --- feet ---------------------------------------------------------------------------------------


def plate(outline: Outline, **more: Any) -> Plate:
    fields = {"thickness": 3.0, "material": "s235", "members": ("main_hoop",), **more}
    place = np.eye(4)
    place[:3, 3] = (0, W, 0)
    return Plate(
        id="foot_main_hoop_a", kind="floor_plate", outline=outline, ends=("main_hoop.a",),
        placement=place, **fields,
    )  # fmt: skip


def rectangle(a: float, b: float) -> Outline:
    return Outline.polygon([(-a / 2, -b / 2), (a / 2, -b / 2), (a / 2, b / 2), (-a / 2, b / 2)])


def test_plate_of_a_foot() -> None:
    s = survey(hoop(), plates=(plate(rectangle(120, 100)),))
    assert value("plate_area", s) == pytest.approx(12000)
    assert value("plate_size", s) == pytest.approx((100, 120))
    assert value("plate_longest_side", s) == pytest.approx(120)
    assert value("plate_thickness", s) == 3.0
    assert value("plate_planes", s) == 1
    assert [m.value for m in measure("plates_at_foot", s)] == [1, 0]
    assert value("plate_area_over_od", s) == pytest.approx(12000 / OD)
    assert measure("bolt_count", s) == []


def test_contact_of_a_folded_plate_leaves_the_bend_out() -> None:
    """Folded square at the middle: two flats; the bend zone's width is the bend allowance."""
    fold = Fold.along((0, 80), (0, -80), angle=radians(90), inside_radius=5.0, k=0.4)
    sheet = Sheet(car=load_build("track-roadster").car)
    plates = (plate(rectangle(200, 100), folds=(fold,), base=(-80.0, 0.0)),)
    s = survey(hoop(), plates=plates, sheet=sheet)
    allowance = radians(90) * (5.0 + 0.4 * 3.0)
    assert value("plate_area", s) == pytest.approx(20000)
    assert value("plate_contact_area", s) == pytest.approx((200 - allowance) * 100)
    assert value("plate_planes", s) == 2


@pytest.mark.parametrize(("angles", "least"), [((0, 90, 180, 270), 90), ((0, 50, 180), 50)])
def test_bolts_of_a_foot(angles: tuple[float, ...], least: float) -> None:
    holes = tuple(Hole.circle((55 * cos(radians(a)), 55 * sin(radians(a))), 11.0) for a in angles)
    bolts = tuple(Bolt(hole=i, size="M10", grade="8.8", diameter=10.0) for i in range(len(angles)))
    s = survey(hoop(), plates=(plate(rectangle(150, 150), holes=holes, bolts=bolts),))
    assert value("bolt_count", s) == len(angles)
    assert value("bolt_diameter", s) == 10.0
    assert value("bolt_tensile", s) == 800.0
    assert value("bolt_spread", s) == pytest.approx(least)


@pytest.mark.parametrize(
    ("grade", "mpa"), [("8.8", 800), ("10.9", 1000), ("grade-5", 827.4), ("grade-8", 1034.2)]
)
def test_bolt_strength_from_its_grade(grade: str, mpa: float) -> None:
    hole = Hole.circle((55, 0), 11.0)
    bolt = Bolt(hole=0, size="M10", grade=grade, diameter=10.0)
    s = survey(hoop(), plates=(plate(rectangle(150, 150), holes=(hole,), bolts=(bolt,)),))
    assert value("bolt_tensile", s) == pytest.approx(mpa, abs=0.1)


def test_a_bolt_without_grade_needs_input() -> None:
    hole = Hole.circle((55, 0), 11.0)
    bolt = Bolt(hole=0, size="M10", grade="", diameter=10.0)
    s = survey(hoop(), plates=(plate(rectangle(150, 150), holes=(hole,), bolts=(bolt,)),))
    (got,) = measure("bolt_tensile", s)
    assert got.value is None
    assert "property class" in got.missing


def test_steel_of_a_tube() -> None:
    alloy = Tube(od=41.275, wall=2.11, material="4130-n")
    s = survey(hoop(), bar("strut", "strut", (0, 0, 0), (0, 0, 500), tube=alloy))
    assert [m.value for m in measure("steel_family", s)] == ["mild", "alloy"]
    assert [m.value for m in measure("tube_process", s)] == ["cold drawn seamless", "seamless"]
    assert [m.subject for m in measure("tube_od", s, steel="alloy")] == ["strut"]


def test_steel_nobody_knows_needs_a_certificate() -> None:
    odd = Tube(od=45, wall=2.5, material="found-in-the-shed")
    (got,) = measure(
        "steel_tensile", survey(bar("strut", "strut", (0, 0, 0), (0, 0, 500), tube=odd))
    )
    assert "certificate" in got.missing

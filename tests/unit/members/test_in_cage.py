"""Every kind of member inside a cage, also those that the demo builds leave out."""

from __future__ import annotations

from dataclasses import replace as with_fields
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import members_only
from cagekit.cage.cage import Cage
from cagekit.cage.collisions import overlaps, wall_of
from cagekit.cage.member import Member
from cagekit.errors import CagekitError, GeometryError, InputError
from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.walls import Walls
from cagekit.inputs.build import Build, BuildFile, entries_of
from cagekit.inputs.resolve import load_build
from cagekit.members.registry import GENERATORS


def changed(name: str, **tables: Any) -> Build:
    """A demo build with more members or other values."""
    build = load_build(name)
    data = build.file.model_dump(by_alias=True, exclude_unset=True, exclude={"members"})
    data = {k: v for k, v in data.items() if k not in ("add", "strut")}
    members = dict(build.file.members)
    for key, fields in tables.pop("members", {}).items():
        members[key] = {**members.get(key, {}), **fields}
    context = {"units": build.file.units}
    file = BuildFile.model_validate({**data, "plate": (), **tables}, context=context)
    file = file.model_copy(update={"members": members})
    return replace(build, file=file, plates=(), entries=entries_of(file, build.layout, "test"))


BEHIND = [
    {
        "kind": "strut", "id": "tail", "side": "both",
        "role": "half_hoop", "from": "on rear_brace_{side} at fraction 0.2",
        "to": "on rear_brace_{side} at fraction 0.8", "via": [[-400, 300, 300]],
    }
]  # fmt: skip
"""A tube behind the main hoop that is said to do a half hoop's work."""


def made(name: str, **tables: Any) -> Cage:
    return members_only(changed(name, **tables))


def test_every_kind_is_made_in_some_cage() -> None:
    seen = {
        m.role
        for n in ("sprint-wagon", "hillclimb-coupe", "gravel-hatch", "track-roadster")
        for m in made(n).members.values()
    }
    more = made(
        "sprint-wagon",
        members={k: {"omit": False} for k in ("dash_bar", "rocker_brace")},
        add=[
            {
                "kind": "tube_gusset",
                "side": "both",
                "node": "a_pillar_bar_{side} end a",
                "along_branch": "7 in",
                "along_parent": "7 in",
            }
        ],
        strut=[
            {
                "id": "tie",
                "from": "on main_hoop.left at height 6",
                "to": "on rear_brace_left at fraction 0.7",
            }
        ],
    )
    seen |= {m.role for m in more.members.values()}
    assert set(GENERATORS) <= seen
    for id_ in more.members:
        assert more.volume(id_) > 0


def test_a_rocker_brace_lands_on_the_sill() -> None:
    cage = made("sprint-wagon", members={"rocker_brace": {"omit": False}})
    brace = cage.members["rocker_brace_left"]
    inner, outer = 25.5 * 25.4, 29 * 25.4
    assert inner < brace.path.end[1] < outer
    assert brace.path.end[2] == pytest.approx(cage_plate("sprint-wagon"))


def cage_plate(name: str) -> float:
    return load_build(name).foot_plate


def test_a_tube_gusset_sits_at_its_distances_from_the_joint() -> None:
    cage = made(
        "sprint-wagon",
        add=[
            {
                "kind": "tube_gusset",
                "id": "gusset",
                "node": "a_pillar_bar_left end a",
                "along_branch": "180 mm",
                "along_parent": "150 mm",
                "way": "a",
            }
        ],
    )
    node = cage.members["a_pillar_bar_left"].path.start
    gusset = cage.members["gusset"].path
    branch = cage.members["a_pillar_bar_left"].path
    assert branch.nearest(gusset.start).station == pytest.approx(180, abs=1e-6)
    halo = cage.members["halo"].path
    assert abs(halo.nearest(gusset.end).station - halo.nearest(node).station) == pytest.approx(
        150, abs=1e-6
    )


def test_a_v_in_the_roof_starts_in_the_middle_of_the_hoop() -> None:
    cage = made("sprint-wagon", members={"roof_diagonal": {"style": "v"}})
    left, right = (cage.members[f"roof_diagonal_{s}"].path for s in ("left", "right"))
    assert left.start == pytest.approx(right.start)
    assert left.start[1] == pytest.approx(0.0, abs=1e-9)
    assert left.end[1] > 0 > right.end[1]


def test_a_pair_of_door_bars_keeps_its_heights() -> None:
    cage = made(
        "hillclimb-coupe",
        members={
            "door_bar": {
                "style": "pair",
                "height_rear": 380,
                "height_front": 340,
                "low_rear": 180,
                "low_front": 150,
            }
        },
    )
    upper, lower = cage.members["door_bar_left"].path, cage.members["door_bar_left_lower"].path
    assert upper.start[2] == pytest.approx(380)
    assert upper.end[2] == pytest.approx(340)
    assert lower.start[2] == pytest.approx(180)
    assert lower.end[2] == pytest.approx(150)


@pytest.mark.parametrize(
    ("build", "upper", "least"),
    [
        ("gravel-hatch", (448, 490), 36.0),
        ("gravel-hatch", (380, 460), 31.5),
        ("hillclimb-coupe", (412, 390), 37.5),
        ("hillclimb-coupe", (380, 380), 35.5),
    ],
)
def test_an_x_keeps_its_lower_nodes_as_low_as_feet_and_pillar_brace_let_it(
    build: str, upper: tuple[float, float], least: float
) -> None:
    cage = made(build, members={"door_bar": {"height_rear": upper[0], "height_front": upper[1]}})
    bars = [cage.members[f"door_bar_left{n}"] for n in ("", "_cross_1")]
    ways = [m.path.end - m.path.start for m in bars]
    cosine = abs(ways[0] @ ways[1]) / np.prod([np.linalg.norm(w) for w in ways])
    assert np.degrees(np.arccos(cosine)) > least
    brace = cage.members.get("windscreen_brace_left")
    if brace is not None:
        along = brace.path.points(np.linspace(0, brace.path.length, 300))
        gap = min(float(np.linalg.norm(bars[0].path.nearest(p).point - p)) for p in along)
        radii = bars[0].tube.outer_radius + brace.tube.outer_radius
        assert radii + 2.9 < gap < radii + 8


X_LEFT = ("door_bar_left", "door_bar_left_cross_1", "door_bar_left_cross_2")


@pytest.mark.parametrize(("out", "up"), [(30, 0), (60, 0), (-40, 0), (0, 45), (50, -30)])
def test_an_x_is_bent_where_straight_bars_would_cross(out: float, up: float) -> None:
    plain = made("gravel-hatch").members
    move = {"bend_out": out, "bend_up": up}
    bent = made("gravel-hatch", members={"door_bar": move}).members
    # the cross of the straight bars: their common point, worked out from their ends alone
    a, b = plain[X_LEFT[0]].path.start, plain[X_LEFT[0]].path.end
    c, d = plain[X_LEFT[1]].path.start, plain[X_LEFT[2]].path.end
    t, _, _ = np.linalg.solve(np.array([b - a, c - d, np.cross(b - a, d - c)]).T, c - a)
    corner = bent[X_LEFT[0]].path.corners()
    assert len(corner) == 3
    assert corner[1] == pytest.approx(a + t * (b - a) + (0, out, up), abs=0.01)
    for name in X_LEFT:
        mirrored = bent[name].path.corners() * (1, -1, 1)
        assert bent[name.replace("left", "right")].path.corners() == pytest.approx(mirrored)


@pytest.mark.parametrize("out", [20, 30, 60, 100, -40])
def test_the_halves_of_a_bent_x_lie_on_the_bend_beside_each_other(out: float) -> None:
    """Each on the axis of the tube that runs through, and their steel just apart."""
    cage = made("gravel-hatch", members={"door_bar": {"bend_out": out}})
    through, one, two = (cage.members[i] for i in X_LEFT)
    nodes = one.path.end, two.path.start
    assert through.path.distances(np.array(nodes)) == pytest.approx(0, abs=1e-9)
    assert one.b.parents == two.a.parents == (through.id,)
    assert np.linalg.norm(nodes[0] - nodes[1]) < one.tube.od
    assert overlaps(cage) == []
    assert deepest_of_tips(cage, one, two) == deepest_of_tips(cage, two, one) == 0.0
    # at one node their tips are in one place: that is what parts them
    node = through.path.nearest((nodes[0] + nodes[1]) / 2).point
    halves = (
        with_fields(one, path=CentreLine.straight(one.path.start, node)),
        with_fields(two, path=CentreLine.straight(node, two.path.end)),
    )
    others = [m for m in cage.members.values() if m.id not in X_LEFT[1:]]
    together = Cage("test", [*others, *halves])
    assert deepest_of_tips(together, *halves) > 0.01
    assert deepest_of_tips(together, *halves[::-1]) > 0.01


def deepest_of_tips(cage: Cage, one: Member, two: Member) -> float:
    """How deep the last 6 mm of a half's wall are in the other half, mm; 0 when they are not."""
    cut = cage.cut(one.id, "b" if one.id == X_LEFT[1] else "a")
    back = np.linspace(0.0, 6.0, 61)[:, None, None] * cut.out
    points = (cut.rim - back).reshape(-1, 3)
    walls, of = Walls([wall_of(cage, two)]), np.zeros(len(points), int)
    left = walls.left(of, of, points, walls.outside(of, points)[1])
    in_steel = np.minimum(two.tube.outer_radius - two.path.distances(points), left)
    return max(float(in_steel.max()) - 1e-9, 0.0)


def test_a_bowed_halo_stands_out_at_the_rails() -> None:
    straight = made("sprint-wagon").members["halo"].path
    bowed = made("sprint-wagon", members={"halo": {"rail_bow": "1 in"}}).members["halo"].path
    assert len(bowed.bends) == len(straight.bends) + 2
    x = 400.0
    y = [max(s.point[1] for s in p.crossings((x, 0, 0), (1, 0, 0))) for p in (straight, bowed)]
    assert 10 < y[1] - y[0] < 30


def test_a_leaning_hoop_leans_by_its_angle() -> None:
    build = changed("track-roadster", members={"main_hoop": {"lean": 5}})
    entries = [e for e in build.entries if e.id == "main_hoop"]
    hoop = members_only(replace(build, entries=tuple(entries))).members["main_hoop"].path
    points = hoop.points(np.linspace(0, hoop.length, 2000))
    high = points[np.argmax(points[:, 2])]
    rise = high[2] - hoop.start[2]
    assert np.degrees(np.arctan2(hoop.start[0] - high[0], rise)) == pytest.approx(5.0, abs=1e-6)


def test_a_strut_with_corners_is_mirrored_on_the_other_side() -> None:
    cage = made(
        "sprint-wagon",
        strut=[
            {
                "id": "kick",
                "side": "both",
                "from": "on main_hoop.{side} at height 3",
                "via": [[15, 25, 1]],
                "to": "on a_pillar_bar.{side} at height 5",
            }
        ],
    )
    left, right = (cage.members[f"kick_{s}"].path for s in ("left", "right"))
    assert left.corners()[1] == pytest.approx([381, 635, 25.4])
    assert right.corners()[1] == pytest.approx([381, -635, 25.4])


def test_corners_said_of_a_layouts_members_are_mirrored_like_ones_own() -> None:
    via = [[600, 700, 300]]
    single = {"style": "single", "via": via}
    cage = made("gravel-hatch", members={"door_bar": single})
    left, right = (cage.members[f"door_bar_{s}"].path.corners()[1] for s in ("left", "right"))
    assert left == pytest.approx([600, 700, 300])
    assert right == pytest.approx([600, -700, 300])
    # of one side alone: as written
    own = {"door_bar": {"style": "single"}, "door_bar_right": {"via": [[600, -690, 310]]}}
    right = made("gravel-hatch", members=own).members["door_bar_right"].path.corners()[1]
    assert right == pytest.approx([600, -690, 310])


def test_a_changed_hoop_carries_what_hangs_on_it() -> None:
    low = made("sprint-wagon", members={"main_hoop": {"roof_gap": 2}})
    high = made("sprint-wagon")
    drop = (
        high.members["rear_brace_left"].path.start[2] - low.members["rear_brace_left"].path.start[2]
    )
    assert drop == pytest.approx(1.5 * 25.4, abs=8.0)
    assert all(j.concentric for j in low.joints)


@pytest.mark.parametrize(
    ("name", "tables", "kind", "says"),
    [
        (
            "track-roadster",
            {"members": {"main_hoop": {"height": None}}},
            InputError,
            "Give the hoop's height",
        ),
        (
            "sprint-wagon",
            {"strut": [{"id": "loose", "from": "on main_hoop.left at height 6"}]},
            InputError,
            "needs both places",
        ),
        (
            "sprint-wagon",
            {"members": {"outrigger": {"outer_y": 10}}},
            GeometryError,
            "must pass under the foot",
        ),
        (
            "sprint-wagon",
            {"members": {"door_bar": {"style": "x"}}},
            GeometryError,
            "only a single door bar can swing out",
        ),
        (
            "sprint-wagon",
            {"members": {"door_bar": {"style": "x", "bend_out": 1}}},
            GeometryError,
            "only a single door bar can swing out",
        ),
        (
            "gravel-hatch",
            {"members": {"door_bar": {"style": "pair", "bend_up": 20}}},
            GeometryError,
            "`bend_up` bends an X at its crossing",
        ),
        (
            "gravel-hatch",
            {"members": {"door_bar": {"via": [[600, 700, 250]]}}},
            GeometryError,
            "Bend the X at its crossing",
        ),
        (
            "gravel-hatch",
            {"members": {"door_bar": {"bend_out": 30, "split_by": ["windscreen_brace"]}}},
            GeometryError,
            "a tube with corners cannot be cut",
        ),
        (
            "sprint-wagon",
            {"members": {"door_bar": {"cut_rear": 40}}},
            GeometryError,
            "comes within",
        ),
        (
            "sprint-wagon",
            {"members": {"cross_member": {"split_by": ["main_hoop"]}}},
            GeometryError,
            "does not cross main_hoop between its ends",
        ),
        (
            "gravel-hatch",  # the first two it does cross
            {
                "members": {
                    "harness_bar": {
                        "split_by": ["hoop_diagonal", "hoop_diagonal_cross", "main_hoop"]
                    }
                }
            },
            GeometryError,
            "harness_bar: does not cross main_hoop between its ends",
        ),
        (
            "gravel-hatch",  # it ends on what is to cut it
            {
                "add": [
                    {
                        "kind": "tube_gusset",
                        "id": "corner",
                        "node": "rear_brace_left end a",
                        "split_by": ["main_hoop"],
                    }
                ]
            },
            GeometryError,
            "corner: does not cross main_hoop between its ends",
        ),
        (
            "gravel-hatch",
            {
                "add": [
                    {
                        "kind": "strut",
                        "id": "beside",
                        "split_by": ["main_hoop"],
                        "from": "at 20, 638, 58",
                        "to": "at 20, 689, 404",
                    }
                ]
            },
            GeometryError,
            "beside: runs along main_hoop",
        ),
        ("track-roadster", {"add": [{"kind": "dash_bar"}]}, GeometryError, "none of"),
        (
            "track-roadster",
            {"add": [*BEHIND, {"kind": "dash_bar", "height": 300}]},
            GeometryError,
            "none of them on the left that stands ahead of the main hoop",
        ),
        ("track-roadster", {"add": [{"kind": "front_hoop"}]}, InputError, "front_foot"),
    ],
)
def test_what_cannot_be_made_says_which_member_and_why(
    name: str, tables: dict, kind: type[CagekitError], says: str
) -> None:
    with pytest.raises(kind, match=says):
        made(name, **tables)


@pytest.mark.parametrize(
    ("via", "corner", "cure"),
    [
        ([[-600, 480, 250], [-300, 520, 200]], 2, "Turn the list of corners round"),
        ([[-300, 520, 200], [-700, 500, 250], [-400, 500, 450]], 3, "Move"),
    ],
)
def test_corners_that_turn_back_are_named(via: object, corner: int, cure: str) -> None:
    strut = {
        "id": "stay",
        "from": "on main_hoop.left at height 200",
        "to": "car left rear_foot",
        "via": via,
    }
    with pytest.raises(GeometryError, match=rf"at corner {corner} of `via`") as caught:
        made("gravel-hatch", strut=[strut])
    assert cure in str(caught.value)


@pytest.mark.parametrize(
    ("start", "end", "side"),
    [
        ("on main_hoop.left at height 3 in", "on a_pillar_bar_left at height 3 in", "left"),
        ("on main_hoop.right at height 3 in", "on a_pillar_bar_right at height 3 in", "right"),
        ("on main_hoop.left at height 3 in", "on a_pillar_bar_right at height 3 in", "centre"),
    ],
)
def test_a_strut_is_of_the_side_that_it_keeps_to(start: str, end: str, side: str) -> None:
    """A second door bar counts on its side although its entry names none."""
    cage = made("sprint-wagon", strut=[{"id": "low", "role": "door_bar", "from": start, "to": end}])
    assert cage.members["low"].side == side


def test_a_bar_at_the_front_hangs_on_what_stands_ahead_of_the_main_hoop() -> None:
    """Whatever the work of a tube behind it is called."""
    bar = {"kind": "dash_bar", "id": "low_bar", "height": 300}
    cage = made("gravel-hatch", add=[*BEHIND, bar])
    low = cage.members["low_bar"]
    assert [low.end(e).parents for e in "ab"] == [("front_hoop",), ("front_hoop",)]

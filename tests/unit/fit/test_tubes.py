"""Tubes to solids: closed forms, a brute search, and the clearance of tubes to tubes."""

from __future__ import annotations

from collections.abc import Callable
from math import hypot, pi

import demos
import numpy as np
import pytest

from cagekit.cage.member import Member
from cagekit.car.shell import Skin, surfaces
from cagekit.fit.tubes import Tubes
from cagekit.geometry.centre_line import CentreLine, vec
from cagekit.geometry.clearance import segment_gap
from cagekit.geometry.shapes import Capsule, Ring


def ball(x: float, y: float, z: float, radius: float) -> Capsule:
    return Capsule(vec((x, y, z)), vec((x, y, z)), radius)


def test_some_tubes_are_told_as_if_they_stood_alone() -> None:
    members = list(demos.cage("gravel-hatch").members.values())
    padding = {m.id: 20.0 for m in members[::3]}
    solids = [
        ball(300.0, 350.0, 700.0, 130.0),
        Ring(vec((500, 350, 500)), vec((-1, 0, 0)), 170, 15),
    ]
    places = [0, 3, 4, 9, len(members) - 1]
    some = Tubes(members, padding).some(places)
    alone = Tubes([members[i] for i in places], padding)
    for tubes, other in ((some, alone), (some.bare(), Tubes(alone.members))):
        for one, two in zip(tubes.nearest(solids), other.nearest(solids), strict=True):
            told = [[(r.member, r.gap, r.station, *r.on_tube) for r in row] for row in (one, two)]
            assert told[0] == told[1]


def test_ball_to_bend_is_point_to_torus(bar: Callable[..., Member]) -> None:
    hoop = bar("hoop", (0, 500, 0), (0, 500, 800), (0, -500, 800), (0, -500, 0), radius=150.0)
    # in the plane of the bend's centre (350, 650), 45 degrees out, and off the plane by 60
    x, out = 60.0, 260.0
    y, z = 350 + out / 2**0.5, 650 + out / 2**0.5
    gap = Tubes([hoop]).nearest([ball(x, y, z, 25.0)])[0][0]
    assert gap.gap == pytest.approx(hypot(out - 150.0, x) - 25.0 - 20.0, abs=1e-4)
    assert gap.station == pytest.approx(650 + 150 * pi / 4, abs=0.02)
    assert np.linalg.norm(gap.on_tube - gap.on_solid) == pytest.approx(gap.gap, abs=1e-6)


def test_segment_to_capsule_is_the_common_perpendicular(bar: Callable[..., Member]) -> None:
    tube = bar("tube", (-300, 0, 100), (300, 0, 100))
    across = Capsule(vec((20, -200, 0)), vec((20, 200, 0)), 30.0)
    assert Tubes([tube]).nearest([across])[0][0].gap == pytest.approx(100 - 30 - 20, abs=1e-5)
    beyond = Capsule(vec((400, 0, 100)), vec((500, 0, 100)), 30.0)
    assert Tubes([tube]).nearest([beyond])[0][0].gap == pytest.approx(100 - 30 - 20, abs=1e-5)


def test_tube_through_a_solid_has_a_negative_gap(bar: Callable[..., Member]) -> None:
    tube = bar("tube", (-300, 0, 0), (300, 0, 0))
    gap = Tubes([tube]).nearest([ball(0, 30, 0, 100.0)])[0][0]
    assert gap.gap == pytest.approx(30 - 100 - 20, abs=1e-6)


def test_padding_takes_room(bar: Callable[..., Member]) -> None:
    tube = bar("tube", (-300, 0, 0), (300, 0, 0))
    bare = Tubes([tube]).nearest([ball(0, 0, 200, 50.0)])[0][0].gap
    padded = Tubes([tube], {"tube": 13.0}).nearest([ball(0, 0, 200, 50.0)])[0][0].gap
    assert bare - padded == pytest.approx(13.0)


def test_many_tubes_against_a_brute_search(bar: Callable[..., Member]) -> None:
    rng = np.random.default_rng(7)
    tubes = [
        bar(f"t{i}", *(tuple(p) for p in rng.uniform(-700, 700, (3, 3))), radius=60.0)
        for i in range(12)
    ]
    solids = [
        Capsule(vec(rng.uniform(-200, 200, 3)), vec(rng.uniform(-200, 200, 3)), 60.0),
        Ring(vec((50, 0, 30)), vec((0, 0, 1)), 175.0, 15.0),
    ]
    for solid in solids:
        (found,) = Tubes(tubes).nearest([solid])
        for tube, gap in zip(tubes, found, strict=True):
            fine = tube.path.points(np.linspace(0, tube.path.length, 60001))
            assert gap.gap == pytest.approx(float(solid.gap(fine).min()) - 20.0, abs=1e-3)
            assert gap.gap <= float(solid.gap(fine).min()) - 20.0 + 1e-4


def test_agrees_with_the_clearance_of_tube_to_tube(bar: Callable[..., Member]) -> None:
    hoop = bar("hoop", (0, 500, 0), (0, 560, 500), (0, 350, 900), (0, -350, 900), radius=150.0)
    helmet = Capsule(vec((60, 260, 760)), vec((150, 260, 760)), 130.0)
    mine = Tubes([hoop]).nearest([helmet])[0][0]
    theirs = segment_gap(helmet.start, helmet.end, hoop.path, 20.0, 130.0)
    assert mine.gap == pytest.approx(theirs.gap, abs=0.02)


def test_points_at_stations_are_the_paths_own(bar: Callable[..., Member]) -> None:
    tubes = [
        bar("a", (0, 0, 0), (500, 0, 0), (500, 400, 200)),
        bar("b", (0, 0, 0), (0, 300, 700)),
        bar("c", (0, 0, 0), (0, 0, 500), (400, 0, 700), (700, 300, 700)),
    ]
    all_of_them = Tubes(tubes)
    for i, tube in enumerate(tubes):
        s = np.linspace(0, tube.path.length, 97)
        own = all_of_them.at(np.full(97, i, dtype=np.intp), s)
        assert own == pytest.approx(tube.path.points(s), abs=1e-9)


def test_no_tubes_no_gaps() -> None:
    assert Tubes([]).nearest([ball(0, 0, 0, 1)]) == [()]
    assert isinstance(CentreLine.straight((0, 0, 0), (1, 0, 0)), CentreLine)


def test_what_a_solid_gets_does_not_hang_on_the_solids_beside_it() -> None:
    cockpit = demos.design("sprint-wagon").cockpit
    body = list(cockpit.occupants[0].parts().values())
    shell = [s.solid for s in surfaces(cockpit.car)]
    together = cockpit.tubes.nearest([*body, *shell])
    for solid, found in zip([*body, *shell], together, strict=True):
        (alone,) = cockpit.tubes.nearest([solid])
        for a, b in zip(alone, found, strict=True):
            assert (a.gap, a.station, *a.on_tube, *a.on_solid) == (
                b.gap, b.station, *b.on_tube, *b.on_solid
            )  # fmt: skip


@pytest.mark.parametrize("limit", [-1e6, 0.0, 60.0, 400.0])
def test_tubes_close_to_a_solid_are_the_nearest_and_all_within_the_limit(limit: float) -> None:
    cockpit = demos.design("sprint-wagon").cockpit
    solids = [s for s in surfaces(cockpit.car) if not isinstance(s.solid, Skin)]
    named = [(s.name, s.solid) for s in solids]
    out = [{"door_bar", "main_hoop"} if n % 2 else set() for n in range(len(named))]
    found = cockpit.close_to(("walls", limit), named, [limit] * len(named), out)
    for close, rooms, roles in zip(found, cockpit.gaps_to(named), out, strict=True):
        rooms = {m: g for m, g in rooms.items() if cockpit.members[m].role not in roles}
        least = min(g.gap for g in rooms.values())
        wanted = {m for m, g in rooms.items() if g.gap <= max(limit, least)}
        assert wanted <= set(close) <= set(rooms)
        for m, gap in close.items():
            assert (gap.gap, gap.station) == (rooms[m].gap, rooms[m].station)
    assert limit > 0 or sum(map(len, found)) < 5 * len(found)

"""How a bar swings: against plain rotation and brute-force clearance of point clouds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cagekit.cage.cage import Cage
from cagekit.cage.door import turn_about
from cagekit.cage.member import CHASSIS, Member
from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.outline import Outline
from cagekit.inputs.build import Build
from cagekit.inputs.car import Car
from cagekit.inputs.keepouts import KeepOut
from cagekit.swing.bodies import BodySide, Prisms, part_solid, plate_solid, stub_gap
from cagekit.swing.motion import SwingMotion, bare_door_limit, obstacles, sweep
from cagekit.swing.opened import opened_cage

from .conftest import caged

RISE = np.array([0.0, 0.0, 200.0])


def rotated(points: np.ndarray, origin: np.ndarray, axis: np.ndarray, angle: float) -> np.ndarray:
    """Rodrigues' formula, written out here."""
    w = points - origin
    k = np.asarray(axis)
    out = (
        w * np.cos(angle)
        + np.cross(k, w) * np.sin(angle)
        + np.multiply.outer(w @ k, k) * (1 - np.cos(angle))
    )
    return out + origin


def skin(member: Member, cage: Cage, spacing: float = 4.0) -> np.ndarray:
    """Points on the outside of a straight piece from cut to cut, and round both rims."""
    a, b = cage.cut(member.id, "a"), cage.cut(member.id, "b")
    phi = np.linspace(0, 2 * np.pi, 90)[:-1]
    r = member.tube.outer_radius
    rows = []
    n = int(member.path.length / spacing)
    s_a = a.trim(phi, r)
    start, along = member.path.start, -a.out
    ring = r * (np.cos(phi)[:, None] * a.zero + np.sin(phi)[:, None] * a.side)
    far = (b.points(phi, r) - start) @ along
    ends = np.max(s_a), np.min(far)
    for s in np.linspace(ends[0], ends[1], n):
        rows.append(start + s * along + ring)
    for cut in (a, b):
        for rho in (r, member.tube.inner_radius):
            rows.append(cut.points(phi, rho))
    return np.concatenate(rows)


def test_motion_is_a_rotation_about_the_pin(make) -> None:
    door = make(bar={"pin_tilt": 12}).door
    points = np.random.default_rng(3).normal(size=(40, 3)) * 300
    for angle in (0.0, 0.4, 1.3, 2.5):
        m = door.motion(angle)
        want = rotated(points, door.hinge.origin, door.hinge.pin, angle)
        assert points @ m[:3, :3].T + m[:3, 3] == pytest.approx(want, abs=1e-9)
    assert turn_about((1, 2, 3), (0, 0, 1), np.pi / 2)[:3, 3] == pytest.approx((3, 1, 0))


@pytest.mark.parametrize("tilt", [0.0, 30.0])
@pytest.mark.parametrize("design", ["saddle", "cheeks"])
def test_relieved_bar_truly_clears_its_stub(make, tilt: float, design: str) -> None:
    """Every point of the bar's skin against the stub as a solid rod, at every half degree."""
    d = make(design=design, bar={"pin_tilt": tilt, "open_angle": 100}, clearance=1.0)
    cage, door = caged(d), d.door
    bar = cage.members[door.bar]
    points = skin(bar, cage)
    points = points[np.linalg.norm(points - door.hinge.origin, axis=1) < 120]
    stub = cage.members[door.hinge.stub]
    face, n = door.hinge.stub_face.point, -door.hinge.along
    least = np.inf
    for angle in np.radians(np.arange(0.0, 100.1, 0.5)):
        p = rotated(points, door.hinge.origin, door.hinge.pin, angle)
        w = p - face
        depth = w @ n  # into the stub
        away = np.linalg.norm(w - np.multiply.outer(depth, n), axis=1) - stub.tube.outer_radius
        least = min(least, float(np.hypot(np.maximum(-depth, 0), np.maximum(away, 0)).min()))
        assert not ((depth > 0) & (away < 0)).any()
    assert least == pytest.approx(1.0, abs=0.03)
    swept = sweep(cage, None, door)
    found = swept.to("hinge stub")
    assert found is not None
    assert found.gap == pytest.approx(least, abs=0.05)


def test_unrelieved_bar_would_bind(make) -> None:
    d = make()
    cage, door = caged(d), d.door
    assert np.degrees(door.hinge.relief) > 5
    bar = cage.members[door.bar]
    square = replace(bar, b=replace(bar.b, plane=None))
    square_cage = Cage("door", [square, *(m for m in cage.members.values() if m is not bar)])
    points = skin(square, square_cage)
    hit = False
    for angle in np.radians(np.arange(0, 90, 1.0)):
        p = rotated(points, door.hinge.origin, door.hinge.pin, angle)
        w = p - door.hinge.stub_face.point
        depth = w @ -door.hinge.along
        away = np.linalg.norm(w + np.multiply.outer(depth, door.hinge.along), axis=1)
        hit |= bool(((depth > 0) & (away < 20.0)).any())
    assert hit


@pytest.mark.parametrize("design", ["saddle", "cheeks"])
def test_gaps_to_brackets_against_plate_clouds(make, design: str) -> None:
    """The bar swings freely between the plates: cloud of the bar against cloud of the plates."""
    d = make(design=design)
    cage, door = caged(d), d.door
    bar = cage.members[door.bar]
    points = skin(bar, cage)
    swept = sweep(cage, None, door)
    assert swept.limit is None or swept.limit > door.open_angle  # its own stub, much later
    for joint in door.joints:
        near = points[np.linalg.norm(points - joint.origin, axis=1) < 100]
        clouds = []
        for plate in cage.plates:
            if plate.kind.startswith(joint.name):
                low, high = plate.outline.box
                grid = np.stack(
                    np.meshgrid(*(np.arange(a, b, 2.0) for a, b in zip(low, high, strict=True))),
                    axis=-1,
                ).reshape(-1, 2)
                grid = grid[plate.outline.contains(grid)]
                clouds += [plate.car_points(grid, z) for z in (0.0, -plate.thickness)]
        cloud = np.concatenate(clouds)
        least = np.inf
        for angle in np.radians(np.linspace(0, 90, 13)):
            p = rotated(near, door.hinge.origin, door.hinge.pin, angle)[::4]
            gap = np.linalg.norm(p[:, None] - cloud[None], axis=2).min()
            least = min(least, float(gap))
            if joint.name == "latch" and angle > 0.2:
                break
        swing = SwingMotion(cage, None, door)
        at = swing.positions(np.radians(np.linspace(0, 90, 61)))
        found = min(
            float(swing.gaps(i, at)[0].min()) for i, one in enumerate(swing.obstacles)
            if one.kind == f"{joint.name} bracket" and "cup" not in one.name
        )  # fmt: skip
        assert found <= least + 0.1
        assert least <= found + 1.5  # spacing of the clouds


def test_a_post_in_the_way_stops_the_bar(make) -> None:
    """A ball of steel at a known place: the angle follows from trigonometry."""
    d = make(start=(0, 650, 300), end=(1150, 650, 300))
    door = d.door
    x, y = float(door.hinge.origin[0]), float(door.hinge.origin[1])
    reach, away = 400.0, np.radians(60)
    spot = np.array([x - reach * np.cos(away), y + reach * np.sin(away), 300.0])
    post = Member(
        id="post", role="strut", side="left", tube=door.fitted.tube,
        path=CentreLine.straight(spot - RISE, spot + RISE),
    )  # fmt: skip
    cage = Cage("door", [*d.pieces, post], plates=d.plates, doors=[door], hardware=d.hardware)
    swept = sweep(cage, None, door)
    want = away - np.arcsin(40.0 / reach)
    assert swept.limit == pytest.approx(want, abs=np.radians(0.1))
    assert swept.meets is not None
    assert swept.meets.name == "post"
    assert swept.full == pytest.approx(swept.limit - np.radians(1.0))


def test_keep_out_stops_the_bar(wagon: tuple[Build, Cage]) -> None:
    build, cage = wagon
    door = cage.doors[0]
    free = sweep(cage, build.car, door)
    assert np.degrees(free.full) > 85
    box = KeepOut(
        name="mirror", shape="box", low=(500.0, 1000.0, 200.0), high=(600.0, 1100.0, 450.0)
    )
    car = build.car.model_copy(update={"keepouts": (*build.car.keepouts, box)})
    stopped = sweep(cage, car, door)
    assert stopped.meets is not None
    assert stopped.meets.name == "mirror"
    assert stopped.full < free.full - 0.2
    # at the limit the corner of the box that is met lies a tube's radius off the bar's axis
    origin = door.hinge.origin
    corner = np.array([500.0, 1000.0, origin[2]])
    back = rotated(corner[None], origin, door.hinge.pin, -float(stopped.limit or 0))[0] - origin
    off = np.linalg.norm(back - (back @ door.hinge.along) * door.hinge.along)
    assert off == pytest.approx(door.fitted.tube.outer_radius, abs=1.5)


def test_front_edge_of_the_door_opening_by_hand(wagon: tuple[Build, Cage]) -> None:
    """The bar's front side at the limit touches the edge line of the opening."""
    build, cage = wagon
    for door in cage.doors:
        swept = sweep(cage, build.car, door)
        assert swept.meets is not None
        assert swept.meets.name == "front edge of the door opening"
        x, _, z = swept.meets.point
        outline = np.array(build.car.side(door.side).door.outline)
        (x0, z0), (x1, z1) = outline[1], outline[2]
        edge = x0 + (z - z0) / (z1 - z0) * (x1 - x0)
        r = door.fitted.tube.outer_radius
        assert r - 1.5 < edge - x < r * np.hypot(1.0, (x1 - x0) / (z1 - z0)) + 1.5


def test_room_to_the_opening_is_that_of_the_round_side(wagon: tuple[Build, Cage]) -> None:
    """Against the bar's axis in steps of a fiftieth of a mm, turned by Rodrigues' formula."""
    build, cage = wagon
    for door in cage.doors:
        told = sweep(cage, build.car, door).to("opening")
        assert told is not None
        path = cage.member(door.bar).path
        axis = path.points(np.linspace(30.0, path.length - 30.0, int(path.length * 50)))
        axis = rotated(axis, door.hinge.origin, door.hinge.pin, told.angle)
        wall = BodySide.of(build.car, door.side)
        assert wall is not None
        least = wall.gap(axis).min() - door.fitted.tube.outer_radius
        assert told.gap == pytest.approx(least, abs=0.005)


def test_body_side_is_a_wall_with_a_hole(wagon: tuple[Build, Cage]) -> None:
    car = wagon[0].car
    wall = BodySide.of(car, "left")
    assert wall is not None
    inside = wall.gap(np.array([[600.0, 690.0, 300.0]]))[0]  # in the opening
    assert inside > 200
    assert wall.gap(np.array([[-50.0, 710.0, 300.0]]))[0] < 0  # in the quarter panel
    assert wall.gap(np.array([[600.0, 400.0, 1500.0]]))[0] > 100  # in the cabin
    assert wall.part(np.array([-50.0, 700.0, 300.0])) == "quarter panel"
    assert wall.part(np.array([1100.0, 700.0, 300.0])) == "front edge of the door opening"
    assert wall.part(np.array([600.0, 700.0, -100.0])) == "sill"


def test_solids_tell_their_distance() -> None:
    rng = np.random.default_rng(11)
    points = rng.uniform(-60, 60, size=(300, 3))
    loop = Outline.rectangle(40, 24)
    box = Prisms([np.eye(4)], [loop], [(-5.0, 7.0)]).gap(points)
    q = np.abs(points - [0, 0, 1]) - [20, 12, 6]
    want = np.linalg.norm(np.maximum(q, 0), axis=1) + np.minimum(q.max(axis=1), 0)
    assert box == pytest.approx(want, abs=1e-9)


def test_plate_and_part_gaps_on_their_own_surface(make) -> None:
    d = make(design="cheeks")
    for plate in d.plates:
        face = plate.car_points(plate.outline.sampled(3.0), 0.0)
        assert np.abs(plate_solid(plate).gap(face)).max() < 1e-6
        off = face + 4.0 * plate.normal
        assert plate_solid(plate).gap(off) == pytest.approx(4.0, abs=1e-6)
    cup = next(p for p in d.hardware if p.kind == "half_cup")
    axis = d.door.latch.origin
    assert part_solid(cup).gap(axis[None])[0] == pytest.approx(20.2, abs=1e-6)


def test_stub_gap_at_its_face(make) -> None:
    door = make().door
    cage_stub = make().pieces[2]
    gap = stub_gap(cage_stub, door.hinge.stub_face)
    ahead = door.hinge.stub_face.point + 7.0 * door.hinge.along
    assert gap(ahead[None])[0] == pytest.approx(7.0)
    beside = ahead + 50.0 * door.hinge.out
    assert gap(beside[None])[0] == pytest.approx(np.hypot(30.0, 7.0))


def test_opened_cage_moves_what_swings_and_nothing_else(wagon: tuple[Build, Cage]) -> None:
    cage = wagon[1]
    door = cage.doors[0]
    opened = opened_cage(cage, {door.bar: 1.0})
    moved = {
        i for i, m in opened.members.items()
        if not np.allclose(m.path.corners(), cage.members[i].path.corners())
    }  # fmt: skip
    assert moved == {door.bar}
    bar, was = opened.members[door.bar], cage.members[door.bar]
    want = rotated(was.path.corners(), door.hinge.origin, door.hinge.pin, 1.0)
    assert bar.path.corners() == pytest.approx(want, abs=1e-9)
    assert opened.volume(door.bar) == pytest.approx(cage.volume(door.bar), rel=1e-9)
    gone = {p.id for p in cage.hardware} - {p.id for p in opened.hardware}
    assert gone == {f"{door.bar}_latch_{n}" for n in ("pin", "spacer_lower", "spacer_upper")}
    assert [p.id for p in opened.plates] == [p.id for p in cage.plates]


def test_a_tube_of_the_frame_stops_the_bar(make) -> None:
    d = make(bar={"open_angle": 90})
    door = d.door
    middle = door.fitted.path.spot(door.fitted.path.length / 2).point + 150.0 * door.hinge.out
    post = Member(
        id="old_post",
        role=CHASSIS,
        tube=door.fitted.tube,
        path=CentreLine.straight(middle - 2 * RISE, middle + 2 * RISE),
    )
    free = sweep(caged(d), None, door)
    framed = Cage("c", d.pieces, plates=d.plates, hardware=d.hardware, chassis=[post])
    stopped = sweep(framed, None, door)
    assert free.limit is None or free.limit > np.radians(90)
    assert stopped.meets is not None
    assert stopped.meets.name == "old_post"
    assert stopped.full < np.radians(30)


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_bar_opens_no_further_than_the_cars_own_door(make, car, side: str) -> None:
    """Against a cloud on the door's trim, turned out about its hinges, and the bar's own axis."""
    sign = 1.0 if side == "left" else -1.0
    d = make(start=(0.0, sign * 650, 380), end=(1150.0, sign * 610, 300), side=side)
    cage, door = caged(d), d.door
    own = car.side(side)
    ajar = own.model_copy(
        update={"door": own.door.model_copy(update={"opens": float(np.radians(55))})}
    )
    free = sweep(cage, car, door)
    held = sweep(cage, car.model_copy(update={side: ajar}), door)
    assert held.meets is not None
    assert (held.meets.name, held.meets.kind) == (f"open {side} door", "door")
    assert held.limit is not None
    assert free.limit is None or free.limit > held.limit

    # a trim 690 from the centre plane; hinges at the front of the outside, 740 from it
    x, z = np.meshgrid(np.arange(100.0, 1000.0, 5.0), np.arange(100.0, 700.0, 5.0))
    trim = np.column_stack([x.ravel(), np.full(x.size, sign * 690), z.ravel()])
    hinge, upright = np.array([1060.0, sign * 740, 0.0]), np.array([0.0, 0.0, 1.0])
    trim = rotated(trim, hinge, upright, -sign * np.radians(55))
    assert (sign * trim[:, 1] > 690).all()  # it stands out of the car
    bar = cage.members[door.bar]
    axis = bar.path.points(np.linspace(0.0, bar.path.length, 200))

    def gap(angle: float) -> float:
        moved = rotated(axis, door.hinge.origin, door.hinge.pin, angle)
        return float(np.linalg.norm(moved[:, None] - trim[None, ::3], axis=2).min()) - 20.0

    assert gap(held.limit) == pytest.approx(0.0, abs=1.5)
    assert gap(held.full) > 2.0
    assert gap(held.limit + np.radians(1.0)) < -2.0


def test_a_bar_hinged_at_its_rear_meets_the_outside_of_a_door_that_opens_little(make, car) -> None:
    """Its front rim against a plane 20 inside the outside; a wide open door lets it pass."""
    d = make(start=(0.0, 650, 380), end=(1150.0, 610, 300), hinge_end="a")
    cage, door = caged(d), d.door
    own = car.left

    def ajar(opens: float) -> Car:
        turned = own.door.model_copy(update={"opens": float(np.radians(opens))})
        return car.model_copy(update={"left": own.model_copy(update={"door": turned})})

    limit = bare_door_limit(cage, ajar(60.0), door)
    assert limit is not None
    assert limit > sweep(cage, ajar(60.0), door).limit
    hinge, upright = np.array([1060.0, 740.0, 0.0]), np.array([0.0, 0.0, 1.0])
    out = rotated(np.array([[0.0, 1.0, 0.0]]), np.zeros(3), upright, -np.radians(60))[0]
    cut = cage.cut(door.bar, door.latch.end)
    rim = cut.points(np.linspace(0.0, 2 * np.pi, 721), cut.outer_radius)
    moved = rotated(rim, door.hinge.origin, door.hinge.pin, limit)
    assert float(((moved - hinge) @ out).max()) == pytest.approx(-20.0, abs=0.3)
    assert bare_door_limit(cage, ajar(90.0), door) is None


def test_what_is_measured_is_the_nearest_of_all_points(wagon: tuple[Build, Cage]) -> None:
    """Against every point of the bar, for everything that it could meet."""
    build, cage = wagon
    swing = SwingMotion(cage, build.car, cage.doors[0])
    angles = np.radians([0.0, 1.0, 17.0, 60.0, 91.0, 140.0])
    at, probe = swing.positions(angles), swing.probe
    for row, angle in zip(at, angles, strict=True):
        hinge = swing.door.hinge
        assert row == pytest.approx(rotated(probe.points, hinge.origin, hinge.pin, angle), abs=1e-9)
    at = np.concatenate([at, at[:2] - 3 * RISE])  # and under the floor
    kinds, deep = set(), False
    for i, (one, afar) in enumerate(zip(swing.obstacles, swing.from_afar(at), strict=True)):
        points = slice(None) if one.own else probe.rough
        every = np.array([one.gap(row[points]) for row in at]) - probe.radii[points]
        assert swing.gaps(i, at)[0] == pytest.approx(every.min(axis=1), abs=1e-9)
        assert afar <= max(every.min(), 0.0)
        kinds.add(one.kind)
        deep |= bool((every.min(axis=1) < -50.0).any() and one.name.endswith("floor"))
    assert {"tube", "opening", "body", "hinge stub", "latch bracket"} <= kinds
    assert deep
    assert deep


def test_an_obstacle_is_no_nearer_than_it_is_said_to_be_at_least(
    wagon: tuple[Build, Cage],
) -> None:
    build, cage = wagon
    rng = np.random.default_rng(29)
    door = cage.doors[1]
    near = door.fitted.path.points(np.linspace(0.0, door.fitted.path.length, 300))
    points = near + rng.normal(size=near.shape) * rng.choice([5.0, 60.0, 400.0], size=(300, 1))
    steps = rng.normal(size=points.shape) * rng.choice([1.0, 30.0], size=(300, 1))
    for one in obstacles(cage, build.car, door):
        gap, least = one.gap(points), one.least(points)
        assert (least <= np.maximum(gap, 0.0) + 1e-9).all(), one.name
        moved = np.abs(one.least(points + steps) - least)
        assert (moved <= np.linalg.norm(steps, axis=1) + 1e-9).all(), one.name

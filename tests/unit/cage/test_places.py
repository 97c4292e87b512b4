"""Places: the grammar, what is found, and what is said when nothing is."""

from __future__ import annotations

from pathlib import Path

import demos
import numpy as np
import pytest

from cagekit.assembly.assemble import assemble, members_only
from cagekit.cage.member import EndKind
from cagekit.cage.places import Places
from cagekit.design import Design
from cagekit.errors import CagekitError, GeometryError, InputError
from cagekit.inputs.places import (
    FootName,
    OnTube,
    TubeEnd,
    read_end,
    read_foot,
    read_location,
    read_swing,
)
from cagekit.inputs.presets import find_preset
from cagekit.inputs.resolve import load_build


@pytest.fixture(scope="module")
def places() -> Places:
    build = load_build("sprint-wagon")
    return Places(build.car, members_only(build).members)


def find(places: Places, text: str):  # type: ignore[no-untyped-def]
    return places.find(read_location(text), where="test")


def test_height_on_one_side(places: Places) -> None:
    left = find(places, "on main_hoop.left at height 450")
    right = find(places, "on main_hoop.right at height 450 mm")
    assert left.point[2] == pytest.approx(450)
    assert right.point[2] == pytest.approx(450)
    assert left.point[1] > 500
    assert right.point[1] < -500
    assert left.members == ("main_hoop",)


def test_inches_and_fractions_are_read(places: Places) -> None:
    assert find(places, "on main_hoop.left at height 17 1/2 in").point[2] == pytest.approx(444.5)


@pytest.mark.parametrize(("word", "axis", "best"), [("top bend", 2, max), ("low bend", 2, min)])
def test_named_bends(places: Places, word: str, axis: int, best) -> None:  # type: ignore[no-untyped-def]
    hoop = places.members["main_hoop"].path
    bends = [b.point(b.length / 2) for b in hoop.bends]
    left = [p for p in bends if p[1] > 0]
    assert find(places, f"on main_hoop.left at {word}").point[axis] == pytest.approx(
        best(p[axis] for p in left)
    )


def test_an_article_is_read_over(places: Places) -> None:
    plain = find(places, "on halo.left at front bend").point
    assert find(places, "on halo.left at the front bend").point == pytest.approx(plain)


def test_moves_go_the_way_they_say(places: Places) -> None:
    here = find(places, "on main_hoop.left at height 300")
    up = find(places, "on main_hoop.left at height 300 up 50")
    down = find(places, "on main_hoop.left at height 300 down 50")
    assert up.point[2] > here.point[2] > down.point[2]
    inboard = find(places, "on main_hoop.right at top bend inboard 80")
    assert abs(inboard.point[1]) < abs(find(places, "on main_hoop.right at top bend").point[1])


def test_ends_middle_fraction_and_station(places: Places) -> None:
    path = places.members["halo"].path
    assert find(places, "on halo at end b").point == pytest.approx(path.end)
    assert find(places, "on halo at middle").point == pytest.approx(
        path.spot(path.length / 2).point
    )
    assert find(places, "on halo at fraction 0.25").point == pytest.approx(
        path.spot(path.length / 4).point
    )
    assert find(places, "on halo at station 100").point == pytest.approx(path.spot(100).point)


@pytest.mark.parametrize(
    "where", ["fraction 0.12", "station 100", "end a", "bend 1", "fraction 0.1 back 20"]
)
def test_a_half_is_not_given_for_the_other(places: Places, where: str) -> None:
    """`on halo.right at fraction 0.12` was a place on the left, and a strut through the driver."""
    assert find(places, f"on halo.left at {where}").point[1] > 0
    with pytest.raises(GeometryError, match="on its other half, not on the right"):
        find(places, f"on halo.right at {where}")
    assert find(places, "on halo.right at fraction 0.88").point[1] < 0


def test_side_names_the_member_of_that_side(places: Places) -> None:
    a = find(places, "on a_pillar_bar.left at height 300")
    assert a.members == ("a_pillar_bar_left",)


def test_points_and_the_car(places: Places) -> None:
    assert find(places, "at 1, -2.5, 3 in").point == pytest.approx([1, -2.5, 76.2])
    foot = find(places, "car right rear_foot")
    assert foot.point[1] < 0
    assert foot.normal is not None


def test_further_parents(places: Places) -> None:
    place = find(places, "on main_hoop.left at height 450 and hoop_diagonal")
    assert place.members == ("main_hoop", "hoop_diagonal")


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("main_hoop at 450", InputError, "not a place"),
        ("on main_hoop.left at hight 450", InputError, "hight 450"),
        ("on main_hop.left at height 450", InputError, "Did you mean 'main_hoop'"),
        ("on main_hoop.left at height 4500", GeometryError, "no place at height 4500"),
        ("on main_hoop.left at height ten", InputError, "no length"),
        ("on halo at bend 9", GeometryError, "has 2 bends, no bend 9"),
        ("on halo at bend zero", InputError, "not a bend's number"),
        ("on halo at fraction 7", InputError, "0 to 1"),
        ("on halo at end c", InputError, "end a and end b"),
        ("on halo at station 9999", GeometryError, "halo: has no station 9999"),
        ("on harness_bar_1 at middle up 10", GeometryError, "does not run up"),
        ("on halo at end a forward 9000", GeometryError, "ends before"),
        ("on harness_bar_1 at top bend", GeometryError, "has no bend there"),
        ("at 1, 2", InputError, "X, Y, Z"),
        ("car middle foot", InputError, "car left rear_foot"),
        ("car left front_tower", InputError, "left.spots.front_tower"),
        ("on halo at middle and nobody", InputError, "no member 'nobody'"),
    ],
)
def test_wrong_places_are_told(
    places: Places, text: str, kind: type[CagekitError], says: str
) -> None:
    with pytest.raises(kind, match=says) as caught:
        find(places, text)
    if isinstance(caught.value, GeometryError):
        assert caught.value.hint  # a check prints it as the cure


def test_bare_numbers_follow_the_file() -> None:
    place = read_location("on a at height 10", "in")
    assert place == OnTube(member="a", at="height", value=254.0)
    assert read_location(str(place)) == place


def test_a_strut_stands_on_a_spot_of_its_own(tmp_path: Path) -> None:
    """A tower that only the car sheet knows: the strut stands on its plate, square to the sheet."""
    shown = find_preset("car", "gravel-hatch").read_text("utf-8")
    lean = 'point = [1560, 520, 420]\nnormal = [-0.2, 0.0, 0.98]\nsurface = "tower"\nsheet = 1.5\n'
    (tmp_path / "car.toml").write_text(f"{shown}\n[side.spots.front_tower]\n{lean}", "utf-8")
    build = find_preset("build", "gravel-hatch").read_text("utf-8")
    strut = (
        '[[strut]]\nid = "tower_strut"\nside = "both"\n'
        'from = "on front_hoop.{side} at height 560"\nto = "car {side} front_tower"\n'
    )
    text = build.replace('car = "gravel-hatch"', 'car = "car.toml"')
    (tmp_path / "own.toml").write_text(f"{text}\n{strut}", "utf-8")
    cage = assemble(load_build(str(tmp_path / "own.toml")))
    for side, y in (("left", 520.0), ("right", -520.0)):
        m = cage.member(f"tower_strut_{side}")
        assert m.b.kind is EndKind.FLAT
        (plate,) = [p for p in cage.plates if p.id == f"foot_{m.id}_b"]
        up = np.array([-0.2, 0.0, 0.98]) / np.hypot(0.2, 0.98)
        assert m.path.end == pytest.approx(np.array([1560, y, 420]) + plate.thickness * up)


@pytest.mark.parametrize(
    ("selector", "share", "piece"),
    [
        ("fraction 0.1", 0.1, 1),
        ("fraction 0.9", 0.9, 3),
        ("middle", 0.5, 2),
        ("end a", 0.0, 1),
        ("end b", 1.0, 3),
        ("station 1200", 1200 / 1373, 3),
    ],
)
def test_a_place_on_a_bar_that_others_cut_is_counted_along_all_its_pieces(
    selector: str, share: float, piece: int
) -> None:
    cage = demos.cage("gravel-hatch")
    places = Places(demos.build("gravel-hatch").car, cage.members)
    found = places.find(read_location(f"on harness_bar at {selector}"), where="x")
    first, last = (cage.member(f"harness_bar_{n}") for n in (1, 3))
    whole = last.path.end - first.path.start
    assert f"harness_bar_{piece}" in found.members
    assert found.point == pytest.approx(first.path.start + share * whole, abs=0.5)


def test_a_tube_that_leans_too_far_for_its_plate_names_the_normal_of_the_car_sheet(
    tmp_path: Path,
) -> None:
    shown = find_preset("car", "hillclimb-coupe").read_text("utf-8")
    foot = shown.index("[side.rear_foot]")
    at = shown.index("normal", foot)
    text = f"{shown[:at]}normal = [-1, 0, 0.1]\n{shown[shown.index(chr(10), at) + 1 :]}"
    (tmp_path / "car.toml").write_text(text, "utf-8")
    build = find_preset("build", "hillclimb-coupe").read_text("utf-8")
    own = build.replace('car = "hillclimb-coupe"', 'car = "car.toml"')
    (tmp_path / "own.toml").write_text(own, "utf-8")
    line = shown[:at].count("\n") + 1
    with pytest.raises(
        GeometryError, match=rf"Turn the sheet of left\.rear_foot .*`normal`.*car\.toml:{line}\.$"
    ):
        _ = Design.load(str(tmp_path / "own.toml")).cage


def test_ends_and_feet_are_read_whole() -> None:
    assert read_end("A_pillar_bar_left  end a") == TubeEnd(tube="a_pillar_bar_left", end="a")
    assert read_foot("left.main_foot") == FootName(name="main_foot", side="left")
    assert read_foot("feet") is None
    for text, read in (("halo", read_end), ("main_hoop.a", read_foot), ("bar x hinge", read_swing)):
        with pytest.raises(InputError, match="names no"):
            read(text)

"""The overview sheet: drawn to scale, every member numbered and listed, also for odd cages."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import demos
import numpy as np
import pytest

from cagekit.cage.cage import Cage
from cagekit.cage.colours import FAMILIES, ROLES, member_colour
from cagekit.cage.member import End
from cagekit.design import Design
from cagekit.parts.tubes import KINDS
from cagekit.view import overview as sheet
from cagekit.view.overview import overview
from cagekit.view.scene import bodies
from cagekit.writers.png import write_cage
from cagekit.writers.shopbook import Book


def part(kind: str) -> Cage:
    return KINDS[kind].make(KINDS[kind].read({})).cage


HALO = part("halo")


def test_three_views_share_a_scale_and_stand_in_line() -> None:
    side, front, top, oblique = sheet._placed(bodies(HALO))
    assert side.frame.scale == front.frame.scale == top.frame.scale
    assert side.y == front.y
    assert side.x == top.x
    # first-angle projection: a point stands at the same x in side and top view, at the same
    # height in side and front view
    point = np.array([[123.0, -45.0, 67.0]])
    x, y, _ = side.frame.pixels(point)[0]
    assert top.x + top.frame.pixels(point)[0][0] == pytest.approx(side.x + x, abs=1e-6)
    assert front.y + front.frame.pixels(point)[0][1] == pytest.approx(side.y + y, abs=1e-6)
    places = [side, front, top, oblique]
    for n, one in enumerate(places):
        for two in places[n + 1 :]:
            apart_x = one.x + one.frame.width <= two.x or two.x + two.frame.width <= one.x
            apart_y = one.y + one.frame.height <= two.y or two.y + two.frame.height <= one.y
            assert apart_x or apart_y
    assert all(p.x >= 0 and p.x + p.frame.width <= sheet.WIDTH for p in places)


def test_each_members_colour_is_seen() -> None:
    image = np.asarray(overview(HALO)).reshape(-1, 3).astype(int)
    for member in HALO.members.values():
        r, g, b = (round(255 * c) for c in member_colour(member))
        assert (np.abs(image - [r, g, b]).max(axis=1) <= 2).any(), member.id


def test_numbers_keep_apart_and_sit_on_their_member(monkeypatch: pytest.MonkeyPatch) -> None:
    spots: list[np.ndarray] = []
    free = sheet._free_spot

    def noted(*args: object) -> tuple[np.ndarray, bool]:
        spots.append(free(*args)[0])  # type: ignore[arg-type]
        return free(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(sheet, "_free_spot", noted)
    overview(HALO)
    assert len(spots) == len(HALO.members)
    gaps = [np.linalg.norm(a - b) for n, a in enumerate(spots) for b in spots[n + 1 :]]
    assert min(gaps) > 2 * sheet.BALLOON


def test_pieces_bear_the_number_that_the_book_gives_their_whole_tube() -> None:
    design = demos.design("sprint-wagon")
    numbers = sheet.numbers_of(design.cage)
    book = Book(design).numbers
    assert list(numbers) == list(design.cage.members)
    for id_, number in numbers.items():
        assert number == book[design.bar_of_piece.get(id_, id_)]
    assert numbers["door_bar_left"] == numbers["door_bar_left_hinge_stub"] == 16
    assert numbers["door_bar_right"] == 17
    assert list(sheet.numbers_of(HALO).values()) == list(range(1, len(HALO.members) + 1))


def test_many_members_long_names_and_none_at_all() -> None:
    hoop = next(iter(part("main_hoop").members.values()))
    members = [
        replace(
            hoop,
            id=f"hoop_{n}_with_a_name_that_is_longer_than_its_column",
            path=hoop.path.mapped(np.eye(3), (-70.0 * n, 0, 0)),
            a=End(),
            b=End(),
        )
        for n in range(12)
    ]
    tall = overview(Cage("many", members), units="in", title="x" * 300)
    short = overview(Cage("none", []))
    assert tall.width == short.width == sheet.WIDTH
    assert tall.height > short.height
    # nothing runs over the edge
    image = np.asarray(tall)
    assert (image[:, -20:] == 255).all()
    assert (image[:, :10] == 255).all()


@pytest.mark.parametrize("kind", ["strut", "outrigger", "main_hoop"])
def test_flat_things_are_drawn_too(kind: str) -> None:
    image = overview(part(kind))
    assert image.height > 600
    assert (np.asarray(image) < 200).any()


def test_it_is_written_the_same_twice(tmp_path: Path) -> None:
    written = []
    for _ in range(2):
        write_cage(Design(cage=HALO), tmp_path)
        written.append((tmp_path / "cage.png").read_bytes())
    assert written[0] == written[1]
    assert b"tIME" not in written[0]


def test_every_role_that_can_be_made_has_a_colour_of_a_family() -> None:
    colours = {c for _, c in FAMILIES}
    assert set(KINDS) <= set(ROLES)
    assert set(ROLES.values()) <= colours


def test_a_role_of_the_users_own_has_the_colour_of_its_kind() -> None:
    bar = replace(HALO.members["halo"], role="door_bar_lower", kind="")
    assert member_colour(bar) == dict(FAMILIES)["other"]
    assert member_colour(replace(bar, kind="door_bar")) == ROLES["door_bar"]

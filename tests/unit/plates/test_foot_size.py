"""How large a foot's plate must be: by the rulebooks that the build names, and no other."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import members_only
from cagekit.checks.registry import run
from cagekit.design import Design
from cagekit.inputs.build import Build
from cagekit.inputs.resolve import load_build
from cagekit.plates.foot_size import asked_of
from cagekit.units import INCH

OWN = """
kind = "rules"
name = "{name}"
title = "Club rules"
units = "in"
{more}
[sets]
legs = ["hoop", "!a_pillar_bar"]
[[rule]]
code = "area"
quantity = "plate_contact_area"
of = ["legs"]
op = ">="
limit = {limit}
text = "Large plates."
cure = "Enlarge the plate."
"""


def ruled(*rules: str, name: str = "sprint-wagon", **car: object) -> Build:
    build = load_build(name)
    file = build.file.model_copy(update={"rules": rules})
    return replace(build, file=file, car=build.car.model_copy(update=car))


def asked(build: Build, member: str) -> float:
    return asked_of(build, members_only(build).members[member]).area


@pytest.mark.parametrize(
    ("rules", "car", "member", "area"),
    [
        # printed in the books: 120 and 60 cm2; 6 x 6 in; 9, and in rallies 12 sq in
        (("fia-253",), {}, "main_hoop", 12000),
        (("fia-253",), {}, "rear_brace_left", 6000),
        (("nhra",), {}, "main_hoop", 36 * INCH**2),
        (("nasa-ccr",), {"class_": "road race"}, "main_hoop", 9 * INCH**2),
        (("nasa-ccr",), {"class_": "rally"}, "main_hoop", 12 * INCH**2),
        # ten square inches for each inch of the tube's diameter
        (("scca-gcr",), {"class_": "rally"}, "main_hoop", 10 * 1.625 * INCH**2),
        (("nasa-ccr", "fia-253"), {}, "main_hoop", 12000),
        # nobody asks: common practice
        ((), {}, "main_hoop", 10000),
        ((), {}, "rear_brace_left", 6000),
        (("nhra",), {}, "rear_brace_left", 6000),
    ],
)
def test_the_largest_that_the_chosen_books_ask_of_a_foot(
    rules: tuple[str, ...], car: dict[str, object], member: str, area: float
) -> None:
    assert asked(ruled(*rules, **car), member) == pytest.approx(area)


def test_a_size_is_held_by_its_sides() -> None:
    build = ruled("nhra")
    found = asked_of(build, members_only(build).members["main_hoop"])
    assert found.sides == pytest.approx((6 * INCH, 6 * INCH))


def test_a_book_of_ones_own_is_asked_with_its_sets(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text(OWN.format(name="own", more="", limit=30), "utf-8")
    build = ruled(str(own))
    assert asked(build, "main_hoop") == pytest.approx(30 * INCH**2)
    assert asked(build, "a_pillar_bar_left") == 10000
    instead = tmp_path / "instead.toml"
    text = OWN.format(name="instead", more='replaces = "plate-practice"', limit=30)
    instead.write_text(text, "utf-8")
    assert asked(ruled(str(instead)), "a_pillar_bar_left") == 0


def test_a_limit_that_is_no_area_is_left_to_the_check(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text(OWN.format(name="own", more="", limit='"thirty"'), "utf-8")
    assert asked(ruled(str(own)), "main_hoop") == 10000


def test_a_small_plate_is_told_by_the_book_that_the_choice_goes_by() -> None:
    build = ruled(name="track-roadster")
    from cagekit.inputs.plate import FloorPlateEntry

    entry = FloorPlateEntry(kind="floor_plate", at=None, length=70, width=70)
    found = run(Design(replace(build, plates=(entry,))), ["plates"])
    told = {f.code: f for f in found if f.code.startswith("plate/foot-area")}
    assert set(told) == {"plate/foot-area-hoop", "plate/foot-area"}
    assert all(f.measured < 4900 for f in told.values())

"""A number has one judge: no two findings hold the same number, unless named rulebooks differ."""

from __future__ import annotations

from collections import defaultdict
from itertools import combinations
from pathlib import Path

import demos
import pytest
from msgspec.structs import replace

from cagekit.checks import Finding, Status, run
from cagekit.checks.profile import GENERAL, load_profile
from cagekit.design import Design
from cagekit.errors import InputError
from cagekit.inputs.presets import list_presets
from cagekit.materials.source import Certainty

DEMOS = ("sprint-wagon", "hillclimb-coupe", "gravel-hatch", "track-roadster")
RULEBOOKS = tuple(p.name for p in list_presets("rules") if p.name not in GENERAL)
BODIES = ("FIA", "NHRA", "SCCA", "NASA", "Motorsport", "Formula SAE")
JUDGED = (Status.FAIL, Status.WARN, Status.PASS)


def book_of(f: Finding) -> str:
    """The rulebook that a finding comes from; empty for a general book."""
    return f.code.split("/")[0] if f.group == "rules" else ""


def doubles(found: tuple[Finding, ...]) -> list[tuple[str, str]]:
    """Codes of findings that hold one number of the same things against two limits.

    Told by the quantity, and across books also by number, unit, things and place, without trusting
    the quantity's name. A rulebook may close a range from both sides.
    """
    by_name: dict[object, list[Finding]] = defaultdict(list)
    by_number: dict[object, list[Finding]] = defaultdict(list)
    for f in found:
        if f.status not in JUDGED or not isinstance(f.measured, float) or f.limit is None:
            continue
        e = f.evidence
        things = (frozenset(e.members), frozenset(e.plates))
        number = round(f.measured, 6)
        by_name[f.measures, f.subject, things, number, e.points].append(f)
        if number and e.points:
            by_number[f.unit, things, number, e.points].append(f)
    pairs = [p for rows in by_name.values() for p in combinations(rows, 2) if _same(*p)]
    for rows in by_number.values():
        pairs += [(a, b) for a, b in combinations(rows, 2) if not (book_of(a) and book_of(b))]
    return sorted({(a.code, b.code) for a, b in pairs})


def _same(a: Finding, b: Finding) -> bool:
    """Whether two findings on one number are one too many."""
    if not book_of(a) or not book_of(b):
        return True
    return book_of(a) == book_of(b) and a.op == b.op


@pytest.fixture(scope="module")
def designs() -> dict[str, Design]:
    return {name: demos.design(name) for name in DEMOS}


@pytest.mark.parametrize("name", DEMOS)
@pytest.mark.parametrize("rules", [None, (), RULEBOOKS], ids=["own", "none", "all"])
def test_no_number_is_judged_twice(
    designs: dict[str, Design], name: str, rules: tuple[str, ...] | None
) -> None:
    assert doubles(run(designs[name], rules=rules)) == []


def test_a_number_judged_twice_would_be_seen(designs: dict[str, Design]) -> None:
    found = run(designs["track-roadster"], ["fit"], rules=())
    (f,) = [f for f in found if f.code == "fit/helmet-room"]
    assert doubles((f, f)) == [("fit/helmet-room", "fit/helmet-room")]


@pytest.mark.parametrize("name", DEMOS)
def test_a_body_judges_only_those_who_named_it(designs: dict[str, Design], name: str) -> None:
    found = run(designs[name], rules=())
    assert [f.code for f in found if any(b in f.source for b in BODIES)] == []


@pytest.mark.parametrize("name", GENERAL)
def test_general_books_cite_no_sanctioning_body(name: str) -> None:
    for rule in load_profile(name).rules:
        for limit in rule.limits:
            assert not any(b in f"{limit.source} {limit.text}" for b in BODIES), rule.code
            assert limit.certainty in Certainty


OWN = """kind = "rules"
name = "my-room"
title = "my own room"
replaces = "fit-practice"
certainty = "common practice"

[[rule]]
code = "head"
quantity = "helmet_to_nearest_tube"
op = ">="
limit = "3 in"
text = "Three inches."
cure = "Move the bar."
"""


def write(tmp_path: Path, text: str) -> str:
    path = tmp_path / "my-room.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_a_named_book_takes_the_place_of_a_general_one(
    designs: dict[str, Design], tmp_path: Path
) -> None:
    found = run(designs["track-roadster"], ["fit", "rules"], rules=[write(tmp_path, OWN)])
    assert {f.code for f in found} == {"my-room/head", "rules/none"}
    (f,) = [f for f in found if f.group == "fit"]
    assert f.limit == pytest.approx(76.2)
    assert f.status is Status.FAIL


def test_a_rulebook_has_the_last_word_on_a_number(
    designs: dict[str, Design], tmp_path: Path
) -> None:
    """Without `replaces` it judges its own numbers; the general book goes on with the others."""
    ref = write(tmp_path, OWN.replace('replaces = "fit-practice"\n', ""))
    found = {f.code for f in run(designs["track-roadster"], ["fit", "rules"], rules=[ref])}
    assert {"my-room/head", "fit/helmet-to-hoop", "fit/seat-room"} <= found
    assert "fit/helmet-room" not in found


def test_a_failure_that_a_rulebook_does_not_see_stays(
    designs: dict[str, Design], tmp_path: Path
) -> None:
    """A loose limit of one's own does not hide that two things are in one place."""
    text = OWN.replace('replaces = "fit-practice"\n', "").replace(
        "helmet_to_nearest_tube", "seat_room"
    )
    ref = write(tmp_path, text.replace('"3 in"', "-500"))
    build = designs["gravel-hatch"].build
    seats = tuple(
        s.model_copy(update={"hip": (s.hip[0] - 150, s.hip[1], s.hip[2])}) for s in build.car.seats
    )
    moved = replace(build, car=build.car.model_copy(update={"seats": seats}))
    found = run(Design(moved), ["fit", "rules"], rules=[ref])
    hit = {f.code for f in found if f.status is Status.FAIL}
    assert "fit/seat-room" in hit


def test_replacing_no_general_book_is_refused_with_its_line(tmp_path: Path) -> None:
    ref = write(tmp_path, OWN.replace('"fit-practice"', '"fit-practise"'))
    with pytest.raises(InputError) as caught:
        load_profile(ref)
    assert "my-room.toml:4" in str(caught.value)
    assert "'fit-practice'" in str(caught.value)


def test_a_harder_limit_belongs_to_advice(tmp_path: Path) -> None:
    ref = write(tmp_path, OWN + '[rule.hard]\nlimit = 0\ntext = "In one place."\n')
    with pytest.raises(InputError, match="'hard' belongs to a rule whose level is 'should'"):
        load_profile(ref)

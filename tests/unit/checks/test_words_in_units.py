"""The words of rules tell lengths in the build's units: no stray mm in inch builds."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from cagekit.checks import run
from cagekit.checks.profile import compile_file, load_profile
from cagekit.checks.profile_sheet import profile_text
from cagekit.checks.wording import limit_text
from cagekit.design import Design
from cagekit.errors import InputError
from cagekit.inputs.presets import list_presets
from cagekit.inputs.resolve import load_build

BOOKS = [p.name for p in list_presets("rules")]
METRIC = re.compile(r"\d ?(mm|cm|cm2|mm2|kg|N/mm2|MPa)\b|millimet")
INCH = re.compile(r"\d ?(in|sq in|lb|ksi|ft)\b|\binch(es)?\b", re.IGNORECASE)
METRIC_BOLT = re.compile(r"\bM\d+\b")
OF_SIZE = re.compile(r"inch sizes?|a few millimetres")
"""Words that speak of inches and millimetres and tell no number of them."""
RULE = """kind = "rules"
name = "mine"
title = "My rules"

[[rule]]
code = "angle"
quantity = "rear_brace_angle"
op = ">="
limit = 30
when = { hoop_roof_gap = "<= 1 in" }
text = "At least 30 degrees, TEXT."
cure = "Move the foot at {where} by {2 in}."
"""


def strays(text: str, units: str) -> bool:
    """Whether a text tells of the other units alone; a source that names both does so to all."""
    text = OF_SIZE.sub("", text)
    metric, inch = METRIC.search(text), INCH.search(text)
    if units == "in":
        return bool(metric) and not inch
    return bool(inch) and not metric and not METRIC_BOLT.search(text)


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("name", BOOKS)
def test_a_book_speaks_in_the_builds_units(name: str, units) -> None:
    written, told = load_profile(name), load_profile(name, units=units)
    for before, rule in zip(written.rules, told.rules, strict=True):
        words = [rule.text, rule.cure, *(x.text for x in rule.limits)]
        words += [c.words for c in (*rule.when, *rule.unless)]
        assert [w for w in words if strays(w, units)] == []
        assert not any("{" in w.replace("{where}", "") for w in words), rule.code
        # nothing but units changes
        assert [x.value for x in rule.limits] == [x.value for x in before.limits]
        assert [x.written for x in rule.limits] == [x.written for x in before.limits]
    assert "{" not in profile_text(written).replace("{where}", "")


@pytest.mark.parametrize("name", ["fia-253", "nhra"])
def test_the_books_have_something_to_tell(name: str) -> None:
    """A book in mm strays in inches as it is written, one in inches in mm."""
    units = "in" if name == "fia-253" else "mm"
    assert sum(strays(r.text, units) for r in load_profile(name).rules) > 10


@pytest.mark.parametrize(
    ("build", "units"), [("gravel-hatch", "in"), ("sprint-wagon", "mm"), ("track-roadster", "mm")]
)
def test_findings_in_the_other_units_have_no_stray_lengths(build: str, units) -> None:
    """Only a limit cites the source's own wording, behind its number."""
    found = run(Design(load_build(build), units=units), rules=BOOKS)
    assert len(found) > 200
    for f in found:
        assert not strays(f.text, units), f.text
        assert not strays(f.cure, units), f.cure
        assert not strays(f.evidence.note, units), f.evidence.note
        if f.limit is not None:
            limit = limit_text(f, units)
            assert not strays(re.sub(r"\(written .*\)", "", limit), units), limit


def book(tmp_path: Path, words: str) -> Path:
    path = tmp_path / "mine.toml"
    path.write_text(RULE.replace("TEXT", words), encoding="utf-8")
    return path


def test_a_club_writes_its_own(tmp_path: Path) -> None:
    (rule,) = compile_file(book(tmp_path, "within {100 mm}"), "in").rules
    assert rule.text == "At least 30 degrees, within 3.937 in."
    assert rule.cure == "Move the foot at {where} by 2 in."
    assert rule.when[0].written == "1 in"
    (rule,) = compile_file(book(tmp_path, "within {100 mm}"), "mm").rules
    assert rule.text == "At least 30 degrees, within 100 mm."
    assert rule.cure == "Move the foot at {where} by 50.8 mm."
    assert rule.when[0].written == "25.4 mm"


@pytest.mark.parametrize("odd", ["{where}", "{100}", "{much}"])
def test_braces_that_tell_nothing_are_refused_with_their_line(tmp_path: Path, odd: str) -> None:
    with pytest.raises(InputError) as caught:
        compile_file(book(tmp_path, odd))
    assert "mine.toml:11" in str(caught.value)
    assert odd in str(caught.value)

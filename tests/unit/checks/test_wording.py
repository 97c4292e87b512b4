"""Limits as people read them."""

from __future__ import annotations

import re

import demos
import pytest

from cagekit.checks.finding import Evidence, Finding, Status
from cagekit.checks.quantities.quantity import Pick
from cagekit.checks.quantities.survey import Survey
from cagekit.checks.table import explain_text
from cagekit.checks.wording import limit_text
from cagekit.design import Design


@pytest.mark.parametrize(
    ("limit", "written", "units", "text"),
    [
        (150.0, "150 mm", "in", "at least 5.906 in (written 150 mm)"),
        (152.4, "6 in", "mm", "at least 152.4 mm (written 6 in)"),
        (150.0, "150 mm", "mm", "at least 150 mm"),
        # nought is nought in every unit
        (0.0, "0 mm", "in", "at least 0 in"),
        (0.0, "0 mm", "mm", "at least 0 mm"),
    ],
)
def test_the_sources_words_stand_behind_a_limit_in_other_units(limit, written, units, text):
    found = Finding(
        code="car/door",
        group="car",
        subject="door_bar",
        quantity="room to the door",
        status=Status.PASS,
        measured=3.0,
        op=">=",
        limit=limit,
        unit="mm",
        written=written,
    )
    assert limit_text(found, units) == text


def test_a_build_in_inches_is_told_no_millimetres_of_what_was_measured() -> None:
    """The words of measures and the points of ``--why``; a rule's own words stay as they stand."""
    units = {"in": demos.design("sprint-wagon")}
    units["mm"] = Design(units["in"].build, cage=units["in"].cage, units="mm")
    told = {}
    for name, design in units.items():
        survey = Survey(design)
        survey.measure((q, Pick()) for q in ("swing_opening", "swing_latch_gap", "swing_way_out"))
        told[name] = [
            words
            for measures in survey.found.values()
            for m in measures
            for words in (m.text, m.cure, m.missing, m.evidence.note)
            if words
        ]
    assert sum(" mm" in words for words in told["mm"]) >= 3
    assert not any(" mm" in words for words in told["in"])
    way = next(words for words in told["mm"] if "between its cuts" in words)
    far = re.search(r"it leaves (\d+) mm", way)
    near = re.search(r"it leaves ([\d.]+) in", " ".join(told["in"]))
    assert far
    assert near
    assert float(near[1]) * 25.4 == pytest.approx(float(far[1]), abs=0.2)

    at = Evidence.of("halo", points=[(254.0, -127.0, 25.4)])
    found = Finding(
        code="car/a", group="car", subject="halo", quantity="room", status=Status.PASS, evidence=at
    )
    assert "(10.0, -5.0, 1.0) in" in explain_text(found, units="in")
    assert "(254, -127, 25) mm" in explain_text(found, units="mm")

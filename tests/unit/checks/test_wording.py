"""Limits as people read them."""

from __future__ import annotations

import pytest

from cagekit.checks.finding import Finding, Status
from cagekit.checks.wording import limit_text


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

"""The shipped rulebooks against facts noted from the documents.

``tests/data/rulebook_facts.csv`` holds, for every rule with a figure, the value as it was noted
from the document named in the row (rulebook, edition, clause) and how it was seen. A profile may
not say another number, nor claim to be surer than the note.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from fractions import Fraction
from pathlib import Path

import pytest

from cagekit.checks.finding import Certainty
from cagekit.checks.profile import Rule, load_profile

PROFILES = ("fia-253", "motorsport-uk", "nhra", "scca-gcr", "nasa-ccr")
INCH = 25.4
SCALE = {"mm": 1.0, "in": INCH, "cm2": 100.0, "sq in": INCH**2, "sq in per in": INCH}
SURE = {
    "seen in two editions/copies": Certainty.TWO_EDITIONS,
    "seen in text": Certainty.IN_TEXT,
    "seen in third-party paraphrase": Certainty.PARAPHRASE,
    "from memory": Certainty.FROM_MEMORY,
    "from memory (weak)": Certainty.FROM_MEMORY,
}
ORDER = [
    Certainty.TWO_EDITIONS,
    Certainty.IN_TEXT,
    Certainty.PARAPHRASE,
    Certainty.FROM_MEMORY,
    Certainty.COMMON_PRACTICE,
]
OTHER_WORDS = {
    "fia-253/bolt-class": 800.0,  # class 8.8 by ISO 898-1: 8 x 100 N/mm2
    "fia-253/bolt-size": 8.0,  # M8
    "fia-253/bolts-backstay": 2.0,  # two bolts M8
    "fia-253/roof-single": 1.0,
    "nasa-ccr/plate-longest-side": 12 * INCH,  # the window of 2 to 12 in, one end each
    "nasa-ccr/plate-shortest-side": 2 * INCH,
    "nasa-ccr/rally-plate-longest": 12 * INCH,
    "nasa-ccr/rally-plate-shortest": 2.5 * INCH,
}
"""Where the note writes a thread, a class or a window: the number meant."""


def facts() -> dict[str, list[dict[str, str]]]:
    out: dict[str, list[dict[str, str]]] = defaultdict(list)
    path = Path(__file__).parents[1] / "data" / "rulebook_facts.csv"
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            out[row["rule"]].append(row)
    return dict(out)


FACTS = facts()
RULES = {r.code: r for name in PROFILES for r in load_profile(name).rules}


def number(text: str) -> float:
    """``1 5/8``, ``0.118`` or ``3/16`` as a float."""
    return float(sum(Fraction(part) for part in text.split()))


def noted(row: dict[str, str]) -> list[object]:
    """Values of a row in the profile's units: numbers, or pairs."""
    scale = SCALE.get(row["unit"], 1.0)
    out: list[object] = []
    for text in row["value"].split(" or "):
        if " to " in text:
            out += [number(t) * scale for t in text.split(" to ")]
        elif " x " in text:
            out.append(tuple(number(t) * scale for t in text.split(" x ")))
        else:
            out.append(number(text) * scale)
    return out


def limits(rule: Rule) -> list[object]:
    return list(rule.limit) if isinstance(rule.limit, tuple) else [rule.limit]


@pytest.mark.parametrize("code", sorted(FACTS))
def test_the_limit_is_the_noted_one(code: str) -> None:
    rule = RULES[code]
    if code in OTHER_WORDS:
        assert limits(rule) == [pytest.approx(OTHER_WORDS[code])]
        return
    values = [v for row in FACTS[code] for v in noted(row)]
    for value in values:
        assert any(value == pytest.approx(x) for x in limits(rule)), (value, rule.limit)


WINDOW_ENDS = {c for c in OTHER_WORDS if c.startswith("nasa-ccr/")}


@pytest.mark.parametrize("code", sorted(set(FACTS) - WINDOW_ENDS))
def test_the_operator_is_the_noted_one(code: str) -> None:
    for row in FACTS[code]:
        op = row["operator"].removeprefix("should ")
        if code == "fia-253/pillar-brace-need":  # noted as when a brace is needed
            assert (op, RULES[code].op) == (">", "<=")
        else:
            assert RULES[code].op == op


@pytest.mark.parametrize("code", sorted(FACTS))
def test_no_rule_claims_to_be_surer_than_the_note(code: str) -> None:
    seen = max((SURE[row["confidence"]] for row in FACTS[code]), key=ORDER.index)
    best = min((SURE[row["confidence"]] for row in FACTS[code]), key=ORDER.index)
    claimed = RULES[code].certainty
    if seen is not best:  # alternatives of one rule that were seen differently: its text tells
        assert ORDER.index(claimed) >= ORDER.index(best)
        assert "read in" in RULES[code].entry.text
        return
    assert ORDER.index(claimed) >= ORDER.index(seen)


def test_the_edition_that_was_read_is_named() -> None:
    for code in FACTS:
        assert RULES[code].edition, code
        assert RULES[code].entry.clause, code

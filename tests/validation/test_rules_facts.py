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

from cagekit.checks.profile import Rule, load_profile
from cagekit.materials.source import Certainty

PROFILES = ("fia-253", "motorsport-uk", "nhra", "scca-gcr", "nasa-ccr", "formula-sae")
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
OTHER_WORDS: dict[str, object] = {
    "fia-253/bolt-class": 800.0,  # class 8.8 by ISO 898-1: 8 x 100 N/mm2
    "fia-253/bolt-size": 8.0,  # M8
    "fia-253/bolts-backstay": 2.0,  # two bolts M8
    "fia-253/joint-bolts": 800.0,
    "motorsport-uk/joint-bolts": 800.0,
    "formula-sae/joint-bolt-class": 900.0,  # class 9.8
    "fia-253/free-build-closed": 2021.0,  # from the first day of that year on
    "nasa-ccr/plate-longest-side": 12 * INCH,  # the window of 2 to 12 in, one end each
    "nasa-ccr/plate-shortest-side": 2 * INCH,
    "nasa-ccr/rally-plate-longest": 12 * INCH,
    "nasa-ccr/rally-plate-shortest": 2.5 * INCH,
    "motorsport-uk/backstays": 1.0,  # two, one on each side
    "nhra/bar-enough": 10.0,  # the quick end of the window
    "nhra/bolts": 4.0,  # 4 x 3/8
    "nhra/bolt-size": 3 / 8 * INCH,
    # diameter x wall of 4130 / wall of mild steel
    "nhra/cage-size-mild": (1.625 * INCH, 0.118 * INCH),
    "nhra/cage-size-4130": (1.625 * INCH, 0.083 * INCH),
    "nhra/cage-size-minor-mild": (1.25 * INCH, 0.118 * INCH),
    "nhra/cage-size-minor-4130": (1.25 * INCH, 0.049 * INCH),
    "nhra/sill-bar-wall-mild": 0.118 * INCH,
    "nhra/sill-bar-wall-4130": 0.083 * INCH,
    "nhra/dash-bar-mild": (1.25 * INCH, 0.118 * INCH),
    "nhra/dash-bar-4130": (1.25 * INCH, 0.058 * INCH),
    "nhra/tube-gusset-mild": (0.75 * INCH, 0.118 * INCH),
    "nhra/tube-gusset-4130": (0.75 * INCH, 0.049 * INCH),
    "nhra/gusset-thickness": 0.110 * INCH,  # 1.75 x 1.75 x 0.110
    "nhra/gusset-size": 1.75 * INCH,
    "scca-gcr/hoop-width": 0.5,  # 50 percent
    "scca-gcr/bolt-size": 3 / 8 * INCH,  # 3/8 in, SAE 5
    "scca-gcr/bolt-grade": 800.0,  # SAE 5 taken as class 8.8
}
"""Where the note writes a thread, a class, a window or two steels at once: the number meant."""

IN_WORDS = {
    "fia-253/backstay-straight",  # "straight"
    "fia-253/backstays",  # "each with two backstays and six feet"
    "fia-253/six-feet",
    "fia-253/dash-bar-over",  # "not above the top of the dashboard"
    "fia-253/dash-bar-column",
    "fia-253/door-bars-driver",  # "at least one longitudinal bar each side"
    "fia-253/door-bars-co-driver",
    "fia-253/envelope",  # "between the suspension points"
    "fia-253/hoop-diagonals-one",  # "earlier cars may use one"
    "fia-253/hoop-flat",  # "single-plane"; the tolerance is ours
    "fia-253/pillar-brace-side-view",  # "straight in side view"; the tolerance is ours
    "fia-253/plate-at-foot",
    "fia-253/steel-yield",  # the same 350 as the strength, in the other reading
    "motorsport-uk/diagonal-straight",
    "motorsport-uk/envelope",
    "nasa-ccr/diagonal-in-plane",  # "in the hoop's plane"; the tolerance is ours
    "nasa-ccr/diagonal-one-piece",
    "nasa-ccr/plate-at-foot",
    "nhra/bar-braces",
    "nhra/bar-unaltered",  # the slow end of the window in which a bar is mandatory
    "nhra/harness-bar",
    "nhra/helmet-ahead",  # "in front of the hoop"
    "nhra/hoop-width",  # "at least shoulder width"
    "nhra/plate-at-foot",
    "nhra/plate-backing",  # "plate on top and below the floor"
    "nhra/side-bar",
    "nhra/side-bar-at-arm",  # "midway between shoulder and elbow"
    "nhra/sill-bar",
    "nhra/swing-shear",  # "in double shear"
    "scca-gcr/harness-plane",  # "in the plane of the main hoop"; the tolerance is ours
    "scca-gcr/helmet-line",  # "below the line"
    "scca-gcr/plate-at-foot",
    "scca-gcr/plate-backing",
    "scca-gcr/plate-backing-equal",
}
"""Rules whose number only spells out words of the rulebook."""


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
    values = [limit.value for limit in rule.limits]
    return [x for v in values for x in (v if isinstance(v, tuple) else (v,))]


@pytest.mark.parametrize("code", sorted(FACTS))
def test_the_limit_is_the_noted_one(code: str) -> None:
    rule = RULES[code]
    if code in OTHER_WORDS:
        assert any(x == pytest.approx(OTHER_WORDS[code]) for x in limits(rule)), rule.limit
        return
    values = [v for row in FACTS[code] for v in noted(row)]
    for value in values:
        assert any(value == pytest.approx(x) for x in limits(rule)), (value, rule.limit)


WINDOW_ENDS = {c for c in OTHER_WORDS if c.startswith("nasa-ccr/")} | {"nhra/bar-enough"}
TURNED = {
    "fia-253/pillar-brace-need": (">", "<="),  # noted as when a brace is needed
    "fia-253/free-build-closed": (">=", "<"),  # noted as when the route is closed
    "motorsport-uk/padding-helmet": ("<=", ">"),  # noted as when padding is advised
    "motorsport-uk/backstays": ("=", ">="),
}


@pytest.mark.parametrize("code", sorted(set(FACTS) - WINDOW_ENDS))
def test_the_operator_is_the_noted_one(code: str) -> None:
    for row in FACTS[code]:
        op = row["operator"].removeprefix("should ")
        if code in TURNED:
            assert (op, RULES[code].op) == TURNED[code]
        else:
            assert op in {limit.op for limit in RULES[code].limits}


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


def test_every_figure_has_its_note() -> None:
    figures = {c for c, r in RULES.items() if r.measured and r.unit not in ("flag", "text")}
    assert figures - set(FACTS) == IN_WORDS


def test_the_edition_that_was_read_is_named() -> None:
    for code in FACTS:
        assert RULES[code].edition, code
        assert RULES[code].entry.clause, code

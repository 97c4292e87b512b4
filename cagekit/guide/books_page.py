"""The end of the chapter of rulebooks: what a rule can measure and ask, from the code."""

from __future__ import annotations

from collections.abc import Iterator

from cagekit.checks.facts import FACTS
from cagekit.checks.quantities.quantity import quantities
from cagekit.guide.markdown import cell, table


def tables() -> Iterator[str]:
    """Markdown that goes after the page's own text."""
    yield "\n## What a rule can measure\n\n"
    known = sorted(quantities().values(), key=lambda q: q.name)
    yield table(
        ("`quantity`", "Unit", "What is measured"),
        ((f"`{q.name}`", str(q.unit), cell(q.about.replace("``", "`"))) for q in known),
    )
    yield "\n## What a rule can ask of car and crew\n\n"
    yield table(
        ("`when`, `unless`", "Unit", "What it is"),
        ((f"`{f.name}`", str(f.unit), cell(f.about.replace("``", "`"))) for f in FACTS.values()),
    )

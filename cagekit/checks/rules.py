"""The rules group of the checks: every rulebook a build names, side by side."""

from __future__ import annotations

from cagekit.checks.engine import GROUP, evaluate
from cagekit.checks.finding import Finding, Status
from cagekit.checks.profile import load_profile
from cagekit.checks.quantities.survey import Survey
from cagekit.design import Design
from cagekit.inputs.presets import list_presets


def findings(design: Design) -> list[Finding]:
    """Hold the cage against each profile of the design, in the order named."""
    if not design.rules:
        return [_no_rulebook()]
    survey = Survey(design)
    build_file = design.build.files.get("build")
    beside = build_file.parent if build_file else None
    out: list[Finding] = []
    for ref in dict.fromkeys(design.rules):
        out += evaluate(load_profile(ref, beside=beside), survey)
    return out


def _no_rulebook() -> Finding:
    """The finding of a build that names no rulebook."""
    known = ", ".join(p.name for p in list_presets("rules"))
    return Finding(
        code="rules/none",
        group=GROUP,
        subject="cage",
        quantity="rulebook",
        status=Status.NEEDS_INPUT,
        cure=f"Name the rulebooks to build to under `rules` in the build file. Known: {known}.",
        text="Held against no rulebook: the build names none.",
    )

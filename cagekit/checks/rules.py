"""The rules group of the checks: every rulebook a build names, side by side."""

from __future__ import annotations

from cagekit.checks.context import CheckContext
from cagekit.checks.engine import evaluate
from cagekit.checks.finding import Finding
from cagekit.checks.profile import load_profile
from cagekit.checks.survey import Survey


def findings(ctx: CheckContext) -> list[Finding]:
    """Hold the cage against each profile of the context, in the order named."""
    survey = Survey(ctx.build, ctx.cage)
    build_file = ctx.build.files.get("build")
    beside = build_file.parent if build_file else None
    out: list[Finding] = []
    for ref in dict.fromkeys(ctx.rules):
        out += evaluate(load_profile(ref, beside=beside), survey)
    return out

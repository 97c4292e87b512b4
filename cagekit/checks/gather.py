"""Gather findings: what passes is told once for each check, what does not is told one by one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from cagekit.checks.finding import Evidence, Finding, Status


def gathered(findings: Iterable[Finding]) -> list[Finding]:
    """Keep every finding that does not pass, and of those that pass the most critical of a code.

    The one kept carries the members and plates of all; its subject tells how many they are.
    """
    out: list[Finding] = []
    passed: dict[str, list[Finding]] = {}
    for f in findings:
        if f.status is Status.PASS:
            passed.setdefault(f.code, []).append(f)
        else:
            out.append(f)
    return [*out, *(_one(group) for group in passed.values())]


def _one(group: list[Finding]) -> Finding:
    if len(group) == 1:
        return group[0]
    worst = min(group, key=_room)
    names = dict.fromkeys(f.subject for f in group)
    evidence = Evidence(
        members=tuple(dict.fromkeys(m for f in group for m in f.evidence.members)),
        plates=tuple(dict.fromkeys(p for f in group for p in f.evidence.plates)),
        points=worst.evidence.points,
        note=f"the nearest to its limit is {worst.subject}",
    )
    subject = worst.subject if len(names) == 1 else f"{len(names)} parts"
    return replace(worst, subject=subject, evidence=evidence)


def _room(f: Finding) -> float:
    """Distance to the limit, relative; numbers only."""
    if not isinstance(f.measured, int | float) or not isinstance(f.limit, int | float):
        return 0.0
    gap = f.measured - f.limit if f.op.startswith(">") else f.limit - f.measured
    return gap / max(abs(f.limit), 1e-3)

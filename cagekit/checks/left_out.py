"""Findings about what a check had to go on without: members and plates that cannot be made."""

from __future__ import annotations

from collections.abc import Iterable

from cagekit.checks.finding import Finding, Status
from cagekit.design.makeable import LeftOut
from cagekit.errors import GeometryError


def left_out(entries: Iterable[LeftOut]) -> tuple[Finding, ...]:
    """One failure for each entry that the check goes on without, in the order they were met."""
    return tuple(_finding(e) for e in entries)


def _finding(entry: LeftOut) -> Finding:
    error = entry.error
    if entry.hangs:
        return Finding(
            code="geometry/hangs",
            group="geometry",
            subject=entry.id,
            quantity="left out, it hangs on what cannot be made",
            status=Status.FAIL,
            text=str(error),
            cure="Mend what it hangs on first.",
        )
    return Finding(
        code="geometry/unmakeable",
        group="geometry",
        subject=error.owner if isinstance(error, GeometryError) else entry.id,
        quantity="cannot be made and was left out",
        status=Status.FAIL,
        measured=error.problem.rstrip("."),
        text=str(error),
        cure=error.hint,
    )

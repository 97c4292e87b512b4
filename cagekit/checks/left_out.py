"""Findings about what a check had to go on without: members and plates that cannot be made."""

from __future__ import annotations

import re
from collections.abc import Iterable

from cagekit.checks.finding import Finding, Status
from cagekit.design.makeable import LeftOut
from cagekit.errors import GeometryError, InputError


def left_out(entries: Iterable[LeftOut]) -> tuple[Finding, ...]:
    """One failure for each entry that the check goes on without, in the order they were met."""
    rows = tuple(entries)
    return tuple(_finding(e, [other.id for other in rows if other is not e]) for e in rows)


def _finding(entry: LeftOut, others: Iterable[str]) -> Finding:
    error = entry.error
    if entry.hangs:
        return Finding(
            code="geometry/hangs",
            group="geometry",
            subject=entry.id,
            quantity="left out, it hangs on what cannot be made",
            status=Status.FAIL,
            text=str(error),
            cure="Mend what it hangs on first."
            if _names_one(error, others)
            else f"Mend the others first. It may be a slip of its own: {error}",
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


def _names_one(error: InputError | GeometryError, ids: Iterable[str]) -> bool:
    """Whether an error speaks of one of these parts, by its id or by what it is one of."""
    words = set(re.findall(r"\w+", f"{getattr(error, 'value', '')} {error.problem}"))
    return any(id_ == word or id_.startswith(f"{word}_") for id_ in ids for word in words)

"""Findings and measures of the whole cage as rows of the page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial
from operator import itemgetter
from typing import TYPE_CHECKING, Any

from cagekit.cage.kept import Kept, Same
from cagekit.checks.finding import Finding, Status, worst_first
from cagekit.checks.table import MARKS
from cagekit.checks.wording import limit_text, source_text, value_text
from cagekit.names import at_start, in_words
from cagekit.page.cards import WEIGHING, told_mass
from cagekit.units import format_length
from cagekit.view.extents import cage_box

if TYPE_CHECKING:
    from cagekit.design import Design
    from cagekit.units import LengthUnit

SIGNS = {
    Status.FAIL: "✗",
    Status.WARN: "▲",
    Status.NEEDS_INPUT: "?",
    Status.NEEDS_INSPECTION: "◎",
    Status.PASS: "✓",
    Status.NOT_APPLICABLE: "–",
}
"""A sign for each status beside its word: nothing hangs on colour."""
_title = itemgetter("code", "subject", "measured", "text")
"""What tells rows apart, but for few that are then sent again."""


def finding_rows(
    findings: Iterable[Finding], units: LengthUnit, kept: Kept | None = None
) -> list[dict[str, Any]]:
    """Findings worst first, each as the texts of the table and what lights up for it.

    Args:
        findings: any order.
        units: that the reader wants.
        kept: rows of findings that were told before, which nobody may change.
    """
    kept = kept or Kept()
    return [
        kept.once(("row", Same(f), units), partial(_row, f, units)) for f in worst_first(findings)
    ]


def changed_rows(
    rows: Iterable[dict[str, Any]], before: Sequence[dict[str, Any]]
) -> list[dict[str, Any] | int]:
    """What a page lacks of rows of findings: the number of a row that it has, else the row.

    Args:
        rows: of the findings now.
        before: those that the page has.
    """
    at = {_title(row): n for n, row in enumerate(before)}
    found = ((row, at.get(_title(row))) for row in rows)
    # most rows are the very ones from before
    return [
        n if n is not None and (before[n] is row or before[n] == row) else row for row, n in found
    ]


def _row(f: Finding, units: LengthUnit) -> dict[str, Any]:
    evidence = f.evidence
    return {
        "code": f.code,
        "status": f.status.value,
        "mark": MARKS[f.status],
        "sign": SIGNS[f.status],
        "subject": f.subject,
        "called": in_words(f.subject),
        "quantity": in_words(f.quantity),
        "measured": value_text(f.measured, f.unit, units),
        "limit": limit_text(f, units),
        "source": source_text(f),
        "cure": in_words(f.cure),
        "text": in_words(f.text),
        "members": list(evidence.members),
        "plates": list(evidence.plates),
        "points": [[round(x, 2) for x in p] for p in evidence.points],
        "note": at_start(in_words(evidence.note)),
    }


def sizes(design: Design) -> list[dict[str, Any]]:
    """Overall length, width and height, as on the drawings: two points (mm) and a text each."""
    if not design.cage.members:
        return []
    (x0, y0, z0), (x1, y1, z1) = cage_box(design.cage).tolist()
    pairs = (
        ("length", (x0, y1, z0), (x1, y1, z0)),
        ("width", (x0, y0, z0), (x0, y1, z0)),
        ("height", (x0, y1, z0), (x0, y1, z1)),
    )
    out = []
    for name, a, b in pairs:
        size = sum((q - p) ** 2 for p, q in zip(a, b, strict=True)) ** 0.5
        text = f"{name} {format_length(size, design.units)}"
        out.append({"from": [round(v, 2) for v in a], "to": [round(v, 2) for v in b], "text": text})
    return out


def summary(design: Design, *, weighed: bool = True) -> str:
    """Members, plates, tube and mass in a line; the mass may be said to come later."""
    cage, units = design.cage, design.units
    length = sum(cage.cut_length(i) for i in cage.members)
    tube = format_length(length, "in", feet=True, decimals=0) if units == "in" \
        else f"{length / 1000:.1f} m"  # fmt: skip
    mass = told_mass(cage.mass_total, units) if weighed else WEIGHING
    pieces = f" in {len(cage.members)} pieces" if cage.divided else ""
    return f"{cage.count} tubes{pieces}, {len(cage.plates)} plates, {tube} of tube, {mass}"

"""The scrutineer's sheet as rows: finding, measured, limit, source, and room for a signature."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from cagekit.checks.finding import Finding, Status, worst_first
from cagekit.checks.wording import limit_text, source_text, value_text
from cagekit.units import LengthUnit


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRow:
    """One line of the sheet, ready to print.

    ``sign`` tells a line that the scrutineer answers on the car (inspection or missing input);
    its signature field stays empty in any case.
    """

    code: str
    subject: str
    finding: str
    measured: str
    limit: str
    source: str
    status: str
    sign: bool
    signature: str = ""


def sheet_rows(findings: Iterable[Finding], *, units: LengthUnit = "mm") -> tuple[SheetRow, ...]:
    """The rows of the sheet: worst first, then what passes; what does not apply is left out."""
    rows = []
    for f in worst_first(findings):
        if f.status is Status.NOT_APPLICABLE:
            continue
        inspected = f.status in (Status.NEEDS_INSPECTION, Status.NEEDS_INPUT)
        rows.append(
            SheetRow(
                code=f.code,
                subject=f.subject,
                finding=f.text if inspected or not f.quantity else f.quantity,
                measured=value_text(f.measured, f.unit, units),
                limit=limit_text(f, units),
                source=source_text(f),
                status=f.status.words,
                sign=inspected,
            )
        )
    return tuple(rows)

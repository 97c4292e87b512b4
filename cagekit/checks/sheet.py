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


WORKSHOP = ("shop", "plates")
"""Groups that tell the builder what the shop can make; a scrutineer does not ask for them."""


def sheet_rows(findings: Iterable[Finding], *, units: LengthUnit = "mm") -> tuple[SheetRow, ...]:
    """The rows of the sheet: worst first, then what passes; what does not apply is left out.

    Lines to be inspected are one a rule, with the numbers of all that it looks at.
    """
    groups: dict[object, list[Finding]] = {}
    for f in worst_first(findings):
        if f.status is Status.NOT_APPLICABLE or f.group in WORKSHOP:
            continue
        alone = f.status is not Status.NEEDS_INSPECTION
        groups.setdefault((f.code, f.subject, id(f)) if alone else f.code, []).append(f)
    return tuple(_row(group, units) for group in groups.values())


def _row(group: list[Finding], units: LengthUnit) -> SheetRow:
    f = group[0]
    inspected = f.status in (Status.NEEDS_INSPECTION, Status.NEEDS_INPUT)
    values = [value_text(g.measured, g.unit, units) for g in group]
    return SheetRow(
        code=f.code,
        subject=", ".join(g.subject for g in group),
        finding=f.text if inspected or not f.quantity else f.quantity,
        measured=", ".join(dict.fromkeys(v for v in values if v)),
        limit=limit_text(f, units),
        source=source_text(f),
        status=f.status.words,
        sign=inspected,
    )

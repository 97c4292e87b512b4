"""The scrutineer's sheet as rows: finding, measured, limit, source, and room for a signature."""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct
from msgspec.structs import replace

from cagekit.checks.finding import Finding, Status, worst_first
from cagekit.checks.wording import limit_text, source_text, value_text
from cagekit.names import in_words, named
from cagekit.units import LengthUnit


class SheetRow(Struct, frozen=True, kw_only=True):
    """One line of the sheet, ready to print.

    ``sign`` tells a line that the scrutineer answers on the car (inspection or missing input);
    its signature field stays empty in any case. ``book`` is what ``source`` begins with.
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
    book: str = ""


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


def profile_rows(
    findings: Iterable[Finding], codes: Iterable[str], *, units: LengthUnit = "mm"
) -> tuple[SheetRow, ...]:
    """The rows of the rulebooks that are named, book by book, none twice.

    Lines that would read the same are one, with all that they are about; what a line is about
    names the end or plate that was looked at.

    Args:
        findings: what was found.
        codes: what their codes begin with, up to the slash, in the order of the sheet.
        units: of the numbers.
    """
    order = list(dict.fromkeys(codes))
    own = [_placed(f) for f in findings if f.code.partition("/")[0] in order]
    rows = sorted(sheet_rows(own, units=units), key=lambda r: order.index(r.code.partition("/")[0]))
    return _once(rows)


def open_rows(findings: Iterable[Finding], *, units: LengthUnit = "mm") -> tuple[SheetRow, ...]:
    """What fails, warns or lacks an input, worst first, whichever book asks for it."""
    wanted = (Status.FAIL, Status.WARN, Status.NEEDS_INPUT)
    return _once(sheet_rows([_placed(f) for f in findings if f.status in wanted], units=units))


def _once(rows: Iterable[SheetRow]) -> tuple[SheetRow, ...]:
    """Rows that say the same of several things as one row."""
    same: dict[object, list[SheetRow]] = {}
    for r in rows:
        key = (r.code, r.finding, r.measured, r.limit, r.source, r.status)
        same.setdefault(key, []).append(r)
    return tuple(
        replace(group[0], subject=", ".join(dict.fromkeys(r.subject for r in group)))
        for group in same.values()
    )


def _placed(f: Finding) -> Finding:
    """The finding with the one plate or tube that it is about in its subject."""
    for ids in (f.evidence.plates, f.evidence.members):
        if len(ids) == 1 and ids[0] != f.subject:
            known = in_words(f.subject) in named(ids[0])
            return replace(f, subject=ids[0] if known else f"{f.subject} ({ids[0]})")
    return f


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
        book=f.source,
    )

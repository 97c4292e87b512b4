"""The scrutineer's sheet: one page to hold in the hand at the car, the full table behind it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from cagekit.checks.books import book_names, rulebook_codes
from cagekit.checks.finding import Finding, Status
from cagekit.checks.sheet import SheetRow, open_rows, profile_rows
from cagekit.checks.table import COUNTED
from cagekit.names import in_words, named

if TYPE_CHECKING:
    from cagekit.writers.shopbook import Book

MOST_OPEN = 9
"""Lines of what fails, warns or is not known that the page has room for."""


def scrutineer_sheet(book: Book, found: Sequence[Finding]) -> dict[str, Any]:
    """Everything the sheet and the table behind it show."""
    units = book.design.units
    codes = rulebook_codes(book.design)
    unsettled = open_rows(found, units=units)
    tables: dict[str, list[SheetRow]] = {}
    for row in profile_rows(found, codes, units=units):
        tables.setdefault(row.code.partition("/")[0], []).append(row)
    return {
        "car": book.build.car.description or book.build.car.name,
        "rules": ", ".join(book_names(book.design)) or "none named",
        "tubes": tube_rows(book),
        "bars": bar_rows(book),
        "plates": plate_rows(book),
        "padding": padding_text(book),
        "counts": count_text(found, codes),
        "open": [_cells(r) for r in unsettled[:MOST_OPEN]],
        "more": max(len(unsettled) - MOST_OPEN, 0),
        "tables": [_table(name, rows) for name, rows in tables.items()],
    }


def tube_rows(book: Book) -> list[list[str]]:
    """Each size and steel with the tubes made of it, for the gauge."""
    sizes: dict[tuple[str, str], list[str]] = {}
    for id_, m in book.cage.members.items():
        sizes.setdefault((book.tube(id_), m.tube.material), []).append(str(book.numbers[id_]))
    return [
        [f"{size}, {steel}", f"{len(found)} tube{'s' * (len(found) > 1)}: {', '.join(found)}"]
        for (size, steel), found in sizes.items()
    ]


def bar_rows(book: Book) -> list[list[str]]:
    """How many tubes there are of each role, with their numbers."""
    roles: dict[str, list[str]] = {}
    for id_, m in book.cage.members.items():
        roles.setdefault(named(m.role), []).append(str(book.numbers[id_]))
    return [[role, f"{len(found)} ({', '.join(found)})"] for role, found in roles.items()]


def plate_rows(book: Book) -> list[list[str]]:
    """Plates by kind, thickness and steel."""
    kinds: Counter[tuple[str, str, str]] = Counter()
    for p in book.design.cage.plates:
        kinds[named(p.kind), book.size(p.thickness), p.material] += p.quantity
    return [[f"{kind}, {thick} {steel}", str(n)] for (kind, thick, steel), n in kinds.items()]


def padding_text(book: Book) -> str:
    """Which tubes the build pads, by number; what lies near a helmet and is bare is no padding."""
    listed = book.design.materials.padding
    padded = [str(book.numbers.get(p.member, named(p.member))) for p in listed if p.asked]
    return f"tubes {', '.join(padded)}" if padded else "none listed"


def count_text(found: Sequence[Finding], codes: Sequence[str]) -> str:
    """How many findings of the named rulebooks passed, failed and so on."""
    tally: Counter[Status] = Counter(
        f.status
        for f in found
        if f.code.partition("/")[0] in codes and f.status is not Status.NOT_APPLICABLE
    )
    said = [f"{tally[s]} {COUNTED[s]}" for s in Status if tally[s]]
    return ", ".join(said) or "no rulebook is named"


def _table(name: str, rows: Sequence[SheetRow]) -> dict[str, Any]:
    """The table of one rulebook; what most of its sources begin with is in the title, said once."""
    books = Counter(r.book for r in rows if r.source.startswith(f"{r.book} "))
    lead = books.most_common(1)[0][0] if books else ""
    cells = [_cells(r) for r in rows]
    for c in cells:
        c["source"] = c["source"].removeprefix(f"{lead} ")
    return {"title": f"{name}: {lead}" if lead else name, "rows": cells}


def _cells(r: SheetRow) -> dict[str, str]:
    return {
        "status": r.status,
        "subject": in_words(r.subject),
        "finding": in_words(r.finding),
        "measured": in_words(r.measured),
        "limit": in_words(r.limit),
        "source": r.source,
        "code": r.code,
    }

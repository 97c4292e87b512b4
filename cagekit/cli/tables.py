"""The tables of materials as people read them: ``cagekit show steels``."""

from __future__ import annotations

from cagekit.cli.console import emit, table
from cagekit.data import rows

TABLES = {
    "steels": "steels with their strengths",
    "tubes": "tube sizes in stock, and in what lengths",
    "plates": "plate thicknesses in stock",
    "tolerances": "how far bought tube may differ from its nominal size",
    "fasteners": "bolts, their grades and holes",
}
"""Tables that can be shown, and what they hold."""


def show_table(name: str, *, as_json: bool) -> int:
    """Print a table with the source of every row; columns that are all empty are left out."""
    found = rows(name)
    if as_json:
        emit([dict(row) for row in found])
        return 0
    columns = [c for c in found[0] if any(row[c] for row in found)]
    columns.sort(key=lambda c: c in ("source", "certainty", "note"))
    print(f"# {TABLES[name]}")
    table([[row[c] or "" for c in columns] for row in found], columns)
    return 0

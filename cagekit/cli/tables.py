"""The tables of materials as people read them: ``cagekit show steels``."""

from __future__ import annotations

import csv
from importlib.resources import files

from cagekit.cli.console import emit, table

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
    text = (files("cagekit") / "data" / f"{name}.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(row for row in text.splitlines() if not row.startswith("#")))
    if as_json:
        emit(rows)
        return 0
    columns = [c for c in rows[0] if any(row[c] for row in rows)]
    columns.sort(key=lambda c: c in ("source", "certainty", "note"))
    print(f"# {TABLES[name]}")
    table([[row[c] or "" for c in columns] for row in rows], columns)
    return 0

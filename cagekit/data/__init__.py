"""Tables with a source on every row, read when they are asked for.

``rows("steels")`` gives the rows of ``steels.csv`` as text; the rooms that own a table turn them
into types of their own.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files
from types import MappingProxyType

Row = MappingProxyType[str, str]
"""One row of a table: column name to text."""


@cache
def rows(table: str) -> tuple[Row, ...]:
    """Return the rows of ``<table>.csv``, in the order of the file."""
    text = files(__name__).joinpath(f"{table}.csv").read_text(encoding="utf-8")
    return tuple(MappingProxyType(row) for row in csv.DictReader(text.splitlines()))

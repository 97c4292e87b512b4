"""Tables with a source on every row, read when they are asked for.

``rows("steels")`` gives the rows of ``steels.csv`` as text, ``tables("members")`` what
``members.toml`` holds; the rooms that own a table turn them into types of their own.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

import tomli

Row = MappingProxyType[str, str]
"""One row of a table: column name to text."""

_HERE = Path(__file__).parent
"""The folder of the tables. The package lies in one, as its presets do: what would also read it out
of an archive takes longer to load than the tables take to read."""


@cache
def rows(table: str) -> tuple[Row, ...]:
    """Return the rows of ``<table>.csv``, in the order of the file."""
    lines = _text_of(f"{table}.csv").splitlines()
    return tuple(MappingProxyType(row) for row in csv.DictReader(lines))


@cache
def tables(document: str) -> Mapping[str, Any]:
    """Return what ``<document>.toml`` holds, by name of the table; not to be changed."""
    return MappingProxyType(tomli.loads(_text_of(f"{document}.toml")))


def _text_of(name: str) -> str:
    return (_HERE / name).read_text(encoding="utf-8")

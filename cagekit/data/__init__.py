"""Tables with a source on every row, read when they are asked for.

``rows("steels")`` gives the rows of ``steels.csv`` as text, ``tables("members")`` what
``members.toml`` holds; the rooms that own a table turn them into types of their own.
"""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

Row = MappingProxyType[str, str]
"""One row of a table: column name to text."""


@cache
def rows(table: str) -> tuple[Row, ...]:
    """Return the rows of ``<table>.csv``, in the order of the file."""
    text = files(__name__).joinpath(f"{table}.csv").read_text(encoding="utf-8")
    return tuple(MappingProxyType(row) for row in csv.DictReader(text.splitlines()))


@cache
def tables(document: str) -> Mapping[str, Any]:
    """Return what ``<document>.toml`` holds, by name of the table; not to be changed."""
    text = files(__name__).joinpath(f"{document}.toml").read_text(encoding="utf-8")
    return MappingProxyType(tomllib.loads(text))

"""How much one file may hold: what no car, shop or cage has that many of would only take hours.

The counts stand in ``cagekit/data/most_entries.csv``. They bound the work of a check: a traced
outline of ten thousand points or five hundred struts is refused before anything is built.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

from cagekit.data import Row, rows
from cagekit.inputs.toml_lines import TomlKey

FEWEST = min(int(row["most"]) for row in rows("most_entries"))
"""Lists that are no longer than this need no look at their name."""
MOST_TUBES = 150
"""Members of a cage, both sides counted (common practice: a large cage has 60)."""


def too_many(kind: str, data: Mapping[str, Any]) -> Iterator[tuple[TomlKey, str]]:
    """Lists and tables that are longer than any in the trade: key and what is wrong.

    Args:
        kind: of the file.
        data: the tables as read.
    """
    for key, n in _long(data):
        row = _row(kind, key)
        if n > int(row["most"]):
            yield (
                key,
                f"holds {n} {row['what']}; at most {row['most']} are taken ({row['source']}).",
            )


def _long(data: Mapping[str, Any] | list[Any], key: TomlKey = ()) -> Iterator[tuple[TomlKey, int]]:
    """Every list and every table of own names that is longer than the fewest allowed."""
    if key and len(data) > FEWEST:
        yield key, len(data)
    inner = data.items() if isinstance(data, dict) else enumerate(data)
    for name, value in inner:
        if isinstance(value, (dict, list)):  # a union is made anew at each look
            yield from _long(value, (*key, name))


def _row(kind: str, key: TomlKey) -> Row:
    return _row_named(kind, ".".join(step for step in key if isinstance(step, str)))


@cache
def _row_named(kind: str, name: str) -> Row:
    return next(
        row for row in rows("most_entries") if fits(kind, row["file"]) and fits(name, row["field"])
    )


def fits(name: str, pattern: str) -> bool:
    """Whether a table's pattern, in which * stands for anything, takes a field's name.

    No other sign stands for more than itself. A start asks this thousands of times, and making
    patterns into regular expressions takes longer than all of it.
    """
    parts = _parts(pattern)
    if len(parts) == 1:
        return name == pattern
    head, tail = parts[0], parts[-1]
    at, end = len(head), len(name) - len(tail)
    if at > end or not (name.startswith(head) and name.endswith(tail)):
        return False
    for part in parts[1:-1]:
        at = name.find(part, at, end)
        if at < 0:
            return False
        at += len(part)
    return True


@cache
def _parts(pattern: str) -> list[str]:
    return pattern.split("*")

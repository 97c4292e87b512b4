"""The line map against the text itself: every key must stand in the line that is told for it."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from cagekit.inputs.presets import shipped_root
from cagekit.inputs.toml_lines import line_map, line_of

PRESETS = sorted(shipped_root().rglob("*.toml"))

TRICKY = '''
# comment with [brackets] and "quotes"
title = "a # no comment"   # a comment with = and [x]
"odd key".inner = 1
path = 'C:\\dir'
text = """
first = 1
[not.a.table]
"""
literal = \'\'\'
# not a comment\'\'\'
numbers = [
  1,  # one
  [2, 3],
  { a = 4, b.c = "]" },
]
inline = { x = 1, y = [5, 6] }

[table.sub]
key = true

[[list]]
name = "first"
[list.inner]
deep = 1

[[list]]
name = "second"
  [[list.more]]
  z = 1
  [[list.more]]
  z = 2
'''


def leaves(value: object, key: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    if isinstance(value, dict):
        return [k for name, v in value.items() for k in leaves(v, (*key, name))]
    if isinstance(value, list):
        return [key, *(k for n, v in enumerate(value) for k in leaves(v, (*key, n)))]
    return [key]


@pytest.mark.parametrize("path", PRESETS, ids=lambda p: f"{p.parent.name}-{p.stem}")
def test_every_key_of_every_preset_stands_in_its_line(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    lines, rows = line_map(text), text.split("\n")
    found = leaves(tomllib.loads(text))
    assert found
    for key in found:
        name = next(k for k in reversed(key) if isinstance(k, str))
        row = rows[lines[key] - 1]
        if isinstance(key[-1], str):
            assert name in row, (key, row)


def test_tricky_text() -> None:
    lines, rows = line_map(TRICKY), TRICKY.split("\n")
    assert set(leaves(tomllib.loads(TRICKY))) <= set(lines)
    wanted = {
        ("title",): "title",
        ("odd key", "inner"): '"odd key"',
        ("path",): "path",
        ("text",): "text =",
        ("literal",): "literal",
        ("numbers", 0): "1,",
        ("numbers", 1, 1): "[2, 3]",
        ("numbers", 2, "b", "c"): "{ a = 4",
        ("inline", "y", 1): "inline",
        ("table", "sub", "key"): "key = true",
        ("list", 0, "name"): '"first"',
        ("list", 0, "inner", "deep"): "deep",
        ("list", 1, "name"): '"second"',
        ("list", 1, "more", 1, "z"): "z = 2",
    }
    for key, text in wanted.items():
        assert text in rows[lines[key] - 1], key
    # nothing inside a text is taken for a key or a table
    assert ("first",) not in lines
    assert ("not",) not in lines


def test_the_nearest_table_is_told_for_what_does_not_stand_there() -> None:
    lines = line_map("a = 1\n[t]\n\n[t.u]\nx = 1\n")
    assert line_of(lines, ("t", "u", "missing")) == 4
    assert line_of(lines, ("t", "other")) == 2
    assert line_of(lines, ("nowhere",)) is None


def test_windows_line_ends_count_once() -> None:
    assert line_map("a = 1\r\nb = 2\r\n")[("b",)] == 2

"""Small pieces of Markdown."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table; the cells are Markdown already.

    Args:
        head: titles of the columns.
        rows: cells.
    """
    lines = [head, ["---"] * len(head), *rows]
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def cell(words: str) -> str:
    """Plain words as a cell: no line ends, nothing that Markdown would take for its own.

    Args:
        words: what it says.
    """
    parts = " ".join(words.split()).split("`")
    outside = [
        re.sub(r"([\\<*_\[\]])", r"\\\1", p) if n % 2 == 0 else p for n, p in enumerate(parts)
    ]
    return "`".join(outside).replace("|", "\\|")

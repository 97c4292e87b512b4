"""Tables as lists of typed rows, for notebooks and data-frame libraries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any, TypeVar

import numpy as np
from msgspec import Struct

TableRow = TypeVar("TableRow")


class Table(tuple[TableRow, ...]):
    """Typed rows in order; :meth:`to_dicts` gives plain values for other libraries."""

    __slots__ = ()

    def __new__(cls, rows: Iterable[TableRow] = ()) -> Table[TableRow]:
        """Rows of one record each."""
        return super().__new__(cls, tuple(rows))

    def to_dicts(self) -> list[dict[str, Any]]:
        """One dictionary a row, with numbers, texts, lists and dictionaries only."""
        return [plain(row) for row in self]

    def _repr_html_(self) -> str:
        from html import escape  # its table of letters takes as long as a small room to load

        rows = self.to_dicts()
        if not rows:
            return "<p>no rows</p>"
        names = [n for n in rows[0] if not isinstance(rows[0][n], dict | list)]
        head = "".join(f"<th>{escape(n)}</th>" for n in names)
        body = "".join(
            "<tr>" + "".join(f"<td>{escape(_cell(r.get(n)))}</td>" for n in names) + "</tr>"
            for r in rows
        )
        return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def plain(value: Any) -> Any:
    """A value as plain data: records as dictionaries, arrays as lists, enums as their text.

    >>> plain((1.5, None))
    [1.5, None]
    """
    if isinstance(value, Struct):
        return {n: plain(getattr(value, n)) for n in value.__struct_fields__}
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, tuple | list | frozenset):
        return [plain(v) for v in value]
    if value is None or isinstance(value, bool | int | float | str):
        return value
    return repr(value)


def _cell(value: Any) -> str:
    if value is None:
        return ""
    return f"{value:.6g}" if isinstance(value, float) else str(value)

"""What the command line prints: results on stdout, everything else on stderr."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Sequence
from types import TracebackType
from typing import Any

LINE = 80
"""Columns of what is listed to be read."""
CAUTION = (
    "A cage can kill when it is wrong: these are geometry and screening figures only. The current "
    "rulebook and the scrutineer decide, structural and weld decisions belong to qualified people, "
    "and on the road local law applies."
)
"""The caution under every result of check and make."""


def complain(message: str) -> None:
    """Print an error on stderr, each line marked as cagekit's."""
    for line in message.splitlines():
        print(line if line.startswith("cagekit") else f"cagekit: {line}", file=sys.stderr)


def note(message: str) -> None:
    """Print a remark on stderr."""
    print(message, file=sys.stderr)


def caution() -> None:
    """Print the caution on stderr."""
    note("\n" + textwrap.fill(CAUTION, width=min(width(), 100)))


def emit(data: Any) -> None:
    """Print ``data`` as JSON on stdout."""
    import json

    print(json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False))


def width() -> int:
    """Columns of the terminal; 100 when there is none."""
    import shutil

    return max(shutil.get_terminal_size((100, 24)).columns, 40)


def wrapped(lead: str, text: str) -> str:
    """Return ``text`` after ``lead``, wrapped to the terminal."""
    gap = " " * len(lead)
    return textwrap.fill(text, min(width(), 100), initial_indent=lead, subsequent_indent=gap)


def table(
    rows: Sequence[Sequence[str]], head: Sequence[str] = (), *, indent: int = 0, most: int = 0
) -> None:
    """Print columns; the last one is wrapped to the terminal, if there is one.

    Args:
        rows: the rows.
        head: titles of the columns.
        indent: spaces before each row.
        most: columns that no line may pass, terminal or not; 0 for any number.
    """
    lines = [list(head), *map(list, rows)] if head else [list(r) for r in rows]
    if not lines:
        return
    sizes = [max(len(r[c]) for r in lines) for c in range(len(lines[0]) - 1)]
    lead = indent + sum(s + 2 for s in sizes)
    wide = width() if sys.stdout.isatty() else 10_000
    room = max(min(wide, most or wide) - lead, 24)
    for n, row in enumerate(lines):
        start = " " * indent + "".join(
            f"{text:<{s}}  " for text, s in zip(row, sizes, strict=False)
        )
        wrapped = textwrap.wrap(row[-1], room, break_long_words=False, break_on_hyphens=False) or [
            ""
        ]
        print((start + wrapped[0]).rstrip())
        for more in wrapped[1:]:
            print(" " * lead + more)
        if head and n == 0:
            print(
                " " * indent
                + "-" * min(lead - indent + max(len(r[-1]) for r in lines), room + lead)
            )


class Progress:
    """Says on stderr what is being done, once it takes longer than a second.

    Use as a context; ``step`` names what comes next. Quick work prints nothing.
    """

    PATIENCE = 1.0
    LONG = 10.0
    """Seconds after which the reason why it takes long is told, where one is known."""

    def __init__(self, total: int = 0) -> None:
        import threading

        self.total, self.count, self.name, self.reason = total, 0, "", ""
        self._late = False
        self._lock = threading.Lock()
        self._timers = (
            threading.Timer(self.PATIENCE, self._overdue),
            threading.Timer(self.LONG, self._explain),
        )
        for timer in self._timers:
            timer.daemon = True

    def __enter__(self) -> Progress:
        for timer in self._timers:
            timer.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for timer in self._timers:
            timer.cancel()

    def step(self, name: str) -> None:
        """Begin the next step."""
        with self._lock:
            self.count, self.name = self.count + 1, name
            if self._late:
                self._say()

    def because(self, reason: str) -> None:
        """Give the reason that is told if it takes long."""
        self.reason = reason

    def _explain(self) -> None:
        with self._lock:
            if self.reason:
                print(f"cagekit: this takes long: {self.reason}.", file=sys.stderr, flush=True)

    def _overdue(self) -> None:
        with self._lock:
            self._late = True
            if self.name:
                self._say()

    def _say(self) -> None:
        share = f" ({self.count} of {self.total})" if self.total else ""
        print(f"cagekit: {self.name} ...{share}", file=sys.stderr, flush=True)

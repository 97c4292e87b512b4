r"""The process's own streams: never closed, never obeyed by a terminal, never the end of a run.

What is printed may hold names and texts from files that somebody else wrote. Control signs in
them are shown as ``\u001b`` (which is also how JSON writes them), and so is a letter that the
terminal cannot print. A reader that has gone, or a stream that was closed before the start, costs
the words and nothing else: the exit code is that of the work.
"""

from __future__ import annotations

import codecs
import os
import sys
from contextlib import suppress
from typing import Any, TextIO

_HIDDEN = (
    (0x00, 0x09),
    (0x0B, 0x20),
    (0x7F, 0xA0),
    (0x200B, 0x2010),
    (0x202A, 0x202F),
    (0x2066, 0x206A),
    (0xFEFF, 0xFF00),
)
_SHOWN = {code: f"\\u{code:04x}" for span in _HIDDEN for code in range(*span)}
"""Controls of terminals and signs that turn the direction of writing, by what is shown instead."""
_ERRORS = "cagekit.shown"


def plain(text: str) -> str:
    """Return ``text`` with its control signs shown; line feeds and tabs stay."""
    return text.translate(_SHOWN)


def guard_streams() -> None:
    """Make the standard streams safe to write to; called once, before anything is printed."""
    codecs.register_error(_ERRORS, _escaped)
    for number in (0, 1, 2):
        _open(number)
    sys.stdout = Stream(sys.stdout, 1, "w")
    sys.stderr = Stream(sys.stderr, 2, "w")


def flush_streams() -> None:
    """Write out what waits, as far as anybody reads it."""
    for stream in (sys.stdout, sys.stderr):
        stream.flush()


class Stream:
    """A text stream that shows control signs and outlives its reader.

    Args:
        stream: where to write; None where the process was started without it.
        number: its file number.
        mode: how it is opened again on the void.
    """

    def __init__(self, stream: TextIO | None, number: int, mode: str) -> None:
        self._number = number
        self._stream = stream or open(os.devnull, mode, encoding="utf-8")  # noqa: PTH123, SIM115
        if hasattr(self._stream, "reconfigure"):
            self._stream.reconfigure(errors=_ERRORS)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        """Write ``text`` with its control signs shown."""
        try:
            return self._stream.write(plain(text))
        except BrokenPipeError:
            self._give_up()
        except OSError:
            self._give_up()
            if self._number == 1:  # a full disk is told on stderr
                raise
        return len(text)

    def flush(self) -> None:
        """Write out what waits."""
        try:
            self._stream.flush()
        except BrokenPipeError:
            self._give_up()
        except OSError:
            self._give_up()
            if self._number == 1:
                raise

    def _give_up(self) -> None:
        """Send what comes, and what waits in the buffer, nowhere."""
        with suppress(OSError):
            void = os.open(os.devnull, os.O_WRONLY)
            os.dup2(void, self._number)
            os.close(void)
        with suppress(OSError):
            self._stream.flush()


def _open(number: int) -> None:
    """Take a file number that is closed, so that no file of a run gets it by chance."""
    try:
        os.fstat(number)
    except OSError:
        void = os.open(os.devnull, os.O_RDWR)
        if void != number:
            os.dup2(void, number)
            os.close(void)


def _escaped(error: UnicodeError) -> tuple[str, int]:
    """Show letters that cannot be printed by their number, as JSON would."""
    assert isinstance(error, UnicodeEncodeError)
    pairs = error.object[error.start : error.end].encode("utf-16-be", "surrogatepass")
    codes = (int.from_bytes(pairs[n : n + 2]) for n in range(0, len(pairs), 2))
    return "".join(f"\\u{code:04x}" for code in codes), error.end

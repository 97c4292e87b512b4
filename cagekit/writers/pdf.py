"""PDF documents: a Typst file for each in ``cagekit/data/documents``, its data as JSON.

True scale, fonts embedded, same input same bytes: the only fonts are the DejaVu ones that
matplotlib ships, and the documents carry no date.
"""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Mapping
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

import numpy as np

from cagekit.errors import OutputError
from cagekit.names import bound
from cagekit.view.fonts import font_folder
from cagekit.writers.typesetter import typeset

WHOLE = 30
"""Letters of a word that stay on one line; a longer one breaks where it must. Files keep theirs."""
_LONG = re.compile(rf"[^\s_]{{{WHOLE}}}(?=[^\s_])")
# what turns the letters after it round, and what no font has a letter for
_HIDDEN = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def document(
    name: str, data: Mapping[str, Any], pictures: Mapping[str, bytes] | None = None
) -> bytes:
    """Typeset the document ``name`` with its data.

    Args:
        name: file name without ending in ``cagekit/data/documents``.
        data: what the document shows; anything JSON holds, and arrays of numbers.
        pictures: files it may show, by name (SVG or PNG).

    Raises:
        OutputError: the document does not compile; tells the typesetter's message.
    """
    fonts = font_folder()
    if fonts is None:
        raise OutputError(
            f"{name}.pdf: the DejaVu letters are missing; install matplotlib, which brings them."
        )
    with (
        tempfile.TemporaryDirectory() as folder,
        as_file(files("cagekit.data") / "documents") as source,
    ):
        here = Path(folder)
        for file in sorted(source.glob("*.typ")):
            (here / file.name).write_bytes(file.read_bytes())
        shown = _set(data, frozenset(pictures or ()))
        (here / "data.json").write_text(json.dumps(shown, allow_nan=False), "utf-8")
        for picture, content in (pictures or {}).items():
            (here / picture).write_bytes(content)
        return typeset(here, name, fonts)


def _set(value: Any, kept: frozenset[str]) -> Any:
    """The data with texts as they are set; ``kept`` are the names of its pictures."""
    if isinstance(value, str):
        return value if value in kept else settable(value)
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, list | tuple):
        return [_set(v, kept) for v in value]
    if isinstance(value, Mapping):
        return {k: _set(v, kept) for k, v in value.items()}
    return value


def settable(text: str) -> str:
    r"""Return a text as papers set it, whoever wrote it.

    No line ends before a lone letter or number, a word too long for a column may break, and a sign
    that would turn the letters after it round is shown as a file writes it.

    >>> print(settable("\u202eliar"))
    \u202eliar
    """
    shown = _HIDDEN.sub(lambda sign: sign[0].encode("unicode_escape").decode(), text)
    return _LONG.sub("\\g<0>\u200b", bound(shown))

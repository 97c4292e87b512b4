"""PDF documents: a Typst file for each in ``cagekit/data/documents``, its data as JSON.

True scale, fonts embedded, same input same bytes: the only fonts are the DejaVu ones that
matplotlib ships, and the documents carry no date.
"""

from __future__ import annotations

import json
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
        (here / "data.json").write_text(json.dumps(_set(data), allow_nan=False), "utf-8")
        for picture, content in (pictures or {}).items():
            (here / picture).write_bytes(content)
        return typeset(here, name, fonts)


def _set(value: Any) -> Any:
    """The data with texts as they are set: no line ends before a lone letter or number."""
    if isinstance(value, str):
        return bound(value)
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, list | tuple):
        return [_set(v) for v in value]
    if isinstance(value, Mapping):
        return {k: _set(v) for k, v in value.items()}
    return value

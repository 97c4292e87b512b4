"""Pages of a PDF as letters, words and lines with their places, read by a C library.

Places are points from the page's upper left corner, as they are seen; letters that do not read
level are told apart.
"""

from __future__ import annotations

from ctypes import byref, c_double, c_float, create_string_buffer
from dataclasses import dataclass
from functools import cached_property
from math import hypot, isclose, pi
from pathlib import Path
from typing import Any

import pypdfium2
import pypdfium2.raw as raw

SAME_LINE = 3.0
"""Letters whose tops lie nearer than this (pt) stand in one line."""
SAME_WORD = 3.0
"""Letters further apart than this (pt) stand in two words."""
TWICE = 0.6
"""A letter nearer than this (pt) to its like is one that is drawn twice."""


@dataclass(frozen=True)
class Letter:
    text: str
    x0: float
    x1: float
    top: float
    bottom: float
    size: float
    font: str
    level: bool


@dataclass(frozen=True)
class Shape:
    """A drawn path: its box and its corners."""

    x0: float
    x1: float
    top: float
    bottom: float
    points: tuple[tuple[float, float], ...]
    curved: bool


@dataclass(frozen=True)
class PdfPage:
    width: float
    height: float
    letters: tuple[Letter, ...]
    shapes: tuple[Shape, ...]

    @cached_property
    def words(self) -> list[dict[str, Any]]:
        """Words that read level, line by line from the top, each from the left."""
        return _words([c for c in self.letters if c.level])

    @property
    def text(self) -> str:
        """All words, a line of the page a line."""
        return "\n".join(
            " ".join(w["text"] for w in line) for line in lines(self.words, "top", SAME_LINE)
        )

    @property
    def fonts(self) -> set[str]:
        return {c.font for c in self.letters}


def pages(file: Path | bytes) -> list[PdfPage]:
    """All pages of a PDF."""
    document = pypdfium2.PdfDocument(file)
    try:
        return [_page(document[n]) for n in range(len(document))]
    finally:
        document.close()


def lines(
    words: list[dict[str, Any]], by: str = "bottom", apart: float = 2.5
) -> list[list[dict[str, Any]]]:
    """Words in lines from top to bottom, each from left to right."""
    out: list[list[dict[str, Any]]] = []
    for w in sorted(words, key=lambda w: (w["top"], w["x0"])):
        if out and abs(out[-1][0][by] - w[by]) < apart:
            out[-1].append(w)
        else:
            out.append([w])
    return [sorted(line, key=lambda w: w["x0"]) for line in out]


def _page(page: Any) -> PdfPage:
    width, height = page.get_size()
    return PdfPage(width, height, _letters(page, height), _shapes(page, height))


def _letters(page: Any, height: float) -> tuple[Letter, ...]:
    text = page.get_textpage()
    handle = text.raw
    box = raw.FS_RECTF()
    tight = [c_double() for _ in range(4)]
    x, y = c_double(), c_double()
    matrix = raw.FS_MATRIX()
    last = (0.0, 0.0)
    names: dict[int, str] = {}
    seen: dict[tuple[str, int, int], tuple[float, float]] = {}
    out = []
    for i in range(raw.FPDFText_CountChars(handle)):
        letter = chr(raw.FPDFText_GetUnicode(handle, i))
        if raw.FPDFText_IsGenerated(handle, i) == 1 or letter < " ":
            continue
        raw.FPDFText_GetCharOrigin(handle, i, byref(x), byref(y))
        spot = x.value, y.value
        # the letters of a ligature stand on one spot, and one after the other
        if spot != last and _is_near(spot, letter, seen):
            continue
        last = spot
        seen[letter, int(spot[0] // TWICE), int(spot[1] // TWICE)] = spot
        raw.FPDFText_GetMatrix(handle, i, byref(matrix))
        size = raw.FPDFText_GetFontSize(handle, i) * hypot(matrix.c, matrix.d)
        level = isclose(raw.FPDFText_GetCharAngle(handle, i) % (2 * pi), 0.0, abs_tol=1e-3)
        if level:
            raw.FPDFText_GetLooseCharBox(handle, i, byref(box))
            x0, x1, low = box.left, box.right, box.bottom
            top = low + size
        else:
            raw.FPDFText_GetCharBox(handle, i, *(byref(v) for v in tight))
            x0, x1, low, top = x.value, tight[1].value, y.value, tight[3].value
        out.append(
            Letter(letter, x0, x1, height - top, height - low, size, _font(handle, i, names), level)
        )
    text.close()
    return tuple(out)


def _is_near(
    spot: tuple[float, float], letter: str, seen: dict[tuple[str, int, int], tuple[float, float]]
) -> bool:
    """Whether the same letter stands beside a spot; those seen are kept by squares of ``TWICE``."""
    x, y = spot
    across, up = int(x // TWICE), int(y // TWICE)
    for i in (across, across - 1, across + 1):
        for j in (up, up - 1, up + 1):
            there = seen.get((letter, i, j))
            if there and abs(there[0] - x) < TWICE and abs(there[1] - y) < TWICE:
                return True
    return False


def _font(handle: Any, i: int, names: dict[int, str]) -> str:
    """Name of a letter's font; asked once for each."""
    held = raw.FPDFTextObj_GetFont(raw.FPDFText_GetTextObject(handle, i))
    key = id(held) if not held else int.from_bytes(bytes(held), "little")
    if key not in names:
        buffer = create_string_buffer(200)
        raw.FPDFFont_GetBaseFontName(held, buffer, 200)
        names[key] = buffer.value.decode()
    return names[key]


def _shapes(page: Any, height: float) -> tuple[Shape, ...]:
    out = []
    x, y = c_float(), c_float()
    for shape in page.get_objects(filter=[raw.FPDF_PAGEOBJ_PATH], max_depth=8):
        m = shape.get_matrix()
        points = []
        curved = False
        for k in range(raw.FPDFPath_CountSegments(shape)):
            segment = raw.FPDFPath_GetPathSegment(shape, k)
            curved |= raw.FPDFPathSegment_GetType(segment) == raw.FPDF_SEGMENT_BEZIERTO
            raw.FPDFPathSegment_GetPoint(segment, byref(x), byref(y))
            a, b = m.on_point(x.value, y.value)
            points.append((a, height - b))
        if points:
            xs, ys = zip(*points, strict=True)
            out.append(Shape(min(xs), max(xs), min(ys), max(ys), tuple(points), curved))
    return tuple(out)


def _words(letters: list[Letter]) -> list[dict[str, Any]]:
    rows: list[list[Letter]] = []
    for c in sorted(letters, key=lambda c: c.top):
        if rows and c.top - rows[-1][-1].top < SAME_LINE:
            rows[-1].append(c)
        else:
            rows.append([c])
    out: list[dict[str, Any]] = []
    for row in rows:
        word: list[Letter] = []
        for c in sorted(row, key=lambda c: c.x0):
            ends = word and (
                c.text.isspace()
                or c.x0 - word[-1].x1 > SAME_WORD
                or abs(c.size - word[-1].size) > 0.01
            )
            if ends:
                out.append(_word(word))
                word = []
            if not c.text.isspace():
                word.append(c)
        if word:
            out.append(_word(word))
    return out


def _word(letters: list[Letter]) -> dict[str, Any]:
    return {
        "text": "".join(c.text for c in letters),
        "x0": min(c.x0 for c in letters),
        "x1": max(c.x1 for c in letters),
        "top": min(c.top for c in letters),
        "bottom": max(c.bottom for c in letters),
        "size": letters[0].size,
    }

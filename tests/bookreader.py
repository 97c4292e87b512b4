"""Reads a printed shop book back by where words stand on the page; knows nothing of its writer."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import pdfpages
from pdfpages import Letter

GAP = 5.5
"""Words further apart than this (pt) stand in two cells."""
LEVEL = 0.2
"""A line that rises less than this (pt) is level."""


@dataclass(frozen=True)
class Page:
    number: int
    words: list[dict[str, Any]]
    rules: list[float]
    upright: list[str]
    title: str
    ruled: tuple[tuple[float, float, float], ...] = ()
    """Height, left and right end of every level rule."""
    width: float = 0.0

    def halves(self) -> tuple[Page, Page]:
        """The page's left and right column as pages of their own."""
        middle = self.width / 2

        def half(left: bool) -> Page:
            return replace(
                self,
                words=[w for w in self.words if ((w["x0"] + w["x1"]) / 2 < middle) == left],
                rules=sorted({y for y, a, b in self.ruled if ((a + b) / 2 < middle) == left}),
            )

        return half(True), half(False)

    def lines(self, words: list[dict[str, Any]] | None = None) -> list[list[dict[str, Any]]]:
        """Words in lines from top to bottom, each from left to right."""
        return pdfpages.lines(self.words if words is None else words)

    def text(self) -> str:
        return "\n".join(" ".join(w["text"] for w in line) for line in self.lines())

    def table(self, heads: tuple[str, ...]) -> Iterator[dict[str, str]]:
        """Rows of every table on the page with these heads; cells by head."""
        for line in self.lines():
            found = _cells(line)
            if tuple(c["text"] for c in found) != heads:
                continue
            bottom = max(w["bottom"] for w in line)
            rules = [y for y in self.rules if y > bottom]
            for above, below in pairwise(rules):
                inside = [w for w in self.words if above < w["top"] and w["bottom"] < below + 1]
                if not inside or any(w["size"] > 9.5 for w in inside if heads[0] != "Bend"):
                    break
                if below - above > 60:
                    break
                row = dict.fromkeys(heads, "")
                for part in self.lines(inside):
                    for cell in _cells(part):
                        head = min(found, key=lambda h: _apart(h, cell))["text"]
                        row[head] = f"{row[head]} {cell['text']}".strip()
                yield row


def read(file: Path) -> list[Page]:
    """All pages of a PDF."""
    out = []
    for n, raw in enumerate(pdfpages.pages(file), 1):
        words = raw.words
        rules = tuple(
            (round(r.top, 1), r.x0, r.x1)
            for r in raw.shapes
            if len(r.points) == 2 and r.bottom - r.top < LEVEL and r.x1 - r.x0 > 60
        )
        big = [w for w in words if w["size"] > 15]
        title = " ".join(w["text"] for w in sorted(big, key=lambda w: (round(w["top"]), w["x0"])))
        # letters that read upwards, from the bottom
        turned = [c for c in raw.letters if not c.level]
        turned.sort(key=lambda c: (round(c.x0), -c.top))
        out.append(
            Page(
                number=n,
                words=words,
                rules=sorted({y for y, _, _ in rules}),
                upright=_columns(turned),
                title=title,
                ruled=rules,
                width=raw.width,
            )
        )
    return out


def _columns(turned: list[Letter]) -> list[str]:
    """Texts that read upwards."""
    out: list[str] = []
    last = None
    for c in turned:
        if last is None or abs(last.x0 - c.x0) > 1.5 or last.top - c.bottom > 8:
            out.append("")
        out[-1] += c.text
        last = c
    return out


def _cells(line: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Words of a line joined where only a space is between them."""
    out: list[dict[str, Any]] = []
    for w in line:
        if out and w["x0"] - out[-1]["x1"] < GAP:
            out[-1] = {"text": f"{out[-1]['text']} {w['text']}", "x0": out[-1]["x0"], "x1": w["x1"]}
        else:
            out.append({"text": w["text"], "x0": w["x0"], "x1": w["x1"]})
    return out


def _apart(head: dict[str, Any], cell: dict[str, Any]) -> float:
    return min(abs(head["x0"] - cell["x0"]), abs(head["x1"] - cell["x1"]))


def mm(text: str, unit: str = "") -> float:
    """A printed length in mm: ``48 15/16 in``, ``624 mm``, or ``623.9`` in ``unit``."""
    found = re.match(r"\s*(-?)(?:(\d+) )?(\d+)/(\d+)\s*(in)?\b", text)
    if found:
        sign, whole, top, below, _ = found.groups()
        value = Fraction(int(whole or 0)) + Fraction(int(top), int(below))
        return float(value) * 25.4 * (-1 if sign else 1)
    found = re.match(r"\s*(-?[\d.]+)\s*(in|mm)?", text)
    assert found, text
    return float(found[1]) * (25.4 if (found[2] or unit) == "in" else 1.0)


def degrees_of(text: str) -> float:
    """A printed angle."""
    return float(text.replace("°", "").replace("+", ""))

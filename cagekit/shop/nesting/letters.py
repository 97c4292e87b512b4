"""Single-stroke letters for engraving: every stroke is one pass of the torch or scriber."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache, lru_cache
from itertools import compress, pairwise
from math import dist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cagekit.units.tolerance import NO_LENGTH

Strokes = tuple[NDArray[np.float64], ...]


@cache
def _font() -> Any:
    from HersheyFonts import HersheyFonts  # type: ignore[import-untyped]

    font = HersheyFonts()
    font.load_default_font("futural")
    font.normalize_rendering(1.0)
    return font


@lru_cache(maxsize=512)
def strokes(text: str, height: float) -> Strokes:
    """The strokes of one line of text, each ``(n, 2)`` mm, its lower left corner at the origin.

    ``height`` is that of the capitals. Source of the shapes: A. V. Hershey's plain single-stroke
    letters (US National Bureau of Standards, 1967), as data of an open package.
    """
    drawn = (_distinct(list(s)) for s in _font().strokes_for_text(text))
    rows = [np.array(s, float) for s in drawn if len(s) > 1]
    if not rows:
        return ()
    every = np.concatenate(rows)
    low = every.min(0)
    capital = np.concatenate([np.array(list(s), float) for s in _font().strokes_for_text("H")])
    scale = height / float(np.ptp(capital[:, 1]))
    base = float(capital[:, 1].min())
    return tuple((r - np.array([low[0], base])) * scale for r in rows)


def _distinct(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Points of a stroke without those that stand on the one before."""
    moved = (dist(p, q) > NO_LENGTH for p, q in pairwise(points))
    return [*points[:1], *compress(points[1:], moved)]


def text_box(text: str, height: float) -> tuple[float, float, float]:
    """Width of a line of text and how far it reaches below and above its base line, mm."""
    rows = strokes(text, height)
    if not rows:
        return 0.0, 0.0, 0.0
    every = np.concatenate(rows)
    return float(every[:, 0].max()), float(min(every[:, 1].min(), 0.0)), float(every[:, 1].max())

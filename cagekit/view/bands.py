"""Bands of use of a tube, from little used to used up, and how pictures tell them apart."""

from __future__ import annotations

from msgspec import Struct

SHOWN = 0.06
"""Largest movement in a picture, as a share of the cage's size."""


class Band(Struct, frozen=True, kw_only=True):
    """A band of use: up to where, colour, width and dash (on, off) in pixels; told by both."""

    upto: float
    colour: tuple[int, int, int]
    width: int
    dash: tuple[int, int] | None = None


BANDS = (
    Band(upto=0.25, colour=(150, 180, 205), width=4, dash=(3, 7)),
    Band(upto=0.5, colour=(70, 130, 180), width=5, dash=(14, 6)),
    Band(upto=0.75, colour=(60, 140, 90), width=6),
    Band(upto=1.0, colour=(215, 140, 20), width=9),
    Band(upto=float("inf"), colour=(190, 30, 45), width=13),
)
"""From little used to used up: a wider line means harder, the faint ones are dashed."""


def words_of(band: int) -> str:
    """From where to where a band goes."""
    low = BANDS[band - 1].upto if band else 0.0
    return f"{low:g} to {BANDS[band].upto:g}" if BANDS[band].upto < 9 else f"over {low:g}"

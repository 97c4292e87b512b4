"""How sure a number of a table is."""

from __future__ import annotations

from typing import Literal, get_args

Certainty = Literal["read in text", "common practice", "from memory"]
"""Read in a document, a habit of the trade without one, or remembered and still to be looked up."""


def certainty(text: str) -> Certainty:
    """Return ``text`` as a certainty.

    Raises:
        ValueError: it is none.
    """
    for known in get_args(Certainty):
        if text == known:
            return known  # type: ignore[no-any-return]
    raise ValueError(f"certainty {text!r} (allowed: {', '.join(get_args(Certainty))})")

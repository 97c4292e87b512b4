"""How sure a number is: one vocabulary for tables, books and findings."""

from __future__ import annotations

from enum import StrEnum


class Certainty(StrEnum):
    """How sure a number is, the surest first."""

    IN_TEXT = "read in text"
    TWO_EDITIONS = "in two editions"
    PARAPHRASE = "paraphrase"
    FROM_MEMORY = "from memory"
    COMMON_PRACTICE = "common practice"
    MEASURED = "measured"
    """The number is the build's own: a car sheet, a keep-out, a machine, plain geometry."""


def certainty(text: str) -> Certainty:
    """Return ``text`` as a certainty.

    Raises:
        ValueError: it is none.
    """
    if text not in set(Certainty):
        raise ValueError(f"certainty {text!r} (allowed: {', '.join(Certainty)})")
    return Certainty(text)

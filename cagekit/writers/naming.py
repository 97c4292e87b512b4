"""Names for people: what a paper says where the program has an id."""

from __future__ import annotations

import re

END_OF = re.compile(r"(?<=\w)\.([ab])\b|\bend ([ab])\b")
JOINED = re.compile(r"(?<=[A-Za-z0-9])_(?=[A-Za-z0-9])")


def in_words(text: str) -> str:
    """Return a text with its ids as people read them.

    >>> in_words("rear_brace_left.b")
    'rear brace left B'
    >>> in_words("weld of roof_rail_left end a")
    'weld of roof rail left end A'
    """
    ends = END_OF.sub(lambda m: f" {m[1].upper()}" if m[1] else f"end {m[2].upper()}", text)
    return JOINED.sub(" ", ends)

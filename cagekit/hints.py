"""What a person may have meant: names close to the one that was typed."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

MOST_LISTED = 16
"""A list of what is known is told whole up to so many names."""
CLEAR = 0.85
"""Likeness (0 to 1) from which one name alone is meant."""


def closest(name: str, known: Iterable[str], *, most: int = 3) -> list[str]:
    """Return up to ``most`` names of ``known`` that look like ``name``, the nearest first.

    Args:
        name: as typed.
        known: all the names there are.
        most: how many at most.
    """
    names = {k.casefold().replace("-", "_"): k for k in known}
    asked = name.casefold().replace("-", "_")
    near = difflib.get_close_matches(asked, sorted(names), n=most, cutoff=0.6)
    if near and difflib.SequenceMatcher(None, asked, near[0]).ratio() > CLEAR:
        return [names[near[0]]]
    inside = [n for n in sorted(names) if len(asked) > 2 and asked in n]
    begun = [n for n in inside if n.startswith(asked)]
    return [names[n] for n in dict.fromkeys([*begun, *near, *inside])][:most]


def did_you_mean(name: str, known: Iterable[str], *, what: str = "Known") -> str:
    """Return ``Did you mean 'x'?``, or the list of what is known when nothing is near.

    Args:
        name: as typed.
        known: all the names there are.
        what: title of the list.
    """
    known = sorted(known)
    near = closest(name, known)
    if near:
        return f"Did you mean {' or '.join(repr(n) for n in near)}?"
    if not known:
        return ""
    if len(known) <= MOST_LISTED:
        return f"{what}: {', '.join(known)}."
    return f"{what}: {', '.join(known[:12])}, ..."

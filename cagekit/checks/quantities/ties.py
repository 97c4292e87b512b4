"""What ties tubes together, and how far one holds on to others."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from itertools import pairwise

from cagekit.cage.cage import Cage

Ties = Mapping[str, set[str]]
"""Tubes that each tube is joined to, both ways, by id; the frame of the car is among them."""


def ties_of(cage: Cage) -> Ties:
    """What is coped to what, and the pieces of each tube that comes apart."""
    out: dict[str, set[str]] = {id_: set() for id_ in cage.members}
    joined = [(m.id, p) for m in cage.members.values() for _, end in m.ends for p in end.parents]
    for one, other in (*joined, *(both for d in cage.divided for both in pairwise(d.pieces))):
        out.setdefault(one, set()).add(other)
        out.setdefault(other, set()).add(one)
    return out


def reached(ties: Ties, first: str, past: Callable[[str], bool]) -> Iterator[str]:
    """All that a walk from one tube along the ties comes to, once each, that tube left out.

    Args:
        ties: of the cage.
        first: where the walk begins.
        past: whether it goes on beyond a tube that it has come to.
    """
    seen, todo = {first}, [first]
    while todo:
        for other in sorted(ties[todo.pop()] - seen):
            seen.add(other)
            yield other
            if past(other):
                todo.append(other)

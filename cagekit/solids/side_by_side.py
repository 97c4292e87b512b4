"""Work that asks what rays do at surfaces, done side by side.

Written down, a tube asks some dozens of times for the contacts of a few dozen rays; a call costs
more than its arithmetic. So the work on a rim is a generator that yields the bundles it wants to
know of, and what all rims of all tubes ask for next is answered in one array pass.
"""

from __future__ import annotations

from collections.abc import Generator, Hashable, Iterator, Sequence
from itertools import pairwise
from typing import TypeVar

import numpy as np

from cagekit.geometry.contact import Bundle, Solution, solutions

T = TypeVar("T")
Answer = list[Solution]
"""What the rays of a bundle do at each of its surfaces."""
RayWork = Generator[list[Bundle], list[Answer], T]
"""Yields bundles of rays, takes an answer for each."""


def together(works: Sequence[RayWork[T]]) -> RayWork[list[T]]:
    """Do works side by side: each time all of them ask, and all get their answers."""
    done: dict[int, T] = {}
    answers: dict[int, list[Answer] | None] = dict.fromkeys(range(len(works)))
    while True:
        asked: dict[int, list[Bundle]] = {}
        for i, answer in answers.items():
            try:
                asked[i] = next(works[i]) if answer is None else works[i].send(answer)
            except StopIteration as end:
                done[i] = end.value
        if not asked:
            return [done[i] for i in range(len(works))]
        found = iter((yield [bundle for bundles in asked.values() for bundle in bundles]))
        answers = {i: _taken(found, len(bundles)) for i, bundles in asked.items()}


def _taken(found: Iterator[Answer], count: int) -> list[Answer]:
    return [next(found) for _ in range(count)]


def merged(work: RayWork[T]) -> RayWork[T]:
    """Do a work; those of its bundles that meet the same surfaces go as one, which saves calls."""
    try:
        asked = next(work)
        while True:
            alike: dict[Hashable, list[int]] = {}
            for i, b in enumerate(asked):
                key = (*map(id, b.surfaces), b.direction.tobytes(), *b.windows)
                alike.setdefault(key, []).append(i)
            groups = list(alike.values())
            found = yield [_joined([asked[i] for i in group]) for group in groups]
            answers: dict[int, Answer] = {}
            for group, solved in zip(groups, found, strict=True):
                answers.update(zip(group, _parted(solved, [asked[i] for i in group]), strict=True))
            asked = work.send([answers[i] for i in range(len(asked))])
    except StopIteration as end:
        return end.value  # type: ignore[no-any-return]


def _joined(bundles: Sequence[Bundle]) -> Bundle:
    first = bundles[0]
    if len(bundles) == 1:
        return first
    return first._replace(origins=np.concatenate([b.origins for b in bundles]))


def _parted(solved: Answer, bundles: Sequence[Bundle]) -> list[Answer]:
    if len(bundles) == 1:
        return [solved]
    stops = np.cumsum([len(b.origins) for b in bundles]).tolist()
    parts = [slice(a, b) for a, b in pairwise([0, *stops])]
    return [[Solution(*(x[part] for x in q)) for q in solved] for part in parts]


def done(work: RayWork[T]) -> T:
    """Do a work, answering what it asks."""
    try:
        asked = next(work)
        while True:
            asked = work.send(solutions(asked))
    except StopIteration as end:
        return end.value  # type: ignore[no-any-return]

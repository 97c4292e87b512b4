"""Work that asks what rays do at surfaces, done side by side.

Written down, a tube asks some dozens of times for the contacts of a few dozen rays; a call costs
more than its arithmetic. So the work on a rim is a generator that yields the bundles it wants to
know of, and what all rims of all tubes ask for next is answered in one array pass.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Sequence
from functools import partial
from typing import TypeVar

from cagekit.geometry.contact import Bundle, Contact, Solution, contacts_and_solutions

T = TypeVar("T")
Answer = tuple[Contact, Callable[[], list[Solution]]]
"""The first contacts of a bundle's rays; asked, it tells what they do at each of its surfaces."""
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


def done(work: RayWork[T]) -> T:
    """Do a work, answering what it asks."""
    try:
        asked = next(work)
        while True:
            touched, at_each = contacts_and_solutions(asked)
            asked = work.send([(c, partial(at_each, i)) for i, c in enumerate(touched)])
    except StopIteration as end:
        return end.value  # type: ignore[no-any-return]

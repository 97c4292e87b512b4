"""Quantities of the car itself, read from its sheet."""

from __future__ import annotations

from collections.abc import Iterator

from cagekit.checks.facts import FACTS, Missing
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey


def _fact(s: Survey, name: str) -> Iterator[Measure]:
    value = FACTS[name].get(s)
    if isinstance(value, Missing):
        yield Measure(subject="car", missing=value.what)
    else:
        yield Measure(subject="car", value=value)


@quantity("homologation_year", "year", "year of homologation")
def homologation_year(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Year of homologation from the car sheet."""
    yield from _fact(s, "homologated")


@quantity("elapsed_time", "s", "elapsed time in the quarter mile")
def elapsed_time(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Elapsed time in the quarter mile from the car sheet."""
    yield from _fact(s, "quarter_mile_time")

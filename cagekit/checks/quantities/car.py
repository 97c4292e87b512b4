"""Quantities of the car itself, read from its sheet."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from cagekit.cage.kept import Same
from cagekit.car.tapes import Suspect, Taped, taped
from cagekit.checks.facts import FACTS, Missing
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey
from cagekit.units import LengthUnit, format_length


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


@quantity("tape_off", "mm", "tape against the points", base="what a tape and a plumb line allow")
def tape_off(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far each tape of the car sheet lies off the same length from the sheet's points.

    Tapes that agree come as one, the one that is nearest to its allowance; of the others each says
    which number of the sheet makes all agree when it is changed.
    """
    rows = s.cage.kept.once(("taped", Same(s.car)), partial(taped, s.car))
    if not rows:
        yield Measure(
            subject="car",
            missing="[tapes] on the car sheet: cross distances as taped, to prove its points",
        )
    good = [r for r in rows if r.agrees and r.reckoned is not None]
    if good:
        worst = max(good, key=lambda r: (abs(r.off) / r.tape.allowed, r.tape.field))
        yield Measure(
            subject=worst.tape.field,
            value=abs(worst.off),
            base=worst.tape.allowed,
            label=f"{len(good)} tapes against the points" if len(good) > 1 else "",
        )
    for r in rows:
        if r.reckoned is None:
            points = ", ".join(r.tape.missing(s.car))
            yield Measure(
                subject=r.tape.field, missing=f"{points}: {r.tape.field} is held against it"
            )
        elif not r.agrees:
            yield _off(r, s.design.units)


def _off(r: Taped, units: LengthUnit) -> Measure:
    """A tape that disagrees, with the numbers that may be wrong."""
    assert r.reckoned is not None

    def said(mm: float) -> str:
        return format_length(mm, units, decimals=0 if units == "mm" else 2)

    found = [
        f"{one.field} (by {said(abs(one.more))} {'more' if one.more > 0 else 'less'})"
        for one in _likeliest(r.suspects)
    ]
    which = "more than one number of the car sheet is off, or a tape and a number"
    if found:
        which = f"all tapes agree if one of these is changed: {', '.join(found)}"
        if len(found) == 1:
            which = f"all tapes agree if {found[0]} is changed"
    return Measure(
        subject=r.tape.field,
        value=abs(r.off),
        base=r.tape.allowed,
        evidence=Evidence(note=f"taped {said(r.read)}, the points give {said(r.reckoned)}"),
        text=f"{r.tape.name}: taped {said(r.read)}, the points give {said(r.reckoned)}; {which}.",
        cure=f"Measure {' and '.join(one.field for one in _likeliest(r.suspects)[:2])} again."
        if r.suspects
        else f"Measure {r.tape.field} and its two points again.",
    )


def _likeliest(suspects: tuple[Suspect, ...]) -> tuple[Suspect, ...]:
    """Those that as many tapes speak for as for the likeliest, six at most."""
    most = max((len(s.tapes) for s in suspects), default=0)
    return tuple(s for s in suspects if len(s.tapes) == most)[:6]

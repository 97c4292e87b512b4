"""Quantities of the car round the cage: every tube against shell, doors and keep-outs."""

from __future__ import annotations

from collections.abc import Iterator

from cagekit.car.shell import FAR, Surface, surfaces
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey
from cagekit.fit.cockpit import Cockpit
from cagekit.fit.tubes import Gap

TOUCH = 0.01
"""Less than this (mm) into a surface is touching it, not running into it."""


@quantity("room_to_shell", "mm", "room to the shell", base="the gap to keep")
def room_to_shell(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Room from each surface of the shell and each keep-out to the tube nearest to it."""
    for surface in surfaces(s.car):
        gaps = [] if surface.trimmed else shell_gaps(s.cockpit, surface)
        if gaps:
            yield _room(surface, gaps)


@quantity("tubes_through_trim", "count", "tubes through the trim")
def tubes_through_trim(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How many tubes pass through each part of the car that is cut for them, as the dash."""
    for surface in (one for one in surfaces(s.car) if one.trimmed):
        through = [g for g in shell_gaps(s.cockpit, surface) if g.gap < -TOUCH]
        if through:
            yield Measure(
                subject=surface.name,
                value=len(through),
                evidence=Evidence.of(
                    *sorted(g.member for g in through), points=[g.on_tube for g in through]
                ),
                label=f"tubes through the {surface.name}",
                topic=surface.name,
            )


def shell_gaps(cockpit: Cockpit, surface: Surface) -> list[Gap]:
    """Room between a surface and every tube near it, tightest first."""
    found = [
        gap
        for gap in cockpit.gaps_to(surface.solid).values()
        if gap.axis_gap < FAR / 2 and cockpit.members[gap.member].role not in surface.exempt
    ]
    return sorted(found, key=lambda g: (round(g.gap, 6), g.member))


def _room(surface: Surface, gaps: list[Gap]) -> Measure:
    """The tightest tube against the gap to keep, with all that are too near."""
    bad = [g for g in gaps if g.gap < surface.keep - TOUCH]
    shown = bad or gaps[:1]
    others = ", ".join(f"{g.member} {g.gap:.0f} mm" for g in bad[1:])
    moves = f"Move the tube inboard so that the {surface.name} can move, or trim its lining."
    return Measure(
        subject=gaps[0].member,
        value=gaps[0].gap,
        base=surface.keep,
        evidence=Evidence.of(
            *(g.member for g in shown),
            points=[p for g in shown for p in (g.on_tube, g.on_solid)],
            note=f"also {others}" if others else "",
        ),
        label=f"room to {surface.name}",
        topic=surface.name.replace(" ", "-"),
        cure=moves if surface.moves else "",
        text="Doors, windows and seats must work before anything is welded out."
        if surface.moves
        else "",
    )

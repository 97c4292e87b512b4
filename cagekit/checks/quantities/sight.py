"""Quantities of what the bars hide from the driver. Information, never an approval."""

from __future__ import annotations

from collections.abc import Iterator
from math import degrees

from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.driver import measure
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import SIDES, Survey
from cagekit.fit.view_angles import PillarView, view_down, view_up
from cagekit.people.posture import Occupant


@quantity("pillar_hidden", "deg", "hidden from both eyes by pillar and bars")
def pillar_hidden(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Angle hidden from both eyes of the driver by each windscreen pillar and its bars."""
    for who, view, members in _views(s):
        note = f"{view.side} pillar, the car's own hides {degrees(view.alone):.1f} deg"
        yield _pillar(s, who, view, members, view.total, note)


@quantity("pillar_added", "deg", "hidden by the bars beyond the car's own pillar")
def pillar_added(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Angle that the bars at each windscreen pillar hide beyond the pillar itself."""
    for who, view, members in _views(s):
        each = ", ".join(f"{m} {degrees(view.by_member[m]):.1f}" for m in members)
        note = f"{view.side} pillar; each on its own: {each}"
        yield _pillar(s, who, view, members, view.added, note)


@quantity("view_up", "deg", "clear view up under the bars ahead")
def clear_view_up(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Lowest elevation that a tube hides from eye level up, looking ahead to 15 deg each side."""
    yield from _ahead(s, up=True)


@quantity("view_down", "deg", "clear view down over the bars ahead")
def clear_view_down(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Highest elevation that a tube hides below eye level, looking ahead to 15 deg each side."""
    yield from _ahead(s, up=False)


def _drivers(s: Survey) -> Iterator[Occupant]:
    return (who for who in s.cockpit.occupants if who.at_wheel)


def _views(s: Survey) -> Iterator[tuple[Occupant, PillarView, tuple[str, ...]]]:
    """Every pillar that a driver looks past, with its bars, the worst first."""
    for who in _drivers(s):
        for side in SIDES:
            view = s.pillar_view(who, side)
            if view is not None:
                by = view.by_member
                yield who, view, tuple(sorted(by, key=lambda m: (-by[m], m)))


def _pillar(
    s: Survey, who: Occupant, view: PillarView, members: tuple[str, ...], angle: float, note: str
) -> Measure:
    near = [s.cockpit.members[m].path.nearest(who.eye).point for m in members]
    evidence = Evidence.of(*members, points=(who.eye, *near), note=note)
    return Measure(subject=f"{view.side} pillar", value=degrees(angle), evidence=evidence)


def _ahead(s: Survey, *, up: bool) -> Iterator[Measure]:
    for who in _drivers(s):
        reading = (view_up if up else view_down)(s.cockpit, who)
        if not reading.absent:
            yield measure(who.name, reading, factor=degrees(1.0))

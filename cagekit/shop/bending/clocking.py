"""A bend sheet in words: what to mark and how to clock the tube with a line and an angle finder."""

from __future__ import annotations

from collections.abc import Callable
from math import degrees

from cagekit.cage.member import EndName
from cagekit.shop.bending.bends import BendSchedule, BendStep
from cagekit.shop.bending.dial import NO_TURN

AT = {
    "start": "the start of the bend on the die",
    "centre": "the middle of the bend on the die",
    "offset": "the mark on the die",
}


def beside_table(sheet: BendSchedule, length: Callable[[float], str]) -> tuple[str, ...]:
    """Return what has to be known beside a table of bends, marks, turns and settings.

    Args:
        sheet: the schedule of a bent tube.
        length: says a length for the tape.
    """
    where = AT[sheet.die.mark_at if sheet.die else "start"]
    lines = [
        "Scribe the reference line along the blank: it is the outside of bend 1. Hook the tape on "
        f"end {sheet.work.datum.upper()} and leave it there for all marks; a mark belongs at "
        f"{where}."
    ]
    if any(s.rotation for s in sheet.steps):
        lines.append(
            "Turn: + is clockwise for one who looks from the tail of the tube at the die. Line at: "
            "outside of the bend round from the reference line, clockwise as seen from end A."
        )
    last: EndName | None = None
    for s in sheet.steps:
        if last is not None and s.lead != last:
            lines.append(
                f"Before bend {s.bend} turn the blank end for end: end {s.lead.upper()} goes in "
                f"first now; {_line(s, length(abs(s.clock_arc)))[:-1]}."
            )
        elif s.rotation and s.finder is not None and abs(s.finder) > NO_TURN:
            lines.append(
                f"Turned for bend {s.bend}, the leg bent last stands "
                f"{abs(degrees(s.finder)):.1f}° out of the plane the machine bends in."
            )
        last = s.lead
    if sheet.problem:
        lines.append(f"No die for this tube: angles are finished angles. {sheet.problem}")
    if sheet.springback is not None:
        lines.extend(w[0].upper() + w[1:] for w in sheet.springback.warnings)
    return tuple(lines)


def _line(step: BendStep, arc: str) -> str:
    """Where the reference line lies for a bend, by angle and round the tube."""
    if abs(step.clock) < NO_TURN:
        return "the reference line is on the outside of the bend;"
    # seen along a to b the outside is clockwise of the line by the clock; the tail is at end b
    # while end a leads, so from there the line is clockwise of the outside, and the reverse
    clockwise = (step.clock > 0) == (step.lead == "a")
    way = "clockwise" if clockwise else "counter-clockwise"
    return (
        f"the reference line is then {abs(degrees(step.clock)):.1f} degrees ({arc} round the "
        f"tube) {way} of the outside of the bend;"
    )

"""A bend sheet in words: what to mark and how to clock the tube with a line and an angle finder."""

from __future__ import annotations

from collections.abc import Callable
from math import degrees

from cagekit.cage.member import EndName
from cagekit.shop.bending.bends import BendSchedule, BendStep
from cagekit.shop.bending.dial import NO_TURN
from cagekit.units import LengthUnit, format_length

AT = {
    "start": "the start of the bend on the die",
    "centre": "the middle of the bend on the die",
    "offset": "the mark on the die",
}


def instructions(
    sheet: BendSchedule, units: LengthUnit = "mm", fraction: int | None = None
) -> tuple[str, ...]:
    """Return the work on one tube, a sentence or two per line, in the order it is done.

    Args:
        sheet: the schedule.
        units: units of the tape.
        fraction: finest inch fraction on the tape; decimals when None. Marks are cumulative from
            one end, so that rounding never adds up.
    """

    def length(mm: float) -> str:
        if units == "in" and fraction:
            return format_length(mm, units, denominator=fraction)
        return format_length(mm, units)

    lines = [f"Saw the blank to {length(sheet.blank)}. Write a on one end and b on the other."]
    if not sheet.steps:
        return tuple(lines)
    marks = ", ".join(f"{length(s.mark)} (bend {s.bend})" for s in sheet.steps)
    if sheet.problem:
        lines.append(f"No die for this tube: angles are finished angles. {sheet.problem}")
    lines += [
        "Scribe the reference line along the whole blank; it will be the outside of bend 1, away "
        "from the middle of the die.",
        f"Hook the tape on end {sheet.work.datum} and leave it there: pencil all round at {marks}.",
    ]
    last: EndName | None = None
    for step in sheet.steps:
        if last is not None and step.lead != last:
            lines.append(f"Turn the blank end for end: end {step.lead} goes in first now.")
        lines.append(_bend(sheet, step, length(abs(step.clock_arc)), first=step.lead != last))
        last = step.lead
    extras = [
        f"{length(extra)} at end {end}"
        for end, extra in (("a", sheet.work.extra_a), ("b", sheet.work.extra_b))
        if extra > 0.05
    ]
    if extras:
        lines.append(
            f"Longer than the finished tube, to be cut off after bending: {', '.join(extras)}."
        )
    lines.append(
        f"Check: from tip to tip along the centre line the tube is {length(sheet.cut_length)}."
    )
    return tuple(lines)


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


def why(sheet: BendSchedule, units: LengthUnit = "mm") -> str:
    """Tell in a sentence or two why the tube is bent from that end; empty where nothing decides."""
    if sheet.die is None or not sheet.steps:
        return ""

    def length(mm: float) -> str:
        return format_length(mm, units, decimals=0 if units == "mm" else 2)

    work, die = sheet.work, sheet.die
    ends = {"a": sheet.rows[0].feed, "b": sheet.rows[-1].feed}
    need = f"the clamp holds {length(die.clamp)}, the pressure block {length(die.tail)}"
    have = f"the tube has {length(ends['a'])} at end a and {length(ends['b'])} at end b"
    if work.flips:
        way = f"bends 1 to {work.from_a} from end a, the others from end b"
    else:
        way = f"end {work.datum} goes in first"
    held = sum(work.held)
    kept = f", with {length(held)} more left on for bending" if held > 0.05 else ""
    return f"{need[0].upper()}{need[1:]}; {have}: {way}{kept}."


def _bend(sheet: BendSchedule, step: BendStep, arc: str, *, first: bool) -> str:
    """One bend in words."""
    words = [f"Bend {step.bend}:"]
    if first:
        words.append(f"end {step.lead} into the die,")
    words.append(f"mark at {AT[sheet.die.mark_at if sheet.die else 'start']},")
    if first or step.rotation is None:
        words.append(_line(step, arc))
    elif abs(step.rotation) < NO_TURN:
        words.append("do not turn the tube;")
    else:
        way = "clockwise" if step.rotation > 0 else "counter-clockwise"
        words.append(
            f"turn the tube {abs(degrees(step.rotation)):.1f} degrees {way} as seen from its tail; "
            f"{_line(step, arc)}"
        )
        if step.finder is not None and abs(step.finder) > NO_TURN:
            words.append(
                f"an angle finder on the leg bent last shows {abs(degrees(step.finder)):.1f} "
                "degrees from the plane the machine bends in;"
            )
    words.append(f"drive to {degrees(step.set_angle):.1f} degrees,")
    words.append(f"{degrees(step.left):.1f} degrees are left when released.")
    return " ".join(words)


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

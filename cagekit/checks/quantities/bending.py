"""Quantities of what the shop's bender and saw make of the tubes.

Their limits are the shop's own: a book says how much of what the tooling sheet names is asked for.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from math import degrees, tan
from typing import TYPE_CHECKING

from cagekit.cage.kept import Same
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey
from cagekit.errors import NotFoundError
from cagekit.shop.bending.bends import RADIUS_MATCH, hanging
from cagekit.shop.bending.section import thinned_wall
from cagekit.shop.sawing.stock import bars_of, sawn, usual_sticks
from cagekit.units import format_length
from cagekit.units.tolerance import SHOP_ANGLE

if TYPE_CHECKING:
    from cagekit.inputs.tooling import Die
    from cagekit.shop.bending.bends import BendSchedule

SLEEVE = "Split the tube with a sleeve only where the rulebook allows a joint there."


def _length(s: Survey, mm: float) -> str:
    """A length as a sentence says it: whole mm, or inches to a hundredth."""
    units = s.design.units
    return format_length(mm, units, decimals=0 if units == "mm" else 2)


def shown(s: Survey, *members: str) -> Evidence:
    """Evidence of tubes as a picture shows them: one that comes apart in its pieces."""
    pieces = {d.fitted.id: d.pieces for d in s.cage.divided}
    return Evidence.of(*(p for m in members for p in pieces.get(m, (m,))))


def _bent(s: Survey) -> Iterator[tuple[BendSchedule, Die, Evidence]]:
    """Every bent tube that there is a die for."""
    for sheet in s.design.bends:
        if sheet.bends and sheet.die is not None:
            yield sheet, sheet.die, shown(s, sheet.member)


# --- blank ----------------------------------------------------------------------------------


@quantity("stock_lacking", "flag", "stock of the tube")
def stock_lacking(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Tubes that the tooling sheet has no stock of."""
    for sheet in s.design.bends:
        try:
            s.tooling.stock_for(sheet.tube.od, sheet.tube.wall)
        except NotFoundError as error:
            evidence = shown(s, sheet.member)
            yield Measure(subject=sheet.member, evidence=evidence, broken=str(error))


@quantity("blank_length", "mm", "length of the blank", base="the longest piece of the stock")
def blank_length(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Length of each tube's blank against the longest piece of sticks and off-cuts."""
    tooling = s.tooling
    for sheet in s.design.bends:
        tube = sheet.tube
        try:
            stock = tooling.stock_for(tube.od, tube.wall)
        except NotFoundError:
            continue
        offcuts = tooling.offcuts_for(tube.od, tube.wall, tube.material)
        bars = bars_of(stock, offcuts, tooling.saw)
        longest = max(b.longest(tooling.saw.kerf) for b in bars)
        length = sawn(sheet.blank)
        yield Measure(
            subject=sheet.member,
            value=length,
            base=longest,
            evidence=shown(s, sheet.member),
            cure=_longer_stick(s, length, longest) if length > longest else "",
        )


def _longer_stick(s: Survey, length: float, longest: float) -> str:
    """What to buy for a blank that no stick of the shop gives, the usual length where one does."""
    lost = 2 * s.tooling.saw.end_trim + 2 * s.tooling.saw.kerf
    sticks = [u for u in usual_sticks() if u.units == s.design.units and u.length - lost >= length]
    buy = f"Buy sticks longer by {_length(s, length - longest)}"
    if sticks:
        buy += f", e.g. {sticks[0].name} ({sticks[0].source}, {sticks[0].certainty})"
    return f"{buy}. {SLEEVE}"


@quantity("piece_to_hold", "mm", "length of the blank", base="the saw's shortest piece")
def piece_to_hold(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Length of each blank that is too short for the vice of the saw."""
    saw = s.tooling.saw
    for sheet in s.design.bends:
        length = sawn(sheet.blank)
        if length < saw.min_piece:
            yield Measure(
                subject=sheet.member,
                value=length,
                base=saw.min_piece,
                evidence=shown(s, sheet.member),
                text=f"The vice of the {saw.name} does not hold it safely.",
            )


# --- die ------------------------------------------------------------------------------------


@quantity("die_lacking", "flag", "die for the tube")
def die_lacking(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bent tubes that the tooling sheet has no die for."""
    for sheet in s.design.bends:
        if sheet.bends and sheet.die is None:
            evidence = shown(s, sheet.member)
            yield Measure(subject=sheet.member, evidence=evidence, broken=sheet.problem)


@quantity("drawn_radius", "mm", "centre-line radius of the bends", base="the die's radius")
def drawn_radius(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Centre-line radius of each tube's bends, the one furthest from its die's."""
    for sheet, die, e in _bent(s):
        drawn = [r.clr for r in sheet.rows if r.clr is not None]
        worst = max(drawn, key=lambda clr: abs(clr - die.clr))
        dies = s.tooling.dies_for(sheet.tube.od)
        others = [d.name for d in dies if abs(d.clr - worst) <= RADIUS_MATCH]
        yield Measure(
            subject=sheet.member,
            value=worst,
            base=die.clr,
            evidence=e,
            text=f"Die {die.name}.",
            cure=f"Draw the bends with a radius of {_length(s, die.clr)}"
            + (f", or bend them on die {others[0]}." if others else " or add the die."),
        )


@quantity("set_angle", "deg", "angle to set", base="the die's largest angle")
def set_angle(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Largest angle, springback included, that the bender is set to for each tube."""
    for sheet, die, e in _bent(s):
        top = max(sheet.steps, key=lambda step: step.set_angle)
        yield Measure(
            subject=sheet.member,
            value=degrees(top.set_angle),
            base=degrees(die.max_angle),
            evidence=e,
            label=f"angle to set for bend {top.bend}",
            text=f"Finished angle {degrees(top.angle):.1f} degrees and springback, die {die.name}.",
            cure=f"Make it in two bends of about {degrees(top.angle / 2):.0f} degrees with a "
            f"straight of {_length(s, die.least_straight)} between them, or use a die with a "
            "longer stroke.",
        )


@quantity("straight_between", "mm", "straight between bends", base="the die's least straight")
def straight_between(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Straight between two bends of each tube: those too short for the clamp, else the least."""
    for sheet, die, e in _bent(s):
        inner = sheet.rows[1:-1]
        if not inner:
            continue
        least = min(inner, key=lambda r: r.feed)
        short = sheet.work.short or ((least.row - 1, least.feed, die.least_straight),)
        for i, length, need in short:
            bad = bool(sheet.work.short)
            held = f"Nothing for the clamp of die {die.name} to hold." if bad else ""
            yield Measure(
                subject=sheet.member,
                value=length,
                base=need,
                evidence=e,
                label=f"straight between bends {i} and {i + 1}",
                text=held or f"Die {die.name}.",
                cure=_straight_cure(s, sheet, die, i, need - length) if bad else "",
            )


def _straight_cure(s: Survey, sheet: BendSchedule, die: Die, i: int, missing: float) -> str:
    """Ways to a longer straight between bends i and i + 1, with numbers."""
    cures = [
        f"Move bend {i} or {i + 1} so that the leg between them grows by {_length(s, missing)}"
    ]
    # a smaller radius gives back its share of both tangent lengths
    tangents = sum(tan((sheet.rows[k].angle or 0.0) / 2) for k in (i - 1, i))
    for other in s.tooling.dies_for(sheet.tube.od):
        if other.name == die.name:
            continue
        room = sheet.rows[i].feed + tangents * (die.clr - other.clr)
        if room >= other.least_straight:
            cures.append(f"bend it on die {other.name}, which leaves {_length(s, room)}")
    if sheet.rows[i].feed < 1.0 and abs(sheet.rows[i].rotation) < SHOP_ANGLE:
        cures.append("make one bend of the two")
    return "; ".join(cures) + f". {SLEEVE}"


@quantity("tube_for_clamp", "mm", "tube left longer for the clamp")
def tube_for_clamp(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Length that has to be left on each blank for clamp and pressure block."""
    for sheet, die, e in _bent(s):
        work = sheet.work
        ends = [
            f"{_length(s, extra)} at end {end}"
            for end, extra in zip("ab", work.held, strict=True)
            if extra > 0.05
        ]
        ways = {
            "a": "end a goes in first",
            "b": "end b goes in first",
            "both": f"bends 1 to {work.from_a} from end a, then turn the blank and bend "
            f"{work.bends} to {work.from_a + 1} from end b",
        }
        way = ways["both" if work.flips else work.datum]
        clamp, block = _length(s, die.clamp), _length(s, die.tail)
        yield Measure(
            subject=sheet.member,
            value=sum(work.held),
            evidence=e,
            text=f"The clamp holds {clamp}, the pressure block {block}; {way}.",
            cure=f"Leave {' and '.join(ends)} on the blank, cut it off after bending.",
        )


@quantity("leg_below_bender", "mm", "how far the bent leg hangs down", base="the bender's height")
def leg_below_bender(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far the bent leg of each tube hangs below the bender at its worst bend."""
    height = s.tooling.bender.bed_height
    for sheet, _, e in _bent(s) if height is not None else ():
        swing = s.tooling.bender.swing
        hung = partial(hanging, sheet.rows, sheet.work, swing)
        depths = s.cage.kept.once(("hanging", Same(sheet), swing), hung)
        k = max(range(len(depths)), key=lambda n: depths[n])
        yield Measure(
            subject=sheet.member,
            value=depths[k],
            base=height,
            evidence=e,
            label=f"how far the bent leg hangs below the bender at bend {sheet.steps[k].bend}",
            text=f"Bender {_length(s, height or 0.0)} above the floor.",
        )


# --- springback -----------------------------------------------------------------------------


@quantity("springback_scatter", "deg", "scatter of the test bends")
def springback_scatter(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Scatter of the test bends of each die and wall round the springback line."""
    seen: set[tuple[str, float]] = set()
    for sheet in s.design.bends:
        if sheet.die is None or sheet.springback is None:
            continue
        model, key = sheet.springback, (sheet.die.name, round(sheet.tube.wall, 3))
        if key in seen:
            continue
        seen.add(key)
        yield Measure(
            subject=sheet.die.name,
            value=degrees(model.rms) if model.measured else None,
            missing="" if model.measured else "test bends of this tube under [[die]] test",
            broken=" ".join(model.warnings) if model.measured else "",
            text=" ".join((f"Model: {model.words}.", *(() if model.measured else model.warnings))),
        )


@quantity("bend_beyond_tests", "deg", "bends far from the tested angles", base="the tested angles")
def bend_beyond_tests(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Finished angle of tubes whose bends lie far from the angles that were tested."""
    for sheet, _, e in _bent(s):
        model = sheet.springback
        far = [step for step in sheet.steps if model and model.beyond_tests(step.angle)]
        if model is not None and far and model.pairs > 1:
            listed = ", ".join(f"{degrees(step.angle):.1f} (bend {step.bend})" for step in far)
            yield Measure(
                subject=sheet.member,
                value=degrees(far[0].angle),
                base=(degrees(model.low), degrees(model.high)),
                evidence=e,
                text=f"Finished angles {listed}: the set angle is extrapolated.",
            )


# --- section --------------------------------------------------------------------------------


def _sections(s: Survey) -> Iterator[tuple[Die, BendSchedule, Evidence]]:
    """Every tube and die once: die, a tube of it, evidence of all."""
    groups: dict[tuple[str, float, float], list[BendSchedule]] = {}
    for sheet in s.design.bends:
        if sheet.die is not None:
            key = (sheet.die.name, sheet.tube.od, sheet.tube.wall)
            groups.setdefault(key, []).append(sheet)
    for sheets in groups.values():
        die = sheets[0].die
        assert die is not None
        yield die, sheets[0], shown(s, *(m.member for m in sheets))


@quantity("wall_in_bends", "mm", "estimated wall on the outside of the bends", base="wall")
def wall_in_bends(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Wall that is left on the outside of the bends of each tube and die, estimated."""
    for die, sheet, e in _sections(s):
        yield Measure(
            subject=die.name,
            value=thinned_wall(sheet.tube.od, sheet.tube.wall, die.clr),
            base=sheet.tube.wall,
            evidence=e,
            estimated=True,
        )

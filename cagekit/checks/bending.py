"""What the shop's bender and saw cannot make as drawn, and what would.

Every finding belongs to the group ``shop``; its limit is the shop's own tooling sheet unless the
finding names another source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import degrees, tan
from typing import TYPE_CHECKING

from cagekit.checks.finding import Certainty, Evidence, Finding, Status
from cagekit.errors import NotFoundError
from cagekit.inputs.tooling import Die, Tooling
from cagekit.shop.bending import springback
from cagekit.shop.bending.bends import BendSchedule, hanging
from cagekit.shop.bending.section import expected_roundness, thinned_wall
from cagekit.shop.sawing.plan import sawn
from cagekit.shop.sawing.stock import bars_of, usual_sticks
from cagekit.units import LengthUnit, format_length

if TYPE_CHECKING:
    from cagekit.design import Design

GROUP = "shop"
RADIUS_MATCH = 0.5
"""Drawn and bent radius closer than this are the same, mm (common practice)."""
FLOOR_ROOM = 50.0
"""Room to keep between a bent leg and the shop floor, mm (common practice)."""
LEAST_ROUNDNESS = 0.9
"""Smallest over largest diameter in a bend. Source: FIA Appendix J article 253-8.3.3 (2009, 2016)
and Motorsport UK yearbook, appendix 3, 20.3."""
MOST_THINNING = 0.17
"""Share of the wall a bend may lose before it is worth a word. Source: TEMA R-2.31, as quoted by a
maker of U-tubes."""
SLEEVE = "Split the tube with a sleeve only where the rulebook allows a joint there."


def findings(design: Design) -> list[Finding]:
    """Run every shop check on the cage of a build."""
    build = design.build
    found = bend_findings(design.bends, build.tooling, build.units)
    # a picture shows the finished cage, in which a swing-out bar is in pieces
    pieces = {d.fitted.id: d.pieces for d in design.cage.doors}
    return [_shown_on(f, pieces) for f in found]


def _shown_on(finding: Finding, pieces: Mapping[str, tuple[str, ...]]) -> Finding:
    shown = finding.evidence.members
    if not any(m in pieces for m in shown):
        return finding
    members = tuple(p for m in shown for p in pieces.get(m, (m,)))
    return replace(finding, evidence=replace(finding.evidence, members=members))


def bend_findings(
    sheets: Sequence[BendSchedule], tooling: Tooling, units: LengthUnit = "mm"
) -> list[Finding]:
    """Return the findings of all schedules of one cage; cures speak in ``units``."""
    shop = _Shop(tooling, units)
    out: list[Finding] = []
    for sheet in sheets:
        out += _tube(sheet, shop)
    out += _springback(sheets)
    out += _sections(sheets)
    return out


@dataclass(frozen=True, slots=True)
class _Shop:
    """The tooling sheet and the units that its people read."""

    tooling: Tooling
    units: LengthUnit

    def length(self, mm: float) -> str:
        """A length as a sentence says it: whole mm, or inches to a hundredth."""
        return format_length(mm, self.units, decimals=0 if self.units == "mm" else 2)


def _tube(sheet: BendSchedule, shop: _Shop) -> Iterator[Finding]:
    yield from _blank(sheet, shop)
    if sheet.bends == 0:
        return
    if sheet.die is None:
        yield _finding(
            "die", sheet, "die for the tube", Status.FAIL,
            text=sheet.problem,
            cure="Use a tube the shop has a die for, add the die to the tooling sheet, or have "
            "the tube bent elsewhere.",
        )  # fmt: skip
        return
    yield from _radius(sheet, sheet.die, shop)
    yield from _angles(sheet, sheet.die, shop)
    yield from _straights(sheet, sheet.die, shop)
    yield from _grip(sheet, sheet.die, shop)
    yield from _floor(sheet, shop)


def _radius(sheet: BendSchedule, die: Die, shop: _Shop) -> Iterator[Finding]:
    drawn = [r.clr for r in sheet.rows if r.clr is not None]
    worst = max(drawn, key=lambda clr: abs(clr - die.clr))
    others = [
        d.name for d in shop.tooling.dies_for(sheet.tube.od) if abs(d.clr - worst) <= RADIUS_MATCH
    ]
    fits = abs(worst - die.clr) <= RADIUS_MATCH
    yield _finding(
        "bend-radius", sheet, "centre-line radius of the bends",
        Status.PASS if fits else Status.FAIL,
        measured=worst, op="=", limit=die.clr, unit="mm",
        text=f"Die {die.name}.",
        cure="" if fits else (
            f"Draw the bends with a radius of {shop.length(die.clr)}"
            + (f", or bend them on die {others[0]}." if others else " or add the die.")
        ),
    )  # fmt: skip


def _angles(sheet: BendSchedule, die: Die, shop: _Shop) -> Iterator[Finding]:
    top = max(sheet.steps, key=lambda s: s.set_angle)
    fits = top.set_angle <= die.max_angle + 1e-9
    least = top.angle / 2
    yield _finding(
        "bend-angle", sheet, f"angle to set for bend {top.bend}",
        Status.PASS if fits else Status.FAIL,
        measured=degrees(top.set_angle), op="<=", limit=degrees(die.max_angle), unit="deg",
        text=f"Finished angle {degrees(top.angle):.1f} degrees and springback, die {die.name}.",
        cure="" if fits else (
            f"Make it in two bends of about {degrees(least):.0f} degrees with a straight of "
            f"{shop.length(die.least_straight)} between them, or use a die with a longer stroke."
        ),
    )  # fmt: skip


def _straights(sheet: BendSchedule, die: Die, shop: _Shop) -> Iterator[Finding]:
    inner = sheet.rows[1:-1]
    if not inner:
        return
    if not sheet.work.short:
        least = min(inner, key=lambda r: r.feed)
        yield _finding(
            "straight-between-bends", sheet,
            f"straight between bends {least.row - 1} and {least.row}", Status.PASS,
            measured=least.feed, op=">=", limit=die.least_straight, unit="mm",
            text=f"Die {die.name}.",
        )  # fmt: skip
        return
    for i, length, need in sheet.work.short:
        yield _finding(
            "straight-between-bends", sheet, f"straight between bends {i} and {i + 1}",
            Status.FAIL, measured=length, op=">=", limit=need, unit="mm",
            text=f"Nothing for the clamp of die {die.name} to hold.",
            cure=_straight_cure(sheet, die, shop, i, need - length),
        )  # fmt: skip


def _straight_cure(sheet: BendSchedule, die: Die, shop: _Shop, i: int, missing: float) -> str:
    """Ways to a longer straight between bends i and i + 1, with numbers."""
    cures = [
        f"Move bend {i} or {i + 1} so that the leg between them grows by {shop.length(missing)}"
    ]
    # a smaller radius gives back its share of both tangent lengths
    tangents = sum(tan((sheet.rows[k].angle or 0.0) / 2) for k in (i - 1, i))
    for other in shop.tooling.dies_for(sheet.tube.od):
        if other.name == die.name:
            continue
        room = sheet.rows[i].feed + tangents * (die.clr - other.clr)
        if room >= other.least_straight:
            cures.append(f"bend it on die {other.name}, which leaves {shop.length(room)}")
    if sheet.rows[i].feed < 1.0 and abs(sheet.rows[i].rotation) < 1e-3:
        cures.append("make one bend of the two")
    return "; ".join(cures) + f". {SLEEVE}"


def _grip(sheet: BendSchedule, die: Die, shop: _Shop) -> Iterator[Finding]:
    work = sheet.work
    ends = [
        f"{shop.length(extra)} at end {end}"
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
    clamp, block = shop.length(die.clamp), shop.length(die.tail)
    held = f"The clamp holds {clamp}, the pressure block {block}; {way}."
    yield _finding(
        "tube-to-hold", sheet, "tube left longer for the clamp",
        Status.WARN if ends else Status.PASS,
        measured=sum(work.held), op="<=", limit=0.0, unit="mm", text=held,
        cure=f"Leave {' and '.join(ends)} on the blank, cut it off after bending." if ends else "",
    )  # fmt: skip


def _floor(sheet: BendSchedule, shop: _Shop) -> Iterator[Finding]:
    height = shop.tooling.bender.bed_height
    if height is None:
        return
    depths = hanging(sheet.rows, sheet.work, shop.tooling.bender.swing)
    k = max(range(len(depths)), key=lambda n: depths[n])
    fits = depths[k] + FLOOR_ROOM <= height
    yield _finding(
        "leg-to-floor", sheet,
        f"how far the bent leg hangs below the bender at bend {sheet.steps[k].bend}",
        Status.PASS if fits else Status.WARN,
        measured=depths[k], op="<=", limit=height - FLOOR_ROOM, unit="mm",
        certainty=Certainty.COMMON_PRACTICE,
        text=f"Bender {shop.length(height)} above the floor, {shop.length(FLOOR_ROOM)} to spare.",
        cure="" if fits else "Raise the bender, hang the leg over a bench edge or pit, or start "
        "from the other end.",
    )  # fmt: skip


def _blank(sheet: BendSchedule, shop: _Shop) -> Iterator[Finding]:
    tooling, tube = shop.tooling, sheet.tube
    kerf = tooling.saw.kerf
    try:
        stock = tooling.stock_for(tube.od, tube.wall)
    except NotFoundError as error:
        yield _finding(
            "stock", sheet, "stock of the tube", Status.FAIL, text=str(error),
            cure="Add a [[stock]] of this tube to the tooling sheet.",
        )  # fmt: skip
        return
    offcuts = tooling.offcuts_for(tube.od, tube.wall, tube.material)
    longest = max(b.longest(kerf) for b in bars_of(stock, offcuts, tooling.saw))
    length = sawn(sheet.blank)
    fits = length <= longest
    yield _finding(
        "blank-length", sheet, "length of the blank", Status.PASS if fits else Status.FAIL,
        measured=length, op="<=", limit=longest, unit="mm",
        text="Longest piece that can be cut from the sticks and off-cuts.",
        cure="" if fits else _longer_stick(length, longest, shop),
    )  # fmt: skip
    if length < tooling.saw.min_piece:
        yield _finding(
            "short-piece", sheet, "length of the blank", Status.WARN,
            measured=length, op=">=", limit=tooling.saw.min_piece, unit="mm",
            text=f"The vice of the {tooling.saw.name} does not hold it safely.",
            cure="Cope it on the end of the stick first, then cut it off.",
        )  # fmt: skip


def _longer_stick(length: float, longest: float, shop: _Shop) -> str:
    """What to buy for a blank that no stick of the shop gives, the usual length where one does."""
    lost = 2 * shop.tooling.saw.end_trim + 2 * shop.tooling.saw.kerf
    usual = [s for s in usual_sticks() if s.units == shop.units and s.length - lost >= length]
    buy = f"Buy sticks longer by {shop.length(length - longest)}"
    if usual:
        buy += f", e.g. {usual[0].name} ({usual[0].source}, {usual[0].certainty})"
    return f"{buy}. {SLEEVE}"


def _springback(sheets: Iterable[BendSchedule]) -> Iterator[Finding]:
    """One finding per die and wall, and one per bend outside the tested angles."""
    seen: set[tuple[str, float]] = set()
    for sheet in sheets:
        if sheet.die is None or sheet.springback is None:
            continue
        model = sheet.springback
        key = (sheet.die.name, round(sheet.tube.wall, 3))
        if key not in seen:
            seen.add(key)
            status = Status.PASS
            if model.warnings:
                status = Status.WARN if model.measured else Status.NEEDS_INPUT
            yield Finding(
                code="shop/springback", group=GROUP, subject=sheet.die.name,
                quantity="scatter of the test bends", status=status,
                measured=degrees(model.rms) if model.measured else None,
                op="<=", limit=degrees(springback.POOR), unit="deg",
                certainty=Certainty.COMMON_PRACTICE,
                text=" ".join((f"Model: {model.words}.", *model.warnings)),
                cure="Bend test pieces of this tube and enter them under [[die]] test."
                if model.warnings else "",
            )  # fmt: skip
        far = [s for s in sheet.steps if model.beyond_tests(s.angle)]
        if far and model.pairs > 1:
            listed = ", ".join(f"{degrees(s.angle):.1f} (bend {s.bend})" for s in far)
            yield _finding(
                "springback-range", sheet, "bends far from the tested angles", Status.WARN,
                measured=degrees(far[0].angle), op="between",
                limit=(degrees(model.low), degrees(model.high)), unit="deg",
                text=f"Finished angles {listed}: the set angle is extrapolated.",
                cure="Add a test bend near these angles.",
            )  # fmt: skip


def _sections(sheets: Iterable[BendSchedule]) -> Iterator[Finding]:
    """Wall and roundness in the bends, once for every tube and die."""
    groups: dict[tuple[str, float, float], list[BendSchedule]] = {}
    for sheet in sheets:
        if sheet.die is not None:
            key = (sheet.die.name, sheet.tube.od, sheet.tube.wall)
            groups.setdefault(key, []).append(sheet)
    for (name, od, wall), members in groups.items():
        die = members[0].die
        assert die is not None
        evidence = Evidence.of(*(m.member for m in members))
        outer = thinned_wall(od, wall, die.clr)
        least = (1 - MOST_THINNING) * wall
        yield Finding(
            code="shop/wall-in-bends", group=GROUP, subject=name,
            quantity="estimated wall on the outside of the bends",
            status=Status.NEEDS_INSPECTION if outer >= least else Status.WARN,
            measured=outer, op=">=", limit=least, unit="mm", source="TEMA R-2.31, as quoted",
            certainty=Certainty.PARAPHRASE, evidence=evidence,
            text="Measure the wall on the outside of a bend with ultrasound; where a rulebook "
            "asks for a wall, hold it against that.",
            cure="" if outer >= least else "Use a thicker wall or a die with a larger radius.",
        )  # fmt: skip
        measured = die.min_over_max_od
        ratio = expected_roundness(od, die.clr) if measured is None else measured
        status = Status.PASS if ratio >= LEAST_ROUNDNESS else Status.WARN
        if measured is None and status is Status.PASS:
            status = Status.NEEDS_INSPECTION
        yield Finding(
            code="shop/roundness-in-bends", group=GROUP, subject=name,
            quantity="smallest over largest diameter in the bends",
            status=status, measured=ratio, op=">=", limit=LEAST_ROUNDNESS,
            source="FIA Appendix J article 253; Motorsport UK yearbook",
            clause="8.3.3; App. 3 20.3",
            edition="2009, 2016; 2025, 2026", certainty=Certainty.TWO_EDITIONS, evidence=evidence,
            text="Measured on a test bend." if measured is not None else
            "Measure a test bend across both ways: only estimated, by 20 D / R percent of "
            "out-of-roundness (from memory).",
            cure="" if status is Status.PASS else
            "Measure a 90 degree test bend across both ways and enter min_over_max_od.",
        )  # fmt: skip


def _finding(
    code: str,
    sheet: BendSchedule,
    quantity: str,
    status: Status,
    *,
    measured: float | None = None,
    op: str = "",
    limit: float | tuple[float, float] | None = None,
    unit: str = "",
    text: str = "",
    cure: str = "",
    certainty: Certainty = Certainty.MEASURED,
) -> Finding:
    return Finding(
        code=f"shop/{code}", group=GROUP, subject=sheet.member, quantity=quantity, status=status,
        measured=measured, op=op, limit=limit, unit=unit, text=text, cure=cure,
        source="tooling sheet", certainty=certainty, evidence=Evidence.of(sheet.member),
    )  # fmt: skip

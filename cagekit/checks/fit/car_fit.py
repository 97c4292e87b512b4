"""Findings about the car: every tube against shell, doors and keep-outs."""

from __future__ import annotations

from cagekit.car.shell import FAR, Surface, surfaces
from cagekit.checks.finding import Certainty, Evidence, Finding, Status
from cagekit.design import Design
from cagekit.fit.cockpit import Cockpit
from cagekit.fit.tubes import Gap

GROUP = "car"
TOUCH = 0.01
"""Less than this (mm) into a surface is touching it, not running into it."""


def findings(design: Design) -> list[Finding]:
    """One finding for every surface of the shell and every keep-out."""
    cockpit = design.cockpit
    out = [check_surface(cockpit, s) for s in surfaces(cockpit.car)]
    return [f for f in out if f is not None]


def shell_gaps(cockpit: Cockpit, surface: Surface) -> list[Gap]:
    """Room between a surface and every tube near it, tightest first."""
    found = [
        gap
        for gap in cockpit.gaps_to(surface.solid).values()
        if gap.axis_gap < FAR / 2 and cockpit.members[gap.member].role not in surface.exempt
    ]
    return sorted(found, key=lambda g: (round(g.gap, 6), g.member))


def check_surface(cockpit: Cockpit, surface: Surface) -> Finding | None:
    """Hold the tightest tube against the gap to keep; None when no tube is anywhere near."""
    gaps = shell_gaps(cockpit, surface)
    if not gaps:
        return None
    bad = [g for g in gaps if g.gap < surface.keep - TOUCH]
    if surface.trimmed:
        return _trimmed(surface, [g for g in gaps if g.gap < -TOUCH])
    worst = gaps[0]
    shown = bad or [worst]
    return Finding(
        code=f"car/{surface.name.replace(' ', '-')}",
        group=GROUP,
        subject=worst.member,
        quantity=f"room to {surface.name}",
        status=Status.FAIL if bad else Status.PASS,
        measured=worst.gap,
        op=">=",
        limit=surface.keep,
        unit="mm",
        source="car sheet",
        certainty=Certainty.MEASURED,
        evidence=Evidence.of(
            *(g.member for g in shown),
            points=[p for g in shown for p in (g.on_tube, g.on_solid)],
            note=_others(bad),
        ),
        cure=_cure(surface) if bad else "",
        text=_text(surface),
    )


def _trimmed(surface: Surface, through: list[Gap]) -> Finding | None:
    """The dash is cut for the tubes that pass through it."""
    if not through:
        return None
    return Finding(
        code=f"car/{surface.name}",
        group=GROUP,
        subject=surface.name,
        quantity=f"tubes through the {surface.name}",
        status=Status.NEEDS_INSPECTION,
        measured=len(through),
        source="car sheet",
        evidence=Evidence.of(
            *sorted(g.member for g in through), points=[g.on_tube for g in through]
        ),
        text=f"The {surface.name} is cut where these tubes pass; look for what is behind it first.",
    )


def _others(bad: list[Gap]) -> str:
    return (
        "" if len(bad) < 2 else "also " + ", ".join(f"{g.member} {g.gap:.0f} mm" for g in bad[1:])
    )


def _cure(surface: Surface) -> str:
    if surface.moves:
        return f"Move the tube inboard so that the {surface.name} can move, or trim its lining."
    return "Raise the member's gap to the shell, move its nodes inward, or measure that spot again."


def _text(surface: Surface) -> str:
    if surface.moves:
        return "Doors, windows and seats must work before anything is welded out."
    return (
        "Between the measured points of the car sheet the surface is filled in; try it on the car."
    )

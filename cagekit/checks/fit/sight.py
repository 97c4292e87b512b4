"""Findings about what the driver sees past the bars. Information, never an approval."""

from __future__ import annotations

from math import degrees

from cagekit.checks.finding import Finding
from cagekit.checks.fit.limits import fit_check
from cagekit.checks.fit.scene import nobody
from cagekit.design import Design
from cagekit.fit.cockpit import Cockpit, Reading
from cagekit.fit.view_angles import PillarView, pillar_view, view_down, view_up
from cagekit.geometry.centre_line import Vec
from cagekit.people.posture import Occupant

GROUP = "sight"


def findings(design: Design) -> list[Finding]:
    """What the bars at pillars, header and dash hide from the driver."""
    cockpit = design.cockpit
    drivers = [who for who in cockpit.occupants if who.at_wheel]
    if not drivers:
        return [nobody(GROUP, "sight")]
    return [f for who in drivers for f in sight_of(cockpit, who)]


def sight_of(cockpit: Cockpit, who: Occupant) -> list[Finding]:
    """What the bars hide from one person."""
    out: list[Finding] = []
    for side in ("left", "right"):
        view = pillar_view(cockpit, who, side)
        if view is not None:
            out += _pillar(cockpit, who, view)
    for name, measure in (("view-up", view_up), ("view-down", view_down)):
        reading = measure(cockpit, who)
        if not reading.absent:
            found = fit_check(name).finding(GROUP, who.name, reading, scale=degrees(1.0))
            out.append(found)
    return out


def _pillar(cockpit: Cockpit, who: Occupant, view: PillarView) -> list[Finding]:
    members = tuple(sorted(view.by_member, key=lambda m: (-view.by_member[m], m)))
    points = tuple(_near(cockpit, m, who.eye) for m in members)
    each = ", ".join(f"{m} {degrees(view.by_member[m]):.1f}" for m in members)
    note = f"{view.side} pillar, the car's own hides {degrees(view.alone):.1f} deg"
    total = Reading(value=view.total, members=members, points=(who.eye, *points), note=note)
    added = Reading(
        value=view.added, members=members, points=(who.eye, *points),
        note=f"{view.side} pillar; each on its own: {each}",
    )  # fmt: skip
    subject = f"{view.side} pillar"
    scale = degrees(1.0)
    return [
        fit_check("pillar-hidden").finding(GROUP, subject, total, scale=scale),
        fit_check("pillar-added").finding(GROUP, subject, added, scale=scale),
    ]


def _near(cockpit: Cockpit, member: str, eye: Vec) -> Vec:
    return cockpit.members[member].path.nearest(eye).point

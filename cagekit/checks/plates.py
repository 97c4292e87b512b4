"""The plates group of the checks: folds, flanges, holes and edges against shop practice."""

from __future__ import annotations

from math import isfinite

from cagekit.checks.finding import Certainty, Evidence, Finding, Status
from cagekit.checks.gather import gathered
from cagekit.checks.plate_clash import plate_clashes
from cagekit.checks.plate_practice import PlateWarning, plate_checks
from cagekit.design import Design

GROUP = "plates"


def findings(design: Design) -> list[Finding]:
    """Hold every plate against what the shop can make, and against tubes it is not made for."""
    made = (
        _finding(w, plate.members)
        for plate in design.cage.plates
        for w in plate_checks(plate, design.tooling)
    )
    return gathered([*made, *(_finding(w, ()) for w in plate_clashes(design.cage))])


def _finding(w: PlateWarning, members: tuple[str, ...]) -> Finding:
    possible = isfinite(w.limit)
    return Finding(
        code=w.code,
        group=GROUP,
        subject=w.plate,
        quantity=w.quantity,
        status=Status.PASS if w.ok else Status.WARN,
        measured=w.measured,
        op=w.op if possible else "",
        limit=w.limit if possible else None,
        unit=w.unit,
        source=w.source,
        certainty=_certainty(w.source),
        evidence=Evidence.of(*members, plates=[w.plate], points=[w.at]),
        cure="" if w.ok else w.cure,
        text="" if possible else "The shop has no tool for this thickness.",
    )


def _certainty(source: str) -> Certainty:
    if not source:
        return Certainty.MEASURED
    if source.startswith("common practice"):
        return Certainty.COMMON_PRACTICE
    return Certainty.MEASURED if source.startswith("tooling") else Certainty.IN_TEXT

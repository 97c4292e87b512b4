"""``strength.pdf``: for the engineer who signs: model, assumptions, loads, results, gaps."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from cagekit.materials.steels import steel
from cagekit.names import in_words, named
from cagekit.structure.collapse import SAME_BOUND
from cagekit.structure.helps import MOVED
from cagekit.structure.sections import yield_of
from cagekit.structure.strength import ASSUMPTIONS
from cagekit.units import (
    FORCE,
    MASS,
    MOMENT,
    POUND,
    STRESS,
    forces_in,
    format_length,
    lengths_in,
)
from cagekit.writers.pdf import document
from cagekit.writers.strength_png import case_png

if TYPE_CHECKING:
    from cagekit.design import Design
    from cagekit.structure.strength import CaseResult, StrengthResult
    from cagekit.units import LengthUnit


def write_pdf(design: Design, folder: Path) -> None:
    """Write ``strength.pdf``."""
    result = design.strength
    pictures = {
        f"{r.case.id}.png": case_png(result, r, design.units) for r in result.results.values()
    }
    (folder / "strength.pdf").write_bytes(document("strength", pdf_data(design), pictures))


def pdf_data(design: Design) -> dict[str, Any]:
    """What the document shows."""
    result, units = design.strength, design.units
    file = result.file
    # what a unit of wall gains: for each pound where masses are weighed in pounds
    each, wall = ("lb", POUND) if units == "in" else ("kg", 1.0)
    return {
        "page": str(design.options.get("page", design.tooling.paper.page)),
        "name": design.name,
        "caution": file.caution or "The rulebook, the scrutineer and a licensed engineer decide.",
        "model": _model(result, units),
        "assumptions": list(ASSUMPTIONS),
        "units": {
            "force": FORCE.unit(units), "moment": MOMENT.unit(units),
            "stress": STRESS.unit(units), "mass": MASS.unit(units), "wall": each,
        },
        "steels": _steels(design),
        "cases": [
            [named(c.id), forces_in(f"{c.title}. {c.text}", units),
             f"{c.source} {c.clause}".strip(), c.certainty.value]
            for c in result.cases
            if c.acts
        ],
        "idle": [
            [named(c.id), c.missing or c.absent or result.problem]
            for c in result.cases
            if c.id not in result.results
        ],
        "results": [_case(result, r, units) for r in result.results.values()],
        "not_covered": _not_covered(result, units),
        "shifts": [
            [
                in_words(x.place),
                f"{format_length(MOVED, units)} {x.way} on {named(x.parent)}",
                f"{x.collapse:+z.3f}", f"{x.stiffness:+z.1%}",
                MASS.figures(x.mass, units, sign=True),
            ]
            for x in result.shifts
        ],
        "helps": [
            [named(h.member), f"{h.collapse * wall:+z.3f}", f"{h.stiffness * wall:+z.1%}"]
            for h in result.helps
        ],
        "carries_nothing": ", ".join(map(named, result.idle)),
    }  # fmt: skip


def _not_covered(result: StrengthResult, units: LengthUnit) -> list[list[str]]:
    """What no formula covers in some case: kind, why, where."""
    out: dict[tuple[str, str], dict[str, None]] = {}
    for r in result.results.values():
        for a in r.attachments:
            if a.use is None:
                why = lengths_in(a.text.removeprefix("not covered: "), units)
                out.setdefault((a.kind, why), {})[a.subject] = None
    return [
        [named(kind), in_words(why), in_words(", ".join(where))]
        for (kind, why), where in out.items()
    ]


def _model(result: StrengthResult, units: LengthUnit) -> list[str]:
    if result.model is None:
        return [f"None: {result.problem}"]
    f, s = result.model.frame, result.file.supports
    weight = f"{FORCE.told(result.weight, units)} with crew" if result.weight else "not given"
    return [
        f"{len(f.nodes)} nodes, {len(f.ends)} beams, {len(result.model.feet)} feet, "
        f"{len(result.model.pins)} pins; all numbers in frame.json.",
        f"Weight of the car: {weight}.",
        f"Feet: {s.told}.",
        "Ends of tubes bend up to the axis of their parent."
        if result.file.end_zones == "soft"
        else "Ends of tubes are stiff up to the face of their parent; they are looked at there.",
        f"Fillets with a throat of {result.throat:.3g} times the wall of the coped tube.",
    ]


def _steels(design: Design) -> list[list[str]]:
    out: list[list[str]] = []
    if design.strength.model is None:
        return out
    units = design.units
    for name in dict.fromkeys(m.tube.material for m in design.cage.members.values()):
        y = yield_of(name)
        out.append(
            [name, *(STRESS.figures(f, units) for f in (y.fy, y.beside_weld, steel(name).fu)),
             y.certainty.value, "; ".join(filter(None, (y.source, y.note)))]
        )  # fmt: skip
    return out


def _bounds(gap: float) -> str:
    """How the bound from above stands to the lower one that is printed."""
    if gap < SAME_BOUND:
        return "upper bound agrees"
    return f"upper bound {gap:.1%} higher"


def _case(result: StrengthResult, r: CaseResult, units: LengthUnit) -> dict[str, Any]:
    plastic = f"{r.collapse.factor:.2f}" if r.collapse else "does not fold"
    both = f"{r.factor:.2f}" if r.collapse else "-"
    gap = f" ({_bounds(r.collapse.gap)})" if r.collapse else ""
    return {
        "picture": f"{r.case.id}.png",
        "title": f"{named(r.case.id)}: {r.case.title}",
        "text": forces_in(r.case.text, units),
        "numbers": [
            plastic + gap, both, f"{min(r.critical, 9999):.1f}", format_length(r.deflection, units),
        ],
        "folds": ", ".join(map(named, result.folding(r.case.id))) or "nothing",
        "tubes": [
            [named(u.member), FORCE.figures(u.normal, units), FORCE.figures(u.shear, units),
             MOMENT.figures(u.moment, units), MOMENT.figures(u.torsion, units),
             STRESS.figures(u.stress, units), f"{u.plastic:.2f}", f"{u.buckling:.2f}"]
            for u in sorted(r.uses, key=lambda u: (-u.use, u.member))
        ],
        "attached": [
            [f"{a.use:.2f}", named(a.kind), in_words(a.subject),
             in_words(lengths_in(a.text, units)), forces_in(a.source, units)]
            for a in sorted(r.attachments, key=lambda a: (-(a.use or 0.0), a.kind, a.subject))
            if a.use is not None and a.use > 0.5
        ],
    }  # fmt: skip

"""``strength.pdf``: for the engineer who signs: model, assumptions, loads, results, gaps."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from cagekit.materials.steels import steel
from cagekit.structure.helps import MOVED
from cagekit.structure.sections import yield_of
from cagekit.structure.strength import ASSUMPTIONS
from cagekit.units import format_length, lengths_in
from cagekit.writers.naming import in_words
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
    result = design.strength
    file = result.file
    return {
        "page": str(design.options.get("page", design.tooling.paper.page)),
        "name": design.name,
        "caution": file.caution or "The rulebook, the scrutineer and a licensed engineer decide.",
        "model": _model(result),
        "assumptions": list(ASSUMPTIONS),
        "steels": _steels(design),
        "cases": [
            [c.id, f"{c.title}. {c.text}", f"{c.source} {c.clause}".strip(), c.certainty.value]
            for c in result.cases
            if c.acts
        ],
        "idle": [[c.id, c.missing or c.absent or result.problem] for c in result.cases
                 if c.id not in result.results],
        "results": [_case(result, r, design.units) for r in result.results.values()],
        "not_covered": _not_covered(result, design.units),
        "shifts": [
            [
                in_words(x.place),
                in_words(f"{format_length(MOVED, design.units)} {x.way} on {x.parent}"),
                f"{x.collapse:+z.3f}", f"{x.stiffness:+z.1%}", f"{x.mass:+z.3f}",
            ]
            for x in result.shifts
        ],
        "helps": [
            [in_words(h.member), f"{h.collapse:+z.3f}", f"{h.stiffness:+z.1%}"]
            for h in result.helps
        ],
        "carries_nothing": in_words(", ".join(result.idle)),
    }  # fmt: skip


def _not_covered(result: StrengthResult, units: LengthUnit) -> list[list[str]]:
    """What no formula covers in some case: kind, why, where."""
    out: dict[tuple[str, str], dict[str, None]] = {}
    for r in result.results.values():
        for a in r.attachments:
            if a.use is None:
                why = lengths_in(a.text.removeprefix("not covered: "), units)
                out.setdefault((a.kind, why), {})[a.subject] = None
    return [[kind, in_words(why), in_words(", ".join(where))] for (kind, why), where in out.items()]


def _model(result: StrengthResult) -> list[str]:
    if result.model is None:
        return [f"None: {result.problem}"]
    f, s = result.model.frame, result.file.supports
    weight = f"{result.weight / 1000:.2f} kN with crew" if result.weight else "not given"
    return [
        f"{len(f.nodes)} nodes, {len(f.ends)} beams, {len(result.model.feet)} feet, "
        f"{len(result.model.pins)} pins; all numbers in frame.json.",
        f"Weight of the car: {weight}.",
        f"Feet: {s.told}.",
        "Ends of tubes bend up to the axis of their parent."
        if result.file.end_zones == "soft"
        else "Ends of tubes are stiff up to the face of their parent; they are looked at there.",
        f"Welds with a throat of {result.file.weld_throat:g} times the wall of the coped tube.",
    ]


def _steels(design: Design) -> list[list[str]]:
    out: list[list[str]] = []
    if design.strength.model is None:
        return out
    for name in dict.fromkeys(m.tube.material for m in design.cage.members.values()):
        y = yield_of(name)
        out.append(
            [name, f"{y.fy:.0f}", f"{y.beside_weld:.0f}", f"{steel(name).fu:.0f}",
             y.certainty.value, "; ".join(filter(None, (y.source, y.note)))]
        )  # fmt: skip
    return out


def _case(result: StrengthResult, r: CaseResult, units: LengthUnit) -> dict[str, Any]:
    plastic = f"{r.collapse.factor:.2f}" if r.collapse else "does not fold"
    both = f"{r.factor:.2f}" if r.collapse else "-"
    gap = f" (at most {r.collapse.gap:.1%} above)" if r.collapse else ""
    return {
        "picture": f"{r.case.id}.png",
        "title": f"{in_words(r.case.id)}: {r.case.title}",
        "text": r.case.text,
        "numbers": [
            plastic + gap, both, f"{min(r.critical, 9999):.1f}", format_length(r.deflection, units),
        ],
        "folds": in_words(", ".join(result.folding(r.case.id))) or "nothing",
        "tubes": [
            [in_words(u.member), f"{u.normal / 1e3:z.1f}", f"{u.shear / 1e3:z.1f}",
             f"{u.moment / 1e6:z.2f}", f"{u.torsion / 1e6:z.2f}", f"{u.stress:.0f}",
             f"{u.plastic:.2f}", f"{u.buckling:.2f}"]
            for u in sorted(r.uses, key=lambda u: (-u.use, u.member))
        ],
        "attached": [
            [f"{a.use:.2f}", a.kind, in_words(a.subject), in_words(lengths_in(a.text, units)),
             a.source]
            for a in sorted(r.attachments, key=lambda a: (-(a.use or 0.0), a.kind, a.subject))
            if a.use is not None and a.use > 0.5
        ],
    }  # fmt: skip

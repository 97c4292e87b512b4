"""How hard the tubes work and how the frame moves, case by case, for the page."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from cagekit.page.data import Json
from cagekit.structure.strength import CAUTION
from cagekit.units import format_length
from cagekit.view.bands import BANDS, SHOWN, words_of

if TYPE_CHECKING:
    from cagekit.design import Design
    from cagekit.geometry.centre_line import Vec
    from cagekit.structure.strength import CaseResult, StrengthResult
    from cagekit.units import LengthUnit


def strength_data(design: Design) -> Json:
    """Bands of use, lines of the frame, and every case with its uses and shifts (mm).

    ``lines`` has the nodes along each tube; ``shifts`` of a case where its load moves them, as it
    is, and ``times`` how often that is drawn so that one sees it.
    """
    result = design.strength
    model = result.model
    if model is None or result.worst is None:
        return {"problem": result.problem or "No case could act.", "cases": []}
    return {
        "problem": "",
        "loads": result.file.title,
        "caution": CAUTION,
        "bands": [
            {"upto": min(b.upto, 1e9), "words": words_of(n), "colour": [c / 255 for c in b.colour]}
            for n, b in enumerate(BANDS)
        ],
        "lines": _by_tube(result, model.frame.nodes, 1),
        "cases": [_case(result, r, design.units) for r in result.results.values()],
        "worst": result.worst.case.id,
    }


def _case(result: StrengthResult, r: CaseResult, units: LengthUnit) -> Json:
    assert result.model is not None
    nodes = result.model.frame.nodes
    size = float(np.linalg.norm(nodes.max(axis=0) - nodes.min(axis=0)))
    most = float(np.linalg.norm(r.response.moved[:, :3], axis=1).max())
    moves = format_length(r.deflection, units, decimals=2 if units == "mm" else 3)
    folds = f"folds at {r.factor:.2f} of the load" if r.collapse else "nothing folds it"
    return {
        "id": r.case.id,
        "title": r.case.title,
        "text": r.case.text,
        "source": ", ".join(dict.fromkeys((r.case.source, r.case.certainty.value))),
        "about": f"{folds}; moves {moves} at the load; buckles at {min(r.critical, 999):.1f} of it",
        "uses": {u.member: round(u.use, 3) for u in r.uses},
        "shifts": _by_tube(result, r.response.moved[:, :3], 4),
        "times": round(SHOWN * size / most, 1) if most > 0 else 0.0,
    }


def _by_tube(result: StrengthResult, rows: Vec, decimals: int) -> dict[str, list[list[float]]]:
    assert result.model is not None
    out = {}
    for name, at in result.model.nodes_of.items():
        out[name] = (np.round(rows[[n for _, n in at]], decimals) + 0.0).tolist()
    return out

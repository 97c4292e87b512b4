"""``frame.json`` and ``strength.csv``: the frame for any other solver, the results as a table."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from cagekit.writers.csv import write_table

if TYPE_CHECKING:
    from cagekit.design import Design
    from cagekit.structure.frame import Frame
    from cagekit.structure.solve import Loads, Response
    from cagekit.structure.strength import StrengthResult

COLUMNS = (
    "case", "kind", "subject", "use", "normal_N", "shear_N", "torsion_Nmm", "moment_Nmm",
    "stress_MPa", "yielding", "buckling", "at_mm", "factor", "plastic_factor", "critical_factor",
    "deflection_mm", "source", "certainty", "note",
)  # fmt: skip


def write_frame(design: Design, folder: Path) -> None:
    """Write ``frame.json``; only why there is none when the frame cannot stand."""
    data = frame_data(design.strength)
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":")) + "\n"
    (folder / "frame.json").write_text(text, encoding="utf-8", newline="\n")


def frame_data(result: StrengthResult) -> dict[str, Any]:
    """The frame, its cases and results as plain values: mm, N, MPa, rad, car axes.

    A beam's own x runs from node ``a`` to ``b``; ``y`` is its own y axis; ``released`` are those
    of its twelve freedoms (ux, uy, uz, rx, ry, rz at a, then b, own axes) that carry nothing.
    """
    head: dict[str, Any] = {"schema": 1, "units": "mm, N, MPa, rad", "loads": result.file.name}
    if result.model is None:
        return {**head, "problem": result.problem}
    f = result.model.frame
    return {
        **head,
        "nodes": [{"id": i, "point": _numbers(p)} for i, p in enumerate(f.nodes)],
        "beams": [_beam(result, f, i) for i in range(len(f.ends))],
        "supports": [
            {"node": i, "fixed": f.fixed[i].tolist(), "spring": _numbers(f.spring[i])}
            for i in range(len(f.nodes))
            if f.fixed[i].any() or f.spring[i].any()
        ],
        "cases": [
            {"id": r.case.id, "title": r.case.title, **_loads(r.loads)}
            for r in result.results.values()
        ],
        "results": {r.case.id: _results(r.response) for r in result.results.values()},
    }


def _beam(result: StrengthResult, f: Frame, i: int) -> dict[str, Any]:
    assert result.model is not None
    return {
        "id": i, "a": int(f.ends[i, 0]), "b": int(f.ends[i, 1]), "member": result.model.member[i],
        "area": float(f.area[i]), "inertia": float(f.inertia[i]), "torsion": float(f.torsion[i]),
        "shear_area": float(f.shear_area[i]), "young": float(f.young[i]),
        "shear": float(f.shear[i]), "y": _numbers(result.model.axes[i, 1]),
        "released": np.flatnonzero(f.released[i]).tolist(),
    }  # fmt: skip


def _loads(loads: Loads) -> dict[str, Any]:
    return {
        "nodes": [
            {"node": int(i), "load": _numbers(loads.at_nodes[i])}
            for i in np.flatnonzero(loads.at_nodes.any(axis=1))
        ],
        "beams": [
            {"beam": int(i), "uniform": _numbers(loads.on_beams[i])}
            for i in np.flatnonzero(loads.on_beams.any(axis=1))
        ],
    }


def _results(response: Response) -> dict[str, Any]:
    held = np.flatnonzero(response.reactions.any(axis=1))
    return {
        "moved": [_numbers(row) for row in response.moved],
        "reactions": [{"node": int(i), "force": _numbers(response.reactions[i])} for i in held],
    }


def _numbers(values: Any) -> list[float]:
    """Numbers to eleven digits: enough to repeat the results to 1e-8."""
    return [float(f"{v:.11g}") + 0.0 for v in np.asarray(values, float)]


def write_csv(design: Design, folder: Path) -> None:
    """Write ``strength.csv``."""
    write_table(folder / "strength.csv", COLUMNS, rows(design.strength))


def rows(result: StrengthResult) -> Iterator[dict[str, Any]]:
    """Each case, its tubes, its attachments; then what helps, what idles, what was left out."""
    from cagekit.structure.helps import MOVED
    from cagekit.structure.strength import ASSUMPTIONS

    if result.problem:
        yield {"kind": "problem", "note": result.problem}
    for case in result.cases:
        if case.id not in result.results:
            yield {"case": case.id, "kind": "not worked out", "note": case.missing or case.absent}
            continue
        r = result.results[case.id]
        yield {
            "case": case.id, "kind": "case", "subject": case.title, "use": r.hardest.use,
            "factor": _finite(r.factor), "plastic_factor": r.collapse and r.collapse.factor,
            "critical_factor": _finite(r.critical), "deflection_mm": r.deflection,
            "source": f"{case.source} {case.clause}".strip(), "certainty": case.certainty.value,
            "note": case.text,
        }  # fmt: skip
        for u in r.uses:
            yield {
                "case": case.id, "kind": "tube", "subject": u.member, "use": u.plastic,
                "normal_N": u.normal, "shear_N": u.shear, "torsion_Nmm": u.torsion,
                "moment_Nmm": u.moment, "stress_MPa": u.stress, "yielding": u.yielding,
                "buckling": u.buckling, "at_mm": u.at,
                "note": f"section class {result.classes[u.member]}",
            }  # fmt: skip
        for a in r.attachments:
            yield {
                "case": case.id, "kind": a.kind, "subject": a.subject, "use": a.use,
                "source": a.source, "note": a.text,
            }  # fmt: skip
    for h in result.helps:
        yield {
            "kind": "more wall", "subject": h.member, "factor": h.collapse,
            "note": f"gain of the lowest factor for each kg; moves {h.stiffness:.2%} less",
        }  # fmt: skip
    for x in result.shifts:
        yield {
            "kind": "moved place", "subject": x.place, "factor": x.collapse,
            "note": f"gain of the lowest factor {MOVED:.0f} mm {x.way} on {x.parent}; "
            f"moves {x.stiffness:.2%} less; {x.mass:+.3f} kg",
        }  # fmt: skip
    for name in result.idle:
        yield {"kind": "carries nothing", "subject": name}
    for line in ASSUMPTIONS:
        yield {"kind": "assumption", "note": line}


def _finite(value: float) -> float | None:
    return value if value < 1e9 else None

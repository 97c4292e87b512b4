"""Frames in PyNite, an independent open solver: from a ``frame.json``, or from ours.

``moved`` needs nothing but the file (its reader stands with the benchmarks, and imports nothing of
cagekit). PyNite's beams do not shear, so they are given the stiffness
of a beam that does, as printed in textbooks (Przemieniecki, 5.6, from memory); assembly, releases,
supports, springs, loads and the solution are PyNite's.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from unittest.mock import patch

import numpy as np

from cagekit.benchmarks.pynite_frame import FREEDOMS, pynite_model

if TYPE_CHECKING:
    from cagekit.structure.frame import Frame
    from cagekit.structure.solve import Loads


def moved(data: Mapping[str, Any]) -> dict[str, np.ndarray]:
    """Displacements of every node by case, ``(n, 6)``, from the data of a ``frame.json``."""
    from Pynite.Member3D import Member3D

    bare = Member3D._ke_unc

    def sheared(member: Any) -> np.ndarray:
        ei = member.material.E * member.section.Iy
        gs = member.material.G * member.section.shear_area
        return _sheared(bare(member), 12 * ei / gs / member.L() ** 2)

    model = pynite_model(data)
    for b in data["beams"]:
        if b["released"]:
            assert np.allclose(model.members[f"M{b['id']}"].T()[1, :3], b["y"], atol=1e-9)
    with patch.object(Member3D, "_ke_unc", sheared):
        model.analyze_linear(check_stability=False)
    nodes = [model.nodes[f"N{n['id']}"] for n in data["nodes"]]
    return {
        c["id"]: np.array([[getattr(n, d)[c["id"]] for d in FREEDOMS] for n in nodes])
        for c in data["cases"]
    }


def _sheared(k: np.ndarray, phi: float) -> np.ndarray:
    """The stiffness ``(12, 12)`` of a beam that bends, as that of one that shears too."""
    out = k.copy()
    bends = [1, 2, 4, 5, 7, 8, 10, 11]
    out[np.ix_(bends, bends)] /= 1 + phi
    for near, far in ((4, 10), (5, 11)):
        for i, j, whole in ((near, near, 4), (far, far, 4), (near, far, 2), (far, near, 2)):
            out[i, j] *= (whole + (phi if whole == 4 else -phi)) / whole
    return out


def displacements(f: Frame, case: Loads) -> np.ndarray:
    """Displacements of every node of one of our frames, ``(n, 6)``."""
    data = {
        "nodes": [{"id": i, "point": p.tolist()} for i, p in enumerate(f.nodes)],
        "supports": [
            {"node": i, "fixed": f.fixed[i].tolist(), "spring": f.spring[i].tolist()}
            for i in range(len(f.nodes))
        ],
        "beams": [
            {
                "id": i, "a": int(a), "b": int(b), "area": f.area[i], "inertia": f.inertia[i],
                "torsion": f.torsion[i], "shear_area": f.shear_area[i], "young": f.young[i],
                "shear": f.shear[i], "y": f.axes[i, 1],
                "released": np.flatnonzero(f.released[i]).tolist(),
            }
            for i, (a, b) in enumerate(f.ends)
        ],
        "cases": [
            {
                "id": "one",
                "nodes": [{"node": i, "load": six} for i, six in enumerate(case.at_nodes)],
                "beams": [{"beam": i, "uniform": w} for i, w in enumerate(case.on_beams)],
            }
        ],
    }  # fmt: skip
    return moved(data)["one"]

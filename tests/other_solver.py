"""Frames in PyNite, an independent open solver: from a ``frame.json``, or from ours.

``moved`` needs nothing but the file. PyNite's beams do not shear, so they are given the stiffness
of a beam that does, as printed in textbooks (Przemieniecki, 5.6, from memory); assembly, releases,
supports, springs, loads and the solution are PyNite's.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from unittest.mock import patch

import numpy as np

if TYPE_CHECKING:
    from cagekit.structure.frame import Frame
    from cagekit.structure.solve import Loads

FREEDOMS = ("DX", "DY", "DZ", "RX", "RY", "RZ")
FORCES = ("FX", "FY", "FZ", "MX", "MY", "MZ")


def moved(data: Mapping[str, Any]) -> dict[str, np.ndarray]:
    """Displacements of every node by case, ``(n, 6)``, from the data of a ``frame.json``."""
    from Pynite import FEModel3D
    from Pynite.Member3D import Member3D

    bare = Member3D._ke_unc

    def sheared(member: Any) -> np.ndarray:
        ei = member.material.E * member.section.Iy
        gs = member.material.G * member.section.shear_area
        return _sheared(bare(member), 12 * ei / gs / member.L() ** 2)

    model = FEModel3D()
    for n in data["nodes"]:
        model.add_node(f"N{n['id']}", *n["point"])
    for s in data["supports"]:
        model.def_support(f"N{s['node']}", *s["fixed"])
        for freedom, k in zip(FREEDOMS, s["spring"], strict=True):
            if k:
                model.def_support_spring(f"N{s['node']}", freedom, k)
    for b in data["beams"]:
        _add(model, b)
    for case in data["cases"]:
        id_ = case["id"]
        model.add_load_combo(id_, {id_: 1.0})
        for x in case["nodes"]:
            for direction, value in zip(FORCES, x["load"], strict=True):
                if value:
                    model.add_node_load(f"N{x['node']}", direction, value, case=id_)
        for x in case["beams"]:
            for direction, value in zip(("FX", "FY", "FZ"), x["uniform"], strict=True):
                if value:
                    name = f"M{x['beam']}"
                    model.add_member_dist_load(name, direction, value, value, case=id_)
    with patch.object(Member3D, "_ke_unc", sheared):
        model.analyze_linear(check_stability=False)
    nodes = [model.nodes[f"N{n['id']}"] for n in data["nodes"]]
    return {
        c["id"]: np.array([[getattr(n, d)[c["id"]] for d in FREEDOMS] for n in nodes])
        for c in data["cases"]
    }


def _add(model: Any, b: Mapping[str, Any]) -> None:
    """One beam, turned to its own axes, its stiffness with shear."""
    i = b["id"]
    model.add_material(f"S{i}", b["young"], b["shear"], 0.3, 0.0)
    model.add_section(f"T{i}", b["area"], b["inertia"], b["inertia"], b["torsion"])
    model.add_member(f"M{i}", f"N{b['a']}", f"N{b['b']}", f"S{i}", f"T{i}")
    member = model.members[f"M{i}"]
    if b["released"]:
        theirs = member.T()[:3, :3]
        turn = np.degrees(np.arctan2(b["y"] @ theirs[2], b["y"] @ theirs[1]))
        member.rotation = float(turn)
        assert np.allclose(member.T()[1, :3], b["y"], atol=1e-9)
        model.def_releases(f"M{i}", *(f in b["released"] for f in range(12)))
    member.section.shear_area = b["shear_area"]


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

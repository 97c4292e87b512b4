"""A ``frame.json`` in PyNite, an open frame solver: the data alone, nothing else of cagekit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

FREEDOMS = ("DX", "DY", "DZ", "RX", "RY", "RZ")
FORCES = ("FX", "FY", "FZ", "MX", "MY", "MZ")


def pynite_model(data: Mapping[str, Any]) -> Any:
    """The model, a load combination for each case; its beams do not shear.

    Args:
        data: of a ``frame.json``.
    """
    from Pynite import FEModel3D

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
        _load(model, case)
    return model


def _add(model: Any, b: Mapping[str, Any]) -> None:
    """One beam, turned to its own axes."""
    i = b["id"]
    model.add_material(f"S{i}", b["young"], b["shear"], 0.3, 0.0)
    model.add_section(f"T{i}", b["area"], b["inertia"], b["inertia"], b["torsion"])
    model.add_member(f"M{i}", f"N{b['a']}", f"N{b['b']}", f"S{i}", f"T{i}")
    member = model.members[f"M{i}"]
    if b["released"]:
        theirs = member.T()[:3, :3]
        turn = np.degrees(np.arctan2(b["y"] @ theirs[2], b["y"] @ theirs[1]))
        member.rotation = float(turn)
        model.def_releases(f"M{i}", *(f in b["released"] for f in range(12)))
    member.section.shear_area = b["shear_area"]


def _load(model: Any, case: Mapping[str, Any]) -> None:
    id_ = case["id"]
    model.add_load_combo(id_, {id_: 1.0})
    for x in case["nodes"]:
        for direction, value in zip(FORCES, x["load"], strict=True):
            if value:
                model.add_node_load(f"N{x['node']}", direction, value, case=id_)
    for x in case["beams"]:
        for direction, value in zip(FORCES[:3], x["uniform"], strict=True):
            if value:
                model.add_member_dist_load(f"M{x['beam']}", direction, value, value, case=id_)

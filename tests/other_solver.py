"""Our frames in PyNite, an independent open solver (Bernoulli beams)."""

from __future__ import annotations

import numpy as np

from cagekit.structure.frame import Frame
from cagekit.structure.solve import Loads

FREEDOMS = ("DX", "DY", "DZ", "RX", "RY", "RZ")


def displacements(f: Frame, case: Loads) -> np.ndarray:
    """Displacements of every node, ``(n, 6)``."""
    from Pynite import FEModel3D

    model = FEModel3D()
    for i, p in enumerate(f.nodes):
        model.add_node(f"N{i}", *map(float, p))
        model.def_support(f"N{i}", *map(bool, f.fixed[i]))
        for freedom, k in zip(FREEDOMS, f.spring[i], strict=True):
            if k:
                model.def_support_spring(f"N{i}", freedom, float(k))
        for direction, value in zip(
            ("FX", "FY", "FZ", "MX", "MY", "MZ"), case.at_nodes[i], strict=True
        ):
            if value:
                model.add_node_load(f"N{i}", direction, float(value))
    materials: dict[tuple[float, float], str] = {}
    sections: dict[tuple[float, float, float], str] = {}
    axes = f.axes
    for i, (a, b) in enumerate(f.ends):
        steel = (float(f.young[i]), float(f.shear[i]))
        if steel not in materials:
            materials[steel] = f"S{len(materials)}"
            model.add_material(materials[steel], *steel, 0.3, 0.0)
        size = (float(f.area[i]), float(f.inertia[i]), float(f.torsion[i]))
        if size not in sections:
            sections[size] = f"T{len(sections)}"
            model.add_section(sections[size], size[0], size[1], size[1], size[2])
        name = f"M{i}"
        model.add_member(name, f"N{a}", f"N{b}", materials[steel], sections[size])
        if f.released[i].any():
            theirs = model.members[name].T()[:3, :3]
            turn = np.degrees(np.arctan2(axes[i, 1] @ theirs[2], axes[i, 1] @ theirs[1]))
            model.members[name].rotation = float(turn)
            assert np.allclose(model.members[name].T()[:3, :3], axes[i], atol=1e-9)
            model.def_releases(name, *map(bool, f.released[i]))
        for direction, value in zip(("FX", "FY", "FZ"), case.on_beams[i], strict=True):
            if value:
                model.add_member_dist_load(name, direction, float(value), float(value))
    model.analyze_linear(check_stability=False)
    return np.array(
        [
            [getattr(model.nodes[f"N{i}"], d)["Combo 1"] for d in FREEDOMS]
            for i in range(len(f.nodes))
        ]
    )

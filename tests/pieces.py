"""What tests ask of single pieces and nothing in the package does."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import ModuleType

import numpy as np
import pytest

from cagekit.cage.cage import Cage, Joint
from cagekit.cage.plate import Plate
from cagekit.geometry import end_cut, scan
from cagekit.geometry.outline import Outline
from cagekit.geometry.shapes import Solid
from cagekit.inputs.tooling import Torch
from cagekit.shop.nesting.plate_drawing import CutOptions, Drawing, Layer, plate_drawing
from cagekit.shop.welding.access import InWay, Rays, Reach, clash_with, rays_of, reach_past
from cagekit.shop.welding.moves import Pose
from cagekit.writers.dxf import DxfOptions, dxf_bytes


def shape_key(plate: Plate) -> tuple[object, ...]:
    """Equal for two plates that are the same piece to the cutting table and the brake."""

    def rows(o: Outline) -> tuple[tuple[float, ...], ...]:
        r = np.round(np.column_stack([o.vertices, o.bulges]), 5) + 0.0
        k = min(range(len(r)), key=lambda i: tuple(np.roll(r, -i, 0).ravel()))
        return tuple(map(tuple, np.roll(r, -k, 0).tolist()))

    folds = sorted(
        tuple(
            np.round([*f.middle, *np.abs(f.direction), f.angle, f.inside_radius, f.k], 5).tolist()
        )
        for f in plate.folds
    )
    holes = sorted(rows(h.loop) for h in plate.holes)
    return (round(plate.thickness, 5), plate.material, rows(plate.outline), *holes, *folds)


def cut_area(drawing: Drawing) -> float:
    """Area inside the outer contours less that inside the inner ones, mm2."""
    outer = sum(abs(o.area) for o in drawing.on(Layer.OUTSIDE) if o.closed)
    return outer - sum(abs(o.area) for o in drawing.on(Layer.INSIDE) if o.closed)


def reach(
    cage: Cage,
    joint: Joint,
    torch: Torch,
    *,
    present: Iterable[str],
    shell: Mapping[str, Solid],
    pose: Pose | None = None,
) -> Reach:
    """Try the torch all round a joint.

    Args:
        cage: the cage.
        joint: one of its joints.
        torch: the tooling sheet's torch.
        present: ids of the members that are in place.
        shell: surfaces of the car that are in place, by name.
        pose: where the cage stands, off its tacks.
    """
    (rays,) = rays_of([joint], torch)
    tubes = {m: clash_with(cage, joint, rays, m) for m in present}
    there = rays.moved(pose) if pose else rays
    return reach_past(joint, rays, {**tubes, **{n: in_way(there, s) for n, s in shell.items()}})


def in_way(rays: Rays, solid: Solid, *, own: bool = False) -> InWay:
    """Where a solid stands in the way of the torch: asked of every piece of it, one by one."""
    gap = solid.gap(rays.tips.reshape(-1, 3)).reshape(rays.tips.shape[:-1])
    short = gap < rays.radius[:, None]
    return np.asarray(short[:, :, own:].any(axis=(2, 3)))


def counted_passes(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Bundles of rays in each pass over parents from now on, while copes are cut."""
    passes: list[int] = []

    def counted(room: ModuleType, name: str) -> None:
        real = getattr(room, name)

        def asked(bundles: list[end_cut.Bundle]) -> object:
            passes.append(len(bundles))
            return real(bundles)

        monkeypatch.setattr(room, name, asked)

    counted(end_cut, "first_contacts")
    counted(scan, "contacts_and_solutions")
    return passes


def plate_dxf(
    plate: Plate, cut: CutOptions | None = None, options: DxfOptions | None = None
) -> bytes:
    """The DXF of one plate as bytes."""
    drawing = plate_drawing(plate, cut or CutOptions(), quantity=plate.quantity)
    return dxf_bytes(drawing, options or DxfOptions())

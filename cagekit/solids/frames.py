"""Frames on tubes and plates: where other people's parts can be attached."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from cagekit.geometry.arrays import as_rotation
from cagekit.geometry.centre_line import CentreLine, Vec, perpendicular, unit

if TYPE_CHECKING:
    from pathlib import Path

    import cadquery

    from cagekit.cage.plate import Plate


def location(origin: ArrayLike, normal: ArrayLike, x_dir: ArrayLike) -> cadquery.Location:
    """A frame of a given Z and X.

    Args:
        origin: its origin ``(3,)``, mm.
        normal: direction of its Z ``(3,)``, any length.
        x_dir: direction of its X ``(3,)``, made square to Z.
    """
    import cadquery as cq

    z = unit(normal)
    x = np.asarray(x_dir, float)
    x = unit(x - (x @ z) * z)
    return cq.Location(
        cq.Plane(origin=tuple(map(float, np.asarray(origin))), xDir=tuple(x), normal=tuple(z))
    )


def rigid(place: object) -> tuple[Vec, Vec]:
    """Rotation ``(3, 3)`` and shift ``(3,)`` of a location, a plane, a 4x4 matrix or a shift.

    Raises:
        ValueError: it is none of these, or turns over or stretches what it moves.
    """
    import cadquery as cq

    if isinstance(place, cq.Plane):
        place = cq.Location(place)
    if isinstance(place, cq.Location):
        t = place.wrapped.Transformation()
        m = np.array([[t.Value(i, j) for j in range(1, 5)] for i in range(1, 4)])
    else:
        m = np.asarray(place, float)
        if m.shape == (3,):
            return np.eye(3), m
    if m.shape not in ((3, 4), (4, 4)):
        raise ValueError("a place is a Location, a Plane, a 4x4 matrix or a shift (x, y, z)")
    why = "a place turns and moves a part, it does not stretch or mirror it"
    try:
        turn = as_rotation(m[:3, :3])
    except ValueError as error:
        raise ValueError(f"{why}: {error}") from None
    if np.linalg.det(turn) < 0:
        raise ValueError(why)
    return turn, m[:3, 3]


def tube_frames(path: CentreLine) -> Mapping[str, cadquery.Location]:
    """Frames of a tube.

    ``a`` and ``b`` sit on the theoretical ends, Z out of the tube, X on the reference line.
    ``bend_1`` and so on sit in the middle of each bend, Z along the tube, X to the outside of the
    bend; ``middle`` half way along.
    """
    lines = path.reference_lines()
    out = {
        "a": location(path.start, path.out_direction("a"), lines[0]),
        "b": location(path.end, path.out_direction("b"), lines[-1]),
    }
    bends = iter(range(1, len(path.bends) + 1))
    for arc in path.bends:
        s = arc.length / 2
        point = np.asarray(arc.point(s))
        out[f"bend_{next(bends)}"] = location(point, arc.tangent(s), point - arc.centre)
    half = path.spot(path.length / 2)
    out["middle"] = location(half.point, half.tangent, perpendicular(half.tangent))
    return out


def plate_frames(plate: Plate) -> Mapping[str, cadquery.Location]:
    """Frames of a plate as folded: ``plate`` on its base face, ``hole_1`` ... on each hole.

    Z points out of the face that is up in the flat pattern.
    """
    out = {"plate": _on(plate, np.asarray(plate.base, float))}
    for n, hole in enumerate(plate.holes, start=1):
        out[f"hole_{n}"] = _on(plate, np.asarray(hole.centre, float))
    return out


def _on(plate: Plate, xy: Vec) -> cadquery.Location:
    step = 0.5
    here, aside = plate.car_points(np.array([xy, (xy[0] + step, xy[1])]), plate.thickness)
    under = plate.car_points(xy[None, :], 0.0)[0]
    return location(here, here - under, aside - here)


def export(shape: cadquery.Shape, path: Path) -> None:
    """Write a shape by CadQuery's own exporter, by the ending: ``.stl``, ``.3mf``, ``.svg`` ...

    Raises:
        ValueError: CadQuery has no exporter for that ending.
    """
    import cadquery as cq

    cq.exporters.export(cq.Workplane(obj=shape), str(path))

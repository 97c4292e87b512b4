"""Masses and centre of gravity, part by part and of the whole cage."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct

from cagekit.cage.plate import Plate
from cagekit.geometry.centre_line import Vec, vec

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.cage.door import SmallPart

STRIPS = 16
"""Strips across a bend zone over which its centre is averaged."""


class PartMass(Struct, frozen=True, kw_only=True, eq=False):
    """One part: id, kind, pieces, mass of all of them (kg), centre of gravity ``(3,)`` mm."""

    id: str
    kind: Literal["tube", "plate", "small part"]
    pieces: int
    mass: float
    centre: Vec


class CageMass(Struct, frozen=True, kw_only=True, eq=False):
    """Masses of a cage, kg, and where its centre of gravity is, ``(3,)`` mm, vehicle axes.

    Small parts are those of swing-out bars; welds, bolts of plates and padding are not in it.
    """

    parts: tuple[PartMass, ...]

    @property
    def tubes(self) -> float:
        """Mass of the tubes, kg."""
        return sum(p.mass for p in self.parts if p.kind == "tube")

    @property
    def plates(self) -> float:
        """Mass of the plates, kg."""
        return sum(p.mass for p in self.parts if p.kind == "plate")

    @property
    def total(self) -> float:
        """Mass of tubes, plates and small parts, kg."""
        return sum(p.mass for p in self.parts)

    @property
    def centre(self) -> Vec:
        """Centre of gravity of all parts, ``(3,)`` mm."""
        if self.total <= 0:
            return vec((0.0, 0.0, 0.0))
        return vec(sum(p.mass * p.centre for p in self.parts) / self.total)


def weigh(cage: Cage) -> CageMass:
    """Weigh every coped tube, every plate and every small part of a cage."""
    plates = (_plate(p) for p in cage.plates)
    return CageMass(parts=(*_tubes(cage), *plates, *(_small(p) for p in cage.hardware)))


def _tubes(cage: Cage) -> Iterable[PartMass]:
    for m in cage.members.values():
        centre = cage.wall(m.id).centre
        yield PartMass(id=m.id, kind="tube", pieces=1, mass=cage.mass(m.id), centre=centre)


def _plate(plate: Plate) -> PartMass:
    return PartMass(
        id=plate.id,
        kind="plate",
        pieces=plate.quantity,
        mass=plate.mass * plate.quantity,
        centre=plate_centre(plate),
    )


def _small(part: SmallPart) -> PartMass:
    prisms = part.prisms()
    weights = np.array([p.flat_volume for p in prisms])
    centres = np.array([plate_centre(p) for p in prisms])
    centre = vec(weights @ centres / weights.sum())
    return PartMass(id=part.id, kind="small part", pieces=1, mass=part.mass, centre=centre)


def plate_centre(plate: Plate) -> Vec:
    """Centre of gravity of a plate on the car, folded and placed, ``(3,)`` mm.

    Exact for the flat parts; a bend zone counts with the middle of its thickness.
    """
    deep = -plate.thickness / 2
    if not plate.folds:
        return vec(plate.car_points(plate.centroid[None], deep)[0])
    moment, area = np.zeros(3), 0.0
    for facet in plate.facets:
        own = facet.loop.area
        moment += own * plate.car_points(facet.loop.centroid[None], deep)[0]
        area += own
    for hole in plate.holes:
        moment -= hole.area * plate.car_points(hole.centre[None], deep)[0]
        area -= hole.area
    for bend in plate.bends:
        own = bend.loop.area
        middle = bend.loop.centroid
        across = (np.arange(STRIPS) + 0.5) / STRIPS * bend.width
        start = middle - ((middle - bend.edge) @ bend.side) * bend.side
        spots = start + np.multiply.outer(across, bend.side)
        moment += own * plate.car_points(spots, deep).mean(axis=0)
        area += own
    return vec(moment / area)

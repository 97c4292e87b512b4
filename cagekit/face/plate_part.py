"""Plates as a script holds them: one plate, or those that make a bracket or a box foot."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from cagekit.cage.cage import Cage
from cagekit.design.part import part_design
from cagekit.errors import InputError
from cagekit.face.arguments import place_of
from cagekit.face.pieces import Piece
from cagekit.face.tables import Table

if TYPE_CHECKING:
    import cadquery

    from cagekit.cage.door import SmallPart
    from cagekit.cage.plate import Plate
    from cagekit.design.design import Design
    from cagekit.geometry.outline import Outline


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class PlatePart(Piece):
    """A plate, or the plates and small parts that make one thing (a bracket, a box foot)."""

    _word: ClassVar[str] = "plate"

    ids: tuple[str, ...] = ()

    @property
    def plates(self) -> Mapping[str, Plate]:
        """The plates by id: flat patterns with holes, folds and placement."""
        wanted = self.ids or (self.id,)
        return {p.id: p for p in self.cage.plates if p.id in wanted}

    @property
    def hardware(self) -> tuple[SmallPart, ...]:
        """Sleeves, washers and pins that belong to it."""
        return self.cage.hardware if self.origin else ()

    @property
    def mass(self) -> float:
        """Mass of plates and small parts, kg."""
        return sum(p.mass for p in self.plates.values()) + sum(h.mass for h in self.hardware)

    @property
    def volume(self) -> float:
        """Volume of steel, mm3."""
        return sum(p.volume for p in self.plates.values()) + sum(h.volume for h in self.hardware)

    @property
    def length(self) -> float:
        """The flat pattern's longer side, mm."""
        return float(max(self._one().size))

    def outline(self) -> Outline:
        """Edge of the flat pattern, mm; InputError when there are several plates."""
        return self._one().outline

    def plate(self, id_: str) -> PlatePart:
        """One of several plates.

        Raises:
            InputError: there is no such plate.
        """
        if id_ not in self.plates:
            raise InputError(
                self.id, "plate", id_, problem=f"must be one of {', '.join(self.plates)}."
            )
        alone = Cage(id_, (), plates=[self.plates[id_]])
        return PlatePart(cage=alone, id=id_, ids=(id_,))

    def _one(self) -> Plate:
        if len(self.plates) != 1:
            raise InputError(
                self.id,
                problem=f"is made of {len(self.plates)} plates: {', '.join(self.plates)}.",
                hint="Take one with .plate('ID').",
            )
        return next(iter(self.plates.values()))

    def bends(self) -> Table[Any]:
        """The folds in the order of the pattern."""
        return Table(f for p in self.plates.values() for f in p.folds)

    def solid(self) -> cadquery.Solid | cadquery.Assembly:
        """The plate as folded as a ``cadquery.Solid``; an ``Assembly`` where there are several."""
        from cagekit.solids.bodies import cage_assembly, plate_solid

        if len(self.plates) == 1 and not self.hardware:
            return plate_solid(self._one())
        return cage_assembly(self.design.cage)

    @property
    def frames(self) -> Mapping[str, cadquery.Location]:
        """Named frames: ``plate``, ``hole_1`` ...; of several plates with the id before."""
        from cagekit.solids.frames import plate_frames

        if len(self.plates) == 1:
            return plate_frames(self._one())
        return {
            f"{id_}.{name}": at
            for id_, plate in self.plates.items()
            for name, at in plate_frames(plate).items()
        }

    @cached_property
    def design(self) -> Design:
        """The plates alone."""
        name = self.origin.kind if self.origin else self.id
        cage = Cage(name, (), plates=self.plates.values(), hardware=self.hardware)
        units = self.origin.units if self.origin else "mm"
        tooling = self.origin.tooling if self.origin else None
        return part_design(cage, units=units, tooling=tooling, dims=dict(self.parameters))

    def placed(self, place: Any) -> PlatePart:
        """The same plates moved; see :meth:`TubePart.placed`.

        Raises:
            InputError: the place is none, or it has small parts, which stay with the bar that
                they are made for.
        """
        if self.hardware:
            raise InputError(self.id, problem="has pins and sleeves; place its solid instead.")
        turn, shift = place_of(place, f"{self.id}.placed")
        m = np.eye(4)
        m[:3, :3], m[:3, 3] = turn, shift
        plates = [p.placed(m @ p.placement) for p in self.plates.values()]
        cage = Cage(self.cage.name, (), plates=plates)
        return PlatePart(cage=cage, id=self.id, origin=self.origin, ids=self.ids)

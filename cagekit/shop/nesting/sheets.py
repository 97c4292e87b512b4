"""Sheets to cut plates from, how plates may lie on them, and how much of one a plate takes."""

from __future__ import annotations

from math import cos, radians, sin
from typing import TYPE_CHECKING, Literal

from msgspec import Struct

if TYPE_CHECKING:
    from cagekit.cage.plate import Plate
    from cagekit.inputs.tooling import CuttingTable

Turning = Literal["any", "grain", "fixed"]
TURNS: dict[Turning, tuple[int, ...]] = {
    "any": (0, 90, 180, 270),
    "grain": (0, 180),
    "fixed": (0,),
}
"""Turns (degrees) a part may be laid at: any quarter, along the grain either way, as drawn."""


class SheetStock(Struct, frozen=True, kw_only=True):
    """A sheet to cut from: ``length`` along the grain x ``width``, mm.

    ``thickness`` and ``material`` are None and empty when any; ``count`` None when as many as
    needed; ``offcut`` sheets are used first.
    """

    length: float
    width: float
    thickness: float | None = None
    material: str = ""
    count: int | None = None
    label: str = ""
    offcut: bool = False

    def holds(self, thickness: float, material: str) -> bool:
        """Tell whether parts of that thickness (mm) and steel can be cut from it."""
        fits = self.thickness is None or abs(self.thickness - thickness) < 0.05
        return fits and self.material in ("", material)


class NestOptions(Struct, frozen=True, kw_only=True):
    """How parts are laid out.

    Args:
        gap: between two parts, mm.
        margin: part to sheet edge, mm.
        turning: which turns are allowed.
        folds_across_grain: lay folded parts so that their folds run across the sheet's length.
        effort: attempts to press the first layout into a shorter piece of the sheet; each takes
            seconds.
        engine: ``auto``, ``shapes`` (the library) or ``boxes`` (rows of bounding boxes).
    """

    gap: float = 6.0
    margin: float = 10.0
    turning: Turning = "any"
    folds_across_grain: bool = False
    effort: int = 0
    engine: Literal["auto", "shapes", "boxes"] = "auto"


def options_of(table: CuttingTable) -> NestOptions:
    """How parts are laid out on a shop's table."""
    return NestOptions(gap=table.gap, margin=table.margin, turning=table.turning)


def stock_of(table: CuttingTable) -> list[SheetStock]:
    """The sheets that a shop has for its table."""
    return [
        SheetStock(
            length=max(s.length, s.width),
            width=min(s.length, s.width),
            thickness=s.thickness,
            material=s.material,
            count=1 if s.offcut and s.count is None else s.count,
            label=s.label,
            offcut=s.offcut,
        )
        for s in table.sheet
    ]


def sheet_share(plate: Plate, table: CuttingTable) -> float | None:
    """How much of the sheet that suits it best a plate takes, the longer way; over 1 it fits none.

    Args:
        plate: to be laid alone.
        table: of the shop, with its sheets and margin.

    Returns:
        Its size over the room between the margins; None when no sheet has its thickness and steel.
    """
    options = options_of(table)
    width, height = plate.outline.size
    sides = {(width, height) if t % 180 == 0 else (height, width) for t in turns_of(plate, options)}
    shares = [
        max(x / (s.length - 2 * options.margin), y / (s.width - 2 * options.margin))
        for s in stock_of(table)
        if s.holds(plate.thickness, plate.material)
        for x, y in sides
    ]
    return min(shares, default=None)


def turns_of(plate: Plate, options: NestOptions) -> tuple[int, ...]:
    """Turns, degrees, at which a plate may be laid."""
    turns = TURNS[options.turning]
    if options.folds_across_grain and plate.folds:
        across = [
            t
            for t in turns
            if all(
                abs(cos(radians(t)) * f.direction[0] - sin(radians(t)) * f.direction[1]) < 0.35
                for f in plate.folds
            )
        ]
        return tuple(across) or turns
    return turns

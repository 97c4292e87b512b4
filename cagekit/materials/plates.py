"""Sheet and plate as it is stocked: thicknesses and sheet sizes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

from cagekit.data import Row, rows
from cagekit.errors import NotFoundError
from cagekit.hints import did_you_mean
from cagekit.materials.source import Certainty, certainty
from cagekit.units import LengthUnit, format_length, parse_length


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateStock:
    """A thickness that sheet or plate is stocked in.

    Args:
        name: e.g. ``"11ga"``, ``"3/16in"``, ``"3mm"``.
        thickness: mm.
        units: system that it belongs to.
        kind: thin sheet or plate.
        sheets: usual sizes, (width, length) in mm.
        source: where the size comes from.
        certainty: how sure that is.
    """

    name: str
    thickness: float
    units: LengthUnit
    kind: Literal["sheet", "plate"]
    sheets: tuple[tuple[float, float], ...]
    source: str
    certainty: Certainty


def _stock(row: Row) -> PlateStock:
    return PlateStock(
        name=row["name"],
        thickness=parse_length(f"{row['thickness']} {row['unit']}"),
        units="in" if row["unit"] == "in" else "mm",
        kind="sheet" if row["kind"] == "sheet" else "plate",
        sheets=tuple(_sheet(text) for text in row["sheets"].split(";")),
        source=row["source"],
        certainty=certainty(row["certainty"]),
    )


def _sheet(text: str) -> tuple[float, float]:
    width, length = text.split(" x ")
    return parse_length(width), parse_length(length)


@cache
def plate_stock(units: LengthUnit | None = None) -> tuple[PlateStock, ...]:
    """Return stocked thicknesses from thin to thick, all or those of one system."""
    known = (_stock(row) for row in rows("plates"))
    chosen = (stock for stock in known if units in (None, stock.units))
    return tuple(sorted(chosen, key=lambda stock: stock.thickness))


def plate(name: str) -> PlateStock:
    """Return one thickness by name.

    Raises:
        NotFoundError: no stock has that name; names the closest.
    """
    known = {stock.name: stock for stock in plate_stock()}
    if name not in known:
        raise NotFoundError(f"plate {name!r}: not in the table. {did_you_mean(name, known)}")
    return known[name]


def plate_at_least(thickness: float, units: LengthUnit | None = None) -> PlateStock:
    """Return the thinnest stock that is no thinner than ``thickness`` (mm).

    Raises:
        NotFoundError: nothing so thick is stocked.
    """
    stocks = plate_stock(units)
    for stock in stocks:
        # Limits are written as rounded conversions: 3 mm must accept 0.1181 in and the reverse.
        if stock.thickness >= thickness - 0.005:
            return stock
    thickest = format_length(stocks[-1].thickness)
    raise NotFoundError(
        f"plate of {format_length(thickness)}: none so thick in the table (up to {thickest})"
    )

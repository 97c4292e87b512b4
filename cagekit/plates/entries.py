"""Which plate entry of a build a foot has, and how high it stands on it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Literal, Protocol

from cagekit.inputs.places import FootName
from cagekit.inputs.plate import FloorPlateEntry, PlateEntry, laid_on
from cagekit.inputs.plate_presets import default_floor_plate

if TYPE_CHECKING:
    from cagekit.units import LengthUnit


class SaysPlates(Protocol):
    """A build, or what of one its plates are made from."""

    @property
    def units(self) -> LengthUnit:
        """Units of lengths that are chosen."""
        ...

    @property
    def foot_plate(self) -> float:
        """Thickness of plate between floor sheet and tube, mm."""
        ...

    @property
    def plates(self) -> tuple[PlateEntry, ...]:
        """Entries of plates, in order."""
        ...


def floor_entry(
    entries: Sequence[PlateEntry],
    names: Sequence[FootName],
    side: str,
    units: Literal["mm", "in"],
    surface: str = "floor",
) -> FloorPlateEntry:
    """The floor plate entry for a foot: the default, then every entry that means this foot.

    Args:
        entries: the build's plate entries.
        names: what the foot answers to.
        side: side of the car the foot is on.
        units: the build's.
        surface: what the foot stands on.
    """
    out = default_floor_plate(units, surface)
    for entry in _meant(entries, names, side):
        merged = laid_on(out, entry)
        assert isinstance(merged, FloorPlateEntry)
        out = merged
    return out


def asked_fields(
    entries: Sequence[PlateEntry], names: Sequence[FootName], side: str
) -> frozenset[str]:
    """Fields of a foot's plate that a file or its preset says, and the default does not."""
    return frozenset().union(*(e.model_fields_set for e in _meant(entries, names, side)))


def _meant(
    entries: Sequence[PlateEntry], names: Sequence[FootName], side: str
) -> Iterator[FloorPlateEntry]:
    """The floor plate entries that mean a foot, in order."""
    for entry in entries:
        if not isinstance(entry, FloorPlateEntry) or entry.side not in (None, side):
            continue
        if entry.at is None or entry.at in names:
            yield entry


def spot_names(place: str) -> tuple[FootName, ...]:
    """What a spot of the car sheet is called, ``left.main_foot``: of its side, and of both."""
    side, _, spot = place.partition(".")
    return (FootName(name=spot, side=side), FootName(name=spot)) if spot else ()


def foot_rise(build: SaysPlates, foot: str, surface: str = "floor") -> float:
    """How far the tube's foot stands above the sheet at a place of the car, mm.

    Args:
        build: what says so.
        foot: place of the car sheet, ``left.main_foot``.
        surface: what is there.
    """
    names = spot_names(foot)
    side = names[0].side if names else ""
    entry = floor_entry(build.plates, names, side, build.units, surface)
    if entry.style == "plinth":
        return entry.plinth_height
    return build.foot_plate if entry.thickness is None else entry.thickness

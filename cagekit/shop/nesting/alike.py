"""Plates that are the same piece of steel, by number: what is cut six off is drawn once.

Two plates are alike when steel, thickness, flat pattern, holes and folds agree to a hundredth of
a millimetre, wherever they are fitted. A mirror image is another piece, and so is a twin with its
folds the other way.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from msgspec import Struct

from cagekit.cage.plate import Plate
from cagekit.geometry.outline import Outline
from cagekit.names import named

FINE = 0.01
"""Sizes that agree within this (mm, rad) are the same."""
NOISE = 6
"""Decimals (mm, rad) beyond which a size is noise of its sums: inches lie between hundredths."""


class Alike(Struct, frozen=True, kw_only=True):
    """A piece of plate: its number (``P3``), the plates that are it, and how many to cut."""

    number: str
    plates: tuple[Plate, ...]

    @property
    def quantity(self) -> int:
        """How many are cut."""
        return sum(p.quantity for p in self.plates)

    @property
    def first(self) -> Plate:
        """The plate that stands for all."""
        return self.plates[0]

    @property
    def title(self) -> str:
        """What people call it: the name of the only one, or the kind of several."""
        words = self.first.id if len(self.plates) == 1 else self.first.kind
        return named(words)


def alike(plates: Iterable[Plate]) -> tuple[Alike, ...]:
    """Return the pieces of plate by number, in the order in which the cage has them."""
    groups: dict[object, list[Plate]] = {}
    for p in plates:
        groups.setdefault(_signature(p), []).append(p)
    return tuple(
        Alike(number=f"P{n}", plates=tuple(group)) for n, group in enumerate(groups.values(), 1)
    )


def numbers(plates: Iterable[Plate]) -> dict[str, str]:
    """Number of the piece by plate id."""
    return {p.id: group.number for group in alike(plates) for p in group.plates}


def _signature(p: Plate) -> object:
    low = p.outline.box[0]
    folds = []
    for f in p.folds:
        ends = sorted(_whole(np.array([f.start, f.end]) - low))
        folds.append((tuple(ends), f.up, *_whole([[f.angle, f.inside_radius, f.k]])))
    holes = sorted((h.purpose.value, _loop(h.loop, low)) for h in p.holes)
    return (
        p.kind, p.material, round(p.thickness / FINE), _loop(p.outline, low), tuple(holes),
        tuple(sorted(folds)),
    )  # fmt: skip


def _loop(loop: Outline, low: np.ndarray) -> tuple[tuple[int, ...], ...]:
    """Corners with their bulges, from the one that comes first whichever way it is written."""
    one = loop.anticlockwise()
    rows = _whole(np.column_stack([one.vertices - low, one.bulges]))
    return min(rows[k:] + rows[:k] for k in range(len(rows)))


def _whole(values: object) -> tuple[tuple[int, ...], ...]:
    """Rows of numbers in whole hundredths; one that lies between two goes the same way always."""
    exact = np.round(np.asarray(values, float), NOISE)
    grid = np.round(exact / FINE).astype(int)
    return tuple(tuple(int(v) for v in row) for row in grid)

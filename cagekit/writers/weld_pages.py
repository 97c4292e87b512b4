"""Pictures of the weld map: where every number of its list is on the cage."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from cagekit.names import at_start
from cagekit.shop.welding.weld_rows import WeldRow
from cagekit.view.camera import OBLIQUE
from cagekit.view.linework import weld_drawing

if TYPE_CHECKING:
    from cagekit.writers.shopbook import Book

MAPS = {"joints": 0.45, "plates": 0.31}
"""Most that each picture takes of the page's height."""


MANY = {"foot": "feet", "box": "boxes", "plate to car": "plates to the car"}
"""Kinds of welds that take no s when there are several."""


def plates_title(found: Sequence[WeldRow]) -> str:
    """What the list of welds of plates is of, in its order: only what there is."""
    kinds = dict.fromkeys(MANY.get(r.kind, f"{r.kind}s") for r in found if not r.weld)
    *first, last = kinds or ["none"]
    return at_start(f"{', '.join(first)} and {last}" if first else last)


def weld_maps(book: Book) -> dict[str, list[dict[str, Any]]]:
    """Pictures of the cage with a number at every weld, one for each of the two lists or none."""
    found = book.design.weld_rows
    first: dict[str, WeldRow] = {}
    for r in found:
        if not r.weld:
            first.setdefault(r.what, r)
    joints = {r.id: r.point for r in found if r.weld}
    plates = {r.id: r.point for r in first.values()}
    maps: dict[str, list[dict[str, Any]]] = {}
    for name, title, spots in (
        ("joints", "Joints of tubes", joints),
        ("plates", "Plates, by the first weld of each", plates),
    ):
        maps[name] = []
        if spots:
            drawn = weld_drawing(book.cage, OBLIQUE, book.width, MAPS[name] * book.height, spots)
            maps[name].append({"title": title, **book.picture(f"map-{name}", drawn)})
    return maps

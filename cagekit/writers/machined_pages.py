"""Parts for lathe and mill in the shop book: every part once, with its drawing and sizes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from cagekit.names import in_words
from cagekit.view.turned_drawing import turned_drawing

if TYPE_CHECKING:
    from cagekit.cage.door import SmallPart
    from cagekit.writers.shopbook import Book

FIELD = (176.0, 73.0)
"""Room for the drawing of a part, mm."""


def machined_cards(book: Book) -> list[dict[str, Any]]:
    """Every part that is turned and milled as a card; those alike on one."""
    groups: dict[tuple[Any, ...], list[SmallPart]] = {}
    for part in book.design.cage.hardware:
        if part.lugs or part.revolved:
            groups.setdefault(_key(part), []).append(part)
    return [_card(book, n, parts) for n, parts in enumerate(groups.values(), start=1)]


def _key(part: SmallPart) -> tuple[Any, ...]:
    """What makes two parts the same piece of work."""
    turned = (s.round_ for s in (*part.stages, *part.hollow))
    flats = sorted((g.low, g.high, g.width, g.stand, g.hole) for g in part.lugs)
    numbers = (*(x for row in (*turned, *flats) for x in row),)
    return part.kind, part.material, *(round(x, 4) for x in numbers)


def _drilled(part: SmallPart) -> str:
    if part.lugs:
        return "eased in both together once all is welded"
    return "drilled through both with the taper pushed home, before they are welded in"


def _card(book: Book, number: int, parts: Sequence[SmallPart]) -> dict[str, Any]:
    part = parts[0]
    facts = [
        ["Of", f"round bar {book.size(round(part.lengths[0], 3))}, {part.material}"],
        ["Mass", f"{book.mass(part.mass)} each"],
        ["For", in_words(", ".join(p.id for p in parts))],
        ["Welded into", in_words(", ".join(p.welded_to for p in parts))],
        ["Hole", "of one size in both halves, close on the bolt; " + _drilled(part)],
        ["Edges", "break all"],
    ]
    return {
        "title": part.kind.capitalize(),
        "off": f"{len(parts)} off",
        "facts": facts,
        **book.picture(f"machined-{number}", turned_drawing(part, *FIELD, book.fine)),
    }

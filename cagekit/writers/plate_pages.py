"""Plates in the shop book: every piece once, by number, with sizes, holes, folds and file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from cagekit.names import in_words
from cagekit.shop.nesting.alike import Alike, alike
from cagekit.shop.nesting.plate_drawing import CutOptions, hole_work
from cagekit.view.plate_drawing import fold_rows, hole_rows, plate_drawing

if TYPE_CHECKING:
    from cagekit.writers.shopbook import Book

FIELD = (84.0, 44.0)
"""Room for the drawing of a plate, mm."""


def plate_cards(book: Book) -> list[dict[str, Any]]:
    """Every piece of plate as a card."""
    options = CutOptions.of(book.tooling, book.design.units)
    return [plate_card(book, group, options) for group in alike(book.design.cage.plates)]


def plate_card(book: Book, group: Alike, options: CutOptions) -> dict[str, Any]:
    """One piece: drawing, facts, holes and folds with their places from left and lower edge."""
    p = group.first
    wide, tall = (float(v) for v in p.outline.size)
    names = [q.id for q in group.plates]
    on = dict.fromkeys(p.ends or p.members) if len(names) == 1 else names
    facts = [
        ["Flat", f"{book.length(wide)} x {book.length(tall)} x {book.size(p.thickness)}"],
        ["Steel", f"{p.material}, {book.mass(p.mass)} each"],
        ["For", in_words(", ".join(on))],
        ["File", ", ".join(f"{n}.dxf" for n in names[:1]) + (" or a twin's" if names[1:] else "")],
    ]
    if p.folds:
        facts.append(["Folds", "UP: towards the reader"])
    return {
        "number": group.number,
        "title": group.title,
        "off": f"{group.quantity} off",
        "facts": facts,
        "holes": [
            [
                str(r.number),
                f"{hole.purpose.value} {hole_work(p, hole, options)}".strip(),
                ("" if hole.round_ else "slot " if hole.diameter else "shape ")
                + (book.size(round(r.diameter, 2)) if r.diameter else ""),
                book.bare(r.x),
                book.bare(r.y),
            ]
            for r, hole in zip(hole_rows(p), p.holes, strict=True)
        ],
        "folds": [
            [
                r.letter,
                f"{'UP' if r.up else 'DOWN'} {r.angle_deg:.1f}°",
                book.size(round(r.inside_radius, 2)),
                f"{book.bare(r.start[0])}, {book.bare(r.start[1])}",
                f"{book.bare(r.end[0])}, {book.bare(r.end[1])}",
            ]
            for r in fold_rows(p)
        ],
        **book.picture(f"plate-{group.number}", plate_drawing(p, *FIELD, book.length)),
    }

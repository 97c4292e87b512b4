"""Stick-on labels: ``labels.pdf``, one for each tube and each piece of plate."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from cagekit.design import Design
from cagekit.names import in_words, named
from cagekit.shop.nesting.alike import alike
from cagekit.shop.sawing.templates import reference_text
from cagekit.view.member_drawing import end_words
from cagekit.writers.pdf import document
from cagekit.writers.shopbook import Book


def label_data(design: Design) -> dict[str, Any]:
    """What the sheet of labels shows."""
    book = Book(design)
    return {
        "name": design.name,
        "page": book.page,
        "labels": [*tube_labels(book), *plate_labels(book)],
    }


def tube_labels(book: Book) -> list[dict[str, Any]]:
    """Number, name, both ends, the line that clocks count from, and the blank of every tube."""
    out = []
    for s in book.design.bends:
        member = book.cage.members[s.member]
        a, b = end_words(member.path)
        out.append(
            {
                "number": str(book.numbers[s.member]),
                "name": named(s.member),
                "lines": [
                    f"A {a}   -   B {b}",
                    f"line: {reference_text(member)}",
                    f"blank {book.length(s.blank)}, {book.tube(s.member)}",
                ],
            }
        )
    return out


def plate_labels(book: Book) -> list[dict[str, Any]]:
    """A label for every piece of plate, those of one shape counted."""
    out = []
    for group in alike(book.design.cage.plates):
        n = 0
        for p in group.plates:
            for _ in range(p.quantity):
                n += 1
                on = ", ".join(p.ends) or ", ".join(p.members)
                out.append(
                    {
                        "number": group.number,
                        "name": named(p.id),
                        "lines": [
                            f"{n} of {group.quantity}, {book.size(p.thickness)} {p.material}",
                            f"for {in_words(on)}",
                            f"{p.id}.dxf",
                        ],
                    }
                )
    return out


def write_labels(design: Design, folder: Path) -> None:
    """Write ``labels.pdf``."""
    (folder / "labels.pdf").write_bytes(document("labels", label_data(design)))

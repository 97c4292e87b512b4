"""Setting out in the shop book: feet and plates in the car, and what is marked on every tube."""

from __future__ import annotations

from collections.abc import Collection
from math import degrees
from typing import TYPE_CHECKING, Any

from cagekit.names import named
from cagekit.shop.papers.setting_out import BranchMark, PlateMark
from cagekit.view.plan_drawing import PlanFoot, plan_drawing

if TYPE_CHECKING:
    from cagekit.geometry.centre_line import Vec
    from cagekit.writers.shopbook import Book

PLAN = 112.0
"""Most that the plan takes of the page's height, mm."""
NEAR = 0.05
"""A place within this of a datum is on it, mm."""
ROUND = 0.5
"""A hole that is longer than wide by no more than this (mm) is drilled round."""


def setting_page(book: Book) -> dict[str, Any]:
    """The plan with its tables of feet and plates."""
    out = book.design.setting_out
    feet = [
        PlanFoot(
            name=f"{book.numbers[f.member]} {f.end.upper()}",
            point=f.point,
            od=book.cage.members[f.member].tube.od,
        )
        for f in out.feet
    ]
    if not feet:
        return {"holes": hole_rows(book)} if out.holes else {}
    backing = {p.id for p in book.cage.plates if p.kind == "backing_plate"}
    backed = any(p.plate in backing for p in out.plates)
    plan = plan_drawing(feet, [p.corners for p in out.plates], book.width, PLAN, book.length)
    return {
        **book.picture("plan", plan),
        "feet": [
            [
                f"{book.number(f.member)} {f.end.upper()}",
                *place_words(book, f.point),
                f"{degrees(f.lean):.1f}°",
                f.surface or "-",
            ]
            for f in out.feet
        ],
        "plates_title": "Plates and backing plates" if backed else "Plates",
        "plates": [
            [
                named(p.plate),
                *(between(book, float(p.low[k]), float(p.high[k]), k) for k in range(3)),
                f"{degrees(p.slope):.1f}°",
            ]
            for p in out.plates
        ],
        "holes": hole_rows(book),
    }


def hole_rows(book: Book) -> list[list[str]]:
    """Holes in the car's panels: panel, tube, middle from its first corner, size, turn."""
    return [
        [
            h.panel,
            book.number(h.member),
            book.length(h.along),
            book.length(h.across),
            f"{book.bare(h.width)} by {book.length(h.length)}",
            f"{degrees(h.turn):.0f}°" if h.length - h.width > ROUND else "-",
        ]
        for h in book.design.setting_out.holes
    ]


WAYS = (("ahead", "behind"), ("left", "right"), ("above", "below"))


def place_words(book: Book, point: Vec) -> list[str]:
    """A point from X = 0, Y = 0 and Z = 0, its signs in words."""
    return [one_place(book, float(v), k) for k, v in enumerate(point)]


def one_place(book: Book, mm: float, axis: int) -> str:
    """A coordinate with its sign in words: ``156 mm behind``."""
    if abs(mm) < NEAR:
        return "0"
    return f"{book.length(abs(mm))} {WAYS[axis][0 if mm > 0 else 1]}"


def between(book: Book, low: float, high: float, axis: int) -> str:
    """Two edges of a plate along an axis, in the unit of the table's head.

    The way is said once where both edges lie that way: ``765.0 to 864.7 behind``.
    """
    first, last = ("" if abs(mm) < NEAR else WAYS[axis][mm < 0] for mm in (high, low))
    words = [f"{book.bare(abs(mm))}" for mm in (high, low)]
    if first and last and first != last:
        words[0] += f" {first}"
    return f"{' to '.join(words)} {last or first}".rstrip()


def mark_lists(book: Book, hung: Collection[str]) -> list[dict[str, Any]]:
    """The mark list of every tube that something lands on, from end A on.

    Args:
        book: the book.
        hung: numbers and names of the tubes whose marks stand on their own page.
    """
    out = []
    for member in book.numbers:
        found = book.design.setting_out.on(member)
        if found and book.number(member) not in hung:
            rows = [mark_row(book, m) for m in found]
            out.append({"title": book.number(member), "rows": rows})
    for tube in book.cage.chassis:
        found = book.design.setting_out.on(tube)
        if found:
            title = f"{book.number(tube)}, of the car's own frame"
            out.append({"title": title, "rows": [mark_row(book, m) for m in found]})
    return out


def mark_row(book: Book, m: BranchMark | PlateMark) -> list[str]:
    """One mark: middle, from and to on the tape, clock, round the tube, what, how it stands."""
    if isinstance(m, BranchMark):
        what = f"{book.number(m.branch)} {m.end.upper()}"
        how = f"{degrees(m.angle):.1f}°" + (f" to {m.leans.upper()}" if m.leans else "")
        middle = book.bare(m.tape) + (" in bend" if m.in_bend else "")
        if m.edges_only:
            middle = "edges only"
    else:
        what = named(m.plate)
        turn = degrees(m.turn)
        how = "along" if turn < 0.5 else "across" if turn > 89.5 else f"{turn:.1f}° to the tube"
        middle = book.bare((m.low + m.high) / 2)
    return [
        middle,
        f"{book.bare(m.low)} to {book.bare(m.high)}",
        f"{round(m.clock) % 360}°",
        book.bare(m.round),
        what,
        how,
    ]

"""Pages of the shop book that hang on the wall: one for each bent tube, cards of straight ones."""

from __future__ import annotations

from math import degrees, radians
from typing import TYPE_CHECKING, Any

from cagekit.cage.bolted import ClevisJoint, PlugJoint, SleeveJoint
from cagekit.shop.bending.bends import BendSchedule
from cagekit.shop.bending.clocking import beside_table
from cagekit.shop.bending.rows import trimmed
from cagekit.view.member_drawing import (
    DrawnTube,
    end_words,
    is_flat,
    lift_of_b,
    member_drawings,
)
from cagekit.view.straight_drawing import StraightEnd, StraightJoint, straight_drawing
from cagekit.writers.setting_pages import mark_row

if TYPE_CHECKING:
    from cagekit.cage.bolted import BoltedJoint
    from cagekit.cage.member import EndName
    from cagekit.writers.shopbook import Book

CARD = 84.0
"""Width of the drawing on a straight tube's card, mm."""
ROW, LINE, FIXED, CAPTION = 9.8, 5.0, 44.0, 6.0
"""Height of a row of the bend table, of a line of notes, of title, facts and headings, and of the
caption of a second view, mm."""
MARK_HEAD, MARK_ROW = 19.0, 5.2
"""Height of the heading of a mark list and of a row of it, mm."""
SPARE = 0.05
"""Less than this left on at an end (mm) is none."""
IN_PLANE = 0.0, radians(180.0)
"""Turns (rad) between two bends that keep a tube in one plane."""
SHORT = 3.0
"""A drift (mm) from here on is told with what to do about it."""


def wall_page(book: Book, s: BendSchedule) -> dict[str, Any]:
    """The page of a bent tube: views, facts, bend table, what the table cannot say.

    Where the drawing leaves room, the marks of the tube stand there too.
    """
    member = book.cage.members[s.member]
    cut_a, cut_b = (book.cage.cut(s.member, e) for e in ("a", "b"))
    tips = trimmed(member.path, cut_a.shortest, cut_b.shortest)
    notes = [*shape_check(book, s), *beside_table(s, book.length), sizes_of(s)]
    lines = sum(1 + len(n) // 104 for n in notes)
    room = book.height - FIXED - ROW * (len(s.steps) + 1) - LINE * lines
    if not is_flat(tips):
        room -= CAPTION
    drawn = member_drawings(
        DrawnTube(
            tips=tips,
            od=member.tube.od,
            units=book.design.units,
            fraction=book.tooling.paper.fraction,
        ),
        book.width,
        max(room, 70.0 if is_flat(tips) else 110.0),
    )
    left = room - sum(v.drawing.height for v in drawn)
    found = book.design.setting_out.on(s.member)
    marked = MARK_HEAD + MARK_ROW * len(found) if found else 0.0
    fits = marked <= left
    record = as_bent(s)
    if (marked if fits else 0.0) + MARK_HEAD + MARK_ROW * len(record) > left:
        record = []
    return {
        "record": record,
        "marks": [mark_row(book, m) for m in found] if fits else [],
        "title": book.number(s.member),
        "views": [
            {"seen": f"Seen {v.seen}", **book.picture(f"{s.member}-{k}", v.drawing)}
            for k, v in enumerate(drawn)
        ],
        "facts": tube_facts(book, s),
        "header": header(book, s),
        "steps": bend_rows(book, s),
        "notes": notes,
    }


def sizes_of(s: BendSchedule) -> str:
    """What the sizes on a page, drawn and to be filled in, are sizes of."""
    spare = s.work.extra_a > SPARE or s.work.extra_b > SPARE
    without = ", without the spare at its ends" if spare else ""
    return (
        f"All sizes: the bent tube before its ends are coped{without}, square at both tips. A to B "
        "is from middle to middle of these ends, over the outside from edge to edge."
    )


def as_bent(s: BendSchedule) -> list[str]:
    """What is measured on a tube that comes from the bender, for whoever writes it down."""
    bends = [f"Bend {t.bend}, with the angle finder" for t in s.steps]
    return [*bends, "A to B", "Over the outside, across", "Over the outside, upright"]


def header(book: Book, s: BendSchedule) -> list[str]:
    """Heads of the bend table; lengths have their unit here."""
    end = s.work.datum.upper()
    unit = book.design.units
    return ["Bend", "First in", f"Mark from {end}, {unit}", "Turn", "Line at", "Set to", "Leaves"]


def bend_rows(book: Book, s: BendSchedule) -> list[list[str]]:
    """The bend table: bend, end that goes in first, mark, turn, line, setting, what is left."""
    rows = []
    for t in s.steps:
        turn = "-" if t.rotation is None else f"{degrees(t.rotation):+.1f}°" if t.rotation else "no"
        rows.append(
            [
                str(t.bend),
                t.lead.upper(),
                book.bare(t.mark),
                turn,
                f"{degrees(t.clock):.1f}°" if t.clock else "0°",
                f"{degrees(t.set_angle):.1f}°",
                f"{degrees(t.left):.1f}°",
            ]
        )
    return rows


def shape_check(book: Book, s: BendSchedule) -> list[str]:
    """How to find with a floor and a tape whether the bent tube is flat, or twisted as drawn."""
    member = book.cage.members[s.member]
    path = trimmed(
        member.path, book.cage.cut(s.member, "a").shortest, book.cage.cut(s.member, "b").shortest
    )
    out = []
    if s.die and s.other_radius is not None:
        out.append(
            f"DO NOT BEND: drawn with a radius of {book.length(s.other_radius)}, die {s.die.name} "
            f"bends {book.length(s.die.clr)}. What it bends by these marks is another tube."
        )
    if is_flat(path) and all(t.rotation in (None, *IN_PLANE) for t in s.steps):
        out.append("Flat: laid on a level floor it touches along its whole length.")
    else:
        lift = lift_of_b(path)
        turns = "left" if lift > 0 else "right"
        out.append(
            f"Twisted: with both legs of bend 1 flat on equal blocks so that, walked from A, the "
            f"bend turns {turns}, the middle of end B stands {book.length(abs(lift))} higher than "
            "the middle of the tube at bend 1."
        )
    if s.drift >= 1.0:
        more = " Correct by hand against A to B before tacking." if s.drift >= SHORT else ""
        out.append(
            f"Set on the dial's marks, the tube lies up to {book.most(s.drift)} off this "
            f"drawing.{more}"
        )
    wanted = [f"{degrees(q.angle):.1f}" for q in path.bends]
    leaves = {t.bend: f"{degrees(t.left):.1f}" for t in s.steps}
    if any(leaves[n] != words for n, words in enumerate(wanted, start=1)):
        out.append(
            "Leaves: what the nearest mark of the dial gives; the drawing has the angle that is "
            "wanted."
        )
    return out


def card(book: Book, s: BendSchedule) -> dict[str, Any]:
    """The card of a straight tube."""
    ends = [
        StraightEnd(cut=book.cage.cut(s.member, e), deepest=book.deepest.get((s.member, e)))
        for e in ("a", "b")
    ]
    tip = ends[0].cut.shortest
    joints = [
        StraightJoint(
            share=(j.station - tip) / s.cut_length,
            words=book.length(j.station - tip),
            bolts=tuple(x / j.reach for x in j.bolts),
            cuts=tuple(x / j.reach for x in j.cuts),
        )
        for j in joints_of(book, s.member)
    ]
    drawn = straight_drawing(ends[0], ends[1], book.length(s.cut_length), CARD, joints)
    return {
        "title": book.number(s.member),
        **book.picture(f"{s.member}-card", drawn),
        "facts": card_facts(book, s),
    }


def joints_of(book: Book, member: str) -> tuple[BoltedJoint, ...]:
    """Bolted joints of a tube, from its end a."""
    return next((t.joints for t in book.design.cage.bolted if t.fitted.id == member), ())


def joint_facts(book: Book, member: str) -> list[list[str]]:
    """The bolted joints of a tube: where the middle of the cut is, sizes and bolts."""
    tip = book.cage.cut(member, "a").shortest
    return [
        [
            f"{j.kind.capitalize()} {n}",
            f"cut {book.length(j.station - tip)} from the tip of A; {_sizes(book, j)}, "
            f"{len(j.bolts)} bolt{'s' * (len(j.bolts) > 1)} of {j.size.size}",
        ]
        for n, j in enumerate(joints_of(book, member), start=1)
    ]


def _sizes(book: Book, j: BoltedJoint) -> str:
    if isinstance(j, SleeveJoint):
        return f"{book.bare(j.od)} x {book.size(j.wall)}, {book.length(j.length)} long"
    if isinstance(j, PlugJoint):
        return f"{book.length(j.gap)} fall out, socket towards {j.socket.upper()}"
    assert isinstance(j, ClevisJoint)
    return f"{book.length(j.gap)} fall out, fork towards {j.fork.upper()}"


def tube_facts(book: Book, s: BendSchedule) -> list[list[str]]:
    """Tube, blank, length, radius, mass and ends of a bent tube: pairs of name and words."""
    member = book.cage.members[s.member]
    radius = max(r.clr for r in s.rows if r.clr is not None)
    die = f", die {s.die.name}" if s.die is not None else ""
    gain = f"; the bends stretch it {book.length(s.stretch)}" if s.stretch > 0.05 else ""
    return [
        ["Tube", f"{book.tube(s.member)}, {member.tube.material}"],
        ["Blank to saw", blank_text(book, s)],
        ["Finished", f"{book.length(s.cut_length)} tip to tip along the middle{gain}"],
        ["Bends", f"centre-line radius {book.length(radius)}{die}"],
        ["Mass", book.mass(book.cage.mass(s.member))],
        *end_facts(book, s),
    ]


def card_facts(book: Book, s: BendSchedule) -> list[list[str]]:
    """Tube, blank and ends of a straight tube; its drawing tells the finished length."""
    tube = f"{book.tube(s.member)}, {book.cage.members[s.member].tube.material}"
    return [
        ["Tube", tube],
        ["Blank to saw", blank_text(book, s)],
        *end_facts(book, s),
        *joint_facts(book, s.member),
    ]


def blank_text(book: Book, s: BendSchedule) -> str:
    """Length to saw, and what of it is left on at the ends."""
    left = [
        f"{end} {book.bare(extra)}"
        for end, extra in (("A", s.work.extra_a), ("B", s.work.extra_b))
        if extra > SPARE
    ]
    more = f" (spare: {', '.join(left)})" if left else ""
    return f"{book.length(s.blank)}{more}"


def end_facts(book: Book, s: BendSchedule) -> list[list[str]]:
    """Both ends: where they are in the car, and what they are cut to."""
    member = book.cage.members[s.member]
    return [
        [f"End {name.upper()} ({words})", end_text(book, s.member, name)]
        for (name, _), words in zip(member.ends, end_words(member.path), strict=True)
    ]


def end_text(book: Book, member: str, name: EndName) -> str:
    """What an end is cut to."""
    cut = book.cage.cut(member, name)
    end = book.cage.members[member].end(name)
    if end.parents:
        names = ", ".join(book.number(p) for p in end.parents)
        return f"coped to {names} at {degrees(cut.angle):.1f}°"
    if end.plane is None:
        return "cut square"
    if abs(degrees(cut.angle) - 90.0) < 0.05:
        return "on its plate, cut square"
    return f"on its plate, cut at {degrees(cut.angle):.1f}° to the axis"

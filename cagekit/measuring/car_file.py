"""The car sheet to fill in: TOML with a question mark for every number on the measuring sheet."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from cagekit.car.tapes import CrossTape
from cagekit.inputs.car import Car
from cagekit.inputs.entries import MemberEntry
from cagekit.measuring.sheet import CHECKS, Measurement, block, measuring_sheet
from cagekit.units.lengths import BLANK as UNMEASURED

BLANK = f'"{UNMEASURED}"'
HEAD = """\
# Car sheet to fill in. {what}.
# The number before each line is that of the measuring sheet. Put a number in place of every "?";
# a "?" that is left is named, with its line, when the file is read. Numbers are {words};
# a text may carry its own unit: "1 5/8 in", "41.3 mm".
# X = 0 in the plane of the main hoop's feet, Y = 0 on the centre string, Z = 0 on the sill tops.
# A cage can kill when it is wrong: measure twice on the real car.
kind = "car"
name = "my-car"
description = ""
units = "{units}"
{body}
{frame}
{doors}
{driver_side}
# mass = "1200 kg"      # or lb; ready to run without driver
"""
SEAT = """
# One [[seats]] for each seat, the driver's first.
[[seats]]
{side}"""
FRAME = """
# ---- a frame of round tubes that the car has already: one table each, the # taken away ----
# Ends of the axis; with a side y counts from the centre plane. A foot that is coped to one names
# it (tube = "waist_rail") and says nothing of normal, surface and sheet.
# [[chassis.tube]]
# name = "waist_rail"
# side = "both"          # or "left", "right", "centre" (y signed)
# start = ["?", "?", "?"]
# end = ["?", "?", "?"]
# od = "?"
# wall = "?"
"""
VALUES = {
    "one": BLANK,
    "angle": BLANK,
    "xyz": f"[{BLANK}, {BLANK}, {BLANK}]",
    "pair": f"[{BLANK}, {BLANK}]",
    "rearfront": f"[{BLANK}, {BLANK}]",
    "corners": "[" + ", ".join([f"[{BLANK}, {BLANK}]"] * 5) + "]",
    "section": "[" + ", ".join([f"[{BLANK}, {BLANK}]"] * 4) + "]",
    "falls": "[0, 0, 1]",
}
NOTES = {
    "falls": "[tangent of the fall to the front, tangent of the fall outwards, 1]",
    "section": "leave the line out where no plate is folded to the floor",
}


def car_toml(
    entries: Sequence[MemberEntry], what: str, *, units: str = "mm", car: Car | None = None
) -> str:
    """Return the blank car sheet of a layout's or a build's members, as TOML.

    What only the checks look at is there too, but behind a ``#``.

    Args:
        entries: the members of the layout or build.
        what: name of the layout or build.
        units: that the sheet is filled in with.
        car: that of a build: what kind of car it is stands in the sheet then.
    """
    sheet = measuring_sheet(entries)
    measures = sheet.measures
    blocks: dict[str, list[Measurement]] = {}
    for m in measures:
        blocks.setdefault(block(m.field), []).append(m)
    words = {"mm": "millimetres", "in": "inches"}[units]
    kind, seat = _kind(car)
    out = [HEAD.format(what=what, units=units, words=words, **kind).rstrip()]
    for name in [b for b in blocks if _plain(b, blocks[b]) and not b.startswith("side.")]:
        out += _lines(blocks[name], optional=_optional(blocks[name]))
    for name in [b for b in blocks if not b.startswith("side.") and not _plain(b, blocks[b])]:
        optional = _optional(blocks[name])
        head = SEAT.format(side=seat) if name == "seats" else f"\n[{name}]"
        out += [f"\n# {head[1:]}" if optional else head, *_lines(blocks[name], optional=optional)]
    for side in ("left", "right"):
        out += _side(side, {b: v for b, v in blocks.items() if b.startswith("side.")})
    out.append(FRAME.rstrip())
    out += _tapes(sheet.tapes)
    return "\n".join(out) + "\n"


def _kind(car: Car | None) -> tuple[dict[str, str], str]:
    """What is no measure, each line with the other choices, and the side of the driver's seat."""
    body, frame, doors, side, seat = "closed", "unibody", 3, "left", "left"
    if car is not None:
        body, frame, doors = car.body, car.frame, car.doors
        side, seat = car.driver_side, car.driver_seat.side

    def line(field: str, value: str, *choices: str) -> str:
        others = ", ".join(f'"{c}"' for c in choices if c != value)
        return f'{field} = "{value}"'.ljust(24) + f"# or {others}"

    lines = {
        "body": line("body", body, "closed", "open"),
        "frame": line("frame", frame, "unibody", "frame"),
        "doors": f"doors = {doors}",
        "driver_side": line("driver_side", side, "left", "right"),
    }
    return lines, line("side", seat, "left", "right", "centre")


def _tapes(tapes: Sequence[CrossTape]) -> Iterator[str]:
    """Cross distances, each behind a ``#``: the points are unproved without them."""
    yield (
        "\n# ---- tapes from mark to mark, as read; take the # away from what was taped ----\n"
        "# No shape hangs on them: the check holds them against the points above."
    )
    for side in ("", "left", "right"):
        yield f"\n[tapes{'.' + side if side else ''}]"
        for t in tapes:
            if t.side == side:
                yield f"# {t.id} = {BLANK}    # {t.name[0].lower()}{t.name[1:]}"


def _side(side: str, blocks: dict[str, list[Measurement]]) -> Iterator[str]:
    yield f"\n# ---- {side} side; y counts outwards from the centre string ----\n[{side}]"
    for name, rows in blocks.items():
        if _plain(name, rows):
            yield from _lines(rows, optional=_optional(rows))
    for name, rows in blocks.items():
        if not _plain(name, rows):
            optional = _optional(rows)
            head = f"[{side}.{name.removeprefix('side.')}]"
            yield f"\n# {head}" if optional else f"\n{head}"
            yield from _lines(rows, optional=optional)


def _plain(name: str, rows: Sequence[Measurement]) -> bool:
    """Whether a part is a single field, not a table."""
    return rows[0].field == name


def _optional(rows: Sequence[Measurement]) -> bool:
    return all(m.because == (CHECKS,) for m in rows)


def _lines(rows: Sequence[Measurement], *, optional: bool) -> Iterator[str]:
    mark = "# " if optional else ""
    for m in sorted(rows, key=lambda m: m.number):
        words = f"{m.number} {m.name}: {m.how}" + (
            f"; {NOTES[m.blank]}" if m.blank in NOTES else ""
        )
        yield from (f"# {line}" for line in textwrap.wrap(words, 94))
        value = VALUES.get(m.blank, BLANK)
        if m.blank == "choice":
            value = f'"{m.choices[0]}"    # ' + ", ".join(m.choices)
        off = "# " if (m.blank == "section" or m.spare) and not mark else mark
        yield f"{off}{m.field.rsplit('.', 1)[-1]} = {value}"

"""Tapes from mark to mark held against the points of the car sheet, and which number is off.

A car sheet may say what was taped between two of its points (``[tapes]``). The same length follows
from the points. Where the two differ by more than a tape allows, one number is looked for that
makes every tape agree again: the one that is most likely read or written wrongly. Frame: car axes,
mm; ``y`` of the sheet counts outwards on both sides.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from math import hypot, inf, sqrt
from typing import Any

from msgspec import Struct

from cagekit.data import tables
from cagekit.inputs.car import Car

SIDES = ("left", "right")
SLIP = 500.0
"""A number that would have to change by more than this (mm) is not the one that was misread."""
COUNTS = 0.1
"""A tape speaks for a number when it grows by more than this share of the number's change."""


class Term(Struct, frozen=True, kw_only=True):
    """A number of the car sheet with its sign, e.g. ``left.roof_corner@y``."""

    sign: float
    path: str

    def value(self, car: Car) -> float | None:
        """What the car sheet says, with the sign, mm; None where it says nothing."""
        value = _read(car, self.path)
        return None if value is None else self.sign * value


class CrossTape(Struct, frozen=True, kw_only=True):
    """A length that is taped from mark to mark and follows from the points too.

    Attributes:
        id: field of ``[tapes]``.
        name: what is taped.
        side: of ``[tapes.left]`` or ``[tapes.right]``; empty for one that is taped once.
        axes: the numbers along each axis; the length is the root of the sum of their squares.
        allowed: how far tape and points may differ, mm.
    """

    id: str
    name: str
    side: str
    axes: tuple[tuple[Term, ...], ...]
    allowed: float

    @property
    def field(self) -> str:
        """Name on the car sheet, with dots."""
        return f"tapes.{self.side}.{self.id}" if self.side else f"tapes.{self.id}"

    @property
    def fields(self) -> frozenset[str]:
        """Fields of the measuring sheet that it is reckoned from."""
        return frozenset(_field(t.path) for axis in self.axes for t in axis)

    def taped(self, car: Car) -> float | None:
        """What the car sheet says was taped, mm; None where it says nothing."""
        value = getattr(getattr(car.tapes, self.side) if self.side else car.tapes, self.id)
        return None if value is None else float(value)

    def missing(self, car: Car) -> tuple[str, ...]:
        """Numbers that it is reckoned from and the car sheet does not have."""
        paths = (t.path for axis in self.axes for t in axis)
        return tuple(dict.fromkeys(spoken(p) for p in paths if _read(car, p) is None))

    def reckoned(self, car: Car) -> float:
        """The length between the two points of the car sheet, mm."""
        return hypot(*self._sums(car))

    def pull(self, car: Car) -> dict[str, float]:
        """By how much the length grows with each number of the sheet, mm a mm."""
        sums = self._sums(car)
        length = hypot(*sums)
        if length == 0.0:
            return {}
        out: dict[str, float] = {}
        for total, axis in zip(sums, self.axes, strict=True):
            for t in axis:
                out[t.path] = out.get(t.path, 0.0) + t.sign * total / length
        return out

    def mending(self, car: Car, path: str, read: float) -> tuple[tuple[float, float], ...]:
        """Changes of one number, from and to in mm, that make the tape agree.

        Args:
            car: the car sheet.
            path: the number.
            read: what was taped, mm.

        Returns:
            One range, or two where the far mark may lie on either side of the near one; none where
            no change does; one without bounds where the number does not matter.
        """
        sums = self._sums(car)
        signs = [sum(t.sign for t in axis if t.path == path) for axis in self.axes]
        moved = [i for i, sign in enumerate(signs) if sign]
        if not moved:
            agrees = abs(read - hypot(*sums)) <= self.allowed
            return ((-inf, inf),) if agrees else ()
        i = moved[0]
        rest = hypot(*(v for k, v in enumerate(sums) if k != i))
        least, most = max(read - self.allowed, 0.0), read + self.allowed
        if most < rest:
            return ()
        near, far = sqrt(max(least**2 - rest**2, 0.0)), sqrt(most**2 - rest**2)
        stretches = ((near, far), (-far, -near)) if near > 0.0 else ((-far, far),)
        ends = (sorted((v - sums[i]) / signs[i] for v in stretch) for stretch in stretches)
        return tuple((low, high) for low, high in ends)

    def _sums(self, car: Car) -> list[float]:
        return [sum(t.value(car) or 0.0 for t in axis) for axis in self.axes]


class Suspect(Struct, frozen=True, kw_only=True):
    """A number that makes all tapes agree when it is changed.

    Attributes:
        field: of the car sheet, with dots; an axis or an index after a space.
        more: by how much it would be greater, mm; negative for less.
        tapes: ids of the tapes that say so.
    """

    field: str
    more: float
    tapes: tuple[str, ...]


class Taped(Struct, frozen=True, kw_only=True):
    """A tape with what it read and what the points give.

    Attributes:
        tape: which.
        read: as taped, mm.
        reckoned: from the points, mm; None where a point is missing.
        suspects: numbers that may be off, the likeliest first; empty where it agrees.
    """

    tape: CrossTape
    read: float
    reckoned: float | None
    suspects: tuple[Suspect, ...] = ()

    @property
    def off(self) -> float:
        """By how much the tape read more than the points give, mm."""
        return 0.0 if self.reckoned is None else self.read - self.reckoned

    @property
    def agrees(self) -> bool:
        """Whether the two differ by no more than the tape allows."""
        return abs(self.off) <= self.tape.allowed


@cache
def tapes() -> tuple[CrossTape, ...]:
    """Every tape that a car sheet may have, those of both sides left first."""
    return tuple(t for row in tables("tapes")["tape"] for t in _of_row(row))


def taped(car: Car) -> tuple[Taped, ...]:
    """Hold the tapes of a car sheet against its points.

    Args:
        car: the car sheet.

    Returns:
        Every tape that the sheet has, in the order of the measuring sheet.
    """
    rows = []
    for tape in tapes():
        read = tape.taped(car)
        if read is not None:
            known = not tape.missing(car)
            rows.append(Taped(tape=tape, read=read, reckoned=tape.reckoned(car) if known else None))
    known_rows = [r for r in rows if r.reckoned is not None]
    found = suspects(car, known_rows)
    return tuple(
        r if r.agrees else Taped(tape=r.tape, read=r.read, reckoned=r.reckoned, suspects=found)
        for r in rows
    )


def suspects(car: Car, rows: Sequence[Taped]) -> tuple[Suspect, ...]:
    """Single numbers whose change brings every tape within what it allows, the likeliest first.

    Likelier is what more tapes speak for, then what would have to change less. The reading of the
    only tape that disagrees is one of them. Empty when all agree, or when no one number explains
    it.

    Args:
        car: the car sheet.
        rows: its tapes, all of their points known.
    """
    bad = [r for r in rows if not r.agrees]
    if not bad:
        return ()
    pulls = {r.tape.field: r.tape.pull(car) for r in rows}
    found = []
    for path in dict.fromkeys(p for r in bad for p in pulls[r.tape.field]):
        change = _best(car, rows, path)
        if change is not None and abs(change) <= SLIP:
            by = tuple(f for f, pull in pulls.items() if abs(pull.get(path, 0.0)) > COUNTS)
            found.append(Suspect(field=spoken(path), more=change, tapes=by))
    if len(bad) == 1:
        one = bad[0]
        found.append(Suspect(field=one.tape.field, more=-one.off, tapes=(one.tape.field,)))
    return tuple(sorted(found, key=lambda s: (-len(s.tapes), abs(s.more), s.field)))


def _best(car: Car, rows: Sequence[Taped], path: str) -> float | None:
    """The middle of the changes of one number that bring every tape within its allowance."""
    left: list[tuple[float, float]] = [(-inf, inf)]
    for r in rows:
        ranges = r.tape.mending(car, path, r.read)
        left = [
            (max(a, low), min(b, high))
            for a, b in left
            for low, high in ranges
            if max(a, low) <= min(b, high)
        ]
    return min(((a + b) / 2 for a, b in left), key=abs, default=None)


def spoken(path: str) -> str:
    """A number of the sheet as a person would look it up: ``left.roof_corner y``."""
    name, _, axis = path.partition("@")
    name, _, index = name.partition("#")
    corner = (
        f" corner {index}"
        if index and axis
        else f" {('inner', 'outer')[int(index) - 1]}"
        if index
        else ""
    )
    return f"{name}{corner}{' ' + axis if axis else ''}"


# ---- the rows of the table ----


def _of_row(row: Mapping[str, Any]) -> Iterator[CrossTape]:
    texts = [*row.get("sum", ()), *row.get("from", ()), *row.get("to", ())]
    both = any(t.startswith(("side.", "other.")) for t in texts)
    for side in SIDES if both else ("",):
        if "sum" in row:
            axes = [[_term(t[1:], "", side, minus=t[0] == "-") for t in row["sum"]]]
        else:
            ends = (_point(row[e], side) for e in ("from", "to"))
            axes = [
                [*a, *(Term(sign=-t.sign, path=t.path) for t in b)]
                for a, b in zip(*ends, strict=True)
            ]
        yield CrossTape(
            id=row["id"],
            name=row["name"],
            side=side,
            axes=tuple(tuple(a) for a in axes if a),
            allowed=float(row["allowed"]),
        )


def _term(text: str, axis: str, side: str, *, minus: bool = False) -> Term:
    head, _, rest = text.partition(".")
    other = "right" if side == "left" else "left"
    head = {"side": side, "other": other}.get(head, head)
    # y on the sheet counts from the centre string outwards, so the right one is negative
    sign = -1.0 if axis == "y" and head == "right" else 1.0
    path = (f"{head}.{rest}" if rest else head) + (f"@{axis}" if axis else "")
    return Term(sign=-sign if minus else sign, path=path)


def _point(texts: Sequence[str], side: str) -> tuple[list[Term], list[Term], list[Term]]:
    """Terms of the three axes of a point: a field that is a point, or three plain fields."""
    if len(texts) == 1:
        flat = "#" in texts[0]
        x, y, z = ([] if flat and a == "y" else [_term(texts[0], a, side)] for a in "xyz")
        return x, y, z
    out: list[list[Term]] = []
    for axis, text in zip("xyz", texts, strict=True):
        term = None if text == "0" else _term(text, "", side)
        if term and axis == "y" and term.path.startswith("right."):
            term = Term(sign=-1.0, path=term.path)
        out.append([term] if term else [])
    return out[0], out[1], out[2]


def _field(path: str) -> str:
    """Field of the measuring sheet that a path such as ``left.door.outline#1@z`` lies in."""
    name = path.partition("@")[0].partition("#")[0]
    head, _, rest = name.partition(".")
    return f"side.{rest}" if head in SIDES else name


def _read(car: Car, path: str) -> float | None:
    """The number at ``left.roof_corner@y`` or ``left.door.outline#1@z`` of a car sheet, mm."""
    name, _, axis = path.partition("@")
    name, _, index = name.partition("#")
    value: Any = car
    for part in name.split("."):
        value = getattr(value, part, None)
        if value is None:
            return None
    if index:
        if len(value) < int(index):
            return None
        value = value[int(index) - 1]
    if axis:
        value = value["xz".index(axis) if index else "xyz".index(axis)]
    return float(value)

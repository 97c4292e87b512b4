"""The plain-text exchange structure of STEP: entities out, entities in.

Source: ISO 10303-21 (exchange structure), clause numbers not needed for the subset used here
(from memory): one ``#id=KEYWORD(...);`` per entity, reals with a point, strings in quotes.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from cagekit.errors import OutputError

Triple = Sequence[float] | NDArray[np.float64]

_ENTITY = re.compile(r"#(\d+)\s*=\s*((?:'(?:[^']|'')*'|[^;'])*);")
_NUMBER = re.compile(r"#(\d+)")
_REFERENCE = re.compile(r"'(?:[^']|'')*'|#(\d+)")
_SPACE = re.compile(r"('(?:[^']|'')*')|\s+")

PLACES = 12
"""Decimals (mm) of the places that surfaces and curves hang on. With nine, tubes whose axes cross
pass each other in the file, and a kernel that fuses them loses faces."""


@lru_cache(maxsize=1 << 16)
def real(value: float) -> str:
    """A real number with 15 significant digits, always with its point; noughts have no sign.

    Most stand in two files, that of the part and that of the whole.
    """
    if not value:
        return "0."
    out = f"{value:.15g}"
    if "e" in out:
        digits, power = out.split("e")
        return f"{digits if '.' in digits else digits + '.'}E{int(power)}"
    return out if "." in out else out + "."


def string(value: str) -> str:
    """A quoted string; whatever is not plain ASCII is written as the standard's hex escape."""
    if value.isascii():
        return "'" + value.replace("\\", "\\\\").replace("'", "''") + "'"
    out = []
    for c in value:
        if c.isascii():
            out.append(c.replace("\\", "\\\\").replace("'", "''"))
        else:
            out.append(f"\\X4\\{ord(c):08X}\\X0\\")
    return "'" + "".join(out) + "'"


def refs(ids: Iterable[int]) -> str:
    """A list of references, ``(#1,#2)``."""
    return "(" + ",".join([f"#{i}" for i in ids]) + ")"


class Deck:
    """The entities written so far, numbered in order; directions and placements only once."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self._directions: dict[tuple[float, ...], int] = {}
        self._frames: dict[tuple[float, ...], int] = {}
        self._vectors: dict[int, int] = {}

    @property
    def last(self) -> int:
        """Number of the entity written last."""
        return len(self.lines)

    def add(self, text: str) -> int:
        """Write one entity without its number; returns the number."""
        n = len(self.lines) + 1
        self.lines.append(f"#{n}={text};")
        return n

    def point(self, p: Triple) -> int:
        """Write a point, to a millionth of a micrometre."""
        return self._point([round(c, 9) for c in np.asarray(p, float).tolist()])

    def _point(self, p: Iterable[float]) -> int:
        place = ",".join(map(real, p))
        return self.add(f"CARTESIAN_POINT('',({place}))")

    def points(self, rows: Sequence[Sequence[float]]) -> range:
        """Write many points with eight decimals; returns their numbers."""
        n = len(self.lines) + 1
        form = "#%d=CARTESIAN_POINT('',(%.8f,%.8f,%.8f));"
        self.lines += [form % (i, x, y, z) for i, (x, y, z) in enumerate(rows, n)]
        return range(n, len(self.lines) + 1)

    def direction(self, d: Triple) -> int:
        """Write a direction, unless it has been written."""
        x, y, z = np.asarray(d, float).tolist()
        key = round(x, 15), round(y, 15), round(z, 15)
        found = self._directions.get(key)
        if found is None:
            x, y, z = map(real, key)
            found = self._directions[key] = self.add(f"DIRECTION('',({x},{y},{z}))")
        return found

    def vector(self, d: Triple) -> int:
        """Write a vector of length one, unless it has been written."""
        along = self.direction(d)
        if along not in self._vectors:
            self._vectors[along] = self.add(f"VECTOR('',#{along},1.)")
        return self._vectors[along]

    def frame(self, origin: Triple, z: Triple, x: Triple) -> int:
        """An axis placement from origin, axis and reference direction, unless it has been written.

        Args:
            origin: mm.
            z: axis.
            x: reference direction.
        """
        place = tuple(round(c, PLACES) for c in np.asarray(origin, float).tolist())
        turn = (round(c, 15) for d in (z, x) for c in np.asarray(d, float).tolist())
        key = *place, *turn
        found = self._frames.get(key)
        if found is None:
            p, a, r = self._point(place), self.direction(z), self.direction(x)
            found = self._frames[key] = self.add(f"AXIS2_PLACEMENT_3D('',#{p},#{a},#{r})")
        return found

    def text(self, header: str) -> str:
        """The whole file."""
        return "\n".join(["ISO-10303-21;", header, "DATA;", *self.lines, "ENDSEC;"]) + (
            "\nEND-ISO-10303-21;\n"
        )


def parse(text: str) -> dict[int, str]:
    """Read the entities of an exchange file: number to text, line breaks and blanks removed.

    Raises:
        OutputError: the file is cut short or is no exchange file.
    """
    head, _, data = text.partition("DATA;")
    if not head.startswith("ISO-10303-21;") or "END-ISO-10303-21;" not in data:
        raise OutputError("the file is not a whole STEP file.")
    body = data.split("ENDSEC;")[0].strip()
    lines = body[1:-1].split(";\n#")
    if body[:1] == "#" and body[-1:] == ";" and body.count(";") == len(lines):
        # one to a line, as cagekit writes them
        found = [q.partition("=")[::2] for q in lines]
    else:
        found = _ENTITY.findall(body)
    # what cagekit writes has no blanks but in names
    return {int(n): _SPACE.sub(r"\1", t) if " " in t or "\n" in t else t for n, t in found}


def missing(entities: Mapping[int, str]) -> tuple[int, int] | None:
    """An entity and what it refers to that is not there; None when all is there."""
    every = set(map(int, _NUMBER.findall("\n".join(entities.values()))))
    if every <= entities.keys():
        return None
    # a name may hold what looks like a reference
    return next(
        ((n, r) for n, t in entities.items() for r in references(t) if r not in entities), None
    )


def references(entity: str) -> list[int]:
    """Numbers that an entity refers to, in order."""
    if entity.count("'") == 2 * entity.count("''"):
        # no text that could hold what looks like a reference
        return list(map(int, _NUMBER.findall(entity)))
    return [int(n) for n in _REFERENCE.findall(entity) if n]


def closure(entities: dict[int, str], root: int) -> list[int]:
    """All entities that ``root`` needs, itself last, in an order that can be written."""
    order: list[int] = []
    seen: set[int] = set()
    stack: list[tuple[int, bool]] = [(root, False)]
    while stack:
        n, done = stack.pop()
        if done:
            order.append(n)
        elif n not in seen:
            seen.add(n)
            stack.append((n, True))
            stack += [(r, False) for r in reversed(references(entities[n])) if r not in seen]
    return order


def splice(deck: Deck, entities: dict[int, str], root: int) -> int:
    """Copy ``root`` and all it needs into ``deck``; returns its new number.

    Args:
        deck: the file being written.
        entities: of the other file, by number.
        root: number there.
    """
    new: dict[int, int] = {}
    for n in closure(entities, root):
        text = _REFERENCE.sub(
            lambda m: f"#{new[int(m.group(1))]}" if m.group(1) else m.group(0), entities[n]
        )
        new[n] = deck.add(text)
    return new[root]

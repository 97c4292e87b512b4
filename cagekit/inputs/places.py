"""Places, ends and feet as files name them: read once, lengths in mm from then on.

Grammar of a place (words in any case, lengths in the file's units or with their own)::

    on MEMBER[.SIDE] at SELECTOR [MOVE] [and MEMBER ...]
    at X, Y, Z
    car SIDE main_foot | front_foot | rear_foot | a spot of the car sheet

    SELECTOR   height H | x X | y Y | station S | fraction F | middle | end a|b | foot
               bend N | top bend | low bend | front bend | rear bend
    MOVE       up L | down L | forward L | back L | inboard L | outboard L

``SIDE`` picks the half of a tube that spans the car, or the member of that side
(``a_pillar_bar.left`` is ``a_pillar_bar_left``). A place always lies on the member's centre line,
so that a tube coped there is concentric with it. ``and`` names further members that meet in the
same node; an end that is coped brings those that it ends on. ``{side}`` and ``{other}`` stand for
the sides of an entry that is made on both; a point ``at X, Y, Z`` of such an entry is as on the
left, mirrored on the right.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from difflib import get_close_matches
from typing import Annotated, Any, Literal, Self, TypeVar

from msgspec import Struct
from msgspec.structs import replace
from pydantic import BaseModel, ValidationInfo
from pydantic_core import core_schema

from cagekit.errors import InputError
from cagekit.inputs.fields import LONGEST, ReadBy, written_length
from cagekit.units import parse_length

MOVES = ("up", "down", "forward", "back", "inboard", "outboard")
MEASURED = ("height", "x", "y", "station")
"""Selectors with a length."""
NAMED = (
    "middle",
    "end a",
    "end b",
    "foot",
    "top bend",
    "low bend",
    "front bend",
    "rear bend",
)
"""Selectors that need no number."""
BY_HALF = ("height", "x", "foot", "top bend", "low bend", "front bend", "rear bend")
"""Selectors that find one place on each half of a tube that spans the car."""
SELECTORS = (*MEASURED, "fraction", "bend", *(n for n in NAMED if "end " not in n), "end")

NAME = r"(?:[a-z0-9_]|\{side\}|\{other\})+"
SIDE = r"left|right|\{side\}|\{other\}"


def filled(text: str, side: str) -> str:
    """Fill in ``{side}`` and ``{other}``, the side across the car."""
    other = "right" if side == "left" else "left"
    return text.replace("{side}", side).replace("{other}", other)


class _Sided(Struct, frozen=True):
    """Fills in the sides of every text that a type holds."""

    def for_side(self, side: str) -> Self:
        """The same with ``{side}`` and ``{other}`` filled in."""
        texts: dict[str, Any] = {}
        for name in self.__struct_fields__:
            value = getattr(self, name)
            if isinstance(value, str):
                texts[name] = filled(value, side)
            elif isinstance(value, tuple) and value and isinstance(value[0], str):
                texts[name] = tuple(filled(v, side) for v in value)
        return replace(self, **texts)

    @property
    def open(self) -> bool:
        """Whether a ``{side}`` is still to be filled in."""
        return "{" in str(self)

    @property
    def of_each_side(self) -> bool:
        """Whether it may be another place on the other side of the car."""
        return self.open


def for_side(table: BaseModel, side: str) -> dict[str, Any]:
    """What changes in a table of a file when its ``{side}`` and ``{other}`` are filled in."""
    out: dict[str, Any] = {}
    for name, value in vars(table).items():
        if isinstance(value, _Sided) and value.open:
            out[name] = value.for_side(side)
        elif isinstance(value, str) and "{" in value:
            out[name] = filled(value, side)
        elif name == "split_by":
            out[name] = tuple(filled(v, side) for v in value)
    return out


class OnTube(_Sided, frozen=True, kw_only=True):
    """A place on a tube's centre line.

    Args:
        member: id of the tube, or what both sides of it are called.
        side: half of the tube, or which of the two; ``""`` for the whole.
        at: selector, e.g. ``height``, ``end a``, ``top bend``; ``""`` for the tube alone.
        value: what the selector counts: mm, share of the length, or number of a bend.
        move: direction in which the place is moved along the tube, ``""`` for none.
        by: how far, mm.
        others: further members that meet in the node.
    """

    member: str
    side: str = ""
    at: str = ""
    value: float = 0.0
    move: str = ""
    by: float = 0.0
    others: tuple[str, ...] = ()

    @property
    def of_each_side(self) -> bool:
        """Whether it may be another place on the other side: a tube that spans the car has two."""
        halves = not self.side and not self.member.endswith(("_left", "_right"))
        return self.open or (halves and self.at in BY_HALF)

    def spot(self, at: str, value: float = 0.0, move: str = "", by: float = 0.0) -> OnTube:
        """A place on this tube; see the class for the arguments.

        Args:
            at: selector on the tube.
            value: of the selector, mm or a share.
            move: which way on along the tube.
            by: how far, mm.
        """
        return OnTube(
            member=self.member, side=self.side, at=at, value=value, move=move if by else "", by=by,
            others=self.others,
        )  # fmt: skip

    def __str__(self) -> str:
        tube = f"{self.member}.{self.side}" if self.side else self.member
        if not self.at:
            return tube
        value = ""
        if self.at in MEASURED:
            value = f" {written_length(self.value)}"
        elif self.at == "fraction":
            value = f" {self.value!r}"
        elif self.at == "bend":
            value = f" {self.value:.0f}"
        move = f" {self.move} {written_length(self.by)}" if self.move else ""
        others = "".join(f" and {o}" for o in self.others)
        return f"on {tube} at {self.at}{value}{move}{others}"


class AtPoint(_Sided, frozen=True, kw_only=True):
    """A free point (x, y, z) in vehicle axes, mm; of an entry on both sides that on the left."""

    point: tuple[float, float, float]

    @property
    def of_each_side(self) -> bool:
        """Whether it is another point on the other side of the car."""
        return self.point[1] != 0.0

    def across(self) -> AtPoint:
        """The same on the other side of the car."""
        x, y, z = self.point
        return AtPoint(point=(x, -y, z))

    def __str__(self) -> str:
        return "at " + ", ".join(written_length(v) for v in self.point)


class OnCar(_Sided, frozen=True, kw_only=True):
    """A spot of the car sheet on one side, e.g. ``rear_foot``."""

    side: str
    spot: str

    def __str__(self) -> str:
        return f"car {self.side} {self.spot}"


Location = OnTube | AtPoint | OnCar


class TubeEnd(_Sided, frozen=True, kw_only=True):
    """An end of a tube, or of every tube of a role: ``rear_brace end a``."""

    tube: str
    end: Literal["a", "b"]

    def __str__(self) -> str:
        return f"{self.tube} end {self.end}"


class FootName(_Sided, frozen=True, kw_only=True):
    """What stands on a plate: a tube's end, a tube or role, a spot of the car sheet, or ``feet``.

    ``end`` is ``""`` for both ends, ``side`` that of a spot when it is named.
    """

    name: str
    end: Literal["", "a", "b"] = ""
    side: str = ""

    def __str__(self) -> str:
        if self.end:
            return f"{self.name} end {self.end}"
        return f"{self.side}.{self.name}" if self.side else self.name


class SwingName(_Sided, frozen=True, kw_only=True):
    """Joints of swing-out bars: of a bar, of a role or (``""``) all; hinge, latch or both."""

    bar: str = ""
    joint: Literal["", "hinge", "latch"] = ""

    def __str__(self) -> str:
        return " ".join(w for w in (self.bar, self.joint) if w)


_TUBE = re.compile(rf"(?P<member>{NAME})(?:\.(?P<side>{SIDE}))?")
_ON = re.compile(rf"on\s+{_TUBE.pattern}\s+at\s+(?:the\s+)?(?P<rest>.+)")
_MOVE = re.compile(rf"(?P<head>.*?)\s+(?P<move>{'|'.join(MOVES)})\s+(?P<by>.+)")
_COUNTED = re.compile(r"(?P<at>height|x|y|station|fraction|bend)\s+(?P<value>.+)")
_CAR = re.compile(rf"car\s+(?P<side>{SIDE})\s+(?P<spot>{NAME})")
_END = re.compile(rf"(?P<tube>{NAME})\s+end\s+(?P<end>[ab])")
_FOOT = re.compile(rf"(?:(?P<side>{SIDE})\.)?(?P<name>{NAME})(?:\s+end\s+(?P<end>[ab]))?")


def read_location(text: str, units: str = "mm") -> Location:
    """Read a place.

    Args:
        text: what was written.
        units: units of bare numbers, ``"mm"`` or ``"in"``.

    Raises:
        InputError: the text is not a place; says which part and what would do.
    """
    words = " ".join(text.lower().split())
    if words.startswith("at "):
        parts = [p.strip() for p in words[3:].split(",")]
        if len(parts) != 3:
            raise _wrong(text, "a free point is `at X, Y, Z`.")
        x, y, z = (_length(p, text, units) for p in parts)
        return AtPoint(point=(x, y, z))
    if words.startswith("car "):
        car = _CAR.fullmatch(words)
        if car is None:
            raise _wrong(text, "a place on the car is `car left rear_foot`.")
        return OnCar(side=car["side"], spot=car["spot"])
    found = _ON.fullmatch(words)
    if found is None:
        raise _wrong(
            text,
            "this is not a place.",
            "Write e.g. `on main_hoop.left at height 450`, `at 0, 500, 300` or "
            "`car left rear_foot`.",
        )
    rest, *others = [p.strip() for p in re.split(r"\s+and\s+", found["rest"])]
    move, by = "", 0.0
    if m := _MOVE.fullmatch(rest):
        rest, move, by = m["head"], m["move"], _length(m["by"], text, units)
    at, value = _selector(rest, text, units)
    return OnTube(
        member=found["member"],
        side=found["side"] or "",
        at=at,
        value=value,
        move=move,
        by=by,
        others=tuple(others),
    )


def _selector(words: str, text: str, units: str) -> tuple[str, float]:
    """Selector and what it counts."""
    if words in NAMED:
        return words, 0.0
    if words.startswith("end "):
        raise _wrong(text, "a tube has end a and end b.")
    counted = _COUNTED.fullmatch(words)
    if counted is None:
        near = get_close_matches(words, SELECTORS, 1)
        raise _wrong(
            text,
            f"{words!r} does not say where on the member.",
            (f"Did you mean {near[0]!r}? " if near else "") + f"Allowed: {', '.join(SELECTORS)}.",
        )
    at, value = counted["at"], counted["value"].strip()
    if at in MEASURED:
        return at, _length(value, text, units)
    if at == "bend":
        if not (value.isdigit() and int(value) >= 1):
            raise _wrong(text, f"{value!r} is not a bend's number from end a, 1 or more.")
        return at, float(value)
    if not (_is_number(value) and 0 <= float(value) <= 1):
        raise _wrong(text, f"{value!r} is not a number from 0 to 1.")
    return at, float(value)


def read_tube(text: str, units: str = "mm") -> OnTube:
    """Read a tube, with the side that is meant: ``front_hoop.left``, ``a_pillar_bar_{side}``.

    Raises:
        InputError: it names no member.
    """
    found = _TUBE.fullmatch(text.strip().lower())
    if found is None:
        raise _wrong(text, "this is not a member.", "Write e.g. `a_pillar_bar_{side}`.")
    return OnTube(member=found["member"], side=found["side"] or "")


def read_end(text: str, units: str = "mm") -> TubeEnd:
    """Read a tube's end: ``rear_brace_left end a``.

    Raises:
        InputError: it names no end.
    """
    found = _END.fullmatch(" ".join(text.lower().split()))
    if found is None:
        raise _wrong(
            text,
            "names no end of a tube.",
            "Write the branch's end, e.g. `a_pillar_bar_left end a`.",
        )
    return TubeEnd(tube=found["tube"], end="a" if found["end"] == "a" else "b")


def read_foot(text: str, units: str = "mm") -> FootName | None:
    """Read what stands on a plate; None, for every foot, when nothing is said.

    Raises:
        InputError: it names no foot.
    """
    words = " ".join(text.lower().split())
    if words in ("", "feet"):
        return None
    found = _FOOT.fullmatch(words)
    if found is None or (found["side"] and found["end"]):
        raise _wrong(
            text,
            "names no foot.",
            "Write e.g. `main_hoop end a`, `rear_brace`, `main_foot`, `left.main_foot` or `feet`.",
        )
    end = found["end"]
    return FootName(
        name=found["name"],
        end="a" if end == "a" else "b" if end == "b" else "",
        side=found["side"] or "",
    )


def read_swing(text: str, units: str = "mm") -> SwingName:
    """Read joints of swing-out bars: ``door_bar_left hinge``, ``latch``.

    Raises:
        InputError: it names no swing-out bar.
    """
    words = text.lower().split()
    joint = words.pop() if words and words[-1] in ("hinge", "latch") else ""
    if len(words) > 1 or (words and not re.fullmatch(NAME, words[0])):
        raise _wrong(
            text,
            "names no swing-out bar.",
            "Write e.g. `door_bar_left hinge`, `door_bar`, `latch`.",
        )
    return SwingName(
        bar=words[0] if words else "",
        joint="hinge" if joint == "hinge" else "latch" if joint == "latch" else "",
    )


def _wrong(text: str, problem: str, hint: str = "") -> InputError:
    return InputError("place", "", text, problem=problem, hint=hint)


def _length(words: str, text: str, units: str) -> float:
    try:
        unit = f" {units}" if re.fullmatch(r"[-+]?[\d.][\d./ -]*", words) else ""
        length = parse_length(words + unit)
    except ValueError as error:
        raise _wrong(text, f"{words!r} is no length: {error}") from error
    if abs(length) > LONGEST:
        raise _wrong(text, f"{words!r} is no length on a car; check units.")
    return length


def _is_number(text: str) -> bool:
    return re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", text) is not None


T = TypeVar("T")


def _reader(read: Callable[[str, str], T], about: str, *, empty: bool = False) -> ReadBy:
    """What reads a text in the units of its file and writes it as text; what was read passes."""

    def check(value: Any, info: ValidationInfo) -> T:
        if isinstance(value, _Sided) or (empty and value is None):
            return value  # type: ignore[return-value]
        if not isinstance(value, str):
            raise ValueError("must be a text in quotes.")
        context = info.context if isinstance(info.context, Mapping) else {}
        return read(value, str(context.get("units") or "mm"))

    schema = core_schema.with_info_plain_validator_function(
        check, json_schema_input_schema=core_schema.any_schema()
    )
    json = {"type": "string", "description": about}
    return ReadBy(schema, str, json=json, returns=core_schema.str_schema(), when="unless-none")


LocationField = Annotated[
    Location,
    _reader(read_location, "a place such as 'on main_hoop.left at height 450', 'at 0, 500, 300'"),
]
TubeField = Annotated[OnTube, _reader(read_tube, "a member, e.g. 'a_pillar_bar_{side}'")]
EndField = Annotated[TubeEnd, _reader(read_end, "a tube's end, e.g. 'rear_brace_left end a'")]
FootField = Annotated[
    FootName | None,
    _reader(read_foot, "a foot, e.g. 'main_hoop end a', 'main_foot' or 'feet'", empty=True),
]
SwingField = Annotated[
    SwingName, _reader(read_swing, "joints of swing-out bars, e.g. 'door_bar_left hinge'")
]

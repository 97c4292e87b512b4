"""Places on a cage, written as the trade would say them.

Grammar (words in any case, lengths in the file's units or with their own)::

    on MEMBER[.SIDE] at SELECTOR [MOVE] [and MEMBER ...]
    at X, Y, Z
    car SIDE main_foot | front_foot | rear_foot | a spot of the car sheet

    SELECTOR   height H | x X | y Y | station S | fraction F | middle | end a|b | foot
               bend N | top bend | low bend | front bend | rear bend
    MOVE       up L | down L | forward L | back L | inboard L | outboard L

``SIDE`` picks the half of a tube that spans the car, or the member of that side
(``a_pillar_bar.left`` is ``a_pillar_bar_left``). A place always lies on the member's centre line,
so that a tube coped there is concentric with it. ``and`` names further members that meet in the
same node.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Literal

import numpy as np

from cagekit.cage.member import Member
from cagekit.errors import GeometryError, InputError
from cagekit.geometry.centre_line import Arc, Spot, Vec, unit, vec
from cagekit.inputs.car import Car
from cagekit.units import parse_length

MOVES: Mapping[str, tuple[int, float]] = {
    "up": (2, 1.0),
    "down": (2, -1.0),
    "forward": (0, 1.0),
    "back": (0, -1.0),
    "inboard": (1, -1.0),
    "outboard": (1, 1.0),
}
SELECTORS = (
    "height",
    "x",
    "y",
    "station",
    "fraction",
    "middle",
    "end",
    "foot",
    "bend",
    "top bend",
    "low bend",
    "front bend",
    "rear bend",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceText:
    """A place as parsed: where it is, not yet which coordinates."""

    text: str
    form: Literal["member", "point", "car"]
    member: str = ""
    side: str = ""
    selector: str = ""
    value: str = ""
    move: str = ""
    distance: float = 0.0
    others: tuple[str, ...] = ()
    point: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Place:
    """A place found: the node, and what a tube that ends there meets.

    ``members`` are the parents, ``normal`` the direction away from the surface it stands on.
    """

    point: Vec
    members: tuple[str, ...] = ()
    spot: Spot | None = None
    normal: Vec | None = None
    foot: str = ""
    surface: str = ""


_MEMBER = re.compile(
    r"^on\s+(?P<member>[a-z0-9_]+)(?:\.(?P<side>left|right))?\s+at\s+(?:the\s+)?(?P<rest>.+)$",
    re.IGNORECASE,
)
_MOVE = re.compile(
    r"^(?P<head>.*?)\s+(?P<move>up|down|forward|back|inboard|outboard)\s+(?P<by>.+)$"
)
_SELECTOR = re.compile(
    r"^(?P<sel>height|x|y|station|fraction|end|bend)\s+(?P<value>.+)$"
    r"|^(?P<word>middle|foot|top bend|low bend|front bend|rear bend)$"
)


def parse_place(text: str, *, where: str, units: str = "mm") -> PlaceText:
    """Read a place.

    Args:
        text: what was written.
        where: file and field, for the message.
        units: units of bare numbers, ``"mm"`` or ``"in"``.

    Raises:
        InputError: the text is not a place; says which part and what would do.
    """
    raw = " ".join(text.split())
    low = raw.lower()
    if low.startswith("at "):
        parts = [p.strip() for p in raw[3:].split(",")]
        if len(parts) != 3:
            raise InputError(where, "", text, problem="a free point is `at X, Y, Z`.")
        x, y, z = (_length(p, where, text, units) for p in parts)
        return PlaceText(text=text, form="point", point=(x, y, z))
    if low.startswith("car "):
        words = low.split()
        if len(words) != 3 or words[1] not in ("left", "right"):
            raise InputError(where, "", text, problem="a place on the car is `car left rear_foot`.")
        return PlaceText(text=text, form="car", side=words[1], selector=words[2])
    found = _MEMBER.match(low)
    if not found:
        raise InputError(
            where,
            "",
            text,
            problem="this is not a place.",
            hint="Write e.g. `on main_hoop.left at height 450`, `at 0, 500, 300` or "
            "`car left rear_foot`.",
        )
    rest, *others = [p.strip() for p in re.split(r"\s+and\s+", found["rest"])]
    move, distance = "", 0.0
    if m := _MOVE.match(rest):
        rest, move, distance = m["head"], m["move"], _length(m["by"], where, text, units)
    sel = _SELECTOR.match(rest)
    if not sel:
        near = get_close_matches(rest, SELECTORS, 1)
        raise InputError(
            where,
            "",
            text,
            problem=f"{rest!r} does not say where on the member.",
            hint=(f"Did you mean {near[0]!r}? " if near else "")
            + f"Allowed: {', '.join(SELECTORS)}.",
        )
    selector, value = (sel["word"], "") if sel["word"] else (sel["sel"], sel["value"].strip())
    if selector in ("height", "x", "y", "station"):
        value = repr(_length(value, where, text, units))
    elif selector == "end" and value not in ("a", "b"):
        raise InputError(where, "", text, problem="a tube has end a and end b.")
    elif selector in ("bend", "fraction"):
        value = _number(value, selector, where, text)
    return PlaceText(
        text=text,
        form="member",
        member=found["member"],
        side=found["side"] or "",
        selector=selector,
        value=value,
        move=move,
        distance=distance,
        others=tuple(others),
    )


def _length(text: str, where: str, place: str, units: str) -> float:
    try:
        return parse_length(float(text) if _is_number(text) else text, default=units)  # type: ignore[arg-type]
    except ValueError as exc:
        raise InputError(where, "", place, problem=f"{text!r} is no length: {exc}") from exc


def _is_number(text: str) -> bool:
    return re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", text) is not None


def _number(text: str, selector: str, where: str, place: str) -> str:
    whole = selector == "bend"
    ok = text.isdigit() and int(text) >= 1 if whole else _is_number(text) and 0 <= float(text) <= 1
    if not ok:
        need = "a bend's number from end a, 1 or more" if whole else "a number from 0 to 1"
        raise InputError(where, "", place, problem=f"{text!r} is not {need}.")
    return text


class Places:
    """Finds places on the members made so far."""

    def __init__(self, car: Car, members: Mapping[str, Member], units: str = "mm") -> None:
        self.car, self.members, self.units = car, members, units

    def find(self, text: str, *, where: str) -> Place:
        """Find a place; InputError for a wrong text or name, GeometryError off the tube."""
        p = parse_place(text, where=where, units=self.units)
        if p.form == "point":
            assert p.point is not None
            return Place(point=vec(p.point))
        if p.form == "car":
            return self.car_foot(p.side, p.selector, where=where)
        others = tuple(self.member(o, "", where=where, text=text).id for o in p.others)
        pieces = self.pieces(p.member, p.side, where=where, text=text)
        for member in pieces:
            try:
                spot = self._spot(member, p, where)
            except GeometryError:
                if len(pieces) == 1:
                    raise
                continue
            return Place(point=spot.point, members=(member.id, *others), spot=spot)
        raise GeometryError(
            p.member, f"has no such place on any of its {len(pieces)} pieces: {text!r}."
        )

    def _spot(self, member: Member, p: PlaceText, where: str) -> Spot:
        station = self._station(member, p, where)
        if p.move:
            station = self._moved(member, station, p, where)
        return member.path.spot(station)

    def pieces(
        self, name: str, side: str = "", *, where: str, text: str = ""
    ) -> tuple[Member, ...]:
        """The member of that name, or the pieces of the bar of that name, from its end a."""
        for key in [name] if not side else [f"{name}_{side}", name]:
            if key in self.members:
                return (self.members[key],)
            pieces = tuple(m for m in self.members.values() if m.bar == key)
            if pieces:
                return pieces
        return (self.member(name, side, where=where, text=text),)

    def member(self, name: str, side: str = "", *, where: str, text: str = "") -> Member:
        """The member of that name (and side); InputError names the closest one there is."""
        for key in [name] if not side else [f"{name}_{side}", name]:
            if key in self.members:
                return self.members[key]
        near = get_close_matches(f"{name}_{side}" if side else name, list(self.members), 1)
        hint = (
            f"Did you mean {near[0]!r}?"
            if near
            else f"So far there are: {', '.join(self.members) or 'none'}."
        )
        raise InputError(
            where,
            "",
            text or name,
            problem=f"there is no member {name!r} yet (members are made in order).",
            hint=hint,
        )

    def car_foot(self, side: str, foot: str, *, where: str) -> Place:
        """The place on the car's sheet metal where a foot lands."""
        measured = self.car.side(side).feet()
        if foot not in measured:
            raise InputError(
                where,
                f"{side}.{foot}",
                problem="the car sheet has no such measurement.",
                hint=f"Measured on that side: {', '.join(measured)}. Measure it and add it to the "
                f"car sheet, under [{side}.spots.{foot}] when it is a place of your own.",
            )
        spot = measured[foot]
        sign = 1.0 if side == "left" else -1.0
        x, y, z = spot.point
        nx, ny, nz = spot.normal
        return Place(
            point=vec((x, sign * y, z)),
            normal=unit((nx, sign * ny, nz)),
            foot=f"{side}.{foot}",
            surface=spot.surface,
        )

    def _station(self, member: Member, p: PlaceText, where: str) -> float:
        path = member.path
        low, high = _half(member, p.side)
        match p.selector:
            case "middle":
                return path.length / 2
            case "fraction":
                return float(p.value) * path.length
            case "station":
                return path.spot(float(p.value)).station
            case "end":
                return 0.0 if p.value == "a" else path.length
            case "foot":
                return self._foot(member, p, where)
            case "height" | "x" | "y":
                return self._crossing(member, p, low, high, where)
            case _:
                return self._bend(member, p, low, high, where)

    def _foot(self, member: Member, p: PlaceText, where: str) -> float:
        """Station of the lower end, on the side asked for."""
        ends = [(n, member.path.end_point(n)) for n, _ in member.ends]
        here = [(n, q) for n, q in ends if not p.side or (q[1] > 0) == (p.side == "left")]
        if not here:
            raise InputError(where, "", p.text, problem=f"{member.id} has no foot there.")
        name = min(here, key=lambda e: float(e[1][2]))[0]
        return 0.0 if name == "a" else member.path.length

    def _crossing(self, member: Member, p: PlaceText, low: float, high: float, where: str) -> float:
        axis = {"x": 0, "y": 1, "height": 2}[p.selector]
        value = float(p.value)
        if p.selector == "y" and p.side == "right":
            value = -abs(value)
        normal = np.eye(3)[axis]
        spots = [
            s
            for s in member.path.crossings(normal * value, normal)
            if low - 1e-6 <= s.station <= high + 1e-6
        ]
        if not spots:
            reach = member.path.points(np.linspace(low, high, 200))[:, axis]
            raise GeometryError(
                member.id,
                f"has no place at {p.selector} {value:.0f} mm ({where}: {p.text!r}); "
                f"it runs from {reach.min():.0f} to {reach.max():.0f} mm there.",
            )
        return spots[0].station

    def _bend(self, member: Member, p: PlaceText, low: float, high: float, where: str) -> float:
        path = member.path
        bends = [
            (float(path.starts[i]), q) for i, q in enumerate(path.pieces) if isinstance(q, Arc)
        ]
        if p.selector == "bend":
            n = int(p.value)
            if n > len(bends):
                raise GeometryError(
                    member.id, f"has {len(bends)} bends, no bend {n} ({where}: {p.text!r})."
                )
            s, q = bends[n - 1]
            return s + q.length / 2
        here = [(s, q) for s, q in bends if low - 1e-6 <= s + q.length / 2 <= high + 1e-6]
        if not here:
            raise GeometryError(member.id, f"has no bend there ({where}: {p.text!r}).")
        word = p.selector.split()[0]
        axis, sign = {"top": (2, 1), "low": (2, -1), "front": (0, 1), "rear": (0, -1)}[word]
        s, q = max(here, key=lambda b: sign * b[1].point(b[1].length / 2)[axis])
        return s + q.length / 2

    def _moved(self, member: Member, station: float, p: PlaceText, where: str) -> float:
        axis, sign = MOVES[p.move]
        path = member.path
        if axis == 1:
            sign *= 1.0 if path.spot(station).point[1] >= 0 else -1.0
        slope = float(path.spot(station).tangent[axis]) * sign
        if abs(slope) < 0.05:
            raise GeometryError(member.id, f"does not run {p.move} there ({where}: {p.text!r}).")
        out = station + p.distance * (1.0 if slope > 0 else -1.0)
        if not 0 <= out <= path.length:
            raise GeometryError(
                member.id, f"ends before {p.distance:.0f} mm {p.move} ({where}: {p.text!r})."
            )
        return out


def _half(member: Member, side: str) -> tuple[float, float]:
    """Stations between which the member lies on ``side``; the whole tube when it never crosses."""
    path = member.path
    mids = path.crossings((0.0, 0.0, 0.0), (0.0, 1.0, 0.0))
    if not side or len(mids) != 1:
        return 0.0, path.length
    left_first = float(path.start[1]) > 0
    if (side == "left") == left_first:
        return 0.0, mids[0].station
    return mids[0].station, path.length

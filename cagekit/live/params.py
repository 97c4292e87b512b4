"""What can be changed on the page: fields of members, car and people with units and ranges."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import degrees
from typing import TYPE_CHECKING, Any, Literal, get_args, get_origin

from pydantic import BaseModel

from cagekit.inputs.car import Car
from cagekit.inputs.driver import Driver
from cagekit.inputs.messages import unit_of
from cagekit.names import named
from cagekit.units import INCH, parse_length

if TYPE_CHECKING:
    from cagekit.inputs.build import Build
    from cagekit.inputs.entries import MemberEntry
    from cagekit.live.document import Document, Steps

REACH = {"mm": 100.0, "deg": 15.0, "": 1.0}
"""Half of a slider's way where the field has no range of its own (mm, degrees)."""
OPEN = (0.0, 1500.0)
"""Slider of a length that follows from others until it is given, mm."""
LEFT_OUT = ("id", "side", "kind", "tube", "role", "bend_radius")


@dataclass(frozen=True, slots=True, kw_only=True)
class Param:
    """One value that can be changed.

    Args:
        file: ``build``, ``car`` or ``driver N``.
        steps: where in the file it stands.
        owner: what it belongs to, as people read it.
        name: of the field. about: what it means.
        unit: ``mm``, ``in``, ``deg`` or nothing.
        value: number in that unit, truth or text; None while it follows from others.
        low, high: ends of the slider, in that unit.
        choices: words it can be, when it is one of some.
    """

    file: str
    steps: Steps
    owner: str
    name: str
    about: str
    unit: str
    value: Any
    low: float = 0.0
    high: float = 0.0
    choices: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """Its name between page and server."""
        return ".".join((self.file, *map(str, self.steps)))

    def to_json(self) -> dict[str, Any]:
        """As the page takes it."""
        step = {"mm": 0.5, "in": 0.0625, "deg": 0.25}.get(self.unit, 0.01)
        return {
            "key": self.key, "owner": self.owner, "name": self.name.replace("_", " "),
            "about": self.about, "unit": self.unit, "value": self.value, "low": self.low,
            "high": self.high, "step": step, "choices": list(self.choices),
        }  # fmt: skip


def params(build: Build, documents: Mapping[str, Document]) -> tuple[Param, ...]:
    """Every value of the build's members, of the car and of the people."""
    out = list(_members(build))
    out += _leaves("car", "car", documents["car"], Car)
    for n, driver in enumerate(build.drivers):
        out += _leaves(f"driver {n}", driver.name, documents[f"driver {n}"], Driver)
    return tuple(out)


def _members(build: Build) -> Iterator[Param]:
    seen: set[str] = set()
    for entry in build.entries:
        narrow = entry.id in build.file.members
        for name in (entry.group, *((entry.id,) if narrow else ())):
            if name not in seen:
                seen.add(name)
                yield from _fields(entry, name, build.units)


def _fields(entry: MemberEntry, owner: str, units: str) -> Iterator[Param]:
    model = type(entry)
    for name, info in model.model_fields.items():
        if name in LEFT_OUT:
            continue
        key = info.alias or name
        value, unit = getattr(entry, name), unit_of(model, (key,))
        common: dict[str, Any] = {
            "file": "build", "steps": ("members", owner, key), "name": key,
            "owner": named(owner), "about": info.description or "",
        }  # fmt: skip
        if info.annotation is bool:
            yield Param(**common, unit="", value=value, choices=("true", "false"))
        elif get_origin(info.annotation) is Literal:
            yield Param(**common, unit="", value=value, choices=get_args(info.annotation))
        elif unit in ("mm", "deg") and (value is None or isinstance(value, float)):
            yield _number(common, unit, units, value, info.metadata)


def _number(
    common: Mapping[str, Any], unit: str, units: str, value: float | None, metadata: Any
) -> Param:
    """A length (mm) or an angle (rad) in the units of its file, with the field's own range."""
    factor = degrees(1.0) if unit == "deg" else 1 / INCH if units == "in" else 1.0
    scale = factor if unit == "deg" else 1.0
    low, high = OPEN if unit == "mm" else (-90.0, 90.0)
    if value is not None:
        reach = max(REACH[unit], abs(value * scale) / 2)
        low, high = value * scale - reach, value * scale + reach
    for rule in metadata:
        least = getattr(rule, "ge", getattr(rule, "gt", None))
        most = getattr(rule, "le", getattr(rule, "lt", None))
        low = low if least is None else max(low, least * scale)
        high = high if most is None else min(high, most * scale)
    turn = factor / scale
    shown = None if value is None else round(value * factor, 4)
    word = "deg" if unit == "deg" else units
    return Param(**common, unit=word, value=shown, low=round(low * turn, 4),
                 high=round(high * turn, 4))  # fmt: skip


def _leaves(file: str, owner: str, document: Document, model: type[BaseModel]) -> Iterator[Param]:
    """Lengths and angles that stand in a car or driver file."""
    for steps, written in _walk(document.data, ()):
        # both sides are one table in the file, two in the model
        loc = tuple("left" if n == 0 and s == "side" else s for n, s in enumerate(steps))
        try:
            unit = unit_of(model, loc)
        except (KeyError, IndexError, TypeError, AttributeError):
            continue
        if unit not in ("mm", "deg"):
            continue
        units = document.units
        try:
            mm = parse_length(written, default=units) if unit == "mm" else None  # type: ignore[arg-type]
        except ValueError:
            continue
        rad = written / degrees(1.0) if unit == "deg" and not isinstance(written, str) else None
        value = mm if unit == "mm" else rad
        if value is None:
            continue
        names = [f"{s + 1}" if isinstance(s, int) else s.replace("_", " ") for s in steps]
        common: dict[str, Any] = {
            "file": file, "steps": steps, "owner": f"{owner}: {names[0]}",
            "name": " ".join(names[1:] or names), "about": "",
        }  # fmt: skip
        yield _number(common, unit, units, value, ())


def _walk(value: Any, steps: Steps) -> Iterator[tuple[Steps, float | str]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _walk(inner, (*steps, key))
    elif isinstance(value, list):
        for n, inner in enumerate(value):
            yield from _walk(inner, (*steps, n))
    elif isinstance(value, int | float | str) and not isinstance(value, bool) and len(steps) > 1:
        yield steps, value

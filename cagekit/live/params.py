"""What can be changed on the page: fields of members, car and people with units and ranges."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from math import degrees, floor
from typing import TYPE_CHECKING, Any, Literal, get_args, get_origin

from msgspec import UNSET, Struct
from pydantic import BaseModel

from cagekit.inputs.build import spread
from cagekit.inputs.car import Car
from cagekit.inputs.driver import Driver
from cagekit.inputs.messages import (
    description_of,
    may_be_left_out,
    table_and_field,
    unit_of,
)
from cagekit.inputs.plate import SWING_BRACKET, FloorPlateEntry, GussetEntry, TabEntry
from cagekit.inputs.plate_presets import filled_in
from cagekit.inputs.toml_lines import value_at
from cagekit.inputs.usual import AXES, UsualRange, usual_at
from cagekit.names import in_words, named
from cagekit.plates.entries import asked_fields, floor_entry
from cagekit.units import INCH, parse_length
from cagekit.units.tolerance import ROUNDING

if TYPE_CHECKING:
    from cagekit.inputs.build import Build
    from cagekit.inputs.entries import MemberEntry
    from cagekit.inputs.plate import PlateEntry
    from cagekit.live.document import Document, Steps

REACH = {"mm": 100.0, "deg": 15.0, "": 1.0}
"""Half of a slider's way where the field has no range of its own (mm, degrees)."""
OPEN = (0.0, 1500.0)
"""Slider of a length that follows from others until it is given, mm."""
PLANES = {"profile": "yz", "outline": "xz"}
"""Axes of lists of corners that lie in a plane of the car."""
STEPS = {"mm": (0.5, 0.1), "in": (0.0625, 0.015625), "deg": (0.25, 0.25)}
"""Steps of a slider, and those of one that is shorter than forty of the first."""
OMIT = "omit"
LEFT_OUT = ("id", "side", "kind", "tube", "role", "bend_radius", "use")


class Param(Struct, frozen=True, kw_only=True):
    """One value that can be changed.

    Args:
        file: ``build``, ``car`` or ``driver N``.
        steps: where in the file it stands.
        owner: what it belongs to, as people read it.
        place: the table or the file where that stands.
        of: what the tube or plate that it belongs to answers to, where one does.
        name: of the field. about: what it means.
        unit: ``mm``, ``in``, ``deg`` or nothing.
        value: number in that unit, truth or text; None while it follows from others.
        low, high: ends of the slider, in that unit.
        choices: words it can be, when it is one of some.
        said: the field of the file that says it and need not: taken out, something else does. Empty
            where the file does not say it, or has to.
    """

    file: str
    steps: Steps
    owner: str
    place: str
    name: str
    about: str
    unit: str
    value: Any
    of: str = ""
    low: float = 0.0
    high: float = 0.0
    choices: tuple[str, ...] = ()
    said: Steps = ()

    @property
    def key(self) -> str:
        """Its name between page and server."""
        return ".".join((self.file, *map(str, self.steps)))

    def where(self, value: Any) -> Steps:
        """Where its file is changed: of a point nothing is taken out but the whole."""
        return self.said if value is UNSET else self.steps

    @property
    def typed(self) -> str:
        """Table and field, as they stand in the file and in messages."""
        table, field = table_and_field(self.steps)
        return f"[{table}] {field}" if table else field

    @property
    def step(self) -> float:
        """Step of the slider."""
        return _step(self.unit, self.high - self.low)

    def number(self, value: Any) -> float | None:
        """Where the slider stands for a value; None for what is no number."""
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            return None
        if not isinstance(value, str):
            return value
        if self.unit not in ("mm", "in"):
            return None
        try:
            mm = parse_length(value, default=self.unit)  # type: ignore[arg-type]
        except ValueError:
            return None
        return round(mm / INCH if self.unit == "in" else mm, 4)

    def as_in_file(self, value: Any) -> bool:
        """Whether the file says this very value: then nothing is changed by it."""
        if isinstance(value, bool) or self.choices:
            return bool(self.said) and value == self.value
        return (self.file != "build" or bool(self.said)) and self.number(value) == self.value

    def to_json(self) -> dict[str, Any]:
        """As the page takes it."""
        typed = table_and_field(self.steps)[1] if self.file == "build" else self.typed
        return {
            "key": self.key, "owner": self.owner, "place": self.place, "member": self.of,
            "name": self.name.replace("_", " "), "typed": typed,
            "about": self.about, "unit": self.unit, "value": self.value, "low": self.low,
            "high": self.high, "step": self.step, "choices": list(self.choices),
            "said": bool(self.said),
        }  # fmt: skip


def params(build: Build, documents: Mapping[str, Document]) -> tuple[Param, ...]:
    """Every value of the build's members and own plates, of the car and of the people."""
    out = [*_members(build), *_plates(build, documents["build"])]
    out += _leaves("car", "car", documents["car"], Car)
    for n, driver in enumerate(build.drivers):
        out += _leaves(f"driver {n}", driver.name, documents[f"driver {n}"], Driver)
    return tuple(out)


def _members(build: Build) -> Iterator[Param]:
    seen: set[str] = set()
    # a side that says something of its own does not tell what both say
    plain = {e.group: e for e in reversed(build.entries) if e.id not in build.file.members}
    for entry in build.entries:
        narrow = entry.id in build.file.members
        for name in (entry.group, *((entry.id,) if narrow else ())):
            if name not in seen:
                seen.add(name)
                of = plain.get(name, entry) if name == entry.group else entry
                yield from _fields(of, name, build)
    made = {e.id for e in build.entries}
    for entry in spread([*build.layout.member, *build.file.add, *build.file.strut]):
        name = entry.id if entry.id in build.file.members else entry.group
        if entry.id not in made and name not in seen:
            seen.add(name)
            yield from (p for p in _fields(_left_out(entry), name, build) if p.name == OMIT)


def _left_out(entry: MemberEntry) -> MemberEntry:
    """An entry that is not made, whoever says so: all that can be changed is that."""
    return entry.model_copy(update={OMIT: True})


def _fields(entry: MemberEntry, owner: str, build: Build) -> Iterator[Param]:
    model, table = type(entry), build.file.members.get(owner, {})
    # what the files say comes before what follows or is left alone
    said = entry.model_fields_set
    idle = entry.unread(frozenset())
    own = _in_own_entry(owner, build)
    for name, info in sorted(model.model_fields.items(), key=lambda f: f[0] not in said):
        if name in LEFT_OUT or name in idle:
            continue
        key = info.alias or name
        if getattr(entry, name) is None and _in_the_way(entry, name):
            continue
        common: dict[str, Any] = {
            "file": "build", "steps": ("members", owner, key), "name": key,
            "owner": f"{named(owner)} (left out)" if entry.omit else named(owner),
            "place": f"[members.{owner}]", "of": owner, "about": info.description or "",
            "said": ("members", owner, key) if key in table else own.get(name, ()),
        }  # fmt: skip
        yield from _offered(common, entry, name, build.units)


def _plates(build: Build, document: Document) -> Iterator[Param]:
    """Fields of the ``[[plate]]`` tables of the build's own file."""
    for n, written in enumerate(build.file.plate):
        if written.kind == SWING_BRACKET:  # what it does not say hangs on bar, joint and shop
            continue
        entry, idle = _plate_entry(
            build, filled_in(written, document.path, n, document.path.parent)
        )
        table = document.data["plate"][n]
        at = in_words(str(table.get("at", "every foot")))
        owner = (
            f"plate {n + 1}: {named(written.id) if written.id else f'{named(written.kind)}, {at}'}"
        )
        for name, info in sorted(type(entry).model_fields.items(), key=lambda f: f[0] not in table):
            if name in LEFT_OUT or name in idle or (entry.omit and name != OMIT):
                continue
            steps = ("plate", n, name)
            common: dict[str, Any] = {
                "file": "build", "steps": steps, "name": name,
                "owner": f"{owner} (left out)" if entry.omit else owner,
                "place": f"[[plate]] {n + 1}", "of": written.id, "about": info.description or "",
                "said": steps if name in table else (),
            }  # fmt: skip
            yield from _offered(common, entry, name, build.units, usual_at("build", steps))


def _plate_entry(build: Build, entry: PlateEntry) -> tuple[PlateEntry, Collection[str]]:
    """What a table of the file comes to, and which of its fields nothing is made of.

    Under a foot other tables, and what plates are by default, may say the rest.
    """
    if isinstance(entry, FloorPlateEntry):
        names = () if entry.at is None else (entry.at,)
        side = "right" if entry.side == "right" else "left"
        whole = floor_entry(build.plates, names, side, build.units)
        return whole, whole.idle(may_fold="style" not in asked_fields(build.plates, names, side))
    return entry, entry.idle() if isinstance(entry, GussetEntry | TabEntry) else ()


def _offered(
    common: Mapping[str, Any],
    entry: BaseModel,
    name: str,
    units: str,
    usual: UsualRange | None = None,
) -> Iterator[Param]:
    """A field as a truth, a choice, a count or a number; nothing where it is neither."""
    info, value = type(entry).model_fields[name], getattr(entry, name)
    unit = unit_of(type(entry), (info.alias or name,))
    if bool in (info.annotation, *get_args(info.annotation)):
        yield Param(**common, unit="", value=value, choices=("true", "false"))
    elif get_origin(info.annotation) is Literal:
        yield Param(**common, unit="", value=value, choices=get_args(info.annotation))
    elif info.annotation is int:
        least, most = _bounds(info.metadata)
        if least is not None and most is not None:
            counts = tuple(str(n) for n in range(int(least), int(most) + 1))
            yield Param(**common, unit="", value=value, choices=counts)
    elif unit in ("mm", "deg") and (value is None or isinstance(value, float)):
        yield _number(common, unit, units, value, info.metadata, usual)


def _bounds(metadata: Any) -> tuple[float | None, float | None]:
    """The least and the most that a field may be, where it has bounds."""
    least = [getattr(rule, "ge", getattr(rule, "gt", None)) for rule in metadata]
    most = [getattr(rule, "le", getattr(rule, "lt", None)) for rule in metadata]
    first = (next((b for b in row if b is not None), None) for row in (least, most))
    return next(first), next(first)


def _in_own_entry(owner: str, build: Build) -> dict[str, Steps]:
    """Where the build's file has fields that a ``[[strut]]`` or ``[[add]]`` says and need not."""
    found: list[tuple[Steps, MemberEntry]] = []
    for listed in ("add", "strut"):
        for n, entry in enumerate(getattr(build.file, listed)):
            if owner in {name for e in spread([entry]) for name in (e.id, e.group)}:
                found.append(((listed, n), entry))
    if len(found) != 1:  # of many none says it alone
        return {}
    ((where, entry),) = found
    fields = {n: type(entry).model_fields[n] for n in entry.model_fields_set}
    return {n: (*where, f.alias or n) for n, f in fields.items() if not f.is_required()}


def _in_the_way(entry: MemberEntry, name: str) -> bool:
    """Whether a value here would leave one that the files say without use: both are refused."""
    with_it = entry.model_copy(update={name: 1.0})
    return not entry.model_fields_set.isdisjoint(with_it.unread(frozenset()))


def _step(unit: str, span: float) -> float:
    step, fine = STEPS.get(unit, (0.01, 0.01))
    return fine if span < 40 * step else step


def _number(
    common: Mapping[str, Any],
    unit: str,
    units: str,
    value: float | None,
    metadata: Any,
    usual: UsualRange | None = None,
) -> Param:
    """A length (mm) or an angle (rad) in the units of its file, with the field's own range.

    What is usual bounds the slider as well; what is typed it does not bound.
    """
    factor = degrees(1.0) if unit == "deg" else 1 / INCH if units == "in" else 1.0
    scale = factor if unit == "deg" else 1.0
    low, high = OPEN if unit == "mm" else (-90.0, 90.0)
    if value is not None:
        reach = max(REACH[unit], abs(value * scale) / 2)
        low, high = value * scale - reach, value * scale + reach
        if usual:
            low = max(low, min(usual.low, value * scale))
            high = min(high, max(usual.high, value * scale))
    elif usual:
        low, high = usual.low, usual.high
    least, most = _bounds(metadata)
    low = low if least is None else max(low, least * scale)
    high = high if most is None else min(high, most * scale)
    turn = factor / scale
    shown = None if value is None else round(value * factor, 4)
    word = "deg" if unit == "deg" else units
    low, high = low * turn, high * turn
    # a browser counts steps from the lower end
    step, origin = _step(word, high - low), low if shown is None else shown
    low = origin - floor((origin - low) / step + ROUNDING) * step
    high = origin + floor((high - origin) / step + ROUNDING) * step
    return Param(**common, unit=word, value=shown, low=round(low, 4), high=round(high, 4))


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
        names = _names(steps, document.data)
        # each entry of a list of tables is one thing: a seat, a panel
        head = len(steps) > 2 and isinstance(steps[1], int) and isinstance(steps[2], str)
        own = names[: 2 if head else 1] if len(names) > 1 else []
        common: dict[str, Any] = {
            "file": file, "steps": steps, "owner": f"{owner}: {' '.join(own)}" if own else owner,
            "place": document.path.name, "name": " ".join(names[len(own) :]),
            "about": description_of([model], loc), "said": _needless(model, steps, document.data),
        }  # fmt: skip
        yield _number(common, unit, units, value, (), usual_at(file.partition(" ")[0], steps))


def _needless(model: type[BaseModel], steps: Steps, data: Any) -> Steps:
    """The field that a leaf belongs to, a whole point or outline, where the file can do without."""
    field = steps
    while isinstance(field[-1], int):
        field = field[:-1]
    side, *rest = field
    loc = ("left", *rest) if side == "side" else field
    both = value_at(data, ("side", *rest)) is not None and side in ("left", "right")
    return field if both or may_be_left_out(model, loc) else ()


def _names(steps: Steps, data: Any) -> list[str]:
    """The steps in words: numbers of a list from 1, of a point its axes."""
    out = [f"{s + 1}" if isinstance(s, int) else s.replace("_", " ") for s in steps]
    *way, last = steps
    if isinstance(last, int):
        corners = str(way[-2]) if len(way) > 1 and isinstance(way[-1], int) else ""
        axes = AXES if len(value_at(data, tuple(way))) == len(AXES) else PLANES.get(corners, "")
        out[-1] = axes[last] if last < len(axes) else out[-1]
    return out


def _walk(value: Any, steps: Steps) -> Iterator[tuple[Steps, float | str]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _walk(inner, (*steps, key))
    elif isinstance(value, list):
        for n, inner in enumerate(value):
            yield from _walk(inner, (*steps, n))
    elif isinstance(value, int | float | str) and not isinstance(value, bool):
        yield steps, value

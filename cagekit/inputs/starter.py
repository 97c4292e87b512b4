"""A build file to start from: the values of another build, with what each field means."""

from __future__ import annotations

import json
import os
import re
import textwrap
from collections.abc import Iterable, Iterator
from math import degrees
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

import tomli
from pydantic import BaseModel

from cagekit.errors import InputError
from cagekit.inputs.bolted import ClevisEntry, JointEntry, PlugEntry, SleeveEntry
from cagekit.inputs.build import BuildFile
from cagekit.inputs.entries import FreeStrutEntry, MemberEntry, StrutEntry
from cagekit.inputs.fields import file_name
from cagekit.inputs.layout import Layout
from cagekit.inputs.member_kinds import MEMBER_KINDS
from cagekit.inputs.messages import unit_of
from cagekit.inputs.places import AtPoint, OnCar, OnTube, TubeEnd, read_location
from cagekit.inputs.plate import (
    FloorPlateEntry,
    GussetEntry,
    OutriggerBoxEntry,
    PlateEntry,
    TabEntry,
)
from cagekit.inputs.presets import load, read_toml
from cagekit.units import INCH, LengthUnit

SCALARS = ("kind", "name", "description", "units")
"""Fields that explain themselves."""
TABLES = ("tubes", "members", "add", "strut", "plate", "padding", "grind", "joint")
"""Fields that are usually written as tables, which are taken over as they stand."""
LIST_WITH = {
    "car": "cagekit presets cars",
    "drivers": "cagekit presets drivers",
    "layout": "cagekit presets layouts",
    "tube": "cagekit presets tubes",
    "tooling": "cagekit presets tooling",
    "rules": "cagekit presets rules",
}
WIDTH = 96
_PLATES: dict[str, tuple[str, type[PlateEntry]]] = {
    "floor_plate": (
        "A plate under a foot, where it is not to be the usual one; later entries win:",
        FloorPlateEntry,
    ),
    "outrigger_box": (
        "A box of plate from frame or tunnel to the sill, for a foot with nothing below it:",
        OutriggerBoxEntry,
    ),
    "gusset": ("A gusset in the corner that a coped end makes with its parent:", GussetEntry),
    "tab": ("A tab for a belt, a net or a panel:", TabEntry),
}
"""Plates that a build often adds: what stands above each, and the model of its fields."""

_JOINTS: dict[str, tuple[str, type[JointEntry]]] = {
    "sleeve": ("a bolted sleeve", SleeveEntry),
    "clevis": ("a fork and an eye with one bolt", ClevisEntry),
    "plug": ("a tapered plug in a socket with one bolt", PlugEntry),
}
"""Kinds of bolted joints: what each is, and the model of its fields."""


def valid_name(name: str) -> None:
    """Refuse a name that a build, and so its folder and file, cannot have.

    Raises:
        InputError: it is no name of a build.
    """
    if not re.fullmatch(r"[A-Za-z0-9_-]{1,80}", name):
        raise InputError(
            "cagekit new", "NAME", name, problem="cannot be the name of a build.",
            hint="Use letters, digits, - and _.",
        )  # fmt: skip
    try:
        file_name(name)
    except ValueError as error:
        problem, _, hint = str(error).partition("; ")
        raise InputError(
            "cagekit new",
            "NAME",
            name,
            problem=f"{problem}.",
            hint=f"{hint[:1].upper()}{hint[1:]}.",
        ) from None


def starter_text(name: str, origin: Path, file: BuildFile, *, folder: Path) -> str:
    """Return the text of a build file.

    Args:
        name: of the new build.
        origin: file of the build that it starts from.
        file: that build, read.
        folder: where the new file will lie; paths are turned so that they still hold.
    """
    data, raw = read_toml(origin)
    moved = {ref: _moved(ref, origin.parent, folder) for ref in _references(file)}
    values = {**data, "kind": "build", "name": name, "units": file.units}
    layout = load("layout", file.layout, Layout, beside=origin.parent)
    tables = tomli.loads("\n".join(_tables(raw, {})))
    lines = [
        f"# Build file for cagekit, started from {file.name}.",
        "#",
        '# A length is a number in `units` or a text with its own unit: "1 5/8 in", "41.3 mm".',
        f"# Then: cagekit check {name}.toml, and: cagekit make {name}.toml",
        "",
        *_fields({k: v for k, v in values.items() if k not in tables}, moved),
        *_tables(raw, moved),
        *_members(layout, set(file.members), file.units),
        *_strut(file.units),
        *_added(),
        *_joint(file.units),
        *_plates(file.units),
    ]
    return "\n".join(lines).rstrip() + "\n"


def _fields(values: dict[str, Any], moved: dict[str, str]) -> Iterator[str]:
    """Every field that is not a table, with what it means; unused ones as comments."""
    for field, info in BuildFile.model_fields.items():
        if field in TABLES and field not in values:
            continue
        if field not in SCALARS:
            more = f" ({LIST_WITH[field]})" if field in LIST_WITH else ""
            yield ""
            yield from _comment(f"{info.description or field}{more}")
        if field in values:
            yield f"{field} = {_literal(_replaced(values[field], moved))}"
        else:
            yield f"# {field} ="
    yield ""


def _tables(raw: str, moved: dict[str, str]) -> Iterator[str]:
    """The tables of the other build as they stand, comments and all."""
    rows = raw.replace("\r\n", "\n").split("\n")
    first = next((n for n, row in enumerate(rows) if row.lstrip().startswith("[")), len(rows))
    while first > 0 and first < len(rows) and rows[first - 1].startswith("#"):
        first -= 1
    text = "\n".join(rows[first:]).strip()
    for old, new in moved.items():
        text = text.replace(json.dumps(old), json.dumps(new))
    if text:
        yield text
        yield ""


def _members(layout: Layout, changed: set[str], units: LengthUnit) -> Iterator[str]:
    """What can be changed on the layout's members, as comments to take the # off."""
    yield from _comment(
        f"The layout {layout.name} makes these members, in this order. Take off the # of a table's "
        "name and of the fields to change; a name with _left or _right changes that side only; "
        "omit = true leaves a member out, omit = false brings one back."
    )
    seen: set[str] = set()
    for entry in layout.member:
        name = entry.id or str(entry.kind)
        if name not in seen:
            seen.add(name)
            yield "#"
            above = name in changed
            yield f"# [members.{name}] is above; it also takes:" if above else f"# [members.{name}]"
            yield from _options(entry, units)


def _options(entry: MemberEntry, units: LengthUnit) -> Iterator[str]:
    """Fields of one entry with the layout's values."""
    model = type(entry)
    rows = [("omit", _literal(entry.omit), "true leaves it out")]
    own = [f for f in model.model_fields if f not in MemberEntry.model_fields and f != "kind"]
    skipped = set(StrutEntry.model_fields) if model is not FreeStrutEntry else set()
    for field in own:
        if field in skipped and not getattr(entry, field):
            continue
        rows.append(_row(entry, field, units))
    yield from _lines(rows)


def _row(table: BaseModel, field: str, units: LengthUnit) -> tuple[str, str, str]:
    """Name, value as written and words of a field, with what it may be."""
    info = type(table).model_fields[field]
    name = info.alias or field
    value = _as_written(getattr(table, field), unit_of(type(table), (name,)), units)
    about = info.description or ""
    choices = [c for c in _choices(info.annotation) if isinstance(c, str)]
    if choices and any(c not in about for c in choices):
        about = f"{about}: {', '.join(choices)}".removeprefix(": ")
    return name, value, about


def _choices(annotation: Any) -> tuple[Any, ...]:
    """The words that a field may say; none where it is no choice of words."""
    if get_origin(annotation) is Literal:
        return get_args(annotation)
    return next((found for a in get_args(annotation) if (found := _choices(a))), ())


def _lines(rows: Iterable[tuple[str, str, str]]) -> Iterator[str]:
    for name, value, about in rows:
        line = f"# {name} = {value}"
        yield f"{line}  # {about}" if about else line


def _strut(units: LengthUnit) -> Iterator[str]:
    """How a tube is added between any two places."""
    high, low = ("18 in", "5 in") if units == "in" else ("450 mm", "120 mm")
    yield ""
    yield from _comment("A tube of your own between two places, as often as needed:")
    yield "#"
    yield "# [[strut]]"
    yield '# id = "my_strut"'
    yield f'# from = "on main_hoop.left at height {high}"'
    yield f'# to = "on main_hoop.right at height {low}"'


def _added() -> Iterator[str]:
    """How a member that the layout does not have is added."""
    yield ""
    yield from _comment(
        "A member that the layout does not have, in its usual place; it takes the fields that "
        f"`cagekit part KIND --help` tells. Kinds: {', '.join(MEMBER_KINDS)}."
    )
    yield "#"
    yield "# [[add]]"
    yield '# kind = "rocker_brace"'
    yield '# side = "both"'


def _joint(units: LengthUnit) -> Iterator[str]:
    """How a straight tube comes apart, with the defaults of each kind of joint."""
    for kind, (about, model) in _JOINTS.items():
        yield ""
        yield from _comment(f"A straight tube that comes apart at {about}, as often as needed:")
        yield "#"
        yield "# [[joint]]"
        yield f'# kind = "{kind}"'
        entry = model.model_construct(at=read_location("on harness_bar at fraction 0.25"))
        yield from _lines(_row(entry, f, units) for f in model.model_fields if f != "kind")


def _plates(units: LengthUnit) -> Iterator[str]:
    """What can be said about plates, with their defaults."""
    for kind, (about, model) in _PLATES.items():
        yield ""
        yield from _comment(about)
        yield "#"
        yield "# [[plate]]"
        yield f'# kind = "{kind}"'
        fields = (f for f in model.model_fields if f != "kind")
        yield from _lines(_row(model.model_construct(kind=kind), f, units) for f in fields)


def _comment(text: str) -> Iterator[str]:
    yield from textwrap.wrap(text, WIDTH, initial_indent="# ", subsequent_indent="# ")


def _references(file: BuildFile) -> list[str]:
    refs = [file.car, *file.drivers, file.layout, file.tube, file.tooling, *file.rules]
    return [r for r in [*refs, *file.tubes.values()] if "/" in r or r.endswith(".toml")]


def _moved(ref: str, old: Path, new: Path) -> str:
    """A path from ``old`` as seen from ``new``; other paths stay as they are."""
    at = old / ref
    if Path(ref).is_absolute() or ref.startswith("~") or not at.exists():
        return ref
    path = Path(os.path.relpath(at, new)).as_posix()
    return path if "/" in path or path.endswith(".toml") else f"./{path}"


def _replaced(value: Any, moved: dict[str, str]) -> Any:
    if isinstance(value, list):
        return [_replaced(v, moved) for v in value]
    return moved.get(value, value) if isinstance(value, str) else value


def _as_written(value: Any, unit: str, units: LengthUnit) -> str:
    """A value of the model as a file in ``units`` says it; ``...`` where it is left open."""
    if value is None:
        return "..."
    if isinstance(value, OnTube | AtPoint | OnCar | TubeEnd):
        return _literal(str(value))
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_as_written(v, unit, units) for v in value) + "]"
    if unit == "deg":
        return f"{degrees(value):.4g}"
    if unit == "mm":
        return f"{value / INCH:.4g}" if units == "in" else f"{value:.6g}"
    return _literal(value)


def _literal(value: Any) -> str:
    """A TOML literal."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_literal(v) for v in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_literal(k)} = {_literal(v)}" for k, v in value.items()) + " }"
    return repr(value)

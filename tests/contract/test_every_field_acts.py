"""Whatever a file says acts: every field of every model of a file is read by some room."""

from __future__ import annotations

import ast
from importlib import import_module

from msgspec import Struct
from pydantic import BaseModel
from sources import IN_ONE_PROCESS, PACKAGE, trees

from cagekit.car.tapes import tapes

pytestmark = IN_ONE_PROCESS

INPUTS = PACKAGE / "inputs"

READ_BY_INPUTS = {
    ("BuildFile", "strut"): "becomes entries when the build is resolved",
    ("CarSide", "spots"): "become places when the build is resolved",
    ("Tunnel", "half_width_left"): "is read by side, with its twin, where the tunnel is asked",
    ("Tunnel", "half_width_right"): "is read by side, with its twin, where the tunnel is asked",
    ("HoopSection", "half_width_rail"): "is read with its height as the place of the rail",
    ("HoopSection", "height_rail"): "is read with its width as the place of the rail",
    ("Layout", "foot_plate_inch"): "is read with its twin, where a build asks for its foot plate",
    ("PlateEntry", "preset"): "is filled in when the build is resolved",
    ("RowField", "default"): "becomes the default of a field of the entry",
    ("CuttingTable", "lead_in"): "is held against gap and margin when the file is read",
}
"""Fields that act inside `inputs`, by model and name, and how."""

READ_BY_NAME = {
    ("Body", "stature"), ("Body", "head_breadth"), ("Body", "head_circumference"),
    ("MemberRow", "family"),
}  # fmt: skip
"""Fields taken out by their names as strings: body dimensions, which are walked over, and the
family of a kind, which is read of the table itself."""

READ_BY_TABLE = {("SideTapes" if t.side else "Tapes", t.id) for t in tapes()}
"""Tapes, which are read by the names of the table of measurements."""

NOT_YET: dict[tuple[str, str], str] = {}
"""Fields that wait for their use, and what for."""


def _reads(value: object) -> bool:
    """Whether it is a type that a table of a file is read into."""
    if not isinstance(value, type):
        return False
    if issubclass(value, Struct):
        return value.__struct_config__.forbid_unknown_fields
    return issubclass(value, BaseModel)


def models() -> list[type[BaseModel | Struct]]:
    found: dict[type[BaseModel | Struct], None] = {}
    for path in sorted(INPUTS.glob("*.py")):
        module = import_module(f"cagekit.inputs.{path.stem}") if path.stem != "__init__" else None
        for value in vars(module).values() if module else ():
            if _reads(value):
                found[value] = None
    return [m for m in found if m.__module__.startswith("cagekit.inputs.")]


def read_in(*, inputs: bool) -> tuple[set[str], set[str]]:
    """Attributes that the code of ``inputs``, or of all else, reads, and strings that it holds."""
    attributes, strings = set(), set()
    for path, tree in trees().items():
        if (path.parts[0] == "inputs") != inputs:
            continue
        for node in ast.walk(tree):
            if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Load):
                attributes.add(node.attr)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                strings.add(node.value)
    return attributes, strings


def test_every_field_is_read() -> None:
    read, strings = read_in(inputs=False)
    inside, _ = read_in(inputs=True)
    unread = set()
    for model in models():
        fields = model.__struct_fields__ if issubclass(model, Struct) else model.model_fields
        for name in set(fields) & set(vars(model).get("__annotations__", ())):
            field = (model.__name__, name)
            acts = (
                name in read
                or (field in READ_BY_INPUTS and name in inside)
                or (field in READ_BY_NAME and name in strings)
                or field in READ_BY_TABLE
            )
            if not acts:
                unread.add(field)
    assert unread == set(NOT_YET)

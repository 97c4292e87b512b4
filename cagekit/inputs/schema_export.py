"""JSON Schema of each kind of file, so that an editor completes and checks TOML while one types."""

from __future__ import annotations

from copy import deepcopy
from math import degrees
from typing import Any

from cagekit.inputs.presets import model_for

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema_of(kind: str) -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a kind of file.

    The schema describes the file as written: lengths as numbers or texts with a unit, angles in
    degrees, and in a car sheet ``[side]`` for both sides with ``[left]`` and ``[right]`` laid on.
    """
    schema = {"$schema": DIALECT, **model_for(kind).model_json_schema(by_alias=True)}
    schema["title"] = f"cagekit {kind} file"
    _as_written(schema)
    names = schema.get("properties", {})
    if "left" in names and "right" in names and "side" not in names:
        _spread_sides(schema)
    return schema


def _spread_sides(schema: dict[str, Any]) -> None:
    """Allow ``[side]``, and parts of a side in each table, since they lie on top of each other."""
    tables = schema["$defs"]
    partial: dict[str, Any] = {}

    def loosened(value: Any) -> Any:
        """The same schema without required fields, down to the last table."""
        if isinstance(value, dict):
            if "$ref" in value:
                name = value["$ref"].rsplit("/", 1)[-1]
                _loosen(name)
                return {**value, "$ref": f"#/$defs/{name}Part"}
            return {k: loosened(v) for k, v in value.items() if k != "required"}
        return [loosened(v) for v in value] if isinstance(value, list) else value

    def _loosen(name: str) -> None:
        if f"{name}Part" not in partial:
            partial[f"{name}Part"] = {}  # stands while its own tables are walked
            partial[f"{name}Part"] = loosened(deepcopy(tables[name]))

    properties = schema["properties"]
    side = loosened(properties["left"])
    about = {
        "side": "measured values that hold for both sides",
        "left": "what differs on the left",
        "right": "what differs on the right",
    }
    for name, text in about.items():
        properties[name] = {**side, "description": text}
    schema["required"] = [n for n in schema.get("required", []) if n not in ("left", "right")]
    tables.update(partial)


def _as_written(value: Any) -> None:
    """Turn what the model holds in rad and mm into what the file says, degrees and text."""
    if isinstance(value, list):
        for inner in value:
            _as_written(inner)
    if not isinstance(value, dict):
        return
    default = value.get("default")
    if isinstance(default, int | float) and not isinstance(default, bool):
        if _counts(value, "deg"):
            value["default"] = round(degrees(default), 4) + 0.0
        elif _counts(value, "mm"):
            value["default"] = f"{default:g} mm"
    for limit in ("minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum"):
        if value.get("x-unit") == "deg" and limit in value:
            value[limit] = round(degrees(value[limit]), 4) + 0.0
        elif value.get("x-unit") == "mm":
            value.pop(limit, None)
    for inner in value.values():
        _as_written(inner)


def _counts(field: dict[str, Any], unit: str) -> bool:
    """Whether a field, or a choice of it, is counted in ``unit``."""
    return any(f.get("x-unit") == unit for f in (field, *field.get("anyOf", ())))

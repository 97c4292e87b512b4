"""The chapter of files: every field of what people write, read off the schemas."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from cagekit.guide.markdown import cell, table
from cagekit.inputs.presets import FOLDERS
from cagekit.inputs.schema_export import schema_of
from cagekit.make.products import PRODUCTS

HEAD = """# Files

Every field of every file that people write, made from the schemas that read them. A **length** is
a number in the file's `units` or a text with a unit of its own (`1 5/8 in`, `41.3 mm`), an
**angle** a number of degrees. A field without a default has to be there. What is misspelt or cannot
be is told with file, line and what would do.

Presets are looked for as a path, in `./presets`, in your own settings folder, and among those that
come with the package; `cagekit show NAME` prints one.
"""

TITLES: Mapping[str, str] = {
    "build": "Build",
    "car": "Car sheet",
    "driver": "Driver sheet",
    "tube": "Tube",
    "tooling": "Tooling",
    "layout": "Layout",
    "rules": "Rulebook",
    "plate": "Plate preset",
    "loads": "Load cases",
}


def page() -> Iterator[str]:
    """The page's Markdown."""
    yield HEAD
    told: dict[str, str] = {}
    for kind in FOLDERS:
        schema = schema_of(kind)
        yield f"\n(file-{kind})=\n## {TITLES[kind]}\n"
        yield f'\n{_said(schema)} It begins with `kind = "{kind}"`.\n\n'
        defs: Mapping[str, Any] = schema.get("$defs", {})
        tables = {n: t for n, t in defs.items() if "properties" in t and not _part(n, defs)}
        for name in tables:
            told.setdefault(name, f"{kind}-{name}".lower())
        yield _fields(schema, told, defs)
        for name, inner in tables.items():
            if told[name] == f"{kind}-{name}".lower():
                yield f"\n({told[name]})=\n### {_title(inner, name)}\n\n"
                if _title(inner, name).startswith("`"):
                    yield f"{_said(inner)}\n\n"
                yield _fields(inner, told, defs)
    yield "\n## What `make` writes\n\n"
    yield table(("Product", "What it is"), ((f"`{p.name}`", cell(p.about)) for p in PRODUCTS))


def _part(name: str, defs: Mapping[str, Any]) -> bool:
    """Whether a table is another's with nothing required: told by the whole one."""
    return name.endswith("Part") and name.removesuffix("Part") in defs


def _said(schema: Mapping[str, Any]) -> str:
    return cell(str(schema.get("description", "")).partition("\n\n")[0].replace("``", "`"))


def _title(schema: Mapping[str, Any], name: str) -> str:
    """The kind that begins its entry, or what it is in a line."""
    kind = schema.get("properties", {}).get("kind", {}).get("const")
    if kind:
        return f"`{kind}`"
    said = _said(schema).partition(". ")[0].rstrip(".")
    return said or name


def _fields(schema: Mapping[str, Any], told: Mapping[str, str], defs: Mapping[str, Any]) -> str:
    required = schema.get("required", ())
    rows = []
    for name, field in schema["properties"].items():
        default = "" if name in required else _default(field)
        about = cell(str(field.get("description", "")).replace("``", "`"))
        rows.append((f"`{name}`", _type(field, told, defs), default, about))
    return table(("Field", "Type", "Default", "What it is"), rows)


def _default(field: Mapping[str, Any]) -> str:
    value = field.get("default")
    if value is None or value == "":
        return "none"
    if value == [] or value == {}:
        return "empty"
    if isinstance(value, bool):
        return f"`{str(value).lower()}`"
    if isinstance(value, dict):
        return "its own"
    return f"`{value}`" if not isinstance(value, str) else f'`"{value}"`'


def _type(field: Mapping[str, Any], told: Mapping[str, str], defs: Mapping[str, Any]) -> str:
    """What a field may hold, in words."""
    unit = {"mm": "length", "deg": "angle"}.get(field.get("x-unit", ""))
    if unit:
        return unit
    if "$ref" in field:
        return _named(field["$ref"].rsplit("/", 1)[-1], told, defs)
    if "const" in field:
        return f"`{field['const']}`"
    if "enum" in field:
        return ", ".join(f"`{v}`" for v in field["enum"] if v != "")
    for choice in ("anyOf", "oneOf", "allOf"):
        if choice in field:
            words = [_type(f, told, defs) for f in field[choice] if f.get("type") != "null"]
            return " or ".join(dict.fromkeys(words))
    if field.get("type") == "array":
        if "prefixItems" in field:
            inner = dict.fromkeys(_type(f, told, defs) for f in field["prefixItems"])
            return f"{len(field['prefixItems'])} of {' or '.join(inner)}"
        return f"list of {_type(field.get('items', {}), told, defs)}"
    if field.get("type") == "object":
        more = field.get("additionalProperties")
        if not isinstance(more, dict):
            return "table"
        held = _type(more, told, defs)
        return "tables by name" if held == "table" else f"table of {held} by name"
    words_of = {
        "string": "text",
        "number": "number",
        "integer": "whole number",
        "boolean": "yes or no",
    }
    return words_of.get(str(field.get("type")), "any value")


def _named(name: str, told: Mapping[str, str], defs: Mapping[str, Any]) -> str:
    whole = name.removesuffix("Part") if _part(name, defs) else name
    inner = defs.get(whole, {})
    if "enum" in inner:
        return ", ".join(f"`{v}`" for v in inner["enum"])
    return f"[{_title(inner, whole)}](#{told[whole]})" if whole in told else whole

"""What is wrong in a file that a person wrote, in words: file, line, table, field, cure.

Every message reads ``file:line [table] field = value: what is wrong. What would do.`` and a file
tells all that is wrong with it at once, one line each.
"""

from __future__ import annotations

import math
import types
import typing
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from msgspec import Struct
from msgspec.structs import replace

from cagekit.errors import CagekitError, InputError
from cagekit.hints import MOST_LISTED, closest, did_you_mean
from cagekit.inputs.toml_lines import TomlKey, line_map, line_of, value_at
from cagekit.units import lengths_in
from cagekit.units.lengths import OtherUnitsError

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError

_WORDS = {
    "string_type": "must be a text in quotes.",
    "bool_type": "must be true or false.",
    "bool_parsing": "must be true or false.",
    "int_type": "must be a whole number.",
    "int_parsing": "must be a whole number.",
    "int_from_float": "must be a whole number.",
    "float_type": "must be a number.",
    "float_parsing": "must be a number without quotes.",
    "finite_number": "must be a finite number.",
    "tuple_type": "must be a list in [ ].",
    "list_type": "must be a list in [ ].",
    "dict_type": "must be a table.",
    "model_type": "must be a table.",
    "model_attributes_type": "must be a table.",
}


MOST_TOLD = 40
"""Faults of one file that its message tells; more have one cause."""
MOST_READ = 200
"""Faults of one file that are put into words."""


class Problem(Struct, frozen=True, kw_only=True):
    """One thing that is wrong in a file.

    ``other_units`` tells that a number was meant in other units than the file's, by all likelihood.
    """

    file: str
    line: int | None = None
    table: str = ""
    field: str = ""
    value: Any = None
    problem: str
    hint: str = ""
    other_units: bool = False

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else self.file
        table = f" [{self.table}]" if self.table else ""
        shown = f" = {shorten(self.value)}" if self.value is not None else ""
        what = f" {self.field}{shown}" if self.field else ""
        hint = f" {self.hint}" if self.hint else ""
        return f"{place}{table}{what}: {self.problem}{hint}"


class FileInputError(InputError):
    """All that is wrong with one file; ``problems`` holds them, the message one line each."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        first = problems[0]
        where = f"{first.file}:{first.line}" if first.line else first.file
        super().__init__(
            f"{where} [{first.table}]" if first.table else where,
            first.field,
            first.value,
            problem=first.problem,
            hint=first.hint,
        )
        self.problems = tuple(problems)
        told = [str(p) for p in problems[:MOST_TOLD]]
        if len(problems) > MOST_TOLD:
            told.append(f"{first.file}: and {len(problems) - MOST_TOLD} more like these.")
        self.args = ("\n".join(told),)


def faults(
    file: str, text: str, found: Iterable[tuple[TomlKey, str]], *, hint: str = ""
) -> FileInputError:
    """All that was found wrong in a file, each with its line, table and field.

    Args:
        file: as messages name it.
        text: of the file.
        found: key and what is wrong with it.
        hint: what would do, the same for all.
    """
    lines = line_map(text)
    problems = []
    for key, problem in found:
        table, field = table_and_field(key)
        line = line_of(lines, key)
        problems.append(
            Problem(file=file, line=line, table=table, field=field, problem=problem, hint=hint)
        )
    return FileInputError(problems)


def problem_and_cure(why: str) -> tuple[str, str]:
    """What is wrong, as a sentence, and what would do, of a text that says both in a row."""
    problem, _, cure = why.partition(". ")
    return f"{problem}.", cure


def shorten(value: Any, limit: int = 60) -> str:
    """Return ``value`` as a file would show it, cut to ``limit`` characters."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = '"' + "".join(map(_shown, value)) + '"'
    elif isinstance(value, Mapping):
        text = "{" + ", ".join(map(str, value)) + "}"
    elif isinstance(value, list) and any(isinstance(v, Mapping) for v in value):
        text = f"{len(value)} tables"
    else:
        text = str(value)
    return text if len(text) <= limit else text[: limit - 3] + "..."


def _shown(letter: str) -> str:
    """A letter as it is; a sign that a screen would obey, and what a text writes so, escaped."""
    if letter.isprintable() and letter != "\\":
        return letter
    return letter.encode("unicode_escape").decode()


def problems_of(
    error: ValidationError,
    model: type[BaseModel] | Sequence[type[BaseModel]],
    data: Mapping[str, Any],
    *,
    file: str,
    lines: dict[TomlKey, int],
    within: TomlKey = (),
) -> list[Problem]:
    """Turn what pydantic found in ``data`` into messages with lines, without repeats.

    Args:
        error: what pydantic found.
        model: what ``data`` should be, or the kinds of table that it may be.
        data: the file, or one table of it.
        file: name of the file.
        lines: line of every key of the file.
        within: key of the table that ``data`` is, when it is not the whole file.
    """
    here = {k[len(within) :]: n for k, n in lines.items() if k[: len(within)] == within}
    models = [model] if isinstance(model, type) else list(model)
    found: dict[str, Problem] = {}
    rows = error.errors(include_url=False)[:MOST_READ]
    if not within and data.get("units", "mm") not in ("mm", "in"):
        # no number could be read: what is said of them would be about the wrong units
        rows = [row for row in rows if row["type"] != "value_error"]
    faulty = {tuple(r["loc"][:n]) for r in rows for n in range(len(r["loc"]))}
    for row in rows:
        if row["type"] == "too_short" and tuple(row["loc"]) in faulty:
            continue  # entries with faults of their own are not counted
        problem = _problem(row, models, data, file, here)
        if within:
            table = ".".join(t for t in (_dotted(within), problem.table) if t)
            problem = replace(problem, table=table, line=problem.line if lines else None)
        found.setdefault(str(problem), problem)
    told = sorted(found.values(), key=lambda p: p.line or 0)
    return told if within else one_for_units(told, data, lines)


MANY_SLIPS = 5
"""So many numbers in other units are one slip: the file's `units`."""


def one_for_units(
    found: Sequence[Problem], data: Mapping[str, Any], lines: dict[TomlKey, int]
) -> list[Problem]:
    """What is wrong with a file, in a line where all of it comes from the wrong ``units``.

    Args:
        found: all that is wrong with it.
        data: the file.
        lines: line of every key of the file.
    """
    slips = [p for p in found if p.other_units]
    units = data.get("units", "mm")
    if len(slips) < MANY_SLIPS or units not in ("mm", "in"):
        return list(found)
    one, said = slips[0], "units" in data
    here, other, meant = ("mm", "inches", "in") if units == "mm" else ("inches", "mm", "mm")
    where = f"line {one.line}, {one.field} = {shorten(one.value)}"
    what = f"{len(slips)} lengths of this file cannot be {here} ({where})."
    return [
        Problem(
            file=one.file,
            line=line_of(lines, ("units",)) if said else 1,
            field="units",
            value=units if said else None,
            problem=what if said else f"is missing, which means mm, and {what}",
            hint=f'Is it a file in {other}? Write units = "{meant}".',
        )
    ]


def _problem(
    row: Any,
    model: Sequence[type[BaseModel]],
    data: Mapping[str, Any],
    file: str,
    lines: dict[TomlKey, int],
) -> Problem:
    loc: TomlKey = tuple(row["loc"])
    kind = row["type"]
    key = _in_file(loc, data)
    if kind == "missing" and loc:
        key = (*_in_file(loc[:-1], data), loc[-1])
    key = _refined(key, row, data)
    absent = kind == "missing" or not key
    words, hint = _words(row, model, loc)
    if _of_table(row) is not None and data.get("units") == "in":
        words = lengths_in(words, "in")
    table, field = table_and_field(
        key, whole=not absent and isinstance(value_at(data, key), Mapping)
    )
    value = None if absent else value_at(data, key)
    return Problem(
        file=file,
        line=line_of(lines, key) or lines.get((), 1),
        table=table,
        field=field,
        value=None if isinstance(value, Mapping) else value,
        problem=words,
        hint=hint,
        other_units=isinstance(row.get("ctx", {}).get("error"), OtherUnitsError),
    )


def _of_table(row: Any) -> InputError | None:
    """What a validator of a whole table found wrong with one of its fields."""
    inner = row.get("ctx", {}).get("error")
    return inner if isinstance(inner, InputError) and inner.field else None


def _refined(key: TomlKey, row: Any, data: Mapping[str, Any]) -> TomlKey:
    """The field of a table that a validator of the whole table names, e.g. ``rule.3.code``."""
    inner = _of_table(row)
    if inner is None:
        return key
    steps = tuple(int(s) if s.isdigit() else s for s in inner.field.split("."))
    return _in_file((*key, *steps), data)


def _words(row: Any, model: Sequence[type[BaseModel]], loc: TomlKey) -> tuple[str, str]:
    """What is wrong and what would do."""
    kind, ctx = row["type"], row.get("ctx", {})
    if kind == "missing":
        return "is missing.", _described(model, loc)
    if kind == "extra_forbidden":
        return "is not a field here.", did_you_mean(str(loc[-1]), _fields(model, loc[:-1]))
    if kind in ("literal_error", "enum"):
        return "is not one of the choices.", f"Allowed: {ctx['expected']}."
    if kind == "too_short":
        return f"needs at least {ctx['min_length']} entries, has {ctx['actual_length']}.", ""
    if kind == "too_long":
        return f"takes at most {ctx['max_length']} entries.", ""
    bounds = {
        "greater_than": "above",
        "greater_than_equal": "at least",
        "less_than": "below",
        "less_than_equal": "at most",
    }
    if kind == "string_too_long":
        return f"takes at most {ctx['max_length']} letters.", ""
    if kind == "string_too_short":
        return "must not be empty.", ""
    if kind == "string_pattern_mismatch" and row["input"] == "":
        return "must not be empty.", _described(model, loc)
    if kind == "string_pattern_mismatch":
        return "cannot be a name here.", _described(model, loc)
    if kind in bounds:
        limit = next(iter(ctx.values()))
        said = _limit(limit, model, loc, most=kind in ("less_than", "less_than_equal"))
        return f"must be {bounds[kind]} {said}.", _described(model, loc)
    if kind == "union_tag_invalid":
        tags = [t.strip("' ") for t in str(ctx["expected_tags"]).split(",")]
        field = str(ctx["discriminator"]).strip("'")
        return f"{field} {shorten(ctx['tag'])} is not known.", did_you_mean(str(ctx["tag"]), tags)
    if kind == "union_tag_not_found":
        field = str(ctx["discriminator"]).strip("'")
        near = [k for k in closest(field, row["input"]) if k not in _fields(model, loc)]
        kinds = {str(tag) for one in _models(model, loc) for tag in _tags(one)}
        hint = f"Is {near[0]!r} meant for it?" if near else _choices(kinds)
        return f"{field} is missing.", hint
    inner = ctx.get("error")
    if isinstance(inner, CagekitError):
        problem, hint = getattr(inner, "problem", str(inner)), getattr(inner, "hint", "")
        return _sentence(problem), hint
    if inner is not None:
        return _sentence(str(inner)), ""
    return _WORDS.get(kind, _sentence(str(row["msg"]))), _described(model, loc)


def _choices(words: Iterable[str]) -> str:
    """What may stand there, the first of it where there is much."""
    known = sorted(words)
    shown = ", ".join(known[:MOST_LISTED])
    more = " and more" if len(known) > MOST_LISTED else ""
    return f"Allowed: {shown}{more}." if known else ""


def _sentence(text: str) -> str:
    text = text.strip()
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _in_file(loc: TomlKey, data: Mapping[str, Any]) -> TomlKey:
    """Find where ``loc`` stands in the file.

    Names that pydantic adds for unions are skipped; ``left`` and ``right`` may have been spread
    from ``side``.
    """
    asked = [loc]
    if loc and loc[0] in ("left", "right"):
        asked.append(("side", *loc[1:]))
    return max((_walk(a, data) for a in asked), key=len)


def _walk(loc: TomlKey, data: Any) -> TomlKey:
    key: list[str | int] = []
    for step in loc:
        if isinstance(data, Mapping) and step in data:
            data = data[str(step)]
        elif isinstance(data, list) and isinstance(step, int) and step < len(data):
            data = data[step]
        else:
            continue
        key.append(step)
    return tuple(key)


def table_and_field(key: TomlKey, *, whole: bool = False) -> tuple[str, str]:
    """Split into the table's name and the field, as a person sees them in the file."""
    if whole:
        return _dotted(key), ""
    last = len(key) - 1
    while last > 0 and isinstance(key[last], int):
        last -= 1
    return _dotted(key[:last]), _dotted(key[last:])


def _dotted(key: TomlKey) -> str:
    text = ""
    for step in key:
        text += f" entry {step + 1}" if isinstance(step, int) else f"{'.' if text else ''}{step}"
    return text


def _described(model: Sequence[type[BaseModel]], loc: TomlKey) -> str:
    """The description of the field at ``loc`` in brackets, if the schema has one."""
    said = description_of(model, loc) if loc and isinstance(loc[-1], str) else ""
    return f"({said})" if said else ""


def description_of(model: Sequence[type[BaseModel]], loc: TomlKey) -> str:
    """Return what the schema says of the field at ``loc``; nothing where it is silent."""
    names = [n for n in loc if isinstance(n, str)]
    for owner in _models(model, tuple(names[:-1])):
        for name, info in owner.model_fields.items():
            if names and (info.alias or name) == names[-1] and info.description:
                return info.description
    return ""


def _limit(limit: float, model: Sequence[type[BaseModel]], loc: TomlKey, *, most: bool) -> str:
    """A limit as the file counts it: angles in degrees, lengths with their unit.

    What is told will do: a hundredth of a degree is rounded to the side that is allowed.
    """
    unit = unit_of(model, loc)
    if unit == "deg":
        hundredths = round(100 * math.degrees(limit), 6)
        whole = math.floor(hundredths) if most else math.ceil(hundredths)
        return f"{whole / 100:g} degrees"
    return f"{limit:g} mm" if unit == "mm" and limit else f"{limit:g}"


def unit_of(model: type[BaseModel] | Sequence[type[BaseModel]], loc: TomlKey) -> str:
    """Return ``"mm"`` for a length, ``"deg"`` for an angle, ``"kg"`` for a mass, else ``""``."""
    from cagekit.inputs.fields import ReadBy

    names = [n for n in loc if isinstance(n, str)]
    models = [model] if isinstance(model, type) else model
    for owner in _models(models, tuple(names[:-1])):
        for name, info in owner.model_fields.items():
            if names and (info.alias or name) == names[-1]:
                marks = [*info.metadata, *_metadata(info.annotation)]
                return next((m.unit for m in marks if isinstance(m, ReadBy)), "")
    return ""


def may_be_left_out(model: type[BaseModel], loc: TomlKey) -> bool:
    """Whether a file is whole without the field at ``loc``; not where no model knows it."""
    names = [n for n in loc if isinstance(n, str)]
    found = [
        info
        for owner in _models([model], tuple(names[:-1]))
        for name, info in owner.model_fields.items()
        if names and (info.alias or name) == names[-1]
    ]
    return bool(found) and not any(info.is_required() for info in found)


def _metadata(annotation: Any) -> list[Any]:
    """What the annotations inside a type such as ``Length | None`` carry."""
    found = list(getattr(annotation, "__metadata__", ()))
    for part in typing.get_args(annotation):
        found += _metadata(part)
    return found


def _fields(model: Sequence[type[BaseModel]], loc: TomlKey) -> list[str]:
    """Names of the fields allowed in the table at ``loc``."""
    names = [i.alias or n for m in _models(model, loc) for n, i in m.model_fields.items()]
    return [*names, "side"] if "left" in names and "right" in names else names


def _models(model: Sequence[type[BaseModel]], loc: TomlKey) -> list[type[BaseModel]]:
    """Every model that the table at ``loc`` may be."""
    here = list(model)
    for step in loc:
        if isinstance(step, int):
            continue
        found: list[type[BaseModel]] = []
        for owner in here:
            for name, info in owner.model_fields.items():
                if (info.alias or name) == step:
                    found += models_in(info.annotation, *info.metadata)
        # a step that is no field is a key of a free table, or the tag that chose a kind of table
        here = found or [m for m in here if step in _tags(m)] or here
    return here


def _tags(model: type[BaseModel]) -> tuple[Any, ...]:
    kind = model.model_fields.get("kind")
    return typing.get_args(kind.annotation) if kind else ()


def models_in(*parts: Any) -> list[type[BaseModel]]:
    """Every model that occurs in a type such as ``tuple[Seat, ...] | None``.

    Args:
        *parts: of a type; of a field its annotation and what was said beside it, where a choice by
            kind may stand.
    """
    from pydantic import BaseModel

    from cagekit.inputs.fields import ByKind

    by_kind = next((p for p in parts if isinstance(p, ByKind)), None)
    if by_kind is not None:
        return list(by_kind.models.values())
    found: list[type[BaseModel]] = []
    for part in parts:
        if not isinstance(part, type) or isinstance(part, types.GenericAlias):
            found += models_in(*typing.get_args(part))
        elif issubclass(part, BaseModel):
            found.append(part)
    return found

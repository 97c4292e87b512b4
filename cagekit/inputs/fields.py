"""Field types of the files that people write: lengths, angles, masses, points.

A length is a number in the file's ``units`` (``mm`` unless the file says ``in``) or a text with
its own unit, e.g. ``"1 5/8 in"``; inside it is always a float in mm.
"""

import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from functools import partial
from importlib import import_module
from math import degrees, radians
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    ValidationInfo,
)
from pydantic_core import CoreSchema, core_schema

from cagekit.errors import NotFoundError
from cagekit.materials.steels import steel
from cagekit.names import plate_at_end
from cagekit.units import parse_length
from cagekit.units.lengths import OtherUnitsError
from cagekit.units.masses import parse_mass

LONGEST_NAME = 80
"""Letters of a name that files are named by; systems take some 250 with what is put round it."""
LONGEST = 15_000.0
"""No length on a car or in a shop is longer than this, mm."""
SHORTEST_DIRECTION = 1e-3
"""Length of a direction, whatever its unit, below which it points nowhere."""


def check_length(value: Any, info: ValidationInfo) -> float:
    """Read a length in the units that the validation's context names; mm.

    Raises:
        ValueError: it is no length, or none on a car or in a shop.
    """
    context = info.context if isinstance(info.context, Mapping) else {}
    length = parse_length(value, default=context.get("units", "mm"))
    if abs(length) > LONGEST:
        problem = f"{length / 1000:.5g} m is no length on a car or in a shop; check units"
        raise OtherUnitsError(str(value), problem)
    return length


def check_angle(value: Any) -> float:
    """Read an angle in degrees; rad.

    Raises:
        ValueError: it is no number of degrees within a full turn.
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError("an angle is a number of degrees")
    if abs(value) > 360:
        raise ValueError("an angle lies within a full turn, -360 to 360 degrees")
    return radians(float(value))


def check_mass(value: Any) -> float:
    """Read a mass: text with kg or lb, or a number of kg; kg.

    Raises:
        ValueError: it is no mass.
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError("a mass is a number of kg or a text such as '74 kg' or '163 lb'")
    return parse_mass(value)


def written_length(mm: Any) -> Any:
    """A length as a file may have it, whatever its units: ``"41.3 mm"``."""
    # repr is the shortest text that reads back as the same number; lengths have no exponents
    return f"{Decimal(repr(mm)):f} mm" if isinstance(mm, float) else mm


def written_angle(rad: Any) -> Any:
    """An angle as a file has it, in degrees: the number that reads back as the same."""
    if not isinstance(rad, float):
        return rad
    exact = degrees(rad)
    tries = (round(exact, n) for n in range(16))
    return next((d for d in tries if radians(d) == rad), exact)


def _known_steel(value: str) -> str:
    try:
        steel(value)
    except NotFoundError as error:
        raise ValueError(str(error)) from None
    return value


RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])", re.IGNORECASE)
"""Names that no file and no folder has on Windows. Source: Microsoft, "Naming Files, Paths, and
Namespaces" (from memory)."""


def file_name(value: str) -> str:
    """A name that files or folders get: the same on every system.

    Raises:
        ValueError: some system keeps it for a device.
    """
    if RESERVED.fullmatch(value):
        raise ValueError(
            f"no file can be called that on Windows, where it is a device; add to it, e.g. "
            f"{value + '_1'!r}"
        )
    return value


FileName = Annotated[
    str, Field(pattern=r"^[A-Za-z0-9_-]+$", max_length=LONGEST_NAME), AfterValidator(file_name)
]
"""Name that people give to what files and folders are called by."""
Name = Annotated[str, Field(pattern=r"\S")]
"""Any name that is one: what messages and papers call it."""


def _own_name(value: str) -> str:
    file_name(value)
    found = plate_at_end(value)
    if found:
        kind, tube, end, _ = found
        raise ValueError(
            f"that is what the {kind} plate at end {end.upper()} of a tube {tube!r} is called; "
            f"end it otherwise, e.g. {value.rpartition('_')[0] + '_1'!r}"
        )
    return value


OwnName = Annotated[
    str,
    Field(pattern=r"^([a-z][a-z0-9]*(_[a-z0-9]+)*)?$", max_length=LONGEST_NAME),
    AfterValidator(_own_name),
]
"""Name that people give to a tube or a plate: of their own, not of the shape of a plate's."""

SteelKey = Annotated[str, AfterValidator(_known_steel)]
"""Key of a steel in the table."""


class ReadBy:
    """How a field is read and written, said once and not worked out anew at each field.

    pydantic reads signatures and types of a validator and a serializer wherever a type stands that
    names them; the files have several hundred lengths.

    Args:
        schema: what reads it; one without a ``schema`` of its own reads all by itself.
        write: what writes it in a dump; None where the schema tells it already.
        json: its JSON Schema.
        returns: what a written value is.
        when: whether nothing is written too.
        unit: ``mm`` for a length, ``deg`` for an angle, ``kg`` for a mass.
    """

    def __init__(
        self,
        schema: CoreSchema,
        write: Callable[[Any], Any] | None,
        *,
        json: Mapping[str, Any],
        returns: CoreSchema | None = None,
        when: Literal["always", "unless-none"] = "always",
        unit: Literal["", "mm", "deg", "kg"] = "",
    ) -> None:
        self.unit = unit
        self._json = json
        self._schema: dict[str, Any] = {**schema}
        if write is not None:
            back = returns or core_schema.any_schema()
            self._schema["serialization"] = core_schema.plain_serializer_function_ser_schema(
                write, info_arg=False, return_schema=back, when_used=when
            )

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """A copy, as pydantic writes into it, round what the field asks of the value itself."""
        inner = {"schema": handler(source)} if "schema" in self._schema else {}
        return {**self._schema, **inner}

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """What was said of it."""
        return {**self._json}


_LENGTH_JSON = {
    "anyOf": [{"type": "number"}, {"type": "string"}],
    "description": "a length: number in the file's units, or text such as '1 5/8 in' or '41.3 mm'",
    "x-unit": "mm",
}

_FLOAT = core_schema.float_schema(strict=True)
_LENGTH = core_schema.with_info_before_validator_function(
    check_length,
    _FLOAT,
    serialization=core_schema.plain_serializer_function_ser_schema(
        written_length, return_schema=core_schema.any_schema()
    ),
)


def _lengths(count: int) -> ReadBy:
    """How so many lengths in a row are read: all of them are worked out here, once."""
    return ReadBy(
        core_schema.tuple_schema([_LENGTH] * count),
        None,
        json={
            "type": "array",
            "prefixItems": [_LENGTH_JSON] * count,
            "minItems": count,
            "maxItems": count,
        },
        unit="mm",
    )


Length = Annotated[float, ReadBy(_LENGTH, None, json=_LENGTH_JSON, unit="mm")]
"""A length; mm inside, text with its unit in a dump."""
Angle = Annotated[
    float,
    ReadBy(
        core_schema.no_info_before_validator_function(check_angle, _FLOAT),
        written_angle,
        json={"type": "number", "description": "an angle in degrees", "x-unit": "deg"},
        unit="deg",
    ),
]
"""An angle; written and dumped in degrees, rad inside."""
Mass = Annotated[
    float,
    ReadBy(
        core_schema.no_info_before_validator_function(check_mass, _FLOAT),
        lambda kg: f"{kg!r} kg" if isinstance(kg, float) else kg,
        json={
            "anyOf": [{"type": "number"}, {"type": "string"}],
            "description": "a mass: number of kg, or text such as '74 kg' or '163 lb'",
            "x-unit": "kg",
        },
        unit="kg",
    ),
]
"""A mass; kg inside, text with its unit in a dump."""
LengthPair = Annotated[tuple[float, float], _lengths(2)]
"""Two lengths; mm inside."""
Point = Annotated[tuple[float, float, float], _lengths(3)]
"""A point (x, y, z) in vehicle axes; mm inside."""
EntrySide = Literal["left", "right", "both", "centre"]
"""Side of an entry; ``both`` makes one on each."""


class FileModel(BaseModel):
    """Base of every table in a file: unknown fields are errors, values do not change.

    A dump is a table as a person could have written it: what it holds reads back as the same.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, defer_build=True)

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Take no text for a number and no number for a yes: what is typed is what is meant."""
        schema = handler(source)
        _be_strict(schema, cls)
        return schema


_NO_SCHEMA = frozenset({"config", "default", "function", "metadata", "serialization"})
"""What a schema says that holds no other schema of something that is read."""
_NO_NUMBERS = ("str", "literal", "any")
"""Schemas that hold no other."""
_HOLDERS = (dict, list, tuple)
"""What may hold a schema; no union, which is made anew at each of the many looks."""


def _be_strict(schema: Any, model: type[FileModel]) -> None:
    """Make all that a model's schema reads strict, but for tables in it that are so already."""
    left = [schema]
    while left:
        one = left.pop()
        if not isinstance(one, dict):
            left += [inner for inner in one if isinstance(inner, _HOLDERS)]
            continue
        kind = one.get("type")
        if kind in ("int", "float", "bool"):
            one["strict"] = True
        elif kind not in _NO_NUMBERS and (kind != "model" or one["cls"] is model):
            inside = [inner for inner in one.items() if isinstance(inner[1], _HOLDERS)]
            left += [inner for key, inner in inside if key not in _NO_SCHEMA]


class ByKind:
    """How a table is read that says by its ``kind`` which model it is.

    What reads a model is made when a table of its kind is first read: a build has a dozen of the
    fifty kinds of member, and making all of them takes longer than reading the files.

    Args:
        models: the model of each kind, or ``module:name`` of one that few files ask for, in the
            order in which they are listed.
    """

    def __init__(self, models: Mapping[str, type[FileModel] | str]) -> None:
        self._models = models

    @property
    def models(self) -> Mapping[str, type[FileModel]]:
        """Every model by its kind."""
        return {kind: self._model(kind) for kind in self._models}

    def _model(self, kind: str) -> type[FileModel]:
        named = self._models[kind]
        if not isinstance(named, str):
            return named
        module, _, name = named.partition(":")
        model: type[FileModel] = getattr(import_module(module), name)
        return model

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """A choice by kind whose choices read with the model's own reader."""
        choices: dict[Any, CoreSchema] = {
            kind: core_schema.with_info_plain_validator_function(partial(self._read, kind))
            for kind in self._models
        }
        return core_schema.tagged_union_schema(
            choices, discriminator="kind", serialization=core_schema.simple_ser_schema("any")
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """The schema with every model's own in it."""
        models = self.models
        for model in models.values():
            model.model_rebuild()
        whole = {kind: model.__pydantic_core_schema__ for kind, model in models.items()}
        return handler(core_schema.tagged_union_schema(whole, discriminator="kind"))

    def _read(self, kind: str, value: Any, info: ValidationInfo) -> FileModel:
        return self._model(kind).model_validate(value, context=info.context)

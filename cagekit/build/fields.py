"""Field types of the files that people write: lengths, angles, points.

A length is a number in the file's ``units`` (``mm`` unless the file says ``in``) or a text with
its own unit, e.g. ``"1 5/8 in"``; inside it is always a float in mm.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import radians
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationInfo, WithJsonSchema

from cagekit.units import parse_length

LONGEST = 50_000.0
"""No length on a car or in a shop is longer than this, mm."""


def check_length(value: Any, info: ValidationInfo) -> float:
    """Read a length in the units that the validation's context names; mm."""
    context = info.context if isinstance(info.context, Mapping) else {}
    length = parse_length(value, default=context.get("units", "mm"))
    if abs(length) > LONGEST:
        raise ValueError(f"{length / 1000:.0f} m is no length on a car or in a shop; check units")
    return length


def check_angle(value: Any) -> float:
    """Read an angle in degrees; rad."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError("an angle is a number of degrees")
    if abs(value) > 360:
        raise ValueError("an angle lies within a full turn, -360 to 360 degrees")
    return radians(float(value))


_LENGTH_SCHEMA = {
    "anyOf": [{"type": "number"}, {"type": "string"}],
    "description": "a length: number in the file's units, or text such as '1 5/8 in' or '41.3 mm'",
    "x-unit": "mm",
}

Length = Annotated[float, BeforeValidator(check_length), WithJsonSchema(_LENGTH_SCHEMA)]
"""A length; mm inside."""
Angle = Annotated[
    float,
    BeforeValidator(check_angle),
    WithJsonSchema({"type": "number", "description": "an angle in degrees", "x-unit": "deg"}),
]
"""An angle; written in degrees, rad inside."""
Point = tuple[Length, Length, Length]
"""A point (x, y, z) in vehicle axes; mm inside."""


class FileModel(BaseModel):
    """Base of every table in a file: unknown fields are errors, values do not change."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False, defer_build=True
    )

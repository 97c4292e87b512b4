"""Arguments as a script gives them, read or refused with their name, value and what would do."""

from __future__ import annotations

import re
from math import isfinite
from typing import TYPE_CHECKING, Any

import numpy as np

from cagekit.errors import InputError, NotFoundError
from cagekit.geometry.centre_line import Vec, vec
from cagekit.inputs.presets import find_preset
from cagekit.inputs.tube import load_tube
from cagekit.materials.tubes import Tube
from cagekit.units import LengthUnit, parse_length

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

AnyLength = float | str
"""A length: a number in mm, or a text with its unit such as ``"1 5/8 in"``."""
UNITS: tuple[LengthUnit, ...] = ("mm", "in")


def length_of(value: AnyLength, where: str, name: str) -> float:
    """A length in mm; InputError names the argument.

    Args:
        value: as typed.
        where: function whose argument it is.
        name: of the argument.

    Raises:
        InputError: it is no length.
    """
    try:
        return parse_length(value, default="mm")
    except (ValueError, TypeError) as error:
        raise InputError(where, name, value, problem=str(error)) from None


def number_of(value: object, where: str, name: str, low: float, high: float) -> float:
    """A number from ``low`` to ``high``; InputError names the argument.

    Args:
        value: as typed.
        where: function whose argument it is.
        name: of the argument.
        low: least that will do.
        high: most that will do.

    Raises:
        InputError: it is no number, or outside.
    """
    good = isinstance(value, int | float | np.number) and not isinstance(value, bool)
    if not good or not low <= float(value) <= high:  # type: ignore[arg-type]
        problem = f"must be a number from {low:g} to {high:g}."
        raise InputError(where, name, value, problem=problem)
    return float(value)  # type: ignore[arg-type]


def whole_of(value: object, where: str, name: str) -> int:
    """A whole number above zero; InputError names the argument.

    Args:
        value: as typed.
        where: function whose argument it is.
        name: of the argument.

    Raises:
        InputError: it is none.
    """
    if not isinstance(value, int | np.integer) or isinstance(value, bool) or value < 1:
        raise InputError(where, name, value, problem="must be a whole number: 1, 2, 3 ...")
    return int(value)


def point_of(value: object, where: str, name: str) -> Vec:
    """A point ``(3,)``, mm; InputError names the argument.

    Args:
        value: as typed.
        where: function whose argument it is.
        name: of the argument.

    Raises:
        InputError: it has not three finite coordinates.
    """
    to_tuple = getattr(value, "toTuple", None)
    try:
        point = vec(to_tuple() if to_tuple else value)  # type: ignore[arg-type]
        good = bool(np.isfinite(point).all())
    except (TypeError, ValueError):
        good = False
    if not good:
        problem = "is no point: three finite numbers (x, y, z), mm."
        raise InputError(where, name, _brief(value), problem=problem)
    return point


def units_of(value: object, where: str) -> LengthUnit:
    """``"mm"`` or ``"in"``; InputError says so.

    Args:
        value: as typed.
        where: function whose argument it is.

    Raises:
        InputError: it is neither.
    """
    for unit in UNITS:
        if value == unit:
            return unit
    raise InputError(where, "units", value, problem="must be 'mm' or 'in'.")


def names_of(given: str | Sequence[str] | None) -> tuple[str, ...] | None:
    """Names in a list, or one name as a text; None stays what it is.

    Args:
        given: as typed.
    """
    return (given,) if isinstance(given, str) else None if given is None else tuple(given)


def name_of(value: object, where: str, name: str) -> str:
    """A name of letters, digits and ``_``; InputError names the argument.

    Args:
        value: as typed.
        where: function whose argument it is.
        name: of the argument.

    Raises:
        InputError: it has other letters, or none.
    """
    if not isinstance(value, str) or not re.fullmatch(r"[A-Za-z0-9_-]+", value):
        problem = "is no name: letters, digits, - and _."
        raise InputError(where, name, value, problem=problem)
    return value


def tube_of(value: object, where: str) -> Tube:
    """The tube of a preset's name or a path, or a ``Tube`` as it is; InputError names it.

    Args:
        value: as typed.
        where: function whose argument it is.

    Raises:
        InputError: it is neither, or there is no such preset; tells what is near it.
    """
    if isinstance(value, Tube):
        return value
    if not isinstance(value, str):
        problem = "must name a tube preset, such as 'cds-45x2.5', or be a file ending in .toml."
        raise InputError(where, "tube", value, problem=problem)
    try:
        return load_tube(value)[0]
    except NotFoundError as error:
        raise InputError(where, "tube", value, problem=_without_name(error, value)) from None


def tooling_of(value: object, where: str) -> str:
    """The name of a tooling preset, or a path; InputError names the argument.

    Args:
        value: as typed.
        where: function whose argument it is.

    Raises:
        InputError: there is no such preset; tells what there is.
    """
    if not isinstance(value, str):
        raise InputError(where, "tooling", value, problem="must name a tooling preset or file.")
    try:
        find_preset("tooling", value)
    except NotFoundError as error:
        raise InputError(where, "tooling", value, problem=_without_name(error, value)) from None
    return value


def place_of(value: object, where: str) -> tuple[Vec, Vec]:
    """Rotation ``(3, 3)`` and shift ``(3,)`` of a place; InputError names the argument.

    Args:
        value: a ``Location``, a ``Plane``, a 4x4 matrix or a shift ``(x, y, z)``.
        where: function whose argument it is.

    Raises:
        InputError: it is none of these, or stretches or mirrors.
    """
    from cagekit.solids.frames import rigid

    try:
        turn, shift = rigid(value)
        good = isfinite(float(np.sum(turn)) + float(np.sum(shift)))
        problem = "" if good else "has a number that is not finite."
    except (TypeError, ValueError) as error:
        problem = f"{str(error).rstrip('.')}."
        if "could not convert" in problem or "float()" in problem:
            problem = "a place is a Location, a Plane, a 4x4 matrix or a shift (x, y, z)."
    if problem:
        raise InputError(where, "place", _brief(value), problem=problem)
    return turn, shift


def named_by(error: NotFoundError, where: str, given: Mapping[str, Any]) -> InputError:
    """A name that a table does not have, told with the argument that holds it.

    Args:
        error: what was not found.
        where: function whose arguments they are.
        given: arguments by name.
    """
    said = str(error)
    for name, value in given.items():
        if isinstance(value, str) and value and f"'{value}'" in said:
            return InputError(where, name, value, problem=_without_name(error, value))
    return InputError(where, problem=said)


def _without_name(error: NotFoundError, value: str) -> str:
    """What an error says after the name that the argument tells already."""
    _, _, rest = str(error).partition(": ")
    return rest if value in str(error).partition(": ")[0] and rest else str(error)


def _brief(value: object) -> object:
    """A value short enough for a message."""
    said = repr(value)
    return value if len(said) <= 60 else f"{type(value).__name__}"

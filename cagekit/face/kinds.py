"""Functions that make parts: one for each kind, their arguments read off the kind's dimensions."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator, Mapping
from math import degrees
from types import MappingProxyType, NoneType
from typing import TYPE_CHECKING, Annotated, Any, Literal, get_args, get_origin

from msgspec.structs import replace
from pydantic import ValidationError

from cagekit.errors import InputError, NotFoundError
from cagekit.face.arguments import named_by, tooling_of, tube_of, units_of
from cagekit.face.pieces import Origin
from cagekit.face.plate_part import PlatePart
from cagekit.face.tube_part import TubePart
from cagekit.inputs.messages import FileInputError, problem_and_cure, problems_of, unit_of
from cagekit.materials.steels import steel
from cagekit.parts.kinds import part_kind, part_kinds
from cagekit.units import LengthUnit

if TYPE_CHECKING:
    from cagekit.parts.tubes import PartKind


def make(
    kind: str,
    dims: Mapping[str, Any],
    *,
    units: LengthUnit = "mm",
    tooling: str | None = None,
) -> TubePart | PlatePart:
    """Make a part of a kind.

    Args:
        kind: a name of :func:`kinds`.
        dims: dimensions by name as typed; ``tube`` names a tube preset.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: there is no such kind, or a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """
    if not isinstance(kind, str):
        raise InputError("part()", "kind", kind, problem="must be a name of cagekit.kinds().")
    chosen = part_kind(kind)
    where = f"{chosen.name}()"
    units = units_of(units, where)
    read = read_dims(chosen, dims, units)
    _require_none_idle(chosen, dims, read, where)
    if tooling is not None:
        tooling = tooling_of(tooling, where)
    try:
        part = chosen.make(read)
        for id_ in part.made:
            steel(part.cage.member(id_).tube.material)
            for end, _ in part.cage.member(id_).ends:
                part.cage.cut(id_, end)
    except NotFoundError as error:
        raise named_by(error, where, dims) from None
    origin = Origin(kind=chosen.name, given=dict(dims), units=units, tooling=tooling)
    if part.made:
        return TubePart(cage=part.cage, id=part.made[0], origin=origin)
    ids = tuple(p.id for p in part.cage.plates)
    name = ids[0] if len(ids) == 1 else chosen.name
    return PlatePart(cage=part.cage, id=name, origin=origin, ids=ids)


def read_dims(kind: PartKind, dims: Mapping[str, Any], units: LengthUnit) -> Any:
    """Lay dimensions as typed on a kind's defaults.

    Args:
        kind: the kind of part.
        dims: as typed, by name.
        units: of numbers without a unit.

    Raises:
        InputError: a dimension cannot be, or there is none of that name; says what would do.
    """
    values = {k: v for k, v in dims.items() if k != "tube"}
    named = dims.get("tube")
    if named is not None:
        if "wall" not in kind.dims.model_fields or "od" not in kind.dims.model_fields:
            raise InputError(f"{kind.name}()", "tube", named, problem="this part is no tube.")
        tube = tube_of(named, f"{kind.name}()")
        values = {"od": f"{tube.od!r} mm", "wall": f"{tube.wall!r} mm", **values}
        values.setdefault("material", tube.material)
    try:
        return kind.read(values, units)
    except ValidationError as error:
        found = problems_of(error, kind.dims, values, file=f"{kind.name}()", lines={})
        raise FileInputError([replace(p, line=None) for p in found]) from None


def _require_none_idle(kind: PartKind, dims: Mapping[str, Any], read: Any, where: str) -> None:
    """Refuse a dimension that nothing is made of, as the others stand."""
    idle: Mapping[str, str] = read.idle() if hasattr(read, "idle") else {}
    usual = kind.usual
    for name in dims:
        if name in idle and getattr(read, name) not in (getattr(usual, name), None):
            problem, hint = problem_and_cure(idle[name])
            raise InputError(where, name, dims[name], problem=problem, hint=hint)


def kinds() -> Mapping[str, str]:
    """What each kind of part is in a line, by name.

    >>> import cagekit
    >>> cagekit.kinds()["tab"]
    'tab or clevis on a tube: harness, seat, net'
    """
    return MappingProxyType({name: kind.summary for name, kind in part_kinds().items()})


def part(
    kind: str, /, *, units: LengthUnit = "mm", tooling: str | None = None, **dims: Any
) -> TubePart | PlatePart:
    """One part alone of a kind that is named by a text; else call the kind's own function.

    Args:
        kind: a name of :func:`kinds`.
        units: what a length without a unit counts in, ``"mm"`` or ``"in"``.
        tooling: tooling preset or path, for the bend schedule; one in ``units`` when left out.
        **dims: its dimensions as ``cagekit part KIND --help`` tells them; angles in degrees.

    Raises:
        InputError: there is no such kind, or a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.

    >>> import cagekit
    >>> strut = cagekit.part("strut", length="18 1/2 in", angle_a=60)
    >>> round(strut.path.length, 1)
    469.9
    """
    return make(kind, dims, units=units, tooling=tooling)


def function(name: str) -> Callable[..., TubePart | PlatePart]:
    """The function that makes parts of a kind, with its real signature and help.

    Raises:
        InputError: there is no such kind.
    """
    kind = part_kind(name)

    def call(
        *unnamed: Any, units: LengthUnit = "mm", tooling: str | None = None, **dims: Any
    ) -> TubePart | PlatePart:
        if unnamed:
            first = next(iter(kind.dims.model_fields))
            hint = f"Such as {kind.name}({first}={unnamed[0]!r})."
            problem = "takes its dimensions by name only."
            raise InputError(f"{kind.name}()", problem=problem, hint=hint)
        return make(kind.name, dims, units=units, tooling=tooling)

    call.__name__ = call.__qualname__ = kind.name
    call.__module__ = "cagekit"
    call.__doc__ = help_of(kind)
    call.__signature__ = signature(kind)  # type: ignore[attr-defined]
    return call


def signature(kind: PartKind) -> inspect.Signature:
    """Keyword arguments of a kind's function, their types and defaults as a script writes them."""
    keyword = inspect.Parameter.KEYWORD_ONLY
    parameters = [
        inspect.Parameter(name, keyword, default=default, annotation=text)
        for name, text, default, _ in arguments(kind)
    ]
    back = "TubePart" if _is_tube(kind) else "PlatePart"
    return inspect.Signature(parameters, return_annotation=back)


def arguments(kind: PartKind) -> Iterator[tuple[str, str, Any, str]]:
    """Every argument of a kind's function: name, type as text, default, what it is."""
    values = typed_values(kind.name, {}, "mm")
    for name, info in kind.dims.model_fields.items():
        yield name, _type(kind, name), values[name], info.description or ""
    if _is_tube(kind):
        yield "tube", "str | None", None, "tube preset: diameter, wall and steel at once"
    yield "units", 'Literal["mm", "in"]', "mm", "what a length without a unit counts in"
    yield "tooling", "str | None", None, "tooling preset or path, for the bend schedule"


def typed_values(kind: str, given: Mapping[str, Any], units: LengthUnit) -> dict[str, Any]:
    """Every dimension of a kind as numbers a script would type: mm and degrees.

    Args:
        kind: name of the kind.
        given: what is not left at its default.
        units: of the numbers.
    """
    chosen = part_kind(kind)
    read = read_dims(chosen, given, units)
    out: dict[str, Any] = {}
    for name in chosen.dims.model_fields:
        value = getattr(read, name)
        if isinstance(value, float):
            unit = unit_of(chosen.dims, (name,))
            value = round(degrees(value) if unit == "deg" else value, 9)
            value = int(value) if unit != "" and value == int(value) else value
        out[name] = value
    return out


def _is_tube(kind: PartKind) -> bool:
    return (
        "wall" in kind.dims.model_fields
        and "od" in kind.dims.model_fields
        and ("bend_radius" in kind.dims.model_fields)
    )


def _type(kind: PartKind, name: str) -> str:
    """The type of an argument as text."""
    unit = unit_of(kind.dims, (name,))
    note = kind.dims.model_fields[name].annotation
    options = get_args(note) if get_origin(note) is not Literal else (note,)
    none = " | None" if NoneType in options else ""
    if unit == "mm":
        return "float | str" + none
    if unit == "deg":
        return "float" + none
    plain = [o for o in options if o is not NoneType] or [note]
    return " | ".join(_named(o) for o in plain) + none


def _named(note: Any) -> str:
    if get_origin(note) is Literal:
        return "Literal[" + ", ".join(repr(a).replace("'", '"') for a in get_args(note)) + "]"
    if get_origin(note) is Annotated:
        return _named(get_args(note)[0])
    return note.__name__ if isinstance(note, type) else "Any"


def help_of(kind: PartKind) -> str:
    """The docstring of a kind's function."""
    rows = "\n".join(
        f"    {name}: {about}{_in_degrees(kind, name)}." for name, _, _, about in arguments(kind)
    )
    head = kind.summary[:1].upper() + kind.summary[1:]
    return (
        f"{head}.\n\nLengths are mm, or a text with its unit.\n\nArgs:\n{rows}\n\n"
        "Raises:\n    InputError: a dimension cannot be; says which and why.\n"
        "    GeometryError: these dimensions make no part.\n"
    )


def _in_degrees(kind: PartKind, name: str) -> str:
    info = kind.dims.model_fields.get(name)
    if info is None or unit_of(kind.dims, (name,)) != "deg":
        return ""
    return "" if "degrees" in (info.description or "") else ", degrees"

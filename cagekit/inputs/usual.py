"""Usual ranges of what people measure and type: beyond them a number is told, far beyond refused.

The ranges stand in ``cagekit/data/usual_ranges.csv``, with their source: ``least`` and ``most``
bound what a file may say at all, ``low`` and ``high`` what is usual. They part slips (inches typed
as millimetres, a sign, a digit too many) from odd cars; no check and no shape depends on them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from typing import Any

from msgspec import Struct
from pydantic import BaseModel

from cagekit.data import Row, rows
from cagekit.inputs.messages import FileInputError, Problem, one_for_units, table_and_field
from cagekit.inputs.most import fits
from cagekit.inputs.toml_lines import TomlKey, line_of, value_at
from cagekit.units import INCH, POUND, LengthUnit, format_length

AXES = "xyz"
MEASURED = ("car", "driver")
"""Files whose numbers somebody measured; those of others were chosen."""


class Slip(Struct, frozen=True):
    """What a number may have been meant as: the factor to it, and the slip in words.

    ``file`` is the unit of the files that it is made in, any when None; ``other_units`` tells that
    the number is in the unit of other files.
    """

    factor: float
    words: str
    file: LengthUnit | None = None
    other_units: bool = False


_SLIPS: Mapping[str, tuple[Slip, ...]] = {
    "mm": (
        Slip(INCH, "inches typed as mm", "mm", other_units=True),
        Slip(1 / INCH, "mm typed as inches", "in", other_units=True),
        Slip(10.0, "cm typed as mm", "mm"),
        Slip(1000.0, "metres typed as mm", "mm"),
        Slip(-1.0, "the other sign"),
        Slip(0.1, "a digit too many"),
    ),
    "kg": (
        Slip(POUND, "pounds typed as kg"),
        Slip(10.0, "a digit too few"),
        Slip(0.1, "a digit too many"),
    ),
    "deg": (Slip(-1.0, "the other sign"), Slip(0.1, "a digit too many")),
}
"""Slips of the pen, by the unit of the number; the first that fits is told."""


class UsualRange(Struct, frozen=True, kw_only=True):
    """The ranges of one field.

    Lengths in mm, angles in degrees, masses in kg; ``source`` and ``certainty`` are of the usual
    range ``low`` to ``high``; ``zero`` tells that 0, nothing there, is usual too. Below ``least``
    and above ``most`` a number is refused.
    """

    unit: str
    least: float
    low: float
    high: float
    most: float
    source: str
    certainty: str
    zero: bool = False

    def holds(self, value: float) -> bool:
        """Whether ``value`` is usual."""
        return self.low <= value <= self.high or (self.zero and value == 0)

    def allows(self, value: float) -> bool:
        """Whether a file may say ``value`` at all."""
        return self.least <= value <= self.most

    def slip(self, value: float, units: LengthUnit = "mm") -> Slip | None:
        """What a value out of range was probably meant as; None when nothing fits.

        Args:
            value: as read, mm for a length.
            units: of the file.
        """
        for slip in _SLIPS.get(self.unit, ()):
            if self.holds(value * slip.factor) and slip.file in (None, units):
                return slip
        return None


@cache
def usual_range(file: str, field: str) -> UsualRange | None:
    """Return the ranges of a field, e.g. ``("car", "side.main_foot.sheet")``.

    Args:
        file: kind of file; a plate of a build or layout stands under ``"plate"``.
        field: dotted name without the numbers of list entries; a point's numbers are ``.x``,
            ``.y`` and ``.z``, and ``side`` stands for either side.
    """
    row = _row_of(file, field)
    if row is None:
        return None
    return UsualRange(
        unit=row["unit"],
        source=row["source"],
        certainty=row["certainty"],
        zero=row["zero"] == "yes",
        **{n: float(row[n]) for n in ("least", "low", "high", "most")},
    )


def _row_of(file: str, field: str) -> Row | None:
    """The first row that a field's name fits: its own, or one for many that stands before it."""
    named, for_many = _rows_of(file)
    own, row = named.get(field, (len(named) + len(for_many), None))
    return next((r for n, r in for_many if n < own and fits(field, r["field"])), row)


@cache
def _rows_of(file: str) -> tuple[Mapping[str, tuple[int, Row]], tuple[tuple[int, Row], ...]]:
    """Place and row of every field with a row of its own, and of every row for many fields."""
    placed = list(enumerate(row for row in rows("usual_ranges") if row["file"] == file))
    named = {row["field"]: (n, row) for n, row in placed if "*" not in row["field"]}
    return named, tuple((n, row) for n, row in placed if "*" in row["field"])


def require_possible(
    kind: str, table: BaseModel, *, file: str, data: Mapping[str, Any], lines: dict[TomlKey, int]
) -> None:
    """Refuse every number of a file that lies beyond what there can be.

    Args:
        kind: of the file.
        table: what was read.
        file: as messages name it.
        data: the tables as read.
        lines: line of every key.

    Raises:
        FileInputError: tells file, line, field and the usual range of each.
    """
    found = list(_told(kind, table, file, data, lines, refused=True))
    if found:
        raise FileInputError(one_for_units(found, data, lines))


def unusual(
    kind: str, table: BaseModel, *, file: str, data: Mapping[str, Any], lines: dict[TomlKey, int]
) -> tuple[Problem, ...]:
    """Return what is possible and not usual, with the likely slip; nothing is refused.

    Args:
        kind: of the file.
        table: what was read.
        file: as messages name it.
        data: the tables as read.
        lines: line of every key.
    """
    return tuple(_told(kind, table, file, data, lines, refused=False))


def any_unusual(kind: str, table: BaseModel) -> bool:
    """Whether a file has a number that is not usual; quick, without its lines."""
    return any(not r.holds(v) for _, v, r in _measured(kind, table))


def odd_numbers(
    kind: str, table: BaseModel, units: LengthUnit, *, refused: bool
) -> Iterator[tuple[TomlKey, str, str, Slip | None]]:
    """Every number of a table that is not usual: its key, what is said of it, the cure, the slip.

    Args:
        kind: of the file, or ``"member"`` for an entry of a member.
        table: what was read.
        units: of the file.
        refused: those that cannot be, else those that can.
    """
    for key, value, known in _measured(kind, table):
        if not known.holds(value) and known.allows(value) != refused:
            problem, hint, slip = _odd(value, known, units, refused=refused)
            if refused and slip is None:
                hint = "Measure again." if kind in MEASURED else "Give another."
            yield key, problem, hint, slip


def _told(
    kind: str,
    table: BaseModel,
    file: str,
    data: Mapping[str, Any],
    lines: dict[TomlKey, int],
    *,
    refused: bool,
) -> Iterator[Problem]:
    units: LengthUnit = "in" if data.get("units") == "in" else "mm"
    seen: set[TomlKey] = set()
    for key, problem, hint, slip in odd_numbers(kind, table, units, refused=refused):
        place = _in_file(key, data)
        if place in seen:
            continue  # one side's word for both
        seen.add(place)
        named, field = table_and_field(place)
        yield Problem(
            file=file,
            line=line_of(lines, place),
            table=named,
            field=field,
            value=value_at(data, place),
            problem=problem,
            hint=hint,
            other_units=slip is not None and slip.other_units,
        )


def _odd(
    value: float, known: UsualRange, units: LengthUnit, *, refused: bool
) -> tuple[str, str, Slip | None]:
    """What is said of a number out of its range, the cure, and what it may have been meant as."""
    says = f"{_words(value, known, units)} {'cannot be' if refused else 'is unusual'}"
    usual = f"{_words(known.low, known, units)} to {_words(known.high, known, units)}"
    slip = known.slip(value, units)
    hint = f"Is it {slip.words}?" if slip else ""
    return f"{says}; usual is {usual} ({_sure(known)}).", hint, slip


def unusual_sizes(
    sizes: Mapping[str, float], units: LengthUnit = "mm", *, tube: bool
) -> Iterator[tuple[str, str]]:
    """Dimensions of a part alone that are possible and not usual: each name, and what to say.

    Args:
        sizes: those that were typed, by name, mm or degrees.
        units: they were typed in.
        tube: the part is a tube, else it has the ranges of plates.
    """
    for name, value in sizes.items():
        known = usual_range("part", name) if tube else usual_range("plate", f"plate.{name}")
        if known is not None and not known.holds(value):
            problem, hint, _ = _odd(value, known, units, refused=False)
            yield name, f"{problem} {hint}".strip()


def _sure(known: UsualRange) -> str:
    return known.source if known.certainty in (known.source, "seen") else (
        f"{known.source}, {known.certainty}"
    )  # fmt: skip


def _words(value: float, known: UsualRange, units: LengthUnit) -> str:
    if known.unit == "mm":
        return format_length(value, units)
    unit = {"": "", "year": "", "deg": " degrees"}.get(known.unit, f" {known.unit}")
    return f"{value:.6g}{unit}"


def _measured(kind: str, table: BaseModel) -> Iterator[tuple[TomlKey, float, UsualRange]]:
    """Every number of a table that has ranges, with its key; angles in degrees."""
    if not any(_rows_of(kind)) and "plate" not in type(table).model_fields:
        return
    for key, field, value in _numbers(table):
        known = _range_of(kind, field)
        if known is not None:
            yield key, _in_degrees(value) if known.unit == "deg" else value, known


def _in_degrees(angle: float) -> float:
    """An angle as it was typed: on its way to radians and back 30 became more and less than 30."""
    return round(math.degrees(angle), 9)


@cache
def usual_at(kind: str, key: TomlKey) -> UsualRange | None:
    """Return the ranges of the number at ``key`` of a file of that kind, if it has some."""
    field = ""
    for n, step in enumerate(key):
        if isinstance(step, str):
            field = _below(field, step)
        elif n == len(key) - 1:
            field = _on_axis(field, step)
    return _range_of(kind, field)


def _range_of(kind: str, field: str) -> UsualRange | None:
    return usual_range("plate" if field.startswith("plate.") else kind, field)


def _below(field: str, step: str) -> str:
    step = "side" if step in ("left", "right") else step
    return f"{field}.{step}" if field else step


def _on_axis(field: str, n: int) -> str:
    """Of a list's places only that of a number is named, as a point's axis."""
    return f"{field}.{AXES[n] if n < len(AXES) else 'more'}"


def _numbers(
    value: Any, key: TomlKey = (), field: str = ""
) -> Iterator[tuple[TomlKey, str, float]]:
    """Every number of a table with its key and the name of its field."""
    # every start looks at some thousands of values, most of which are no numbers: these are passed
    # over where they stand, a look at an abstract type such as BaseModel comes last, and a union of
    # types would be made anew at each look
    if isinstance(value, (tuple, list)):
        for n, one in enumerate(value):
            if isinstance(one, (int, float)):
                if not isinstance(one, bool):
                    yield (*key, n), _on_axis(field, n), float(one)
            elif not (one is None or isinstance(one, str)):
                yield from _numbers(one, (*key, n), field)
        return
    if isinstance(value, dict):
        named: Iterable[tuple[Any, Any]] = value.items()
    elif isinstance(value, BaseModel):
        named = value
    else:
        return
    for name, one in named:
        if one is None or isinstance(one, (str, bool)):
            continue
        inner, below = (*key, str(name)), _below(field, str(name))
        if isinstance(one, (int, float)):
            yield inner, below, float(one)
        else:
            yield from _numbers(one, inner, below)


def _in_file(key: TomlKey, data: Mapping[str, Any]) -> TomlKey:
    """Where a value stands: what both sides share is written once, under ``[side]``."""
    if key[:1] in (("left",), ("right",)) and value_at(data, key) is None:
        key = ("side", *key[1:])
    return key

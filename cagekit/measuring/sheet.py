"""The measuring sheet: what to measure on car and people for a layout, in the order of taking.

What is asked for follows from the members (:mod:`cagekit.members.needs`); the words are data, in
``cagekit/data/measures.toml``. Where two measurements must agree, a check says which and how.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from math import sqrt
from typing import Any, Literal, get_args

from pydantic import BaseModel

from cagekit.inputs.car import Car, CarSide
from cagekit.inputs.driver import Driver
from cagekit.inputs.entries import MemberEntry
from cagekit.members.needs import needed

BlankKind = Literal[
    "one", "pair", "xyz", "falls", "choice", "section", "rearfront", "corners", "angle"
]
"""What is written into the sheet: a length, two, a point, two angles, a word, a list, an angle."""

CHECKED = frozenset({"side.door", "dash", "tunnel", "pedals", "suspension_x"})
"""Parts of the car that no member may need, but the checks of fit and rules look at."""
CAR_FILE, CHECKS = "car file", "checks"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """One measurement.

    Attributes:
        number: in the order of taking, from 1.
        field: on the car or driver sheet; ``side.`` stands for left and right.
        name: what it is.
        how: how it is taken and from where.
        blank: what is written.
        group: the page it is on.
        because: kinds of members that need it, or ``car file``, or ``checks``.
        choices: the words to choose from.
    """

    number: int
    field: str
    name: str
    how: str
    blank: BlankKind
    group: str
    because: tuple[str, ...] = ()
    choices: tuple[str, ...] = ()

    @property
    def sided(self) -> bool:
        """Whether it is taken on the left and on the right."""
        return self.field.startswith("side.")


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPage:
    """A page of measurements with its pictures."""

    id: str
    title: str
    intro: str
    pictures: tuple[str, ...]
    measures: tuple[Measurement, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """A number of the sheet with its sign; ``label`` as in the formula, ``path`` on the car."""

    sign: float
    label: str
    path: str

    def value(self, car: Car) -> float:
        """What the car sheet says, with the sign, mm."""
        return self.sign * _read(car, self.path)


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """A tape that must agree with other measurements.

    ``sides`` has one way of reckoning, or one for each side. Each is a list of axes, the length
    being the root of the sum of the squared axes; a single axis is a plain sum.
    """

    name: str
    sides: tuple[tuple[str, tuple[tuple[Term, ...], ...]], ...]
    allowed: float

    def formulas(self) -> tuple[tuple[str, str], ...]:
        """Side and formula of each way of reckoning, in numbers of the sheet."""
        return tuple((side, _formula(axes)) for side, axes in self.sides)

    def values(self, car: Car) -> tuple[float, ...]:
        """The lengths that a filled car sheet gives, mm."""
        out = []
        for _, axes in self.sides:
            sums = [sum(t.value(car) for t in axis) for axis in axes]
            out.append(sums[0] if len(sums) == 1 else sqrt(sum(s * s for s in sums)))
        return tuple(out)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuringSheet:
    """All that is asked for: pages of the car, checks, pages of the people."""

    groups: tuple[SheetPage, ...]
    agreements: tuple[Agreement, ...]
    people: tuple[SheetPage, ...]

    @property
    def measures(self) -> tuple[Measurement, ...]:
        """Every measurement of the car, in order."""
        return tuple(m for g in self.groups for m in g.measures)


@cache
def _words() -> Mapping[str, Any]:
    return tomllib.loads(files("cagekit.data").joinpath("measures.toml").read_text("utf-8"))


def measuring_sheet(entries: Sequence[MemberEntry]) -> MeasuringSheet:
    """Work out what a layout's or a build's members ask for."""
    words = _words()
    needs = needed(entries)
    wanted = [row for row in words["measure"] if _wanted(row["field"], needs)]
    order = [g["id"] for g in words["group"]]
    wanted.sort(key=lambda row: order.index(row["group"]))
    measures = [_measure(n, row, needs) for n, row in enumerate(wanted, start=1)]
    groups = [
        SheetPage(
            id=g["id"],
            title=g["title"],
            intro=g["intro"],
            pictures=tuple(g["pictures"]),
            measures=tuple(m for m in measures if m.group == g["id"]),
        )
        for g in words["group"]
    ]
    numbers = {m.field: m.number for m in measures}
    return MeasuringSheet(
        groups=tuple(g for g in groups if g.measures),
        agreements=tuple(_agreements(words["agree"], numbers)),
        people=tuple(_people(words["driver"], len(measures) + 1)),
    )


def block(field: str) -> str:
    """The part of the car sheet that a field lies in: ``side.door`` of ``side.door.y_trim``."""
    parts = field.split(".")
    return ".".join(parts[: 2 if parts[0] == "side" else 1])


def _wanted(field: str, needs: Mapping[str, Any]) -> bool:
    """Whether a part of the sheet is asked for: by the file, by a member, by the checks.

    The details of a foot are asked for one by one, the other parts as a whole.
    """
    if field in needs:
        return True
    if field.endswith((".normal", ".profile", "_foot.sheet", "_foot.surface")):
        return False
    part = block(field)
    return part in CHECKED or _required(part) or part in {block(n) for n in needs}


def _required(part: str) -> bool:
    side, _, name = part.rpartition(".")
    model: type[BaseModel] = CarSide if side else Car
    return model.model_fields[name].is_required()


def _measure(
    number: int, row: Mapping[str, str], needs: Mapping[str, tuple[str, ...]]
) -> Measurement:
    field = row["field"]
    info = _info(Car, field)
    part = block(field)
    given = _required(part) or part in {block(n) for n in needs}
    in_file = given and info.is_required()
    because = needs.get(field) or ((CAR_FILE,) if in_file else (CHECKS,))
    blank: BlankKind = row.get("blank", "one")  # type: ignore[assignment]
    return Measurement(
        number=number,
        field=field,
        name=row["name"],
        how=row.get("how") or info.description or "",
        blank=blank,
        group=row["group"],
        because=because,
        choices=get_args(info.annotation) if blank == "choice" else (),
    )


def _info(model: type[BaseModel], field: str) -> Any:
    """The declaration of a field named with dots."""
    names = field.replace("side.", "left.", 1).split(".")
    for name in names[:-1]:
        model = _model(model.model_fields[name].annotation)
    return model.model_fields[names[-1]]


def _model(annotation: Any) -> type[BaseModel]:
    """The model in an annotation such as ``Model | None`` or ``tuple[Model, ...]``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next(_model(a) for a in get_args(annotation) if a not in (type(None), Ellipsis))


def _people(parts: Sequence[Mapping[str, Any]], number: int) -> Iterator[SheetPage]:
    for part in parts:
        rows = []
        for row in part["rows"]:
            how = row.get("how") or _info(Driver, row["field"]).description or ""
            rows.append(
                Measurement(
                    number=number,
                    field=row["field"],
                    name=row["name"],
                    how=how,
                    blank=row.get("blank", "one"),
                    group=part["part"],
                )
            )
            number += 1
        yield SheetPage(
            id=part["part"], title=part["title"], intro="", pictures=(), measures=tuple(rows)
        )


# ---- where two measurements must agree ----


def _agreements(
    rows: Sequence[Mapping[str, Any]], numbers: Mapping[str, int]
) -> Iterator[Agreement]:
    for row in rows:
        texts = [*row.get("sum", ()), *row.get("from", ()), *row.get("to", ())]
        fields = {_field(t) for t in texts if t != "0"}
        if not fields <= numbers.keys():
            continue
        both = any(t.startswith(("side.", "other.")) for t in texts)
        sides = []
        for side in ("left", "right") if both else ("",):
            if "sum" in row:
                axes = [[_term(t[1:], "", side, numbers, t[0] == "-") for t in row["sum"]]]
            else:
                ends = (_point(row[e], side, numbers) for e in ("from", "to"))
                axes = [
                    [*a, *(Term(sign=-t.sign, label=t.label, path=t.path) for t in b)]
                    for a, b in zip(*ends, strict=True)
                ]
            sides.append((side, tuple(tuple(a) for a in axes if a)))
        yield Agreement(name=row["name"], sides=tuple(sides), allowed=float(row["allowed"]))


def _field(text: str) -> str:
    """Field of the sheet that a text such as ``+left.door.outline#1`` names."""
    name = text.lstrip("+-").partition("#")[0]
    head, _, rest = name.partition(".")
    return f"side.{rest}" if head in ("left", "right", "other") else name


def _term(text: str, axis: str, side: str, numbers: Mapping[str, int], minus: bool = False) -> Term:
    name, _, index = text.partition("#")
    head, _, rest = name.partition(".")
    other = "right" if side == "left" else "left"
    head = {"side": side, "other": other}.get(head, head)
    letter = {"left": "L", "right": "R"}.get(head, "")
    path = f"{head}.{rest}" if rest else head
    number = numbers[_field(text)]
    corner = f"c{index}" if axis and index else {"1": "i", "2": "o"}.get(index, "")
    label = f"{axis}{number}{letter}{corner}"
    # y on the sheet counts from the centre string outwards, so the right one is negative
    sign = -1.0 if axis == "y" and letter == "R" else 1.0
    where = path + (f"#{index}" if index else "") + (f"@{axis}" if axis else "")
    return Term(sign=-sign if minus else sign, label=label, path=where)


def _point(
    texts: Sequence[str], side: str, numbers: Mapping[str, int]
) -> tuple[list[Term], list[Term], list[Term]]:
    """Terms of the three axes of a point: a field that is a point, or three plain fields."""
    if len(texts) == 1:
        flat = "#" in texts[0]
        x, y, z = (
            [] if flat and axis == "y" else [_term(texts[0], axis, side, numbers)] for axis in "xyz"
        )
        return x, y, z
    out: list[list[Term]] = []
    for axis, text in zip("xyz", texts, strict=True):
        if text == "0":
            out.append([])
            continue
        term = _term(text, "", side, numbers)
        right = axis == "y" and term.label.endswith("R")
        out.append([Term(sign=-1.0 if right else 1.0, label=term.label, path=term.path)])
    return out[0], out[1], out[2]


def _formula(axes: Sequence[Sequence[Term]]) -> str:
    """The reckoning in numbers of the sheet."""
    if len(axes) == 1:
        return _sum(axes[0])
    squares = [f"({_sum(a)})²" if len(a) > 1 else f"{a[0].label}²" for a in axes]
    return f"√({' + '.join(squares)})"


def _sum(terms: Sequence[Term]) -> str:
    ordered = sorted(terms, key=lambda t: t.sign < 0)
    # a length has no sign: what is only taken away is added
    flip = -1.0 if ordered[0].sign < 0 else 1.0
    text = ordered[0].label
    for t in ordered[1:]:
        text += f" {'−' if t.sign * flip < 0 else '+'} {t.label}"
    return text


def _read(car: Car, path: str) -> float:
    """The number at ``left.roof_corner@y`` or ``left.door.outline#1@z`` of a car sheet, mm."""
    name, _, axis = path.partition("@")
    name, _, index = name.partition("#")
    value: Any = car
    for part in name.split("."):
        value = getattr(value, part)
    if index:
        value = value[int(index) - 1]
    if axis:
        value = value["xz".index(axis) if index else "xyz".index(axis)]
    return float(value)

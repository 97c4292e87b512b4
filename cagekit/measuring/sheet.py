"""The measuring sheet: what to measure on car and people for a layout, in the order of taking.

What is asked for follows from the members (:mod:`cagekit.members.needs`); the words are data, in
``cagekit/data/measures.toml``. Tapes from mark to mark prove the points (`cagekit/car/tapes.py`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Literal, get_args

from msgspec import Struct
from pydantic import BaseModel

from cagekit.car.tapes import CrossTape, tapes
from cagekit.data import tables
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


class Measurement(Struct, frozen=True, kw_only=True):
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
        spare: whether a car file goes without it where it does not apply.
    """

    number: int
    field: str
    name: str
    how: str
    blank: BlankKind
    group: str
    because: tuple[str, ...] = ()
    choices: tuple[str, ...] = ()
    spare: bool = False

    @property
    def sided(self) -> bool:
        """Whether it is taken on the left and on the right."""
        return self.field.startswith("side.")


class SheetPage(Struct, frozen=True, kw_only=True):
    """A page of measurements with its pictures."""

    id: str
    title: str
    intro: str
    pictures: tuple[str, ...]
    measures: tuple[Measurement, ...]


class MeasuringSheet(Struct, frozen=True, kw_only=True):
    """All that is asked for: pages of the car, tapes to prove it, pages of the people."""

    groups: tuple[SheetPage, ...]
    tapes: tuple[CrossTape, ...]
    people: tuple[SheetPage, ...]

    @property
    def measures(self) -> tuple[Measurement, ...]:
        """Every measurement of the car, in order."""
        return tuple(m for g in self.groups for m in g.measures)


def measuring_sheet(entries: Sequence[MemberEntry]) -> MeasuringSheet:
    """Work out what a layout's or a build's members ask for."""
    words = tables("measures")
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
    fields = {m.field for m in measures}
    return MeasuringSheet(
        groups=tuple(g for g in groups if g.measures),
        tapes=tuple(t for t in tapes() if t.fields <= fields),
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
        spare=bool(row.get("spare")),
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

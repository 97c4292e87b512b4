"""Struts that are rows of a table: where each kind goes, what an entry may say, how it looks."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from importlib.resources import files
from typing import Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

FRONT_LEG = "front_leg"
"""Stands for whatever tube is at the front on a side."""


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class RowPlace(_Table):
    """Where an end goes: on a ``tube``, or on a spot of the ``car`` sheet.

    ``value`` and ``by`` are numbers (mm, or a share of the tube) or names of the row's fields.
    """

    tube: str = ""
    car: str = ""
    side: Literal["left", "right", "{side}"]
    at: str = ""
    value: float | str = 0.0
    move: str = ""
    by: float | str = 0.0

    @model_validator(mode="after")
    def _one(self) -> Self:
        if bool(self.tube) == bool(self.car) or bool(self.tube) != bool(self.at):
            raise ValueError("a place is on a tube, at a selector, or on the car.")
        return self


class RowField(_Table):
    """A length that an entry of the kind may say, mm."""

    default: float
    least: float | None = None
    about: str


class StrutRow(_Table):
    """One kind of strut."""

    about: str
    from_: RowPlace = Field(alias="from")
    to: RowPlace
    family: str
    source: str
    fields: dict[str, RowField] = {}
    part: dict[str, float | str] = {}
    steps: dict[str, Any]

    @model_validator(mode="after")
    def _known(self) -> Self:
        for place in (self.from_, self.to):
            for number in (place.value, place.by):
                if isinstance(number, str) and number not in self.fields:
                    raise ValueError(f"{number!r} is no field of the row.")
        return self

    @property
    def at_front(self) -> bool:
        """Whether an end is on the leg at the front, which an entry may name."""
        return FRONT_LEG in (self.from_.tube, self.to.tube)


def _read() -> Mapping[str, StrutRow]:
    text = files("cagekit.data").joinpath("struts.toml").read_text("utf-8")
    return {kind: StrutRow.model_validate(row) for kind, row in tomllib.loads(text).items()}


STRUTS: Mapping[str, StrutRow] = _read()
"""Every row, by kind."""

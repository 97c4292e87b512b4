"""Loads as data: cases of forces at places, what holds the feet, and where each is from."""

import re
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import core_schema

from cagekit.errors import InputError
from cagekit.hints import did_you_mean
from cagekit.inputs.fields import FileModel, Length, Mass, Name, ReadBy
from cagekit.inputs.places import LocationField
from cagekit.materials.source import Certainty

FORCES = {"n": 1.0, "kn": 1000.0, "lbf": 4.4482216152605, "kip": 4448.2216152605}
"""Units of force, N."""
LARGEST = 1e7
"""A force beyond this, N, is a slip of the pen: a thousand times what a car weighs."""
MOST_WEIGHTS = 1000.0
"""Likewise multiples of the weight."""
_FORCE = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+))\s*([a-z]+)\s*", re.IGNORECASE)


def read_force(value: Any) -> float:
    """Read a force: a number of N, or text with N, kN, lbf or kip; N."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    found = _FORCE.fullmatch(value) if isinstance(value, str) else None
    if found is None or found[2].lower() not in FORCES:
        raise ValueError("a force is a number of N or a text such as '12 kN' or '2500 lbf'")
    return float(found[1]) * FORCES[found[2].lower()]


Force = Annotated[
    float,
    ReadBy(
        core_schema.no_info_before_validator_function(read_force, core_schema.float_schema()),
        lambda v: f"{v!r} N",
        returns=core_schema.str_schema(),
        json={
            "anyOf": [{"type": "number"}, {"type": "string"}],
            "description": "a force: number of N, or text such as '12 kN' or '2500 lbf'",
            "x-unit": "N",
        },
    ),
]
"""A force; N inside, text with its unit in a dump."""


class LoadEntry(FileModel):
    """Forces at one place, or on a stretch of tube round it."""

    at: tuple[LocationField, ...] = Field(
        (), description="places on tubes; the first whose tube the cage has is loaded"
    )
    force: tuple[Force, Force, Force] | None = Field(
        None, description="forward, left, up: N, or text with kN or lbf"
    )
    weight: tuple[float, float, float] | None = Field(
        None, description="forward, left, up, as multiples of the weight of car and crew"
    )
    patch: Length = Field(0.0, ge=0, description="length of tube over which it is spread")
    belt: Force | None = Field(
        None,
        gt=0,
        description="instead of all these: forward pull of each shoulder belt of each person",
    )

    @model_validator(mode="after")
    def _one(self) -> Self:
        given = [n for n in ("force", "weight", "belt") if getattr(self, n) is not None]
        if len(given) != 1:
            raise ValueError("a load has one of 'force', 'weight' and 'belt'")
        if self.belt is None and not self.at:
            raise ValueError("a load needs 'at', e.g. at = ['on main_hoop at middle']")
        if self.belt is not None and self.at:
            raise ValueError("belts pull where the people sit; leave 'at' out")
        return self

    @model_validator(mode="after")
    def _pushes(self) -> Self:
        for name, most in (("force", LARGEST), ("weight", MOST_WEIGHTS), ("belt", LARGEST)):
            given = getattr(self, name)
            if given is None:
                continue
            parts = given if isinstance(given, tuple) else (given,)
            if not any(parts):
                raise ValueError(f"{name!r} is nothing: give it a size, or leave the load out")
            if max(map(abs, parts)) > most:
                raise ValueError(f"{name!r} is above {most:.0e}: no load on a car is so large")
        return self


class CaseEntry(FileModel):
    """One case: forces that act together."""

    id: str = Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", description="letters, digits, hyphens")
    title: Name
    text: str = Field("", description="what it stands for")
    load: tuple[LoadEntry, ...] = Field(min_length=1, description="forces that act together")
    own_weight: float = Field(1.0, description="multiples of the cage's own weight, downward")
    deflection: Length | None = Field(
        None, gt=0, description="most that a loaded place may move, elastic"
    )
    source: str = Field("", description="document, when not the file's")
    clause: str = Field("", description="clause in it")
    certainty: Certainty | None = Field(None, description="how sure, when not the file's")


class Combination(FileModel):
    """Cases that act at the same time."""

    id: str = Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", description="letters, digits, hyphens")
    title: Name
    cases: dict[str, float] = Field(min_length=1, description="factor by case")
    own_weight: float | None = Field(
        None, description="multiples of the cage's own weight, downward; the most of its cases"
    )


class Supports(FileModel):
    """What holds a foot, by what the car sheet says is under it."""

    floor: Literal["pinned", "fixed", "spring"] = Field(
        "pinned", description="floor sheet: place held, or held by a spring"
    )
    outrigger: Literal["pinned", "fixed"] = Field("pinned", description="on an outrigger")
    frame: Literal["pinned", "fixed"] = Field("pinned", description="on a frame or rail")
    tower: Literal["pinned", "fixed"] = Field("pinned", description="on a tower")
    spring: float = Field(2000.0, gt=0, description="of a foot on sheet with a spring, N/mm")
    reason: str = Field(
        "thin metal does not hold a foot against turning; free to turn, the tubes bear more",
        description="why they are taken so",
    )

    @property
    def told(self) -> str:
        """How feet are held, and why."""
        floor = f"spring of {self.spring:g} N/mm" if self.floor == "spring" else self.floor
        why = f": {self.reason}" if self.reason else ""
        return (
            f"floor sheet {floor}, outrigger {self.outrigger}, frame {self.frame}, "
            f"tower {self.tower}{why}"
        )


class LoadsFile(FileModel):
    """A set of load cases."""

    kind: Literal["loads"] = "loads"
    name: Name
    title: Name = Field(description="as printed beside each case")
    description: str = ""
    units: Literal["mm", "in"] = "mm"
    edition: str = ""
    source: str = Field("", description="document")
    certainty: Certainty = Field(Certainty.COMMON_PRACTICE, description="how sure it is")
    caution: str = ""
    crew: Mass = Field(80.0, ge=0, description="kg for each person in the build, with kit")
    supports: Supports = Supports.model_construct()
    weld_throat: float | None = Field(
        None,
        gt=0,
        le=2,
        description="throat of the welds, in walls of the tube that is coped; when left out that "
        "of the fillet in the weld map, and a full wall in the groove round a collar",
    )
    sheet_fy: float = Field(
        140.0, gt=0, description="yield strength of the car's sheet, MPa (soft body steel)"
    )
    end_zones: Literal["soft", "stiff"] = Field(
        "soft",
        description="ends of tubes inside their parent bend as elsewhere, up to its axis, or are "
        "stiff up to its face, where stress and welds are then looked at",
    )
    case: tuple[CaseEntry, ...] = Field(min_length=1, description="load cases")
    combination: tuple[Combination, ...] = Field((), description="cases that act together")

    @model_validator(mode="after")
    def _known(self) -> Self:
        ids = [c.id for c in self.case] + [c.id for c in self.combination]
        for n, one in enumerate(ids):
            if one in ids[:n]:
                m = n - len(self.case)
                field = f"case.{n}.id" if m < 0 else f"combination.{m}.id"
                raise InputError("loads", field, problem="two cases are called this.")
        known = [x.id for x in self.case]
        for m, c in enumerate(self.combination):
            for name, factor in c.cases.items():
                field = f"combination.{m}.cases.{name}"
                if name not in known:
                    hint = did_you_mean(name, known, what="Cases")
                    raise InputError("loads", field, problem="is no case of this file.", hint=hint)
                if not factor:
                    problem = "is nothing of that case."
                    raise InputError("loads", field, problem=problem, hint="Leave it out.")
        return self

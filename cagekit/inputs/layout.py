"""A layout: which members a cage has and how each hangs on the others."""

from typing import Literal, Self

from pydantic import Field, model_validator

from cagekit.errors import InputError
from cagekit.inputs.entries import AnyEntry
from cagekit.inputs.fields import FileModel, Length, Name
from cagekit.inputs.messages import problem_and_cure
from cagekit.inputs.plate import AnyPlateEntry

FOOT_PLATE = 3.0
"""Plate between floor sheet and tube, and of every plate that says nothing else, mm."""


class Layout(FileModel):
    """A layout preset."""

    kind: Literal["layout"] = "layout"
    name: Name
    description: str = ""
    source: str = ""
    units: Literal["mm", "in"] = "mm"
    member: tuple[AnyEntry, ...] = Field(
        min_length=1, description="members in the order they are built"
    )
    plate: tuple[AnyPlateEntry, ...] = Field(
        (), description="plates, gussets and tabs, see the plate presets"
    )
    foot_plate: Length = Field(
        FOOT_PLATE, ge=0, description="thickness of plate between floor sheet and tube"
    )

    @model_validator(mode="after")
    def _all_read(self) -> Self:
        for n, entry in enumerate(self.member):
            for name, why in entry.idle().items():
                problem, hint = problem_and_cure(why)
                raise InputError("layout", f"member.{n}.{name}", problem=problem, hint=hint)
        return self

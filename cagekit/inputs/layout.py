"""A layout: which members a cage has and how each hangs on the others."""

from collections.abc import Mapping
from typing import Literal, Self

from pydantic import Field, model_validator

from cagekit.errors import InputError
from cagekit.inputs.entries import AnyEntry
from cagekit.inputs.fields import FileModel, Length, Name
from cagekit.inputs.messages import problem_and_cure
from cagekit.inputs.plate import AnyPlateEntry

FOOT_PLATE: Mapping[Literal["mm", "in"], float] = {"mm": 3.0, "in": 3.175}
"""Plate between floor sheet and tube, and of every plate that says nothing else, mm: by the build's
units, as it is sold in them (common practice)."""


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
    foot_plate: Length | None = Field(
        None, ge=0, description="thickness of plate between floor sheet and tube; 3 mm or 1/8 in"
    )
    foot_plate_inch: Length | None = Field(
        None,
        ge=0,
        description="the same in builds in inches, as plate is sold there, when not `foot_plate`",
    )

    def foot_plate_in(self, units: Literal["mm", "in"]) -> float:
        """Thickness of plate between floor sheet and tube in a build in these units, mm."""
        inches = self.foot_plate_inch if units == "in" else None
        own = self.foot_plate if inches is None else inches
        return FOOT_PLATE[units] if own is None else own

    @model_validator(mode="after")
    def _all_read(self) -> Self:
        for n, entry in enumerate(self.member):
            for name, why in entry.idle().items():
                problem, hint = problem_and_cure(why)
                raise InputError("layout", f"member.{n}.{name}", problem=problem, hint=hint)
        return self

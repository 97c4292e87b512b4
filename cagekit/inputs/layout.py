"""A layout: which members a cage has and how each hangs on the others."""

from typing import Literal

from pydantic import Field

from cagekit.inputs.entries import AnyEntry
from cagekit.inputs.fields import FileModel, Length
from cagekit.inputs.plate import AnyPlateEntry

FOOT_PLATE = 3.0
"""Plate between floor sheet and tube, and of every plate that says nothing else, mm."""


class Layout(FileModel):
    """A layout preset."""

    kind: Literal["layout"] = "layout"
    name: str
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

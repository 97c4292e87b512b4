"""Dimensions of a bracket or sleeve of a swing-out bar, as typed after ``cagekit part KIND``."""

from __future__ import annotations

from math import pi
from typing import Literal

from pydantic import Field

from cagekit.inputs.fields import Angle, FileModel, Length


class SleeveDims(FileModel):
    """The sleeve that is welded through the bar for its pin."""

    od: Length = Field(41.275, gt=0, description="outside diameter of the bar")
    pin_size: str = Field("3/8", description="pin, e.g. 3/8 or M10")
    sleeve_od: Length | None = Field(None, gt=0, description="outside; as the pin's table if none")
    sleeve_bore: Length | None = Field(None, gt=0, description="bore; as the pin's table if none")
    sleeve_stand: Length = Field(0.5, ge=0, description="stands out of the bar on each side")


class BracketDims(SleeveDims):
    """A bracket of one joint with its sleeve, washers and pin."""

    design: Literal["saddle", "cheeks"] = Field(
        "saddle", description="folded saddle over the cut, or two flat cheeks"
    )
    thickness: Length = Field(4.7625, gt=0, description="thickness of the plate")
    material: str = Field("a36", description="steel")
    pin: Literal["bolt", "quick-release"] = Field("bolt", description="bolt or quick-release pin")
    pin_grade: str | None = Field(None, description="of the bolt, e.g. grade-8 or 10.9")
    pin_offset: Length | None = Field(
        None, gt=0, description="cut to the pin; as short as the swing allows if not given"
    )
    hole: Length | None = Field(None, gt=0, description="in the plate; as the pin's table if none")
    spacer: Length | None = Field(None, ge=0, description="spacer washers; as the table if none")
    ear: Length = Field(16.0, gt=0, description="radius of the plate about the pin")
    overlap: Length = Field(50.8, gt=0, description="bracket on the stub, from the cut")
    ligament: Length = Field(6.0, gt=0, description="bar left between sleeve and bar end")
    clearance: Length = Field(1.0, gt=0, description="least gap of bar and stub through the swing")
    cut_gap: Length = Field(2.0, gt=0, description="width of the saw cut")
    open_angle: Angle = Field(pi / 2, gt=0.1, le=3.0, description="how far the bar swings")
    stop_gap: Length = Field(0.2, ge=0, description="closed bar to the steel it bears on")
    reach: Length = Field(41.3, gt=0, description="stop past the latch pin")
    cup: Literal["latch", "none"] | None = Field(
        None, description="half cup at the latch; yes with cheeks"
    )
    cup_wall: Length = Field(3.2, gt=0, description="wall of the half cup")
    cup_overlap: Length = Field(30.0, gt=0, description="half cup on the stub")
    weld_leg: Length = Field(4.0, gt=0, description="leg of the welds")
    fold_radius: Length | None = Field(
        None, ge=0, description="inside radius; thickness if not given"
    )

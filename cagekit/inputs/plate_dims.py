"""Dimensions of a single plate, as typed after ``cagekit part KIND``."""

from __future__ import annotations

from math import radians
from typing import Literal

from pydantic import Field

from cagekit.inputs.fields import Angle, FileModel, Length


class PlateDims(FileModel):
    """What every plate has."""

    thickness: Length = Field(3.0, gt=0, description="thickness of the plate")
    material: str = Field("s235", description="steel")


class FloorPlateDims(PlateDims):
    """A floor plate under one tube, flat or folded once beside the foot."""

    od: Length = Field(45.0, ge=5, description="outside diameter of the tube")
    lean: Angle = Field(0.0, ge=0, lt=1.2, description="tube off square to the plate")
    length: Length = Field(150.0, gt=0, description="fore and aft")
    width: Length = Field(150.0, gt=0, description="across, along the sheet when folded")
    corner_radius: Length = Field(15.0, ge=0, description="rounding of the corners")
    fix: Literal["welded", "bolted"] = Field("welded", description="welded or bolted")
    bolts: int = Field(4, ge=2, le=8, description="bolts when bolted")
    bolt_size: str = Field("M10", description="bolt, e.g. M10 or 3/8-16")
    bolt_grade: str = Field("8.8", description="its grade, e.g. 8.8 or grade-5")
    plugs: int = Field(0, ge=0, le=12, description="plug weld holes when welded")
    sheet: Length = Field(1.0, gt=0, description="thickness of the car's floor")
    backing: Length = Field(0.0, ge=0, description="thickness of a backing plate; 0 for none")
    fold_at: Length = Field(0.0, ge=0, description="foot to the corner of the floor; 0: flat plate")
    fold_angle: Angle = Field(radians(60), description="turn of the floor there, up positive")
    fold_radius: Length | None = Field(
        None, ge=0, description="inside radius; thickness if not given"
    )
    k: float = Field(0.42, gt=0, le=0.5, description="neutral axis over thickness")


class GussetDims(PlateDims):
    """A sheet gusset in the corner of two straight tubes."""

    style: Literal["flat", "folded"] = Field("flat", description="flat or a folded saddle")
    od_branch: Length = Field(40.0, ge=5, description="diameter of the branch")
    od_parent: Length = Field(45.0, ge=5, description="diameter of the tube that runs through")
    angle: Angle = Field(radians(60), gt=0.3, lt=2.9, description="corner between the two tubes")
    along_branch: Length = Field(80.0, gt=0, description="leg along the branch")
    along_parent: Length = Field(80.0, gt=0, description="leg along the parent")
    nose: Length = Field(8.0, ge=0, description="blunt width of the tips")
    clip: Length = Field(12.0, ge=0, description="cut off the inner corner")
    weld_gap: Length = Field(1.0, ge=0, description="gap to the tubes")
    hole: Length | None = Field(None, ge=0, description="lightening hole; 0 for none")
    fold_radius: Length | None = Field(
        None, ge=0, description="inside radius; thickness if not given"
    )
    k: float = Field(0.42, gt=0, le=0.5, description="neutral axis over thickness")


class TabDims(PlateDims):
    """A tab, or a clevis of two, square on a straight tube."""

    thickness: Length = Field(5.0, gt=0, description="thickness of the plate")
    od: Length = Field(45.0, ge=5, description="outside diameter of the tube")
    hole: Length = Field(11.5, gt=0, description="hole")
    bolt: Length = Field(11.1, gt=0, description="bolt or pin in it")
    reach: Length = Field(32.0, gt=0, description="tube surface to the middle of the hole")
    width: Length = Field(56.0, gt=0, description="width at the tube")
    ear: Length = Field(20.0, gt=0, description="radius of the round end")
    weld_gap: Length = Field(0.5, ge=0, description="gap to the tube")
    count: int = Field(1, ge=1, le=2, description="2 for a clevis")
    gap: Length = Field(12.0, gt=0, description="clear width of a clevis")


class PlinthDims(PlateDims):
    """A box foot of tab-and-slot plates."""

    od: Length = Field(45.0, ge=5, description="outside diameter of the tube")
    length: Length = Field(120.0, gt=0, description="fore and aft, of the top")
    width: Length = Field(120.0, gt=0, description="across, of the top")
    height: Length = Field(60.0, gt=0, description="floor to the top's face")
    wall: Length = Field(3.0, gt=0, description="thickness of the walls")
    corner_radius: Length = Field(6.0, ge=0, description="rounding of top and base")


class OutriggerBoxDims(PlateDims):
    """An outrigger made of plate."""

    length: Length = Field(260.0, gt=0, description="from frame or tunnel to the sill")
    width: Length = Field(70.0, gt=0, description="fore and aft")
    height: Length = Field(50.0, gt=0, description="top to lower edge")

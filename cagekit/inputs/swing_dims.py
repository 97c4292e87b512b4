"""A joint of a swing-out bar alone, as typed after ``cagekit part KIND``."""

from __future__ import annotations

from math import pi

from pydantic import Field

from cagekit.inputs.entries import CUT_GAP
from cagekit.inputs.fields import Angle, FileModel, Length
from cagekit.inputs.plate import Sleeve, SwingBracket


class BarDims(FileModel):
    """The bar."""

    od: Length = Field(41.275, gt=0, description="outside diameter of the bar")


class SleeveDims(Sleeve, BarDims):
    """Sleeve through a swing-out bar."""


class BracketDims(SwingBracket, BarDims):
    """A bracket of one joint with its sleeve, washers and pin."""

    cut_gap: Length = Field(CUT_GAP, gt=0, description="width of the saw cut")
    open_angle: Angle = Field(pi / 2, gt=0.1, le=3.0, description="how far the bar swings")


class HingeDims(BracketDims):
    """Hinge of a swing-out bar: saddle or cheeks, sleeve, bolt."""


class LatchDims(BracketDims):
    """Latch of a swing-out bar: saddle or cheeks with half cup, sleeve, pin."""

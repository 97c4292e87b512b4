"""A joint of a swing-out bar alone, as typed after ``cagekit part KIND``."""

from collections.abc import Mapping

from pydantic import Field

from cagekit.inputs.entries import CutForm
from cagekit.inputs.fields import FileModel, Length
from cagekit.inputs.swing_bracket import Sleeve, SwingBracket


class BarDims(FileModel):
    """The bar."""

    od: Length = Field(41.275, gt=0, description="outside diameter of the bar")


class SleeveDims(Sleeve, BarDims):
    """Sleeve through a swing-out bar."""


class BracketDims(CutForm, SwingBracket, BarDims):
    """A bracket of one joint with its sleeve, washers and pin."""


class HingeDims(BracketDims):
    """Hinge of a swing-out bar: saddle or cheeks, sleeve, bolt."""

    def idle(self) -> Mapping[str, str]:
        """Dimensions that nothing is made of, and why."""
        return self.idle_at("hinge")


class LatchDims(BracketDims):
    """Latch of a swing-out bar: saddle or cheeks with half cup, sleeve, pin."""

    def idle(self) -> Mapping[str, str]:
        """Dimensions that nothing is made of, and why."""
        return self.idle_at("latch")

"""What a layout, a build or a preset may say about the brackets of a swing-out door bar."""

from collections.abc import Mapping
from typing import Literal

from pydantic import Field

from cagekit.inputs.fields import FileModel, Length
from cagekit.inputs.places import SwingField, SwingName
from cagekit.inputs.plate import PlateEntry, PlateSizes


class Sleeve(FileModel):
    """The sleeve that is welded through a swing-out bar for its pin."""

    pin_size: str | None = Field(
        None, description="size in the pin table; 3/8 in inch builds, M10 in metric ones"
    )
    sleeve_od: Length | None = Field(None, gt=0, description="when not the table's")
    sleeve_bore: Length | None = Field(None, gt=0, description="when not the table's")
    sleeve_stand: Length = Field(
        0.5, ge=0, description="how far the sleeve stands out of the bar on each side"
    )


class SwingBracket(Sleeve, PlateSizes):
    """Sizes of the brackets of one joint, with sleeve, washers and pin."""

    design: Literal["saddle", "cheeks"] = Field(
        "saddle", description="folded saddle over the cut, or two flat cheeks"
    )
    pin: Literal["bolt", "quick-release"] | None = Field(
        None, description="bolt at the hinge, quick-release pin at the latch when left out"
    )
    pin_grade: str | None = Field(
        None, description="of the bolt; grade-8 in inch builds, 10.9 in metric ones"
    )
    pin_offset: Length | None = Field(
        None, gt=0, description="stub's cut to the pin; as short as the swing allows if left out"
    )
    hole: Length | None = Field(None, gt=0, description="in the plate, when not the table's")
    spacer: Length | None = Field(
        None, ge=0, description="thickness of the spacer washers, when not the table's"
    )
    side_play: Length | None = Field(
        None, ge=0, description="plates to spacers, both sides together, when not the table's"
    )
    ear: Length = Field(16.0, gt=0, description="radius of the plate about the pin")
    corner_radius: Length = Field(6.0, ge=0, le=6.0, description="rounding of the outer corners")
    overlap: Length = Field(50.0, gt=0, description="bracket on the stub, from the cut")
    ligament: Length = Field(6.0, gt=0, description="bar left between sleeve and bar end")
    clearance: Length = Field(
        1.0, gt=0, description="least gap between bar and stub through the swing"
    )
    stop_gap: Length = Field(
        0.2, ge=0, description="closed bar to the steel it bears on; less than the play of the pin"
    )
    reach: Length = Field(
        41.3, gt=0, description="how far saddle web or half cup reach past the latch pin"
    )
    cup: Literal["latch", "none"] | None = Field(
        None, description="half cup behind the bar at the latch; yes with cheeks"
    )
    cup_wall: Length = Field(3.2, gt=0, description="wall of the half cup")
    cup_overlap: Length = Field(30.0, gt=0, description="half cup on the stub")
    weld_leg: Length = Field(4.0, gt=0, description="leg of the welds")
    fold_radius: Length | None = Field(None, ge=0, description="inside, when not the brake's")

    def idle_at(self, joint: str) -> Mapping[str, str]:
        """Fields that nothing is made of at a hinge or a latch, and why."""
        cheeks = self.design == "cheeks"
        cup = joint == "latch" and (self.cup or ("latch" if cheeks else "none")) == "latch"
        out: dict[str, str] = {}
        if cheeks:
            why = "flat cheeks have no folds. Say design = 'saddle', or leave it out."
            out["fold_radius"] = why
        if joint == "hinge":
            out["cup"] = "the half cup stands at the latch. Leave it out of the hinge."
        if not cup:
            why = "there is no half cup. Give the latch cheeks, or leave it out."
            out |= dict.fromkeys(("cup_wall", "cup_overlap"), why)
        if (self.pin or ("bolt" if joint == "hinge" else "quick-release")) != "bolt":
            out["pin_grade"] = "the pin is no bolt. Say pin = 'bolt', or leave it out."
        return out


class SwingBracketEntry(SwingBracket, PlateEntry):
    """Brackets that a swing-out door bar hangs on and latches to.

    ``at`` is empty for all swing-out bars, a bar (``door_bar_left``), its role (``door_bar``), an
    end (``hinge``, ``latch``) or a bar's end (``door_bar_left hinge``). Later entries win.
    """

    kind: Literal["swing_bracket"]
    at: SwingField = Field(
        default_factory=SwingName, description="where it goes; every joint when left out"
    )

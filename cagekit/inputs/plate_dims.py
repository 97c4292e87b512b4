"""A plate alone, as typed after ``cagekit part KIND``: its sizes and what it is fitted to."""

from collections.abc import Mapping
from math import radians
from typing import Any, Literal

from pydantic import Field, ValidationInfo, model_validator

from cagekit.geometry.fold import DEFAULT_K
from cagekit.inputs.fields import Angle, FileModel, Length
from cagekit.inputs.layout import FOOT_PLATE
from cagekit.inputs.plate import (
    PLATE_BOLT,
    PLATE_STEEL,
    BoxFoot,
    FlatPlate,
    FloorPlateEntry,
    Gusset,
    OutriggerBox,
    Tab,
    idle_under_a_foot,
)


def _sentences(idle: Mapping[str, str]) -> Mapping[str, str]:
    """What is said of a plate, for a plate alone."""
    return {n: why if why.startswith("the ") else f"the plate {why}" for n, why in idle.items()}


class PlateAlone(FileModel):
    """What a build would say of every plate."""

    thickness: Length = Field(FOOT_PLATE["mm"], gt=0, description="plate thickness")

    @model_validator(mode="before")
    @classmethod
    def _of_the_units(cls, typed: Any, info: ValidationInfo) -> Any:
        """Plate, steel and bolts that nobody named, by the units that were typed in, as a build."""
        if not isinstance(typed, Mapping):
            return typed
        context = info.context if isinstance(info.context, Mapping) else {}
        units = context.get("units", "mm")
        plate = f"{FOOT_PLATE[units]!r} mm"
        out = {"material": PLATE_STEEL[units], "thickness": plate, **typed}
        if "bolts" in cls.model_fields and not {"bolt_size", "bolt_grade"} & set(typed):
            out["bolt_size"], out["bolt_grade"] = PLATE_BOLT[units]
        return out


class Folded(FileModel):
    """What a shop would say of a folded plate."""

    fold_radius: Length | None = Field(
        None, ge=0, description="inside radius; thickness if not given"
    )
    k: float = Field(DEFAULT_K, gt=0, le=0.5, description="neutral axis over thickness")


class FloorPlateDims(PlateAlone, Folded, FlatPlate):
    """Floor plate, flat or folded, bolted or welded."""

    od: Length = Field(45.0, ge=5, description="outside diameter of the tube")
    lean: Angle = Field(0.0, ge=0, le=radians(70), description="tube off square to the plate")
    sheet: Length = Field(1.0, gt=0, description="thickness of the car's floor")
    fold_at: Length = Field(0.0, ge=0, description="foot to the corner of the floor; 0: flat plate")
    fold_angle: Angle = Field(radians(60), description="turn of the floor there, up positive")

    def idle(self) -> Mapping[str, str]:
        """Dimensions that nothing is made of, and why."""
        folded = bool(self.fold_at)
        out = idle_under_a_foot(self, "folded" if folded else "flat", folded=folded)
        flat = "the plate is flat. Say `fold_at` or a flange, or leave it out."
        if not folded:
            out["fold_angle"] = "the floor has no corner. Say where in `fold_at`, or leave it out."
            if not (self.front_flange or self.rear_flange):
                out |= dict.fromkeys(("fold_radius", "k"), flat)
        return _sentences(out)


class GussetDims(PlateAlone, Folded, Gusset):
    """Flat sheet gusset with lightening hole."""

    od_branch: Length = Field(40.0, ge=5, description="diameter of the branch")
    od_parent: Length = Field(45.0, ge=5, description="diameter of the tube that runs through")
    angle: Angle = Field(
        radians(60), ge=radians(18), le=radians(165), description="corner between the two tubes"
    )

    def idle(self) -> Mapping[str, str]:
        """As of any gusset; a flat one has no neutral axis either."""
        out = dict(super().idle())
        return {**out, "k": out["fold_radius"]} if "fold_radius" in out else out


class FoldedGussetDims(GussetDims):
    """Folded gusset, a saddle over both tubes."""

    style: Literal["flat", "folded"] = Field("folded", description="flat is the plain gusset")


class TabDims(PlateAlone, Tab):
    """Tab or clevis on a tube: harness, seat, net."""

    od: Length = Field(45.0, ge=5, description="outside diameter of the tube")
    bolt: Length | None = Field(None, gt=0, description="diameter of a pin that has no bolt_size")

    def idle(self) -> Mapping[str, str]:
        """As of any tab; a bolt of the table has its diameter."""
        if not self.bolt_size:
            return super().idle()
        why = "`bolt_size` says the diameter already. Leave out one of the two."
        return {**super().idle(), "bolt": why}


class PlinthDims(PlateAlone, BoxFoot):
    """Box foot of tab-and-slot plates."""

    od: Length = Field(45.0, ge=5, description="outside diameter of the tube")
    height: Length = Field(
        FloorPlateEntry.model_fields["plinth_height"].default,
        gt=0,
        description="floor sheet to the top of the box",
    )

    def idle(self) -> Mapping[str, str]:
        """Dimensions that nothing is made of, and why."""
        return _sentences(idle_under_a_foot(self, "plinth", folded=False))


class OutriggerBoxDims(PlateAlone, OutriggerBox):
    """Outrigger made of plate."""

    length: Length = Field(260.0, gt=0, description="from frame or tunnel to the sill")

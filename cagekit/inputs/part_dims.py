"""Dimensions of a single part, as typed after ``cagekit part KIND``.

A part stands on its own: no car, no layout. A coped end meets a stub of the tube it will be
welded to, which is not part of what is made. What a member is like in any car (its lean, a bow) it
shares with the entry of a file; what an entry takes from the car stands here as dimensions. Sizes
are from memory, of a compact closed car.
"""

from collections.abc import Mapping
from copy import copy
from math import pi
from typing import Any, Literal, cast

from pydantic import Field, create_model

from cagekit.inputs.entries import HaloForm, HoopForm, PillarBarForm, form_of
from cagekit.inputs.fields import Angle, FileModel, Length
from cagekit.inputs.member_kinds import MEMBER_KINDS, MemberRow
from cagekit.units.tolerance import ANGLE_ROUNDING


class TubeDims(FileModel):
    """The tube."""

    od: Length = Field(41.275, gt=0, description="outside diameter of the tube")
    wall: Length = Field(3.4036, gt=0, description="wall of the tube")
    material: str = Field("1020-dom", description="steel, see `cagekit show` of a tube preset")
    bend_radius: Length = Field(152.4, gt=0, description="centre-line radius of every bend")


class MainHoopDims(HoopForm, TubeDims):
    """Main hoop, floor to floor behind the driver."""

    width_foot: Length = Field(1220.0, gt=0, description="between the axes of the legs at the feet")
    width_belt: Length = Field(1340.0, gt=0, description="between the axes at the belt line")
    width_top: Length = Field(
        980.0, gt=0, description="between the corners of the top bends, on the axis"
    )
    height_belt: Length = Field(560.0, gt=0, description="belt line above the feet")
    height: Length = Field(1120.0, gt=0, description="axis of the top above the feet")
    reach_belt: Length = Field(0.0, description="belt line behind (negative) or ahead of the feet")
    reach_top: Length = Field(0.0, description="top behind (negative) or ahead of the feet")

    def idle(self) -> Mapping[str, str]:
        """Dimensions that nothing is made of, and why."""
        if not self.straight_legs:
            return {}
        why = "the legs are straight from foot to top bend. Leave it out, or straight_legs."
        return dict.fromkeys(("width_belt", "height_belt", "reach_belt"), why)


class FrontHoopDims(TubeDims):
    """Front hoop, up the pillars and across the header."""

    width_foot: Length = Field(1220.0, gt=0, description="between the axes of the legs at the feet")
    width_belt: Length = Field(1310.0, gt=0, description="between the axes at the pillars' bases")
    width_top: Length = Field(
        950.0, gt=0, description="between the corners of the top bends, on the axis"
    )
    height_belt: Length = Field(600.0, gt=0, description="pillars' bases above the feet")
    height: Length = Field(1040.0, gt=0, description="axis of the top above the feet")
    reach_belt: Length = Field(
        40.0, description="pillars' bases behind (negative) or ahead of the feet"
    )
    reach_top: Length = Field(-430.0, description="top behind (negative) or ahead of the feet")


class HaloDims(HaloForm, TubeDims):
    """Roof loop from the main hoop across the header."""

    width_rear: Length = Field(1060.0, gt=0, description="between the legs' axes at the nodes")
    width_front: Length = Field(
        930.0, gt=0, description="between the corners of the front bends, on the axis"
    )
    length: Length = Field(
        790.0, gt=0, description="from the legs' axes to the axis of the header, level"
    )
    rise: Length = Field(20.0, description="header above the nodes")
    parent_od: Length = Field(41.275, gt=0, description="diameter of the legs")


class StandingDims(TubeDims):
    """A tube that stands on the floor, goes up to the pillar's base and along the pillar."""

    leg_height: Length = Field(600.0, gt=0, description="lower bend above the foot")
    leg_run: Length = Field(25.0, description="lower bend ahead of the foot")
    leg_splay: Length = Field(70.0, description="lower bend outboard of the foot")
    slope_run: Length = Field(
        515.0, gt=0, description="upper end of the sloping part behind the lower bend"
    )
    slope_rise: Length = Field(
        375.0, gt=0, description="upper end of the sloping part above the lower bend"
    )
    slope_splay: Length = Field(
        -180.0, description="upper end of the sloping part outboard of the lower bend"
    )
    parent_od: Length = Field(41.275, gt=0, description="diameter of the tube at the top")
    parent_runs: Literal["forward", "across", "up"] = Field(
        "forward", description="which way that tube runs"
    )


class PillarBarDims(PillarBarForm, StandingDims):
    """A-pillar bar, from the halo down the pillar to its foot."""


class HalfHoopDims(StandingDims):
    """Half hoop, from its foot up the pillar and back to the main hoop."""

    slope_run: Length = Field(420.0, gt=0, description="upper bend behind the lower bend")
    slope_rise: Length = Field(340.0, gt=0, description="upper bend above the lower bend")
    slope_splay: Length = Field(-170.0, description="upper bend outboard of the lower bend")
    roof_run: Length = Field(760.0, gt=0, description="node behind the upper bend")
    roof_rise: Length = Field(20.0, description="node above the upper bend")
    roof_splay: Length = Field(30.0, description="node outboard of the upper bend")
    parent_runs: Literal["forward", "across", "up"] = Field(
        "up", description="which way that tube runs"
    )


class StrutDims(TubeDims):
    """A straight tube between two ends, each coped to a tube or flat on a plate."""

    length: Length = Field(1000.0, gt=0, description="between the theoretical ends, straight")
    end_a: Literal["cope", "flat"] = Field(
        "cope", description="end a: coped to a tube or flat on a plate"
    )
    end_b: Literal["cope", "flat"] = Field(
        "cope", description="end b: coped to a tube or flat on a plate"
    )
    angle_a: Angle = Field(
        1.5707963267948966,
        gt=0,
        lt=3.1415926535,
        description="between this axis and the parent's (coped) or the plate (flat) at end a",
    )
    angle_b: Angle = Field(1.5707963267948966, gt=0, lt=3.1415926535, description="same at end b")
    parent_od_a: Length = Field(41.275, gt=0, description="diameter of the tube at end a")
    parent_od_b: Length = Field(41.275, gt=0, description="diameter of the tube at end b")
    offset_a: Length = Field(0.0, description="distance of the two axes at end a; 0: they meet")
    offset_b: Length = Field(0.0, description="distance of the two axes at end b; 0: they meet")
    twist: Angle = Field(0.0, description="turn of end b against end a about the tube's axis")

    def idle(self) -> Mapping[str, str]:
        """Dimensions that nothing is made of, and why."""
        out: dict[str, str] = {}
        for end in "ab":
            if getattr(self, f"end_{end}") == "flat":
                why = f"end {end} is flat on a plate. Say end_{end} = 'cope', or leave it out."
                out |= dict.fromkeys((f"parent_od_{end}", f"offset_{end}"), why)
        if not getattr(self, "set_back", 0.0):
            out["bend_radius"] = "the tube is straight. Leave it out."
        if any(self._square_flat(end) for end in "ab"):
            out["twist"] = "an end that is flat and square looks the same all round. Leave it out."
        return out

    def _square_flat(self, end: str) -> bool:
        """Whether an end stands square on a plate."""
        flat = getattr(self, f"end_{end}") == "flat"
        return flat and bool(abs(getattr(self, f"angle_{end}") - pi / 2) < ANGLE_ROUNDING)


def _sized(kind: str, row: MemberRow) -> type[StrutDims]:
    """The dimensions of one kind of strut: its own sizes where they are not those of any strut."""
    usual = StrutDims.model_validate(dict(row.part), context={"units": "mm"})
    fields: dict[str, Any] = {}
    for name in row.part:
        info = copy(StrutDims.model_fields[name])
        info.default = getattr(usual, name)
        fields[name] = (info.annotation, info)
    bases = cast(tuple[type[StrutDims], ...], (*form_of(kind), StrutDims))
    return create_model(
        f"{kind.title().replace('_', '')}Dims",
        __base__=bases,
        __module__=__name__,
        __doc__=f"{row.about[0].upper()}{row.about[1:]}.",
        **fields,
    )


LOOP_DIMS: Mapping[str, type[TubeDims]] = {
    "main_hoop": MainHoopDims,
    "front_hoop": FrontHoopDims,
    "halo": HaloDims,
    "a_pillar_bar": PillarBarDims,
    "half_hoop": HalfHoopDims,
}
"""Dimensions of the kinds that are no struts."""

TUBE_DIMS: Mapping[str, type[TubeDims]] = {
    kind: LOOP_DIMS[kind] if kind in LOOP_DIMS else _sized(kind, row)
    for kind, row in MEMBER_KINDS.items()
}
"""Dimensions of every kind of member that can be made alone."""

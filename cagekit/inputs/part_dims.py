"""Dimensions of a single part, as typed after ``cagekit part KIND``.

A part stands on its own: no car, no layout. A coped end meets a stub of the tube it will be
welded to, which is not part of what is made.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from cagekit.inputs.fields import Angle, FileModel, Length


class TubeDims(FileModel):
    """The tube."""

    od: Length = Field(41.275, gt=0, description="outside diameter of the tube")
    wall: Length = Field(3.4036, gt=0, description="wall of the tube")
    material: str = Field("1020-dom", description="steel, see `cagekit show` of a tube preset")
    bend_radius: Length = Field(152.4, gt=0, description="centre-line radius of every bend")


class HoopDims(TubeDims):
    """A hoop from floor to floor in one plane or bent forward at the pillars."""

    width_foot: Length = Field(1220.0, gt=0, description="between the axes of the legs at the feet")
    width_belt: Length = Field(1340.0, gt=0, description="between the axes at the belt line")
    width_top: Length = Field(
        980.0, gt=0, description="between the corners of the top bends, on the axis"
    )
    height_belt: Length = Field(560.0, gt=0, description="belt line above the feet")
    height: Length = Field(1120.0, gt=0, description="axis of the top above the feet")
    reach_belt: Length = Field(0.0, description="belt line behind (negative) or ahead of the feet")
    reach_top: Length = Field(0.0, description="top behind (negative) or ahead of the feet")


class HaloDims(TubeDims):
    """A halo between two upright legs."""

    width_rear: Length = Field(1060.0, gt=0, description="between the legs' axes at the nodes")
    width_front: Length = Field(
        930.0, gt=0, description="between the corners of the front bends, on the axis"
    )
    length: Length = Field(
        790.0, gt=0, description="from the legs' axes to the axis of the header, level"
    )
    rise: Length = Field(20.0, description="header above the nodes")
    parent_od: Length = Field(41.275, gt=0, description="diameter of the legs")


class CrankedDims(TubeDims):
    """A tube with bends that stands on the floor and is coped at the top."""

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
    roof_run: Length = Field(0.0, ge=0, description="node behind the upper bend; 0: no upper bend")
    roof_rise: Length = Field(0.0, description="node above the upper bend")
    roof_splay: Length = Field(0.0, description="node outboard of the upper bend")
    parent_od: Length = Field(41.275, gt=0, description="diameter of the tube at the top")
    parent_runs: Literal["forward", "across", "up"] = Field(
        "forward", description="which way that tube runs"
    )


class StrutDims(TubeDims):
    """A straight tube between two ends, each coped to a tube or flat on a plate."""

    length: Length = Field(1000.0, gt=0, description="between the theoretical ends, along the axis")
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

"""cagekit: exact safety cages for race cars from a few measurements."""

# Made by `python -m cagekit.face.stub > cagekit/__init__.pyi`; a test holds it.
# ruff: noqa
# fmt: off
from typing import Any, Literal

from cagekit.checks.finding import Finding as Finding
from cagekit.face.design import CageDesign as CageDesign, load as load
from cagekit.face.kinds import kinds as kinds, part as part
from cagekit.face.plate_part import PlatePart as PlatePart
from cagekit.face.tables import Table as Table
from cagekit.face.tube_part import TubePart as TubePart, TubeSpot as TubeSpot
from cagekit.face.tube_part import between as between
from cagekit.version import __version__ as __version__

__all__: list[str]

def main_hoop(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    lean: float = 0,
    straight_legs: bool = False,
    width_foot: float | str = 1220,
    width_belt: float | str = 1340,
    width_top: float | str = 980,
    height_belt: float | str = 560,
    height: float | str = 1120,
    reach_belt: float | str = 0,
    reach_top: float | str = 0,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Main hoop, floor to floor behind the driver.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        lean: lean of the hoop's plane, degrees, positive backwards.
        straight_legs: one straight from foot to top bend, no belt bend.
        width_foot: between the axes of the legs at the feet.
        width_belt: between the axes at the belt line.
        width_top: between the corners of the top bends, on the axis.
        height_belt: belt line above the feet.
        height: axis of the top above the feet.
        reach_belt: belt line behind (negative) or ahead of the feet.
        reach_top: top behind (negative) or ahead of the feet.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def front_hoop(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    width_foot: float | str = 1220,
    width_belt: float | str = 1310,
    width_top: float | str = 950,
    height_belt: float | str = 600,
    height: float | str = 1040,
    reach_belt: float | str = 40,
    reach_top: float | str = -430,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Front hoop, up the pillars and across the header.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        width_foot: between the axes of the legs at the feet.
        width_belt: between the axes at the pillars' bases.
        width_top: between the corners of the top bends, on the axis.
        height_belt: pillars' bases above the feet.
        height: axis of the top above the feet.
        reach_belt: pillars' bases behind (negative) or ahead of the feet.
        reach_top: top behind (negative) or ahead of the feet.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def halo(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    rail_bow: float | str = 0,
    width_rear: float | str = 1060,
    width_front: float | str = 930,
    length: float | str = 790,
    rise: float | str = 20,
    parent_od: float | str = 41.275,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Roof loop from the main hoop across the header.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        rail_bow: how far the side rails stand out from a straight at mid length (adds a bend each side).
        width_rear: between the legs' axes at the nodes.
        width_front: between the corners of the front bends, on the axis.
        length: from the legs' axes to the axis of the header, level.
        rise: header above the nodes.
        parent_od: diameter of the legs.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def a_pillar_bar(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    leg_height: float | str = 600,
    leg_run: float | str = 25,
    leg_splay: float | str = 70,
    slope_run: float | str = 515,
    slope_rise: float | str = 375,
    slope_splay: float | str = -180,
    parent_od: float | str = 41.275,
    parent_runs: Literal["forward", "across", "up"] = 'forward',
    outboard: float | str = 0,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """A-pillar bar, from the halo down the pillar to its foot.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        leg_height: lower bend above the foot.
        leg_run: lower bend ahead of the foot.
        leg_splay: lower bend outboard of the foot.
        slope_run: upper end of the sloping part behind the lower bend.
        slope_rise: upper end of the sloping part above the lower bend.
        slope_splay: upper end of the sloping part outboard of the lower bend.
        parent_od: diameter of the tube at the top.
        parent_runs: which way that tube runs.
        outboard: moves the bend out from the pillar line (room at the wheel).
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def half_hoop(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    leg_height: float | str = 600,
    leg_run: float | str = 25,
    leg_splay: float | str = 70,
    slope_run: float | str = 420,
    slope_rise: float | str = 340,
    slope_splay: float | str = -170,
    parent_od: float | str = 41.275,
    parent_runs: Literal["forward", "across", "up"] = 'up',
    roof_run: float | str = 760,
    roof_rise: float | str = 20,
    roof_splay: float | str = 30,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Half hoop, from its foot up the pillar and back to the main hoop.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        leg_height: lower bend above the foot.
        leg_run: lower bend ahead of the foot.
        leg_splay: lower bend outboard of the foot.
        slope_run: upper bend behind the lower bend.
        slope_rise: upper bend above the lower bend.
        slope_splay: upper bend outboard of the lower bend.
        parent_od: diameter of the tube at the top.
        parent_runs: which way that tube runs.
        roof_run: node behind the upper bend.
        roof_rise: node above the upper bend.
        roof_splay: node outboard of the upper bend.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def windscreen_brace(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    length: float | str = 990,
    end_a: Literal["cope", "flat"] = 'cope',
    end_b: Literal["cope", "flat"] = 'cope',
    angle_a: float = 50,
    angle_b: float = 35,
    parent_od_a: float | str = 41.275,
    parent_od_b: float | str = 41.275,
    offset_a: float | str = 0,
    offset_b: float | str = 0,
    twist: float = 0,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Brace of the windscreen pillar.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        length: between the theoretical ends, straight.
        end_a: end a: coped to a tube or flat on a plate.
        end_b: end b: coped to a tube or flat on a plate.
        angle_a: between this axis and the parent's (coped) or the plate (flat) at end a, degrees.
        angle_b: same at end b, degrees.
        parent_od_a: diameter of the tube at end a.
        parent_od_b: diameter of the tube at end b.
        offset_a: distance of the two axes at end a; 0: they meet.
        offset_b: distance of the two axes at end b; 0: they meet.
        twist: turn of end b against end a about the tube's axis, degrees.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def harness_bar(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    length: float | str = 1330,
    end_a: Literal["cope", "flat"] = 'cope',
    end_b: Literal["cope", "flat"] = 'cope',
    angle_a: float = 90,
    angle_b: float = 90,
    parent_od_a: float | str = 41.275,
    parent_od_b: float | str = 41.275,
    offset_a: float | str = 0,
    offset_b: float | str = 0,
    twist: float = 0,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Bar across the main hoop behind the shoulders.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        length: between the theoretical ends, straight.
        end_a: end a: coped to a tube or flat on a plate.
        end_b: end b: coped to a tube or flat on a plate.
        angle_a: between this axis and the parent's (coped) or the plate (flat) at end a, degrees.
        angle_b: same at end b, degrees.
        parent_od_a: diameter of the tube at end a.
        parent_od_b: diameter of the tube at end b.
        offset_a: distance of the two axes at end a; 0: they meet.
        offset_b: distance of the two axes at end b; 0: they meet.
        twist: turn of end b against end a about the tube's axis, degrees.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def hoop_diagonal(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    length: float | str = 1480,
    end_a: Literal["cope", "flat"] = 'cope',
    end_b: Literal["cope", "flat"] = 'cope',
    angle_a: float = 40,
    angle_b: float = 42,
    parent_od_a: float | str = 41.275,
    parent_od_b: float | str = 41.275,
    offset_a: float | str = 0,
    offset_b: float | str = 0,
    twist: float = 0,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Diagonal in the plane of the main hoop.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        length: between the theoretical ends, straight.
        end_a: end a: coped to a tube or flat on a plate.
        end_b: end b: coped to a tube or flat on a plate.
        angle_a: between this axis and the parent's (coped) or the plate (flat) at end a, degrees.
        angle_b: same at end b, degrees.
        parent_od_a: diameter of the tube at end a.
        parent_od_b: diameter of the tube at end b.
        offset_a: distance of the two axes at end a; 0: they meet.
        offset_b: distance of the two axes at end b; 0: they meet.
        twist: turn of end b against end a about the tube's axis, degrees.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def roof_diagonal(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    length: float | str = 1130,
    end_a: Literal["cope", "flat"] = 'cope',
    end_b: Literal["cope", "flat"] = 'cope',
    angle_a: float = 52,
    angle_b: float = 40,
    parent_od_a: float | str = 41.275,
    parent_od_b: float | str = 41.275,
    offset_a: float | str = 0,
    offset_b: float | str = 0,
    twist: float = 0,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Diagonal in the roof.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        length: between the theoretical ends, straight.
        end_a: end a: coped to a tube or flat on a plate.
        end_b: end b: coped to a tube or flat on a plate.
        angle_a: between this axis and the parent's (coped) or the plate (flat) at end a, degrees.
        angle_b: same at end b, degrees.
        parent_od_a: diameter of the tube at end a.
        parent_od_b: diameter of the tube at end b.
        offset_a: distance of the two axes at end a; 0: they meet.
        offset_b: distance of the two axes at end b; 0: they meet.
        twist: turn of end b against end a about the tube's axis, degrees.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def door_bar(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    length: float | str = 1210,
    end_a: Literal["cope", "flat"] = 'cope',
    end_b: Literal["cope", "flat"] = 'cope',
    angle_a: float = 86,
    angle_b: float = 80,
    parent_od_a: float | str = 41.275,
    parent_od_b: float | str = 41.275,
    offset_a: float | str = 0,
    offset_b: float | str = 0,
    twist: float = 0,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Bar across the door opening.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        length: between the theoretical ends, straight.
        end_a: end a: coped to a tube or flat on a plate.
        end_b: end b: coped to a tube or flat on a plate.
        angle_a: between this axis and the parent's (coped) or the plate (flat) at end a, degrees.
        angle_b: same at end b, degrees.
        parent_od_a: diameter of the tube at end a.
        parent_od_b: diameter of the tube at end b.
        offset_a: distance of the two axes at end a; 0: they meet.
        offset_b: distance of the two axes at end b; 0: they meet.
        twist: turn of end b against end a about the tube's axis, degrees.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def dash_bar(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    length: float | str = 1310,
    end_a: Literal["cope", "flat"] = 'cope',
    end_b: Literal["cope", "flat"] = 'cope',
    angle_a: float = 90,
    angle_b: float = 90,
    parent_od_a: float | str = 41.275,
    parent_od_b: float | str = 41.275,
    offset_a: float | str = 0,
    offset_b: float | str = 0,
    twist: float = 0,
    set_back: float | str = 0,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Bar across the dash.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        length: between the theoretical ends, straight.
        end_a: end a: coped to a tube or flat on a plate.
        end_b: end b: coped to a tube or flat on a plate.
        angle_a: between this axis and the parent's (coped) or the plate (flat) at end a, degrees.
        angle_b: same at end b, degrees.
        parent_od_a: diameter of the tube at end a.
        parent_od_b: diameter of the tube at end b.
        offset_a: distance of the two axes at end a; 0: they meet.
        offset_b: distance of the two axes at end b; 0: they meet.
        twist: turn of end b against end a about the tube's axis, degrees.
        set_back: middle of the bar behind the straight between its nodes, with two bends; negative: ahead of it.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def outrigger(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    length: float | str = 520,
    end_a: Literal["cope", "flat"] = 'flat',
    end_b: Literal["cope", "flat"] = 'flat',
    angle_a: float = 90,
    angle_b: float = 90,
    parent_od_a: float | str = 41.275,
    parent_od_b: float | str = 41.275,
    offset_a: float | str = 0,
    offset_b: float | str = 0,
    twist: float = 0,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Tube under a foot, frame to sill.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        length: between the theoretical ends, straight.
        end_a: end a: coped to a tube or flat on a plate.
        end_b: end b: coped to a tube or flat on a plate.
        angle_a: between this axis and the parent's (coped) or the plate (flat) at end a, degrees.
        angle_b: same at end b, degrees.
        parent_od_a: diameter of the tube at end a.
        parent_od_b: diameter of the tube at end b.
        offset_a: distance of the two axes at end a; 0: they meet.
        offset_b: distance of the two axes at end b; 0: they meet.
        twist: turn of end b against end a about the tube's axis, degrees.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def rocker_brace(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    length: float | str = 360,
    end_a: Literal["cope", "flat"] = 'cope',
    end_b: Literal["cope", "flat"] = 'flat',
    angle_a: float = 40,
    angle_b: float = 40,
    parent_od_a: float | str = 41.275,
    parent_od_b: float | str = 41.275,
    offset_a: float | str = 0,
    offset_b: float | str = 0,
    twist: float = 0,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Brace from a leg to the sill.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        length: between the theoretical ends, straight.
        end_a: end a: coped to a tube or flat on a plate.
        end_b: end b: coped to a tube or flat on a plate.
        angle_a: between this axis and the parent's (coped) or the plate (flat) at end a, degrees.
        angle_b: same at end b, degrees.
        parent_od_a: diameter of the tube at end a.
        parent_od_b: diameter of the tube at end b.
        offset_a: distance of the two axes at end a; 0: they meet.
        offset_b: distance of the two axes at end b; 0: they meet.
        twist: turn of end b against end a about the tube's axis, degrees.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def tube_gusset(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    length: float | str = 255,
    end_a: Literal["cope", "flat"] = 'cope',
    end_b: Literal["cope", "flat"] = 'cope',
    angle_a: float = 45,
    angle_b: float = 45,
    parent_od_a: float | str = 41.275,
    parent_od_b: float | str = 41.275,
    offset_a: float | str = 0,
    offset_b: float | str = 0,
    twist: float = 180,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Short tube across a corner.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        length: between the theoretical ends, straight.
        end_a: end a: coped to a tube or flat on a plate.
        end_b: end b: coped to a tube or flat on a plate.
        angle_a: between this axis and the parent's (coped) or the plate (flat) at end a, degrees.
        angle_b: same at end b, degrees.
        parent_od_a: diameter of the tube at end a.
        parent_od_b: diameter of the tube at end b.
        offset_a: distance of the two axes at end a; 0: they meet.
        offset_b: distance of the two axes at end b; 0: they meet.
        twist: turn of end b against end a about the tube's axis, degrees.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def rear_brace(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    length: float | str = 1150,
    end_a: Literal["cope", "flat"] = 'cope',
    end_b: Literal["cope", "flat"] = 'flat',
    angle_a: float = 60,
    angle_b: float = 42,
    parent_od_a: float | str = 41.275,
    parent_od_b: float | str = 41.275,
    offset_a: float | str = 0,
    offset_b: float | str = 0,
    twist: float = 0,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Backstay from main hoop to frame.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        length: between the theoretical ends, straight.
        end_a: end a: coped to a tube or flat on a plate.
        end_b: end b: coped to a tube or flat on a plate.
        angle_a: between this axis and the parent's (coped) or the plate (flat) at end a, degrees.
        angle_b: same at end b, degrees.
        parent_od_a: diameter of the tube at end a.
        parent_od_b: diameter of the tube at end b.
        offset_a: distance of the two axes at end a; 0: they meet.
        offset_b: distance of the two axes at end b; 0: they meet.
        twist: turn of end b against end a about the tube's axis, degrees.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def roof_rail(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    length: float | str = 860,
    end_a: Literal["cope", "flat"] = 'cope',
    end_b: Literal["cope", "flat"] = 'cope',
    angle_a: float = 90,
    angle_b: float = 90,
    parent_od_a: float | str = 41.275,
    parent_od_b: float | str = 41.275,
    offset_a: float | str = 0,
    offset_b: float | str = 0,
    twist: float = 0,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Rail from front hoop to main hoop.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        length: between the theoretical ends, straight.
        end_a: end a: coped to a tube or flat on a plate.
        end_b: end b: coped to a tube or flat on a plate.
        angle_a: between this axis and the parent's (coped) or the plate (flat) at end a, degrees.
        angle_b: same at end b, degrees.
        parent_od_a: diameter of the tube at end a.
        parent_od_b: diameter of the tube at end b.
        offset_a: distance of the two axes at end a; 0: they meet.
        offset_b: distance of the two axes at end b; 0: they meet.
        twist: turn of end b against end a about the tube's axis, degrees.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def header_bar(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    length: float | str = 920,
    end_a: Literal["cope", "flat"] = 'cope',
    end_b: Literal["cope", "flat"] = 'cope',
    angle_a: float = 90,
    angle_b: float = 90,
    parent_od_a: float | str = 41.275,
    parent_od_b: float | str = 41.275,
    offset_a: float | str = 0,
    offset_b: float | str = 0,
    twist: float = 0,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Bar across the windscreen header.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        length: between the theoretical ends, straight.
        end_a: end a: coped to a tube or flat on a plate.
        end_b: end b: coped to a tube or flat on a plate.
        angle_a: between this axis and the parent's (coped) or the plate (flat) at end a, degrees.
        angle_b: same at end b, degrees.
        parent_od_a: diameter of the tube at end a.
        parent_od_b: diameter of the tube at end b.
        offset_a: distance of the two axes at end a; 0: they meet.
        offset_b: distance of the two axes at end b; 0: they meet.
        twist: turn of end b against end a about the tube's axis, degrees.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def sill_bar(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    length: float | str = 1200,
    end_a: Literal["cope", "flat"] = 'cope',
    end_b: Literal["cope", "flat"] = 'cope',
    angle_a: float = 87,
    angle_b: float = 85,
    parent_od_a: float | str = 41.275,
    parent_od_b: float | str = 41.275,
    offset_a: float | str = 0,
    offset_b: float | str = 0,
    twist: float = 0,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Bar along the sill.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        length: between the theoretical ends, straight.
        end_a: end a: coped to a tube or flat on a plate.
        end_b: end b: coped to a tube or flat on a plate.
        angle_a: between this axis and the parent's (coped) or the plate (flat) at end a, degrees.
        angle_b: same at end b, degrees.
        parent_od_a: diameter of the tube at end a.
        parent_od_b: diameter of the tube at end b.
        offset_a: distance of the two axes at end a; 0: they meet.
        offset_b: distance of the two axes at end b; 0: they meet.
        twist: turn of end b against end a about the tube's axis, degrees.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def cross_member(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    length: float | str = 970,
    end_a: Literal["cope", "flat"] = 'cope',
    end_b: Literal["cope", "flat"] = 'cope',
    angle_a: float = 88,
    angle_b: float = 88,
    parent_od_a: float | str = 41.275,
    parent_od_b: float | str = 41.275,
    offset_a: float | str = 0,
    offset_b: float | str = 0,
    twist: float = 0,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Bar across the rear braces.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        length: between the theoretical ends, straight.
        end_a: end a: coped to a tube or flat on a plate.
        end_b: end b: coped to a tube or flat on a plate.
        angle_a: between this axis and the parent's (coped) or the plate (flat) at end a, degrees.
        angle_b: same at end b, degrees.
        parent_od_a: diameter of the tube at end a.
        parent_od_b: diameter of the tube at end b.
        offset_a: distance of the two axes at end a; 0: they meet.
        offset_b: distance of the two axes at end b; 0: they meet.
        twist: turn of end b against end a about the tube's axis, degrees.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def strut(
    *,
    od: float | str = 41.275,
    wall: float | str = 3.4036,
    material: str = '1020-dom',
    bend_radius: float | str = 152.4,
    length: float | str = 1000,
    end_a: Literal["cope", "flat"] = 'cope',
    end_b: Literal["cope", "flat"] = 'cope',
    angle_a: float = 90,
    angle_b: float = 90,
    parent_od_a: float | str = 41.275,
    parent_od_b: float | str = 41.275,
    offset_a: float | str = 0,
    offset_b: float | str = 0,
    twist: float = 0,
    tube: str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> TubePart:
    """Any straight tube between two ends.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the tube.
        wall: wall of the tube.
        material: steel, see `cagekit show` of a tube preset.
        bend_radius: centre-line radius of every bend.
        length: between the theoretical ends, straight.
        end_a: end a: coped to a tube or flat on a plate.
        end_b: end b: coped to a tube or flat on a plate.
        angle_a: between this axis and the parent's (coped) or the plate (flat) at end a, degrees.
        angle_b: same at end b, degrees.
        parent_od_a: diameter of the tube at end a.
        parent_od_b: diameter of the tube at end b.
        offset_a: distance of the two axes at end a; 0: they meet.
        offset_b: distance of the two axes at end b; 0: they meet.
        twist: turn of end b against end a about the tube's axis, degrees.
        tube: tube preset: diameter, wall and steel at once.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def floor_plate(
    *,
    thickness: float | str = 3,
    material: str | None = 's235',
    corner_radius: float | str = 15,
    length: float | str = 150,
    width: float | str = 150,
    fix: Literal["welded", "bolted"] = 'welded',
    bolts: int = 4,
    bolt_size: str | None = 'M10',
    bolt_grade: str | None = '8.8',
    edge: float | str | None = None,
    plugs: int = 0,
    plug_diameter: float | str = 8,
    weld_leg: float | str = 4,
    fold_radius: float | str | None = None,
    backing: bool | None = None,
    backing_thickness: float | str | None = None,
    front_flange: float | str = 0,
    front_angle: float = 60,
    rear_flange: float | str = 0,
    rear_angle: float = 60,
    k: float = 0.42,
    od: float | str = 45,
    lean: float = 0,
    sheet: float | str = 1,
    fold_at: float | str = 0,
    fold_angle: float = 60,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> PlatePart:
    """Floor plate, flat or folded, bolted or welded.

    Lengths are mm, or a text with its unit.

    Args:
        thickness: plate thickness.
        material: key of a steel; a36 in inch builds, s235 in metric ones.
        corner_radius: rounding of the corners, as far as sides and folds leave room.
        length: fore and aft.
        width: across, along the sheet when folded.
        fix: welded or bolted.
        bolts: bolts when bolted.
        bolt_size: 3/8-16 in inch builds, M10 in metric ones.
        bolt_grade: grade-5 of inch bolts, 8.8 of metric ones, when left out.
        edge: hole centre to plate edge; twice the bolt or plug when left out.
        plugs: plug (rosette) weld holes when welded.
        plug_diameter: diameter of those holes.
        weld_leg: fillet round the tube's foot.
        fold_radius: inside radius; thickness if not given.
        backing: matching plate below; yes when bolted.
        backing_thickness: as the plate when left out.
        front_flange: second direction: flange ahead of the foot.
        front_angle: front flange up, degrees.
        rear_flange: flange behind the foot.
        rear_angle: rear flange up, degrees.
        k: neutral axis over thickness.
        od: outside diameter of the tube.
        lean: tube off square to the plate, degrees.
        sheet: thickness of the car's floor.
        fold_at: foot to the corner of the floor; 0: flat plate.
        fold_angle: turn of the floor there, up positive, degrees.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def gusset(
    *,
    thickness: float | str = 3,
    material: str | None = 's235',
    style: Literal["flat", "folded"] = 'flat',
    along_branch: float | str = 80,
    along_parent: float | str = 80,
    nose: float | str = 8,
    corner_radius: float | str = 3,
    clip: float | str = 12,
    weld_gap: float | str = 1,
    hole: float | str | None = None,
    bulge: float | str = 0,
    fold_radius: float | str | None = None,
    weld_leg: float | str = 3,
    k: float = 0.42,
    od_branch: float | str = 40,
    od_parent: float | str = 45,
    angle: float = 60,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> PlatePart:
    """Flat sheet gusset with lightening hole.

    Lengths are mm, or a text with its unit.

    Args:
        thickness: plate thickness.
        material: key of a steel; a36 in inch builds, s235 in metric ones.
        style: flat in the plane of both axes, or a folded saddle over both tubes.
        along_branch: reach along the branch from the corner.
        along_parent: reach along the parent from the corner.
        nose: blunt width of the tips.
        corner_radius: rounding of the tips' corners, 0.45 of the nose at most.
        clip: cut off the inner corner to clear the tube weld.
        weld_gap: gap between the edge and the tube surface.
        hole: lightening hole; 0 for none.
        bulge: how far the long edge is drawn in as an arc.
        fold_radius: inside radius; thickness if not given.
        weld_leg: fillet along both tubes.
        k: neutral axis over thickness.
        od_branch: diameter of the branch.
        od_parent: diameter of the tube that runs through.
        angle: corner between the two tubes, degrees.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def folded_gusset(
    *,
    thickness: float | str = 2,
    material: str | None = 's235',
    style: Literal["flat", "folded"] = 'folded',
    along_branch: float | str = 90,
    along_parent: float | str = 90,
    nose: float | str = 8,
    corner_radius: float | str = 3,
    clip: float | str = 12,
    weld_gap: float | str = 1,
    hole: float | str | None = None,
    bulge: float | str = 0,
    fold_radius: float | str | None = None,
    weld_leg: float | str = 3,
    k: float = 0.42,
    od_branch: float | str = 40,
    od_parent: float | str = 45,
    angle: float = 60,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> PlatePart:
    """Folded gusset, a saddle over both tubes.

    Lengths are mm, or a text with its unit.

    Args:
        thickness: plate thickness.
        material: key of a steel; a36 in inch builds, s235 in metric ones.
        style: flat is the plain gusset.
        along_branch: reach along the branch from the corner.
        along_parent: reach along the parent from the corner.
        nose: blunt width of the tips.
        corner_radius: rounding of the tips' corners, 0.45 of the nose at most.
        clip: cut off the inner corner to clear the tube weld.
        weld_gap: gap between the edge and the tube surface.
        hole: lightening hole; 0 for none.
        bulge: how far the long edge is drawn in as an arc.
        fold_radius: inside radius; thickness if not given.
        weld_leg: fillet along both tubes.
        k: neutral axis over thickness.
        od_branch: diameter of the branch.
        od_parent: diameter of the tube that runs through.
        angle: corner between the two tubes, degrees.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def tab(
    *,
    thickness: float | str = 3,
    material: str | None = 's235',
    hole: float | str = 13,
    bolt_size: str | None = None,
    bolt_grade: str | None = None,
    reach: float | str = 35,
    width: float | str = 50,
    ear: float | str = 18,
    weld_gap: float | str = 0.5,
    count: int = 1,
    gap: float | str = 12,
    weld_leg: float | str = 4,
    od: float | str = 45,
    bolt: float | str | None = None,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> PlatePart:
    """Tab or clevis on a tube: harness, seat, net.

    Lengths are mm, or a text with its unit.

    Args:
        thickness: plate thickness.
        material: key of a steel; a36 in inch builds, s235 in metric ones.
        hole: bolt hole.
        bolt_size: bolt in it, e.g. M12 or 7/16-20.
        bolt_grade: its grade; grade-5 of inch bolts, 8.8 of metric ones, when left out.
        reach: tube surface to the middle of the hole.
        width: width at the tube.
        ear: radius of the round end about the hole.
        weld_gap: gap between the edge and the tube surface.
        count: 2 makes a clevis.
        gap: clear width of a clevis.
        weld_leg: fillet along the tube.
        od: outside diameter of the tube.
        bolt: diameter of a pin that has no bolt_size.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def plinth(
    *,
    thickness: float | str = 3,
    material: str | None = 's235',
    corner_radius: float | str = 15,
    length: float | str = 150,
    width: float | str = 150,
    fix: Literal["welded", "bolted"] = 'welded',
    bolts: int = 4,
    bolt_size: str | None = 'M10',
    bolt_grade: str | None = '8.8',
    edge: float | str | None = None,
    plugs: int = 0,
    plug_diameter: float | str = 8,
    weld_leg: float | str = 4,
    fold_radius: float | str | None = None,
    wall: float | str | None = None,
    od: float | str = 45,
    height: float | str = 60,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> PlatePart:
    """Box foot of tab-and-slot plates.

    Lengths are mm, or a text with its unit.

    Args:
        thickness: plate thickness.
        material: key of a steel; a36 in inch builds, s235 in metric ones.
        corner_radius: rounding of the corners, as far as sides and folds leave room.
        length: fore and aft.
        width: across, along the sheet when folded.
        fix: welded or bolted.
        bolts: bolts when bolted.
        bolt_size: 3/8-16 in inch builds, M10 in metric ones.
        bolt_grade: grade-5 of inch bolts, 8.8 of metric ones, when left out.
        edge: hole centre to plate edge; twice the bolt or plug when left out.
        plugs: plug (rosette) weld holes when welded.
        plug_diameter: diameter of those holes.
        weld_leg: fillet round the tube's foot.
        fold_radius: inside radius, when not the brake's.
        wall: plinth: thickness of its walls.
        od: outside diameter of the tube.
        height: floor sheet to the top of the box.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def outrigger_box(
    *,
    thickness: float | str = 3,
    material: str | None = 's235',
    width: float | str = 70,
    height: float | str = 50,
    corner_radius: float | str = 0,
    weld_leg: float | str = 4,
    length: float | str = 260,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> PlatePart:
    """Outrigger made of plate.

    Lengths are mm, or a text with its unit.

    Args:
        thickness: plate thickness.
        material: key of a steel; a36 in inch builds, s235 in metric ones.
        width: fore and aft.
        height: top of the box to its lower edge.
        corner_radius: rounding of the corners.
        weld_leg: fillet round the tube's foot.
        length: from frame or tunnel to the sill.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def hinge_bracket(
    *,
    od: float | str = 41.275,
    thickness: float | str | None = 5,
    material: str | None = None,
    pin_size: str | None = 'M10',
    sleeve_od: float | str | None = None,
    sleeve_bore: float | str | None = None,
    sleeve_stand: float | str = 0.5,
    design: Literal["saddle", "cheeks"] = 'saddle',
    pin: Literal["bolt", "quick-release"] | None = None,
    pin_grade: str | None = None,
    pin_offset: float | str | None = None,
    hole: float | str | None = None,
    spacer: float | str | None = None,
    side_play: float | str | None = None,
    ear: float | str = 16.5,
    corner_radius: float | str = 6,
    overlap: float | str = 50,
    ligament: float | str = 6,
    clearance: float | str = 1,
    stop_gap: float | str = 0.2,
    reach: float | str = 41.3,
    cup: Literal["latch", "none"] | None = None,
    cup_wall: float | str = 3.2,
    cup_overlap: float | str = 30,
    weld_leg: float | str = 4,
    fold_radius: float | str | None = None,
    cut_gap: float | str = 2,
    pin_tilt: float = 0,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> PlatePart:
    """Hinge of a swing-out bar: saddle or cheeks, sleeve, bolt.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the bar.
        thickness: plate thickness.
        material: key of a steel; a36 in inch builds, s235 in metric ones.
        pin_size: size in the pin table; 3/8 in inch builds, M10 in metric ones.
        sleeve_od: when not the table's.
        sleeve_bore: when not the table's.
        sleeve_stand: how far the sleeve stands out of the bar on each side.
        design: folded saddle over the cut, or two flat cheeks.
        pin: bolt at the hinge, quick-release pin at the latch when left out.
        pin_grade: of the bolt; grade-8 in inch builds, 10.9 in metric ones.
        pin_offset: stub's cut to the pin; as short as the swing allows if left out.
        hole: in the plate, when not the table's.
        spacer: thickness of the spacer washers, when not the table's.
        side_play: plates to spacers, both sides together, when not the table's.
        ear: radius of the plate about the pin.
        corner_radius: rounding of the outer corners.
        overlap: bracket on the stub, from the cut.
        ligament: bar left between sleeve and bar end.
        clearance: least gap between bar and stub through the swing.
        stop_gap: closed bar to the steel it bears on; less than the play of the pin.
        reach: how far saddle web or half cup reach past the latch pin.
        cup: half cup behind the bar at the latch; yes with cheeks.
        cup_wall: wall of the half cup.
        cup_overlap: half cup on the stub.
        weld_leg: leg of the welds.
        fold_radius: inside, when not the brake's.
        cut_gap: width of the saw cut at each end.
        pin_tilt: pins turned about the bar from upright, degrees, top outboard positive.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def latch_bracket(
    *,
    od: float | str = 41.275,
    thickness: float | str | None = 5,
    material: str | None = None,
    pin_size: str | None = 'M10',
    sleeve_od: float | str | None = None,
    sleeve_bore: float | str | None = None,
    sleeve_stand: float | str = 0.5,
    design: Literal["saddle", "cheeks"] = 'saddle',
    pin: Literal["bolt", "quick-release"] | None = None,
    pin_grade: str | None = None,
    pin_offset: float | str | None = None,
    hole: float | str | None = None,
    spacer: float | str | None = None,
    side_play: float | str | None = None,
    ear: float | str = 16.5,
    corner_radius: float | str = 6,
    overlap: float | str = 50,
    ligament: float | str = 6,
    clearance: float | str = 1,
    stop_gap: float | str = 0.2,
    reach: float | str = 41.3,
    cup: Literal["latch", "none"] | None = None,
    cup_wall: float | str = 3.2,
    cup_overlap: float | str = 30,
    weld_leg: float | str = 4,
    fold_radius: float | str | None = None,
    cut_gap: float | str = 2,
    pin_tilt: float = 0,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> PlatePart:
    """Latch of a swing-out bar: saddle or cheeks with half cup, sleeve, pin.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the bar.
        thickness: plate thickness.
        material: key of a steel; a36 in inch builds, s235 in metric ones.
        pin_size: size in the pin table; 3/8 in inch builds, M10 in metric ones.
        sleeve_od: when not the table's.
        sleeve_bore: when not the table's.
        sleeve_stand: how far the sleeve stands out of the bar on each side.
        design: folded saddle over the cut, or two flat cheeks.
        pin: bolt at the hinge, quick-release pin at the latch when left out.
        pin_grade: of the bolt; grade-8 in inch builds, 10.9 in metric ones.
        pin_offset: stub's cut to the pin; as short as the swing allows if left out.
        hole: in the plate, when not the table's.
        spacer: thickness of the spacer washers, when not the table's.
        side_play: plates to spacers, both sides together, when not the table's.
        ear: radius of the plate about the pin.
        corner_radius: rounding of the outer corners.
        overlap: bracket on the stub, from the cut.
        ligament: bar left between sleeve and bar end.
        clearance: least gap between bar and stub through the swing.
        stop_gap: closed bar to the steel it bears on; less than the play of the pin.
        reach: how far saddle web or half cup reach past the latch pin.
        cup: half cup behind the bar at the latch; yes with cheeks.
        cup_wall: wall of the half cup.
        cup_overlap: half cup on the stub.
        weld_leg: leg of the welds.
        fold_radius: inside, when not the brake's.
        cut_gap: width of the saw cut at each end.
        pin_tilt: pins turned about the bar from upright, degrees, top outboard positive.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

def sleeve(
    *,
    od: float | str = 41.275,
    pin_size: str | None = 'M10',
    sleeve_od: float | str | None = None,
    sleeve_bore: float | str | None = None,
    sleeve_stand: float | str = 0.5,
    units: Literal["mm", "in"] = 'mm',
    tooling: str | None = None,
) -> PlatePart:
    """Sleeve through a swing-out bar.

    Lengths are mm, or a text with its unit.

    Args:
        od: outside diameter of the bar.
        pin_size: size in the pin table; 3/8 in inch builds, M10 in metric ones.
        sleeve_od: when not the table's.
        sleeve_bore: when not the table's.
        sleeve_stand: how far the sleeve stands out of the bar on each side.
        units: what a length without a unit counts in.
        tooling: tooling preset or path, for the bend schedule.

    Raises:
        InputError: a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.
    """

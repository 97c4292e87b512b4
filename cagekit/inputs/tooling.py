"""The shop's tooling sheet: bender dies, saw, stock, notcher, torch, press brake, cutting table.

Everything that differs from shop to shop is data in this file; a builder copies the preset that
is nearest and types in what the own machines do. Lengths in the file's ``units`` or with their own
unit, angles in degrees; inside mm and rad.
"""

from math import radians
from typing import Literal, Self

from pydantic import Field, model_validator

from cagekit.errors import InputError, NotFoundError
from cagekit.inputs.fields import Angle, FileModel, Length, Name
from cagekit.units import format_length

OD_MATCH = 0.3
"""A die takes tubes whose outside diameter is within this of its own, mm (common practice: DOM
tube is held to 0.13 mm, the gap between an inch size and its metric twin is below 0.1 mm)."""

MarkAt = Literal["start", "centre", "offset"]


class TestBend(FileModel):
    """One bend the builder made and measured: the angle set on the machine, the angle left."""

    __test__ = False

    set: Angle = Field(description="angle the machine was driven to, as read on its dial, degrees")
    got: Angle = Field(description="angle left in the tube when released, degrees")
    wall: Length | None = Field(
        None,
        description="wall of the tube that was bent; counts for every wall when left out",
    )

    @model_validator(mode="after")
    def _plausible(self) -> Self:
        if not 0 < self.got <= self.set:
            problem = "a test bend springs back: it is above 0 and at most `set` (degrees)."
            raise InputError("tooling", "got", problem=problem)
        return self


class Die(FileModel):
    """One bending die with its clamp and pressure block.

    The tube is clamped ahead of the bend and drawn round the die, so the straight before a bend
    must be long enough to be gripped, and the tube behind the last bend long enough to stay under
    the pressure block.
    """

    name: Name
    od: Length = Field(gt=0, description="outside diameter of the tube the groove fits")
    clr: Length = Field(
        gt=0,
        description=(
            "centre-line radius of the finished bend, measured on a test bend "
            "(the stamp on the die reads a little less)"
        ),
    )
    clamp: Length = Field(gt=0, description="straight needed ahead of the first bend, in the clamp")
    straight: Length | None = Field(
        None,
        gt=0,
        description="shortest straight between two bends; the clamp length when left out",
    )
    tail: Length = Field(
        ge=0,
        description="straight needed behind the last bend, under the pressure block",
    )
    max_angle: Angle = Field(
        gt=0,
        description="largest angle it can be driven to, degrees, springback included",
    )
    mark_at: MarkAt = Field(
        "start",
        description=(
            "where a pencil mark on the tube belongs when it lies in the die: "
            "start of the bend, its centre, or a mark on the die"
        ),
    )
    mark_offset: Length = Field(
        0.0,
        description=(
            "mark_at = offset: from the start of the bend to the mark on the die, positive towards "
            "the tail of the tube"
        ),
    )
    stretch: float = Field(
        0.0,
        ge=0,
        lt=0.2,
        description=(
            "how much the bent part grows while it is bent, as a fraction of its length "
            "before: cut a piece, bend it, measure along the centre line"
        ),
    )
    test: tuple[TestBend, ...] = Field((), description="measured test bends of this die")
    min_over_max_od: float | None = Field(
        None,
        gt=0,
        le=1,
        description="smallest over largest diameter, in the middle of a 90 degree test bend",
    )
    note: str = ""

    @model_validator(mode="after")
    def _mark_where_it_is_said(self) -> Self:
        if self.mark_offset and self.mark_at != "offset":
            problem = f"no mark is offset: mark_at is '{self.mark_at}'."
            raise InputError(
                "tooling", "mark_offset", problem=problem,
                hint="Say mark_at = 'offset', or leave it out.",
            )  # fmt: skip
        return self

    @model_validator(mode="after")
    def _round_the_groove(self) -> Self:
        if self.clr <= self.od / 2:
            problem = "must be more than half the tube's diameter (od)."
            raise InputError("tooling", "clr", problem=problem)
        return self

    @property
    def least_straight(self) -> float:
        """Shortest straight between two bends, mm."""
        return self.clamp if self.straight is None else self.straight

    def takes(self, od: float) -> bool:
        """Tell whether tube of outside diameter ``od`` mm fits the groove."""
        return abs(self.od - od) <= OD_MATCH


class Bender(FileModel):
    """The bender that holds the dies."""

    name: Name = "bender"
    rotation: Literal["clockwise", "counter-clockwise"] = Field(
        "clockwise",
        description=(
            "which way its clocking dial counts up, looking from the tail of the tube towards the "
            "die"
        ),
    )
    swing: Literal["right", "left"] = Field(
        "right",
        description="side the leading end swings to, looking from the tail towards the die",
    )
    angle_step: Angle = Field(
        0.0,
        ge=0,
        description=(
            "degrees between two marks on the bend dial: bends are set on marks, and the papers "
            "say what that costs; 0 when it can be set to anything"
        ),
    )
    bed_height: Length | None = Field(
        None,
        gt=0,
        description="tube in the die above the shop floor: bent legs that hang lower hit it",
    )


class Saw(FileModel):
    """The saw that cuts blanks from sticks."""

    name: Name = "saw"
    kerf: Length = Field(ge=0, description="what one cut turns to chips")
    max_angle: Angle | None = Field(
        None,
        ge=0,
        description=(
            "furthest it cuts from square, degrees; straight cuts are taken as within its reach "
            "when left out"
        ),
    )
    end_trim: Length = Field(
        5.0,
        ge=0,
        description=(
            "cut off each end of a new stick: mill ends are not square, or dented (5 mm when "
            "left out: common practice)"
        ),
    )
    min_piece: Length = Field(0.0, ge=0, description="shortest piece the vice holds safely")
    slack: Length = Field(
        10.0,
        ge=0,
        description=(
            "least that a plan leaves on a bar where another has room: a stick sawn to its last "
            "millimetre forgives nothing (10 mm when left out: common practice)"
        ),
    )
    keep: Length = Field(
        300.0,
        ge=0,
        description="off-cuts from this length on go back in the rack, shorter ones to scrap",
    )


class Stock(FileModel):
    """A stick that can be bought; holds for every tube unless it names one."""

    length: Length = Field(gt=0)
    od: Length | None = None
    wall: Length | None = None
    count: int | None = Field(
        None,
        ge=0,
        description="how many can be had; as many as needed when left out",
    )
    price: float | None = Field(
        None,
        gt=0,
        description="price of a stick in any currency; the plan then saves money instead of length",
    )


class Offcut(FileModel):
    """A piece left from an earlier job, ends already square."""

    od: Length = Field(gt=0)
    wall: Length = Field(gt=0)
    length: Length = Field(gt=0)
    material: str = Field("", description="steel; matches any when left out")
    count: int = Field(1, ge=1)
    label: str = ""


class Notcher(FileModel):
    """Hole-saw (or end-mill) tube notcher."""

    name: Name = "hole-saw notcher"
    saws: tuple[Length, ...] = Field(min_length=1, description="cutting diameters in the drawer")
    max_angle: Angle = Field(description="furthest the notcher swings from a square notch, degrees")
    max_depth: Length = Field(
        gt=0,
        description="how far the saw cuts in one go, along its own axis",
    )
    max_offset: Length = Field(
        0.0,
        ge=0,
        description="how far the saw can be set off the tube's centre line",
    )
    clamp: Length = Field(60.0, ge=0, description="straight the vice needs behind the notch")

    def saw_for(self, od: float, slack: float = 0.8) -> float | None:
        """Return the diameter (mm) of the saw that fits a parent of ``od``, or None.

        The smallest saw that is not under the parent's diameter by more than 0.2 mm and not over
        it by more than ``slack`` mm: an oversize leaves a gap of half the excess.
        """
        fits = [d for d in self.saws if od - 0.2 <= d <= od + slack]
        return min(fits) if fits else None


class Torch(FileModel):
    """What has to fit round a joint to weld it."""

    process: Literal["mig", "tig"] = "mig"
    nozzle_diameter: Length = Field(20.0, gt=0, description="gas nozzle or cup, outside")
    nozzle_length: Length = Field(70.0, gt=0, description="straight front part of the torch")
    body_diameter: Length = Field(45.0, gt=0, description="neck and hand behind it")
    body_length: Length = Field(180.0, gt=0)
    stickout: Length = Field(12.0, gt=0, description="nozzle to the arc")
    work_angle: Angle = Field(
        radians(45),
        description="how far the torch may lean off the bisector of the joint, degrees",
    )
    deposit_efficiency: float = Field(
        0.9,
        gt=0,
        le=1,
        description="share of the filler that ends up in the weld",
    )
    leg_over_wall: float = Field(
        1.2,
        gt=0,
        description="leg of the fillet over the wall of the branch: in the weld map, for filler "
        "and strength",
    )


class BrakeTool(FileModel):
    """What the press brake (or folder) does at one sheet thickness."""

    thickness: Length = Field(gt=0)
    inside_radius: Length = Field(ge=0)
    min_flange: Length = Field(
        gt=0,
        description="outside of the flange, measured to the mould line",
    )


class PressBrake(FileModel):
    """Press brake or folder."""

    name: Name = "press brake"
    k: float = Field(
        0.42,
        gt=0,
        le=0.5,
        description=(
            "neutral line: distance from the inside of the fold over the thickness, from own test "
            "folds"
        ),
    )
    max_angle: Angle = Field(
        radians(120),
        description="largest fold, degrees from flat; 120 when left out",
    )
    max_length: Length = Field(gt=0)
    size_tolerance: Length = Field(
        0.4,
        ge=0,
        description=(
            "how far a fold can lie from where it was drawn, the sheet's own thickness in it "
            "(0.4 mm when left out: ISO 2768-1 class m allows 0.2 up to 30 mm and 0.3 up to "
            "120 mm, from memory)"
        ),
    )
    angle_tolerance: Angle = Field(
        radians(1),
        ge=0,
        description=(
            "how far a fold can be off its angle when its springback is set (1 degree when left "
            "out: common practice; ISO 2768-1 class m asks for half of it on legs of 10 to 50 mm)"
        ),
    )
    tool: tuple[BrakeTool, ...] = Field(min_length=1)

    def tool_for(self, thickness: float) -> BrakeTool:
        """Return the row for ``thickness`` mm: the nearest that is not thinner.

        Raises:
            NotFoundError: the sheet is thicker than the brake folds.
        """
        fits = sorted(
            (t for t in self.tool if t.thickness >= thickness - 0.15), key=lambda t: t.thickness
        )
        if not fits:
            most = max(t.thickness for t in self.tool)
            raise NotFoundError(
                f"{self.name}: no tool for {thickness:.2f} mm sheet (thickest {most:.2f} mm). "
                "Cut the plate in flat pieces and weld the fold, or add a [[brake.tool]] row."
            )
        return fits[0]


class Sheet(FileModel):
    """A sheet that can be bought."""

    width: Length = Field(gt=0)
    length: Length = Field(gt=0)
    thickness: Length | None = Field(
        None,
        gt=0,
        description="holds for every thickness when left out",
    )
    count: int | None = Field(None, ge=0)
    offcut: bool = Field(False, description="a piece left from an earlier job: used first, once")
    material: str = Field("", description="steel; holds for every steel when left out")
    label: str = Field("", description="what is chalked on an off-cut")


class CuttingTable(FileModel):
    """CNC cutting table for plates."""

    name: Name = "cutting table"
    process: Literal["plasma", "laser", "waterjet", "oxyfuel", "router"] = "plasma"
    kerf: Length = Field(ge=0)
    min_hole_ratio: float = Field(
        gt=0,
        description="smallest clean hole: diameter over thickness; smaller ones are drilled",
    )
    max_thickness: Length = Field(gt=0)
    gap: Length = Field(gt=0, description="between two parts on the sheet")
    margin: Length = Field(gt=0, description="between a part and the sheet's edge")
    lead_in: Length = Field(
        0.0,
        ge=0,
        description="run of the torch from the piercing to the contour: within gap and margin",
    )
    compensate_kerf: bool = Field(
        False,
        description="move the contours by half the kerf; false when the table's control does it",
    )
    pilot: bool = Field(True, description="mark holes that are too small to cut, for drilling")
    ream: Length = Field(
        0.8,
        ge=0,
        description=(
            "left in the width of pin holes, which are cut as pilots and reamed when the part is "
            "folded; 0 cuts them to size (0.8 mm when left out: common practice)"
        ),
    )
    bridges: int = Field(0, ge=0, le=12, description="tabs that hold a part in the sheet")
    bridge_width: Length = Field(1.0, gt=0)
    turning: Literal["any", "grain", "fixed"] = Field(
        "any", description="turns of parts on the sheet: any quarter, along the grain, as drawn"
    )
    dxf_version: Literal["R12", "R2000", "R2010", "R2018"] = Field(
        "R2010", description="R12 for old controls; it cannot tell its units"
    )
    dxf_units: Literal["mm", "in"] = Field("mm", description="unit of the coordinates")
    dxf_entities: Literal["polyline", "lines"] = Field(
        "polyline", description="contours as polylines with true arcs, or as single lines and arcs"
    )
    sheet: tuple[Sheet, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _bridges_that_are_left(self) -> Self:
        usual = type(self).model_fields["bridge_width"].default
        if self.bridge_width != usual and not self.bridges:
            raise InputError(
                "tooling", "bridge_width", problem="no bridges are left in the contours.",
                hint="Say how many in `bridges`, or leave it out.",
            )  # fmt: skip
        return self

    @model_validator(mode="after")
    def _pierces_in_waste(self) -> Self:
        room, pierced = min(self.gap, self.margin), self.lead_in + self.kerf / 2
        if self.lead_in and pierced > room:
            raise InputError(
                "tooling", "lead_in",
                problem=f"with half the kerf it reaches {pierced:.2f} mm off a part, but only "
                f"{room:.2f} mm (the smaller of gap and margin) are waste.",
                hint="Shorten it, or widen gap and margin.",
            )  # fmt: skip
        return self

    @model_validator(mode="after")
    def _leaves_sheet(self) -> Self:
        least = min(min(s.width, s.length) for s in self.sheet)
        if 2 * self.margin >= least:
            raise InputError(
                "tooling", "margin",
                problem=f"on both sides it leaves nothing of a sheet that is {least:.1f} mm wide.",
                hint="Make it smaller.",
            )  # fmt: skip
        return self

    @property
    def width(self) -> float:
        """Largest sheet width, mm."""
        return max(min(s.width, s.length) for s in self.sheet)


class Paper(FileModel):
    """How the papers of this shop look."""

    page: Literal["a4", "letter"] = "a4"
    thickness: Length = Field(
        0.1,
        ge=0,
        description="of the template paper: it wraps on a circle that much larger",
    )
    stations: Literal[8, 12, 16] = Field(
        12,
        description="ordinates round the tube for those who notch with a grinder",
    )
    fraction: Literal[8, 16, 32, 64] = Field(16, description="finest inch fraction on the tape")


class Order(FileModel):
    """Margins on what is bought."""

    spare: float = Field(
        0.05,
        ge=0,
        le=1,
        description="spare tube and plate as a fraction of what is needed",
    )
    trim: Length = Field(
        3.0,
        ge=0,
        description=(
            "extra at each end of a coped blank, left for fitting (3 mm when left out: common "
            "practice)"
        ),
    )


class Tooling(FileModel):
    """One shop: its machines, dies, stock and paper."""

    kind: Literal["tooling"] = "tooling"
    name: Name
    description: str = ""
    units: Literal["mm", "in"] = "mm"
    source: str = Field("", description="where the figures come from")
    bender: Bender = Bender.model_construct()
    die: tuple[Die, ...] = Field(min_length=1)
    saw: Saw
    stock: tuple[Stock, ...] = Field(min_length=1)
    offcut: tuple[Offcut, ...] = ()
    notcher: Notcher | None = None
    torch: Torch = Torch.model_construct()
    brake: PressBrake | None = None
    table: CuttingTable | None = None
    paper: Paper = Paper.model_construct()
    order: Order = Order.model_construct()

    @model_validator(mode="after")
    def _names(self) -> Self:
        names = [d.name for d in self.die]
        for n, name in enumerate(names):
            if name in names[:n]:
                problem = "two dies are called this; papers tell them by the name."
                raise InputError("tooling", f"die.{n}.name", problem=problem)
        return self

    def _size(self, mm: float) -> str:
        """A size in the shop's own units, for messages."""
        return format_length(mm, self.units, decimals=2 if self.units == "mm" else 3)

    def dies_for(self, od: float) -> tuple[Die, ...]:
        """Return every die that takes tube of ``od`` mm, in the file's order."""
        return tuple(d for d in self.die if d.takes(od))

    def die_for(self, od: float, clr: float | None = None) -> Die:
        """Return the die for tube of ``od`` mm: the first in the file, or the one nearest ``clr``.

        Raises:
            NotFoundError: no die takes that tube; names the closest.
        """
        fits = self.dies_for(od)
        if fits:
            return fits[0] if clr is None else min(fits, key=lambda d: abs(d.clr - clr))
        near = min(self.die, key=lambda d: abs(d.od - od))
        have = ", ".join(f"{d.name} ({self._size(d.od)})" for d in self.die)
        raise NotFoundError(
            f"tooling {self.name!r}: no die takes {self._size(od)} tube. Dies: {have}. "
            f"Closest is {near.name!r} for {self._size(near.od)}: use that tube or add a [[die]]."
        )

    def stock_for(self, od: float, wall: float) -> tuple[Stock, ...]:
        """Return the sticks that can be bought of tube ``od`` x ``wall`` mm.

        Sticks that name the tube come before those that hold for every tube and replace them.

        Raises:
            NotFoundError: nothing can be bought in that size.
        """

        def same(value: float | None, wanted: float, slack: float) -> bool:
            return value is None or abs(value - wanted) <= slack

        fits = [s for s in self.stock if same(s.od, od, OD_MATCH) and same(s.wall, wall, 0.06)]
        named = [s for s in fits if s.od is not None]
        if not fits:
            raise NotFoundError(
                f"tooling {self.name!r}: no stock of {self._size(od)} x {self._size(wall)} tube. "
                "Add a [[stock]]."
            )
        return tuple(named or fits)

    def offcuts_for(self, od: float, wall: float, material: str = "") -> tuple[Offcut, ...]:
        """Return the shop's own off-cuts of tube ``od`` x ``wall`` mm and that steel.

        Args:
            od: mm.
            wall: mm.
            material: key of the steel.
        """
        return tuple(
            o
            for o in self.offcut
            if abs(o.od - od) <= OD_MATCH
            and abs(o.wall - wall) <= 0.06
            and (not o.material or not material or o.material == material)
        )

"""The car sheet: what a fabricator measures on the stripped shell with a tape and a level.

Frame: X = 0 in the plane of the main hoop's feet, forward positive; Y = 0 on the car's centre
plane; Z = 0 on the plane through the tops of the sills, up positive. Half widths and ``y`` in
the tables of one side are distances from the centre plane, always positive; the table says which
side. ``[side]`` holds for both sides; ``[left]`` and ``[right]`` override it field by field.
"""

from math import dist, hypot
from typing import Any, Literal, Self

from pydantic import Field, model_validator

from cagekit.errors import InputError
from cagekit.inputs.fields import (
    LONGEST_NAME,
    SHORTEST_DIRECTION,
    Angle,
    FileModel,
    Length,
    LengthPair,
    Mass,
    Name,
    Point,
    SteelKey,
)
from cagekit.inputs.keepouts import (
    SMALLEST_OPENING,
    CarPanel,
    KeepOut,
    crosses_itself,
    polygon_area,
)
from cagekit.materials.tubes import Tube

SHORTEST_PILLAR = 50.0
"""A windscreen pillar is longer than this, mm."""
SHORTEST_TUBE = 20.0
"""A tube of the car's own frame is longer than this, mm."""


class HoopSection(FileModel):
    """Inside of the shell in the plane where the main hoop stands, one side."""

    half_width_floor: Length = Field(
        gt=0,
        description=(
            "centre plane to inner sill at floor height, tape across and halve or plumb from "
            "the centre string"
        ),
    )
    half_width_belt: Length | None = Field(
        None,
        gt=0,
        description="centre plane to the narrowest metal at the belt line (bottom of the window); "
        "an open car without sides has none",
    )
    height_belt: Length | None = Field(None, description="belt line above the sill plane")
    half_width_rail: Length | None = Field(
        None,
        gt=0,
        description="centre plane to the roof rail's inner face; an open car has none",
    )
    height_rail: Length | None = Field(
        None,
        description="roof rail's inner face above the sill plane, where the half width was taken",
    )

    @model_validator(mode="after")
    def _in_pairs(self) -> Self:
        for name in ("belt", "rail"):
            width, height = f"half_width_{name}", f"height_{name}"
            if (getattr(self, width) is None) != (getattr(self, height) is None):
                one, other = (width, height) if getattr(self, width) is None else (height, width)
                raise ValueError(f"{one!r} is missing beside {other!r}: a width has its height")
        return self

    @property
    def belt(self) -> tuple[float, float] | None:
        """Half width and height of the belt line, mm; None where the car has none."""
        if self.half_width_belt is None or self.height_belt is None:
            return None
        return self.half_width_belt, self.height_belt

    @property
    def rail(self) -> tuple[float, float] | None:
        """Half width and height of the roof rail, mm; None where the car has none."""
        if self.half_width_rail is None or self.height_rail is None:
            return None
        return self.half_width_rail, self.height_rail

    @property
    def side_width(self) -> float:
        """Half width of the cabin between its sides, mm: at the belt line, else at the floor."""
        return self.half_width_floor if self.half_width_belt is None else self.half_width_belt

    def wall(self, floor_z: float) -> tuple[tuple[float, float], ...]:
        """Half width and height of every measured place of the side, from the floor up, mm.

        Args:
            floor_z: height of the cabin floor, mm.
        """
        places = ((self.half_width_floor, floor_z), self.belt, self.rail)
        return tuple(p for p in places if p is not None)


class RoofSection(FileModel):
    """Inside of the roof skin along the centre plane."""

    height_at_hoop: Length = Field(
        description=(
            "inside of the roof skin above the sill plane, on the centre plane in the hoop plane"
        )
    )
    height_at_header: Length = Field(description="same at the windscreen header")
    header_x: Length = Field(
        description=(
            "inner edge of the windscreen header ahead of the hoop plane, on the centre plane"
        )
    )


class PillarLine(FileModel):
    """Inner face of the windscreen pillar, one side."""

    top: Point = Field(
        description="where the pillar meets the roof rail and header: x, y (from the centre), z"
    )
    base: Point = Field(description="where the pillar meets the cowl or dash top: x, y, z")
    width: Length = Field(60.0, description="width of the car's own pillar as the driver sees it")

    @model_validator(mode="after")
    def _has_length(self) -> Self:
        if dist(self.top, self.base) < SHORTEST_PILLAR:
            raise ValueError("top and base of the pillar are one point; measure both")
        return self


class FootSpot(FileModel):
    """Where a foot lands: the middle of the tube on the sheet metal, one side."""

    point: Point = Field(description="x, y (from the centre), z of the floor sheet")
    normal: tuple[float, float, float] = Field(
        (0.0, 0.0, 1.0),
        description=(
            "direction that points away from the sheet, into the cabin; y positive away from "
            "the centre plane"
        ),
    )
    profile: tuple[LengthPair, ...] = Field(
        (),
        description=(
            "floor section at this foot, from the centre out: (y, z) points of the sheet, "
            "e.g. down the tunnel, floor, up the sill"
        ),
    )
    surface: Literal["floor", "outrigger", "frame", "tower"] = Field(
        "floor", description="what is there to weld or bolt to"
    )
    sheet: Length = Field(1.0, description="thickness of the metal there")
    tube: str | None = Field(
        None,
        pattern=r"^[a-z0-9_]+$",
        description=(
            "tube of the car's own frame ([[chassis.tube]]) that the foot is coped to, "
            "without a plate; the point is then where the axes meet"
        ),
    )

    @model_validator(mode="before")
    @classmethod
    def _on_frame(cls, data: Any) -> Any:
        """A spot on a tube of the frame is on the frame."""
        if isinstance(data, dict) and data.get("tube") is not None:
            said = sorted({"surface", "normal", "profile", "sheet"} & data.keys())
            if said:
                raise ValueError(
                    f"a foot that is coped to a tube stands on no sheet: leave out {said[0]!r}, "
                    "or leave out 'tube'"
                )
            return {**data, "surface": "frame"}
        return data

    @model_validator(mode="after")
    def _points(self) -> Self:
        if hypot(*self.normal) < SHORTEST_DIRECTION:
            raise ValueError("normal = [0, 0, 0] points nowhere; a level floor has [0, 0, 1]")
        if len(self.profile) == 1:
            problem = "one point is no section; give two or more, from the centre out, or none."
            raise InputError("car", "profile", problem=problem)
        return self


class DoorOpening(FileModel):
    """Door opening in side view, one side."""

    outline: tuple[LengthPair, ...] = Field(
        (), description="(x, z) corners of the opening in order"
    )
    y_inner: Length = Field(
        description="inner face of the sill at the opening, from the centre plane"
    )
    y_trim: Length = Field(
        description=(
            "inner face of the door trim or glass run that must still move, from the centre plane"
        )
    )
    quarter_x: Length = Field(
        description="rear edge of the opening: front edge of the quarter panel"
    )
    opens: Angle | None = Field(
        None,
        description=(
            "how far the door opens on hinges at its front edge, degrees; a bar that swings out "
            "stops at it; left out where it comes off, slides or is hinged elsewhere"
        ),
    )

    @model_validator(mode="after")
    def _has_area(self) -> Self:
        problem = ""
        if self.outline and len(set(self.outline)) < 3:
            problem = "needs three corners or more, in order."
        elif self.outline and crosses_itself(self.outline):
            problem = "crosses itself; give its corners in order round the opening."
        elif self.outline and abs(polygon_area(self.outline)) < SMALLEST_OPENING:
            problem = "encloses next to nothing; three corners or more, in order, in mm or in."
        if problem:
            raise InputError("car", "outline", problem=problem)
        return self


class CarSide(FileModel):
    """Everything measured once a side."""

    hoop: HoopSection
    pillar: PillarLine | None = None
    roof_corner: Point | None = Field(
        None, description="inside of the roof's front corner: x, y, z"
    )
    main_foot: FootSpot
    front_foot: FootSpot | None = None
    rear_foot: FootSpot = Field(
        description="rear frame rail, wheel arch or tower point for the rear brace"
    )
    spots: dict[str, FootSpot] = Field(
        default_factory=dict,
        description=(
            "further places to stand a tube on, by a name of your own, e.g. "
            "[side.spots.front_tower]; a strut ends there with `car left front_tower`"
        ),
    )
    door: DoorOpening | None = None
    sill_top_y: LengthPair = Field(
        description="inner and outer edge of the sill's top, from the centre plane; where there is "
        "no sill, of the frame's side rail, whose top is Z = 0 then"
    )

    def feet(self) -> dict[str, FootSpot]:
        """Every place to stand a tube on that was measured, by its name."""
        named = {n: getattr(self, n) for n in ("main_foot", "front_foot", "rear_foot")}
        return {n: s for n, s in (*named.items(), *self.spots.items()) if s is not None}


class Wheel(FileModel):
    """Steering wheel."""

    centre: Point
    diameter: Length = Field(gt=0)
    column_angle: Angle = Field(0.4, description="column up from horizontal, degrees")


class Seat(FileModel):
    """One seat, where it is bolted."""

    hip: Point = Field(
        description="hip point of the person who sits there (y signed: left positive)"
    )
    back_angle: Angle = Field(description="torso back from vertical, degrees")
    side: Literal["left", "right", "centre"] = Field(
        "left", description="centre: on the car's middle line, where nobody sits beside"
    )
    back_thickness: Length = Field(60.0, gt=0, description="seat shell behind the back")
    half_width: Length = Field(
        240.0, gt=0, description="half of the seat's width at the shoulder bolsters"
    )
    back_height: Length | None = Field(
        None,
        gt=0,
        description="top of the seat, its head rest included, above the hip point along the back",
    )


class Dash(FileModel):
    """Dashboard and cowl."""

    face_x: Length = Field(description="rear face of the dash ahead of the hoop plane")
    top_z: Length
    bottom_z: Length
    cowl_x: Length = Field(description="base of the windscreen on the centre plane")
    cowl_z: Length


class ChassisTube(FileModel):
    """A round, straight tube of the frame that the car has already: not made, but coped to."""

    name: str = Field(
        pattern=r"^[a-z][a-z0-9_]*$",
        max_length=LONGEST_NAME,
        description="what places call it, e.g. lower_rail; with side = 'both' each side gets its "
        "own suffix",
    )
    side: Literal["left", "right", "both", "centre"] = Field(
        "centre",
        description=(
            "left, right or both: y counts from the centre plane; centre: y signed, left positive"
        ),
    )
    start: Point = Field(description="one end of the axis: x, y, z")
    end: Point = Field(description="the other end of the axis: x, y, z")
    od: Length = Field(gt=0, description="outside diameter, by caliper")
    wall: Length = Field(gt=0, description="wall, by ultrasonic gauge or from a drilled hole")
    material: SteelKey = Field("s235", description="key of a steel; mild steel when nobody knows")

    @model_validator(mode="after")
    def _is_tube(self) -> Self:
        if dist(self.start, self.end) < SHORTEST_TUBE:
            raise ValueError("start and end of the tube are one point; measure both ends")
        if self.wall >= self.od / 2:
            raise ValueError("the wall must be thinner than half of the outside diameter")
        return self

    def tube(self) -> Tube:
        """Size and steel."""
        return Tube(od=self.od, wall=self.wall, material=self.material)

    def axes(self) -> dict[str, tuple[Point, Point]]:
        """Ends of the axis in car axes (y signed), by the id of the tube."""
        if self.side == "centre":
            return {self.name: (self.start, self.end)}
        sides = ("left", "right") if self.side == "both" else (self.side,)
        out: dict[str, tuple[Point, Point]] = {}
        for side in sides:
            sign = 1.0 if side == "left" else -1.0
            name = f"{self.name}_{side}" if self.side == "both" else self.name
            (x, y, z), (p, q, r) = self.start, self.end
            out[name] = ((x, sign * y, z), (p, sign * q, r))
        return out


class Chassis(FileModel):
    """The frame of tubes that the car has already."""

    tube: tuple[ChassisTube, ...] = Field(
        (), description="its tubes, one [[chassis.tube]] each: round and straight"
    )

    @model_validator(mode="after")
    def _own_names(self) -> Self:
        ids = [name for t in self.tube for name in t.axes()]
        twice = sorted({name for name in ids if ids.count(name) > 1})
        if twice:
            raise ValueError(f"two tubes are called {twice[0]!r}; give each a name of its own")
        return self


class Tunnel(FileModel):
    """Transmission tunnel."""

    half_width: Length = Field(gt=0, description="centre plane to the tunnel's side")
    top_z: Length
    half_width_left: Length | None = Field(
        None, gt=0, description="left of the centre plane, where the sides are unlike"
    )
    half_width_right: Length | None = Field(
        None, gt=0, description="right of the centre plane, where the sides are unlike"
    )

    @model_validator(mode="before")
    @classmethod
    def _both_sides(cls, data: Any) -> Any:
        """A tunnel of which both sides are told needs no width of its own."""
        if isinstance(data, dict) and data.get("half_width") is None:
            sides = [data.get(f"half_width_{side}") for side in ("left", "right")]
            if None not in sides:
                return {**data, "half_width": sides[0]}
        return data

    @model_validator(mode="after")
    def _told_once(self) -> Self:
        sides = (self.half_width_left, self.half_width_right)
        if None not in sides and self.half_width not in sides:
            problem = "`half_width_left` and `half_width_right` say it already, side by side."
            raise InputError("car", "half_width", problem=problem, hint="Leave it out.")
        return self

    def half(self, side: str) -> float:
        """Centre plane to the tunnel's ``"left"`` or ``"right"`` side, mm."""
        own = self.half_width_left if side == "left" else self.half_width_right
        return self.half_width if own is None else own


class Pedals(FileModel):
    """Pedal faces at rest."""

    x: Length
    z: Length
    heel_z: Length = Field(description="floor or heel plate under the pedals")


class SideTapes(FileModel):
    """Tapes pulled from mark to mark once a side, from a mark of this side."""

    belt_to_rail: Length | None = Field(
        None, gt=0, description="belt mark to rail mark, in the hoop plane"
    )
    rail_to_roof_corner: Length | None = Field(
        None, gt=0, description="rail mark in the hoop plane to the roof's front corner"
    )
    rail_to_other_roof_corner: Length | None = Field(
        None, gt=0, description="rail mark to the roof's front corner of the other side"
    )
    pillar: Length | None = Field(None, gt=0, description="length of the pillar, top to base")
    main_to_front_foot: Length | None = Field(
        None, gt=0, description="main foot to front foot of the same side"
    )
    main_to_other_front_foot: Length | None = Field(
        None, gt=0, description="diagonal: main foot to front foot of the other side"
    )
    main_to_rear_foot: Length | None = Field(
        None, gt=0, description="main foot to rear foot of the same side"
    )
    main_to_other_rear_foot: Length | None = Field(
        None, gt=0, description="diagonal: main foot to rear foot of the other side"
    )
    front_foot_to_pillar: Length | None = Field(
        None, gt=0, description="front foot to the pillar's base"
    )
    roof_corner_to_front_foot: Length | None = Field(
        None, gt=0, description="front corner of the roof to the front foot of its side"
    )
    header_to_front_foot: Length | None = Field(
        None, gt=0, description="header, centre, to the front foot"
    )
    door_1_to_3: Length | None = Field(None, gt=0, description="door opening, corner 1 to corner 3")
    door_2_to_4: Length | None = Field(None, gt=0, description="door opening, corner 2 to corner 4")


class Tapes(FileModel):
    """Tapes pulled from mark to mark, as read: no shape hangs on them, they prove the points."""

    width_floor: Length | None = Field(None, gt=0, description="width at the floor, sill to sill")
    width_belt: Length | None = Field(None, gt=0, description="width at the belt line")
    width_rail: Length | None = Field(None, gt=0, description="width at the roof rails")
    floor_to_roof: Length | None = Field(
        None, gt=0, description="floor to roof skin on the centre string"
    )
    sill_to_sill: Length | None = Field(
        None, gt=0, description="outer edge of one sill to the other"
    )
    roof_to_header: Length | None = Field(
        None, gt=0, description="roof skin at the hoop to the header, centre"
    )
    roof_corners: Length | None = Field(
        None, gt=0, description="front corner of the roof to front corner"
    )
    pillar_bases: Length | None = Field(None, gt=0, description="pillar base to pillar base")
    main_feet: Length | None = Field(None, gt=0, description="main foot to main foot")
    front_feet: Length | None = Field(None, gt=0, description="front foot to front foot")
    left: SideTapes = SideTapes.model_construct()
    right: SideTapes = SideTapes.model_construct()


class Car(FileModel):
    """One car as measured."""

    kind: Literal["car"] = "car"
    name: Name
    description: str = ""
    units: Literal["mm", "in"] = "mm"
    body: Literal["closed", "open"] = "closed"
    frame: Literal["unibody", "frame"] = "unibody"
    doors: int = Field(3, ge=0, le=5)
    driver_side: Literal["left", "right"] = "left"
    mass: Mass | None = Field(None, gt=0, description="car ready to run without driver, kg")
    homologated: int | None = Field(None, description="year of homologation, if any")
    class_: str = Field(
        "", alias="class", description="competition class, free text for rule conditions"
    )
    engine_capacity: float | None = Field(
        None, ge=0, description="engine capacity, cm3; 0 for an electric car"
    )
    quarter_mile_time: float | None = Field(
        None, description="elapsed time in the quarter mile, s, for drag rulebooks"
    )
    left: CarSide = Field(description="the left side's measures; [side] gives those of both")
    right: CarSide = Field(description="the right side's measures; [side] gives those of both")
    roof: RoofSection | None = None
    floor_z: Length = Field(description="cabin floor at the hoop, below the sill plane (negative)")
    wheel: Wheel
    seats: tuple[Seat, ...] = Field(min_length=1)
    dash: Dash | None = None
    tunnel: Tunnel | None = None
    chassis: Chassis = Field(
        Chassis.model_construct(),
        description="the car's own frame of tubes, which a cage is coped to",
    )
    pedals: Pedals | None = None
    keepouts: tuple[KeepOut, ...] = ()
    panels: tuple[CarPanel, ...] = Field(
        (), description="flat sheets that tubes keep clear of, or pass through holes"
    )
    tapes: Tapes = Field(
        Tapes.model_construct(),
        description="cross distances as taped; held against the points of this sheet",
    )
    suspension_x: LengthPair | None = Field(
        None, description="rear and front suspension mounting points, x"
    )

    @model_validator(mode="before")
    @classmethod
    def _sides(cls, data: Any) -> Any:
        """Spread ``[side]`` over ``[left]`` and ``[right]``."""
        if isinstance(data, dict) and "side" in data:
            data = dict(data)
            both = data.pop("side")
            for name in ("left", "right"):
                data[name] = merged(both, data.get(name, {}))
        return data

    @model_validator(mode="after")
    def _named_once(self) -> Self:
        seen = {_as_told(name): "a surface of the car itself is" for name in OWN_SURFACES}
        named = [(f"panels.{n}", p.name) for n, p in enumerate(self.panels)]
        named += [(f"keepouts.{n}", k.name) for n, k in enumerate(self.keepouts)]
        for where, name in named:
            if other := seen.get(_as_told(name)):
                problem = f"{other} called {name!r}; checks and papers tell them by the name."
                hint = "Give it another name."
                raise InputError("car", f"{where}.name", name, problem=problem, hint=hint)
            seen[_as_told(name)] = "two are"
        return self

    @property
    def driver_seat(self) -> Seat:
        """The seat behind the wheel: the centre one, else the first on the driver's side."""
        order = ("centre", self.driver_side)
        return min(self.seats, key=lambda s: order.index(s.side) if s.side in order else len(order))

    def side(self, name: str) -> CarSide:
        """The measurements of one side, ``"left"`` or ``"right"``."""
        return self.left if name == "left" else self.right

    def foot(self, place: str) -> FootSpot | None:
        """The spot that a tube stands on, e.g. ``left.main_foot``; None where none was measured."""
        side, _, name = place.partition(".")
        return self.side(side).feet().get(name) if side in ("left", "right") else None


OWN_SURFACES = (
    "roof", "windscreen", "tunnel", "dash",
    *(f"{s} {n}" for s in ("left", "right")
      for n in ("pillar", "sill", "door", "floor", "side at the hoop")),
)  # fmt: skip
"""What the shell's own surfaces are called; a test holds them against the shell's."""


def _as_told(name: str) -> str:
    """A name as the code of its check has it."""
    return name.lower().replace(" ", "-")


def merged(base: Any, over: Any) -> Any:
    """Lay ``over`` on ``base``, table by table."""
    if isinstance(base, dict) and isinstance(over, dict):
        return {k: merged(base.get(k), over[k]) if k in over else base[k] for k in {**base, **over}}
    return base if over is None else over

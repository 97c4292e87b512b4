"""What a layout, a build or a preset may say about plates, gussets, tabs and plate boxes.

Every field has a default, so that an entry needs only what differs. ``preset`` names a plate
preset whose values are taken where the entry itself says nothing.
"""

from collections.abc import Mapping
from math import hypot, radians
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self

from pydantic import AfterValidator, Field, PrivateAttr, model_validator

from cagekit.errors import InputError
from cagekit.hints import did_you_mean
from cagekit.inputs.fields import (
    SHORTEST_DIRECTION,
    Angle,
    ByKind,
    EntrySide,
    FileModel,
    Length,
    LengthPair,
    OwnName,
    SteelKey,
)
from cagekit.inputs.places import EndField, FootField, LocationField

PLATE_STEEL: Mapping[str, str] = {"mm": "s235", "in": "a36"}
"""Steel of plates that name none, by the units of the file (common practice)."""
PLATE_BOLT: Mapping[str, tuple[str, str]] = {"mm": ("M10", "8.8"), "in": ("3/8-16", "grade-5")}
"""Size and grade of bolts that are not named, by the same (common practice)."""

SWING_BRACKET = "swing_bracket"
"""Kind of the brackets that a swing-out bar hangs on: a build without one does not load it."""

GussetWay = Literal["a", "b", "both", "inboard", "outboard", "up", "down", "forward", "back"]
"""Which way along its parent a gusset lies: an end of the tube, or as the car lies."""


def usual_grade(size: str) -> str:
    """Grade of a bolt of which only the size is named, that of its own system."""
    return PLATE_BOLT["mm" if size.startswith("M") else "in"][1]


class PlateSizes(FileModel):
    """What every plate has."""

    thickness: Length | None = Field(None, gt=0, description="plate thickness")
    material: SteelKey | None = Field(
        None, description="key of a steel; a36 in inch builds, s235 in metric ones"
    )


class PlateEntry(PlateSizes):
    """Fields that every plate entry has."""

    kind: str

    id: OwnName = Field(
        "",
        description="name of the plate, small letters, digits and single _; with side = 'both' "
        "each side gets its own suffix",
    )
    side: EntrySide | None = Field(None, description="which side; 'both' makes one on each")
    preset: str | None = Field(None, description="plate preset that gives the other values")
    omit: bool = Field(False, description="leave it out")


def _known_size(value: str | None) -> str | None:
    from cagekit.materials.fasteners import fasteners

    sizes = {bolt.size for bolt in fasteners()}
    if value is not None and value not in sizes:
        raise ValueError(f"there is no such bolt in the table. {did_you_mean(value, sizes)}")
    return value


def _known_grade(value: str | None) -> str | None:
    from cagekit.materials.fasteners import fasteners

    grades = {bolt.grade for bolt in fasteners()}
    if value is not None and value not in grades:
        raise ValueError(f"there is no such grade in the table. {did_you_mean(value, grades)}")
    return value


BoltSize = Annotated[str | None, AfterValidator(_known_size)]
BoltGrade = Annotated[str | None, AfterValidator(_known_grade)]


class FloorPlate(PlateSizes):
    """Sizes of a plate under a tube's foot."""

    corner_radius: Length = Field(
        15.0, ge=0, description="rounding of the corners, as far as sides and folds leave room"
    )
    length: Length = Field(150.0, gt=0, description="fore and aft")
    width: Length = Field(150.0, gt=0, description="across, along the sheet when folded")
    fix: Literal["welded", "bolted"] = Field("welded", description="welded or bolted")
    bolts: int = Field(4, ge=2, le=8, description="bolts when bolted")
    bolt_size: BoltSize = Field(None, description="3/8-16 in inch builds, M10 in metric ones")
    bolt_grade: BoltGrade = Field(
        None, description="grade-5 of inch bolts, 8.8 of metric ones, when left out"
    )
    edge: Length | None = Field(
        None, gt=0, description="hole centre to plate edge; twice the bolt or plug when left out"
    )
    plugs: int = Field(0, ge=0, le=12, description="plug (rosette) weld holes when welded")
    plug_diameter: Length = Field(8.0, gt=0, description="diameter of those holes")
    weld_leg: Length = Field(4.0, gt=0, description="fillet round the tube's foot")
    fold_radius: Length | None = Field(
        None, ge=0, description="inside radius, when not the brake's"
    )


class FlatPlate(FloorPlate):
    """Sizes of a plate under a foot that is no box: its flanges and what is below."""

    backing: bool | None = Field(None, description="matching plate below; yes when bolted")
    backing_thickness: Length | None = Field(None, gt=0, description="as the plate when left out")
    front_flange: Length = Field(
        0.0, ge=0, description="second direction: flange ahead of the foot"
    )
    front_angle: Angle = Field(radians(60), description="front flange up, degrees")
    rear_flange: Length = Field(0.0, ge=0, description="flange behind the foot")
    rear_angle: Angle = Field(radians(60), description="rear flange up, degrees")


class BoxFoot(FloorPlate):
    """Sizes of a box foot."""

    wall: Length | None = Field(None, gt=0, description="plinth: thickness of its walls")


class FloorPlateEntry(BoxFoot, FlatPlate, PlateEntry):
    """Plate under a tube's foot: flat, folded to the floor, or the top of a box foot.

    ``at`` is a tube end (``main_hoop end a``), a member or role (``rear_brace``), a place of the
    car sheet (``left.main_foot``, ``main_foot``) or ``feet`` for every foot. Later entries win.
    """

    kind: Literal["floor_plate"]
    at: FootField = Field(None, description="where it goes; every foot when left out")
    style: Literal["flat", "folded", "plinth"] = Field(
        "flat", description="folded follows the floor profile of the car sheet; plinth is a box"
    )
    plinth_height: Length = Field(60.0, gt=0, description="plinth: floor sheet to top of the box")
    shift: LengthPair = Field(
        (0.0, 0.0), description="middle of the plate from the foot: forward, outboard"
    )

    def idle(self, *, may_fold: bool) -> Mapping[str, str]:
        """Fields that nothing is made of under the foot that this entry is for, and why.

        Args:
            may_fold: the plate may be folded to the floor where it does not fit flat.
        """
        return idle_under_a_foot(self, self.style, folded=may_fold or self.style == "folded")


def idle_under_a_foot(plate: FloorPlate, style: str, *, folded: bool) -> dict[str, str]:
    """Fields of a plate under a foot that nothing is made of, and why.

    Args:
        plate: its sizes.
        style: flat, folded or plinth.
        folded: it is folded to the floor, or may be.
    """
    out: dict[str, str] = {}
    bolted = plate.fix == "bolted"
    backing, flanges = getattr(plate, "backing", None), []

    def without(why: str, cure: str, *fields: str) -> None:
        lead = f"{cure}, or leave" if cure else "Leave"
        out.update(dict.fromkeys(fields, f"{why}. {lead} it out."))

    if not bolted:
        bolts = ("bolts", "bolt_size", "bolt_grade", "backing", "backing_thickness")
        without("is not bolted", "Say fix = 'bolted'", *bolts)
    elif backing is False:
        without("has no plate below", "Say backing = true", "backing_thickness")
    if not plate.plugs:
        without("has no plug welds", "Say how many in `plugs`", "plug_diameter")
        if not bolted:
            without("has no bolts and no plug welds", "Say fix = 'bolted' or `plugs`", "edge")
    for end in ("front", "rear"):
        if getattr(plate, f"{end}_flange", 0.0):
            flanges.append(end)
        else:
            without(f"has no {end} flange", f"Say how long in `{end}_flange`", f"{end}_angle")
    if style == "flat" and not (folded or flanges):
        without("has no folds", "Say style = 'folded'", "fold_radius")
    if bolted:
        without("is bolted, plug welds are of a welded one", "", "plugs", "plug_diameter")
    if style != "plinth":
        without("is no plinth", "Say style = 'plinth'", "plinth_height", "wall")
        return out
    gone = ("front_flange", "front_angle", "rear_flange", "rear_angle", "fold_radius")
    without("is a plinth, without flanges or folds", "", *gone)
    without("is a plinth, without bolts and plug welds", "", "plugs", "plug_diameter", "edge")
    return out


class Gusset(PlateSizes):
    """Sizes of a sheet gusset."""

    style: Literal["flat", "folded"] = Field(
        "flat", description="flat in the plane of both axes, or a folded saddle over both tubes"
    )
    along_branch: Length = Field(80.0, gt=0, description="reach along the branch from the corner")
    along_parent: Length = Field(80.0, gt=0, description="reach along the parent from the corner")
    nose: Length = Field(8.0, ge=0, description="blunt width of the tips")
    corner_radius: Length = Field(
        3.0, ge=0, description="rounding of the tips' corners, 0.45 of the nose at most"
    )
    clip: Length = Field(12.0, ge=0, description="cut off the inner corner to clear the tube weld")
    weld_gap: Length = Field(1.0, ge=0, description="gap between the edge and the tube surface")
    hole: Length | None = Field(None, ge=0, description="lightening hole; 0 for none")
    bulge: Length = Field(0.0, ge=0, description="how far the long edge is drawn in as an arc")
    fold_radius: Length | None = Field(
        None, ge=0, description="inside radius, when not the brake's"
    )
    weld_leg: Length = Field(3.0, gt=0, description="fillet along both tubes")

    def idle(self) -> Mapping[str, str]:
        """Fields that nothing is made of, and why."""
        if self.style == "folded":
            why = "a folded gusset has no {}. Say style = 'flat', or leave it out."
            words = {"nose": "blunt tips", "corner_radius": "blunt tips", "bulge": "long edge"}
            return {name: why.format(word) for name, word in words.items()}
        out = {"fold_radius": "a flat gusset has no folds. Say style = 'folded', or leave it out."}
        if self.bulge:
            out["corner_radius"] = (
                "the tips are not rounded where `bulge` draws the long edge in. Leave out one of "
                "the two."
            )
        elif not self.nose:
            out["corner_radius"] = "the tips are sharp. Say how blunt in `nose`, or leave it out."
        return out


BOTH_IN_ONE_PLACE = "both {} would stand in one place. Write {{side}} in `at`, or leave `side` out."


def _placed(entry: PlateEntry, at: Any) -> Mapping[str, str]:
    """A side that a place which names one tube has no use for."""
    if entry.side in (None, "both") or (at is not None and at.open):
        return {}
    return {"side": "`at` has no {side} to fill in. Write it there, or leave `side` out."}


class GussetEntry(Gusset, PlateEntry):
    """Sheet gusset across the corner of a joint.

    ``at`` is the branch's coped end, e.g. ``rear_brace_left end a``, or a role with end
    (``rear_brace end a``) for all of them.
    """

    kind: Literal["gusset"]
    at: EndField | None = Field(None, description="where it goes; no preset says it")
    way: GussetWay = Field(
        "b",
        description="which way along the parent: towards its end a or b, or as the car lies; both "
        "are two, at the crossing of an X opposite each other; with side = 'both' on a tube that "
        "spans the car a and b are as on the left, mirrored on the right",
    )
    _mirrored: bool = PrivateAttr(default=False)

    def idle(self) -> Mapping[str, str]:
        """As of the sizes, and a side that fills in nothing."""
        out = {**super().idle(), **_placed(self, self.at)}
        if self.side == "both" and self.at is not None and not self.at.open:
            out["side"] = BOTH_IN_ONE_PLACE.format("gussets")
        return out

    @property
    def mirrored(self) -> bool:
        """Whether it is the right one of a pair, whose ends a and b are said of the left."""
        return self._mirrored

    def on_right(self) -> Self:
        """The same as the right one of a pair."""
        twin = self.model_copy()
        twin._mirrored = True
        return twin


class Tab(PlateSizes):
    """Sizes of a small plate on a tube with one hole, or of a clevis of two."""

    hole: Length = Field(13.0, gt=0, description="bolt hole")
    bolt_size: BoltSize = Field(None, description="bolt in it, e.g. M12 or 7/16-20")
    bolt_grade: BoltGrade = Field(
        None, description="its grade; grade-5 of inch bolts, 8.8 of metric ones, when left out"
    )
    reach: Length = Field(35.0, gt=0, description="tube surface to the middle of the hole")
    width: Length = Field(50.0, gt=0, description="width at the tube")
    ear: Length = Field(18.0, gt=0, description="radius of the round end about the hole")
    weld_gap: Length = Field(0.5, ge=0, description="gap between the edge and the tube surface")
    count: int = Field(1, ge=1, le=2, description="2 makes a clevis")
    gap: Length = Field(12.0, gt=0, description="clear width of a clevis")
    weld_leg: Length = Field(4.0, gt=0, description="fillet along the tube")

    def idle(self) -> Mapping[str, str]:
        """Fields that nothing is made of, and why."""
        out: dict[str, str] = {}
        if not self.bolt_size:
            out["bolt_grade"] = "no bolt is told of. Say its size in `bolt_size`, or leave it out."
        if self.count == 1:
            out["gap"] = "a single tab has no gap. Say count = 2, or leave it out."
        return out


class TabEntry(Tab, PlateEntry):
    """Small plate on a tube with one hole: harness anchor, seat or net tab.

    ``at`` is a place, e.g. ``on harness_bar at y 90``.
    """

    kind: Literal["tab"]
    at: LocationField | None = Field(None, description="where it goes; no preset says it")
    use: Literal["harness", "seat", "net", "other"] = "other"
    toward: tuple[float, float, float] = Field(
        (-1.0, 0.0, 0.0), description="direction it stands off the tube, x forward, y left, z up"
    )
    pull: tuple[float, float, float] | None = Field(
        None, description="direction of the load; as `toward` when left out"
    )

    @model_validator(mode="after")
    def _directed(self) -> Self:
        for name in ("toward", "pull"):
            way = getattr(self, name)
            if way is not None and hypot(*way) < SHORTEST_DIRECTION:
                hint = "x is forward, y left, z up: [-1, 0, 0] is straight back."
                raise InputError("plate", name, problem="points nowhere.", hint=hint)
        return self

    def idle(self) -> Mapping[str, str]:
        """As of the sizes, a use that names nothing, and a side that fills in nothing."""
        out = {**super().idle(), **_placed(self, self.at)}
        vectors = (self.toward, self.pull or self.toward)
        if (
            self.side == "both"
            and not (self.at and self.at.open)
            and not any(v[1] for v in vectors)
        ):
            out["side"] = BOTH_IN_ONE_PLACE.format("tabs")
        if self.id:
            out["use"] = "the tab has a name of its own. Leave out `use` or `id`."
        return out


class OutriggerBox(PlateSizes):
    """Sizes of a plate box that carries a foot."""

    width: Length = Field(70.0, gt=0, description="fore and aft")
    height: Length = Field(50.0, gt=0, description="top of the box to its lower edge")
    corner_radius: Length = Field(0.0, ge=0, description="rounding of the corners")
    weld_leg: Length = Field(4.0, gt=0, description="fillet round the tube's foot")


class OutriggerBoxEntry(OutriggerBox, PlateEntry):
    """Plate box that carries a foot from frame or tunnel out to the sill.

    ``at`` is the foot it carries: a tube end or a place of the car sheet.
    """

    kind: Literal["outrigger_box"]
    at: FootField = Field(None, description="the foot it carries")
    inner_y: Length | None = Field(
        None, description="inner end from the centre plane, when not the tunnel's side"
    )
    outer_y: Length | None = Field(
        None, description="outer end from the centre plane, when not the inner sill"
    )


if TYPE_CHECKING:
    AnyPlateEntry = PlateEntry
else:
    AnyPlateEntry = Annotated[
        PlateEntry,
        ByKind(
            {
                "floor_plate": FloorPlateEntry,
                "gusset": GussetEntry,
                "tab": TabEntry,
                "outrigger_box": OutriggerBoxEntry,
                SWING_BRACKET: "cagekit.inputs.swing_bracket:SwingBracketEntry",
            }
        ),
    ]
"""One entry of ``[[plate]]``, chosen by its ``kind``."""


OF_ENTRIES = ("id", "side", "at", "preset", "omit")
"""What an entry alone says: its place, its name and whether it is made."""


class PlateFile(FileModel):
    """A plate preset: the ``[plate]`` table holds what an entry may say, without its place."""

    kind: Literal["plate"] = "plate"
    name: str = Field(pattern=r"^[A-Za-z0-9.-]+$")
    description: str = ""
    units: Literal["mm", "in"] = "mm"
    source: str = Field(description="where the sizes come from: rulebook, catalogue, habit")
    plate: AnyPlateEntry

    @model_validator(mode="after")
    def _without_a_place(self) -> Self:
        said, fields = self.plate.model_fields_set, type(self.plate).model_fields
        for name in OF_ENTRIES:
            nothing = fields[name].get_default(call_default_factory=True)
            if name not in said or getattr(self.plate, name) == nothing:
                continue  # a dump says that it says nothing
            problem, hint = "belongs to the [[plate]] that names this preset.", "Say it there."
            if name == "preset":
                problem, hint = "a preset stands on no other preset.", "Say the values here."
            raise InputError("plate", f"plate.{name}", problem=problem, hint=hint)
        return self


def laid_on(base: PlateEntry, over: PlateEntry) -> PlateEntry:
    """Return ``over`` with what ``base`` says where ``over`` says nothing."""
    said = base.model_fields_set - over.model_fields_set
    return over.model_copy(update={n: getattr(base, n) for n in sorted(said)})

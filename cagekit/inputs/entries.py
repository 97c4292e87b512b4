"""What a layout or a build file may say about each kind of member.

Every field has a default, so that a build can override single fields of a layout's entry. Places
are texts such as ``on main_hoop.left at height 450`` (see ``cagekit.inputs.places``); ``{side}``
and ``{other}`` stand for the entry's side and the opposite one.
"""

from collections.abc import Collection, Iterator, Mapping, Set
from math import pi, radians
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self, get_args

from pydantic import ConfigDict, Field, create_model, model_validator

from cagekit.errors import InputError
from cagekit.inputs.fields import (
    LONGEST_NAME,
    Angle,
    ByKind,
    EntrySide,
    FileModel,
    Length,
    OwnName,
    Point,
)
from cagekit.inputs.member_kinds import FRONT_LEG, MEMBER_KINDS, MemberRow
from cagekit.inputs.places import EndField, LocationField, TubeField

CUT_GAP = 2.0
"""Width of a saw cut, mm (common practice)."""


STRAIGHT = "the tube is straight. Leave it out, or give the tube corners."
PLACED = "{} already where the tube goes. Leave out one or the other."
"""Why a field of a strut is idle: problem and cure."""


class MemberEntry(FileModel):
    """Fields that every member has."""

    kind: str

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)

    id: OwnName = Field(
        "",
        description="name of the member, small letters, digits and single _; with side = 'both' "
        "each side gets its own suffix",
    )
    side: EntrySide | None = Field(
        None, description="which side the member is for; 'both' makes one on each"
    )
    tube: str | None = Field(None, description="tube preset, when not the build's")
    bend_radius: Length | None = Field(
        None, gt=0, description="centre-line radius, when not the die's"
    )
    omit: bool = Field(False, description="leave the member out")
    group: str = Field(
        "",
        pattern=r"^[a-z0-9_]*$",
        max_length=LONGEST_NAME,
        description="what both sides answer to under [members.NAME]; the id when left out",
    )

    @property
    def names(self) -> tuple[str, ...]:
        """What a file may call it, the widest first: kind, group, id."""
        return tuple(dict.fromkeys([n for n in (self.kind, self.group, self.id) if n]))

    def unread(self, said: Set[str]) -> Mapping[str, str]:
        """Fields that nothing is made of as the others stand, and why.

        Args:
            said: fields that the file names for this member: what one of them has switched off in
                so many words may wait there for the day it is switched on.
        """
        return {}

    def idle(self, said: Set[str] = frozenset()) -> Mapping[str, str]:
        """Fields that the entry itself gives a value of its own and nothing is made of, and why.

        Args:
            said: fields that another table says of it, see :meth:`unread`.
        """
        fields, own = type(self).model_fields, self.model_fields_set
        why = self.unread(own | said)
        return {n: why[n] for n in why if n in own and getattr(self, n) != fields[n].default}


class MemberForm(FileModel):
    """What a kind of member is like in any car: entry and part alone share it."""


class HoopForm(MemberForm):
    """What a main hoop is like on any car, and alone."""

    lean: Angle = Field(
        0.0,
        ge=-radians(35),
        le=radians(35),
        description="lean of the hoop's plane, degrees, positive backwards",
    )
    straight_legs: bool = Field(
        False, description="one straight from foot to top bend, no belt bend"
    )


class HoopEntry(HoopForm, MemberEntry):
    """Main hoop, bent to the shell section in its plane."""

    kind: Literal["main_hoop"]
    gap: Length = Field(12.0, description="tube surface to shell, at roof and sides")
    roof_gap: Length | None = Field(None, description="tube surface to roof skin, when not `gap`")
    height: Length | None = Field(
        None, description="top of the tube above the sill plane, when not from the roof"
    )
    half_width_top: Length | None = Field(
        None,
        gt=0,
        description="centre plane to the outside of the tube at the corner of the top bend",
    )
    half_width_belt: Length | None = Field(
        None, gt=0, description="centre plane to the outside of the tube at the belt line"
    )

    def unread(self, said: Set[str]) -> Mapping[str, str]:
        """Where the hoop's own sizes say how high and wide it is, roof and sides do not."""
        out = {}
        if self.height is not None:
            out["roof_gap"] = (
                "`height` says already how high the hoop is. Leave out one of the two."
            )
        if self.half_width_top is None:
            return out
        # the legs lead straight to that corner, whatever the belt line
        if self.straight_legs:
            why = "the legs are straight from foot to top bend."
            out["half_width_belt"] = f"{why} Say straight_legs = false, or leave it out."
        measured = self.height is None and self.roof_gap is None
        if not measured and (self.straight_legs or self.half_width_belt is not None):
            out["gap"] = "the hoop's own sizes say already how high and wide it is. Leave it out."
        return out


class FrontHoopEntry(MemberEntry):
    """Front hoop: up both windscreen pillars and across the header."""

    kind: Literal["front_hoop"]
    gap: Length = Field(12.0, description="tube surface to pillar, roof and header")


class HaloForm(MemberForm):
    """What a halo is like on any car, and alone."""

    rail_bow: Length = Field(
        0.0,
        ge=0,
        description=(
            "how far the side rails stand out from a straight at mid length (adds a bend each side)"
        ),
    )


class HaloEntry(HaloForm, MemberEntry):
    """Halo: from the main hoop forward along the rails and across the header, one tube."""

    kind: Literal["halo"]
    gap: Length = Field(12.0, description="tube surface to roof, rails and header")
    drop: Length = Field(
        0.0,
        description="node below the middle of the main hoop's top bend, along the tube; 0: in one "
        "node with the rear brace",
    )


class HalfHoopEntry(MemberEntry):
    """Half hoop: one tube from the front floor up the pillar and back to the main hoop."""

    kind: Literal["half_hoop"]
    gap: Length = Field(12.0, description="tube surface to pillar and roof")
    drop: Length = Field(
        0.0,
        description="node below the middle of the main hoop's top bend, along the tube; 0: in one "
        "node with the rear brace",
    )


class PillarBarForm(MemberForm):
    """What an A-pillar bar is like on any car, and alone."""

    outboard: Length = Field(
        0.0, description="moves the bend out from the pillar line (room at the wheel)"
    )


class PillarBarEntry(PillarBarForm, MemberEntry):
    """A-pillar bar: from halo or header down along the windscreen pillar to its foot."""

    kind: Literal["a_pillar_bar"]
    gap: Length = Field(10.0, description="tube surface to the pillar's inner face")
    top: LocationField | None = Field(None, description="place of the upper node")
    knee_height: Length | None = Field(
        None, description="height of the bend above the sill plane, when not at the pillar's base"
    )


class StrutEntry(MemberEntry):
    """A tube between two places; each kind of strut has its own usual places."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)

    from_: LocationField | None = Field(
        None,
        alias="from",
        description="place of end a; a point at x, y, z with side = 'both' as corners in `via`",
    )
    to: LocationField | None = Field(
        None,
        description="place of end b; a point at x, y, z with side = 'both' as corners in `via`",
    )
    via: tuple[Point, ...] = Field(
        (),
        description=(
            "corners on the way from end a to end b, x, y, z (y signed; with side = 'both' as on "
            "the left, mirrored on the right)"
        ),
    )
    split_by: tuple[str, ...] = Field(
        (), description="members that run through: this one is cut and coped to them"
    )
    role: str | None = Field(None, pattern=r"^[a-z0-9_]+$", description="role, when not the kind")

    @model_validator(mode="after")
    def _one_for_each_side(self) -> Self:
        places = (self.from_, self.to)
        if self.side == "both" and not self.via and all(p and not p.of_each_side for p in places):
            raise InputError(
                self.kind,
                "side",
                self.side,
                problem="both tubes would stand in one place.",
                hint="Write {side} in `from` or `to`, or leave `side` out.",
            )
        return self

    @property
    def bent(self) -> bool:
        """Whether the tube has a bend."""
        return bool(self.via)

    def unread(self, said: Set[str]) -> Mapping[str, str]:
        """A straight tube has no use for the radius of a bend, a placed end for a usual place."""
        out = {} if self.bent else {"bend_radius": STRAIGHT}
        start, end = self.from_ is not None, self.to is not None
        by_start, by_end, by_both = self.for_ends()
        if start:
            out |= dict.fromkeys(by_start, PLACED.format("`from` says"))
        if end:
            out |= dict.fromkeys(by_end, PLACED.format("`to` says"))
        if start and end:
            out |= dict.fromkeys(by_both, PLACED.format("`from` and `to` say"))
        return out

    def for_ends(self) -> tuple[Collection[str], Collection[str], Collection[str]]:
        """Fields that only place end a, only end b, and only ends that no place was written for."""
        return (), (), ()


class FreeStrutEntry(StrutEntry):
    """A strut that has no usual places: the file names both."""

    kind: Literal["strut"] = "strut"


class WindscreenBraceEntry(StrutEntry):
    """Windscreen-pillar brace: from the upper corner down to the lower part of the pillar bar."""

    kind: Literal["windscreen_brace"]
    low: Length | None = Field(None, description="height of the lower node")

    def for_ends(self) -> tuple[Collection[str], Collection[str], Collection[str]]:
        """The lower node is end b."""
        return (), ("low",), ()


class HarnessBarEntry(StrutEntry):
    """Harness bar across the main hoop."""

    kind: Literal["harness_bar"]
    height: Length | None = Field(
        None, description="axis above the sill plane, when not from the driver's shoulder"
    )
    below_shoulder: Length = Field(
        100.0, description="axis below the shoulder when the height follows from the driver"
    )

    def unread(self, said: Set[str]) -> Mapping[str, str]:
        """Where `height` says how high the bar is, the shoulder does not."""
        if self.height is None:
            return super().unread(said)
        why = "`height` says already how high the bar is. Leave out one of the two."
        return {"below_shoulder": why, **super().unread(said)}

    def for_ends(self) -> tuple[Collection[str], Collection[str], Collection[str]]:
        """Both ends are at one height."""
        return (), (), ("height", "below_shoulder")


class HoopDiagonalEntry(StrutEntry):
    """Hoop diagonal, single or crossed."""

    kind: Literal["hoop_diagonal"]
    style: Literal["single", "crossed"] = "single"
    upper: Literal["driver", "passenger"] = Field(
        "driver", description="side of the upper end of the first diagonal"
    )
    drop: Length = Field(
        0.0,
        description=(
            "upper node below the middle of the top bend, along the tube; 0: in one node with "
            "the rear brace"
        ),
    )
    rise: Length = Field(100.0, description="lower node above the foot, along the leg")

    def for_ends(self) -> tuple[Collection[str], Collection[str], Collection[str]]:
        """End a is up; places that are written are of the first diagonal alone."""
        return (("drop",), ("rise",), ("upper",)) if self.style == "single" else ((), (), ())


class RoofDiagonalEntry(StrutEntry):
    """Roof diagonal: single, crossed, or V from the middle of the main hoop."""

    kind: Literal["roof_diagonal"]
    style: Literal["single", "crossed", "v"] = "single"
    inset: Length = Field(60.0, description="nodes in from the corners, along the tubes")

    def for_ends(self) -> tuple[Collection[str], Collection[str], Collection[str]]:
        """Of a V end a is in the middle; of crossed ones places are of the first alone."""
        if self.style == "crossed":
            return (), (), ()
        return ((), ("inset",), ()) if self.style == "v" else ((), (), ("inset",))


class CutForm(FileModel):
    """How a bar is cut for its swing, whatever the car: entry and brackets alone share it."""

    cut_gap: Length = Field(CUT_GAP, gt=0, description="width of the saw cut at each end")
    pin_tilt: Angle = Field(
        0.0,
        ge=-pi / 2,
        le=pi / 2,
        description="pins turned about the bar from upright, degrees, top outboard positive",
    )


class SwingForm(CutForm):
    """How a bar is cut and swings."""

    open_angle: Angle = Field(
        pi / 2,
        ge=radians(5),
        le=radians(170),
        description="how far the bar should swing out, degrees",
    )


class DoorBarEntry(SwingForm, StrutEntry):
    """Door bar: single, pair or X; a single bar may be prepared to swing out."""

    kind: Literal["door_bar"]
    style: Literal["single", "pair", "x"] = "single"
    height_rear: Length = Field(380.0, description="node on the main hoop above the sill plane")
    height_front: Length = Field(300.0, description="node on the front member above the sill plane")
    low_rear: Length | None = Field(
        None,
        description="pair or X: lower node on the main hoop above the sill plane; 150 mm when left "
        "out, of an X just above the foot, so that it crosses at a good angle",
    )
    low_front: Length | None = Field(
        None,
        description="pair or X: lower node on the front member; 120 mm when left out, of an X just "
        "above the foot, or past the pillar brace",
    )
    front_member: TubeField | None = Field(
        None, description="member at the front end, e.g. a_pillar_bar_{side}"
    )
    bend_out: Length = Field(
        0.0,
        description=(
            "X: the bar from the high rear node to the low front one is bent once, its corner this "
            "far outboard of where straight bars would cross; the other bar's halves meet it there"
        ),
    )
    bend_up: Length = Field(
        0.0, description="X: the corner of that bend this far above where straight bars would cross"
    )
    swing_out: bool = Field(False, description="the bar is cut at two places and hung on brackets")
    hinge_end: Literal["front", "rear"] = Field("front", description="end that carries the hinge")
    cut_front: Length | None = Field(
        None, description="front cut, along the bar from the front node"
    )
    cut_rear: Length | None = Field(None, description="rear cut, along the bar from the rear node")
    cut_front_height: Length | None = Field(
        None, description="front cut by its height above the sill plane instead"
    )
    cut_rear_height: Length | None = Field(
        None, description="rear cut by its height above the sill plane instead"
    )

    @property
    def bent(self) -> bool:
        """Whether one of the bars has a bend."""
        return bool(self.via or self.bend_out or self.bend_up)

    def for_ends(self) -> tuple[Collection[str], Collection[str], Collection[str]]:
        """End a is on the main hoop; places that are written are of the first bar alone."""
        if self.style == "x":
            return ("height_rear",), ("low_front",), ()
        only = ("front_member",) if self.style == "single" else ()
        return ("height_rear",), ("height_front", *only), ()

    def unread(self, said: Set[str]) -> Mapping[str, str]:
        """A single bar has no lower nodes, and one that is fixed no cuts."""
        out = dict(super().unread(said))
        if self.style == "single" and "style" not in said:
            lower = "a single bar has no lower node. Say style = 'pair' or 'x', or leave it out."
            out |= dict.fromkeys(("low_rear", "low_front"), lower)
        if not self.swing_out and "swing_out" not in said:
            fixed = "the bar does not swing out. Say swing_out = true, or leave it out."
            cuts = ("cut_front", "cut_rear", "cut_front_height", "cut_rear_height")
            out |= dict.fromkeys((*SwingForm.model_fields, "hinge_end", *cuts), fixed)
        return out


class DashBarForm(MemberForm):
    """What a dash bar is like on any car, and alone."""

    set_back: Length = Field(
        0.0,
        description=(
            "middle of the bar behind the straight between its nodes, with two bends; "
            "negative: ahead of it"
        ),
    )


class DashBarEntry(DashBarForm, StrutEntry):
    """Dash bar between the front members."""

    kind: Literal["dash_bar"]
    height: Length | None = Field(
        None, description="axis above the sill plane, when not under the dash top"
    )
    member: TubeField | None = Field(
        None, description="member it is coped to, e.g. a_pillar_bar_{side}"
    )

    @property
    def bent(self) -> bool:
        """Whether the bar has a bend."""
        return bool(self.via or self.set_back)

    def for_ends(self) -> tuple[Collection[str], Collection[str], Collection[str]]:
        """Both ends are at one height, on one kind of member."""
        return (), (), ("height", "member")

    def unread(self, said: Set[str]) -> Mapping[str, str]:
        """Corners that are written leave none to be set back."""
        out = dict(super().unread(said))
        if self.via:
            out["set_back"] = "`via` says already where the corners are. Leave out one of the two."
        return out


class OutriggerEntry(StrutEntry):
    """Outrigger: carries a foot from the car's frame or tunnel out to the sill."""

    kind: Literal["outrigger"]
    inner_y: Length | None = Field(
        None, description="inner end from the centre plane, when not the tunnel's side"
    )
    outer_y: Length | None = Field(
        None, description="outer end from the centre plane, when not the inner sill"
    )
    below: Length = Field(0.0, description="top of the outrigger below the foot")

    def for_ends(self) -> tuple[Collection[str], Collection[str], Collection[str]]:
        """End a is the inner one."""
        return ("inner_y",), ("outer_y",), ("below",)


class RockerBraceEntry(StrutEntry):
    """Rocker brace: from a leg down and out to the rocker (sill)."""

    kind: Literal["rocker_brace"]
    height: Length = Field(220.0, description="node on the main hoop above the sill plane")
    forward: Length = Field(260.0, description="landing ahead of the hoop plane")

    def for_ends(self) -> tuple[Collection[str], Collection[str], Collection[str]]:
        """End a is on the hoop."""
        return ("height",), ("forward",), ()


class TubeGussetEntry(StrutEntry):
    """Short tube across the corner where two members meet."""

    kind: Literal["tube_gusset"]
    node: EndField | None = Field(
        None, description="the joint's branch end, e.g. 'a_pillar_bar_left end a'"
    )
    along_branch: Length = Field(180.0, description="node on the branch from the joint")
    along_parent: Length = Field(180.0, description="node on the parent from the joint")
    way: Literal["a", "b"] = Field(
        "b", description="which way along the parent, towards its end a or b"
    )

    def for_ends(self) -> tuple[Collection[str], Collection[str], Collection[str]]:
        """It runs between two places, or across a node."""
        return (), (), ("node", "along_branch", "along_parent", "way")


class RowEntry(StrutEntry):
    """A strut between the two places of its row."""

    def for_ends(self) -> tuple[Collection[str], Collection[str], Collection[str]]:
        """What the place of each end counts with."""
        by: list[set[str]] = [
            {n for n in (p.value, p.by) if isinstance(n, str)}
            | ({"front_member"} if p.tube == FRONT_LEG else set())
            for p in MEMBER_KINDS[self.kind].places
        ]
        start, end = by
        return start - end, end - start, start & end


def _row_entry(kind: str, row: MemberRow) -> type[StrutEntry]:
    """The entry of a kind that needs no code."""
    fields: dict[str, Any] = {
        name: (Length, Field(f.default, ge=f.least, description=f.about))
        for name, f in row.fields.items()
    }
    if row.at_front:
        about = "member at the front end, e.g. a_pillar_bar_{side}"
        fields["front_member"] = (TubeField | None, Field(None, description=about))
    name = "".join(w.capitalize() for w in kind.split("_")) + "Entry"
    return create_model(
        name,
        __base__=RowEntry,
        __module__=__name__,
        __doc__=f"{row.about[0].upper()}{row.about[1:]}.",
        kind=(Literal[kind], ...),  # type: ignore[arg-type]
        **fields,
    )


ROW_ENTRIES: Mapping[str, type[StrutEntry]] = {
    kind: _row_entry(kind, row) for kind, row in MEMBER_KINDS.items() if not row.code
}
"""Entries of the kinds that need no code, by kind."""
# another process that is sent one looks for it by its name
globals().update({entry.__name__: entry for entry in ROW_ENTRIES.values()})


def _coded(base: type[MemberEntry]) -> Iterator[tuple[str, type[MemberEntry]]]:
    """Every entry written here, by the kind that it names."""
    for entry in base.__subclasses__():
        kinds = get_args(entry.model_fields["kind"].annotation)
        if kinds:
            yield kinds[0], entry
        yield from _coded(entry)


ENTRIES: Mapping[str, type[MemberEntry]] = {**dict(_coded(MemberEntry)), **ROW_ENTRIES}
"""The entry of every kind of member."""

if TYPE_CHECKING:
    AnyEntry = MemberEntry
else:
    AnyEntry = Annotated[MemberEntry, ByKind({kind: ENTRIES[kind] for kind in MEMBER_KINDS})]
"""One entry of ``[[member]]``, chosen by its ``kind``."""


def form_of(kind: str) -> tuple[type[MemberForm], ...]:
    """What a kind is like in any car, in a class of its own; none for a plain strut."""
    return tuple(b for b in ENTRIES[kind].__bases__ if issubclass(b, MemberForm))

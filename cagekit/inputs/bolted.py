"""What a build says of a tube that comes apart at a bolted joint."""

from collections.abc import Iterator, Sequence
from math import pi, radians
from typing import Literal

from pydantic import Field, field_validator

from cagekit.inputs.fields import Angle, FileModel, Length
from cagekit.inputs.places import AtPoint, Location, LocationField, OnCar, OnTube


class JointEntry(FileModel):
    """A demountable joint of a straight tube: what all kinds say."""

    at: LocationField = Field(
        description="middle of the cut, e.g. 'on harness_bar at fraction 0.2'; {side} with a side"
    )
    side: Literal["left", "right", "both"] | None = Field(
        None, description="fills in {side}; 'both' makes one on each"
    )
    bolt_size: str | None = Field(
        None, description="of the bolts, e.g. 'M8', '5/16'; the usual one of the kind when left out"
    )
    bolt_grade: str | None = Field(None, description="of the bolts, e.g. '10.9', 'grade-8'")
    turn: Angle = Field(
        0.0, ge=-pi, le=pi, description="bolts turned about the tube, degrees; 0: upright"
    )  # fmt: skip

    @field_validator("at")
    @classmethod
    def _on_a_tube(cls, value: Location) -> Location:
        if isinstance(value, AtPoint | OnCar) or value.others:
            raise ValueError(
                "names no place on one tube; write e.g. 'on harness_bar at fraction 0.2'"
            )
        return value

    @property
    def tube(self) -> OnTube:
        """The place on its tube."""
        assert isinstance(self.at, OnTube)
        return self.at


class SleeveEntry(JointEntry):
    """A tube cut, and bolted together in a sleeve over it."""

    kind: Literal["sleeve"] = "sleeve"
    length: Length | None = Field(
        None, gt=0, description="of the sleeve, half on each piece; three tube diameters when left"
        " out",
    )  # fmt: skip
    wall: Length | None = Field(
        None, gt=0, description="of the sleeve; the tube's own, 3 mm at least, when left out"
    )
    fit: Length = Field(
        0.3, gt=0, description="bore of the sleeve over the tube's outside diameter"
    )
    cut_gap: Length = Field(2.0, gt=0, description="width of the saw cut between the pieces")
    bolts: int = Field(2, ge=1, le=4, description="bolts through each piece")


class SpigotEntry(JointEntry):
    """A joint whose halves are turned with a spigot and welded into the two pieces."""

    collar: Length = Field(8.0, gt=0, description="solid metal behind cheeks, eye, bore or taper")
    spigot: Length | None = Field(
        None, gt=0, description="into the tube; 0.6 of its diameter when left out"
    )
    fit: Length = Field(0.2, gt=0, le=2, description="spigot under the tube's bore")


class ClevisEntry(SpigotEntry):
    """A fork welded into one piece, an eye welded into the other, one bolt in double shear."""

    kind: Literal["clevis"]
    fork: Literal["a", "b"] = Field("a", description="end whose piece carries the fork")
    eye: Length | None = Field(
        None, gt=0, description="thickness of the eye; the bolt's diameter when left out"
    )
    cheek: Length | None = Field(
        None, gt=0, description="thickness of each cheek; 0.6 of the eye, 4.5 mm at least, when "
        "left out",
    )  # fmt: skip
    width: Length | None = Field(
        None, gt=0, description="of cheeks and eye across the tube; three bolt diameters, or what "
        "the tube's diameter leaves, when left out",
    )  # fmt: skip
    play: Length = Field(0.2, gt=0, description="slot of the fork over the eye's thickness")
    clearance: Length = Field(1.5, gt=0, description="round ends to the collar opposite")


class PlugEntry(SpigotEntry):
    """A tapered plug welded into one piece, its socket into the other, one bolt across both."""

    kind: Literal["plug"]
    socket: Literal["a", "b"] = Field("a", description="end whose piece carries the socket")
    taper: Length | None = Field(
        None, gt=0, description="length of the taper; 0.6 of the tube's diameter when left out"
    )
    angle: Angle = Field(
        radians(8.3), gt=0, le=pi / 4, description="of the taper to the axis, degrees; from some "
        "8 degrees it lets go by itself",
    )  # fmt: skip
    rim: Length = Field(3.5, gt=0, description="socket's wall at its mouth")
    nose: Length | None = Field(
        None, gt=0, description="parallel end beyond the taper, for the bolt; three bolt diameters "
        "when left out",
    )  # fmt: skip
    nose_fit: Length = Field(0.1, gt=0, le=2, description="nose under its bore")
    clearance: Length = Field(2.0, gt=0, description="nose to the bottom of its bore")
    seat: Length = Field(1.0, gt=0, description="mouth to the plug's collar with the taper home")


def spread_joints(joints: Sequence[JointEntry]) -> Iterator[tuple[int, OnTube, JointEntry]]:
    """Every joint to be made: its entry's place in the file, where it is, the entry."""
    for n, joint in enumerate(joints):
        sides = ("left", "right") if joint.side == "both" else (joint.side,)
        for side in sides:
            yield n, joint.tube.for_side(side) if side else joint.tube, joint

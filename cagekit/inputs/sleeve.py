"""What a build says of a tube that comes apart at a bolted sleeve."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import pi
from typing import Literal

from pydantic import Field, field_validator

from cagekit.inputs.fields import Angle, FileModel, Length
from cagekit.inputs.places import AtPoint, Location, LocationField, OnCar, OnTube


class BoltedJoint(FileModel):
    """A demountable joint of a straight tube: cut, and bolted together in a sleeve over it."""

    kind: Literal["sleeve"] = "sleeve"
    at: LocationField = Field(
        description="middle of the cut, e.g. 'on harness_bar at fraction 0.2'; {side} with a side"
    )
    side: Literal["left", "right", "both"] | None = Field(
        None, description="fills in {side}; 'both' makes one on each"
    )
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
    bolt_size: str | None = Field(
        None, description="of the bolts, e.g. 'M8', '5/16'; the build's usual one when left out"
    )
    bolt_grade: str | None = Field(None, description="of the bolts, e.g. '10.9', 'grade-8'")
    bolts: int = Field(2, ge=1, le=4, description="bolts through each piece")
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


def spread_joints(
    joints: Sequence[BoltedJoint],
) -> Iterator[tuple[int, OnTube, BoltedJoint]]:
    """Every joint to be made: its entry's place in the file, where it is, the entry."""
    for n, joint in enumerate(joints):
        sides = ("left", "right") if joint.side == "both" else (joint.side,)
        for side in sides:
            yield n, joint.tube.for_side(side) if side else joint.tube, joint

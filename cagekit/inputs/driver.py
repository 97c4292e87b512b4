"""The driver sheet: who sits in the car, with helmet, measured or taken from a population.

Three tables may be given and lie on top of each other, the later one winning:

``[population]``
    fills every body dimension that nobody measured from a survey at a percentile;
``[body]``
    dimensions measured on the person, undressed of the car: tape, wall and a flat chair;
``[seated]``
    points measured with the person belted in the car, helmet on, in vehicle axes
    (``y`` signed, left positive).
"""

from collections.abc import Iterator
from typing import Any, Literal, Self

from pydantic import Field, field_validator, model_validator

from cagekit.errors import InputError
from cagekit.inputs.fields import Angle, FileModel, Length, Mass, Name, Point
from cagekit.inputs.messages import problem_and_cure

BodyMeasure = Literal[
    "stature",
    "sitting_height",
    "eye_height",
    "shoulder_height",
    "shoulder_breadth",
    "shoulder_joint_breadth",
    "upper_arm_length",
    "hip_breadth",
    "buttock_knee_length",
    "knee_height",
    "thigh_clearance",
    "chest_depth",
    "head_breadth",
    "head_length",
    "eye_spacing",
    "foot_length",
]
"""Body dimensions that the seated posture is built from."""


class Population(FileModel):
    """A survey and the place of this person in it."""

    survey: Literal["ANSUR II 2012"] = Field(
        "ANSUR II 2012",
        description="survey the figures come from: an army population, not the general public",
    )
    sex: Literal["male", "female"]
    percentile: float = Field(
        50.0,
        ge=1.0,
        le=99.0,
        description="used for every dimension that is not named under [population.measures]",
    )
    measures: dict[BodyMeasure, float] = Field(
        default_factory=dict,
        description="other percentiles for single dimensions; nobody is at the same one in all",
    )

    @field_validator("measures")
    @classmethod
    def _within(cls, value: dict[BodyMeasure, float]) -> dict[BodyMeasure, float]:
        for name, p in value.items():
            if not 1.0 <= p <= 99.0:
                raise ValueError(f"percentile of {name} must lie from 1 to 99, got {p:g}")
        return value


class Body(FileModel):
    """Dimensions measured on the person, sitting upright on a flat chair unless said otherwise."""

    stature: Length | None = Field(None, gt=0, description="standing height, barefoot")
    sitting_height: Length | None = Field(None, gt=0, description="chair to crown")
    eye_height: Length | None = Field(
        None, gt=0, description="chair to the outer corner of the eye"
    )
    shoulder_height: Length | None = Field(
        None, gt=0, description="chair to the bone on top of the shoulder's outer end"
    )
    shoulder_breadth: Length | None = Field(
        None, gt=0, description="over the upper arms, at their widest"
    )
    shoulder_joint_breadth: Length | None = Field(
        None, gt=0, description="between the bones on top of the two shoulders' outer ends"
    )
    upper_arm_length: Length | None = Field(
        None, gt=0, description="top of the shoulder to the underside of the bent elbow"
    )
    forearm_grip_length: Length | None = Field(
        None,
        gt=0,
        description="back of the bent elbow to the middle of a gripped rod; else 0.200 of stature",
    )
    hip_breadth: Length | None = Field(None, gt=0, description="over the hips, at their widest")
    buttock_knee_length: Length | None = Field(
        None, gt=0, description="back of the seat to the front of the knee"
    )
    knee_height: Length | None = Field(
        None, gt=0, description="floor to the top of the knee, shin upright"
    )
    thigh_clearance: Length | None = Field(None, gt=0, description="chair to the top of the thigh")
    chest_depth: Length | None = Field(None, gt=0, description="chest, front to back")
    head_breadth: Length | None = Field(
        None, gt=0, description="head over the ears, bare, at its widest"
    )
    head_length: Length | None = Field(None, gt=0, description="forehead to the back of the head")
    head_circumference: Length | None = Field(
        None, gt=0, description="round the forehead, as for a hat; the head's other sizes follow"
    )
    eye_spacing: Length | None = Field(None, gt=0, description="between the pupils")
    foot_length: Length | None = Field(None, gt=0, description="heel to longest toe, bare")


class Helmet(FileModel):
    """The helmet's outside, measured with a square against a wall."""

    width: Length | None = Field(
        None, gt=0, description="at its widest; head breadth + 104 mm when not measured"
    )
    length: Length | None = Field(
        None,
        gt=0,
        description="front of the chin bar to the back; head length + 140 mm when not measured",
    )
    headform: Literal["A", "E", "J", "M", "O"] | None = Field(
        None,
        description="headform the helmet's size is for (EN 960), when nobody measured the head",
    )
    above_crown: Length = Field(
        40.0, gt=0, description="top of the helmet above the crown of the head"
    )


class Seated(FileModel):
    """What was measured with the person belted in, helmet on, hands on the wheel; vehicle axes."""

    hip: Point | None = Field(None, description="hip point; the seat's when not measured")
    back_angle: Angle | None = Field(
        None, description="torso back from vertical, degrees; the seat's when not measured"
    )
    helmet_top: Point | None = Field(None, description="highest point of the helmet")
    eye: Point | None = Field(None, description="middle between the eyes")
    shoulder: Point | None = Field(None, description="bone on top of the outer shoulder")
    elbow: Point | None = Field(None, description="outer elbow's joint, hand on the wheel")
    knee: Point | None = Field(None, description="outer knee's joint, foot on the pedal")


class Driver(FileModel):
    """One person in the car."""

    kind: Literal["driver"] = "driver"
    name: Name
    description: str = ""
    units: Literal["mm", "in"] = "mm"
    role: Literal["driver", "co_driver"] = "driver"
    mass: Mass | None = Field(None, gt=0, description="with helmet and suit, kg")
    population: Population | None = None
    body: Body = Body.model_construct()
    helmet: Helmet = Helmet.model_construct()
    seated: Seated = Seated.model_construct()

    @model_validator(mode="before")
    @classmethod
    def _something(cls, data: Any) -> Any:
        if isinstance(data, dict) and not data.get("population"):
            body = data.get("body") or {}
            names = list(body) if isinstance(body, dict) else []
            missing = [m for m in BodyMeasure.__args__ if m not in names]  # type: ignore[attr-defined]
            if missing:
                raise ValueError(
                    "without [population] every dimension under [body] is needed; missing: "
                    + ", ".join(missing)
                    + ". Measure them, or give [population] to fill what was not measured."
                )
        return data

    @model_validator(mode="after")
    def _all_acts(self) -> Self:
        """Refuse what nothing follows from, as the other tables stand."""
        for field, why in self._idle():
            problem, hint = problem_and_cure(why)
            raise InputError("driver", field, problem=problem, hint=hint)
        return self

    def _idle(self) -> Iterator[tuple[str, str]]:
        """Fields with a value that nothing follows from, and why."""
        body = self.body
        sized = body.head_breadth is not None and body.head_length is not None
        for field, said in (
            ("body.head_circumference", body.head_circumference),
            ("helmet.headform", self.helmet.headform),
        ):
            if said is None:
                continue
            if sized:
                yield field, "`head_breadth` and `head_length` say it already. Leave it out."
            elif self.population is None:
                yield field, "the head's other sizes follow from it by [population]. Give that."
        if self.helmet.headform is not None and body.head_circumference is not None:
            why = "`head_circumference` says how large the head is. Leave out one of the two."
            yield "helmet.headform", why
        measures = self.population.measures if self.population else {}
        for name in measures:
            if getattr(body, name) is not None:
                why = "it is measured under [body]. Leave out one of the two."
                yield f"population.measures.{name}", why

"""How a person sits: joints and body solved from seat, wheel and pedals.

The model is simple on purpose and every step can be followed with a pencil:

1. The torso is a straight from the hip point, leaning back by the seat's back angle. The
   shoulder line crosses it at the sitting shoulder height less the hip's height over the chair.
2. The head stays level. From the shoulder line to the eyes the neck is as it is when sitting
   upright (eyes 100 mm ahead of the shoulders), bent forward by half of the back angle.
3. The helmet is a level capsule, as wide and long as the helmet, its top above the crown.
4. Hands hold the wheel at a quarter to three; the elbow hangs down and a little out.
5. The ball of the foot is on the pedal, the heel on the floor; the knee points up and a little
   out. Without a wheel the hands lie on the thighs; without pedals the feet stand on the floor
   with the knees at 125 degrees.

Points measured in the car (``[seated]`` of the driver sheet) replace the solved ones.

Check of steps 1 and 2: for the middle man of the survey and a back angle of 25 degrees the eyes
come out 633 mm above and 73 mm behind the hip point; UN R46 places the ocular points 635 mm
above it, UN R125 the V points 68 mm behind it.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, radians, sin, sqrt
from typing import Literal

import numpy as np
from msgspec import Struct, field
from numpy.typing import ArrayLike

from cagekit.geometry.centre_line import Vec, rotate, unit, vec
from cagekit.geometry.shapes import Capsule, Slab
from cagekit.inputs.car import Car, Seat
from cagekit.inputs.driver import Driver
from cagekit.inputs.sitting import seats_of
from cagekit.people.body import Dimensions, dimensions
from cagekit.units.tolerance import NO_LENGTH, NOISE, SAME_POINT

LeftRight = Literal["left", "right"]
SIDES: tuple[tuple[LeftRight, int], ...] = (("left", 1), ("right", -1))

HIP_OVER_CHAIR = 97.0
"""Hip point above a flat chair, mm. Source: seating template of SAE J826, from memory."""
HIP_AHEAD_OF_BACK = 134.0
"""Hip point ahead of the back's surface, mm. Source: same, from memory."""
EYE_AHEAD = 100.0
"""Eyes ahead of the shoulder line, sitting upright, mm. Source: from memory."""
NECK_SHARE = 0.5
"""Share of the back angle by which the neck bends forward (fitted to UN R46 and UN R125)."""
BROW = 15.0
"""Forehead ahead of the eyes, mm. Source: from memory."""
CHIN_BAR_SHARE = 0.62
"""Share of the helmet's extra length over the head that lies in front. Source: from memory."""
SHOULDER_DROP = 40.0
"""Shoulder joint below the bone on top of it, mm. Source: from memory."""
JOINT_IN_LIMB = 25.0
"""Elbow joint from the elbow's outside, mm. Source: from memory."""
HIP_SPACING = 170.0
"""Between the hip joints, mm. Source: from memory."""
KNEE_IN_LEG = 50.0
"""Knee joint from the knee's front and top, mm; with it the legs agree with SAE J826's middle
template (thigh 432, lower leg 418 mm). Source: from memory."""
ANKLE_OVER_SOLE = 86.0
"""Ankle joint above the shoe's sole, mm. Source: from memory."""
ANKLE_AHEAD_OF_HEEL = 50.0
"""Ankle joint ahead of the heel, mm. Source: from memory."""
BALL_SHARE = 0.73
"""Ball of the foot from the heel over the foot's length. Source: from memory."""
SHOE = 20.0
"""Length that a shoe adds, mm. Source: common practice."""
FIST = 45.0
"""Knuckles stand out from the middle of the rim by this, gloved, mm. Source: from memory."""
HIP_ROUND, KNEE_ROUND, SHIN, FOREARM = 90.0, 60.0, 55.0, 42.0
"""Radii of the body round hips, knee, shin and forearm, mm. Source: from memory."""
THIGH_SHARE = 0.7
"""The thigh is taken as thick as where it lies on the seat up to this share of it."""
ELBOW_OUT, KNEE_OUT = radians(20), radians(12)
"""Elbow out from hanging down, tucked in as a bucket seat makes it; knee out from pointing up.
Source: common practice."""
PASSENGER_KNEE = radians(125)


class Limb(Struct, frozen=True, kw_only=True, eq=False):
    """A pair of joints and what hangs between them, ``(3,)`` mm each."""

    root: Vec
    middle: Vec
    tip: Vec


class Occupant(Struct, frozen=True, kw_only=True, eq=False):
    """One person as seated; vehicle axes, mm.

    ``shoulder`` is the middle between the bones on top of the shoulders, ``shoulders`` those
    bones, ``eyes`` the left and the right one; arms run shoulder joint, elbow, grip; legs hip
    joint, knee, ankle. ``head_rest`` is what of the seat stands above the shoulders, when its
    ``back_height`` was measured. ``elbows_at_rest`` are the elbows with the arms hanging down along
    the torso. ``short`` tells by how much (mm) a hand or foot does not reach its place.
    """

    name: str
    role: str
    index: int
    door_side: LeftRight
    body: Dimensions
    hip: Vec
    back_angle: float
    shoulder: Vec
    shoulders: dict[LeftRight, Vec]
    eye: Vec
    eyes: dict[LeftRight, Vec]
    crown: Vec
    helmet: Capsule
    arms: dict[LeftRight, Limb]
    elbows_at_rest: dict[LeftRight, Vec]
    legs: dict[LeftRight, Limb]
    heels: dict[LeftRight, Vec]
    toes: dict[LeftRight, Vec]
    seat_back: Slab
    head_rest: Slab | None
    back_height: float | None
    at_wheel: bool
    short: dict[str, float] = field(default_factory=dict)

    def __repr__(self) -> str:
        """The name and what the person does in the car."""
        return f"<Occupant {self.name}: {self.role}>"

    @property
    def helmet_top(self) -> Vec:
        """Highest point of the helmet, ``(3,)``."""
        middle = (self.helmet.start + self.helmet.end) / 2
        return moved(middle, dz=self.helmet.radius)

    @property
    def torso_up(self) -> Vec:
        """Unit vector from the hips up the torso."""
        return vec((-sin(self.back_angle), 0.0, cos(self.back_angle)))

    @property
    def torso_forward(self) -> Vec:
        """Unit vector square to the torso, forward."""
        return vec((cos(self.back_angle), 0.0, sin(self.back_angle)))

    def parts(self) -> dict[str, Capsule]:
        """The body as named capsules, helmet first."""
        deltoid = (self.body.shoulder_breadth - self.body.shoulder_joint_breadth) / 2
        chest = self.body.chest_depth / 2
        hip_half = self.body.hip_breadth / 2
        across = np.array([0.0, max(hip_half - HIP_ROUND, 1.0), 0.0])
        out: dict[str, Capsule] = {"helmet": self.helmet}
        out["chest"] = Capsule(self.hip, vec(self.shoulder - chest * self.torso_up), chest)
        out["neck"] = Capsule(self.shoulder, self.helmet.start, 58.0)
        joints = [self.arms[side].root for side in ("left", "right")]
        out["shoulders"] = Capsule(joints[0], joints[1], deltoid)
        out["hips"] = Capsule(vec(self.hip - across), vec(self.hip + across), HIP_ROUND)
        thigh = self.body.thigh_clearance / 2
        for side, _ in SIDES:
            arm, leg = self.arms[side], self.legs[side]
            out[f"{side} upper arm"] = Capsule(arm.root, arm.middle, deltoid)
            out[f"{side} forearm"] = Capsule(arm.middle, arm.tip, FOREARM)
            out[f"{side} hand"] = Capsule(arm.tip, arm.tip, FIST)
            taper = vec(leg.root + THIGH_SHARE * (leg.middle - leg.root))
            out[f"{side} thigh"] = Capsule(leg.root, taper, min(thigh, 80.0))
            out[f"{side} knee"] = Capsule(taper, leg.middle, KNEE_ROUND)
            out[f"{side} shin"] = Capsule(leg.middle, leg.tip, SHIN)
            out[f"{side} foot"] = self.foot(side)
        return out

    def foot(self, side: LeftRight) -> Capsule:
        """The shoe, heel to toe."""
        r = 40.0
        heel, toe = self.heels[side], self.toes[side]
        along = unit(toe - heel)
        up = unit(np.cross(along, (0.0, 1.0, 0.0)))
        up = up if up[2] > 0 or (up[2] == 0 and up[0] < 0) else -up
        return Capsule(vec(heel + r * along + r * up), vec(toe - r * along + r * up), r)


def moved(point: ArrayLike, dx: float = 0.0, dy: float = 0.0, dz: float = 0.0) -> Vec:
    """The point ``(3,)`` shifted along the vehicle axes, mm.

    Args:
        point: ``(3,)`` mm.
        dx: forward.
        dy: to the left.
        dz: up.
    """
    return vec(np.asarray(point, dtype=float) + np.array([dx, dy, dz]))


def seated(car: Car, drivers: Sequence[Driver]) -> tuple[Occupant, ...]:
    """Seat everybody: the driver on the driver's seat, the next on the next seat.

    People for whom the car sheet has no seat are left out.
    """
    pairs = seats_of(car, drivers)
    return tuple(seat_person(car, seat, person, index=i) for i, (seat, person) in enumerate(pairs))


def seat_person(car: Car, seat: Seat, person: Driver, *, index: int = 0) -> Occupant:
    """Solve the posture of one person in one seat; the first person holds the wheel.

    Args:
        car: the car sheet.
        seat: where.
        person: who.
        index: of the seat, the driver 0.
    """
    body = dimensions(person)
    given = person.seated
    hip = vec(seat.hip if given.hip is None else given.hip)
    angle = seat.back_angle if given.back_angle is None else given.back_angle
    up = vec((-sin(angle), 0.0, cos(angle)))
    shoulder = vec(hip + (body.shoulder_height - HIP_OVER_CHAIR) * up)
    half = body.shoulder_joint_breadth / 2
    if given.shoulder is not None:
        x, y, z = given.shoulder
        shoulder, half = vec((x, hip[1], z)), max(abs(y - hip[1]), 1.0)
    eye, crown, helmet = _head(body, shoulder, angle, person)
    short: dict[str, float] = {}
    legs, heels, toes = _legs(car, body, hip, index == 0, short)
    grips = _grips(car, hip, legs, index == 0)
    arms, shoulders = {}, {}
    for side, sign in SIDES:
        shoulders[side] = moved(shoulder, dy=sign * half)
        root = vec(shoulders[side] - SHOULDER_DROP * up)
        arms[side] = _arm(body, root, grips[side], sign, side, short)
    door: LeftRight = car.driver_side if seat.side == "centre" else seat.side
    rest = {s: vec(shoulders[s] - body.upper_arm_length * up) for s, _ in SIDES}
    if given.elbow is not None:
        arms = _measured(arms, hip, given.elbow)
        rest = {s: arms[s].middle for s, _ in SIDES}
    if given.knee is not None:
        legs = _measured(legs, hip, given.knee)
    return Occupant(
        name=person.name,
        role=person.role if index == 0 or person.role == "co_driver" else "co_driver",
        index=index,
        door_side=door,
        body=body,
        hip=hip,
        back_angle=angle,
        shoulder=shoulder,
        shoulders=shoulders,
        eye=eye,
        eyes={s: moved(eye, dy=k * body.eye_spacing / 2) for s, k in SIDES},
        crown=crown,
        helmet=helmet,
        arms=arms,
        elbows_at_rest=rest,
        legs=legs,
        heels=heels,
        toes=toes,
        seat_back=_seat_back(seat, hip, angle, shoulder),
        head_rest=_head_rest(seat, hip, angle, shoulder),
        back_height=seat.back_height,
        at_wheel=index == 0,
        short=short,
    )


def _head(
    body: Dimensions, shoulder: Vec, angle: float, person: Driver
) -> tuple[Vec, Vec, Capsule]:
    """Eyes' middle, crown and helmet."""
    given = person.seated
    upright = np.array([EYE_AHEAD, 0.0, body.eye_height - body.shoulder_height])
    eye = vec(shoulder + rotate(upright, (0.0, 1.0, 0.0), NECK_SHARE * angle))
    over_eye = body.sitting_height - body.eye_height
    if given.eye is not None:
        eye = vec(given.eye)
    elif given.helmet_top is not None:
        x, y, z = given.helmet_top
        ahead = body.head_length / 2 - BROW
        eye = vec((x + ahead, y, z - body.helmet_above_crown - over_eye))
    top = float(eye[2] + over_eye + body.helmet_above_crown)
    if given.helmet_top is not None:
        top = given.helmet_top[2]
    front = eye[0] + BROW + CHIN_BAR_SHARE * (body.helmet_length - body.head_length)
    r = body.helmet_width / 2
    core = max(body.helmet_length - 2 * r, 0.0)
    nose = np.array([front - r, eye[1], top - r])
    crown = vec((eye[0] + BROW - body.head_length / 2, eye[1], eye[2] + over_eye))
    return eye, crown, Capsule(moved(nose, dx=-core), vec(nose), r)


def _grips(car: Car, hip: Vec, legs: dict[LeftRight, Limb], wheel: bool) -> dict[LeftRight, Vec]:
    """Where the hands are: on the rim at a quarter to three, else on the thighs."""
    if wheel:
        r = car.wheel.diameter / 2
        return {s: moved(car.wheel.centre, dy=k * r) for s, k in SIDES}
    on: dict[LeftRight, Vec] = {}
    for side, _ in SIDES:
        leg = legs[side]
        on[side] = moved(leg.root + 0.7 * (leg.middle - leg.root), dz=110.0)
    return on


def _arm(
    body: Dimensions, root: Vec, grip: Vec, sign: int, side: LeftRight, short: dict[str, float]
) -> Limb:
    upper = body.upper_arm_length - SHOULDER_DROP - JOINT_IN_LIMB
    fore = body.forearm_grip_length - JOINT_IN_LIMB
    pole = np.array([0.0, sign * sin(ELBOW_OUT), -cos(ELBOW_OUT)])
    elbow, tip, miss = two_links(root, grip, upper, fore, pole)
    if miss > 1.0:
        short[f"{side} hand"] = miss
    return Limb(root=root, middle=elbow, tip=tip)


def _legs(
    car: Car, body: Dimensions, hip: Vec, pedals: bool, short: dict[str, float]
) -> tuple[dict[LeftRight, Limb], dict[LeftRight, Vec], dict[LeftRight, Vec]]:
    thigh = body.buttock_knee_length - HIP_AHEAD_OF_BACK - KNEE_IN_LEG
    shin = body.knee_height - KNEE_IN_LEG - ANKLE_OVER_SOLE
    legs, heels, toes = {}, {}, {}
    for side, sign in SIDES:
        root = moved(hip, dy=sign * HIP_SPACING / 2)
        if pedals and car.pedals is not None:
            heel, along = _foot_on_pedal(car, body, root)
        else:
            heel, along = _foot_on_floor(car, root, thigh, shin)
        square = vec((-along[2], 0.0, along[0]))
        ankle = vec(heel + ANKLE_AHEAD_OF_HEEL * along + ANKLE_OVER_SOLE * square)
        pole = np.array([0.3, sign * sin(KNEE_OUT), cos(KNEE_OUT)])
        knee, tip, miss = two_links(root, ankle, thigh, shin, pole)
        if miss > 1.0:
            short[f"{side} foot"] = miss
        shift = tip - ankle
        legs[side] = Limb(root=root, middle=knee, tip=tip)
        heels[side] = vec(heel + shift)
        toes[side] = vec(heel + shift + (body.foot_length + SHOE) * along)
    return legs, heels, toes


def _foot_on_pedal(car: Car, body: Dimensions, root: Vec) -> tuple[Vec, Vec]:
    """Heel point and direction of the sole with the ball of the foot on the pedal's face."""
    assert car.pedals is not None
    ball = BALL_SHARE * body.foot_length + SHOE / 2
    rise = min(max(car.pedals.z - car.pedals.heel_z, 0.0), 0.98 * ball)
    run = sqrt(ball**2 - rise**2)
    heel = vec((car.pedals.x - run, root[1], car.pedals.heel_z))
    return heel, unit((run, 0.0, rise))


def _foot_on_floor(car: Car, root: Vec, thigh: float, shin: float) -> tuple[Vec, Vec]:
    """Heel point with the knee at its easy angle and the sole flat."""
    reach = sqrt(thigh**2 + shin**2 - 2 * thigh * shin * cos(PASSENGER_KNEE))
    floor = car.floor_z if car.pedals is None else car.pedals.heel_z
    drop = min(float(root[2]) - floor - ANKLE_OVER_SOLE, 0.95 * reach)
    run = sqrt(reach**2 - drop**2)
    return vec((root[0] + run - ANKLE_AHEAD_OF_HEEL, root[1], floor)), vec((1.0, 0.0, 0.0))


def two_links(
    root: Vec, target: Vec, first: float, second: float, pole: Vec
) -> tuple[Vec, Vec, float]:
    """Bend a two-link chain from ``root`` to ``target``.

    Args:
        root: start of the first link, ``(3,)`` mm.
        target: where the second link should end.
        first: length of the first link, mm.
        second: length of the second link, mm.
        pole: direction towards which the joint between them points.

    Returns:
        The joint, the end reached (on the way to the target when it is too far, beyond it when
        it is too near to fold to) and how far the end is from the target, mm.
    """
    way = target - root
    distance = float(np.linalg.norm(way))
    d = unit(way) if distance > NO_LENGTH else vec((1.0, 0.0, 0.0))
    reach = min(max(distance, abs(first - second) + SAME_POINT), first + second)
    along = (first**2 - second**2 + reach**2) / (2 * reach)
    off = sqrt(max(first**2 - along**2, 0.0))
    side = pole - (pole @ d) * d
    side = unit(side) if side @ side > NOISE else unit(np.cross(d, (0.0, 1.0, 0.0)))
    joint, tip = vec(root + along * d + off * side), vec(root + reach * d)
    return joint, tip, abs(distance - reach)


def _measured(
    limbs: dict[LeftRight, Limb], hip: Vec, at: tuple[float, float, float]
) -> dict[LeftRight, Limb]:
    """Put the middle joints where one was measured, mirrored about the person's middle."""
    x, y, z = at
    off = abs(y - hip[1])
    return {
        side: Limb(
            root=limbs[side].root,
            middle=vec((x, hip[1] + sign * off, z)),
            tip=limbs[side].tip,
        )
        for side, sign in SIDES
    }


OVER_SHOULDER = 30.0
"""A seat's shell ends this far (mm) above the shoulder line where its head rest begins."""
HEAD_REST = 140.0
"""Half the width of a head rest, mm (from memory)."""


def _seat_back(seat: Seat, hip: Vec, angle: float, shoulder: Vec) -> Slab:
    """The seat's shell behind the back, from under the hips to the shoulders."""
    top = float(np.linalg.norm(shoulder - hip)) + OVER_SHOULDER
    if seat.back_height is not None:
        top = min(top, seat.back_height)
    return _shell(seat, hip, angle, -100.0, top, seat.half_width)


def _head_rest(seat: Seat, hip: Vec, angle: float, shoulder: Vec) -> Slab | None:
    """The seat above the shoulders, as high as it was measured; None when it was not."""
    low = float(np.linalg.norm(shoulder - hip)) + OVER_SHOULDER
    if seat.back_height is None or seat.back_height <= low:
        return None
    return _shell(seat, hip, angle, low, seat.back_height, HEAD_REST)


def _shell(seat: Seat, hip: Vec, angle: float, low: float, high: float, half_width: float) -> Slab:
    up = np.array([-sin(angle), 0.0, cos(angle)])
    forward = np.array([cos(angle), 0.0, sin(angle)])
    depth = HIP_AHEAD_OF_BACK + seat.back_thickness / 2
    centre = hip - depth * forward + (low + high) / 2 * up
    axes = np.array([forward, [0.0, 1.0, 0.0], up])
    half = np.array([seat.back_thickness / 2, half_width, (high - low) / 2])
    return Slab(vec(centre), axes, half)

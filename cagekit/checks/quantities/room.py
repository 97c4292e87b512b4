"""Quantities of room for the people: arms, legs, wheel, seat, way out."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from cagekit.cage.kept import Same
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.driver import measure, read
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey
from cagekit.fit import readings
from cagekit.fit.cockpit import Cockpit, Reading
from cagekit.fit.egress import way_out
from cagekit.inputs.sitting import in_order
from cagekit.people.posture import Occupant, moved


@quantity("bare_tube_to_helmet", "mm", "unpadded bar to the helmet")
def bare_tube_to_helmet(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Gap between each person's helmet and the steel of each tube; a padded one is good."""
    for who in s.cockpit.occupants:
        for name, r in sorted(readings.helmet_to_bar(s.cockpit, who).items()):
            thick = s.cockpit.padding.get(name, 0.0)
            key = ("bare tube", Same(who), Same(r), thick)
            yield s.cage.kept.once(key, partial(_bare_tube, who, name, r, thick))


def _bare_tube(who: Occupant, name: str, r: Reading, thick: float) -> Measure:
    """A helmet's gap to the steel of one tube, below its padding if it has any.

    Args:
        who: wears the helmet.
        name: of the tube.
        r: the gap to the tube or its padding.
        thick: the padding's thickness, mm.
    """
    return Measure(
        subject=name,
        value=(r.value or 0.0) + thick,
        evidence=Evidence.of(name, points=r.points, note=f"{who.name}, {r.note}"),
        label="padded bar within the helmet's reach" if thick else "",
        met=f"Padded with {thick:g} mm." if thick else "",
    )


@quantity("shoulder_to_hoop", "mm", "main hoop outboard of the shoulder")
def shoulder_to_hoop(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Inside of the main hoop outboard of each person's outer shoulder, at its height."""
    yield from read(s, pick, readings.shoulder_to_hoop)


@quantity("elbow_room", "mm", "arm to the nearest bar")
def elbow_room(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Least room between each person's arms, hands on the wheel, and any bar."""
    yield from read(s, pick, partial(readings.room, name="elbow"))


@quantity("knee_room", "mm", "leg to the nearest bar")
def knee_room(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Least room between each person's legs and any bar."""
    yield from read(s, pick, partial(readings.room, name="knee"))


@quantity("foot_room", "mm", "shoe to the nearest bar")
def foot_room(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Least room between each person's shoes on the pedals and any bar."""
    yield from read(s, pick, partial(readings.room, name="foot"))


@quantity("torso_room", "mm", "chest and hips to the nearest bar")
def torso_room(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Least room between each person's chest, neck or hips and any bar."""
    yield from read(s, pick, readings.torso_room)


@quantity("seat_room", "mm", "seat to the nearest bar")
def seat_room(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Least room between each seat's shell, up to the shoulders, and any bar."""
    yield from read(s, pick, readings.seat_room)


@quantity("head_rest_room", "mm", "head rest to the nearest bar")
def head_rest_room(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Least room between the head rest and any bar; asks for the seat's height without one."""
    yield from read(s, pick, readings.head_rest_room)


@quantity("wheel_to_dash_bar", "mm", "knuckles on the wheel to the dash bar")
def wheel_to_dash_bar(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Room between gloved fists anywhere on the wheel's rim and the dash bar."""
    take = partial(readings.wheel_room, roles=readings.DASH_ROLES)
    yield from read(s, pick, take, at_wheel=True)


@quantity("wheel_to_pillar_bar", "mm", "knuckles on the wheel to the bars at the pillar")
def wheel_to_pillar_bar(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Room between gloved fists anywhere on the wheel's rim and the bars at the pillars."""
    take = partial(readings.wheel_room, roles=readings.PILLAR_ROLES)
    yield from read(s, pick, take, at_wheel=True)


@quantity("reach_short", "mm", "hand or foot short of wheel or pedal")
def reach_short(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far each person's worst hand or foot is short of wheel or pedal."""
    yield from read(s, pick, readings.reach)


@quantity("way_out_room", "mm", "room round the person in the way out")
def way_out_room(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Room all round each person in the door opening less its bars, as they stand closed."""
    yield from read(s, pick, _way_out)


@quantity("way_out_room_open", "mm", "room round the person in the way out, bar swung out")
def way_out_room_open(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Room all round each person in the door opening with the swing-out bar swung out."""
    for who in s.cockpit.occupants:
        if any(m.swing is not None for m in readings.door_bars(s.cockpit, who)):
            yield measure(who.name, _way_out(s.cockpit, who, swung=True))


def _way_out(cockpit: Cockpit, who: Occupant, *, swung: bool = False) -> Reading:
    """The least room round a person in the way out, mm."""
    opening = way_out(cockpit, who, swung=swung)
    if opening is None:
        if cockpit.car.body == "open":
            return Reading(value=None, absent="the car is open, the way out is over its side")
        missing = f"the car sheet's door outline on the {who.door_side}"
        return Reading(value=None, missing=missing)
    door = cockpit.car.side(who.door_side).door
    side = (door.y_inner if door else 0.0) * (1 if who.door_side == "left" else -1)
    x, z = opening.place
    return Reading(
        value=opening.margin,
        members=opening.tightest or opening.members,
        points=(moved((x, side, z)), *(moved((px, side, pz)) for px, pz in opening.polygon)),
        note=(
            f"{opening.width:.0f} x {opening.depth:.0f} mm person, "
            f"free opening {opening.area / 1e6:.2f} m2"
        ),
    )


@quantity("seat_given", "flag", "seat")
def seat_given(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Whether the car sheet has a seat for everybody; asks for one where it has not."""
    for sheet in in_order(s.drivers)[len(s.cockpit.occupants) :]:
        yield Measure(subject=sheet.name, missing="another [[seats]] table in the car sheet")

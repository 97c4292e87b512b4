"""Quantities of swing-out door bars at work: swing, cuts, brackets, grip, stop."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import degrees, pi, radians
from typing import TYPE_CHECKING

import numpy as np

from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.bars import joined
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey
from cagekit.data import rows
from cagekit.fit.egress import way_out
from cagekit.units import INCH

if TYPE_CHECKING:
    from cagekit.cage.door import SwingDoor, SwingJoint
    from cagekit.geometry.centre_line import Vec
    from cagekit.people.posture import Occupant
    from cagekit.swing.hardware import PinChoice
    from cagekit.swing.motion import Closest

ELBOW = radians(140.0)
"""How far an elbow bends, rad, in a driver's suit (from memory: 140 to 150 degrees without)."""
ROOT_LEG = 1.6
"""Gap (mm) beyond which a fillet's leg grows with it (AWS D1.1 5.21.1, from memory)."""


def _joints(s: Survey) -> Iterator[tuple[SwingDoor, SwingJoint]]:
    return ((door, joint) for door in s.cage.doors for joint in door.joints)


def _joint_evidence(s: Survey, door: SwingDoor, joint: SwingJoint, *points: Vec) -> Evidence:
    from cagekit.swing.measures import plates_of

    plates = [p.id for p in plates_of(s.cage, door, joint)]
    return Evidence.of(joint.stub, door.bar, plates=plates, points=points, note=joint.name)


# -- the swing -------------------------------------------------------------------------------


@quantity("hinged_joints", "count", "hinges and latches in the bar")
def hinged_joints(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Joints on which each of the picked bars swings out; 0 for one that is fixed."""
    doors = {i: door for door in s.cage.doors for i in door.pieces}
    for bar in joined(s.pick(pick)):
        door = next((doors[i] for i in bar.ids if i in doors), None)
        hinges = door.joints if door else ()
        evidence = Evidence.of(*bar.ids, points=[j.origin for j in hinges])
        yield Measure(subject=door.bar if door else bar.name, value=len(hinges), evidence=evidence)


@quantity("swing_opening", "deg", "opening angle of the bar")
def swing_opening(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Angle up to which each swing-out bar opens before it meets something."""
    from cagekit.swing.measures import free_length

    for door in s.cage.doors:
        swept = s.swept(door)
        meets, angle = swept.meets, degrees(swept.full)
        note, stop, cure = "meets nothing up to 150 degrees", "", ""
        own = s.car.side(door.side).door
        if own is not None and own.opens is not None:
            goes = f"The car's door opens {degrees(own.opens):.0f} degrees."
        else:
            goes = "The door itself must open as far."
        if meets is not None:
            if meets.kind == "door" and angle < degrees(door.open_angle):
                cure = f"{goes} {_past_door(s, door)}"
            note = f"meets {meets.name} at {degrees(swept.limit or 0.0):.1f} degrees"
            stop = f", stopped by {meets.name}" if angle < degrees(door.open_angle) else ""
        yield Measure(
            subject=door.bar,
            value=angle,
            evidence=Evidence.of(
                door.bar,
                *(_members(meets) if meets else ()),
                points=[meets.point] if meets else [],
                note=note,
            ),
            label=f"opening angle of the bar{stop}",
            text=f"Open, it leaves {free_length(door):.0f} mm between its cuts. {goes}",
            cure=cure,
        )


def _past_door(s: Survey, door: SwingDoor) -> str:
    """What lets a bar open further that the car's own door stops, and how sure that it does is."""
    if door.hinge.origin[0] > door.latch.origin[0]:
        return (
            "Let out its stop or take it off, or cut the bar further back (`cut_front`), if it is "
            "to open further."
        )
    from cagekit.swing.motion import bare_door_limit

    limit = bare_door_limit(s.cage, s.car, door)
    if limit is None:
        sure = (
            "It is taken to be as thick at its hinges as from its trim to its outside; the outside "
            "alone would let the bar pass: try it on the car."
        )
    else:
        sure = f"Its outside alone would stop the bar at {degrees(limit):.1f} degrees."
    return (
        f"{sure} A bar hinged at its rear swings its front end past the door's hinges: take the "
        'door off, or hinge the bar at its front (`hinge_end = "front"`).'
    )


@quantity("swing_room", "mm", "room to cage and body through the swing")
def swing_room(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Least room of each swing-out bar to tubes, body and door opening through its swing."""
    from cagekit.swing.motion import AROUND

    for door in s.cage.doors:
        worst = s.swept(door).to(*AROUND)
        if worst is not None:
            note = f"{worst.name} at {degrees(worst.angle):.0f} degrees"
            yield Measure(
                subject=door.bar,
                value=worst.gap,
                evidence=Evidence.of(door.bar, *_members(worst), points=[worst.point], note=note),
                label=f"room to {worst.name} through the swing",
            )


@quantity("swing_hinge_gap", "mm", "bar's end to the hinge stub through the swing")
def swing_hinge_gap(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Least gap of each swing-out bar's end to its hinge stub through the swing."""
    for door in s.cage.doors:
        found = s.swept(door).to("hinge stub")
        if found is not None:
            note = f"at {degrees(found.angle):.0f} degrees"
            evidence = Evidence.of(door.bar, found.name, points=[found.point], note=note)
            yield Measure(subject=door.bar, value=found.gap, evidence=evidence)


@quantity("swing_latch_gap", "mm", "free gap at the latch through the swing")
def swing_latch_gap(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Least gap at the latch through the swing: to the stub and to the sides of the bracket."""
    for door in s.cage.doors:
        swept = s.swept(door)
        found = swept.to("latch stub")
        if found is not None:
            note = (
                f"to the stub {found.gap:.1f} mm, to the sides of the bracket "
                f"{swept.latch_side:.1f} mm"
            )
            evidence = Evidence.of(door.bar, found.name, points=[found.point], note=note)
            value = min(found.gap, swept.latch_side)
            yield Measure(subject=door.bar, value=value, evidence=evidence)


def _members(found: Closest) -> tuple[str, ...]:
    return (found.name,) if found.kind == "tube" else ()


@quantity("swing_door_outline", "flag", "bar against the door opening")
def swing_door_outline(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Asks for the outline of a door opening that a swing-out bar has to go through."""
    from cagekit.swing.bodies import BodySide

    for door in s.cage.doors:
        if BodySide.of(s.car, door.side) is None:
            yield Measure(
                subject=door.bar,
                evidence=Evidence.of(door.bar),
                missing=f"the {door.side} door opening (`outline`) in the car sheet",
            )


@quantity(
    "swing_way_out", "mm2", "free part of the door opening with the bar open",
    base="the free part with the bar shut",
)  # fmt: skip
def swing_way_out(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Free area of the door opening with each swing-out bar open, for the person beside it."""
    for door in s.cage.doors:
        for who in s.cockpit.occupants:
            if who.door_side != door.side:
                continue
            shut, opened = (way_out(s.cockpit, who, swung=b) for b in (False, True))
            if shut is None or opened is None:
                continue
            tighter = opened.margin < shut.margin
            yield Measure(
                subject=door.bar,
                value=opened.area,
                base=shut.area,
                evidence=Evidence.of(door.bar, note=who.name),
                broken="It leaves less room round the person than shut." if tighter else "",
                text=f"{who.name} has {opened.margin:.0f} mm to spare all round, "
                f"{shut.margin:.0f} mm with the bar shut (negative: too tight).",
            )


@quantity("swing_behind_back", "mm", "latch bracket behind the driver's back")
def swing_behind_back(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far each latch bracket at the rear lies behind the back of the person beside it."""
    from cagekit.swing.measures import behind_back

    for door in s.cage.doors:
        if float(door.latch.along[0]) < 0:
            continue  # hinged at the rear: the latch is ahead of the driver
        for who in s.cockpit.occupants:
            if who.door_side == door.side:
                found = behind_back(door.latch, who)
                evidence = Evidence.of(door.bar, points=[found.point], note=who.name)
                yield Measure(subject=door.bar, value=found.value, evidence=evidence)


# -- hinge and latch -------------------------------------------------------------------------


def _folded(who: Occupant) -> float:
    """How near to the shoulder joint the grip comes with the elbow bent as far as it goes, mm."""
    upper, lower = who.body.upper_arm_length, who.body.forearm_grip_length
    return float(np.sqrt(upper**2 + lower**2 - 2 * upper * lower * np.cos(pi - ELBOW)))


@quantity("swing_latch_reach", "mm", "reach of the belted hand beyond the latch pin")
def swing_latch_reach(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How much farther than the latch pin the nearer hand of the belted person beside it reaches.

    Belted, the shoulder joint stays at the seat; the hand reaches upper arm and forearm to the
    grip from there. What stands between is not looked at. Negative: it cannot be reached.
    """
    for door in s.cage.doors:
        for who in s.cockpit.occupants:
            if who.door_side != door.side:
                continue
            arm = who.body.upper_arm_length + who.body.forearm_grip_length
            pin = door.latch.origin
            gaps = {n: float(np.linalg.norm(pin - limb.root)) for n, limb in who.arms.items()}
            hand = min(gaps, key=lambda n: gaps[n])
            behind = float((who.arms[hand].root - pin) @ who.torso_forward)
            where = f"{abs(behind):.0f} mm {'behind' if behind > 0 else 'ahead of'} the shoulder"
            near = ""
            if gaps[hand] < _folded(who):
                near = (
                    " That is nearer than a folded arm's hand lies: the elbow has to go out or "
                    "back for it. Try it belted, in suit and gloves, before the bar is cut."
                )
            yield Measure(
                subject=door.bar,
                value=arm - gaps[hand],
                evidence=Evidence.of(
                    door.bar, points=[pin, who.arms[hand].root], note=f"{who.name}, {hand} hand"
                ),
                text=f"The pin is {gaps[hand]:.0f} mm from the {hand} shoulder joint, {where}; "
                f"the arm reaches {arm:.0f} mm to the grip.{near}",
            )


@quantity("swing_cope_room", "mm", "bracket to the cope weld of its stub")
def swing_cope_room(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Room between each bracket and the cope weld of the stub that it sits on."""
    from cagekit.swing.measures import cope_room, cut_reasons

    for door, joint in _joints(s):
        room = cope_room(s.cage, joint)
        yield Measure(
            subject=door.bar,
            value=room.value,
            evidence=Evidence.of(joint.stub, points=[room.point], note=joint.name),
            text=cut_reasons(s.cage, s.car, door, joint),
        )


@quantity("swing_bracket_gap", "mm", "bracket to the tubes inside it")
def swing_bracket_gap(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Least gap of each bracket to stub and closed bar; negative where they overlap."""
    from cagekit.swing.measures import bracket_clearance

    for door, joint in _joints(s):
        clear = bracket_clearance(s.cage, door, joint)
        evidence = _joint_evidence(s, door, joint, clear.point)
        yield Measure(subject=door.bar, value=clear.value, evidence=evidence)


@quantity("swing_fold_room", "mm", "bracket to its bar, less what the folds can be off")
def swing_fold_room(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Room between each folded bracket and its bar, shut and through the swing, as really folded.

    What is left of the least gap when every fold lies and turns as far off as the brake folds.
    """
    from cagekit.swing.measures import fold_room

    brake = s.build.tooling.brake
    if brake is None:
        return
    off = (brake.size_tolerance, brake.angle_tolerance)
    for door, joint in _joints(s):
        room = fold_room(s.cage, door, joint, off, s.swept(door).full)
        if room is not None:
            yield Measure(
                subject=door.bar,
                value=room.value,
                evidence=_joint_evidence(s, door, joint, room.point),
            )


@quantity("swing_ream_room", "mm", "what the reamer takes off each side, less what a fold is off")
def swing_ream_room(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far the reamer can still move a latch's pin holes when its web is hard on the bar.

    The web is the stop, and the play of the pin is less than a fold is off: only a pilot that is
    reamed with the bar shut brings both together.
    """
    from cagekit.swing.measures import plates_of

    brake, table = s.build.tooling.brake, s.build.tooling.table
    if brake is None or table is None:
        return
    for door in s.cage.doors:
        if any(p.folds for p in plates_of(s.cage, door, door.latch)):
            yield Measure(
                subject=door.bar,
                value=table.ream / 2 - brake.size_tolerance,
                evidence=_joint_evidence(s, door, door.latch, door.latch.origin),
            )


@quantity("swing_root_gap", "mm", "gap under the bracket's long welds")
def swing_root_gap(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Gap that the long welds of each bracket have to bridge."""
    from cagekit.swing.measures import root_gap

    for door, joint in _joints(s):
        gap = root_gap(joint, s.cage.member(door.bar).tube.outer_radius)
        grown = joint.spec.weld_leg + max(gap - ROOT_LEG, 0.0)
        yield Measure(
            subject=door.bar,
            value=gap,
            evidence=_joint_evidence(s, door, joint),
            text=f"Leg with the gap added: {grown:.1f} mm.",
        )


@quantity("swing_lug_thickness", "mm", "thickness of the bracket's plate")
def swing_lug_thickness(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Thickness of the plate of each bracket, one ear alone."""
    yield from _of_spec(s, lambda joint: joint.spec.thickness)


@quantity("swing_lug_width", "mm", "width of the ear across the bar")
def swing_lug_width(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Width of each bracket's ear across the bar."""
    yield from _of_spec(s, lambda joint: 2 * joint.spec.ear)


@quantity("swing_hole_play", "mm", "hole over the pin's diameter")
def swing_hole_play(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How much larger each pin hole is than its pin."""
    yield from _of_spec(s, lambda joint: joint.spec.hole - joint.spec.pin.diameter)


def _of_spec(s: Survey, take: Callable[[SwingJoint], float]) -> Iterator[Measure]:
    for door, joint in _joints(s):
        evidence = _joint_evidence(s, door, joint, joint.origin)
        yield Measure(subject=door.bar, value=take(joint), evidence=evidence)


@quantity("swing_plate_cut", "mm", "bracket plate on the table", base="what the table cuts")
def swing_plate_cut(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Thickness of each bracket's plate against what the cutting table and its process cut."""
    table = s.tooling.table if s.tooling else None
    if table is None:
        return
    row = next((r for r in rows("process_thickness") if r["process"] == table.process), None)
    for door, joint in _joints(s) if row is not None else ():
        assert row is not None
        yield Measure(
            subject=door.bar,
            value=joint.spec.thickness,
            base=(float(row["thinnest"]), min(float(row["thickest"]), table.max_thickness)),
            evidence=_joint_evidence(s, door, joint),
            label=f"bracket plate for the {table.process} table",
            source=f"tooling: {table.name}; {row['source']}",
        )


def _pins(s: Survey) -> Iterator[tuple[SwingDoor, SwingJoint, PinChoice, Evidence]]:
    from cagekit.swing.hardware import choose_pin

    for door, joint in _joints(s):
        choice = choose_pin(joint.spec, s.cage.member(door.bar).tube.outer_radius)
        evidence = Evidence.of(door.bar, joint.stub, points=[joint.origin], note=joint.name)
        yield door, joint, choice, evidence


@quantity("swing_pin_length", "mm", "length of the pin", base="the length it needs")
def swing_pin_length(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Length of each pin or bolt that is sold against what it has to grip."""
    for door, joint, choice, evidence in _pins(s):
        spec = joint.spec
        yield Measure(
            subject=door.bar,
            value=choice.length,
            base=choice.needed,
            evidence=evidence,
            broken="" if choice.found else "None is sold so long.",
            text=f"{spec.pin_kind} {spec.pin.size}, {_sold(choice.length, spec.pin.size)}: it "
            f"grips {choice.grip:.1f} mm.",
        )


@quantity(
    "swing_bolt_shank", "mm", "shank of the bolt past its far shear plane",
    base="the shank it needs",
)  # fmt: skip
def swing_bolt_shank(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Shank of each bolt against what keeps its thread out of the shear planes."""
    for door, joint, choice, evidence in _pins(s):
        if joint.spec.pin_kind == "bolt":
            yield Measure(
                subject=door.bar, value=choice.shank, base=choice.shank_needed, evidence=evidence
            )


def _sold(length: float, size: str) -> str:
    return f"{length / INCH:g} in" if "/" in size else f"{length:g} mm"


# -- the stop --------------------------------------------------------------------------------


@quantity("swing_stop", "flag", "steel behind the closed bar at the latch")
def swing_stop(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Whether each closed swing-out bar bears on steel at its latch before it hangs on its pin."""
    for door in s.cage.doors:
        spec = door.latch.spec
        yield Measure(
            subject=door.bar,
            value=bool(spec.design != "cheeks" or spec.cup),
            evidence=Evidence.of(door.bar, door.latch.stub, points=[door.latch.origin]),
        )


@quantity(
    "swing_stop_gap", "mm", "closed bar to the steel it bears on",
    base="the play of pin in holes and sleeve",
)  # fmt: skip
def swing_stop_gap(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Gap of each closed swing-out bar to the stop at its latch."""
    for door in s.cage.doors:
        spec = door.latch.spec
        if spec.design != "cheeks" or spec.cup:
            yield Measure(
                subject=door.bar,
                value=spec.stop_gap,
                base=spec.play,
                evidence=Evidence.of(door.bar, door.latch.stub, points=[door.latch.origin]),
                cure=f"Set the stop to {spec.play:.2f} mm or less: weld it with the bar shut.",
            )

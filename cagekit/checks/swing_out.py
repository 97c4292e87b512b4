"""Findings about swing-out door bars: how they swing, their brackets, pins, sleeves and stops."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import degrees
from typing import TYPE_CHECKING

from cagekit.cage.door import SwingDoor, SwingJoint
from cagekit.checks.finding import Certainty, Evidence, Finding, Status
from cagekit.checks.fit.limits import checks_in
from cagekit.data import rows
from cagekit.design import Design
from cagekit.fit.cockpit import Reading
from cagekit.fit.egress import way_out
from cagekit.swing.bodies import BodySide
from cagekit.swing.hardware import choose_pin
from cagekit.swing.measures import (
    Measured,
    behind_back,
    bracket_clearance,
    cope_room,
    cut_reasons,
    free_length,
    plates_of,
    root_gap,
)
from cagekit.swing.motion import Closest, Swept, sweep
from cagekit.units import INCH

if TYPE_CHECKING:
    from cagekit.geometry.centre_line import Vec

GROUP = "swing_out"
ROOT_LEG = 1.6
"""Gap (mm) beyond which a fillet's leg grows with it (AWS D1.1 5.21.1, from memory)."""


def findings(design: Design) -> list[Finding]:
    """Every finding about the swing-out bars of a cage; none when nothing swings out."""
    return [f for door in design.cage.doors for f in door_findings(design, door)]


def door_findings(design: Design, door: SwingDoor) -> Iterator[Finding]:
    """Findings about one bar: how it swings, then hinge and latch."""
    swept = sweep(design.cage, design.build.car, door)
    yield from _swing(door, swept)
    if BodySide.of(design.build.car, door.side) is None:
        yield _no_outline(door)
    yield from _ways_out(design, door)
    yield from _back(design, door)
    for joint in door.joints:
        yield from _cut(design, door, joint)
        yield from _bracket(design, door, joint)
        yield from _pin(design, door, joint)
    yield from _stop(design, door)


def _held(
    name: str, door: SwingDoor, value: float, *points: Vec, members: tuple[str, ...] = (),
    note: str = "", text: str = "", plates: tuple[str, ...] = (), quantity: str = "",
) -> Finding:  # fmt: skip
    """Hold one number against the limits of a check."""
    reading = Reading(value=value, members=members or (door.bar,), points=points, note=note)
    found = checks_in("swing_limits.toml")[name].finding(GROUP, door.bar, reading)
    evidence = replace(found.evidence, plates=plates)
    words = " ".join(t for t in (found.text, text) if t)
    return replace(found, evidence=evidence, text=words, quantity=quantity or found.quantity)


# -- the swing -------------------------------------------------------------------------------


def _swing(door: SwingDoor, swept: Swept) -> Iterator[Finding]:
    angle = degrees(swept.full)
    if swept.meets is None:
        note = "meets nothing up to 150 degrees"
        members: tuple[str, ...] = ()
        points: tuple[Vec, ...] = ()
    else:
        limit = degrees(swept.limit or 0.0)
        note = f"meets {swept.meets.name} at {limit:.1f} degrees"
        members, points = _members(swept.meets), (swept.meets.point,)
    length = free_length(door)
    stop = "" if swept.meets is None else f", stopped by {swept.meets.name}"
    yield _held(
        "opens", door, angle, *points, members=(door.bar, *members), note=note,
        quantity=f"opening angle of the bar{stop if angle < degrees(door.open_angle) else ''}",
        text=f"Open, it leaves {length:.0f} mm between its cuts; the door itself must open as far.",
    )  # fmt: skip
    around = [c for c in swept.closest if c.kind in ("tube", "body", "opening")]
    if around:
        worst = around[0]
        yield _held(
            "free-swing", door, worst.gap, worst.point, members=(door.bar, *_members(worst)),
            note=f"{worst.name} at {degrees(worst.angle):.0f} degrees",
            quantity=f"room to {worst.name} through the swing",
        )  # fmt: skip
    found = swept.to("hinge stub")
    if found is not None:
        yield _held(
            "hinge-relief", door, found.gap, found.point, members=(door.bar, found.name),
            note=f"at {degrees(found.angle):.0f} degrees",
        )  # fmt: skip
    found = swept.to("latch stub")
    if found is not None:
        yield _held(
            "latch-gap", door, min(found.gap, swept.latch_side), found.point,
            members=(door.bar, found.name),
            note=f"to the stub {found.gap:.1f} mm, to the sides of the bracket "
            f"{swept.latch_side:.1f} mm",
        )  # fmt: skip


def _ways_out(design: Design, door: SwingDoor) -> Iterator[Finding]:
    """What the open bar gives the person on its side."""
    cockpit = design.cockpit
    for who in cockpit.occupants:
        if who.door_side != door.side:
            continue
        shut, opened = (way_out(cockpit, who, swung=s) for s in (False, True))
        if shut is None or opened is None:
            continue
        good = opened.area > shut.area and opened.margin >= shut.margin
        yield Finding(
            code=f"{GROUP}/way-out",
            group=GROUP,
            subject=door.bar,
            quantity="free part of the door opening with the bar open",
            status=Status.PASS if good else Status.WARN,
            measured=opened.area,
            op=">",
            limit=shut.area,
            unit="mm2",
            source="door opening of the car sheet, less the bars in it",
            certainty=Certainty.MEASURED,
            evidence=Evidence.of(door.bar, note=who.name),
            cure="" if good else "Cut nearer to the nodes, or lower the bar's ends.",
            text=f"{who.name} has {opened.margin:.0f} mm to spare all round, "
            f"{shut.margin:.0f} mm with the bar shut (negative: too tight).",
        )


def _no_outline(door: SwingDoor) -> Finding:
    return Finding(
        code=f"{GROUP}/door-opening",
        group=GROUP,
        subject=door.bar,
        quantity="bar against the door opening",
        status=Status.NEEDS_INPUT,
        source="car sheet",
        evidence=Evidence.of(door.bar),
        cure=f"Measure the {door.side} door opening (`outline`) and put it in the car sheet.",
        text="Not measured: the car sheet has no outline of the door opening on this side.",
    )


def _members(found: Closest) -> tuple[str, ...]:
    return (found.name,) if found.kind == "tube" else ()


def _back(design: Design, door: SwingDoor) -> Iterator[Finding]:
    cockpit = design.cockpit
    if float(door.latch.along[0]) < 0:
        return  # hinged at the rear: the latch is ahead of the driver
    for who in cockpit.occupants:
        if who.door_side == door.side:
            found = behind_back(door.latch, who)
            yield _held("back-room", door, found.value, found.point, note=who.name)


# -- hinge and latch -------------------------------------------------------------------------


def _cut(design: Design, door: SwingDoor, joint: SwingJoint) -> Iterator[Finding]:
    room = cope_room(design.cage, joint)
    yield _held(
        "cope-room", door, room.value, room.point, members=(joint.stub,), note=joint.name,
        text=cut_reasons(design.cage, design.build.car, door, joint),
    )  # fmt: skip


def _bracket(design: Design, door: SwingDoor, joint: SwingJoint) -> Iterator[Finding]:
    s = joint.spec
    radius = design.cage.member(door.bar).tube.outer_radius
    plates = tuple(p.id for p in plates_of(design.cage, door, joint))

    def held(name: str, value: float, at: Measured | None = None, text: str = "") -> Finding:
        points = () if at is None else (at.point,)
        return _held(
            name, door, value, *points, members=(joint.stub, door.bar), note=joint.name,
            plates=plates, text=text,
        )  # fmt: skip

    clear = bracket_clearance(design.cage, door, joint)
    yield held("bracket-clear", clear.value, clear)
    gap = root_gap(joint, radius)
    grown = s.weld_leg + max(gap - ROOT_LEG, 0.0)
    yield held("root-gap", gap, text=f"Leg with the gap added: {grown:.1f} mm.")
    yield held("plate", s.thickness)
    yield held("lug-width", 2 * s.ear)
    yield held("ear", (s.ear - s.hole / 2) / s.hole)
    yield from _process(design, door, joint, plates)


def _process(
    design: Design, door: SwingDoor, joint: SwingJoint, plates: tuple[str, ...]
) -> Iterator[Finding]:
    table = design.tooling.table if design.tooling else None
    if table is None:
        return
    row = next((r for r in rows("process_thickness") if r["process"] == table.process), None)
    if row is None:
        return
    s = joint.spec
    low, high = float(row["thinnest"]), min(float(row["thickest"]), table.max_thickness)
    good = low <= s.thickness <= high
    yield Finding(
        code=f"{GROUP}/process",
        group=GROUP,
        subject=door.bar,
        quantity=f"bracket plate for the {table.process} table",
        status=Status.PASS if good else Status.FAIL,
        measured=s.thickness,
        op="between",
        limit=(low, high),
        unit="mm",
        source=f"tooling: {table.name}; {row['source']}",
        certainty=Certainty.COMMON_PRACTICE,
        evidence=Evidence.of(joint.stub, plates=plates, note=joint.name),
        cure="" if good else "Choose another `thickness`, or cut it on another table.",
        text="What the table can cut.",
    )


def _pin(design: Design, door: SwingDoor, joint: SwingJoint) -> Iterator[Finding]:
    s = joint.spec
    radius = design.cage.member(door.bar).tube.outer_radius
    members = (door.bar, joint.stub)
    yield _held("pin", door, s.pin.diameter, joint.origin, members=members, note=joint.name)
    yield _held(
        "hole-play", door, s.hole - s.pin.diameter, joint.origin, members=members, note=joint.name
    )
    choice = choose_pin(s, radius)
    where = Evidence.of(*members, points=[joint.origin], note=joint.name)
    yield Finding(
        code=f"{GROUP}/grip",
        group=GROUP,
        subject=door.bar,
        quantity="length of the pin",
        status=Status.PASS if choice.found else Status.FAIL,
        measured=choice.length,
        op=">=",
        limit=choice.needed,
        unit="mm",
        source="grip worked out from plates, spacers and sleeve",
        certainty=Certainty.MEASURED,
        evidence=where,
        cure="" if choice.found else "Use thinner plates or a larger pin: none is sold so long.",
        text=f"{s.pin_kind} {s.pin.size}, {_sold(choice.length, s.pin.size)}: it grips "
        f"{choice.grip:.1f} mm.",
    )
    if s.pin_kind == "bolt":
        good = choice.shank >= choice.shank_needed - 1e-6
        yield Finding(
            code=f"{GROUP}/thread",
            group=GROUP,
            subject=door.bar,
            quantity="shank of the bolt past its far shear plane",
            status=Status.PASS if good else Status.WARN,
            measured=choice.shank,
            op=">=",
            limit=choice.shank_needed,
            unit="mm",
            source="common practice",
            certainty=Certainty.COMMON_PRACTICE,
            evidence=where,
            cure="" if good else "Use a longer bolt and shorten its thread, or a shouldered bolt.",
            text="No thread in a shear plane.",
        )


def _sold(length: float, size: str) -> str:
    return f"{length / INCH:g} in" if "/" in size else f"{length:g} mm"


# -- the stop --------------------------------------------------------------------------------


def _stop(design: Design, door: SwingDoor) -> Iterator[Finding]:
    """The closed bar bears on steel at its latch before it hangs on its pin."""
    s = door.latch.spec
    members = (door.bar, door.latch.stub)
    if s.design == "cheeks" and not s.cup:
        yield Finding(
            code=f"{GROUP}/stop",
            group=GROUP,
            subject=door.bar,
            quantity="steel behind the closed bar at the latch",
            status=Status.FAIL,
            source="NHRA General Regulations",
            clause="4:11 swing-out C",
            edition="2010 era",
            certainty=Certainty.FROM_MEMORY,
            evidence=Evidence.of(*members, points=[door.latch.origin]),
            cure="Give the latch a half cup (cup = 'latch') or use design = 'saddle'.",
            text="The closed bar bears on its pin alone.",
        )
        return
    good = s.stop_gap <= s.play + 1e-9
    yield Finding(
        code=f"{GROUP}/stop",
        group=GROUP,
        subject=door.bar,
        quantity="closed bar to the steel it bears on",
        status=Status.PASS if good else Status.WARN,
        measured=s.stop_gap,
        op="<=",
        limit=s.play,
        unit="mm",
        source="play of pin in holes and sleeve",
        certainty=Certainty.MEASURED,
        evidence=Evidence.of(*members, points=[door.latch.origin]),
        cure="" if good else f"Set the stop to {s.play:.2f} mm or less: weld it with the bar shut.",
        text="The bar must lie against the stop before the pin takes the load.",
    )
    yield _held("reach", door, s.reach, door.latch.origin, members=members)
    wall = s.cup_wall if s.cup else s.thickness
    yield _held("stop-wall", door, wall, door.latch.origin, members=members)

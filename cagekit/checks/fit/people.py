"""Findings about the people in the cage: head, shoulders, arms, legs, wheel, seat, way out."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import degrees

from cagekit.checks.finding import Evidence, Finding, Status
from cagekit.checks.fit.limits import fit_check
from cagekit.checks.fit.scene import nobody
from cagekit.design import Design
from cagekit.fit import readings
from cagekit.fit.cockpit import Cockpit, Reading, bearing
from cagekit.fit.egress import Opening, way_out
from cagekit.people.posture import Occupant, in_order, moved

GROUP = "fit"
Measure = Callable[[Cockpit, Occupant], Reading]

ANGLES = {"belt-angle"}


def findings(design: Design) -> list[Finding]:
    """Everything about the people, in a fixed order."""
    cockpit = design.cockpit
    if not cockpit.occupants:
        return [nobody(GROUP, "room for the people")]
    out: list[Finding] = []
    for who in cockpit.occupants:
        out += person(cockpit, who)
    out += _without_seat(design, cockpit)
    return out


def person(cockpit: Cockpit, who: Occupant) -> Iterator[Finding]:
    """Findings about one person."""
    for name, measure in _measures(cockpit, who):
        scale = degrees(1.0) if name in ANGLES else 1.0
        yield fit_check(name).finding(GROUP, who.name, measure(cockpit, who), scale=scale)
    yield from _padding(cockpit, who)
    yield from _ways_out(cockpit, who)


def _measures(cockpit: Cockpit, who: Occupant) -> list[tuple[str, Measure]]:
    opened = cockpit.car.body == "open"
    rows: list[tuple[str, Measure]] = [
        ("helmet-room", nearest_bar),
        ("helmet-to-hoop", readings.helmet_to_hoop),
        ("hoop-over-helmet-open" if opened else "hoop-over-helmet", readings.hoop_over_helmet),
    ]
    if opened:
        rows.append(("helmet-line", readings.helmet_line))
    rows += [
        ("harness-drop", readings.harness_drop),
        ("belt-angle", readings.belt_angle),
        ("door-bar", readings.door_bar_share),
        ("shoulder-to-hoop", readings.shoulder_to_hoop),
        ("elbow-room", lambda c, o: readings.room(c, o, "elbow")),
        ("knee-room", lambda c, o: readings.room(c, o, "knee")),
        ("foot-room", lambda c, o: readings.room(c, o, "foot")),
        ("torso-room", readings.torso_room),
        ("seat-room", readings.seat_room),
    ]
    if who.at_wheel:
        rows += [
            ("wheel-dash", lambda c, o: readings.wheel_room(c, o, readings.DASH_ROLES)),
            ("wheel-pillar", lambda c, o: readings.wheel_room(c, o, readings.PILLAR_ROLES)),
        ]
    rows.append(("reach", reach))
    return rows


def nearest_bar(cockpit: Cockpit, who: Occupant) -> Reading:
    """Least room between the helmet and any bar, mm."""
    best = cockpit.closest(who, ["helmet"])
    if best is None:
        return Reading(value=None, absent="the cage has no members")
    gap = best[1]
    return Reading(
        value=gap.gap,
        members=(gap.member,),
        points=(gap.on_solid, gap.on_tube),
        note=f"tube {bearing(gap.direction)}",
    )


def reach(cockpit: Cockpit, who: Occupant) -> Reading:
    """How far the worst hand or foot is short of wheel or pedal, mm."""
    if not who.short:
        return Reading(value=0.0)
    worst = max(who.short, key=lambda k: (who.short[k], k))
    return Reading(value=who.short[worst], note=worst)


def _padding(cockpit: Cockpit, who: Occupant) -> Iterator[Finding]:
    """One finding for every bar within the helmet's reach."""
    check = fit_check("padding")
    for name, reading in sorted(readings.helmet_to_bar(cockpit, who).items()):
        thick = cockpit.padding.get(name, 0.0)
        bare = (reading.value or 0.0) + thick
        if check.limits[0].holds(bare):
            continue
        where = Reading(
            value=bare, members=(name,), points=reading.points, note=f"{who.name}, {reading.note}"
        )
        found = check.finding(GROUP, name, where)
        if thick > 0:
            yield Finding(
                code=found.code,
                group=GROUP,
                subject=name,
                quantity="padded bar within the helmet's reach",
                status=Status.PASS,
                measured=bare,
                unit="mm",
                source=found.source,
                clause=found.clause,
                edition=found.edition,
                certainty=found.certainty,
                evidence=found.evidence,
                text=f"Padded with {thick:g} mm.",
            )
        else:
            yield found


def _ways_out(cockpit: Cockpit, who: Occupant) -> Iterator[Finding]:
    yield opening_finding(cockpit, who, "egress", way_out(cockpit, who))
    if any(m.swing is not None for m in readings.door_bars(cockpit, who)):
        yield opening_finding(cockpit, who, "egress-open", way_out(cockpit, who, swung=True))


def opening_finding(cockpit: Cockpit, who: Occupant, name: str, opening: Opening | None) -> Finding:
    """Hold a way out against the person's own size."""
    if opening is None:
        missing = f"the car sheet has no door outline on the {who.door_side}"
        absent = (
            "the car is open, the way out is over its side" if cockpit.car.body == "open" else ""
        )
        reading = Reading(value=None, missing=missing, absent=absent)
        return fit_check(name).finding(GROUP, who.name, reading)
    y = cockpit.car.side(who.door_side).door
    side = (y.y_inner if y else 0.0) * (1 if who.door_side == "left" else -1)
    x, z = opening.place
    reading = Reading(
        value=opening.margin,
        members=opening.tightest or opening.members,
        points=(moved((x, side, z)), *(moved((px, side, pz)) for px, pz in opening.polygon)),
        note=(
            f"{opening.width:.0f} x {opening.depth:.0f} mm person, "
            f"free opening {opening.area / 1e6:.2f} m2"
        ),
    )
    return fit_check(name).finding(GROUP, who.name, reading)


def _without_seat(design: Design, cockpit: Cockpit) -> Iterator[Finding]:
    """People for whom the car sheet has no seat."""
    for person_sheet in in_order(design.build.drivers)[len(cockpit.occupants) :]:
        yield Finding(
            code="fit/seat",
            group=GROUP,
            subject=person_sheet.name,
            quantity="seat",
            status=Status.NEEDS_INPUT,
            evidence=Evidence(),
            text="Not measured: the car sheet has no seat for this person.",
            cure="Add another [[seats]] table to the car sheet.",
        )

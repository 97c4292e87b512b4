"""Quantities of swing-out door bars: pins, brackets, ears."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey, side_of
from cagekit.geometry.centre_line import Vec

if TYPE_CHECKING:
    from cagekit.cage.door import BracketSpec
    from cagekit.cage.plate import Pin, Plate

SAME_PIN = 120.0
"""Ears within this distance share a pin, mm (common practice: a bracket is not wider)."""


def swing_plates(s: Survey) -> Iterator[tuple[Plate, Pin, Vec]]:
    """Plates that a swing-out bar's pins go through: plate, pin, the pin's middle ``(3,)``."""
    for plate in s.plates:
        if not any(word in plate.kind for word in ("hinge", "latch", "saddle", "cheek")):
            continue
        for pin in plate.pins:
            yield plate, pin, plate.car_point(plate.holes[pin.hole].centre)


def _evidence(plate: Plate, at: Vec) -> Evidence:
    return Evidence.of(*plate.members, plates=[plate.id], points=[at])


@quantity("swing_pin_diameter", "mm", "pin diameter")
def swing_pin_diameter(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Diameter of each pin or bolt that holds a swing-out bar."""
    for plate, pin, at in swing_plates(s):
        yield Measure(subject=plate.id, value=pin.diameter, evidence=_evidence(plate, at))


@quantity("swing_pin_shear_planes", "count", "shear planes of the pin")
def swing_pin_shear_planes(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Planes in which the load shears each pin of a swing-out bar."""
    for plate, pin, at in swing_plates(s):
        yield Measure(subject=plate.id, value=pin.shear_planes, evidence=_evidence(plate, at))


@quantity("swing_ear_ligament", "ratio", "material round the hole over its diameter")
def swing_ear_ligament(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Material round each pin hole of a swing-out bar's bracket over the hole's diameter.

    The least between the hole's edge and the bracket's edge.
    """
    for plate, pin, at in swing_plates(s):
        hole = plate.holes[pin.hole]
        least = plate.edge_distance(pin.hole) - hole.diameter / 2
        value = least / hole.diameter
        yield Measure(subject=plate.id, value=value, evidence=_evidence(plate, at))


@quantity("swing_pin_to_upright", "mm", "pin to the upright")
def swing_pin_to_upright(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Distance from each pin of a swing-out bar to the nearest upright's axis.

    Main hoop, front hoop, half hoop and A-pillar bar of that side are uprights.
    """
    uprights = s.of_role("main_hoop", "front_hoop", "half_hoop", "a_pillar_bar")
    for plate, _, at in swing_plates(s):
        gaps = [
            (float(np.linalg.norm(m.path.nearest(at).point - at)), m.id)
            for m in uprights
            if m.side in ("centre", side_of(at))
        ]
        if gaps:
            value, name = min(gaps)
            evidence = Evidence.of(name, *plate.members, plates=[plate.id], points=[at])
            yield Measure(subject=plate.id, value=value, evidence=evidence)


@quantity("swing_bracket_thickness", "mm", "bracket thickness at the pin")
def swing_bracket_thickness(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Thickness of bracket that holds each pin, all ears that share the pin added up."""
    groups: list[tuple[Vec, list[Plate]]] = []
    for plate, _, at in swing_plates(s):
        near = [g for g in groups if float(np.linalg.norm(g[0] - at)) < SAME_PIN]
        if near:
            near[0][1].append(plate)
        else:
            groups.append((at, [plate]))
    for at, ears in groups:
        ids = dict.fromkeys(p.id for p in ears)
        members = dict.fromkeys(m for p in ears for m in p.members)
        evidence = Evidence.of(*members, plates=ids, points=[at])
        value = sum(p.thickness * p.quantity for p in ears)
        yield Measure(subject=ears[0].id, value=value, evidence=evidence)


def _stops(s: Survey) -> Iterator[tuple[str, BracketSpec, Evidence]]:
    """Latches with steel behind the closed bar, half cup or saddle: name, sizes, evidence."""
    for door in s.cage.doors:
        spec = door.latch.spec
        if spec.cup or spec.design != "cheeks":
            evidence = Evidence.of(door.bar, door.latch.stub, points=[door.latch.origin])
            yield f"{door.bar} {door.latch.name}", spec, evidence


@quantity("swing_cup_wall", "mm", "steel that the closed bar bears on")
def swing_cup_wall(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Thickness of the half cup, or of the saddle, that a closed swing-out bar bears on."""
    for name, spec, evidence in _stops(s):
        value = spec.cup_wall if spec.cup else spec.thickness
        yield Measure(subject=name, value=value, evidence=evidence)


@quantity("swing_cup_reach", "mm", "stop past the latch pin")
def swing_cup_reach(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far the half cup, or the saddle, at a swing-out bar's latch reaches past its pin."""
    for name, spec, evidence in _stops(s):
        yield Measure(subject=name, value=spec.reach, evidence=evidence)

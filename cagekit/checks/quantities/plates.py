"""Quantities of feet: plates, contact, bolts; and of gusset plates."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import partial
from math import atan2, degrees, pi
from typing import TYPE_CHECKING

import numpy as np

from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import StandingEnd, Survey
from cagekit.geometry.arrays import size3
from cagekit.geometry.centre_line import Vec, unit
from cagekit.plates.foot import Foot
from cagekit.plates.in_car import lying_area
from cagekit.plates.profile import off_foot
from cagekit.units.tolerance import SAME_POINT

if TYPE_CHECKING:
    from cagekit.cage.member import Member
    from cagekit.cage.plate import Plate

KSI = 6.894757
SAE_TENSILE = {2: 74 * KSI, 5: 120 * KSI, 8: 150 * KSI}
"""Smallest tensile strength of a bolt by SAE grade, MPa. Source: SAE J429, from memory."""
BACKING = "backing_plate"
SAME_PLANE = 0.966
"""Cosine of 15 deg: facets nearer than this in direction are one plane to a tape measure."""


def plates_of(s: Survey, foot: StandingEnd) -> tuple[Plate, ...]:
    """Plates between a foot and the car's metal, backing plates left out; of a box foot its base.

    A plate outrigger is what the foot stands on, like a tube in its place.
    """
    on = f"{foot.member.id}.{foot.end}"
    found = [p for p in s.plates if on in p.ends and p.kind != BACKING and not p.outrigger]
    boxes = {p.box for p in found if p.kind == "box_top"}
    bases = [p for p in s.plates if p.kind == "box_base" and p.box in boxes]
    return tuple(p for p in found if p.kind != "box_top") + tuple(bases)


def backing_of(s: Survey, foot: StandingEnd) -> tuple[Plate, ...]:
    """Backing plates under a foot: those of its member that lie nearest to this foot."""
    ends = [foot.member.path.end_point(n) for n in ("a", "b")]
    found = []
    for p in s.plates:
        if p.kind != BACKING or foot.member.id not in p.members:
            continue
        at = p.placement[:3, 3]
        if min(ends, key=lambda q: float(np.linalg.norm(q - at))) is ends[foot.end == "b"]:
            found.append(p)
    return tuple(found)


def _main_plate(s: Survey, foot: StandingEnd) -> Plate | None:
    """The largest plate under a foot."""
    return max(plates_of(s, foot), key=lambda p: p.outline.area, default=None)


def _feet(s: Survey, pick: Pick) -> Iterator[tuple[StandingEnd, Plate, Evidence]]:
    for foot in s.feet_of(pick):
        plate = _main_plate(s, foot)
        if plate is not None:
            yield foot, plate, _evidence(foot, plate)


def _evidence(foot: StandingEnd, *plates: Plate) -> Evidence:
    return Evidence.of(foot.member.id, plates=[p.id for p in plates], points=[foot.point])


@quantity("plates_at_foot", "count", "plates under the foot", feet=True)
def plates_at_foot(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Plates under each foot, backing plates left out; feet on an outrigger are left out."""
    for foot in s.feet_of(pick):
        if not foot.direct:
            found = plates_of(s, foot)
            yield Measure(subject=foot.name, value=len(found), evidence=_evidence(foot, *found))


@quantity("plate_area", "mm2", "area of the foot plate", feet=True)
def plate_area(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Developed area of each foot's plate within its outline, bolt holes not taken off."""
    for foot, plate, e in _feet(s, pick):
        yield Measure(subject=foot.name, value=plate.outline.area, evidence=e)


@quantity("plate_area_over_od", "mm", "plate area over tube diameter", feet=True)
def plate_area_over_od(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Developed area of each foot's plate over the diameter of the tube that stands on it."""
    for foot, plate, e in _feet(s, pick):
        value = plate.outline.area / foot.member.tube.od
        yield Measure(subject=foot.name, value=value, evidence=e)


@quantity("plate_contact_area", "mm2", "contact area of the foot plate", feet=True)
def plate_contact_area(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Area of each foot's plate that lies flat on the shell.

    Its flat parts without the bend zones, holes taken off, as far as there is floor under them. A
    plinth's side walls do not count.
    """
    for foot, plate, e in _feet(s, pick):
        value = lying_area(s.cage, plate, s.ground, foot.member.end(foot.end).surface)
        yield Measure(subject=foot.name, value=value, evidence=e)


@quantity("plate_thickness", "mm", "thickness of the foot plate", feet=True)
def plate_thickness(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Thickness of each foot's plate."""
    for foot, plate, e in _feet(s, pick):
        yield Measure(subject=foot.name, value=plate.thickness, evidence=e)


@quantity("welded_plate_thickness", "mm", "thickness of the welded plate", feet=True)
def welded_plate_thickness(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Thickness of the plate of each foot without bolts."""
    for foot, plate, e in _feet(s, pick):
        if not plate.bolts:
            yield Measure(subject=foot.name, value=plate.thickness, evidence=e)


@quantity("bolted_plate_thickness", "mm", "thickness of the bolted plate", feet=True)
def bolted_plate_thickness(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Thickness of the plate of each foot with bolts."""
    for foot, plate, e in _feet(s, pick):
        if plate.bolts:
            yield Measure(subject=foot.name, value=plate.thickness, evidence=e)


@quantity("bolted_plate_over_wall", "ratio", "plate thickness over tube wall", feet=True)
def bolted_plate_over_wall(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Thickness of each bolted foot's plate over the wall of the tube that it carries."""
    for foot, plate, e in _feet(s, pick):
        if plate.bolts:
            value = plate.thickness / foot.member.tube.wall
            yield Measure(subject=foot.name, value=value, evidence=e)


@quantity("plate_longest_side", "mm", "longest side of the plate", feet=True)
def plate_longest_side(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Longer side of the flat pattern of each foot's plate."""
    for foot, plate, e in _feet(s, pick):
        yield Measure(subject=foot.name, value=float(max(plate.size)), evidence=e)


@quantity("plate_shortest_side", "mm", "shortest side of the plate", feet=True)
def plate_shortest_side(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Shorter side of the flat pattern of each foot's plate."""
    for foot, plate, e in _feet(s, pick):
        yield Measure(subject=foot.name, value=float(min(plate.size)), evidence=e)


@quantity("plate_shortest_side_over_od", "ratio", "shortest side over tube diameter", feet=True)
def plate_shortest_side_over_od(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Shorter side of the flat pattern of each foot's plate over the tube's diameter."""
    for foot, plate, e in _feet(s, pick):
        value = float(min(plate.size)) / foot.member.tube.od
        yield Measure(subject=foot.name, value=value, evidence=e)


@quantity("plate_size", "pair", "sides of the plate", feet=True)
def plate_size(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Shorter and longer side of the flat pattern of each foot's plate."""
    for foot, plate, e in _feet(s, pick):
        low, high = sorted(float(x) for x in plate.size)
        yield Measure(subject=foot.name, value=(low, high), evidence=e)


@quantity("plate_planes", "count", "planes that the plate touches", feet=True)
def plate_planes(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Planes of the shell that each foot's plate lies on.

    Flat parts whose directions differ by more than 15 degrees.
    """
    for foot, plate, e in _feet(s, pick):
        normals: list[Vec] = []
        for f in plate.facets:
            n = unit(f.frame[:3, 2])
            if all(float(n @ m) < SAME_PLANE for m in normals):
                normals.append(n)
        yield Measure(subject=foot.name, value=len(normals), evidence=e)


@quantity("section_off_foot", "mm", "floor section off the measured foot", feet=True)
def section_off_foot(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far the floor section below each folded plate passes above or below the measured foot.

    Two measurements of one spot that should agree; the plate is laid on the foot.
    """
    for end, plate, evidence in _feet(s, pick):
        foot = Foot.of(s.cage, end.member.id, end.end, s.car)
        if not plate.folds or len(foot.profile) < 2:
            continue
        off = abs(off_foot(foot.profile, -plate.thickness, plate.id))
        yield Measure(subject=plate.id, value=off, evidence=evidence)


@quantity("backing_plates", "count", "backing plates", feet=True)
def backing_plates(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Backing plates behind the panel at each bolted foot; 0 counts."""
    for foot, plate, _ in _feet(s, pick):
        if plate.bolts:
            found = backing_of(s, foot)
            e = _evidence(foot, plate, *found)
            yield Measure(subject=foot.name, value=len(found), evidence=e)


@quantity("backing_plate_thickness_share", "ratio", "backing over foot plate thickness", feet=True)
def backing_plate_thickness_share(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Thickness of the thinnest backing plate of each bolted foot over its plate's thickness."""
    for foot, plate, _ in _feet(s, pick):
        found = backing_of(s, foot)
        if plate.bolts and found:
            value = min(p.thickness for p in found) / plate.thickness
            yield Measure(subject=foot.name, value=value, evidence=_evidence(foot, plate, *found))


# --- bolts ---------------------------------------------------------------------------------


def _bolted(s: Survey, pick: Pick) -> Iterator[tuple[StandingEnd, Plate, Evidence]]:
    for foot, plate, e in _feet(s, pick):
        if plate.bolts:
            yield foot, plate, e


@quantity("bolt_count", "count", "bolts", feet=True)
def bolt_count(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bolts through the plate of each bolted foot."""
    for foot, plate, e in _bolted(s, pick):
        yield Measure(subject=foot.name, value=len(plate.bolts), evidence=e)


@quantity("bolt_diameter", "mm", "bolt diameter", feet=True)
def bolt_diameter(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Nominal diameter of the thinnest bolt of each bolted foot."""
    for foot, plate, e in _bolted(s, pick):
        value = min(b.diameter for b in plate.bolts)
        yield Measure(subject=foot.name, value=value, evidence=e)


@quantity("bolt_tensile", "MPa", "bolt tensile strength", feet=True)
def bolt_tensile(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Nominal tensile strength of the weakest bolt of each bolted foot.

    From its property class (ISO 898-1: the first number times 100 MPa) or SAE grade (SAE J429,
    from memory).
    """
    for foot, plate, e in _bolted(s, pick):
        values = [tensile_of(b.grade) for b in plate.bolts]
        known = [v for v in values if v is not None]
        if len(known) < len(values):
            need = f"the bolts' property class on plate {plate.id}"
            yield Measure(subject=foot.name, evidence=e, missing=need)
        else:
            yield Measure(subject=foot.name, value=min(known), evidence=e)


def tensile_of(grade: str) -> float | None:
    """Nominal tensile strength of a bolt by its property class or SAE grade, MPa; None unknown."""
    iso = re.search(r"\b(\d{1,2})\.(\d)\b", grade)
    if iso:
        return 100.0 * int(iso[1])
    sae = re.search(r"grade[ -]?(\d)", grade, re.IGNORECASE)
    return SAE_TENSILE.get(int(sae[1])) if sae else None


@quantity("bolt_spread", "deg", "angle between bolts at the tube", feet=True)
def bolt_spread(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Smallest angle between two bolts of a foot, seen from the tube's axis along the plate.

    Of those in the face that the tube stands on; bolts in folded faces are not round the tube.
    """
    for foot, plate, e in _bolted(s, pick):
        flat = (foot.point - plate.placement[:3, 3]) @ plate.placement[:3, :3]
        ways = [plate.holes[b.hole].centre - flat[:2] for b in plate.foot_bolts]
        angles = sorted(atan2(float(w[1]), float(w[0])) for w in ways if np.hypot(*w) > SAME_POINT)
        if len(angles) >= 2:
            gaps = np.diff([*angles, angles[0] + 2 * pi])
            yield Measure(subject=foot.name, value=degrees(float(gaps.min())), evidence=e)


@quantity("brace_bolt_section_share", "ratio", "bolt section against the hoop's leg", feet=True)
def brace_bolt_section_share(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bolt section of each bolted rear-brace foot over that of a leg of the main hoop.

    Total nominal section; the leg with the smallest total counts.
    """
    legs = [_section(p) for f, p, _ in _bolted(s, Pick(roles=("main_hoop",), side=pick.side))]
    if legs:
        for foot, plate, e in _bolted(s, Pick(roles=("rear_brace",), side=pick.side)):
            value = _section(plate) / min(legs)
            yield Measure(subject=foot.name, value=value, evidence=e)


def _section(plate: Plate) -> float:
    return sum(pi / 4 * b.diameter**2 for b in plate.bolts)


# --- gusset plates -------------------------------------------------------------------------


def _gussets(s: Survey) -> Iterator[tuple[Plate, Evidence]]:
    for p in s.plates:
        if "gusset" in p.kind:
            yield p, Evidence.of(*p.members, plates=[p.id])


@quantity("gusset_thickness", "mm", "thickness of the gusset")
def gusset_thickness(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Thickness of each gusset plate."""
    for p, e in _gussets(s):
        yield Measure(subject=p.id, value=p.thickness, evidence=e)


@quantity("gusset_reach_over_od", "ratio", "gusset's reach over tube diameter")
def gusset_reach_over_od(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Reach of each gusset plate along its tubes over the larger tube's diameter.

    From where the axes meet to the plate's far edge; the shorter leg counts.
    """
    for p, e in _gussets(s):
        reach = _reaches(s, p)
        if reach:
            od = max(s.cage.members[m].tube.od for m in p.members if m in s.cage.members)
            yield Measure(subject=p.id, value=min(reach) / od, evidence=e)


@quantity("gusset_reach", "mm", "gusset's reach along the tube")
def gusset_reach(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How long each gusset plate's shorter leg along a tube is, from its first to its last edge."""
    for p, e in _gussets(s):
        edges = [hi - lo for lo, hi in _spans(s, p)]
        if edges:
            yield Measure(subject=p.id, value=min(edges), evidence=e)


def _spans(s: Survey, plate: Plate) -> list[tuple[float, float]]:
    """Nearest and farthest edge of a gusset along each of its tubes, mm from the axes' meeting."""
    members = tuple(s.cage.members[m] for m in plate.members if m in s.cage.members)
    if len(members) < 2:
        return []
    return s.cage.kept.once(("spans", plate, members), partial(_measured_spans, plate, members))


def _measured_spans(plate: Plate, members: Sequence[Member]) -> list[tuple[float, float]]:
    edge = plate.car_points(plate.outline.vertices)
    pair = members[:2]
    ends = [[(q, sum(_off(t, q) for t in pair)) for q in (m.path.start, m.path.end)] for m in pair]
    out = []
    for m, own, others in zip(pair, ends, ends[::-1], strict=True):
        node, _ = min((*own, *others), key=lambda end: end[1])
        spots = m.path.nearest_points(edge)
        near = m.tube.outer_radius + plate.thickness + 6.0
        apart, along = spots - edge, spots - node
        close = [size3(w) for v, w in zip(apart, along, strict=True) if size3(v) < near]
        if close:
            out.append((min(close), max(close)))
    return out


def _off(member: Member, point: Vec) -> float:
    """How far a point ``(3,)`` mm is from a tube's axis, mm."""
    return size3(member.path.nearest(point).point - point)


def _reaches(s: Survey, plate: Plate) -> list[float]:
    return [hi for _, hi in _spans(s, plate)]


@quantity("gusset_hole_over_od", "ratio", "gusset hole over tube diameter")
def gusset_hole_over_od(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Largest round hole of each gusset plate over the diameter of the larger tube."""
    for p, e in _gussets(s):
        holes = [h.diameter for h in p.holes if h.round_]
        tubes = [s.cage.members[m].tube.od for m in p.members if m in s.cage.members]
        if holes and tubes:
            yield Measure(subject=p.id, value=max(holes) / max(tubes), evidence=e)


@quantity("gussets_at_joint", "count", "gusset plates at the joint")
def gussets_at_joint(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Gusset plates between each pair of tubes that has any."""
    groups: dict[tuple[str, ...], list[Plate]] = {}
    for p, _ in _gussets(s):
        groups.setdefault(tuple(sorted(p.members)), []).append(p)
    for names, plates in groups.items():
        e = Evidence.of(*names, plates=[p.id for p in plates])
        n = sum(p.quantity for p in plates)
        yield Measure(subject=" x ".join(names), value=n, evidence=e)

"""Floor plates: flat or folded to the floor, bolted or welded, with the backing plate below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace as with_fields
from math import degrees, hypot, pi, tan
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from cagekit.cage.plate import Bolt, Hole, HolePurpose, Mark, Plate, PlateWeld
from cagekit.errors import GeometryError
from cagekit.geometry.fold import Fold, bend_allowance
from cagekit.geometry.outline import Outline
from cagekit.inputs.plate import (
    PLATE_BOLT,
    PLATE_STEEL,
    FlatPlate,
    FloorPlate,
    usual_grade,
)
from cagekit.plates.foot import Foot
from cagekit.plates.profile import Folding, HalfFlat, flatten, legs, under
from cagekit.units.tolerance import SAME_ANGLE, SAME_POINT

if TYPE_CHECKING:
    from cagekit.materials.fasteners import Fastener

FOLD_CLEARANCE = 2.0
"""Least distance from a hole's edge to a bend zone, in thicknesses (common practice)."""
EDGE_RATIO = 2.0
"""Hole centre to plate edge, in bolt diameters, when not given (common practice)."""
FLAT = "stays flat: the floor's section does not turn within its width."
"""Note of a plate that was to be folded."""
WASHER_RATIO = 1.0
"""Room round a bolt's axis to the tube's foot and its weld, in bolt diameters (common practice:
the radius of a plain washer)."""

PLUG = "plug weld"


class FloorPlateSpec(Struct, frozen=True, kw_only=True):
    """A floor plate with every choice made; lengths mm, angles rad."""

    thickness: float
    material: str
    length: float
    width: float
    folding: Folding
    shift: tuple[float, float] = (0.0, 0.0)
    corner_radius: float = 12.0
    style: Literal["flat", "folded", "plinth"] = "flat"
    bolt: Fastener | None = None
    bolts: int = 4
    edge: float | None = None
    plugs: int = 0
    plug_diameter: float = 8.0
    backing: float = 0.0
    weld_leg: float = 4.0
    front: tuple[float, float] = (0.0, 0.0)
    rear: tuple[float, float] = (0.0, 0.0)

    @classmethod
    def of(
        cls, plate: FlatPlate, folding: Folding, thickness: float, units: Literal["mm", "in"]
    ) -> FloorPlateSpec:
        """Make the choices that a plate leaves open, flat and not shifted.

        Args:
            plate: the sizes.
            folding: what the brake does at that thickness.
            thickness: of the plate, mm.
            units: that decide over the usual bolt and steel.
        """
        backing = plate.fix == "bolted" and plate.backing is not False
        own = plate.backing_thickness or thickness
        return replace(
            cls.sized(plate, folding, thickness, units),
            backing=own if backing else 0.0,
            front=(plate.front_flange, plate.front_angle),
            rear=(plate.rear_flange, plate.rear_angle),
        )

    @classmethod
    def sized(
        cls,
        plate: FloorPlate,
        folding: Folding,
        thickness: float,
        units: Literal["mm", "in"] = "mm",
    ) -> FloorPlateSpec:
        """A plate of these sizes: flat, no backing, not shifted.

        Args:
            plate: the sizes.
            folding: what the brake does at that thickness.
            thickness: of the plate, mm.
            units: that decide over the usual bolt and steel.
        """
        bolted = plate.fix == "bolted"
        size = plate.bolt_size or PLATE_BOLT[units][0]
        return cls(
            thickness=thickness,
            material=plate.material or PLATE_STEEL[units],
            length=plate.length,
            width=plate.width,
            folding=folding,
            corner_radius=plate.corner_radius,
            bolt=_bolt(size, plate.bolt_grade or usual_grade(size)) if bolted else None,
            bolts=plate.bolts,
            edge=plate.edge,
            plugs=0 if bolted else plate.plugs,
            plug_diameter=plate.plug_diameter,
            weld_leg=plate.weld_leg,
        )


class FlatPattern(Struct, frozen=True, kw_only=True):
    """The flat pattern of a floor plate before holes: outline, folds and the flat under the foot.

    ``base`` is that flat as (x low, x high, y low, y high) mm; ``folded`` tells which of its four
    borders (rear, front, right, left) are folds.
    """

    outline: Outline
    folds: tuple[Fold, ...]
    base: tuple[float, float, float, float]
    folded: tuple[bool, bool, bool, bool]
    notes: tuple[str, ...] = ()


def _bolt(size: str, grade: str) -> Fastener:
    from cagekit.materials.fasteners import fastener

    return fastener(size, grade)


def floor_plate(plate_id: str, foot: Foot, spec: FloorPlateSpec) -> tuple[Plate, ...]:
    """Make the plate under a foot, and its backing plate when the spec asks for one.

    Args:
        plate_id: id of the plate.
        foot: the foot that stands on it.
        spec: its sizes.

    Raises:
        GeometryError: the foot hangs over the plate or a fold, or there is no room for the
            bolts; says how much is missing.
    """
    top = _layout(plate_id, foot, spec, contact="back", thickness=spec.thickness, drop=0.0)
    holes, bolts = _holes(plate_id, foot, spec, top)
    middle = Mark(kind="datum", line=_cross(foot.od * 0.2), text="middle of the tube")
    plate = Plate(
        id=plate_id,
        kind="floor_plate",
        thickness=spec.thickness,
        material=spec.material,
        outline=top.outline,
        holes=holes,
        folds=top.folds,
        marks=(Mark(kind="foot", line=foot.print, text=foot.name), middle),
        bolts=bolts,
        welds=_welds(foot, spec, top.outline, holes),
        placement=foot.frame,
        members=(foot.member,),
        ends=(f"{foot.member}.{foot.end}",),
        notes=top.notes,
    )
    _require_foot_clear(plate, foot)
    below = _backing(plate_id, foot, spec, holes, bolts) if spec.backing > 0 else None
    if spec.bolt is not None and plate.folds:
        plate, below = _with_face_bolts(plate, below, foot, spec, spec.bolt)
    return (plate,) if below is None else (plate, below)


def _with_face_bolts(
    plate: Plate, below: Plate | None, foot: Foot, spec: FloorPlateSpec, b: Fastener
) -> tuple[Plate, Plate | None]:
    """The plates with bolts in every folded face that is large enough for them."""
    from cagekit.plates.face_bolts import face_holes

    edge = EDGE_RATIO * b.diameter if spec.edge is None else spec.edge
    fold = b.clearance_hole / 2 + FOLD_CLEARANCE * spec.thickness
    size = (b.diameter, b.clearance_hole, edge, fold)
    pairs = face_holes(plate, below, foot.sheet, size)
    if not pairs:
        return plate, below
    first = len(plate.holes)
    bolts = (
        *plate.bolts,
        *(
            Bolt(hole=first + i, size=b.size, grade=b.grade, diameter=b.diameter)
            for i in range(len(pairs))
        ),
    )
    top = with_fields(plate, holes=(*plate.holes, *(h for h, _ in pairs)), bolts=bolts)
    if below is None:
        return top, None
    under = tuple(h for _, h in pairs if h is not None)
    return top, with_fields(below, holes=(*below.holes, *under), bolts=bolts)


def _backing(
    plate_id: str,
    foot: Foot,
    spec: FloorPlateSpec,
    holes: tuple[Hole, ...],
    bolts: tuple[Bolt, ...],
) -> Plate:
    """The plate on the other side of the sheet, its holes in line with the floor plate's."""
    name = plate_id.replace("foot_", "backing_", 1)
    if name == plate_id:
        name = f"{plate_id}_backing"
    below = _layout(
        name, foot, spec, contact="face", thickness=spec.backing, drop=spec.thickness + foot.sheet
    )
    sink = np.eye(4)
    sink[2, 3] = -(spec.thickness + foot.sheet)
    keep = tuple(h for h in holes if h.purpose is HolePurpose.BOLT)
    return Plate(
        id=name,
        kind="backing_plate",
        thickness=spec.backing,
        material=spec.material,
        outline=below.outline,
        holes=keep,
        folds=below.folds,
        bolts=bolts,
        placement=foot.frame @ sink,
        members=(foot.member,),
        notes=(f"goes under the sheet below {plate_id}", *below.notes),
    )


# -- outline -----------------------------------------------------------------------------------


def _layout(
    owner: str,
    foot: Foot,
    spec: FloorPlateSpec,
    *,
    contact: Literal["back", "face"],
    thickness: float,
    drop: float,
) -> FlatPattern:
    """Lay the plate flat: side folds from the section, then the flanges ahead and behind."""
    out = spec.shift[1] * foot.side
    wants = (spec.width / 2 - out, spec.width / 2 + out)
    if spec.style == "folded" and foot.profile:
        halves = _from_section(owner, foot, spec, wants, contact, thickness)
    else:
        halves = [HalfFlat(folds=(), end=w, base=w) for w in wants]
    right, left = halves
    x0, x1 = spec.shift[0] - spec.length / 2, spec.shift[0] + spec.length / 2
    return _pattern(owner, spec, (x0, x1), right, left, contact, thickness)


def _from_section(
    owner: str,
    foot: Foot,
    spec: FloorPlateSpec,
    wants: tuple[float, float],
    contact: Literal["back", "face"],
    thickness: float,
) -> list[HalfFlat]:
    pair = legs(foot.profile, -spec.thickness, owner)
    if contact == "face":
        pair = (under(pair[0], foot.sheet), under(pair[1], foot.sheet))
    halves = [
        flatten(leg, want, thickness, spec.folding, contact=contact, owner=owner)
        for leg, want in zip(pair, wants, strict=True)
    ]
    if not any(half.folds or half.notes for half in halves):
        halves[0] = replace(halves[0], notes=(FLAT,))
    return halves


def _pattern(
    owner: str,
    spec: FloorPlateSpec,
    span: tuple[float, float],
    right: HalfFlat,
    left: HalfFlat,
    contact: Literal["back", "face"],
    thickness: float,
) -> FlatPattern:
    """Outline and folds from the two halves and the end flanges."""
    x0, x1 = span
    y0, y1 = -right.end, left.end
    f, t = spec.folding, thickness
    folds = [_across(x0, x1, -q.at, q.angle, f, "side fold") for q in right.folds]
    folds += [_across(x0, x1, q.at, q.angle, f, "side fold") for q in left.folds]
    # end flanges hang on the base only: their sides keep clear of the side folds' bend zones
    inner0 = -right.base + (t if right.folds else 0.0)
    inner1 = left.base - (t if left.folds else 0.0)
    points: list[tuple[float, float]] = []
    base_x = [x0, x1]
    for end, (length, angle) in enumerate((spec.rear, spec.front)):
        x, sign = (x0, -1.0) if end == 0 else (x1, 1.0)
        if length <= 0:
            points += [(x, y1), (x, y0)] if end == 0 else [(x, y0), (x, y1)]
            continue
        if length < f.flange:
            raise GeometryError(
                owner,
                f"the {'front' if end else 'rear'} flange of {length:.1f} mm is shorter than the "
                f"{f.flange:.1f} mm that the brake holds.",
                "Make it longer or fold it on another tool.",
            )
        setback = (f.radius + (t if contact == "back" else 0.0)) * tan(angle / 2)
        width = bend_allowance(angle, f.radius, t, f.k)
        edge = x - sign * setback
        tip = edge + sign * (width + length - setback)
        middle = edge + sign * width / 2
        folds.append(
            Fold.along((middle, inner0), (middle, inner1), angle, f.radius, f.k, "end flange")
        )
        ring = [
            (edge, y0),
            (edge, inner0),
            (tip, inner0),
            (tip, inner1),
            (edge, inner1),
            (edge, y1),
        ]
        points += ring if end else ring[::-1]
        base_x[end] = edge
    kept = _distinct(points)
    # a rounding that reached into a bend zone would leave its ends slanting
    free = [spec.corner_radius]
    for half in (right, left):
        if half.folds:
            last = half.folds[-1]
            zone = bend_allowance(last.angle, f.radius, t, f.k) / 2
            free.append(half.end - last.at - zone - 0.5)
    for length, angle in (spec.rear, spec.front):
        if length > 0:
            back = f.radius + (t if contact == "back" else 0.0)
            free.append(length - back * tan(angle / 2) - 0.5)
    radii = _radii(kept, max(min(free), 0.0))
    return FlatPattern(
        outline=Outline.polygon(kept, radii, owner=owner),
        folds=tuple(folds),
        base=(base_x[0], base_x[1], -right.base, left.base),
        folded=(spec.rear[0] > 0, spec.front[0] > 0, bool(right.folds), bool(left.folds)),
        notes=(*right.notes, *left.notes),
    )


def _across(x0: float, x1: float, y: float, angle: float, f: Folding, name: str) -> Fold:
    return Fold.along((x0, y), (x1, y), angle, f.radius, f.k, name)


def _distinct(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Drop repeated corners and corners in the middle of a straight."""
    ring = [
        p
        for i, p in enumerate(points)
        if hypot(p[0] - points[i - 1][0], p[1] - points[i - 1][1]) > SAME_POINT
    ]
    out = []
    for i, p in enumerate(ring):
        a, b = ring[i - 1], ring[(i + 1) % len(ring)]
        turn = (p[0] - a[0]) * (b[1] - p[1]) - (p[1] - a[1]) * (b[0] - p[0])
        if abs(turn) > SAME_ANGLE:
            out.append(p)
    return out


def _radii(points: Sequence[tuple[float, float]], radius: float) -> list[float]:
    """The corner radius at outside corners as far as the sides allow; inside corners are sharp."""
    n = len(points)
    out = []
    for i, p in enumerate(points):
        a, b = points[i - 1], points[(i + 1) % n]
        turn = (p[0] - a[0]) * (b[1] - p[1]) - (p[1] - a[1]) * (b[0] - p[0])
        short = min(hypot(p[0] - a[0], p[1] - a[1]), hypot(b[0] - p[0], b[1] - p[1]))
        out.append(min(radius, 0.45 * short) if turn > 0 else 0.0)
    return out


# -- holes -------------------------------------------------------------------------------------


def _holes(
    owner: str, foot: Foot, spec: FloorPlateSpec, flat: FlatPattern
) -> tuple[tuple[Hole, ...], tuple[Bolt, ...]]:
    if spec.bolt is not None:
        b = spec.bolt
        edge = EDGE_RATIO * b.diameter if spec.edge is None else spec.edge
        room = foot.od / 2 + spec.weld_leg + WASHER_RATIO * b.diameter
        spots = _spots(flat, spec.bolts, edge, b.clearance_hole / 2, spec.thickness)
        _require_room(owner, foot, spots, room, edge, b.size)
        holes = tuple(Hole.circle(p, b.clearance_hole, HolePurpose.BOLT) for p in spots)
        bolts = tuple(
            Bolt(hole=i, size=b.size, grade=b.grade, diameter=b.diameter) for i in range(len(holes))
        )
        return holes, bolts
    if not spec.plugs:
        return (), ()
    d = spec.plug_diameter
    edge = spec.edge if spec.edge is not None else EDGE_RATIO * d
    spots = _spots(flat, spec.plugs, edge, d / 2, spec.thickness)
    _require_room(owner, foot, spots, foot.od / 2 + spec.weld_leg + d / 2, edge, PLUG)
    return tuple(Hole.circle(p, d, HolePurpose.PLUG) for p in spots), ()


def _spots(
    flat: FlatPattern, count: int, edge: float, radius: float, thickness: float
) -> list[tuple[float, float]]:
    """Spread holes over the flat under the foot: corners first, then along its longer sides."""
    rows = list(flat.base)
    for i, (sign, folded) in enumerate(zip((1, -1, 1, -1), flat.folded, strict=True)):
        rows[i] += sign * (radius + FOLD_CLEARANCE * thickness if folded else edge)
    x0, x1, y0, y1 = rows
    xm, ym = (x0 + x1) / 2, (y0 + y1) / 2
    along = x1 - x0 >= y1 - y0
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    middles = [(xm, y0), (xm, y1)] if along else [(x0, ym), (x1, ym)]
    others = [(x0, ym), (x1, ym)] if along else [(xm, y0), (xm, y1)]
    match count:
        case 2:
            return others
        case 3:
            return [corners[0], corners[3], (x1, ym)] if along else [*corners[:2], (xm, y1)]
        case 4:
            return corners
        case 5:
            return [*corners, others[1]]
        case 6:
            return [*corners, *middles]
        case 7:
            return [*corners, *middles, others[1]]
        case _:
            ring = [*corners, *middles, *others]
            return ring if count == 8 else _ring(x0, x1, y0, y1, count)


def _ring(x0: float, x1: float, y0: float, y1: float, count: int) -> list[tuple[float, float]]:
    """Holes at equal steps round a rectangle, from a corner."""
    sides = (x1 - x0, y1 - y0)
    total = 2 * sum(sides)
    out = []
    for i in range(count):
        s = total * i / count
        if s < sides[0]:
            out.append((x0 + s, y0))
        elif s < sum(sides):
            out.append((x1, y0 + s - sides[0]))
        elif s < 2 * sides[0] + sides[1]:
            out.append((x1 - (s - sum(sides)), y1))
        else:
            out.append((x0, y1 - (s - 2 * sides[0] - sides[1])))
    return out


def _require_room(
    owner: str,
    foot: Foot,
    spots: Sequence[tuple[float, float]],
    room: float,
    edge: float,
    what: str,
) -> None:
    beside, fewer = "weld and washer", "fewer or thinner bolts"
    if what == PLUG:
        beside, fewer = "fillet and plug", "fewer or smaller plug welds"
    nearest = min(hypot(x, y) for x, y in spots)
    gap = float(foot.print.distance(np.array(spots)).min()) + foot.od / 2
    inside = bool(foot.print.contains(np.array(spots)).any())
    if inside or min(nearest, gap) < room - SAME_POINT:
        raise GeometryError(
            owner,
            f"no room for {len(spots)} x {what} beside the foot of {foot.name}: the nearest hole "
            f"is {min(nearest, gap):.1f} mm from its axis, tube, {beside} need {room:.1f} mm.",
            f"Use a larger plate or less from hole to edge (`edge`, {edge:.1f} mm), or {fewer}.",
        )


def _require_foot_clear(plate: Plate, foot: Foot) -> None:
    low, high = foot.print.box
    for b in plate.bends:
        first, last = b.loop.box
        if (first > high).any() or (last < low).any():
            continue
        edge = foot.print.sampled(1.0)
        if b.loop.contains(edge).any():
            over = float(b.loop.distance(edge[b.loop.contains(edge)]).max())
            raise GeometryError(
                plate.id,
                f"the foot of {foot.name} stands {over:.1f} mm into the bend zone of fold "
                f"{b.fold + 1} ({degrees(plate.folds[b.fold].angle):.0f} degrees).",
                "Move the foot off the fold, or use a flat plate there.",
            )


def _welds(
    foot: Foot, spec: FloorPlateSpec, outline: Outline, holes: tuple[Hole, ...]
) -> tuple[PlateWeld, ...]:
    out = [PlateWeld(to=foot.name, length=foot.weld_length, leg=spec.weld_leg)]
    if spec.bolt is None:
        out.append(
            PlateWeld(to="car", length=outline.length, leg=min(spec.weld_leg, foot.sheet * 1.5))
        )
        plugs = [h for h in holes if h.purpose is HolePurpose.PLUG]
        if plugs:
            length = sum(pi * h.diameter for h in plugs)
            out.append(PlateWeld(to="car", length=length, kind="plug", leg=foot.sheet))
    return tuple(out)


def _cross(size: float) -> Outline:
    """A datum cross drawn in one stroke."""
    s = size
    return Outline(
        np.array([[-s, 0.0], [s, 0.0], [0.0, 0.0], [0.0, s], [0.0, -s]]), np.zeros(5), closed=False
    )

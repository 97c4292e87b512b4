"""``cage.json``: members with their paths and copes, joints and plates as plain data.

mm and degrees at this border, vehicle axes. Lengths are rounded to 1e-6 mm, directions to 1e-12,
angles to 1e-9 degrees; equal cages give equal bytes. The schema lies in ``cagekit/data``.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from math import degrees
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from cagekit.cage.bolted import ClevisJoint, PlugJoint, SleeveJoint
from cagekit.cage.member import EndKind, EndName, Member
from cagekit.geometry.arrays import Points2
from cagekit.geometry.centre_line import Arc, CentreLine, PathPiece
from cagekit.geometry.end_cut import in_step

if TYPE_CHECKING:
    from cagekit.cage.bolted import BoltedJoint, BoltedTube
    from cagekit.cage.cage import Cage, Joint
    from cagekit.cage.door import Lug, SmallPart, Stage, SwingDoor, SwingJoint
    from cagekit.cage.plate import Pin, Plate, PlateWeld
    from cagekit.design import Design
    from cagekit.geometry.drill import Drill
    from cagekit.geometry.outline import Outline

SCHEMA_VERSION = 1
CLEVIS_SIZES = ("eye", "cheek", "slot", "width", "stand", "collar", "spigot", "spigot_od")
PLUG_SIZES = (
    "mouth", "taper", "nose", "nose_od", "fit", "deep", "seat", "collar", "spigot", "spigot_od",
)  # fmt: skip
CURVE_WITHIN = 0.015
"""Straight lines between the points of a cope curve leave the cut by no more than this, mm."""

Copes: TypeAlias = Mapping[tuple[str, EndName], tuple[Points2, Points2]]
"""Outside and inside curve of ends, by tube and end: rows of phi (rad) and s (mm)."""


def write_cage(design: Design, folder: Path) -> None:
    """Write ``cage.json``."""
    text = dumps(cage_dict(design.cage))
    (folder / "cage.json").write_text(text, encoding="utf-8", newline="\n")


def cage_dict(cage: Cage) -> dict[str, Any]:
    """Return the cage as JSON values, by the contract."""
    copes = _copes(cage)
    return {
        "schema": SCHEMA_VERSION,
        "units": "mm",
        "name": cage.name,
        "members": [_member_dict(cage, m, copes) for m in cage.members.values()],
        "joints": [joint_dict(j) for j in cage.joints],
        "plates": [plate_dict(p) for p in cage.plates],
        **({"chassis": [_chassis_dict(m) for m in cage.chassis.values()]} if cage.chassis else {}),
        **({"parts": [part_dict(p) for p in cage.hardware]} if cage.hardware else {}),
        **({"doors": [door_dict(cage, d) for d in cage.doors]} if cage.doors else {}),
        **({"bolted": [bolted_dict(t) for t in cage.bolted]} if cage.bolted else {}),
    }


def _tube_dict(member: Member) -> dict[str, Any]:
    return {
        "od": _mm(member.tube.od),
        "wall": _mm(member.tube.wall),
        "material": member.tube.material,
        "name": member.tube.name,
    }


def _chassis_dict(member: Member) -> dict[str, Any]:
    """Return a tube of the car's own frame: where it lies and how thick it is."""
    path = path_list(member.path)
    return {"id": member.id, "side": member.side, "tube": _tube_dict(member), "path": path}


def _copes(cage: Cage) -> Copes:
    """The cope curves of all ends that sit on something, followed side by side."""
    ends = [
        (member.id, name)
        for member in cage.members.values()
        for name, end in member.ends
        if end.kind is EndKind.COPE or end.plane is not None
    ]
    cuts = [cage.cut(*end) for end in ends]
    curves = in_step(
        [c.fine_curve(r, CURVE_WITHIN) for c in cuts for r in (c.outer_radius, c.inner_radius)]
    )
    return dict(zip(ends, zip(curves[::2], curves[1::2], strict=True), strict=True))


def _member_dict(cage: Cage, member: Member, copes: Copes) -> dict[str, Any]:
    """Return one member: tube, path up to the theoretical ends, ends with their cope curves."""
    return {
        "id": member.id,
        "role": member.role,
        "side": member.side,
        "tube": _tube_dict(member),
        "path": path_list(member.path),
        "ends": {name: _end(cage, member, name, copes) for name, _ in member.ends},
        "cut_length": _mm(cage.cut_length(member.id)),
        "mass_kg": _round(cage.mass(member.id), 9),
        "volume": _round(cage.volume(member.id), 6),
    }


def path_list(path: CentreLine) -> list[dict[str, Any]]:
    """Return the pieces in order from end a to end b."""
    return [_piece(p) for p in path.pieces]


def _piece(piece: PathPiece) -> dict[str, Any]:
    ends = {"start": _point(piece.start), "end": _point(piece.end)}
    if not isinstance(piece, Arc):
        return {"kind": "line", **ends}
    return {
        "kind": "arc",
        **ends,
        "centre": _point(piece.centre),
        "axis": _direction(piece.axis),
        "radius": _mm(piece.radius),
        "angle_deg": _round(degrees(piece.angle), 9),
    }


def _end(cage: Cage, member: Member, name: EndName, copes: Copes) -> dict[str, Any]:
    end = member.end(name)
    out: dict[str, Any] = {"kind": str(end.kind), "parents": list(end.parents)}
    if end.plane is not None:
        out["plane"] = {
            "point": _point(end.plane.point),
            "normal": _direction(end.plane.normal),
        }
    if (member.id, name) in copes:
        cut = cage.cut(member.id, name)
        outer, inner = copes[member.id, name]
        out |= {
            "point": _point(cut.point),
            "out": _direction(cut.out),
            "zero": _direction(cut.zero),
            "outer": _curve(outer),
            "inner": _curve(inner),
        }
    return out


def _curve(curve: ArrayLike) -> list[list[float]]:
    """Return a curve ``(n, 2)`` of phi (rad) and s (mm) as rows of degrees and mm."""
    rows = np.asarray(curve, float)
    rows = np.asarray(curve, float).tolist()
    return [[_round(degrees(phi), 9), _mm(s)] for phi, s in rows]


def joint_dict(joint: Joint) -> dict[str, Any]:
    """Return one joint."""
    return {
        "id": joint.id,
        "branch": joint.branch,
        "branch_end": joint.branch_end,
        "parents": list(joint.parents),
        "point": _point(joint.point),
        "angle_deg": _round(degrees(joint.angle), 9),
        "offset": _mm(joint.offset),
        "weld_length": _mm(joint.weld_length),
    }


def plate_dict(plate: Plate) -> dict[str, Any]:
    """Return one plate: flat pattern, holes and folds in its own plane, and its placement."""
    return {
        "id": plate.id,
        "kind": plate.kind,
        "thickness": _mm(plate.thickness),
        "material": plate.material,
        "quantity": plate.quantity,
        "outline": _loop(plate.outline),
        "holes": [
            {
                "purpose": str(hole.purpose),
                "diameter": _mm(hole.diameter),
                "round": hole.round_,
                "outline": _loop(hole.loop),
            }
            for hole in plate.holes
        ],
        "folds": [
            {
                "start": _point(fold.start),
                "end": _point(fold.end),
                "angle_deg": _round(degrees(fold.angle), 9),
                "inside_radius": _mm(fold.inside_radius),
                "k": _round(fold.k, 9),
            }
            for fold in plate.folds
        ],
        "placement": [[*_direction(row[:3]), _mm(row[3])] for row in plate.placement],
        "members": list(plate.members),
        **({"pins": [_pin(plate, p) for p in plate.pins]} if plate.pins else {}),
        **({"welds": [_weld(w) for w in plate.welds]} if plate.welds else {}),
        "mass_kg": _round(plate.mass, 9),
        "volume": _round(plate.volume, 6),
    }


def _pin(plate: Plate, pin: Pin) -> dict[str, Any]:
    """Return a pin with the distances round its hole, in the letters of AISC 360 D5."""
    ear = plate.ear(pin)
    return {
        "hole": pin.hole,
        "diameter": _mm(pin.diameter),
        "shear_planes": pin.shear_planes,
        "load": _direction(pin.load),
        "grade": pin.grade,
        "grip": _mm(pin.grip),
        "ear": {"a": _mm(ear.a), "width": _mm(ear.width), "side": _mm(ear.side)},
    }


def _weld(weld: PlateWeld) -> dict[str, Any]:
    """Return a weld on a plate."""
    return {
        "to": weld.to,
        "kind": weld.kind,
        "length": _mm(weld.length),
        "leg": _mm(weld.leg),
    }


def part_dict(part: SmallPart) -> dict[str, Any]:
    """Return one small part: its stages one on another along z of its placement."""
    return {
        "id": part.id,
        "kind": part.kind,
        "material": part.material,
        "size": part.size,
        "bore": _mm(part.bore),
        "stages": [_stage(s) for s in part.stages],
        **({"hollow": [_stage(s) for s in part.hollow]} if part.hollow else {}),
        "placement": [[*_direction(row[:3]), _mm(row[3])] for row in part.frame],
        "welded_to": part.welded_to,
        **({"drills": [_drill(d) for d in part.drills]} if part.drills else {}),
        **({"lugs": [_lug(g) for g in part.lugs]} if part.lugs else {}),
        "mass_kg": _round(part.mass, 9),
        "volume": _round(part.volume, 6),
    }


def _stage(stage: Stage) -> dict[str, Any]:
    """A stretch of a part: its section where it begins, its diameter at the end of a taper."""
    return {
        "length": _mm(stage.length),
        "outline": _loop(stage.outline),
        **({"end_diameter": _mm(stage.end)} if stage.end else {}),
    }


def _lug(lug: Lug) -> dict[str, Any]:
    """A flat on the last stage: its faces along x, what stands along y and z, the hole across."""
    return {
        "low": _mm(lug.low),
        "high": _mm(lug.high),
        "width": _mm(lug.width),
        "stand": _mm(lug.stand),
        "hole": _mm(lug.hole),
    }


def door_dict(cage: Cage, door: SwingDoor) -> dict[str, Any]:
    """Return one swing-out bar: the bar as fitted, its cuts, hinge axis and what pins need."""
    return {
        "id": door.bar,
        "pieces": list(door.pieces),
        "fitted": {"id": door.fitted.id, "path": path_list(door.fitted.path)},
        "open_angle_deg": _round(degrees(door.open_angle), 9),
        "axis": {"point": _point(door.hinge.origin), "direction": _direction(door.hinge.pin)},
        "plates": list(door.plates),
        "parts": list(door.hardware),
        "joints": [joint_sizes(j, cage.member(door.bar).tube.outer_radius) for j in door.joints],
    }


def _drill(drill: Drill) -> dict[str, Any]:
    """A hole right through a part."""
    return {
        "diameter": _mm(2 * drill.radius),
        "point": _point(drill.point),
        "direction": _direction(drill.axis),
    }


def bolted_dict(tube: BoltedTube) -> dict[str, Any]:
    """Return one tube with bolted joints: the whole tube, its pieces, each joint in numbers."""
    return {
        "id": tube.fitted.id,
        "pieces": list(tube.pieces),
        "path": path_list(tube.fitted.path),
        "parts": list(tube.hardware),
        "joints": [_bolted_joint(j) for j in tube.joints],
    }


def _bolted_joint(j: BoltedJoint) -> dict[str, Any]:
    return {
        "id": j.id,
        "kind": j.kind,
        "cut_station": _mm(j.station),
        "cut_gap": _mm(j.gap),
        "od": _mm(j.od),
        "bolt_size": j.size.size,
        "bolt_grade": j.grade,
        "bolt_length": _mm(j.bolt_length),
        "bolts": [_mm(x) for x in j.bolts],
        "hole": _mm(j.size.sleeve_bore),
        "grip": _mm(j.grip),
        "direction": _direction(j.across),
        **_own_sizes(j),
    }


def _own_sizes(j: BoltedJoint) -> dict[str, Any]:
    """What only its kind of joint has."""
    if isinstance(j, SleeveJoint):
        bush = (j.size.sleeve_od, j.size.sleeve_bore, j.bush_length)
        return {
            "bore": _mm(j.bore),
            "length": _mm(j.length),
            "bush": [_mm(x) for x in bush],
            "slides": j.slides,
        }
    if isinstance(j, PlugJoint):
        return {"socket": j.socket, **{name: _mm(getattr(j, name)) for name in PLUG_SIZES}}
    assert isinstance(j, ClevisJoint)
    return {"fork": j.fork, **{name: _mm(getattr(j, name)) for name in CLEVIS_SIZES}}


def joint_sizes(joint: SwingJoint, radius: float) -> dict[str, Any]:
    """Return one joint of a swing-out bar in numbers."""
    s = joint.spec
    return {
        "name": joint.name,
        "end": joint.end,
        "stub": joint.stub,
        "design": s.design,
        "cut_station": _mm(joint.cut_station),
        "cut_gap": _mm(joint.gap),
        "relief_deg": _round(degrees(joint.relief), 9),
        "pin_offset": _mm(joint.pin_offset),
        "pin": s.pin_kind,
        "pin_size": s.pin.size,
        "pin_diameter": _mm(s.pin.diameter),
        "pin_length": _mm(joint.pin_length),
        "grip": _mm(s.grip(radius)),
        "shear_planes": 2,
        "hole": _mm(s.hole),
        "side_play": _mm(s.side_play),
        "thickness": _mm(s.thickness),
        "ear": _mm(s.ear),
        "sleeve": [_mm(s.sleeve_od), _mm(s.sleeve_bore), _mm(s.sleeve_length(radius))],
        "drill": {
            "diameter": _mm(s.sleeve_od),
            "point": _point(joint.origin),
            "direction": _direction(joint.pin),
        },
    }


def _loop(outline: Outline) -> list[dict[str, Any]]:
    """Return a closed loop as lines and arcs in the plate's plane; angles turn anticlockwise."""
    out: list[dict[str, Any]] = []
    for s in outline:
        row: dict[str, Any] = {
            "kind": "arc" if s.is_arc else "line",
            "start": _point(s.start),
            "end": _point(s.end),
        }
        if s.is_arc:
            row |= {
                "centre": _point(s.centre),
                "radius": _mm(s.radius),
                "angle_deg": _round(degrees(s.sweep), 9),
            }
        out.append(row)
    return out


def dumps(value: Any, indent: int = 1) -> str:
    """Return JSON with one line per row of numbers, so that a person can read and compare it."""
    return _text(value, 0, indent) + "\n"


_plain = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode
"""A value on one line."""


def _text(value: Any, depth: int, indent: int) -> str:
    pad, end = "\n" + " " * indent * (depth + 1), "\n" + " " * indent * depth
    if isinstance(value, Mapping):
        if not value or _flat(value.values()):
            return _plain(value)
        rows = [f"{_plain(str(k))}: {_text(v, depth + 1, indent)}" for k, v in value.items()]
        return "{" + pad + ("," + pad).join(rows) + end + "}"
    if isinstance(value, list | tuple):
        if not value or _flat(value):
            return _plain(value)
        return "[" + pad + ("," + pad).join(_text(v, depth + 1, indent) for v in value) + end + "]"
    return _plain(value)


def _flat(values: Iterable[Any]) -> bool:
    """Whether values are scalars or short rows of scalars (a point)."""
    for v in values:
        if isinstance(v, list | tuple):
            if len(v) > 3 or any(_holds_more(x) for x in v):
                return False
        elif _holds_more(v):
            return False
    return True


def _holds_more(value: Any) -> bool:
    # most values are numbers, and to be no mapping takes longest to find out
    return type(value) is not float and isinstance(value, Mapping | list | tuple)


def _round(value: float, digits: int) -> float:
    return round(float(value), digits) + 0.0  # no minus zero


def _mm(value: float) -> float:
    return _round(value, 6)


def _point(value: ArrayLike) -> list[float]:
    return [_mm(x) for x in np.asarray(value, float)]


def _direction(value: ArrayLike) -> list[float]:
    return [_round(x, 12) for x in np.asarray(value, float)]

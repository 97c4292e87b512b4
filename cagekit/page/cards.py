"""What the page tells of a tube, a plate or a small part: texts in the design's units."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from math import degrees
from typing import TYPE_CHECKING, Any

import numpy as np

from cagekit.cage.colours import FAMILIES, member_colour
from cagekit.cage.kept import Same
from cagekit.cage.member import EndKind
from cagekit.errors import CopeError
from cagekit.geometry.centre_line import Arc, CentreLine
from cagekit.names import in_words, named
from cagekit.units import format_angle, format_length, format_mass, lengths_in

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage, Joint
    from cagekit.cage.member import Member
    from cagekit.cage.plate import Plate
    from cagekit.design import Design
    from cagekit.units import LengthUnit

ARC_STEP = np.radians(2.0)
"""Turn between two points of a bend's centre line; the chord lies within 0.03 mm of it."""

Rows = list[list[str]]
WEIGHING = "being weighed ..."
MASS_ROW = 4
"""Place of a tube's mass among its rows."""


def member_card(design: Design, member: Member) -> dict[str, Any]:
    """Name, rows and centre line of a tube; all but its mass."""
    cage, units = design.cage, design.units
    family = member_colour(member)
    return {
        "title": named(member.id),
        "layer": named(member.role),
        "family": next((n for n, colour in FAMILIES if colour == family), "other"),
        "rows": _member_rows(cage, member, units),
        "axis": axis_points(member.path),
        "radius": member.tube.outer_radius,
        "cuts": [round(cage.cut(member.id, n).bound, 1) for n, _ in member.ends],
        "cut": format_length(cage.cut_length(member.id), units),
        "tube": _tube(member, units),
        "bends": sum(isinstance(p, Arc) for p in member.path.pieces),
        "names": list(member.names),
    }


def _member_rows(cage: Cage, m: Member, units: LengthUnit) -> Rows:
    rows = [
        ["Role", named(m.role)],
        ["Tube", _tube(m, units)],
        ["Material", m.tube.material],
        ["Cut length", _cut_length(cage, m, units)],
        ["Bends", _bends(m.path, units)],
    ]
    if m.piece:
        rows.append(["Piece", f"{m.piece} of {named(m.bar)}"])
    rows += [[f"End {name.upper()}", _end(cage, m, name)] for name in ("a", "b")]
    carried = [f"{named(j.branch)} ({j.id})" for j in cage.children(m.id)]
    rows.append(["Carries", ", ".join(carried) or "no other tube"])
    return rows


def _cut_length(cage: Cage, m: Member, units: LengthUnit) -> str:
    """As finished; what a bender draws a tube out by is in the blank's length alone."""
    length = format_length(cage.cut_length(m.id), units)
    bent = any(isinstance(p, Arc) for p in m.path.pieces)
    return f"{length} as finished; saw the blank by the bend sheet" if bent else length


def _tube(m: Member, units: LengthUnit) -> str:
    od, wall = (format_length(x, units, unit=False) for x in (m.tube.od, m.tube.wall))
    return f"{od} × {wall} {units}"


def _bends(path: CentreLine, units: LengthUnit) -> str:
    arcs = [p for p in path.pieces if isinstance(p, Arc)]
    if not arcs:
        return "none, straight"
    turns = ", ".join(format_angle(a.angle) for a in arcs)
    radii = sorted({format_length(a.radius, units) for a in arcs})
    return f"{len(arcs)}: {turns}; centre-line radius {', '.join(radii)}"


def _end(cage: Cage, m: Member, name: str) -> str:
    end = m.end(name)
    if end.kind is not EndKind.COPE:
        foot = f" on {named(end.foot.replace('.', ' '))}" if end.foot else ""
        return f"{end.kind.value}{foot}"
    joint = next(j for j in cage.joints if j.branch == m.id and j.branch_end == name)
    on = " and ".join(named(p) for p in joint.parents)
    off = "" if joint.concentric else ", axes do not meet"
    return f"coped to {on} at {format_angle(joint.angle)} ({joint.id}{off})"


def axis_points(path: CentreLine) -> list[list[float]]:
    """Points of the centre line from end to end, mm; on bends every 2 degrees."""
    points = [path.start]
    for piece in path.pieces:
        n = max(1, int(np.ceil(piece.angle / ARC_STEP))) if isinstance(piece, Arc) else 1
        points += [piece.point(piece.length * k / n) for k in range(1, n + 1)]
    return [[round(float(x), 3) for x in p] for p in points]


def plate_card(plate: Plate, units: LengthUnit) -> dict[str, Any]:
    """Name and rows of a plate."""
    folds = ", ".join(f"{degrees(f.angle):.4g}°" for f in plate.folds)
    rows = [
        ["Kind", named(plate.kind)],
        ["Thickness", format_length(plate.thickness, units)],
        ["Material", plate.material],
        ["Folds", folds or "none, flat"],
        ["Holes", str(len(plate.holes))],
        ["Mass", format_mass(plate.mass, units)],
        ["On", ", ".join(named(m) for m in plate.members) or "-"],
    ]
    if plate.notes:
        rows.append(["Note", "; ".join(lengths_in(in_words(n), units) for n in plate.notes)])
    return {"title": named(plate.id), "layer": "plates", "rows": rows, "names": [plate.id]}


def told_mass(mass: Callable[[], float], units: LengthUnit) -> str:
    """A mass, or that there is none: of a tube that its cuts part, which the checks tell.

    Args:
        mass: works it out, kg.
        units: of the page.
    """
    try:
        return format_mass(mass(), units)
    except CopeError:
        return "no mass, as its cuts part it"


def _weighed(card: dict[str, Any], mass: str) -> dict[str, Any]:
    rows = card["rows"]
    return card | {"mass": mass, "rows": [*rows[:MASS_ROW], ["Mass", mass], *rows[MASS_ROW:]]}


def cards(design: Design, *, weighed: bool = True) -> Mapping[str, dict[str, Any]]:
    """Every card by the id of its body; tubes are weighed, or said to be later."""
    cage, units = design.cage, design.units
    keep = cage.kept.once
    touching: dict[str, list[Joint]] = {i: [] for i in cage.tubes}
    for joint in cage.joints:
        for i in dict.fromkeys((joint.branch, *joint.parents)):
            touching[i].append(joint)
    out: dict[str, dict[str, Any]] = {}
    for m in cage.members.values():
        cuts = (Same(cage.cut(m.id, "a")), Same(cage.cut(m.id, "b")))
        key = ("card", m, units, cuts, tuple(touching[m.id]))
        mass = told_mass(partial(cage.mass, m.id), units) if weighed else WEIGHING
        out[m.id] = _weighed(keep(key, partial(member_card, design, m)), mass)
    for p in cage.plates:
        out[p.id] = keep(("card", p, units), partial(plate_card, p, units))
    for part in cage.hardware:
        rows = [["Kind", named(part.kind)], ["Size", part.size_in(units) or "-"]]
        rows.append(["Material", part.material])
        out[part.id] = {
            "title": named(part.id), "layer": "pins, sleeves, washers", "rows": rows,
            "names": [part.id],
        }  # fmt: skip
    return out

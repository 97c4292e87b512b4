"""The fitted bar divided: two standing stubs and the bar that swings between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import atan, ceil, cos, hypot, sin
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from cagekit.cage.door import BracketSpec, JointName, SmallPart, SwingDoor, SwingJoint
from cagekit.cage.kept import Kept
from cagekit.cage.member import End, EndKind, EndName, Member, Plane
from cagekit.cage.plate import Plate
from cagekit.errors import GeometryError, about
from cagekit.geometry.centre_line import Arc, Vec, unit, vec
from cagekit.geometry.drill import Drill
from cagekit.inputs.entries import DoorBarEntry
from cagekit.inputs.plate import PlateEntry
from cagekit.swing.brackets import brackets
from cagekit.swing.hardware import choose_pin, hardware
from cagekit.swing.idle import JOINTS, require_fields_act
from cagekit.swing.relief import relief_lean
from cagekit.swing.spec import bracket_entry, bracket_spec, last_said, require_known

if TYPE_CHECKING:
    from cagekit.inputs.build import Build
    from cagekit.inputs.tooling import Tooling

FITTED = "_fitted"
"""Suffix of the whole bar, as it is fitted before it is cut."""
ROUND_UP = 0.5
"""Pin offsets are rounded up to this, mm."""


class Divided(Struct, frozen=True, kw_only=True, eq=False):
    """A divided bar: pieces from end a to end b, the door, its bracket plates and small parts."""

    pieces: tuple[Member, Member, Member]
    door: SwingDoor
    plates: tuple[Plate, ...]
    hardware: tuple[SmallPart, ...]


class SawCut(Struct, frozen=True, eq=False):
    """A saw cut through a tube: stations of its two sides, mm, and the faces that it leaves."""

    low: float
    high: float
    before: Plane
    after: Plane


def cut_apart(
    bar: Member, cuts: Sequence[SawCut], names: Sequence[tuple[str, str]]
) -> tuple[Member, ...]:
    """The pieces of a tube from end a to end b; each end at a cut is held by what joins it.

    Args:
        bar: the whole tube.
        cuts: in order along it.
        names: id and word of each piece.
    """
    stops = [0.0, *(s for c in cuts for s in (c.low, c.high)), bar.path.length]
    ends = [bar.a]
    for cut in cuts:
        ends += [End(kind=EndKind.PINNED, plane=p) for p in (cut.before, cut.after)]
    ends.append(bar.b)
    return tuple(
        replace(
            bar, id=id_, piece=word, path=bar.path.part(stops[2 * i], stops[2 * i + 1]),
            a=ends[2 * i], b=ends[2 * i + 1],
        )
        for i, (id_, word) in enumerate(names)
    )  # fmt: skip


def divide_all(
    build: Build, members: dict[str, Member], kept: Kept | None = None
) -> tuple[Divided, ...]:
    """Divide every bar of a build that swings out; one divided before is found in ``kept``.

    Args:
        build: the build, with car, tooling and presets.
        members: all of the cage, by id.
        kept: bars from before.

    Raises:
        InputError: a bracket entry names no bar or no pin, or says what nothing is made of.
        GeometryError: a bar cannot be divided; says which, why and what would do.
    """
    bars = [m for m in members.values() if m.swing is not None]
    entries = build.plates
    require_known(entries, bars, build.name)
    if build.as_written:  # what acted on a bar that is left out is no slip
        require_fields_act(build, bars)
    found = {e.id: e for e in build.entries if isinstance(e, DoorBarEntry)}
    call = (Kept() if kept is None else kept).call
    return tuple(
        call(divide, bar, found.get(bar.entry), entries, build.tooling, build.units) for bar in bars
    )


def divide(
    bar: Member,
    entry: DoorBarEntry | None,
    entries: tuple[PlateEntry, ...] = (),
    tooling: Tooling | None = None,
    units: str = "mm",
) -> Divided:
    """Divide one bar with a `Swing` and make its brackets.

    Args:
        bar: the fitted bar.
        entry: cut, tilt and opening as typed; the usual ones without.
        entries: plate entries of the build, for the brackets.
        tooling: the shop.
        units: the build's, ``mm`` or ``in``.
    """
    swing = bar.swing
    assert swing is not None
    how = entry or DoorBarEntry(kind="door_bar", id=bar.id, swing_out=True)
    radius = bar.tube.outer_radius
    said = {name: last_said(entries, bar, name) for name in JOINTS}
    specs: dict[JointName, BracketSpec] = {}
    for name in JOINTS:
        with about(said[name]):
            one = bracket_entry(entries, bar, name, units, tooling)
            specs[name] = bracket_spec(f"{bar.id} {name}", one, name, radius, tooling, units)
    latch_end: EndName = "a" if swing.hinge_end == "b" else "b"
    with about(said["hinge"]):
        hinge = _joint(bar, "hinge", swing.hinge_end, swing.hinge_cut, specs["hinge"], how, None)
    with about(said["latch"]):
        latch = _joint(bar, "latch", latch_end, swing.latch_cut, specs["latch"], how, hinge)
    low, high = sorted((hinge, latch), key=lambda j: j.cut_station)
    _require_between(bar, low, high)
    drills = tuple(
        Drill(point=j.origin, axis=j.pin, along=j.along, radius=j.spec.sleeve_od / 2)
        for j in (hinge, latch)
    )
    stub_a, middle, stub_b = cut_apart(
        bar,
        (
            SawCut(low.cut_station, low.cut_station + low.gap, low.stub_face, low.face),
            SawCut(high.cut_station - high.gap, high.cut_station, high.face, high.stub_face),
        ),
        ((low.stub, f"{low.name} stub"), (bar.id, "swinging"), (high.stub, f"{high.name} stub")),
    )
    stub_a, stub_b = replace(stub_a, swing=None), replace(stub_b, swing=None)
    middle = replace(middle, drills=drills)
    plates: list[Plate] = []
    for joint in (hinge, latch):
        with about(said[joint.name]):
            plates += brackets(bar.id, joint, radius)
    parts = tuple(p for j in (hinge, latch) for p in hardware(bar.id, j, radius, bar.tube.material))
    door = SwingDoor(
        bar=bar.id,
        fitted=replace(bar, id=bar.id + FITTED),
        pieces=(low.stub, bar.id, high.stub),
        hinge=hinge,
        latch=latch,
        open_angle=float(how.open_angle),
        plates=tuple(p.id for p in plates),
        hardware=tuple(p.id for p in parts),
    )
    return Divided(pieces=(stub_a, middle, stub_b), door=door, plates=tuple(plates), hardware=parts)


def _require_between(bar: Member, low: SwingJoint, high: SwingJoint) -> None:
    start, end = low.cut_station + low.gap, high.cut_station - high.gap
    need = low.pin_offset + high.pin_offset + low.spec.ear + high.spec.ear
    if end - start < need:
        raise GeometryError(
            bar.id,
            f"between its cuts {end - start:.0f} mm of bar are left, the two joints alone take "
            f"{need:.0f} mm.",
            "Cut nearer to the ends (`cut_front`, `cut_rear`).",
        )


def _joint(
    bar: Member,
    name: JointName,
    end: EndName,
    station: float,
    spec: BracketSpec,
    how: DoorBarEntry,
    hinge: SwingJoint | None,
) -> SwingJoint:
    radius, gap = bar.tube.outer_radius, float(how.cut_gap)
    owner = f"{bar.id} {name}"
    offset = _pin_offset(name, spec, radius, gap)
    inward = 1.0 if end == "a" else -1.0
    pin_station = station + inward * offset
    _require_straight(bar, owner, end, station, pin_station, spec)
    origin = bar.path.spot(pin_station).point
    along = vec(inward * bar.path.spot(station).tangent)
    out = _outward(bar, along, float(how.pin_tilt)) if hinge is None else _follow(along, hinge)
    pin = vec(np.cross(along, out))
    face = bar.path.spot(station).point
    pivot, axis = (offset, 0.0, 0.0), (0.0, 0.0, 1.0)
    if hinge is not None:
        pivot, axis = (
            (float(v @ along), float(v @ out), float(v @ pin))
            for v in (hinge.origin - face, hinge.pin)
        )
    lean = relief_lean(
        owner,
        gap=gap,
        clearance=min(spec.clearance, gap),
        radius=radius,
        pivot=pivot,
        axis=axis,
        angle=float(how.open_angle),
    )
    normal = unit(along - lean * out)
    at = face + (gap + abs(lean) * radius) * along
    _require_sleeve(owner, spec, radius, offset, gap, lean)
    choice = choose_pin(spec, radius)
    return SwingJoint(
        name=name,
        end=end,
        stub=f"{bar.id}_{name}_stub",
        origin=origin,
        along=along,
        out=out,
        pin=pin,
        cut_station=station,
        pin_offset=offset,
        gap=gap,
        relief=atan(lean),
        face=Plane.of(at, normal),
        stub_face=Plane.of(face, -along),
        spec=spec,
        pin_length=choice.length,
        shank=choice.shank,
    )


def _pin_offset(name: JointName, spec: BracketSpec, radius: float, gap: float) -> float:
    """Stub's face to the pin: typed, or the least that leaves the ligament beside the sleeve."""
    beside = spec.sleeve_od / 2 + spec.ligament
    if name == "hinge":
        # the outer corner turns about the pin at its distance from it
        need = max(gap + beside, spec.clearance + hypot(radius, beside))
    else:
        need = gap + beside
    if spec.pin_offset is None:
        return ceil(need / ROUND_UP) * ROUND_UP
    return spec.pin_offset


def _require_sleeve(
    owner: str, spec: BracketSpec, radius: float, offset: float, gap: float, lean: float
) -> None:
    """The bar must hold the sleeve with metal to spare at its shortest side."""
    left = offset - gap - 2 * radius * abs(lean) - spec.sleeve_od / 2
    if left < 0.25 * spec.ligament:
        raise GeometryError(
            owner,
            f"with the pin {offset:.1f} mm from the cut and the end relieved by "
            f"{np.degrees(atan(abs(lean))):.0f} degrees, {left:.1f} mm of bar are left beside the "
            f"sleeve ({spec.ligament:.1f} mm wanted).",
            "Set the pin further from the cut (`pin_offset`).",
        )


def _outward(bar: Member, along: Vec, tilt: float) -> Vec:
    """The joint's outward direction: level for upright pins, turned by the tilt about the bar."""
    up = np.array([0.0, 0.0, 1.0])
    up = up - (up @ along) * along
    size = float(np.linalg.norm(up))
    if size < 0.2:
        raise GeometryError(
            bar.id, "stands upright at its hinge and cannot swing out about an upright pin."
        )
    up = up / size
    level = np.cross(along, up)
    side = float(bar.path.spot(bar.path.length / 2).point[1])
    if level[1] * side < 0:
        level = -level
    return vec(cos(tilt) * level - sin(tilt) * up)


def _follow(along: Vec, hinge: SwingJoint) -> Vec:
    """Outward at the latch: square to the bar and to the hinge's pin."""
    out = np.cross(hinge.pin, along)
    if float(out @ hinge.out) < 0:
        out = -out
    return unit(out)


def _require_straight(
    bar: Member, owner: str, end: EndName, station: float, pin_station: float, spec: BracketSpec
) -> None:
    """Bracket, sleeve and cup lie on one straight of the bar."""
    inward = 1.0 if end == "a" else -1.0
    rear = max(spec.overlap, spec.cup_overlap if spec.cup else 0.0)
    spots = (station - inward * rear, pin_station + inward * max(spec.ear, spec.reach))
    if not all(0.0 <= s <= bar.path.length for s in spots):
        room = station if end == "a" else bar.path.length - station
        raise GeometryError(
            owner,
            f"the bracket takes {rear:.0f} mm of stub, the cut is {room:.0f} mm from the node.",
            "Cut further from the node (`cut_front`, `cut_rear`) or shorten the `overlap`.",
        )
    pieces = {bar.path.spot(s).piece for s in (*spots, station, pin_station)}
    if len(pieces) > 1 or isinstance(bar.path.pieces[pieces.pop()], Arc):
        raise GeometryError(
            owner,
            f"its bracket would lie on a bend (from {min(spots):.0f} to {max(spots):.0f} mm along "
            "the bar).",
            "Move the cut to a straight.",
        )

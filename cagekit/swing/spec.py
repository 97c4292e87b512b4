"""Bracket sizes of one joint: entries, presets, pin table and tooling put together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from cagekit.cage.door import BracketSpec, JointName
from cagekit.cage.member import Member
from cagekit.errors import GeometryError, InputError, NotFoundError
from cagekit.inputs.plate import PLATE_STEEL, PlateEntry, laid_on
from cagekit.inputs.plate_presets import plate_preset
from cagekit.inputs.swing_bracket import SwingBracketEntry
from cagekit.materials.fasteners import fastener
from cagekit.materials.pins import PinKind, pin_size
from cagekit.plates.floor_plate import FOLD_CLEARANCE
from cagekit.plates.profile import Folding

if TYPE_CHECKING:
    from cagekit.inputs.tooling import Tooling

DEFAULT_PRESETS: Mapping[str, str] = {"mm": "swing-saddle-m10", "in": "swing-saddle-3-8in"}
"""Brackets of a bar that no entry speaks of, by the build's units."""
FLAT_PRESETS: Mapping[str, str] = {"mm": "swing-cheeks-m10", "in": "swing-cheeks-3-8in"}
"""The same where the shop cannot fold that saddle, or would draw its pin holes out of round."""
DEFAULT_SIZE: Mapping[str, str] = {"mm": "M10", "in": "3/8"}
DEFAULT_GRADE: Mapping[bool, str] = {False: "10.9", True: "grade-8"}
"""Grade of a bolt that says none, by whether its size is in inches."""
DEFAULT_THICKNESS: Mapping[str, float] = {"mm": 5.0, "in": 4.7625}
PIN_BY_JOINT: Mapping[JointName, PinKind] = {"hinge": "bolt", "latch": "quick-release"}

LEAST_RING = 0.5
"""Metal round a hole under this many hole diameters is no ear any more (common practice)."""
MOST_SLEEVE = 0.6
"""A sleeve wider than this share of the tube leaves too little of the bar's walls beside it
(common practice)."""


def bracket_entry(
    entries: Sequence[PlateEntry],
    bar: Member,
    joint: JointName,
    units: str,
    tooling: Tooling | None = None,
) -> SwingBracketEntry:
    """The entry for one joint of a bar: the default, then every entry that means this joint.

    Args:
        entries: the build's plate entries.
        bar: the bar.
        joint: hinge or latch.
        units: the build's, ``mm`` or ``in``.
        tooling: the shop; common practice where it has none.
    """
    out = _usual(DEFAULT_PRESETS[units])
    if not _folds(out, bar.tube.outer_radius, tooling, units):
        out = _usual(FLAT_PRESETS[units])
    for entry in entries:
        if not isinstance(entry, SwingBracketEntry) or not means(entry, bar, joint):
            continue
        merged = laid_on(out, entry)
        assert isinstance(merged, SwingBracketEntry)
        out = merged
    return out


def last_said(
    entries: Sequence[PlateEntry], bar: Member, joint: JointName
) -> SwingBracketEntry | None:
    """The last entry that speaks of a joint of a bar, which has the last word on its brackets."""
    said = [e for e in entries if isinstance(e, SwingBracketEntry) and means(e, bar, joint)]
    return said[-1] if said else None


def means(entry: SwingBracketEntry, bar: Member, joint: JointName) -> bool:
    """Whether an entry speaks of a joint of a bar."""
    there = entry.at.bar in ("", *bar.names) and entry.at.joint in ("", joint)
    return there and (entry.side not in ("left", "right") or entry.side == bar.side)


def _usual(preset: str) -> SwingBracketEntry:
    entry = plate_preset(preset)
    assert isinstance(entry, SwingBracketEntry)
    return entry


def _folds(saddle: SwingBracketEntry, radius: float, tooling: Tooling | None, units: str) -> bool:
    """Whether the shop can fold a saddle round a tube, its pin holes clear of the bend zones."""
    thickness = saddle.thickness or DEFAULT_THICKNESS[units]
    try:
        folding = Folding.of(tooling, thickness, saddle.fold_radius)
    except NotFoundError:
        return False
    pin = pin_size(saddle.pin_size or DEFAULT_SIZE[units])
    beside = radius + saddle.stop_gap - folding.radius - (saddle.hole or pin.hole) / 2
    return beside >= FOLD_CLEARANCE * thickness


def require_known(entries: Sequence[PlateEntry], bars: Sequence[Member], name: str) -> None:
    """Refuse entries whose ``at`` names none of the swing-out bars.

    Args:
        entries: of the brackets.
        bars: that swing out.
        name: of the build.

    Raises:
        InputError: there is no such bar.
    """
    known = {"", *(n for bar in bars for n in bar.names)}
    for entry in entries:
        if isinstance(entry, SwingBracketEntry) and entry.at.bar not in known:
            raise InputError(
                f"{name} [[plate]] swing_bracket",
                "at",
                str(entry.at),
                problem="no swing-out bar of that name.",
                hint=f"There are: {', '.join(sorted(known - {''})) or 'none'}.",
            )


def bracket_spec(
    owner: str,
    entry: SwingBracketEntry,
    joint: JointName,
    radius: float,
    tooling: Tooling | None,
    units: str,
) -> BracketSpec:
    """Fill in tables and tooling, and refuse what cannot be made.

    Args:
        owner: bar and joint, for messages.
        entry: sizes as typed.
        joint: hinge or latch.
        radius: outside radius of the bar, mm.
        tooling: the shop; common practice where it has none.
        units: the build's.

    Raises:
        InputError: pin or grade are not in their tables, or a saddle is to have a half cup.
        GeometryError: pin, sleeve, ear, plate or fold do not go together; with numbers and cure.
    """
    try:
        pin = pin_size(entry.pin_size or DEFAULT_SIZE[units])
    except NotFoundError as error:
        raise InputError(owner, "pin_size", entry.pin_size, problem=str(error)) from error
    grade = entry.pin_grade or DEFAULT_GRADE["/" in pin.size]
    try:
        fastener(pin.thread, grade)
    except NotFoundError as error:
        raise InputError(owner, "pin_grade", grade, problem=str(error)) from error
    thickness = entry.thickness or DEFAULT_THICKNESS[units]
    folding = _folding(owner, entry, thickness, tooling)
    if entry.design == "saddle" and entry.cup == "latch":
        raise InputError(
            owner,
            "cup",
            entry.cup,
            problem="a half cup has no room in a saddle, whose web is the stop already.",
            hint="Leave `cup` out, or set design = 'cheeks'.",
        )
    cup = joint == "latch" and (entry.cup or ("latch" if entry.design == "cheeks" else "none"))
    spec = BracketSpec(
        design=entry.design,
        thickness=thickness,
        material=entry.material or PLATE_STEEL[units],
        pin_kind=entry.pin or PIN_BY_JOINT[joint],
        pin=pin,
        grade=grade,
        hole=entry.hole or pin.hole,
        sleeve_od=entry.sleeve_od or pin.sleeve_od,
        sleeve_bore=entry.sleeve_bore or pin.sleeve_bore,
        sleeve_stand=entry.sleeve_stand,
        spacer=pin.spacer_thickness if entry.spacer is None else entry.spacer,
        side_play=pin.side_play if entry.side_play is None else entry.side_play,
        ear=entry.ear,
        overlap=entry.overlap,
        ligament=entry.ligament,
        clearance=entry.clearance,
        stop_gap=entry.stop_gap,
        reach=entry.reach,
        cup=cup == "latch",
        cup_wall=entry.cup_wall,
        cup_overlap=entry.cup_overlap,
        weld_leg=entry.weld_leg,
        fold_radius=folding.radius,
        k=folding.k,
        min_flange=folding.flange,
        corner_radius=entry.corner_radius,
        pin_offset=entry.pin_offset,
    )
    _require_pin(owner, spec)
    _require_room(owner, spec, radius)
    return spec


def _folding(
    owner: str, entry: SwingBracketEntry, thickness: float, tooling: Tooling | None
) -> Folding:
    if entry.design == "cheeks":
        return Folding.of(None, thickness, entry.fold_radius)
    try:
        return Folding.of(tooling, thickness, entry.fold_radius)
    except NotFoundError as error:
        raise GeometryError(owner, str(error), "Or use design = 'cheeks': no folds.") from error


def _require_pin(owner: str, s: BracketSpec) -> None:
    d = s.pin.diameter
    for name, value in (("hole", s.hole), ("sleeve_bore", s.sleeve_bore)):
        if value < d:
            raise GeometryError(
                owner,
                f"the pin of {d:.2f} mm does not go into {name} = {value:.2f} mm.",
                f"Make it {d + 0.2:.2f} mm, or use a thinner pin.",
            )
    ring = s.ear - s.hole / 2
    if ring < LEAST_RING * s.hole:
        raise GeometryError(
            owner,
            f"the pin is larger than its ear can hold: a hole of {s.hole:.1f} mm in an ear of "
            f"{s.ear:.1f} mm radius leaves {ring:.1f} mm of metal "
            f"({LEAST_RING * s.hole:.1f} mm at least).",
            f"Use an ear of {1.5 * s.hole:.1f} mm radius or more, or a thinner pin.",
        )
    wall = (s.sleeve_od - s.sleeve_bore) / 2
    if wall < 1.0:
        raise GeometryError(
            owner,
            f"the sleeve of {s.sleeve_od:.1f} mm with a bore of {s.sleeve_bore:.1f} mm has "
            f"{wall:.1f} mm of wall (1.0 mm at least).",
            "Use a larger sleeve.",
        )


def _require_room(owner: str, s: BracketSpec, radius: float) -> None:
    od = 2 * radius
    if s.sleeve_od > MOST_SLEEVE * od:
        raise GeometryError(
            owner,
            f"a sleeve of {s.sleeve_od:.1f} mm cuts the tube of {od:.1f} mm nearly through "
            f"({MOST_SLEEVE * od:.1f} mm at most).",
            "Use a smaller pin and sleeve.",
        )
    if s.design == "saddle":
        most = min(radius + s.stop_gap, s.inside_width(radius) / 2)
        if s.fold_radius > most:
            raise GeometryError(
                owner,
                f"the saddle runs into its own tube: folds of {s.fold_radius:.1f} mm inside "
                f"radius round a tube of {radius:.1f} mm radius ({most:.1f} mm at most).",
                "Use a smaller `fold_radius`, or design = 'cheeks'.",
            )
        if s.fold_radius > most - 0.5:
            raise GeometryError(
                owner,
                f"folds of {s.fold_radius:.1f} mm leave no flat between them "
                f"({most - 0.5:.1f} mm at most).",
                "Use a smaller `fold_radius`.",
            )

"""What a file says that can be and is probably a slip: told with its line, never refused.

No range of one number shows it (:mod:`cagekit.inputs.usual`), and it is not beyond belief
(:mod:`cagekit.inputs.plausible`): a name that is nearly the file's, numbers that do not fit. How
far two numbers usually lie apart stands in ``cagekit/data/usual_fits.csv``, with its source.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from difflib import SequenceMatcher
from itertools import pairwise
from math import atan2, cos, degrees, hypot, radians, sin
from pathlib import Path
from statistics import NormalDist
from typing import Any

from pydantic import BaseModel

from cagekit.data import Row, rows
from cagekit.inputs.car import Car, FootSpot
from cagekit.inputs.driver import BodyMeasure, Driver
from cagekit.inputs.messages import unit_of
from cagekit.inputs.plausible import Fault, problem_of
from cagekit.inputs.presets import read_toml, shown
from cagekit.inputs.toml_lines import TomlKey, line_map
from cagekit.units import INCH, LengthUnit, format_length
from cagekit.units.tolerance import ROUNDING

NEARLY = 0.8
"""Names that share this much are one name with a slip (common practice)."""
COWL_BELOW = 120.0
"""The base of a windscreen lies at most this far below the top of the dash, mm (from memory)."""
PEDAL = (50.8, 304.8)
"""Height of a pedal's pad over the heel, 2 to 12 in, mm (from memory)."""
LEG: tuple[BodyMeasure, BodyMeasure] = ("buttock_knee_length", "knee_height")
"""Dimensions of one leg, long or short together."""
APART = 1.9
"""Standard scores of a leg's dimensions further apart than this are those of one in 400 people
(correlation 0.8, from memory)."""


def doubts_in(path: Path, model: BaseModel) -> tuple[str, ...]:
    """Return a remark on everything in a file that is probably a slip.

    Args:
        path: of the file.
        model: what was read.
    """
    faults = [*_name(path, model), *misfits(model), *_sheets(model), *_masses(path, model)]
    if not faults:
        return ()
    data, text = read_toml(path)
    lines = line_map(text)
    return tuple(str(problem_of(f, data, lines, shown(path))) for f in faults)


def misfits(model: BaseModel) -> Iterator[Fault]:
    """Numbers of a car or driver sheet that hardly belong to one car or one person."""
    if isinstance(model, Car | Driver):
        yield from _fits(model)
    if isinstance(model, Car):
        yield from _car(model)
    elif isinstance(model, Driver):
        yield from _driver(model)
    elif getattr(model, "kind", "") == "loads":
        yield from _forces(model)


LEAST_FORCE = 200.0
"""A force that is put on a cage is larger, N (common practice: less than a person's weight)."""


def _forces(loads: Any) -> Iterator[Fault]:
    """Forces that no cage feels."""
    for n, case in enumerate(loads.case):
        for k, load in enumerate(case.load):
            name = "belt" if load.belt is not None else "force"
            given = getattr(load, name)
            size = given if name == "belt" else hypot(*given) if given else None
            if size is not None and size < LEAST_FORCE:
                yield Fault(
                    key=("case", n, "load", k, name),
                    problem=f"is unusual: {size:g} N in all (common practice). Is it kN typed "
                    "as N?",
                )


def _name(path: Path, model: BaseModel) -> Iterator[Fault]:
    name, stem = str(getattr(model, "name", "")), path.stem
    if name == stem or SequenceMatcher(None, name, stem, autojunk=False).ratio() < NEARLY:
        return
    build = "; `make` writes below this name" if getattr(model, "kind", "") == "build" else ""
    yield Fault(key=("name",), problem=f"is nearly the file's name, {stem}{build}. A slip?")


def _masses(path: Path, model: BaseModel) -> Iterator[Fault]:
    """Masses of a file in inches that do not say whether they are kg or pounds."""
    if getattr(model, "units", "mm") != "in":
        return
    said = [n for n in sorted(model.model_fields_set) if unit_of(type(model), (n,)) == "kg"]
    if not said:
        return
    data, _ = read_toml(path)
    for name in said:
        bare = str(data[name]).strip()
        if not bare[-1].isalpha():
            hint = f'Write `{name} = "{bare} kg"`, or `"{bare} lb"` where it is in pounds.'
            yield Fault(key=(name,), problem="is taken for kg.", hint=hint)


WAYS: Mapping[str, tuple[str, str]] = {
    "x": ("ahead of", "behind"),
    "y": ("outboard of", "inboard of"),
    "z": ("above", "below"),
    "l": ("longer than", "shorter than"),
}
"""How a number lies to the one beside it, along an axis: more, less."""


def _fits(model: Car | Driver) -> Iterator[Fault]:
    """Numbers of a sheet that lie further apart than usual."""
    for row in rows("usual_fits"):
        if row["file"] != model.kind:
            continue
        sides = ("left", "right") if "side." in row["field"] + row["beside"] else ("",)
        for side in sides:
            key, value = _standing(model, row["field"], side)
            _, other = _standing(model, row["beside"], side)
            if value is None or other is None:
                continue
            low, high, apart = float(row["low"]), float(row["high"]), value - other
            if row["axis"] == "y" and other < 0 and not side:  # signed: the right half of the car
                apart = -apart
            if not low <= apart <= high:
                yield Fault(key=key, problem=_apart(row, apart, other, model.units))


def _apart(row: Row, apart: float, other: float, units: LengthUnit) -> str:
    def said(mm: float, end: str = "") -> str:
        more, less = WAYS[row["axis"]]
        return f"{format_length(abs(mm), units)} {more if mm >= 0 else less}{end}"

    usual = f"{said(float(row['low']))} to {said(float(row['high']))}"
    return (
        f"is unusual: {said(apart)} {row['words']} at {format_length(other, units)}; "
        f"usual is {usual} it ({row['certainty']})."
    )


def _standing(model: Car | Driver, dotted: str, side: str) -> tuple[TomlKey, float | None]:
    """Key and value of a field of a table of data; ``side`` and ``seat`` say which is meant.

    A point's number is told by the whole point. None where nothing was measured.
    """
    steps: list[str | int] = [int(s) if s.isdigit() else s for s in dotted.split(".")]
    if steps[0] == "side":
        steps[0] = side
    elif steps[0] == "seat" and isinstance(model, Car):
        steps[:1] = ["seats", model.seats.index(model.driver_seat)]
    value: Any = model
    for step in steps:
        if value is not None:
            value = value[step] if isinstance(step, int) else getattr(value, step)
    key = tuple(steps[:-1]) if isinstance(steps[-1], int) else tuple(steps)
    return key, value


NEAR_SHEET = 0.025
"""A plate is of a sheet of the trade within this share of its thickness (common practice)."""
TYPED_SHEET = 0.005
"""The same for a thickness typed finer than a tenth of a millimetre or a hundredth of an inch:
nobody rounded it (common practice)."""


def _sheets(model: BaseModel) -> Iterator[Fault]:
    """Plates of a thickness that no sheet of the trade has."""
    units: LengthUnit = "in" if getattr(model, "units", "") == "in" else "mm"
    known = sorted((float(r["mm"]), r["name"]) for r in rows("sheet_thicknesses"))
    for key, mm in _thicknesses(model):
        if not mm:
            continue
        share = NEAR_SHEET if _rounded(mm) else TYPED_SHEET
        if any(abs(mm - one) <= share * one for one, _ in known):
            continue
        thinner = [f"{name}, " for one, name in known if one < mm][-1:]
        thicker = [name for one, name in known if one > mm][:1]
        if thinner and thicker:
            yield Fault(
                key=key,
                problem=f"is unusual: no sheet of the trade is {format_length(mm, units)} thick; "
                f"next to it are {thinner[0]}{thicker[0]} (common practice).",
            )


def _rounded(mm: float) -> bool:
    """Tell whether a thickness is whole tenths of a millimetre or whole hundredths of an inch."""
    return any(abs(mm / step - round(mm / step)) < ROUNDING for step in (0.1, INCH / 100))


def _thicknesses(model: BaseModel) -> Iterator[tuple[TomlKey, float | None]]:
    """Key and thickness (mm) of every plate that a build, a layout or a plate file speaks of."""
    for field in ("foot_plate", "foot_plate_inch"):
        yield (field,), getattr(model, field, None)
    plates = getattr(model, "plate", ())
    listed = isinstance(plates, tuple)
    for n, plate in enumerate(plates if listed else (plates,)):
        for field in ("thickness", "backing_thickness"):
            key = ("plate", n, field) if listed else ("plate", field)
            yield key, getattr(plate, field, None)


def _car(car: Car) -> Iterator[Fault]:
    yield from _doors(car)
    yield from _beside(car)
    yield from _feet(car)
    yield from _specks(car)
    dash, pedals = car.dash, car.pedals
    if dash and dash.cowl_z < dash.top_z - COWL_BELOW:
        yield Fault(
            key=("dash", "cowl_z"),
            problem="is unusual: the base of the windscreen lies far below the dash's top at "
            f"{format_length(dash.top_z, car.units)}.",
        )
    if pedals and not PEDAL[0] <= pedals.z - pedals.heel_z <= PEDAL[1]:
        low, high = (format_length(v, car.units) for v in PEDAL)
        yield Fault(
            key=("pedals", "z"),
            problem=f"is unusual: {format_length(pedals.z - pedals.heel_z, car.units)} above the "
            f"heel, usual is {low} to {high} (from memory).",
        )


FLOAT = 100.0
"""A main foot on the floor lies no further off the floor at the hoop, mm (from memory)."""
OFF_PROFILE = 15.0
"""A foot lies no further off the floor section that was taken at it, mm (from memory)."""
OFF_NORMAL = radians(3)
"""A plate that leans more than this against the floor does not lie on it (common practice: half a
plate of 150 mm gapes as wide as the sheet can be hammered)."""


def _feet(car: Car) -> Iterator[Fault]:
    """Feet that float over the sheet they stand on, or lie below it."""
    for name in ("left", "right"):
        own = car.side(name)
        for field in ("main_foot", "front_foot", "rear_foot"):
            foot = getattr(own, field)
            if foot is None or foot.surface != "floor":
                continue
            key = (name, field, "point")
            if len(foot.profile) > 1:
                yield from _lean((name, field, "normal"), foot)
                off, what = foot.point[2] - _height(foot.profile, foot.point[1]), "profile"
                wrong = abs(off) > OFF_PROFILE
            else:
                off, what = foot.point[2] - car.floor_z, "floor at the hoop (floor_z)"
                wrong = field == "main_foot" and abs(off) > FLOAT
            if wrong:
                far, way = format_length(abs(off), car.units), "above" if off > 0 else "below"
                yield Fault(
                    key=key,
                    problem=f"is unusual: {far} {way} its {what}. The foot stands on the sheet "
                    "(from memory).",
                )


def _lean(key: TomlKey, foot: FootSpot) -> Iterator[Fault]:
    """A foot whose plate would lean across the car against the section that was taken at it."""
    span = next(((a, b) for a, b in pairwise(foot.profile) if a[0] <= foot.point[1] < b[0]), None)
    if span is None:
        return
    (y0, z0), (y1, z1) = span
    rise, (x, y, z) = atan2(z1 - z0, y1 - y0), foot.normal
    if abs(rise - atan2(-y, z)) <= OFF_NORMAL:
        return
    size = hypot(y, z)
    own = [round(v, 3) + 0.0 for v in (x, -size * sin(rise), size * cos(rise))]
    yield Fault(
        key=key,
        problem=f"leans {degrees(abs(rise - atan2(-y, z))):.1f} degrees against the floor section "
        "(`profile`) there, and the plate with it.",
        hint=f"A sheet that lies as the section does has normal = {own}.",
    )


def _height(profile: Sequence[tuple[float, float]], y: float) -> float:
    """Height of a floor section at a distance from the centre plane, level beyond its ends, mm."""
    if y <= profile[0][0]:
        return profile[0][1]
    for (a, low), (b, high) in pairwise(profile):
        if a <= y <= b and b > a:
            return low + (y - a) / (b - a) * (high - low)
    return profile[-1][1]


SPECK = 5.0
"""Nothing that tubes keep clear of is smaller than this all round, mm (common practice)."""


def _specks(car: Car) -> Iterator[Fault]:
    """Keep-outs that are a speck: their numbers are in another unit."""
    for n, one in enumerate(car.keepouts):
        ends = [p for p in (one.low, one.high, one.start, one.end) if p is not None] or one.outline
        sizes = [max(axis) - min(axis) for axis in zip(*ends, strict=True)]
        sizes += [2 * one.radius] if one.radius else []
        sizes += [one.span[1] - one.span[0]] if one.span else []
        if max(sizes) < SPECK:
            large = format_length(max(sizes), car.units)
            yield Fault(
                key=("keepouts", n),
                problem=f"is unusual: {large} large at most (common practice). Is it metres typed "
                f"as {'inches' if car.units == 'in' else 'mm'}?",
            )


DOOR = {"quarter_x": 60.0, "sill": 80.0, "rail": 40.0, "base": 200.0}
"""Rear edge of a door's outline from the quarter panel, its lowest corner from the sill plane, its
highest above the roof rail, its foremost ahead of the pillar's base: at most, mm (from memory)."""
LEG_ROOM = 80.0
"""A driver's hip point lies this far beside the tunnel at least, mm (from memory)."""
MIRRORED = {"y": 80.0, "x": 400.0, "z": 200.0}
"""Two seats side by side differ by no more than this, y from the centre plane, mm (from memory)."""


def _doors(car: Car) -> Iterator[Fault]:
    for name in ("left", "right"):
        own = car.side(name)
        door = own.door
        if door is None or not door.outline:
            continue
        xs, zs = zip(*door.outline, strict=True)
        if abs(min(xs) - door.quarter_x) > DOOR["quarter_x"]:
            rear = format_length(min(xs), car.units)
            yield Fault(
                key=(name, "door", "quarter_x"),
                problem=f"is unusual: the outline's rear edge is at {rear} (from memory).",
            )
        found: dict[str, bool] = {
            "whose lowest corner is not at the tops of the sills, z = 0": (
                abs(min(zs)) > DOOR["sill"]
            ),
        }
        if own.hoop.rail is not None and car.body == "closed":
            found["that reaches above the roof rail"] = max(zs) > own.hoop.rail[1] + DOOR["rail"]
        if own.pillar is not None:
            found["that reaches ahead of the windscreen pillar's base"] = (
                max(xs) > own.pillar.base[0] + DOOR["base"]
            )
        for words, wrong in found.items():
            if wrong:
                problem = f"is unusual: an opening {words} (from memory)."
                yield Fault(key=(name, "door", "outline"), problem=problem)


def _beside(car: Car) -> Iterator[Fault]:
    """Seats beside the tunnel and beside each other."""
    for seat in car.seats:
        if car.tunnel and seat.side != "centre":
            half = car.tunnel.half(seat.side)
            if abs(seat.hip[1]) < half + LEG_ROOM:
                own = f"half_width_{seat.side}"
                given = getattr(car.tunnel, own) is not None
                hip = format_length(abs(seat.hip[1]), car.units)
                yield Fault(
                    key=("tunnel", own if given else "half_width"),
                    problem=f"is unusual: the tunnel nearly reaches below a hip point, {hip} from "
                    "the centre plane (from memory).",
                )
    sides = {seat.side: n for n, seat in reversed(list(enumerate(car.seats)))}
    if "left" in sides and "right" in sides:
        n = max(sides["left"], sides["right"])
        one, other = (car.seats[sides[s]].hip for s in ("left", "right"))
        off = {"y": one[1] + other[1], "x": one[0] - other[0], "z": one[2] - other[2]}
        for axis, most in MIRRORED.items():
            if abs(off[axis]) > most:
                far = format_length(abs(off[axis]), car.units)
                yield Fault(
                    key=("seats", n, "hip"),
                    problem=f"is unusual: along {axis} it lies {far} off that of the seat beside "
                    "it (from memory).",
                )


def _driver(person: Driver) -> Iterator[Fault]:
    if person.population is None:
        return
    measures = person.population.measures
    if not all(name in measures for name in LEG):
        return
    thigh, shank = (NormalDist().inv_cdf(measures[name] / 100) for name in LEG)
    if abs(thigh - shank) > APART:
        yield Fault(
            key=("population", "measures", LEG[0]),
            problem=f"is unusual beside {LEG[1]}: hardly anybody has so long and so short a leg.",
        )

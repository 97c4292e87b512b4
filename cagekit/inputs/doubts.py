"""What a file says that can be and is probably a slip: told with its line, never refused.

No range of one number shows it (:mod:`cagekit.inputs.usual`), and it is not beyond belief
(:mod:`cagekit.inputs.plausible`): a name that is nearly the file's, numbers that do not fit.
"""

from __future__ import annotations

from collections.abc import Iterator
from difflib import SequenceMatcher
from pathlib import Path
from statistics import NormalDist

from pydantic import BaseModel

from cagekit.inputs.car import Car
from cagekit.inputs.driver import BodyMeasure, Driver
from cagekit.inputs.plausible import Fault, problem_of
from cagekit.inputs.presets import read_toml, shown
from cagekit.inputs.toml_lines import line_map
from cagekit.units import format_length

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
    faults = [*_name(path, model)]
    if isinstance(model, Car):
        faults += _car(model)
    elif isinstance(model, Driver):
        faults += _driver(model)
    if not faults:
        return ()
    data, text = read_toml(path)
    lines = line_map(text)
    return tuple(str(problem_of(f, data, lines, shown(path))) for f in faults)


def _name(path: Path, model: BaseModel) -> Iterator[Fault]:
    name, stem = str(getattr(model, "name", "")), path.stem
    if name == stem or SequenceMatcher(None, name, stem, autojunk=False).ratio() < NEARLY:
        return
    build = "; `make` writes below this name" if getattr(model, "kind", "") == "build" else ""
    yield Fault(key=("name",), problem=f"is nearly the file's name, {stem}{build}. A slip?")


def _car(car: Car) -> Iterator[Fault]:
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

"""``cagekit place BUILD MEMBER``: try a member over a range and see which findings turn."""

from __future__ import annotations

import argparse
import re
from collections.abc import Sequence
from math import degrees, radians
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cagekit.cli.build import add_build
from cagekit.cli.console import Progress, caution, emit, note, width
from cagekit.names import at_start, filled, in_words, named
from cagekit.units.tolerance import NEGLIGIBLE

if TYPE_CHECKING:
    from cagekit.checks.finding import Finding
    from cagekit.inputs.build import Build
    from cagekit.study.placement import Placement, SameReading, Sweep, Trial
    from cagekit.view.placement_plot import Chart

ANGLES = {"lean"}
MARKS = {"good": "", "warn": "!", "fail": "X", "no": "-"}
STEPS = 20


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the verb's arguments."""
    add_build(parser)
    parser.add_argument(
        "member", metavar="MEMBER", help="member to place, e.g. dash_bar, door_bar, harness_bar"
    )
    parser.add_argument(
        "--over", metavar="FIELD=LOW:HIGH[:STEP]", action="append", default=[],
        help="field of the member and its range (twice for a grid); a usual one when left out",
    )  # fmt: skip
    parser.add_argument("--plot", metavar="FILE", help="also draw it: a .png")
    parser.epilog = (
        "Lengths are in the build's units unless written with a unit. X fails, ! warns; `*` marks\n"
        "the place proposed, `>` the one nearest to where the member is now."
    )


def run(args: argparse.Namespace) -> int:
    """Try the member and print the table."""
    from cagekit.inputs.resolve import load_build
    from cagekit.study.placement import place

    target = _target(args.plot)
    with Progress() as progress:
        progress.step("reading the build")
        build = load_build(args.build)
        sweeps = [_sweep(build, args.member, text) for text in args.over]
        progress.step(f"trying places for {args.member}")
        found = place(build, args.member, sweeps, copied=True)
    units = args.units or build.units
    if args.json:
        emit(as_json(found))
    else:
        _print(found, units)
    if target is not None:
        _plot(found, units, target, build.name)
    caution()
    return 0


def _target(plot: str | None) -> Path | None:
    """Where the plot goes; told before anything is worked out when it cannot go there."""
    from cagekit.errors import InputError, OutputError

    if plot is None:
        return None
    target = Path(plot)
    if target.suffix.lower() != ".png":
        raise InputError("--plot", value=plot, problem="must end in .png.")
    if not target.parent.is_dir():
        raise OutputError(f"{plot}: could not be written, there is no folder {target.parent}.")
    return target


def _sweep(build: Build, member: str, text: str) -> Sweep:
    """Read ``field=low:high:step``."""
    from cagekit.errors import InputError
    from cagekit.study.placement import sweep

    match = re.fullmatch(r"\s*(\w+)\s*=\s*([^:]+):([^:]+)(?::([^:]+))?\s*", text)
    if match is None:
        raise InputError(
            "--over", value=text, problem="is no range.", hint="Write e.g. height=380:520:10."
        )
    field, *numbers = match.groups()
    low, high = (_number(build, field, n) for n in numbers[:2])
    step = _number(build, field, numbers[2]) if numbers[2] else (high - low) / STEPS
    if high < low or (high > low and step <= 0):
        raise InputError(
            "--over",
            value=text,
            problem="runs backwards." if high < low else "has a step that does not go on.",
            hint="Give low:high:step, step above 0.",
        )
    count = int((high - low) / step + NEGLIGIBLE) + 1 if high > low else 1
    if count > 1000:
        raise InputError("--over", value=text, problem=f"{count} places are too many.")
    return sweep(build, member, field, [low + k * step for k in range(count)])


def _number(build: Build, field: str, text: str) -> float:
    from cagekit.errors import InputError
    from cagekit.units import LengthError, parse_length

    try:
        if field in ANGLES:
            return radians(float(text))
        value = text.strip()
        plain = re.fullmatch(r"[+-]?[\d.]+", value)
        return parse_length(float(value) if plain else value, default=build.units)
    except (LengthError, ValueError) as error:
        raise InputError("--over", field, text, problem=f"{error}") from error


def shown(value: float, field: str, units: str) -> str:
    """A place as people read it.

    Args:
        value: what was measured.
        field: what was moved.
        units: of lengths, ``"mm"`` or ``"in"``.
    """
    from cagekit.units import format_length

    if field in ANGLES:
        return f"{degrees(value):.1f}°"
    text = format_length(value, units, decimals=0 if units == "mm" else 2)  # type: ignore[arg-type]
    return text.removesuffix(" mm").removesuffix(" in")


def cell(found: Finding | None, units: str) -> str:
    """A finding's number, short, with its mark."""
    from cagekit.units import INCH

    if found is None or not isinstance(found.measured, float | int):
        return ""
    value = float(found.measured)
    mark = {"fail": "X", "warn": "!"}.get(found.status.value, "")
    if found.unit == "mm" and mark and abs(value) < 1.0:
        # in whole mm it would be nought, and nothing wrong with it
        fine = 2 if abs(value) < 0.1 else 1
        told = f"{value:.{fine}f}" if units == "mm" else f"{value / INCH:.{fine + 1}f}"
        return told + mark
    if found.unit == "mm":
        return shown(value, "", units) + mark
    return (f"{value:.1f}" if found.unit else f"{value:.2f}") + mark


def _print(found: Placement, units: str) -> None:
    letters = [chr(65 + i) if i < 26 else f"Z{i - 25}" for i in range(len(found.columns))]
    print(f"{named(found.member)}: {len(found.trials)} places, {_range_words(found, units)}")
    print()
    for letter, column in zip(letters, found.columns, strict=True):
        lead = f"  {letter}  "
        text = f"{found.label(column)} ({limit_words(found, column, units)})"
        print(filled(text, width(), first=lead, rest=" " * len(lead)))
    print()
    rows = [_row(found, t, units) for t in found.trials]
    head = ["", *(s.name for s in found.sweeps), *letters]
    sizes = [max(len(r[c]) for r in [head, *rows]) for c in range(len(head))]
    for row in [head, *rows]:
        print("  ".join(f"{text:>{s}}" for text, s in zip(row, sizes, strict=True)).rstrip())
    print()
    for line in remarks(found, units):
        print(filled(line, width(), rest="  "))
    for line in impossible(found, units):
        note(f"note: {in_words(line)}")


def _row(found: Placement, trial: Trial, units: str) -> list[str]:
    lead = "*" if found.best is not None and trial.values == found.best.values else ""
    lead += ">" if trial is _nearest(found) else ""
    places = [shown(v, s.name, units) for v, s in zip(trial.values, found.sweeps, strict=True)]
    if trial.error:
        return [lead or "-", *places, *("-" for _ in found.columns)]
    return [lead, *places, *(cell(trial.findings.get(c[0]), units) for c in found.columns)]


def _nearest(found: Placement) -> Trial:
    def away(t: Trial) -> float:
        return sum(abs(v - n) for v, n in zip(t.values, found.now, strict=True))

    return min(found.trials, key=away)


def _range_words(found: Placement, units: str) -> str:
    parts = []
    for s, now in zip(found.sweeps, found.now, strict=True):
        low, high = (shown(v, s.name, units) for v in (s.values[0], s.values[-1]))
        what = _called(s)
        unit = "" if s.name in ANGLES else f" {units}"
        parts.append(f"{what} {low} to {high}{unit}, now {shown(now, s.name, units)}")
    return "; ".join(parts)


def _called(s: Sweep) -> str:
    """The fields that are moved, as they are typed, and what that is."""
    return " and ".join(s.fields) + (f" ({s.words})" if s.words else "")


def limit_words(found: Placement, column: SameReading, units: str) -> str:
    """The limit of a finding over all places, and the one that it fails by where that is another.

    Args:
        found: the places tried.
        column: the finding, with those that read the same.
        units: of lengths, ``"mm"`` or ``"in"``.
    """
    from cagekit.checks.finding import Status
    from cagekit.checks.wording import limit_text

    asked: dict[str, None] = {}
    hard: dict[str, None] = {}
    for t in found.trials:
        f = t.findings.get(column[0])
        if f is not None and f.limit is not None:
            failed = f.status is Status.FAIL
            (hard if failed else asked)[limit_text(f, units)] = None  # type: ignore[arg-type]
    if not asked:
        return " or ".join(hard) or "no limit"
    beyond = [text for text in hard if text not in asked]
    return " or ".join(asked) + (f"; fails unless {' or '.join(beyond)}" if beyond else "")


def impossible(found: Placement, units: str) -> list[str]:
    """Why places cannot be made; one reason with another number at each place is told once."""
    alike: dict[str, list[Trial]] = {}
    for t in found.trials:
        if t.error:
            alike.setdefault(re.sub(r"\d+(\.\d+)?", "0", t.error), []).append(t)
    names = [s.name for s in found.sweeps]

    def at(t: Trial) -> str:
        return ", ".join(shown(v, n, units) for v, n in zip(t.values, names, strict=True))

    return [
        f"{len(same)} places, {at(same[0])} to {at(same[-1])}; at the last: {same[-1].error}"
        if len(same) > 1
        else f"{at(same[0])}: {same[0].error}"
        for same in alike.values()
    ]


def remarks(found: Placement, units: str) -> list[str]:
    """What is proposed and why."""
    if found.best is None:
        return ["None of these places can be made."]
    names = []
    for sweep_, v in zip(found.sweeps, found.best.values, strict=True):
        unit = "" if sweep_.name in ANGLES else f" {units}"
        names.append(f"{sweep_.name} {shown(v, sweep_.name, units)}{unit}")
        for other in sweep_.fields[1:]:
            its = found.proposed.get(other)
            told = "moved with it" if its is None else f"{shown(its, other, units)}{unit}"
            names.append(f"{other} {told}")
    from cagekit.checks.finding import Status

    fails, warns = found.best.count(Status.FAIL), found.best.count(Status.WARN)
    state = "nothing here fails or warns" if not fails + warns else f"{fails} fail, {warns} warn"
    why = (
        "the fewest fails and warnings of the range, then the most room to the nearest limit, then "
        "the shortest way from where it is now"
    )
    out = [f"Proposed: {', '.join(names)}: {state}; {why}."]
    ends = zip(found.sweeps, found.best.values, strict=True)
    if fails + warns and any(
        len(s.values) > 1 and v in (s.values[0], s.values[-1]) for s, v in ends
    ):
        out.append(
            "It is an end of the range that was tried: a wider one (--over) may hold better."
        )
    if found.best.spot is not None:
        x, _, z = found.best.spot.tolist()
        along = "ahead of" if x >= 0 else "behind"
        high = "above" if z >= 0 else "below"
        out.append(
            f"Its middle is then {shown(abs(x), '', units)} {units} {along} the hoop, "
            f"{shown(abs(z), '', units)} {units} {high} the sills."
        )
    field = found.sweeps[0].name
    for reason in found.reasons:
        text = re.sub(r"\{([-\d.]+)\}", lambda m: shown(float(m[1]), field, units), reason)
        out.append(f"{at_start(text)}.")
    return out


def as_json(found: Placement) -> dict[str, Any]:
    """The placement for machines; lengths mm, angles degrees."""

    def value(field: str, v: float) -> float:
        return round(degrees(v) if field in ANGLES else v, 6)

    names = [s.name for s in found.sweeps]

    def trial(t: Trial) -> dict[str, Any]:
        return {
            "values": {n: value(n, v) for n, v in zip(names, t.values, strict=True)},
            "spot": None if t.spot is None else [round(float(x), 3) for x in t.spot],
            "result": t.mark,
            "error": t.error,
            "findings": [f.to_json() for f in t.findings.values()],
        }

    return {
        "member": found.member,
        "now": {n: value(n, v) for n, v in zip(names, found.now, strict=True)},
        "best": None if found.best is None else trial(found.best),
        "trials": [trial(t) for t in found.trials],
    }


def chart_of(found: Placement, units: str, name: str) -> Chart:
    """The placement as a chart.

    Args:
        found: the places tried.
        units: of lengths, ``"mm"`` or ``"in"``.
        name: of the build.
    """
    return _grid(found, units, name) if len(found.sweeps) > 1 else _lanes(found, units, name)


def _lanes(found: Placement, units: str, name: str) -> Chart:
    from cagekit.view.placement_plot import Chart, Lane, PlotCell, State

    states: dict[str, State] = {"fail": "fail", "warn": "warn", "pass": "good"}
    lanes = []
    for column in found.columns:
        cells = []
        for t in found.trials:
            f = t.findings.get(column[0])
            state = states.get(f.status.value, "none") if f is not None else "none"
            cells.append(PlotCell(text=cell(f, units).rstrip("X!"), state=state))
        label = found.label(column)
        limit = limit_words(found, column, units)
        lanes.append(Lane(name=at_start(label), limit=limit, cells=tuple(cells)))
    s = found.sweeps[0]
    values = [t.values[0] for t in found.trials]
    best = None if found.best is None else values.index(found.best.values[0])
    unit = ", degrees" if s.name in ANGLES else f", {units}"
    return Chart(
        title=f"{name}: places for {named(found.member)}",
        axis=f"{_called(s)}{unit}",
        columns=tuple(shown(v, s.name, units) for v in values),
        lanes=tuple(lanes),
        best=best,
        now=_fraction(found.now[0], values),
        remarks=tuple(remarks(found, units)),
    )


def _grid(found: Placement, units: str, name: str) -> Chart:
    from cagekit.view.placement_plot import Chart, Lane, PlotCell, State

    states: dict[str, State] = {"fail": "fail", "warn": "warn", "good": "good", "no": "none"}
    first, second = found.sweeps
    by_values = {t.values: t for t in found.trials}
    lanes = []
    for b in second.values:
        row = [by_values[a, b] for a in first.values]
        cells = tuple(PlotCell(text=_room(t, units), state=states[t.mark]) for t in row)
        label = f"{second.name} {shown(b, second.name, units)}"
        lanes.append(Lane(name=label, limit="", cells=cells))
    best = found.best
    return Chart(
        title=f"{name}: places for {named(found.member)}",
        axis=f"room to the limit, {units}: {_words(first, units)} across, "
        f"{_words(second, units)} down",
        columns=tuple(shown(v, first.name, units) for v in first.values),
        lanes=tuple(lanes),
        best=None if best is None else first.values.index(best.values[0]),
        best_lane=None if best is None else second.values.index(best.values[1]),
        now=_fraction(found.now[0], first.values),
        grey="cannot be made",
        remarks=tuple(remarks(found, units)),
    )


def _words(sweep: Sweep, units: str) -> str:
    return f"{sweep.name} in {'degrees' if sweep.name in ANGLES else units}"


def _room(trial: Trial, units: str) -> str:
    return "" if trial.error else shown(trial.room, "", units)


def _fraction(value: float, values: Sequence[float]) -> float | None:
    """Where a value lies among the columns, in columns from the left edge."""
    if len(values) < 2 or not values[0] - NEGLIGIBLE <= value <= values[-1] + NEGLIGIBLE:
        return None
    return (value - values[0]) / (values[-1] - values[0]) * (len(values) - 1) + 0.5


def _plot(found: Placement, units: str, target: Path, name: str) -> None:
    from io import BytesIO

    from cagekit.errors import OutputError
    from cagekit.view.placement_plot import placement_plot
    from cagekit.writers.whole import write_whole

    try:
        drawn = BytesIO()
        placement_plot(chart_of(found, units, name)).save(drawn, "PNG")
        write_whole(target, drawn.getvalue(), over=True)
    except OSError as error:
        raise OutputError(f"{target}: could not be written ({error.strerror or error}).") from error
    note(f"wrote {target}")

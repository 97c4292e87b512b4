"""``cagekit part KIND --DIM value``: one part from a few dimensions, without a car."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from itertools import pairwise
from math import degrees
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec.structs import replace

from cagekit.cli.console import Progress, caution, emit, note, table
from cagekit.names import at_start, named

if TYPE_CHECKING:
    from pydantic import BaseModel

    from cagekit.face.plate_part import PlatePart
    from cagekit.face.tube_part import TubePart
    from cagekit.inputs.messages import Problem
    from cagekit.make.run import Made
    from cagekit.parts.tubes import PartKind
    from cagekit.units import LengthUnit


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the verb's arguments."""
    from cagekit.parts.kinds import summaries

    parser.usage = "cagekit part KIND [--DIM value ...] [options]"
    parser.add_argument("kind", metavar="KIND", nargs="?", help="kind of part, see below")
    parser.add_argument("--out", metavar="DIR", help="folder to write (outputs/part-<kind>)")
    parser.add_argument(
        "--only", action="names", metavar="NAMES", help="make some products only, e.g. --only step"
    )
    parser.add_argument("--tooling", metavar="NAME", help="tooling preset for the bend schedule")
    about = summaries()
    width = max(map(len, about))
    rows = "\n".join(f"  {kind:<{width}}  {told}" for kind, told in about.items())
    parser.epilog = (
        f"kinds:\n{rows}\n\n"
        "`cagekit part KIND --help` tells the dimensions of one. A length is a number in --units\n"
        "(mm if not given) or carries its own unit: --height '3 ft 8 in'."
    )


def add_more(parser: argparse.ArgumentParser, words: Sequence[str]) -> None:
    """Add the dimensions of the kind that was typed."""
    from cagekit.parts.kinds import part_kind, summaries

    name = next((w.replace("-", "_") for w in words if w.replace("-", "_") in summaries()), "")
    if not name:
        return
    kind = part_kind(name)
    _chosen(parser)
    units = "in" if "in" in _after(words, "--units") or "--units=in" in words else "mm"
    parser.usage = f"cagekit part {name} [--DIM value ...] [options]"
    parser.description = f"{kind.summary[0].upper()}{kind.summary[1:]}."
    parser.epilog = (
        "A length is a number in --units or carries its own unit; an angle is in degrees.\n"
        f"Defaults: {kind.source_in(units)}."
    )
    group = parser.add_argument_group("dimensions")
    base = kind.read({}, units)
    for field, info in kind.dims.model_fields.items():
        about, value = info.description or "", getattr(base, field)
        if value is not None or not about.endswith(("left out", "not given")):
            about += f" ({_shown(value, _unit(kind.dims, field), units)})"
        about = about.replace("%", "%%")
        group.add_argument(_option(field), dest=f"dim_{field}", metavar="VALUE", help=about)
    if "wall" in kind.dims.model_fields and "od" in kind.dims.model_fields:
        about = "tube preset: diameter, wall and steel at once"
        group.add_argument("--tube", dest="dim_tube", metavar="NAME", help=about)


def _chosen(parser: argparse.ArgumentParser) -> None:
    """Leave the kind out of the help: it is chosen, and the usage names it."""
    for action in parser._actions:
        if action.dest == "kind":
            action.help = argparse.SUPPRESS


def run(args: argparse.Namespace) -> int:
    """Make the part."""
    from cagekit.parts.kinds import part_kind, summaries

    if args.kind is None:
        if args.json:
            emit([{"kind": kind, "about": about} for kind, about in summaries().items()])
        else:
            table(list(summaries().items()))
            note("\n`cagekit part KIND --help` tells the dimensions of one.")
        return 0
    kind = part_kind(args.kind)
    only = [n.strip() for n in (args.only or "").split(",") if n.strip()]
    with Progress() as progress:
        part = _made(kind, args)
        _doubt(kind, part, args)
        target = Path(args.out) if args.out else Path("outputs") / f"part-{kind.name}"
        made = part.make(target, only, progress=progress.step)
    _report(part, made, args)
    caution()
    return 0


def _report(part: TubePart | PlatePart, made: Made, args: argparse.Namespace) -> None:
    from cagekit.units import format_length, format_mass

    files = sorted(f for group in made.files.values() for f in group)
    cage = part.design.cage
    units: LengthUnit = args.units or "mm"
    if args.json:
        rows = [
            {"id": i, "cut_length": cage.cut_length(i), "mass_kg": cage.mass(i)}
            for i in cage.members
        ]
        plates = [{"id": p.id, "mass_kg": p.mass, "folds": len(p.folds)} for p in cage.plates]
        small = [{"id": p.id, "size": p.size, "mass_kg": p.mass} for p in cage.hardware]
        emit(
            {
                "folder": str(made.folder),
                "files": files,
                "members": rows,
                "plates": plates,
                **({"parts": small} if small else {}),
            }
        )
        return
    for member in cage.members:
        length = format_length(cage.cut_length(member), units)
        mass = format_mass(cage.mass(member), units)
        print(f"{at_start(named(member))}: cut length {length}, {mass}")
    for plate in cage.plates:
        size = " x ".join(format_length(float(v), units) for v in plate.size)
        mass = format_mass(plate.mass, units)
        print(f"{at_start(named(plate.id))}: flat {size}, {mass}")
    for bit in cage.hardware:
        mass = format_mass(bit.mass, units)
        print(f"{at_start(named(bit.id))}: {bit.size_in(units)}, {mass}")
    print(f"{made.folder}/  {', '.join(files)}")
    for sheet in part.design.bends if "bends" in made.files else ():
        if sheet.die and sheet.other_radius is not None:
            drawn, bent = (format_length(v, units) for v in (sheet.other_radius, sheet.die.clr))
            note(
                f"warning: drawn with a radius of {drawn}, die {sheet.die.name} bends {bent}: what "
                "it bends by bends.csv is another tube. "
                f"Give --bend-radius '{sheet.die.clr:g} mm'."
            )


def _made(kind: PartKind, args: argparse.Namespace) -> TubePart | PlatePart:
    """Make what was typed; every fault is told with its option."""
    from cagekit.errors import InputError
    from cagekit.face.kinds import make
    from cagekit.inputs.messages import FileInputError

    typed = {
        field: _number(getattr(args, f"dim_{field}"), _unit(kind.dims, field))
        for field in (*kind.dims.model_fields, "tube")
        if getattr(args, f"dim_{field}", None) is not None
    }
    where = f"cagekit part {kind.name}"
    try:
        return make(kind.name, typed, units=args.units or "mm", tooling=args.tooling)
    except FileInputError as error:
        raise FileInputError([_as_option(p, where) for p in error.problems]) from None
    except InputError as error:
        if error.where != f"{kind.name}()" or not error.field:
            raise
        told = {"problem": error.problem, "hint": error.hint}
        raise InputError(where, _option(error.field), error.value, **told) from None


def _doubt(kind: PartKind, part: TubePart | PlatePart, args: argparse.Namespace) -> None:
    """Tell of sizes that were typed and are not usual."""
    from cagekit.inputs.usual import unusual_sizes
    from cagekit.parts.kinds import is_tube

    sizes: dict[str, float] = {}
    for name in kind.dims.model_fields:
        value = part.parameters.get(name)
        if getattr(args, f"dim_{name}", None) is None or isinstance(value, bool):
            continue
        if isinstance(value, int | float):
            sizes[name] = float(value)
    for name, words in unusual_sizes(sizes, args.units or "mm", tube=is_tube(kind.name)):
        note(f"warning: {_option(name)} = {getattr(args, f'dim_{name}')}: {words}")


def _as_option(problem: Problem, where: str) -> Problem:
    return replace(problem, file=where, line=None, field=_option(problem.field))


def _number(text: str, unit: str) -> float | str:
    """An angle or plain number as a number; lengths and words stay text."""
    if unit == "mm":
        return text
    try:
        return float(text)
    except ValueError:
        return text


def _unit(dims: type[BaseModel], field: str) -> str:
    from cagekit.inputs.messages import unit_of

    return unit_of(dims, (field,))


def _option(field: str) -> str:
    return f"--{field.replace('_', '-')}"


def _shown(value: Any, unit: str, units: str) -> str:
    from cagekit.units import format_length

    if value is None:
        return "worked out when left out"
    if unit == "mm":
        return format_length(value, units)  # type: ignore[arg-type]
    return f"{round(degrees(value), 2):g} degrees" if unit == "deg" else str(value)


def _after(words: Sequence[str], option: str) -> tuple[str, ...]:
    """What is typed right after ``option``."""
    return tuple(b for a, b in pairwise(words) if a == option)

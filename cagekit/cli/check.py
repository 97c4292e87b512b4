"""``cagekit check BUILD``: every check in one table, without the CAD kernel."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from cagekit.cli.build import add_build, loaded, names, work_in
from cagekit.cli.console import Progress, caution, emit, note, width
from cagekit.names import at_start, in_words, named

if TYPE_CHECKING:
    from collections.abc import Sequence

    from cagekit.checks.finding import Finding
    from cagekit.design import Design
    from cagekit.units import LengthUnit


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the verb's arguments."""
    from cagekit.checks.registry import GROUPS

    add_build(parser)
    parser.add_argument(
        "--all", action="store_true", help="list all of it: what passes too, and every remark"
    )
    parser.add_argument(
        "--look", action="store_true", help="list what has to be looked at on the car"
    )
    parser.add_argument(
        "--input", action="store_true", help="list what has to be given before it can be judged"
    )
    parser.add_argument(
        "--groups", action="names", metavar="NAMES", help="run some groups of checks only"
    )
    parser.add_argument(
        "--rules", action="names", metavar="NAMES", help="rulebooks to use instead of the build's"
    )
    parser.add_argument("--why", metavar="CODE", help="tell all about one check")
    width = max((len(g.name) for g in GROUPS), default=0)
    rows = "\n".join(f"  {g.name:<{width}}  {g.about}" for g in GROUPS)
    parser.epilog = (
        f"groups:\n{rows}\n\nExit code 1 when a check fails, 3 when a part cannot be made: "
        "the check\ngoes on without it."
    )


def run(args: argparse.Namespace) -> int:
    """Run the checks and print their table."""
    from cagekit.checks.finding import has_failures
    from cagekit.checks.table import explain_text
    from cagekit.errors import GeometryError

    with Progress() as progress:
        whole = loaded(args, progress.step)
        progress.because(work_in(whole))
        design, without = whole.makeable
        progress.step("checking")
        every = whole.check(names(args.groups) or None, names(args.rules) or None)
    found = _about(every, args.why) if args.why else every
    if args.json:
        emit([f.to_json() for f in found])
    elif args.why:
        columns = min(width(), 100)
        print("\n\n".join(explain_text(f, units=design.units, width=columns) for f in found))
    else:
        _print(found, design, args)
    if without:
        names_out = ", ".join(named(e.id) for e in without)
        note(f"\nThe check went on without {names_out}: what hangs on it is not judged.")
    caution()
    if without:
        return GeometryError.exit_code
    return 1 if has_failures(found) else 0


def _about(found: Sequence[Finding], code: str) -> tuple[Finding, ...]:
    from cagekit.errors import NotFoundError
    from cagekit.hints import did_you_mean

    hits = tuple(f for f in found if f.code == code)
    if not hits:
        hint = did_you_mean(code, {f.code for f in found}, what="Checks")
        raise NotFoundError(f"--why {code}: no such check was made. {hint}".rstrip())
    return hits


def _print(found: Sequence[Finding], design: Design, args: argparse.Namespace) -> None:
    from cagekit.checks.table import table_text
    from cagekit.plates.clearing import by_section
    from cagekit.units import INCH

    cage, units = design.cage, design.units
    length = sum(cage.cut_length(i) for i in cage.members)
    total = f"{length / 1000:.1f} m" if units == "mm" else f"{length / INCH / 12:.1f} ft"
    print(f"{design.build.name}: {cage.count} tubes, {total} of tube")
    _remarks((*cage.notes, *by_section(cage.plates)), units, everything=args.all)
    _chosen(design, everything=args.all)
    print(
        table_text(
            found,
            units=units,
            width=min(width(), 100),
            everything=args.all,
            asked=args.input,
            looked=args.look,
        )
    )
    note(
        "`--look` and `--input` open what is only counted, `--all` everything; `--why CODE` "
        "explains one check."
    )


def _chosen(design: Design, *, everything: bool) -> None:
    """Which default feet were made to fit the car, and which seats nobody of the build sits in."""
    from cagekit.plates.clearing import chosen

    said = [
        f"{at_start(named(p.id))}: {words}." for p in design.cage.plates if (words := chosen(p))
    ]
    for words in said if everything else ():
        note(f"note: {words}")
    if said and not everything:
        many = "one foot plate was" if len(said) == 1 else f"{len(said)} foot plates were"
        note(f"note: {many} shifted, folded or resized to fit the car (--all tells how).")
    car, people = design.build.car, len(design.build.drivers)
    for n, seat in enumerate(car.seats[people:] if people else (), people + 1):
        note(
            f"note: nobody of the build sits in seat {n} ({seat.side}): nothing is held against it."
        )


def _remarks(notes: Sequence[str], units: LengthUnit, *, everything: bool) -> None:
    """What the cage has to say of itself; shared nodes are counted until all is asked for."""
    from cagekit.units.sentences import lengths_in

    shared = [n for n in notes if n.endswith("they share the node.")]
    for remark in notes:
        if everything or remark not in shared:
            note(f"note: {lengths_in(in_words(remark), units)}")
    if shared and not everything:
        many = "one end is" if len(shared) == 1 else f"{len(shared)} ends are"
        note(f"note: {many} coped to a second tube in the same node (--all names them).")

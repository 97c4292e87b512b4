"""``cagekit make BUILD``: everything a shop needs, in one folder."""

from __future__ import annotations

import argparse
import gc
from collections import Counter
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from cagekit.cli.build import add_build, design_of, names
from cagekit.cli.console import Progress, caution, emit, note, table
from cagekit.errors import InputError, KernelError
from cagekit.names import in_words, named

if TYPE_CHECKING:
    from cagekit.checks.finding import Finding, Status


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the verb's arguments."""
    from cagekit.make.products import PRODUCTS

    add_build(parser)
    parser.add_argument("--out", metavar="DIR", help="folder to write (outputs/<build>)")
    parser.add_argument(
        "--only",
        action="names",
        metavar="NAMES",
        help="make some products only, e.g. --only step,dxf",
    )
    parser.add_argument(
        "--jobs",
        type=int,
        choices=(1, 2),
        help="processes that make products side by side (2 for all products, where there are two "
        "cores); the files are the same",
    )
    parser.add_argument("--strict", action="store_true", help="write nothing when a check fails")
    parser.add_argument(
        "--accept-findings",
        action="store_true",
        help="exit code 0 although checks fail: somebody has read them",
    )
    width = max(len(p.name) for p in PRODUCTS)
    rows = "\n".join(f"  {p.name:<{width}}  {p.about}" for p in PRODUCTS)
    parser.epilog = (
        f"products:\n{rows}\n\n"
        "The folder is swapped in when it is whole; files of your own in it stay, and what was\n"
        "edited since the last run is kept beside the new file.\n\n"
        "Exit code 1 when a check fails, although everything was made; 3 when a solid cannot be\n"
        "made: it is named, and everything else is written."
    )


def run(args: argparse.Namespace) -> int:
    """Make the build.

    Raises:
        InputError: an option is empty.
    """
    from cagekit.checks import Status
    from cagekit.make.ahead import can_be_copied, processes, started
    from cagekit.make.products import chosen
    from cagekit.plates.clearing import by_section
    from cagekit.units.sentences import lengths_in

    for option in ("only", "out"):
        if getattr(args, option) is not None and not getattr(args, option).strip(" ,"):
            raise InputError(f"--{option}", "", "", problem="is empty; leave it out or name one.")
    only = names(args.only)
    products = chosen(only)
    number = processes(products, only, args.jobs)
    with started(products, number) as second, Progress(len(products) + 3) as progress:
        job = design_of(args, progress.step)
        progress.step("checking")
        counts = counted(job.check())
        if args.strict and counts[Status.FAIL]:
            if args.json:
                emit({"folder": None, "files": [], "checks": _by_word(counts)})
            else:
                print(f"{told(counts)}; nothing was written (--strict). `check` tells them.")
            return 1
        from cagekit.make.run import make  # when the second process is loading

        target = Path(args.out) if args.out else Path("outputs") / job.build.name

        # what was loaded and worked out to here lives until the end: no look at it frees anything
        gc.freeze()

        made = make(
            job,
            target,
            only=only,
            jobs=number,
            second=second,
            copied=can_be_copied(),
            progress=lambda name: progress.step(f"making {name}"),
        )
    if args.debug and made.alone:
        note(f"debug: one process made everything: {made.alone}")
    for remark in (*job.cage.notes, *by_section(job.cage.plates)):
        note(f"note: {lengths_in(in_words(remark), job.units)}")
    if made.dropped:
        note(f"note: {', '.join(made.dropped)} of the last run came from other inputs and is gone.")
    for remark in made.remarks:
        note(f"note: {remark}.")
    files = [f for group in made.files.values() for f in group]
    if args.json:
        emit(
            {
                "folder": str(target),
                "files": sorted(files),
                "kept": list(made.kept),
                "left_out": dict(made.left_out),
                "checks": _by_word(counts),
            }
        )
    else:
        print(f"{target}/  {job.cage.count} tubes, {len(files)} files")
        table([(name, _some(made.files[name])) for name in made.files], indent=2)
        print(told(counts) + (": `check` tells them." if counts[Status.FAIL] else "."))
    for id_, why in made.left_out.items():
        note(f"error: {named(id_)} is in no STEP file: {why.removeprefix(f'{id_}: ')}")
    caution()
    if made.left_out:
        return KernelError.exit_code
    return 1 if counts[Status.FAIL] and not args.accept_findings else 0


def counted(found: Iterable[Finding]) -> dict[Status, int]:
    """How many findings there are of each status."""
    from cagekit.checks.finding import Status

    seen = Counter(f.status for f in found)
    return {status: seen[status] for status in Status}


def told(counts: Mapping[Status, int]) -> str:
    """The counts in a line, what needs nobody left out: ``checks: 2 fail, 9 warn``."""
    from cagekit.checks.finding import Status
    from cagekit.checks.table import COUNTED

    quiet = (Status.PASS, Status.NOT_APPLICABLE)
    shown = [f"{n} {COUNTED[s]}" for s, n in counts.items() if s not in quiet and n]
    if not counts[Status.FAIL]:
        shown = ["none fails", *shown]
    return f"checks: {', '.join(shown)}"


def _by_word(counts: Mapping[Status, int]) -> dict[str, int]:
    return {status.value: n for status, n in counts.items()}


def _some(files: tuple[str, ...]) -> str:
    """A few of the files, and how many more there are; that there are none."""
    if not files:
        return "nothing: the cage has none of it"
    return ", ".join(files[:3]) + (f" and {len(files) - 3} more" if len(files) > 3 else "")

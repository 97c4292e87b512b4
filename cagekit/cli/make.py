"""``cagekit make BUILD``: everything a shop needs, in one folder."""

from __future__ import annotations

import argparse
from pathlib import Path

from cagekit.cli.build import add_build, design_of
from cagekit.cli.console import Progress, caution, emit, note, table
from cagekit.errors import InputError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the verb's arguments."""
    from cagekit.make.products import PRODUCTS

    add_build(parser)
    parser.add_argument("--out", metavar="DIR", help="folder to write (outputs/<build>)")
    parser.add_argument(
        "--only", metavar="NAMES", help="make some products only, e.g. --only step,dxf"
    )
    width = max(len(p.name) for p in PRODUCTS)
    rows = "\n".join(f"  {p.name:<{width}}  {p.about}" for p in PRODUCTS)
    parser.epilog = (
        f"products:\n{rows}\n\n"
        "The folder is swapped in when it is whole; files of your own in it stay."
    )


def run(args: argparse.Namespace) -> int:
    """Make the build."""
    from cagekit.make.products import chosen
    from cagekit.make.run import make

    for option in ("only", "out"):
        if getattr(args, option) is not None and not getattr(args, option).strip(" ,"):
            raise InputError(f"--{option}", "", "", problem="is empty; leave it out or name one.")
    only = names(args.only)
    products = chosen(only)
    with Progress(len(products) + 2) as progress:
        job = design_of(args, progress.step)
        target = Path(args.out) if args.out else Path("outputs") / job.build.name
        made = make(job, target, only=only, progress=lambda name: progress.step(f"making {name}"))
    for remark in job.cage.notes:
        note(f"note: {remark}")
    if made.dropped:
        note(f"note: {', '.join(made.dropped)} of the last run came from other inputs and is gone.")
    files = [f for group in made.files.values() for f in group]
    if args.json:
        emit({"folder": str(target), "files": sorted(files), "kept": list(made.kept)})
    else:
        print(f"{target}/  {len(job.cage.members)} members, {len(files)} files")
        table([(name, _some(made.files[name])) for name in made.files], indent=2)
    caution()
    return 0


def names(text: str | None) -> tuple[str, ...]:
    """Split a list typed with commas."""
    return tuple(dict.fromkeys(n.strip() for n in (text or "").split(",") if n.strip()))


def _some(files: tuple[str, ...]) -> str:
    """A few of the files, and how many more there are."""
    return ", ".join(files[:3]) + (f" and {len(files) - 3} more" if len(files) > 3 else "")

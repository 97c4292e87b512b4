"""From a build's name to its design: what several verbs begin with."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING

from cagekit.cli.console import note
from cagekit.units import format_length

if TYPE_CHECKING:
    from cagekit.face.design import CageDesign


def add_build(parser: argparse.ArgumentParser) -> None:
    """Add the BUILD argument."""
    parser.add_argument("build", metavar="BUILD", help="build preset, or path to a build file")


def design_of(
    args: argparse.Namespace, progress: Callable[[str], None] = lambda name: None
) -> CageDesign:
    """Load the build that was named and put its cage together."""
    design = loaded(args, progress)
    _ = design.cage
    return design


def loaded(args: argparse.Namespace, progress: Callable[[str], None]) -> CageDesign:
    """Load the build that was named."""
    from cagekit.face.design import load

    progress("reading the build")
    design = load(args.build, units=args.units)
    for remark in design.build.remarks:
        note(f"warning: {remark}")
    progress("putting the cage together")
    return design


def work_in(design: CageDesign) -> str:
    """What makes a check long, in words: how much there is to put together and to compare."""
    build = design.build
    largest = max((getattr(p, "length", 0.0) for p in build.plates), default=0.0)
    size = format_length(largest, design.units)
    return (
        f"the build has {len(build.entries)} members and {len(build.plates)} plate tables, "
        f"the longest plate is {size}"
    )

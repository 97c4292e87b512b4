"""From a build's name to its design: what several verbs begin with."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from cagekit.cli.console import note

if TYPE_CHECKING:
    from cagekit.design import Design
    from cagekit.design.makeable import LeftOut


def add_build(parser: argparse.ArgumentParser) -> None:
    """Add the BUILD argument."""
    parser.add_argument("build", metavar="BUILD", help="build preset, or path to a build file")


def design_of(
    args: argparse.Namespace, progress: Callable[[str], None] = lambda name: None
) -> Design:
    """Load the build that was named and put its cage together."""
    design = _loaded(args, progress)
    _ = design.cage
    return design


def makeable_of(
    args: argparse.Namespace, progress: Callable[[str], None] = lambda name: None
) -> tuple[Design, Sequence[LeftOut]]:
    """Load the build that was named and put together what of it can be made."""
    from cagekit.design.makeable import makeable

    return makeable(_loaded(args, progress))


def _loaded(args: argparse.Namespace, progress: Callable[[str], None]) -> Design:
    from cagekit.design import Design

    progress("reading the build")
    design = Design.load(args.build, units=args.units)
    for remark in design.build.remarks:
        note(f"warning: {remark}")
    progress("putting the cage together")
    return design

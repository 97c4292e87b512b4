"""From a build's name to its design: what several verbs begin with."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING

from cagekit.cli.console import note

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

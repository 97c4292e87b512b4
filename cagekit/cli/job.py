"""From a build's name to its cage: what several verbs begin with."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from cagekit.cage.job import Job


def add_build(parser: argparse.ArgumentParser) -> None:
    """Add the BUILD argument."""
    parser.add_argument("build", metavar="BUILD", help="build preset, or path to a build file")


def job_of(args: argparse.Namespace, progress: Callable[[str], None] = lambda name: None) -> Job:
    """Load the build that was named and put its cage together."""
    from cagekit.assembly.assemble import assemble
    from cagekit.cage.job import Job
    from cagekit.inputs.resolve import load_build

    progress("reading the build")
    build = load_build(args.build)
    progress("putting the cage together")
    cage = assemble(build)
    return Job(build=build, cage=cage, units=args.units or build.units)

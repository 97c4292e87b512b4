"""From a build's name to its design: what several verbs begin with."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING

from cagekit.cli.console import note
from cagekit.units import format_length

if TYPE_CHECKING:
    from cagekit.face.design import CageDesign


MANY = 40
"""Members, or plate tables, from which on a check is much work."""
LARGE = 600.0
"""Plates longer than this (mm) are much work."""


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


def names(text: str | None) -> tuple[str, ...]:
    """Split a list typed with commas."""
    return tuple(dict.fromkeys(n.strip() for n in (text or "").split(",") if n.strip()))


def work_in(design: CageDesign) -> str:
    """What makes a check long, in words; empty when it is a usual cage on a busy machine."""
    build = design.build
    if (
        len(build.entries) < MANY
        and len(build.plates) < MANY
        and not any(getattr(p, "length", 0.0) > LARGE for p in build.plates)
    ):
        return ""
    largest = max((getattr(p, "length", 0.0) for p in build.plates), default=0.0)
    size = format_length(largest, design.units)
    return (
        f"the build has {len(build.entries)} members and {len(build.plates)} plate tables, "
        f"the longest plate is {size}"
    )

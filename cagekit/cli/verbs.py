"""The verbs. A verb is a module with ``add_arguments(parser)`` and ``run(args) -> int``.

It is imported only when it is called, so that help and version answer at once. A new verb is one
more line here. A verb whose options depend on what is typed also has ``add_more(parser, words)``.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, NamedTuple, Protocol, cast

if TYPE_CHECKING:
    import argparse


class VerbModule(Protocol):
    """What a verb's module offers."""

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """Add the verb's arguments."""

    def run(self, args: argparse.Namespace) -> int:
        """Do it; the exit code."""


class Verb(NamedTuple):
    """One verb: its name, its module and what it does in a line."""

    name: str
    module: str
    about: str

    def load(self) -> VerbModule:
        """Import the verb's module."""
        return cast(VerbModule, import_module(self.module))


VERBS: tuple[Verb, ...] = (
    Verb(
        "presets", "cagekit.cli.presets", "list cars, drivers, tubes, builds and all else there is"
    ),
    Verb("show", "cagekit.cli.show", "print one preset with its sources"),
    Verb("new", "cagekit.cli.new", "write a build file of your own to start from"),
    Verb("check", "cagekit.cli.check", "check a build: geometry, shop limits, rulebooks, fit"),
    Verb(
        "place", "cagekit.cli.place", "try a member over a range: which findings turn good or bad"
    ),
    Verb("view", "cagekit.cli.view", "look at a build in the browser and change it there"),
    Verb("strength", "cagekit.cli.strength", "screen the strength: loads, collapse, joints"),
    Verb("make", "cagekit.cli.make", "make solids, papers and schedules of a build"),
    Verb("part", "cagekit.cli.part", "make one part from a few dimensions"),
    Verb("measure", "cagekit.cli.measure", "write the blank measuring sheet of a layout"),
    Verb("doctor", "cagekit.cli.doctor", "versions, and what is missing"),
)
"""Every verb, in the order of the help."""

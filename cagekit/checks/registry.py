"""The check groups and the one function that runs them.

A group is a module with a function ``findings(design: Design) -> list[Finding]``; it is
imported when it is run, so that a table of one group costs nothing of the others.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from importlib import import_module

from cagekit.checks.finding import Finding, worst_first
from cagekit.design import Design
from cagekit.errors import InputError

Check = Callable[[Design], Iterable[Finding]]


@dataclass(frozen=True, slots=True)
class Group:
    """A check group: its name on the command line, its module, and what it looks at.

    ``of`` names the part of a cage that it is about; without one the module is not loaded.
    """

    name: str
    module: str
    about: str
    of: str = ""

    def check(self) -> Check:
        """Import the module and return its ``findings`` function."""
        return import_module(self.module).findings  # type: ignore[no-any-return]


GROUPS: tuple[Group, ...] = (
    Group("geometry", "cagekit.checks.geometry", "nodes, sharp joints, loose ends, collisions"),
    Group("fit", "cagekit.checks.fit.people", "the people in the cage: room, belts, way out"),
    Group("car", "cagekit.checks.fit.car_fit", "tubes against shell, doors and keep-outs"),
    Group("sight", "cagekit.checks.fit.sight", "what the bars hide from the driver"),
    Group("shop", "cagekit.checks.bending", "what the bender and the saw can make"),
    Group("plates", "cagekit.checks.plates", "folds, flanges and holes of the plates"),
    Group(
        "swing_out",
        "cagekit.checks.swing_out",
        "swing-out door bars: brackets, pins, swing",
        of="doors",
    ),
    Group("rules", "cagekit.checks.rules", "the rulebooks named in the build"),
)
"""Every group, in the order they are run."""


def run(
    design: Design, groups: Sequence[str] | None = None, rules: Sequence[str] | None = None
) -> tuple[Finding, ...]:
    """Run the checks and return their findings, worst first; kept by the design.

    Args:
        design: the build and its cage.
        groups: names of the groups to run; all when None.
        rules: rule profiles to use instead of those named in the build.

    Raises:
        InputError: a group that does not exist.
    """
    known = {g.name: g for g in GROUPS}
    wanted = tuple(known if groups is None else groups)
    for name in wanted:
        if name not in known:
            raise InputError(
                "--groups", "group", name, problem="no such check group.",
                hint=f"Known: {', '.join(known)}.",
            )  # fmt: skip
    held = design if rules is None else design.against(rules)
    found = (held.once(("findings", n), _of_group(known[n])) for n in wanted)
    return worst_first(f for group in found for f in group)


def _of_group(group: Group) -> Callable[[Design], tuple[Finding, ...]]:
    """What runs one group on a design; nothing where the cage has no such part."""

    def check(design: Design) -> tuple[Finding, ...]:
        if group.of and not getattr(design.cage, group.of):
            return ()
        return tuple(group.check()(design))

    return check

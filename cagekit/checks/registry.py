"""The check groups and the one function that runs them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from msgspec import Struct

from cagekit.checks.finding import Finding, Status, worst_first
from cagekit.errors import InputError

if TYPE_CHECKING:
    from cagekit.design import Design


class Group(Struct, frozen=True):
    """A check group: its name on the command line and what it looks at.

    ``of`` names the part of a cage that it is about, without which nothing is held;
    ``people`` tells a group that needs somebody in the car, ``asked`` one that takes a second
    and is run only when it is named.
    """

    name: str
    about: str
    of: str = ""
    people: str = ""
    asked: bool = False


GROUPS: tuple[Group, ...] = (
    Group("geometry", "nodes, sharp joints, loose ends, collisions"),
    Group("fit", "the people in the cage: room, belts, way out", people="room for the people"),
    Group("car", "tubes against shell, doors and keep-outs"),
    Group("sight", "what the bars hide from the driver", people="sight"),
    Group("shop", "what the bender and the saw can make"),
    Group("plates", "folds, flanges and holes of the plates"),
    Group("swing_out", "swing-out door bars: brackets, pins, swing", of="doors"),
    Group("rules", "the rulebooks named in the build"),
    Group("structure", "strength under the load cases; only when named", asked=True),
)
"""Every group, in the order they are run."""


def run(
    design: Design,
    groups: Sequence[str] | None = None,
    rules: Sequence[str] | None = None,
    *,
    apart: bool = False,
) -> tuple[Finding, ...]:
    """Run the checks and return their findings, worst first; kept by the design.

    Args:
        design: the build and its cage.
        groups: names of the groups to run; all but those to be asked for when None.
        rules: rule profiles to use instead of those named in the build.
        apart: tell what passes one by one too, to follow each from one version to another.

    Raises:
        InputError: a group that does not exist.
    """
    known = {g.name: g for g in GROUPS}
    wanted = tuple((g.name for g in GROUPS if not g.asked) if groups is None else groups)
    for name in wanted:
        if name not in known:
            raise InputError(
                "--groups", "group", name, problem="no such check group.",
                hint=f"Known: {', '.join(known)}.",
            )  # fmt: skip
    held = design if rules is None else design.against(rules)
    found = (held.once(("findings", n, apart), _of_group(known[n], apart=apart)) for n in wanted)
    return worst_first(f for group in found for f in group)


def _of_group(group: Group, *, apart: bool) -> Callable[[Design], tuple[Finding, ...]]:
    """What runs one group on a design; nothing where the cage has no such part."""

    def check(design: Design) -> tuple[Finding, ...]:
        from cagekit.checks.books import findings

        if group.of and not getattr(design.cage, group.of):
            return ()
        if group.people and not _seated(design, group):
            return (_nobody(group),)
        return tuple(findings(design, group.name, apart=apart))

    return check


def _seated(design: Design, group: Group) -> bool:
    people = design.cockpit.occupants
    return any(who.at_wheel for who in people) if group.name == "sight" else bool(people)


def _nobody(group: Group) -> Finding:
    """The finding of a build in which nobody sits."""
    return Finding(
        code=f"{group.name}/driver",
        group=group.name,
        subject="driver",
        quantity=group.people,
        status=Status.NEEDS_INPUT,
        text="Not measured: the build names no driver.",
        cure="Name driver sheets in the build file, e.g. drivers = ['tall-driver'].",
    )

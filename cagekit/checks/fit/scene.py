"""The cockpit of a build under check."""

from __future__ import annotations

from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from cagekit.checks.context import CheckContext
from cagekit.checks.finding import Finding, Status
from cagekit.fit.cockpit import Cockpit
from cagekit.inputs.padding import thickness_by_member

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.inputs.build import Build

_KNOWN: WeakKeyDictionary[Cage, tuple[Build, Cockpit]] = WeakKeyDictionary()


def cockpit_of(ctx: CheckContext) -> Cockpit:
    """Seat the build's drivers in its cage, padding on; kept for the next group that asks."""
    known = _KNOWN.get(ctx.cage)
    if known is None or known[0] is not ctx.build:
        members = ctx.cage.members
        roles = {m.id: m.role for m in members.values()}
        padding = thickness_by_member(ctx.build.file.padding, roles)
        known = (ctx.build, Cockpit.of(ctx.build.car, ctx.build.drivers, members, padding))
        _KNOWN[ctx.cage] = known
    return known[1]


def nobody(group: str, what: str) -> Finding:
    """The finding of a build that names no driver."""
    return Finding(
        code=f"{group}/driver",
        group=group,
        subject="driver",
        quantity=what,
        status=Status.NEEDS_INPUT,
        text="Not measured: the build names no driver.",
        cure="Name driver sheets in the build file, e.g. drivers = ['tall-driver'].",
    )

"""When the tacks of a cage are broken to weld hidden sides: as seldom as the joints allow."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations

from cagekit.shop.welding.moves import Pose

Shown = Sequence[tuple[Pose, frozenset[str]]]
"""Positions that a cage can take, each with the joints that are reached all round there."""


def fewest_breaks(offers: Mapping[int, Shown]) -> dict[int, Shown]:
    """Choose when the tacks are broken, and which positions the cage takes each time.

    Every joint that some position shows is welded once. Of the choices with the fewest breaks it is
    one with the fewest positions, the earliest of these, mild positions first.

    Args:
        offers: by stage of the work, in order, what each position shows there of the joints whose
            tubes stand by then.

    Returns:
        By stage, positions and the joints that are welded in each.
    """
    wanted = _all(offers.values())
    for breaks in range(len(offers) + 1):
        found = [_at(stages, offers, wanted) for stages in combinations(offers, breaks)]
        plans = [p for p in found if p is not None]
        if plans:
            return min(plans, key=lambda p: sum(map(len, p.values())))
    raise AssertionError("all stages together show every joint")


def _all(shown: Iterable[Shown]) -> frozenset[str]:
    return frozenset(j for positions in shown for _, joints in positions for j in joints)


def _at(
    stages: Sequence[int], offers: Mapping[int, Shown], wanted: frozenset[str]
) -> dict[int, Shown] | None:
    """Positions at these stages that show all that is wanted, each joint at the first; or None."""
    out: dict[int, Shown] = {}
    for i in stages:
        here = wanted & _all([offers[i]])
        out[i] = _positions(offers[i], here)
        wanted -= here
    return None if wanted else out


def _positions(shown: Shown, wanted: frozenset[str]) -> Shown:
    """The fewest positions that show what is wanted, each joint in the first that does."""
    count = next(
        n for n in range(len(shown) + 1) if any(wanted <= _all([p]) for p in combinations(shown, n))
    )
    chosen = next(p for p in combinations(shown, count) if wanted <= _all([p]))
    out = []
    for pose, joints in chosen:
        out.append((pose, joints & wanted))
        wanted -= joints
    return out

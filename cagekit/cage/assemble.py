"""Put a cage together: entries to members, members to a cage, feet to plates."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cagekit.build.build import Build
from cagekit.cage.cage import CONCENTRIC, Cage
from cagekit.cage.model import End, EndKind, EndName, Member
from cagekit.geometry.path import Path
from cagekit.members.registry import make
from cagekit.members.site import Site
from cagekit.plates.feet import plates_for

LOOK = 260.0
"""How far from a node (mm along both tubes) two branches are looked at for running into each other."""


def assemble(build: Build) -> Cage:
    """Make the cage of a build.

    Members are made in the layout's order. A branch that runs into an earlier branch of the same
    node is coped to that one too. The plates under the feet and at the nodes come last.

    Raises:
        GeometryError: a member or plate cannot be made; says which and why.
        InputError: a place or measurement that an entry needs is missing or wrong.
    """
    cage = members_only(build)
    return cage.with_plates(plates_for(build, cage))


def members_only(build: Build) -> Cage:
    """Make the tubes of a build, without plates."""
    site = Site(build)
    notes: list[str] = []
    for entry in build.entries:
        made = make(site, entry)
        made = [_meet_neighbours(site, m, notes) for m in made]
        site.add(made)
    cage = Cage(build.name, site.members.values(), notes=notes)
    for joint in cage.joints:
        if not joint.concentric:
            notes.append(
                f"{joint.branch} end {joint.branch_end}: axes of {', '.join(joint.parents)} do not all "
                f"meet in its node (more than {CONCENTRIC} mm apart)."
            )
    return Cage(build.name, site.members.values(), notes=notes) if notes else cage


def _meet_neighbours(site: Site, member: Member, notes: list[str]) -> Member:
    """Cope a member's ends also to earlier branches that it would run into near the node."""
    for name, end in member.ends:
        if end.kind is not EndKind.COPE:
            continue
        hit = [
            other.id
            for other in site.members.values()
            if other.id not in end.parents and _runs_into(site, member, name, other, end)
        ]
        if hit:
            notes.append(f"{member.id} end {name} is coped to {', '.join(hit)} too: they share the node.")
            new = replace(end, parents=(*end.parents, *hit))
            member = replace(member, a=new) if name == "a" else replace(member, b=new)
    return member


def _runs_into(site: Site, member: Member, name: EndName, other: Member, end: End) -> bool:
    """Whether an earlier branch of a parent overlaps this one outside that parent's own tube."""
    shares = any(set(e.parents) & set(end.parents) for _, e in other.ends if e.kind is EndKind.COPE)
    if not shares:
        return False
    reach = member.tube.outer_radius + other.tube.outer_radius
    mine = _stretch(member.path, member.path.end_point(name))
    its = _stretch(other.path, member.path.end_point(name))
    if mine is None or its is None:
        return False
    parent = site.members[end.parents[0]]
    gaps = np.linalg.norm(mine[:, None, :] - its[None, :, :], axis=2)
    i, j = np.unravel_index(int(np.argmin(gaps)), gaps.shape)
    if gaps[i, j] > reach - 1.0:
        return False
    # touching only inside the parent's tube is no collision: the parent is between them
    outside = _clear_of(parent, mine, member.tube.outer_radius)
    other_out = _clear_of(parent, its, other.tube.outer_radius)
    return bool((gaps[np.ix_(outside, other_out)] < reach - 1.0).any())


def _clear_of(parent: Member, points: np.ndarray, radius: float) -> np.ndarray:
    """Mask of axis points whose tube has left the parent's tube for the most part."""
    r = parent.tube.outer_radius
    return np.array([np.linalg.norm(parent.path.nearest(p).point - p) > r + 0.3 * radius for p in points])


def _stretch(path: Path, node: np.ndarray) -> np.ndarray | None:
    """Axis points of a path within ``LOOK`` of a node, ``(n, 3)``; None when it is far away."""
    spot = path.nearest(node)
    if float(np.linalg.norm(spot.point - node)) > LOOK:
        return None
    low, high = max(spot.station - LOOK, 0.0), min(spot.station + LOOK, path.length)
    return path.points(np.linspace(low, high, 80))

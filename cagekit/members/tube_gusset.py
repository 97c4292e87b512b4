"""Tube gusset: a short tube across the corner where two members meet."""

from __future__ import annotations

import re

from cagekit.cage.member import EndKind, Member
from cagekit.cage.places import Place
from cagekit.errors import GeometryError, InputError
from cagekit.inputs.entries import TubeGussetEntry
from cagekit.members.site import Site
from cagekit.members.strut import between, spot_along

NODE = re.compile(r"^([a-z0-9_]+)\s+end\s+([ab])$")


def make(site: Site, entry: TubeGussetEntry) -> list[Member]:
    """Make a gusset tube across a joint named by its branch end, or between two given places."""
    if entry.from_ and entry.to:
        return between(site, entry, "tube_gusset", entry.from_, entry.to)
    match = NODE.match((entry.node or "").strip())
    if not match:
        raise InputError(
            site.where(entry, "node"),
            "",
            entry.node,
            problem="names no joint.",
            hint="Write the branch's end, e.g. `a_pillar_bar_left end a`.",
        )
    branch = site.places.member(match[1], where=site.where(entry, "node"))
    end = branch.end(match[2])
    if end.kind is not EndKind.COPE:
        raise GeometryError(entry.id, f"{branch.id} end {match[2]} is not coped to a member.")
    parent = site.members[end.parents[0]]
    node = parent.path.nearest(branch.path.end_point(match[2]))
    station = node.station + entry.along_parent * (1.0 if entry.way == "b" else -1.0)
    if not 0 < station < parent.path.length:
        raise GeometryError(
            entry.id,
            f"{parent.id} ends before {entry.along_parent:.0f} mm towards end {entry.way}.",
        )
    spot = parent.path.spot(station)
    on_parent = Place(point=spot.point, members=(parent.id,), spot=spot)
    return site.struts(
        entry, "tube_gusset", spot_along(branch, match[2], entry.along_branch), on_parent
    )

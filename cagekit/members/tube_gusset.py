"""Tube gusset: a short tube across the corner where two members meet."""

from __future__ import annotations

from cagekit.cage.member import EndKind, Member
from cagekit.cage.places import Place
from cagekit.errors import GeometryError, InputError
from cagekit.inputs.entries import TubeGussetEntry
from cagekit.members.site import Site
from cagekit.members.strut import between, spot_along


def make(site: Site, entry: TubeGussetEntry) -> list[Member]:
    """Make a gusset tube across a joint named by its branch end, or between two given places.

    Raises:
        InputError: the joint or a place is missing.
        GeometryError: there is no joint, or the parent is too short.
    """
    if entry.from_ and entry.to:
        return between(site, entry, "tube_gusset", entry.from_, entry.to)
    if entry.from_ or entry.to:
        raise InputError(
            site.where(entry, "to" if entry.from_ else "from"),
            problem="is missing: a gusset runs between two places, or across a node.",
            hint="Give both `from` and `to`, or `node` alone.",
        )
    if entry.node is None:
        raise InputError(
            site.where(entry, "node"),
            problem="is missing.",
            hint="Write the branch's end, e.g. `a_pillar_bar_left end a`.",
        )
    name = entry.node.end
    branch = site.places.member(entry.node.tube, where=site.where(entry, "node"))
    end = branch.end(name)
    if end.kind is not EndKind.COPE:
        raise GeometryError(entry.id, f"{branch.id} end {name} is not coped to a member.")
    parent = site.members[end.parents[0]]
    node = parent.path.nearest(branch.path.end_point(name))
    station = node.station + entry.along_parent * (1.0 if entry.way == "b" else -1.0)
    if not 0 < station < parent.path.length:
        raise GeometryError(
            entry.id,
            f"{parent.id} ends before {entry.along_parent:.0f} mm towards end {entry.way}.",
        )
    spot = parent.path.spot(station)
    on_parent = Place(point=spot.point, members=(parent.id,), spot=spot)
    return site.struts(
        entry, "tube_gusset", spot_along(branch, name, entry.along_branch), on_parent
    )

"""Single parts from a few dimensions: every member kind on its own, without car or layout."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import cos, sin
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, Member
from cagekit.geometry.centre_line import CentreLine, Vec, unit, vec
from cagekit.inputs.fields import FileModel
from cagekit.inputs.part_dims import CrankedDims, HaloDims, HoopDims, StrutDims, TubeDims
from cagekit.inputs.struts import STRUTS
from cagekit.materials.tubes import Tube
from cagekit.members.main_hoop import leg_corners

FORWARD, ACROSS, UP = vec((1, 0, 0)), vec((0, 1, 0)), vec((0, 0, 1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """A part made alone: ``made`` are the ids in ``cage`` that belong to it, the rest are stubs."""

    cage: Cage
    made: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartKind:
    """One kind of part: what it is, its dimensions, and how it is made from them."""

    name: str
    summary: str
    dims: type[FileModel]
    make: Callable[[Any], Part]
    defaults: Mapping[str, Any]

    def read(self, values: Mapping[str, Any], units: str = "mm") -> FileModel:
        """Lay typed dimensions on the kind's defaults; pydantic's ValidationError on bad ones."""
        given = self.dims.model_validate(dict(values), context={"units": units})
        base = self.dims.model_validate(dict(self.defaults), context={"units": "mm"})
        return base.model_copy(update={n: getattr(given, n) for n in given.model_fields_set})


def _tube(d: TubeDims) -> Tube:
    return Tube(od=d.od, wall=d.wall, material=d.material)


def _stub(
    id_: str, at: ArrayLike, direction: ArrayLike, od: float, tube: Tube, reach: float = 400.0
) -> Member:
    """A straight piece of parent tube through ``at``."""
    p, d = np.asarray(at, float), unit(direction)
    parent = Tube(od=od, wall=min(tube.wall, od / 4), material=tube.material)
    return Member(
        id=id_, role="stub", tube=parent, path=CentreLine.straight(p - reach * d, p + reach * d)
    )


def _part(name: str, members: list[Member], *made: str) -> Part:
    return Part(cage=Cage(name, members), made=made or (name,))


def _hoop(name: str) -> Callable[[HoopDims], Part]:
    def make(d: HoopDims) -> Part:
        def corners(sign: float) -> list[np.ndarray]:
            foot = vec((0.0, sign * d.width_foot / 2, 0.0))
            belt = vec((d.reach_belt, sign * d.width_belt / 2, d.height_belt))
            return leg_corners(foot, belt, vec((d.reach_top, sign * d.width_top / 2, d.height)))

        points = [*corners(1.0), *reversed(corners(-1.0))]
        path = CentreLine.from_polyline(points, d.bend_radius, owner=name)
        feet = [End.flat(path.end_point(e), UP) for e in "ab"]
        hoop = Member(id=name, role=name, tube=_tube(d), path=path, a=feet[0], b=feet[1])
        return _part(name, [hoop])

    return make


def _halo(d: HaloDims) -> Part:
    tube = _tube(d)
    nodes = [(0.0, s * d.width_rear / 2, 0.0) for s in (1.0, -1.0)]
    corners = [(d.length, s * d.width_front / 2, d.rise) for s in (1.0, -1.0)]
    path = CentreLine.from_polyline([nodes[0], *corners, nodes[1]], d.bend_radius, owner="halo")
    legs = [
        _stub(f"leg_{n}", p, UP, d.parent_od, tube)
        for n, p in zip(("left", "right"), nodes, strict=True)
    ]
    halo = Member(
        id="halo",
        role="halo",
        tube=tube,
        path=path,
        a=End.coped("leg_left"),
        b=End.coped("leg_right"),
    )
    return _part("halo", [*legs, halo])


def _cranked(name: str) -> Callable[[CrankedDims], Part]:
    def make(d: CrankedDims) -> Part:
        tube = _tube(d)
        points = [np.zeros(3), np.array([d.leg_run, d.leg_splay, d.leg_height])]
        points.append(points[-1] + [-d.slope_run, d.slope_splay, d.slope_rise])
        if d.roof_run > 0:
            points.append(points[-1] + [-d.roof_run, d.roof_splay, d.roof_rise])
        path = CentreLine.from_polyline(points, d.bend_radius, owner=name)
        runs = {"forward": FORWARD, "across": ACROSS, "up": UP}[d.parent_runs]
        stub = _stub("top", points[-1], runs, d.parent_od, tube)
        bar = Member(
            id=name, role=name, tube=tube, path=path, a=End.flat((0, 0, 0), UP), b=End.coped("top")
        )
        return _part(name, [stub, bar])

    return make


def _strut(name: str) -> Callable[[StrutDims], Part]:
    def make(d: StrutDims) -> Part:
        tube = _tube(d)
        path = CentreLine.straight((0, 0, 0), (d.length, 0, 0), owner=name)
        members: list[Member] = []
        ends: list[End] = []
        for end, at, kind, angle, od, offset, turn in (
            ("a", 0.0, d.end_a, d.angle_a, d.parent_od_a, d.offset_a, 0.0),
            ("b", d.length, d.end_b, d.angle_b, d.parent_od_b, d.offset_b, d.twist),
        ):
            side = vec((0.0, cos(turn), sin(turn)))
            up = vec((0.0, -sin(turn), cos(turn)))
            point = vec((at, 0.0, 0.0))
            if kind == "flat":
                inward = 1.0 if end == "a" else -1.0
                ends.append(End.flat(point, inward * sin(angle) * FORWARD + cos(angle) * up))
                continue
            along: Vec = vec(cos(angle) * FORWARD + sin(angle) * up)
            members.append(
                _stub(f"parent_{end}", point + offset * side, along, od, tube, reach=1000.0)
            )
            ends.append(End.coped(f"parent_{end}"))
        bar = Member(id=name, role=name, tube=tube, path=path, a=ends[0], b=ends[1])
        return _part(name, [*members, bar])

    return make


def _kind(
    name: str, summary: str, dims: type[FileModel], make: Callable[[Any], Part], **defaults: Any
) -> PartKind:
    return PartKind(name=name, summary=summary, dims=dims, make=make, defaults=defaults)


def _strut_kind(name: str, summary: str, **defaults: Any) -> PartKind:
    return _kind(name, summary, StrutDims, _strut(name), **defaults)


KINDS: Mapping[str, PartKind] = {
    k.name: k
    for k in (
        _kind(
            "main_hoop", "main hoop, floor to floor behind the driver", HoopDims, _hoop("main_hoop")
        ),
        _kind(
            "front_hoop",
            "front hoop, up the pillars and across the header",
            HoopDims,
            _hoop("front_hoop"),
            width_foot=1220.0,
            width_belt=1310.0,
            width_top=950.0,
            height_belt=600.0,
            height=1040.0,
            reach_belt=40.0,
            reach_top=-430.0,
        ),
        _kind("halo", "roof loop from the main hoop across the header", HaloDims, _halo),
        _kind(
            "a_pillar_bar",
            "A-pillar bar, from its foot up the pillar to the halo",
            CrankedDims,
            _cranked("a_pillar_bar"),
        ),
        _kind(
            "half_hoop",
            "half hoop, from its foot up the pillar and back to the main hoop",
            CrankedDims,
            _cranked("half_hoop"),
            slope_run=420.0,
            slope_rise=340.0,
            slope_splay=-170.0,
            roof_run=760.0,
            roof_rise=20.0,
            roof_splay=30.0,
            parent_runs="up",
        ),
        _strut_kind(
            "windscreen_brace",
            "brace of the windscreen pillar",
            length=990.0,
            angle_a=50.0,
            angle_b=35.0,
        ),
        _strut_kind("harness_bar", "bar across the main hoop behind the shoulders", length=1330.0),
        _strut_kind(
            "hoop_diagonal",
            "diagonal in the plane of the main hoop",
            length=1480.0,
            angle_a=40.0,
            angle_b=42.0,
        ),
        _strut_kind(
            "roof_diagonal", "diagonal in the roof", length=1130.0, angle_a=52.0, angle_b=40.0
        ),
        _strut_kind(
            "door_bar", "bar across the door opening", length=1210.0, angle_a=86.0, angle_b=80.0
        ),
        _strut_kind("dash_bar", "bar across the dash", length=1310.0),
        _strut_kind(
            "outrigger",
            "tube under a foot, frame to sill",
            length=520.0,
            end_a="flat",
            end_b="flat",
        ),
        _strut_kind(
            "rocker_brace",
            "brace from a leg to the sill",
            length=360.0,
            angle_a=40.0,
            end_b="flat",
            angle_b=40.0,
        ),
        _strut_kind(
            "tube_gusset",
            "short tube across a corner",
            length=255.0,
            angle_a=45.0,
            angle_b=45.0,
            twist=180.0,
        ),
        *(_strut_kind(kind, row.about, **row.part) for kind, row in STRUTS.items()),
        _strut_kind("strut", "any straight tube between two ends"),
    )
}
"""Every kind of member that can be made alone, by name."""

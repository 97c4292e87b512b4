"""Single parts from a few dimensions: every member kind on its own, without car or layout."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import cos, sin
from typing import Any

import numpy as np
from msgspec import Struct, field
from numpy.typing import ArrayLike

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, Member
from cagekit.geometry.centre_line import CentreLine, Vec, unit, vec
from cagekit.inputs.entries import DashBarForm
from cagekit.inputs.fields import FileModel
from cagekit.inputs.member_kinds import MEMBER_KINDS
from cagekit.inputs.part_dims import (
    TUBE_DIMS,
    FrontHoopDims,
    HalfHoopDims,
    HaloDims,
    MainHoopDims,
    PillarBarDims,
    StandingDims,
    StrutDims,
    TubeDims,
)
from cagekit.inputs.plate_presets import plate_preset, plate_source
from cagekit.materials.tubes import Tube
from cagekit.members.front import (
    front_hoop_points,
    half_hoop_points,
    halo_points,
    pillar_points,
)
from cagekit.members.main_hoop import hoop_points, leg_corners
from cagekit.members.strut import set_back_corners
from cagekit.parts.kinds import summaries

FORWARD, ACROSS, UP = vec((1, 0, 0)), vec((0, 1, 0)), vec((0, 0, 1))


class Part(Struct, frozen=True, kw_only=True, eq=False):
    """A part made alone: ``made`` are the ids in ``cage`` that belong to it, the rest are stubs."""

    cage: Cage
    made: tuple[str, ...]


class PartKind(Struct, frozen=True, kw_only=True):
    """One kind of part: what it is, its dimensions, and how it is made from them."""

    name: str
    dims: type[FileModel]
    make: Callable[[Any], Part]
    presets: Mapping[str, str] = field(default_factory=dict)
    """Plate presets by the units that are typed in, where the defaults are those of presets."""
    source: str = ""
    """Where its defaults come from, when from no preset."""

    @property
    def summary(self) -> str:
        """What it is, in a line."""
        return summaries()[self.name]

    @property
    def usual(self) -> FileModel:
        """The dimensions when nothing is typed."""
        return self.read({})

    def source_in(self, units: str = "mm") -> str:
        """Where its defaults come from when ``units`` are typed in."""
        preset = self.presets.get(units)
        return plate_source(preset) if preset else self.source

    def read(self, values: Mapping[str, Any], units: str = "mm") -> FileModel:
        """Lay typed dimensions on the usual ones; pydantic's ValidationError on bad ones."""
        given = self.dims.model_validate(dict(values), context={"units": units})
        if units not in self.presets:
            return given
        plate = plate_preset(self.presets[units])
        said = plate.model_fields_set & set(self.dims.model_fields) - {"style", *values}
        return given.model_copy(update={n: getattr(plate, n) for n in sorted(said)})


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


def _standing(name: str, tube: Tube, points: ArrayLike, radius: float) -> Part:
    """A tube that stands on both its feet."""
    path = CentreLine.from_polyline(points, radius, owner=name)
    feet = [End.flat(path.end_point(e), UP) for e in "ab"]
    return _part(name, [Member(id=name, role=name, tube=tube, path=path, a=feet[0], b=feet[1])])


def _leg_points(d: MainHoopDims | FrontHoopDims, sign: float) -> tuple[Vec, Vec, Vec]:
    """Foot, belt line and corner of the top bend of one leg."""
    return (
        vec((0.0, sign * d.width_foot / 2, 0.0)),
        vec((d.reach_belt, sign * d.width_belt / 2, d.height_belt)),
        vec((d.reach_top, sign * d.width_top / 2, d.height)),
    )


def _main_hoop(d: MainHoopDims) -> Part:
    legs = [leg_corners(*_leg_points(d, s), straight=d.straight_legs) for s in (1.0, -1.0)]
    return _standing("main_hoop", _tube(d), hoop_points(d, *legs), d.bend_radius)


def _front_hoop(d: FrontHoopDims) -> Part:
    points = front_hoop_points(*(_leg_points(d, s) for s in (1.0, -1.0)))
    return _standing("front_hoop", _tube(d), points, d.bend_radius)


def _halo(d: HaloDims) -> Part:
    tube = _tube(d)
    nodes = [vec((0.0, s * d.width_rear / 2, 0.0)) for s in (1.0, -1.0)]
    corners = [vec((d.length, s * d.width_front / 2, d.rise)) for s in (1.0, -1.0)]
    points = halo_points(d, nodes, corners)
    path = CentreLine.from_polyline(points, d.bend_radius, owner="halo")
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


def _to_knee_and_top(d: StandingDims) -> tuple[Vec, Vec, Vec]:
    """Foot, lower bend and upper end of the sloping part, on the left."""
    knee = vec((d.leg_run, d.leg_splay, d.leg_height))
    return vec((0, 0, 0)), knee, vec(np.add(knee, (-d.slope_run, d.slope_splay, d.slope_rise)))


def _at_top(d: StandingDims, point: Vec, tube: Tube) -> Member:
    """The tube that the upper end is coped to."""
    runs = {"forward": FORWARD, "across": ACROSS, "up": UP}[d.parent_runs]
    return _stub("top", point, runs, d.parent_od, tube)


def _pillar_bar(d: PillarBarDims) -> Part:
    name, tube = "a_pillar_bar", _tube(d)
    foot, knee, top = _to_knee_and_top(d)
    path = CentreLine.from_polyline(
        pillar_points(d, top, knee, foot, 1.0), d.bend_radius, owner=name
    )
    ends = End.coped("top"), End.flat(foot, UP)
    bar = Member(id=name, role=name, tube=tube, path=path, a=ends[0], b=ends[1])
    return _part(name, [_at_top(d, top, tube), bar])


def _half_hoop(d: HalfHoopDims) -> Part:
    name, tube = "half_hoop", _tube(d)
    foot, knee, corner = _to_knee_and_top(d)
    node = vec(np.add(corner, (-d.roof_run, d.roof_splay, d.roof_rise)))
    points = half_hoop_points(foot, knee, corner, node)
    path = CentreLine.from_polyline(points, d.bend_radius, owner=name)
    ends = End.flat(foot, UP), End.coped("top")
    bar = Member(id=name, role=name, tube=tube, path=path, a=ends[0], b=ends[1])
    return _part(name, [_at_top(d, node, tube), bar])


def _strut_path(name: str, d: StrutDims) -> CentreLine:
    """Between the two ends; a dash bar's middle set back, away from its parents' line."""
    ends = vec((0, 0, 0)), vec((d.length, 0, 0))
    back = set_back_corners(d, *ends, -ACROSS) if isinstance(d, DashBarForm) else ()
    if not back:
        return CentreLine.straight(*ends, owner=name)
    return CentreLine.from_polyline([ends[0], *back, ends[1]], d.bend_radius, owner=name)


def _strut(name: str) -> Callable[[StrutDims], Part]:
    def make(d: StrutDims) -> Part:
        tube = _tube(d)
        path = _strut_path(name, d)
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


LOOPS: Mapping[str, Callable[[Any], Part]] = {
    "main_hoop": _main_hoop,
    "front_hoop": _front_hoop,
    "halo": _halo,
    "a_pillar_bar": _pillar_bar,
    "half_hoop": _half_hoop,
}
"""How the kinds are made that are no struts."""

KINDS: Mapping[str, PartKind] = {
    kind: PartKind(
        name=kind,
        dims=TUBE_DIMS[kind],
        make=LOOPS.get(kind) or _strut(kind),
        source=row.source,
    )
    for kind, row in MEMBER_KINDS.items()
}
"""Every kind of member that can be made alone, by name."""

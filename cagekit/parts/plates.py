"""Plates alone from a few dimensions, for ``cagekit part`` and for scripts."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from math import cos, sin
from types import MappingProxyType
from typing import Any, Literal

import numpy as np
from msgspec.structs import replace

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, Member
from cagekit.cage.plate import Plate
from cagekit.errors import InputError
from cagekit.geometry.centre_line import CentreLine
from cagekit.inputs.fields import FileModel
from cagekit.inputs.plate_dims import (
    FloorPlateDims,
    FoldedGussetDims,
    GussetDims,
    OutriggerBoxDims,
    PlinthDims,
    TabDims,
)
from cagekit.materials.tubes import Tube
from cagekit.parts.tubes import Part, PartKind
from cagekit.plates.box import box
from cagekit.plates.corner import Corner
from cagekit.plates.floor_plate import FloorPlateSpec, floor_plate
from cagekit.plates.foot import Foot
from cagekit.plates.gusset import GussetSpec, flat_gusset
from cagekit.plates.outrigger import box_spec
from cagekit.plates.plinth import plinth
from cagekit.plates.profile import Folding
from cagekit.plates.saddle import folded_gusset
from cagekit.plates.tab import TabSpec, tabs
from cagekit.units import format_length

STUB = 600.0
"""Length of the tubes that a plate alone is fitted to, mm."""


def _tube(od: float) -> Tube:
    return Tube(od=od, wall=min(2.5, od / 8), material="e235-n")


def _foot(od: float, lean: float = 0.0) -> Foot:
    """The foot of a tube that leans forward by ``lean`` rad."""
    path = CentreLine.straight((0, 0, 0), (STUB * sin(lean), 0, STUB * cos(lean)))
    tube = Member(
        id="tube", role="tube", tube=_tube(od), path=path, a=End.flat((0, 0, 0), (0, 0, 1))
    )
    return Foot.of(Cage("part", [tube]), "tube", "a", None)


def _folding(d: FloorPlateDims | GussetDims) -> Folding:
    return replace(Folding.of(None, d.thickness, d.fold_radius), k=d.k)


def _floor(d: FloorPlateDims) -> Sequence[Plate]:
    foot = replace(_foot(d.od, d.lean), sheet=d.sheet)
    if d.fold_at:
        level = -d.thickness
        far = (d.fold_at + 500 * cos(d.fold_angle), level + 500 * sin(d.fold_angle))
        foot = replace(foot, profile=((-500.0, level), (d.fold_at, level), far))
    spec = FloorPlateSpec.of(d, _folding(d), d.thickness, "mm")
    style: Literal["flat", "folded"] = "folded" if d.fold_at else "flat"
    plates = floor_plate("floor_plate", foot, replace(spec, style=style))
    flanges = (d.front_flange > 0) + (d.rear_flange > 0)
    if d.fold_at and len(plates[0].folds) <= flanges:
        raise InputError(
            "floor_plate()",
            "fold_at",
            format_length(d.fold_at),
            problem="the plate does not reach far enough past that corner to be folded there.",
            hint="Make it wider (`width`), bring `fold_at` nearer to the foot, or leave it out.",
        )
    return plates


def _gusset(d: GussetDims) -> Sequence[Plate]:
    branch = CentreLine.straight((0, 0, 0), (STUB * cos(d.angle), STUB * sin(d.angle), 0))
    parent = CentreLine.straight((-STUB, 0, 0), (STUB, 0, 0))
    members = [
        Member(id="parent", role="stub", tube=_tube(d.od_parent), path=parent),
        Member(
            id="branch", role="stub", tube=_tube(d.od_branch), path=branch, a=End.coped("parent")
        ),
    ]
    cage = Cage("part", members)
    spec = GussetSpec.of(d, d.thickness, _folding(d))
    make = folded_gusset if d.style == "folded" else flat_gusset
    return (make("gusset", Corner.of(cage, cage.joints[0], "b"), spec),)


def _tab(d: TabDims) -> Sequence[Plate]:
    spec = TabSpec.of(d, d.thickness)
    if d.bolt is not None and not d.bolt_size:
        spec = replace(spec, pin=d.bolt)
    path = CentreLine.straight((-STUB, 0, 0), (STUB, 0, 0))
    return tabs("tab", "tube", path, d.od / 2, STUB, spec, (0.0, 0.0, 1.0))


def _plinth(d: PlinthDims) -> Sequence[Plate]:
    sized = FloorPlateSpec.sized(d, Folding.of(None, d.thickness), d.thickness)
    spec = replace(sized, style="plinth")
    return plinth("plinth", _foot(d.od), spec, d.height, d.wall)


def _outrigger(d: OutriggerBoxDims) -> Sequence[Plate]:
    spec = box_spec("outrigger", d, d.length, d.thickness)
    return box("outrigger", np.eye(4), spec)


USUAL = "from memory; presets/plates holds sizes with their documents"
"""Where the default sizes of most plates come from."""
FOLDED_GUSSET: Mapping[str, str] = {"mm": "gusset-folded", "in": "gusset-folded-in"}
"""Presets of a folded gusset, by the units that are typed in."""


def _kind(
    name: str,
    dims: type[FileModel],
    make: Callable[[Any], Sequence[Plate]],
    presets: Mapping[str, str] = MappingProxyType({}),
) -> PartKind:
    def part(d: Any) -> Part:
        return Part(cage=Cage(name, (), plates=make(d)), made=())

    return PartKind(name=name, dims=dims, make=part, presets=presets, source=USUAL)


PLATE_KINDS: Mapping[str, PartKind] = {
    k.name: k
    for k in (
        _kind("floor_plate", FloorPlateDims, _floor),
        _kind("gusset", GussetDims, _gusset),
        _kind("folded_gusset", FoldedGussetDims, _gusset, FOLDED_GUSSET),
        _kind("tab", TabDims, _tab),
        _kind("plinth", PlinthDims, _plinth),
        _kind("outrigger_box", OutriggerBoxDims, _outrigger),
    )
}
"""Kinds of plate that can be made alone, by name."""

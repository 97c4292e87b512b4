"""Quantities of plates as the shop makes them: folds, flanges, holes, edges, cutting.

A plate that cannot exist at all is refused by `Plate` itself.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from functools import partial
from math import degrees, tan
from typing import TYPE_CHECKING

import numpy as np

from cagekit.cage.kept import Same
from cagekit.cage.plate import Hole, HolePurpose, Plate
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.plate_clash import clashes
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey
from cagekit.geometry.centre_line import Vec
from cagekit.shop.nesting.sheets import sheet_share as share_of_sheet

if TYPE_CHECKING:
    from cagekit.geometry.fold import Bend, Fold


def _at(plate: Plate, xy: Vec) -> Evidence:
    return Evidence.of(*plate.members, plates=[plate.id], points=[plate.car_point(xy)])


def _in_the_middle(s: Survey, plate: Plate) -> Evidence:
    """A plate, and the middle of its flat pattern."""
    at = partial(_at, plate, plate.outline.centroid)
    return s.cage.kept.once(("middle of a plate", *_metal(plate)), at)


def _metal(plate: Plate) -> tuple[Hashable, ...]:
    """All of a plate that its findings here hang on: of a foot that moves on it none does."""
    return plate.id, plate.members, plate.body


# --- folds ----------------------------------------------------------------------------------


def _folds(s: Survey, pick: Pick) -> Iterator[tuple[Plate, Bend, Fold, str, Evidence]]:
    """Every fold of the plates of the picked steels: plate, bend, fold, name, evidence."""
    for plate in s.plates:
        if pick.takes(plate.material):
            yield from s.cage.kept.once(("folds", *_metal(plate)), partial(_folds_of, plate))


def _folds_of(plate: Plate) -> tuple[tuple[Plate, Bend, Fold, str, Evidence], ...]:
    folds = ((b, plate.folds[b.fold]) for b in plate.bends)
    return tuple((plate, b, f, f"fold {b.fold + 1}", _at(plate, f.middle)) for b, f in folds)


@quantity("fold_radius", "mm", "inside radius of a fold", base="thickness")
def fold_radius(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Inside radius of each fold; `of` takes keys of steels, limits are multiples of thickness."""
    for plate, _, f, name, e in _folds(s, pick):
        yield Measure(
            subject=plate.id,
            value=f.inside_radius,
            base=plate.thickness,
            evidence=e,
            label=f"inside radius of {name}",
        )


@quantity("flange", "mm", "flange at a fold", base="the brake's least flange")
def flange_length(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Shorter flange beside each fold, outside to the mould line, against the press brake."""
    brake = s.tooling.brake if s.tooling else None
    for plate, b, _, name, e in _folds(s, pick) if brake else ():
        assert brake is not None
        t = plate.thickness
        tool = any(tool.thickness >= t - 0.15 for tool in brake.tool)
        yield Measure(
            subject=plate.id,
            value=flange(plate, b.fold),
            base=brake.tool_for(t).min_flange if tool else None,
            evidence=e,
            label=f"flange at {name}",
            broken="" if tool else "The shop has no tool for this thickness.",
            source=f"tooling: {brake.name}",
        )


@quantity("fold_angle", "deg", "angle of a fold", base="the brake's largest angle")
def fold_angle(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Angle of each fold against the press brake's largest."""
    brake = s.tooling.brake if s.tooling else None
    for plate, _, f, name, e in _folds(s, pick) if brake else ():
        assert brake is not None
        yield Measure(
            subject=plate.id,
            value=abs(degrees(f.angle)),
            base=degrees(brake.max_angle),
            evidence=e,
            label=f"angle of {name}",
            source=f"tooling: {brake.name}",
        )


@quantity("fold_length", "mm", "length of a fold", base="the brake's length")
def fold_length(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Length of each fold against the press brake's."""
    brake = s.tooling.brake if s.tooling else None
    for plate, b, f, name, e in _folds(s, pick) if brake else ():
        assert brake is not None
        along = b.loop.vertices @ f.direction
        yield Measure(
            subject=plate.id,
            value=float(along.max() - along.min()),
            base=brake.max_length,
            evidence=e,
            label=f"length of {name}",
            source=f"tooling: {brake.name}",
        )


def flange(plate: Plate, fold: int) -> float:
    """Shorter flange beside a fold, measured on the outside from the mould line, mm.

    Measured square to the fold at the flat's furthest point on each side.
    """
    b = next(b for b in plate.bends if b.fold == fold)
    f = plate.folds[fold]
    setback = (f.inside_radius + plate.thickness) * tan(abs(f.angle) / 2)
    out = []
    for facet in (b.inner, b.outer):
        depth = (plate.facets[facet].loop.vertices - b.edge) @ b.side
        beyond = float(depth.max()) - b.width if facet == b.outer else -float(depth.min())
        out.append(beyond + setback)
    return min(out)


# --- holes ----------------------------------------------------------------------------------


HoleRow = tuple[Plate, int, Hole, str, Evidence]


def _holes(s: Survey, *purposes: HolePurpose) -> Iterator[HoleRow]:
    """Every hole of the purposes (all when none): plate, number, hole, name, evidence."""
    for plate in s.plates:
        rows = s.cage.kept.once(("holes", *_metal(plate)), partial(_holes_of, plate))
        yield from (row for row in rows if not purposes or row[2].purpose in purposes)


def _holes_of(plate: Plate) -> tuple[HoleRow, ...]:
    return tuple(
        (plate, i, h, f"{h.purpose.value} hole {i + 1}", _at(plate, h.centre))
        for i, h in enumerate(plate.holes)
    )


@quantity("hole_to_fold", "mm", "hole to the bend zone", base="thickness")
def hole_to_fold(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Edge of each hole to the nearest bend zone; `of` takes ``round`` and ``slot``."""
    for plate, i, h, name, e in _holes(s):
        if plate.folds and pick.takes("round" if h.round_ else "slot"):
            yield Measure(
                subject=plate.id,
                value=plate.fold_distance(i),
                base=plate.thickness,
                evidence=e,
                label=f"{name} to the bend zone",
            )


@quantity("hole_to_edge", "mm", "middle of a hole to the edge", base="hole diameter")
def hole_to_edge(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Middle of each bolt and pin hole to the plate's edge."""
    for plate, i, h, name, e in _holes(s, HolePurpose.BOLT, HolePurpose.PIN):
        yield Measure(
            subject=plate.id,
            value=plate.edge_distance(i),
            base=h.diameter,
            evidence=e,
            label=f"middle of {name} to the edge",
        )


@quantity("hole_to_hole", "mm", "hole to the next hole", base="hole diameter")
def hole_to_hole(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Middle of each bolt and pin hole to that of the next hole."""
    for plate, i, h, name, e in _holes(s, HolePurpose.BOLT, HolePurpose.PIN):
        spacing = plate.hole_spacing(i)
        if np.isfinite(spacing):
            yield Measure(
                subject=plate.id,
                value=spacing,
                base=h.diameter,
                evidence=e,
                label=f"{name} to the next hole",
            )


# --- cutting --------------------------------------------------------------------------------


@quantity("cut_thickness", "mm", "thickness on the table", base="the table's largest thickness")
def cut_thickness(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Thickness of each plate against what the cutting table takes."""
    table = s.tooling.table if s.tooling else None
    for plate in s.plates if table else ():
        assert table is not None
        yield Measure(
            subject=plate.id,
            value=plate.thickness,
            base=table.max_thickness,
            evidence=_in_the_middle(s, plate),
            label=f"thickness on the {table.name}",
            source=f"tooling: {table.name}",
        )


@quantity("sheet_share", "ratio", "size over the sheet between its margins")
def sheet_share(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Size of each plate over the sheet of the shop that suits it best, between its margins."""
    table = s.tooling.table if s.tooling else None
    for plate in s.plates if table else ():
        assert table is not None
        laid = partial(share_of_sheet, plate, table)
        share = s.cage.kept.once(
            ("share of a sheet", plate.body, plate.material, Same(table)), laid
        )
        evidence = _in_the_middle(s, plate)
        if share is None:
            yield Measure(
                subject=plate.id,
                value=None,
                evidence=evidence,
                broken=f"the {table.name} has no sheet of {plate.thickness:g} mm {plate.material}",
            )
        else:
            yield Measure(subject=plate.id, value=share, evidence=evidence)


@quantity("hole_diameter", "mm", "diameter of a hole", base="the table's smallest hole")
def hole_diameter(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Diameter of each round hole against the smallest that the table cuts in that thickness.

    Of a pin hole, which is reamed, that of its pilot.
    """
    table = s.tooling.table if s.tooling else None
    for plate, _, h, name, e in _holes(s) if table else ():
        assert table is not None
        if h.diameter:
            yield Measure(
                subject=plate.id,
                value=h.pilot(table.ream),
                base=table.min_hole_ratio * plate.thickness,
                evidence=e,
                label=name,
                source=f"tooling: {table.name}, {table.process}",
            )


@quantity("plate_to_tube", "mm", "gap to a tube")
def plate_to_tube(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Smallest gap of each plate to a tube that it is not made for.

    Of a folded floor plate also how deep it runs into its own.
    """
    own = {p.id: p.members for p in s.plates}
    for c in clashes(s.cage):
        cure = f"Make it smaller, turn it or move it: {c.tube} runs through it."
        if c.tube in own[c.plate]:
            cure = f"Fold it further from the foot or less steeply: its fold cuts {c.tube}."
        yield Measure(
            subject=c.plate,
            value=c.gap,
            evidence=Evidence.of(plates=[c.plate], points=[c.point]),
            label=f"gap to {c.tube}",
            cure=cure,
        )

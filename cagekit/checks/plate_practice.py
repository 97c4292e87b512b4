"""What shop practice says about a plate: folds, flanges, holes near folds and edges.

These are warnings with numbers, not refusals: a plate that cannot exist at all is refused by
`Plate` itself. The check room turns them into findings.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees, inf, tan
from typing import TYPE_CHECKING

import numpy as np

from cagekit.cage.plate import HolePurpose, Plate
from cagekit.geometry.centre_line import Vec

if TYPE_CHECKING:
    from cagekit.inputs.tooling import PressBrake, Tooling

HOLE_TO_FOLD = 2.0
"""Hole edge to bend zone over thickness: nearer holes are drawn out of round (common practice)."""
SLOT_TO_FOLD = 3.0
"""The same for slots and free cut-outs (common practice)."""
EDGE_OVER_HOLE = 1.2
"""Hole centre to edge over hole diameter. Source: EN 1993-1-8 Table 3.3 (e1 and e2 at least
1.2 d0)."""
SPACING_OVER_HOLE = 2.2
"""Hole centre to hole centre over hole diameter. Source: EN 1993-1-8 Table 3.3 (p1 at least
2.2 d0)."""
MIN_RADIUS = {"a36": 1.0, "s235": 1.0, "s275": 1.0, "s355": 1.5, "a572-50": 1.5}
"""Least inside radius over thickness for cold folding plate up to 6 mm. Source: common practice;
from memory EN 10025-2 asks for 1 to 1.6 thicknesses in the grades made for flanging."""
OTHER_RADIUS = 2.0
"""The same for steels not in the list (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateWarning:
    """One thing that shop practice would do otherwise.

    ``measured`` and ``limit`` are in ``unit`` (mm, deg or a ratio ``""``); ``at`` a point of the
    plate in car axes.
    """

    code: str
    plate: str
    quantity: str
    measured: float
    op: str
    limit: float
    unit: str
    source: str
    cure: str
    at: tuple[float, float, float]

    @property
    def ok(self) -> bool:
        """Whether the measured number keeps the limit."""
        if self.op == ">=":
            return self.measured >= self.limit - 1e-6
        return self.measured <= self.limit + 1e-6

    def __str__(self) -> str:
        return (
            f"{self.plate}: {self.quantity} {self.measured:.1f} {self.unit}".rstrip()
            + f" ({self.op} {self.limit:.1f}). {self.cure}"
        )


def plate_checks(plate: Plate, tooling: Tooling | None = None) -> tuple[PlateWarning, ...]:
    """Measure a plate against shop practice; every measure is listed, kept or not."""
    out = [*_fold_checks(plate, tooling.brake if tooling else None), *_hole_checks(plate)]
    if tooling and tooling.table:
        out += _table_checks(plate, tooling)
    return tuple(out)


def plate_warnings(plate: Plate, tooling: Tooling | None = None) -> tuple[PlateWarning, ...]:
    """Only the measures that are not kept."""
    return tuple(w for w in plate_checks(plate, tooling) if not w.ok)


def _spot(plate: Plate, xy: Vec) -> tuple[float, float, float]:
    x, y, z = plate.car_points(np.asarray(xy)[None])[0]
    return float(x), float(y), float(z)


def _fold_checks(plate: Plate, brake: PressBrake | None) -> list[PlateWarning]:
    out = []
    t = plate.thickness
    # inch tools and metric plate (or the reverse) differ by less than a fiftieth
    least = 0.98 * MIN_RADIUS.get(plate.material, OTHER_RADIUS) * t
    for b in plate.bends:
        f = plate.folds[b.fold]
        name = f"fold {b.fold + 1}"
        at = _spot(plate, f.middle)
        out.append(
            PlateWarning(
                code="plate/fold-radius",
                plate=plate.id,
                quantity=f"inside radius of {name}",
                measured=f.inside_radius,
                op=">=",
                limit=least,
                unit="mm",
                source="common practice",
                cure=f"Fold {t:.1f} mm {plate.material} on a radius of {least:.1f} mm or more.",
                at=at,
            )
        )
        if brake is None:
            continue
        hold = brake.tool_for(t).min_flange if _has_tool(brake, t) else inf
        out.append(
            PlateWarning(
                code="plate/flange",
                plate=plate.id,
                quantity=f"flange at {name}",
                measured=flange(plate, b.fold),
                op=">=",
                limit=hold,
                unit="mm",
                source=f"tooling: {brake.name}",
                cure="Make the flange longer, or cut and weld it.",
                at=at,
            )
        )
        out.append(
            PlateWarning(
                code="plate/fold-angle",
                plate=plate.id,
                quantity=f"angle of {name}",
                measured=abs(degrees(f.angle)),
                op="<=",
                limit=degrees(brake.max_angle),
                unit="deg",
                source=f"tooling: {brake.name}",
                cure="Fold it on another machine or weld the corner.",
                at=at,
            )
        )
        out.append(
            PlateWarning(
                code="plate/fold-length",
                plate=plate.id,
                quantity=f"length of {name}",
                measured=_fold_length(plate, b.fold),
                op="<=",
                limit=brake.max_length,
                unit="mm",
                source=f"tooling: {brake.name}",
                cure="Fold it on a longer brake or make the plate of two pieces.",
                at=at,
            )
        )
    return out


def _has_tool(brake: PressBrake, thickness: float) -> bool:
    return any(tool.thickness >= thickness - 0.15 for tool in brake.tool)


def _fold_length(plate: Plate, fold: int) -> float:
    b = next(b for b in plate.bends if b.fold == fold)
    f = plate.folds[fold]
    along = b.loop.vertices @ f.direction
    return float(along.max() - along.min())


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


def _hole_checks(plate: Plate) -> list[PlateWarning]:
    out = []
    t = plate.thickness
    for i, h in enumerate(plate.holes):
        name = f"{h.purpose.value} hole {i + 1}"
        at = _spot(plate, h.centre)
        if plate.folds:
            ratio = HOLE_TO_FOLD if h.round_ else SLOT_TO_FOLD
            out.append(
                PlateWarning(
                    code="plate/hole-to-fold",
                    plate=plate.id,
                    quantity=f"{name} to the bend zone",
                    measured=plate.fold_distance(i),
                    op=">=",
                    limit=ratio * t,
                    unit="mm",
                    source="common practice",
                    cure="Move the hole away from the fold, or drill it after folding.",
                    at=at,
                )
            )
        if h.purpose not in (HolePurpose.BOLT, HolePurpose.PIN):
            continue
        out.append(
            PlateWarning(
                code="plate/edge-distance",
                plate=plate.id,
                quantity=f"middle of {name} to the edge",
                measured=plate.edge_distance(i),
                op=">=",
                limit=EDGE_OVER_HOLE * h.diameter,
                unit="mm",
                source="EN 1993-1-8 Table 3.3",
                cure="Move the hole inward or enlarge the plate.",
                at=at,
            )
        )
        spacing = plate.hole_spacing(i)
        if np.isfinite(spacing):
            out.append(
                PlateWarning(
                    code="plate/hole-spacing",
                    plate=plate.id,
                    quantity=f"{name} to the next hole",
                    measured=spacing,
                    op=">=",
                    limit=SPACING_OVER_HOLE * h.diameter,
                    unit="mm",
                    source="EN 1993-1-8 Table 3.3",
                    cure="Space the holes further apart.",
                    at=at,
                )
            )
    return out


def _table_checks(plate: Plate, tooling: Tooling) -> list[PlateWarning]:
    table = tooling.table
    assert table is not None
    middle = _spot(plate, plate.outline.centroid)
    out = [
        PlateWarning(
            code="plate/cut-thickness",
            plate=plate.id,
            quantity=f"thickness on the {table.name}",
            measured=plate.thickness,
            op="<=",
            limit=table.max_thickness,
            unit="mm",
            source=f"tooling: {table.name}",
            cure="Have it cut elsewhere, or use thinner plate.",
            at=middle,
        )
    ]
    least = table.min_hole_ratio * plate.thickness
    for i, h in enumerate(plate.holes):
        if h.diameter:
            out.append(
                PlateWarning(
                    code="plate/small-hole",
                    plate=plate.id,
                    quantity=f"{h.purpose.value} hole {i + 1}",
                    measured=h.diameter,
                    op=">=",
                    limit=least,
                    unit="mm",
                    source=f"tooling: {table.name}, {table.process}",
                    cure="It is marked for drilling instead of cut.",
                    at=_spot(plate, h.centre),
                )
            )
    return out

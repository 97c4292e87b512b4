"""Nesting: real shapes of plates on stock sheets and off-cuts, one thickness and steel at a time.

The placing is done by a nesting library where it is installed, else by rows of boxes. Whatever
placed them, every layout is measured again here, outline against outline with true arcs, before
it counts. Frame of a sheet: x along its length (the rolling direction), y across, mm, origin in
its corner.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from importlib.util import find_spec
from math import ceil, cos, degrees, pi, radians, sin
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from cagekit.cage.plate import Plate
from cagekit.errors import GeometryError
from cagekit.geometry.arrays import Points2
from cagekit.geometry.outline import Outline, Vec2
from cagekit.shop.nesting.sheets import NestOptions, SheetStock, options_of, stock_of, turns_of
from cagekit.units.tolerance import MICRON, ROUNDING

if TYPE_CHECKING:
    from cagekit.inputs.tooling import Tooling

ROUNDS = 150
"""Rounds of improvement in one attempt to shorten a layout."""
GAP_TOL = MICRON
"""A gap may be this much (mm) under what was asked for before a layout is refused."""


class Laid(Struct, frozen=True, kw_only=True, eq=False):
    """A part on a sheet: turned by ``angle`` rad about its own origin, then moved by ``shift``."""

    plate: Plate
    number: int
    angle: float
    shift: Vec2

    @property
    def outline(self) -> Outline:
        """Outline of the part where it lies on the sheet."""
        return self.plate.outline.turned(self.angle).moved(self.shift)

    @property
    def turn(self) -> Vec2:
        """Rotation ``(2, 2)``."""
        c, s = cos(self.angle), sin(self.angle)
        return np.array([[c, -s], [s, c]])


@dataclass(frozen=True, kw_only=True, eq=False)
class NestedSheet:
    """One sheet with its parts."""

    name: str
    stock: SheetStock
    thickness: float
    material: str
    parts: tuple[Laid, ...]
    options: NestOptions

    @cached_property
    def used_area(self) -> float:
        """Area inside the parts' outlines, mm2."""
        return sum(p.plate.outline.area for p in self.parts)

    @property
    def utilisation(self) -> float:
        """Share of the sheet that ends up inside parts."""
        return self.used_area / (self.stock.length * self.stock.width)

    @cached_property
    def used_length(self) -> float:
        """How far along the sheet the parts reach, mm; the rest is a clean off-cut."""
        return max(float(p.outline.box[1][0]) for p in self.parts) + self.options.margin

    @cached_property
    def density(self) -> float:
        """Share of the used length that ends up inside parts."""
        return self.used_area / (min(self.used_length, self.stock.length) * self.stock.width)

    @property
    def pieces(self) -> tuple[tuple[str, int], ...]:
        """Plate ids and how many of each, in order of first use."""
        out: dict[str, int] = {}
        for p in self.parts:
            out[p.plate.id] = out.get(p.plate.id, 0) + 1
        return tuple(out.items())


class NestPlan(Struct, frozen=True, kw_only=True):
    """All sheets of a job, and notes about parts that could not be laid as asked."""

    sheets: tuple[NestedSheet, ...]
    notes: tuple[str, ...] = ()

    @property
    def utilisation(self) -> float:
        """Share of all sheets that ends up inside parts."""
        total = sum(s.stock.length * s.stock.width for s in self.sheets)
        return sum(s.used_area for s in self.sheets) / total if total else 0.0


def nest_for(
    plates: Sequence[Plate], tooling: Tooling, offcuts: Sequence[SheetStock] = (), **changes: Any
) -> NestPlan:
    """Nest on a shop's own sheets with its table's gap and margin; ``changes`` override options.

    Args:
        plates: parts to be laid, with how many.
        tooling: shop whose table and sheets are used.
        offcuts: sheets left over to use first.
        **changes: options of the nest that differ from the shop's.
    """
    table = tooling.table
    if table is None:
        return nest(plates, [SheetStock(length=2500.0, width=1250.0)], NestOptions(**changes))
    stock = stock_of(table)
    options = replace(options_of(table), **changes)
    return nest(plates, [*offcuts, *stock], options)


def nest(plates: Sequence[Plate], stock: Sequence[SheetStock], options: NestOptions) -> NestPlan:
    """Lay plates on sheets.

    Args:
        plates: what to cut, each as often as its quantity.
        stock: off-cuts and sheets that can be had.
        options: gap, margin, turns.

    Raises:
        GeometryError: a part fits no sheet, or nothing is stocked in its thickness.
    """
    groups: dict[tuple[float, str], list[Plate]] = {}
    for p in plates:
        groups.setdefault((round(p.thickness, 3), p.material), []).extend([p] * p.quantity)
    sheets: list[NestedSheet] = []
    left: dict[int, int] = {i: s.count for i, s in enumerate(stock) if s.count is not None}
    for (thickness, material), parts in sorted(groups.items()):
        sheets += _group(parts, stock, left, options, thickness, material, len(sheets))
    return NestPlan(sheets=tuple(sheets))


def _group(
    parts: list[Plate],
    stock: Sequence[SheetStock],
    left: dict[int, int],
    options: NestOptions,
    thickness: float,
    material: str,
    first: int,
) -> list[NestedSheet]:
    fits = [i for i, s in enumerate(stock) if s.holds(thickness, material)]
    if not fits:
        raise GeometryError(
            parts[0].id,
            f"no sheet of {thickness:g} mm {material} in stock.",
            "Add a [[table.sheet]] or an off-cut of that thickness.",
        )
    rest = sorted(enumerate(parts), key=lambda p: (-p[1].outline.area, p[1].id, p[0]))
    out: list[NestedSheet] = []
    while rest:
        picked = _pick_sheet(rest, [i for i in fits if left.get(i, 1) > 0], stock, options)
        if picked is None:
            p = rest[0][1]
            size = p.outline.size
            raise GeometryError(
                p.id,
                f"measures {size[0]:.0f} x {size[1]:.0f} mm and fits none of the sheets left "
                f"({options.margin:.0f} mm margin).",
                "Add a larger sheet, or make the plate in pieces.",
            )
        number, laid = picked
        if number in left:
            left[number] -= 1
        used = {p.number for p in laid}
        rest = [r for r in rest if r[0] not in used]
        out.append(
            NestedSheet(
                name=f"sheet-{first + len(out) + 1:02d}",
                stock=stock[number],
                thickness=thickness,
                material=material,
                parts=laid,
                options=options,
            )
        )
    return out


def _pick_sheet(
    rest: Sequence[tuple[int, Plate]],
    numbers: Sequence[int],
    stock: Sequence[SheetStock],
    options: NestOptions,
) -> tuple[int, tuple[Laid, ...]] | None:
    """The next sheet and its layout: off-cuts first, then what wastes least."""
    best: tuple[tuple[float, ...], int, tuple[Laid, ...]] | None = None
    for n in numbers:
        s = stock[n]
        laid = _lay(rest, s, options)
        if not laid:
            continue
        if s.offcut:
            return n, laid
        area = s.length * s.width
        used = sum(p.plate.outline.area for p in laid)
        whole = len(laid) == len(rest)
        # the smallest sheet that takes everything, else the fullest one
        rank = (0.0, area) if whole else (1.0, -used / area)
        if best is None or rank < best[0]:
            best = (rank, n, laid)
    return None if best is None else (best[1], best[2])


def _lay(
    rest: Sequence[tuple[int, Plate]], sheet: SheetStock, options: NestOptions
) -> tuple[Laid, ...]:
    """The densest layout of one sheet, measured and found right."""
    engines: list[Callable[..., list[Laid]]] = []
    if options.engine == "shapes" or (options.engine == "auto" and has_engine()):
        engines.append(_by_shapes)
    if options.engine in ("auto", "boxes"):
        engines.append(_by_boxes)
    best: tuple[tuple[float, ...], tuple[Laid, ...]] | None = None
    for engine in engines:
        laid = engine(rest, sheet, options)
        if not laid or faults(laid, sheet, options):
            continue
        far = np.max([p.outline.box[1] for p in laid], axis=0)
        area = sum(p.plate.outline.area for p in laid)
        rank = (-round(area, 3), round(float(far[0]), 3), round(float(far[1]), 3))
        if best is None or rank < best[0]:
            best = (rank, tuple(laid))
    return best[1] if best else ()


def has_engine() -> bool:
    """Tell whether the nesting library is installed."""
    return find_spec("u_nesting") is not None


# -- by shapes ---------------------------------------------------------------------------------


def _by_shapes(
    rest: Sequence[tuple[int, Plate]], sheet: SheetStock, options: NestOptions
) -> list[Laid]:
    """Lay real shapes with the nesting library; its answer is the same for the same parts."""
    shapes = [
        {
            "id": str(number),
            "polygon": outer_polygon(plate.outline).tolist(),
            "quantity": 1,
            "rotations": list(turns_of(plate, options)),
        }
        for number, plate in rest
    ]
    plates = dict(rest)
    best = _solved(shapes, plates, sheet, sheet.length, options, strategy="nfp")
    for _ in range(options.effort if best else 0):
        # press the same parts into a shorter piece of the sheet
        reach = max(float(p.outline.box[1][0]) for p in best) + options.margin
        kept = {str(p.number) for p in best}
        shorter = _solved(
            [s for s in shapes if s["id"] in kept],
            plates,
            sheet,
            0.96 * reach,
            options,
            strategy="alns",
            seed=1,
            max_iterations=ROUNDS,
            # the limit is on rounds: one on time would make the layout depend on the machine
            time_limit_ms=600_000,
        )
        if len(shorter) < len(best):
            break
        best = shorter
    return best


def _solved(
    shapes: Sequence[dict[str, Any]],
    plates: dict[int, Plate],
    sheet: SheetStock,
    length: float,
    options: NestOptions,
    **config: Any,
) -> list[Laid]:
    """Ask the library for a layout on the first ``length`` mm of a sheet."""
    import u_nesting  # type: ignore[import-untyped]

    result = u_nesting.solve_2d(
        list(shapes),
        {"width": length, "height": sheet.width},
        # a little more than asked, for what the library rounds
        {"spacing": options.gap + 2 * MICRON, "margin": options.margin + MICRON, **config},
    )
    out = []
    for row in sorted(result.get("placements") or (), key=lambda r: int(r["geometry_id"])):
        if row.get("boundary_index", 0) != 0 or row.get("mirrored"):
            continue
        number = int(row["geometry_id"])
        quarter = round(degrees(float(row["rotation"][0]))) % 360
        out.append(
            Laid(
                plate=plates[number],
                number=number,
                angle=radians(quarter),
                shift=np.round(np.asarray(row["position"], float), 6),
            )
        )
    return out


def outer_polygon(outline: Outline, step: float = pi / 6) -> Points2:
    """A polygon with few corners that holds the whole outline, ``(n, 2)`` mm.

    Outward arcs are replaced by tangents, a tangent per ``step`` rad; inward ones by chords.
    """
    rows: list[Vec2] = []
    for s in outline.anticlockwise().segments:
        rows.append(s.start[None])
        if not s.is_arc:
            continue
        n = max(1, ceil(abs(s.sweep) / step))
        if s.bulge > 0:
            reach = s.radius / cos(s.sweep / n / 2)
            middles = (np.arange(n) + 0.5) / n
            arms = (s.point(middles) - s.centre) / s.radius
            rows.append(s.centre + reach * arms)
        else:
            # a chord of an inward arc lies in the hollow: outside the part
            rows.append(s.point(np.arange(1, n) / n).reshape(-1, 2))
    return np.concatenate(rows)


# -- by boxes ----------------------------------------------------------------------------------


def _by_boxes(
    rest: Sequence[tuple[int, Plate]], sheet: SheetStock, options: NestOptions
) -> list[Laid]:
    """Lay bounding boxes in rows across the sheet: always possible, less dense."""
    m, gap = options.margin, options.gap
    boxes = []
    for number, plate in rest:
        turns = [t for t in turns_of(plate, options) if t in (0, 90, 180, 270)]
        sized = []
        for t in turns:
            low, high = plate.outline.turned(radians(t)).box
            sized.append((float(high[0] - low[0]), float(high[1] - low[1]), t, low))
        # lay the longer side across the sheet, so that rows are short
        boxes.append((number, plate, min(sized, key=lambda b: (b[0] > b[1], b[2]))))
    boxes.sort(key=lambda b: (-b[2][0], -b[2][1], b[0]))
    out: list[Laid] = []
    rows: list[list[float]] = []
    for number, plate, (w, h, t, low) in boxes:
        for row in rows:
            if w <= row[1] + ROUNDING and row[2] + h <= sheet.width - m + ROUNDING:
                break
        else:
            x = rows[-1][0] + rows[-1][1] + gap if rows else m
            if x + w > sheet.length - m + ROUNDING or m + h > sheet.width - m + ROUNDING:
                continue
            row = [x, w, m]
            rows.append(row)
        shift = np.array([row[0], row[2]]) - low
        out.append(Laid(plate=plate, number=number, angle=radians(t), shift=shift))
        row[2] += h + gap
    return out


# -- measuring ---------------------------------------------------------------------------------


def faults(laid: Sequence[Laid], sheet: SheetStock, options: NestOptions) -> list[str]:
    """Measure a layout: parts off the sheet, too near its edge or to one another.

    Args:
        laid: parts as placed on the sheet.
        sheet: the sheet they lie on.
        options: gaps and margins that must hold.
    """
    out = []
    outlines = [p.outline for p in laid]
    boxes = [o.box for o in outlines]
    m = options.margin - GAP_TOL
    for p, (low, high) in zip(laid, boxes, strict=True):
        edge = min(
            float(low[0]),
            float(low[1]),
            sheet.length - float(high[0]),
            sheet.width - float(high[1]),
        )
        if edge < m:
            out.append(f"{p.plate.id} is {edge:.3f} mm from the edge ({options.margin:g} mm asked)")
    for i, j in _near(boxes, options.gap):
        gap = distance_between(outlines[i], outlines[j])
        if gap < options.gap - GAP_TOL:
            out.append(
                f"{laid[i].plate.id} and {laid[j].plate.id} are {gap:.3f} mm apart "
                f"({options.gap:g} mm asked)"
            )
    return out


def _near(boxes: Sequence[tuple[Vec2, Vec2]], gap: float) -> list[tuple[int, int]]:
    low = np.array([b[0] for b in boxes]) - gap / 2
    high = np.array([b[1] for b in boxes]) + gap / 2
    apart = (low[:, None] > high[None]) | (low[None] > high[:, None])
    meet = ~apart.any(-1)
    return [(int(i), int(j)) for i, j in np.argwhere(np.triu(meet, 1))]


def distance_between(a: Outline, b: Outline) -> float:
    """Distance of two closed outlines, mm; negative when they overlap.

    Corners of one against true pieces of the other both ways, arcs in steps of half a
    millimetre: right to about 1e-3 mm.
    """
    pa, pb = _stations(a), _stations(b)
    inside = a.contains(pb).any() or b.contains(pa).any()
    gap = min(float(a.distance(pb).min()), float(b.distance(pa).min()))
    if not inside and _crossing(a, b):
        return -gap
    return -gap if inside else gap


def _stations(o: Outline) -> Vec2:
    rows = []
    for s in o.segments:
        n = max(1, ceil(s.length / 0.5)) if s.is_arc else 1
        rows.append(s.point(np.arange(n) / n))
    return np.concatenate(rows)


def _crossing(a: Outline, b: Outline) -> bool:
    """Whether two outlines cross although no corner of one lies in the other."""
    pa, pb = a.flat_points(0.02), b.flat_points(0.02)
    da, db = np.roll(pa, -1, 0) - pa, np.roll(pb, -1, 0) - pb
    r = pb[None] - pa[:, None]
    den = da[:, None, 0] * db[None, :, 1] - da[:, None, 1] * db[None, :, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (r[..., 0] * db[None, :, 1] - r[..., 1] * db[None, :, 0]) / den
        u = (r[..., 0] * da[:, None, 1] - r[..., 1] * da[:, None, 0]) / den
    return bool(((t > 0) & (t < 1) & (u > 0) & (u < 1)).any())

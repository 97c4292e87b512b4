"""Shop tables as CSV: ``bends.csv``, ``cuts.csv``, ``materials.csv``.

RFC 4180 with a header row, UTF-8, lines ended by LF; mm, degrees and kg, the unit in the column's
name. Equal cages give equal bytes.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from math import degrees
from pathlib import Path as FilePath
from typing import TYPE_CHECKING

from cagekit.shop.bends import BendSchedule, Step
from cagekit.shop.cuts import CutPlan
from cagekit.shop.papers import Papers
from cagekit.shop.rows import BendRow
from cagekit.shop.takeoff import Takeoff

if TYPE_CHECKING:
    from cagekit.cage.job import Job

Cell = str | int | float | None
BEND_COLUMNS = (
    "member", "row", "feed_mm", "rotation_deg", "angle_deg", "clr_mm", "springback_angle_deg",
    "mark_mm", "order", "lead_end", "datum_end", "bend_start_mm", "bend_end_mm",
    "machine_feed_mm", "machine_rotation_deg", "dial_deg", "clock_deg", "clock_arc_mm",
    "finder_deg", "extra_a_mm", "extra_b_mm", "cut_length_mm", "blank_mm", "od_mm", "wall_mm",
    "material", "die", "mark_at", "note",
)  # fmt: skip
CUT_COLUMNS = (
    "od_mm", "wall_mm", "material", "bar", "source", "bar_length_mm", "cut", "member",
    "start_mm", "length_mm", "kerf_mm", "remnant_mm", "bought_total", "least_possible", "unit",
    "proved",
)  # fmt: skip
MATERIAL_COLUMNS = (
    "kind", "item", "material", "od_mm", "wall_mm", "thickness_mm", "count", "length_mm",
    "area_mm2", "mass_kg", "x_mm", "y_mm", "z_mm", "note",
)  # fmt: skip


def write_bends(job: Job, folder: FilePath) -> None:
    """Write ``bends.csv``."""
    papers = _papers(job)
    rows = [*bend_table(papers.bends), *piece_table(papers.pieces, papers.whole)]
    _write(folder / "bends.csv", BEND_COLUMNS, rows)


def write_cuts(job: Job, folder: FilePath) -> None:
    """Write ``cuts.csv``."""
    _write(folder / "cuts.csv", CUT_COLUMNS, cut_table(_papers(job).cuts))


def write_materials(job: Job, folder: FilePath) -> None:
    """Write ``materials.csv``."""
    _write(folder / "materials.csv", MATERIAL_COLUMNS, material_table(_papers(job).materials))


def _papers(job: Job) -> Papers:
    return Papers.of(job.build, job.cage)


def text(columns: Sequence[str], rows: Iterable[Mapping[str, Cell]]) -> str:
    """Return a table as CSV text; columns that a row does not name stay empty.

    Raises:
        ValueError: a row names a column that the table does not have.
    """
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, restval="", lineterminator="\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({k: _cell(k, v) for k, v in row.items()})
    return out.getvalue()


def bend_table(sheets: Iterable[BendSchedule]) -> Iterator[dict[str, Cell]]:
    """Rows of ``bends.csv``: every tube from end a to end b, the final straight last.

    ``feed_mm``, ``rotation_deg``, ``angle_deg`` and ``clr_mm`` describe the finished tube from
    its outermost tip at end a; the machine's own order, feed and rotation stand in the columns
    from ``order`` on, and marks are measured along the blank from ``datum_end``.
    """
    for sheet in sheets:
        by_bend = {s.bend: (n, s) for n, s in enumerate(sheet.steps, 1)}
        made: dict[str, Cell] = {
            "extra_a_mm": sheet.work.extra_a,
            "extra_b_mm": sheet.work.extra_b,
            "blank_mm": sheet.blank,
        }
        for row in sheet.rows:
            machine = {} if row.angle is None else _machine(sheet, *by_bend[row.row])
            yield _shape(sheet, row) | made | machine


def piece_table(
    sheets: Iterable[BendSchedule], whole: Mapping[str, str]
) -> Iterator[dict[str, Cell]]:
    """Rows of ``bends.csv`` for the pieces of swing-out bars: their shape, and what they are of."""
    for sheet in sheets:
        note = (
            f"cut from {whole[sheet.member]} once that is fitted" if sheet.member in whole else ""
        )
        for row in sheet.rows:
            yield _shape(sheet, row) | {"note": note}


def _shape(sheet: BendSchedule, row: BendRow) -> dict[str, Cell]:
    """The finished tube in one row."""
    return {
        "member": sheet.member,
        "row": row.row,
        "feed_mm": row.feed,
        "rotation_deg": None if row.angle is None else degrees(row.rotation),
        "angle_deg": None if row.angle is None else degrees(row.angle),
        "clr_mm": row.clr,
        "cut_length_mm": sheet.cut_length,
        "od_mm": sheet.tube.od,
        "wall_mm": sheet.tube.wall,
        "material": sheet.tube.material,
    }


def _machine(sheet: BendSchedule, order: int, step: Step) -> dict[str, Cell]:
    model = sheet.springback
    notes = [sheet.problem] if sheet.problem else list(model.warnings if model else ())
    if model and model.beyond_tests(step.angle):
        notes.append("angle lies far from the test bends: extrapolated.")
    return {
        "springback_angle_deg": degrees(step.set_angle),
        "mark_mm": step.mark,
        "order": order,
        "lead_end": step.lead,
        "datum_end": sheet.work.datum,
        "bend_start_mm": step.start,
        "bend_end_mm": step.stop,
        "machine_feed_mm": step.feed,
        "machine_rotation_deg": None if step.rotation is None else degrees(step.rotation),
        "dial_deg": None if step.dial is None else degrees(step.dial),
        "clock_deg": degrees(step.clock),
        "clock_arc_mm": step.clock_arc,
        "finder_deg": None if step.finder is None else degrees(step.finder),
        "die": sheet.die.name if sheet.die else "none",
        "mark_at": sheet.die.mark_at if sheet.die else "start",
        "note": " ".join(notes),
    }


def cut_table(plans: Iterable[CutPlan]) -> Iterator[dict[str, Cell]]:
    """Rows of ``cuts.csv``: one per piece in sawing order, then what is left of the bar."""
    for plan in plans:
        for b in plan.bars:
            common: dict[str, Cell] = {
                "od_mm": plan.tube.od if plan.tube else None,
                "wall_mm": plan.tube.wall if plan.tube else None,
                "material": plan.tube.material if plan.tube else None,
                "bar": b.number,
                "source": "own off-cut" if b.bar.owned else "stick",
                "bar_length_mm": b.bar.length,
                "kerf_mm": plan.kerf,
                "bought_total": plan.cost,
                "least_possible": plan.bound,
                "unit": plan.unit,
                "proved": "yes" if plan.proved else "no",
            }
            for n, (start, piece) in enumerate(zip(b.starts, b.pieces, strict=True), 1):
                yield common | {
                    "cut": n,
                    "member": piece.name,
                    "start_mm": start,
                    "length_mm": piece.length,
                }
            yield common | {
                "member": "off-cut to keep" if b.kept else "scrap",
                "start_mm": b.bar.length - b.remnant,
                "length_mm": b.remnant,
                "remnant_mm": b.remnant if b.kept else 0.0,
            }
        for bar in plan.unused:
            yield {
                "od_mm": plan.tube.od if plan.tube else None,
                "wall_mm": plan.tube.wall if plan.tube else None,
                "material": plan.tube.material if plan.tube else None,
                "source": "own off-cut",
                "bar_length_mm": bar.length,
                "member": "not used",
                "start_mm": 0.0,
                "length_mm": bar.length,
                "remnant_mm": bar.length,
            }


def material_table(listed: Takeoff) -> Iterator[dict[str, Cell]]:
    """Rows of ``materials.csv``: what to buy, then the parts with their masses, then the total."""
    yield from _tube_rows(listed)
    for p in listed.plates:
        yield {
            "kind": "plate to buy",
            "item": f"{p.pieces} plates",
            "material": p.material,
            "thickness_mm": p.thickness,
            "count": p.pieces,
            "area_mm2": p.order,
            "mass_kg": p.mass,
            "note": f"outlines {p.area:.0f} mm2, spare {listed.spare:.0%} included; "
            "layout on the sheet not counted",
        }
    for f in listed.fasteners:
        yield {
            "kind": "fasteners",
            "item": f"bolt {f.size}",
            "material": f.grade,
            "count": f.bolts,
            "note": f"as many nuts, {2 * f.bolts} washers; length by the grip measured on the car; "
            f"for {', '.join(f.plates)}",
        }
    for h in listed.hardware:
        yield {
            "kind": h.kind,
            "item": h.size,
            "material": h.material,
            "count": h.count,
            "length_mm": h.length,
            "mass_kg": h.mass,
            "note": f"for {', '.join(h.parts)}",
        }
    for pad in listed.padding:
        yield {
            "kind": "padding",
            "item": pad.member,
            "od_mm": pad.od,
            "thickness_mm": pad.thickness or None,
            "length_mm": pad.length,
            "note": "asked for in the build"
            if pad.asked
            else "within 150 mm of a helmet (Motorsport UK App. 3 16.2)",
        }
    yield {
        "kind": "weld",
        "item": "joints of tubes",
        "length_mm": listed.weld.joints,
    }
    yield {"kind": "weld", "item": "plates", "length_mm": listed.weld.plates}
    yield {
        "kind": "filler",
        "item": "welding filler",
        "mass_kg": listed.weld.filler,
        "note": f"estimate: {listed.weld.assumption}",
    }
    for part in listed.mass.parts:
        yield {
            "kind": f"part: {part.kind}",
            "item": part.id,
            "count": part.pieces,
            "mass_kg": part.mass,
            **_place(part.centre),
        }
    yield {
        "kind": "total",
        "item": "tubes, plates and small parts",
        "mass_kg": listed.mass.total,
        **_place(listed.mass.centre),
        "note": "welds, bolts of plates and padding not counted; x, y, z are the centre of gravity",
    }


def _tube_rows(listed: Takeoff) -> Iterator[dict[str, Cell]]:
    for t in listed.tubes:
        for length, n in t.sticks:
            yield {
                "kind": "tube to buy",
                "item": t.name,
                "material": t.material,
                "od_mm": t.od,
                "wall_mm": t.wall,
                "count": n,
                "length_mm": length,
                "mass_kg": t.mass * length * n / sum(x * k for x, k in t.sticks),
                "note": f"{t.pieces} blanks, {t.needed:.0f} mm in all; off-cuts of "
                f"{t.left:.0f} mm hold the spare margin of {t.spare:.0f} mm",
            }
        if t.own > 0:
            yield {
                "kind": "tube in the rack",
                "item": t.name,
                "material": t.material,
                "od_mm": t.od,
                "wall_mm": t.wall,
                "length_mm": t.own,
                "note": "own off-cuts used",
            }


def _place(centre: Iterable[float]) -> dict[str, Cell]:
    x, y, z = (float(v) for v in centre)
    return {"x_mm": x, "y_mm": y, "z_mm": z}


def _cell(column: str, value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        digits = 5 if column.endswith("_deg") else 4
        shown = f"{value:.{digits}f}".rstrip("0").rstrip(".")
        return "0" if shown in ("-0", "") else shown
    return str(value)


def _write(target: FilePath, columns: Sequence[str], rows: Iterable[Mapping[str, Cell]]) -> None:
    target.write_text(text(columns, rows), encoding="utf-8", newline="\n")

"""Shop tables as CSV: bends, cuts, materials, welds, order of work, inspection, scrutineer.

RFC 4180 with a header row, UTF-8, lines ended by LF; mm, degrees and kg, the unit in the column's
name, whatever the units of the papers: texts that tell a length say it in mm too. A table travels
alone, so its last column, ``caution``, carries the caution in the first row. Equal cages give equal
bytes.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from math import degrees
from pathlib import Path
from typing import TYPE_CHECKING

from cagekit.cage.cage import Cage
from cagekit.checks import run
from cagekit.checks.books import rulebook_codes
from cagekit.checks.finding import Finding
from cagekit.checks.sheet import profile_rows
from cagekit.shop.bending.bends import BendSchedule, BendStep
from cagekit.shop.bending.rows import BendRow
from cagekit.shop.papers.inspection import wall_spot
from cagekit.shop.papers.order import Step as WorkStep
from cagekit.shop.papers.setting_out import BranchMark, SettingOut
from cagekit.shop.papers.takeoff import Takeoff
from cagekit.shop.sawing.plan import CutPlan
from cagekit.shop.welding.moves import Way
from cagekit.shop.welding.weld_rows import WeldRow
from cagekit.shop.welding.welds import Weld
from cagekit.units import LengthUnit

if TYPE_CHECKING:
    from cagekit.design import Design

CAUTION = (
    "A cage can kill when it is wrong: computed geometry, not approval; the current rulebook, the "
    "scrutineer and licensed practice decide; measure the real car"
)
"""In the first row of every table."""
Cell = str | int | float | None
FORMULA = ("=", "+", "-", "@")
"""Signs at which a spreadsheet begins to calculate."""
BEND_COLUMNS = (
    "member", "row", "feed_mm", "rotation_deg", "angle_deg", "clr_mm", "springback_angle_deg",
    "mark_mm", "order", "lead_end", "datum_end", "bend_start_mm", "bend_end_mm",
    "machine_feed_mm", "machine_rotation_deg", "dial_deg", "clock_deg", "clock_arc_mm",
    "finder_deg", "extra_a_mm", "extra_b_mm", "cut_length_mm", "blank_mm", "od_mm", "wall_mm",
    "material", "die", "mark_at", "note",
)  # fmt: skip
CUT_COLUMNS = (
    "od_mm", "wall_mm", "material", "bar", "source", "bar_length_mm", "cut", "member",
    "start_mm", "length_mm", "kerf_mm", "remnant_mm", "bought_total", "least_possible",
    "spare_counted_mm", "unit", "proved", "label",
)  # fmt: skip
MATERIAL_COLUMNS = (
    "kind", "item", "material", "od_mm", "wall_mm", "thickness_mm", "count", "length_mm",
    "area_mm2", "mass_kg", "x_mm", "y_mm", "z_mm", "note",
)  # fmt: skip

WELD_COLUMNS = (
    "joint", "branch", "end", "parents", "x_mm", "y_mm", "z_mm", "angle_deg", "offset_mm",
    "saddle_mm", "reached_percent", "way", "before", "move_mm", "lean_deg", "glass_out",
    "best_reached_percent", "in_the_way", "kind", "plate", "to", "form", "length_mm", "count",
    "leg_mm", "process", "filler", "tacks", "welder", "date",
)  # fmt: skip
ORDER_COLUMNS = (
    "step", "title", "kind", "item", "to", "distance_mm", "crossed_mm", "text",
)  # fmt: skip
SETTING_OUT_COLUMNS = (
    "kind", "on", "what", "end", "joint", "x_mm", "y_mm", "z_mm", "x_to_mm", "y_to_mm", "z_to_mm",
    "from_a_mm", "starts_mm", "ends_mm", "clock_deg", "round_mm", "angle_deg", "leans_to", "note",
)  # fmt: skip
INSPECTION_COLUMNS = (
    "number", "member", "od_mm", "wall_mm", "material", "measure_from_a_mm", "clear_mm",
    "od_measured_mm", "wall_measured_mm", "welds_seen",
)  # fmt: skip
SCRUTINEER_COLUMNS = (
    "code", "subject", "finding", "measured", "limit", "source", "status", "signature",
)  # fmt: skip


def write_bends(design: Design, folder: Path) -> None:
    """Write ``bends.csv``."""
    rows = [
        *bend_table(design.bends),
        *piece_table(design.pieces, design.bar_of_piece, design.cage),
    ]
    write_table(folder / "bends.csv", BEND_COLUMNS, rows)


def write_cuts(design: Design, folder: Path) -> None:
    """Write ``cuts.csv``."""
    write_table(folder / "cuts.csv", CUT_COLUMNS, cut_table(design.cuts))


def write_materials(design: Design, folder: Path) -> None:
    """Write ``materials.csv``."""
    write_table(folder / "materials.csv", MATERIAL_COLUMNS, material_table(design.materials))


def write_welds(design: Design, folder: Path) -> None:
    """Write ``welds.csv``."""
    write_table(folder / "welds.csv", WELD_COLUMNS, weld_table(design.weld_rows))


def write_order(design: Design, folder: Path) -> None:
    """Write ``order.csv``."""
    write_table(folder / "order.csv", ORDER_COLUMNS, order_table(design.steps_in("mm")))


def write_setting_out(design: Design, folder: Path) -> None:
    """Write ``setting-out.csv``."""
    rows = setting_out_table(design.fitted, design.setting_out)
    write_table(folder / "setting-out.csv", SETTING_OUT_COLUMNS, rows)


def write_inspection(design: Design, folder: Path) -> None:
    """Write ``inspection.csv``."""
    rows = inspection_table(design.fitted)
    write_table(folder / "inspection.csv", INSPECTION_COLUMNS, rows)


def write_scrutineer(design: Design, folder: Path) -> None:
    """Write ``scrutineer.csv``."""
    rows = scrutineer_table(run(design), rulebook_codes(design), "mm")
    write_table(folder / "scrutineer.csv", SCRUTINEER_COLUMNS, rows)


def text(columns: Sequence[str], rows: Iterable[Mapping[str, Cell]]) -> str:
    """Return a table as CSV text; columns that a row does not name stay empty.

    The caution stands in a last column of its own, in the first row.

    Raises:
        ValueError: a row names a column that the table does not have.
    """
    out = io.StringIO()
    writer = csv.DictWriter(out, (*columns, "caution"), restval="", lineterminator="\n")
    writer.writeheader()
    for n, row in enumerate(rows):
        said = {"caution": CAUTION} if n == 0 else {}
        writer.writerow({k: _cell(k, v) for k, v in row.items()} | said)
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
    sheets: Iterable[BendSchedule], whole: Mapping[str, str], cage: Cage
) -> Iterator[dict[str, Cell]]:
    """Rows of ``bends.csv`` for pieces of tubes that come apart: their shape, what they are of."""
    bolted = {p for t in cage.bolted for p in t.pieces}
    for sheet in sheets:
        when = "before that" if sheet.member in bolted else "once that"
        note = f"cut from {whole[sheet.member]} {when} is fitted" if sheet.member in whole else ""
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


def _machine(sheet: BendSchedule, order: int, step: BendStep) -> dict[str, Cell]:
    model = sheet.springback
    notes = [sheet.problem] if sheet.problem else list(model.warnings if model else ())
    if sheet.die and sheet.other_radius is not None:
        notes.insert(
            0,
            f"drawn with a radius of {sheet.other_radius:.1f} mm, die {sheet.die.name} bends "
            f"{sheet.die.clr:.1f} mm: what it bends by these marks is another tube.",
        )
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
                "label": b.bar.label,
                "bar_length_mm": b.bar.length,
                "kerf_mm": plan.kerf,
                "bought_total": plan.cost,
                "least_possible": plan.bound,
                "spare_counted_mm": plan.spare,
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
                "label": bar.label,
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
            "note": ", ".join(filter(None, ("asked for in the build", pad.standard)))
            if pad.asked
            else "within 150 mm of a helmet (Motorsport UK App. 3 16.2)",
        }
    yield {
        "kind": "weld",
        "item": "joints of tubes",
        "length_mm": listed.weld.joints,
    }
    yield {"kind": "weld", "item": "plates", "length_mm": listed.weld.plates}
    if listed.weld.bolted:
        yield {"kind": "weld", "item": "bolted joints", "length_mm": listed.weld.bolted}
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


def weld_table(found: Iterable[WeldRow]) -> Iterator[dict[str, Cell]]:
    """Rows of ``welds.csv``: every weld, its size and filler; of joints what the torch reaches.

    ``welder`` and ``date`` are filled in by hand.
    """
    for r in found:
        row: dict[str, Cell] = {
            "joint": r.id,
            **_place(r.point),
            "kind": r.kind,
            "to": r.to,
            "form": r.form,
            "length_mm": r.length,
            "count": r.count,
            "leg_mm": r.leg,
            "process": r.process,
            "filler": r.filler,
            "tacks": r.tacks,
        }
        yield row | (_reached(r.weld) if r.weld else {"plate": r.what})


def _reached(w: Weld) -> dict[str, Cell]:
    """What the torch reaches of a joint of tubes, and how it is welded."""
    j = w.joint
    moved = {"move_mm": w.amount} if w.way is not Way.LEANED else {"lean_deg": degrees(w.amount)}
    return {
        "branch": j.branch,
        "end": j.branch_end,
        "parents": " ".join(j.parents),
        "angle_deg": degrees(j.angle),
        "offset_mm": j.offset,
        "saddle_mm": j.weld_length,
        "reached_percent": 100.0 * w.reach.share,
        "way": w.way.value,
        "before": " ".join(w.before),
        **(moved if w.amount else {}),
        **({"glass_out": " ".join(w.pose.glass)} if w.pose and w.pose.glass else {}),
        "best_reached_percent": 100.0 * w.best,
        "in_the_way": " ".join(w.reach.blocked_by),
    }


def order_table(steps: Iterable[WorkStep]) -> Iterator[dict[str, Cell]]:
    """Rows of ``order.csv``: what is fitted, said, tacked, welded, measured and tried in a step."""
    fitted: set[str] = set()
    for s in steps:
        common: dict[str, Cell] = {"step": s.number, "title": s.title}
        for member in s.members:
            # a later step may name a tube again that it only welds
            yield common | {"kind": "welded" if member in fitted else "fit", "item": member}
        fitted.update(s.members)
        listed = (
            ("lay", s.plates),
            ("tack", (*s.tack, *s.feet)),
            ("break tack", s.loosen),
            ("weld", tuple(j for j in s.weld if j not in s.partly)),
            ("weld in part", s.partly),
            ("finish plate", s.finish),
            ("glass out", s.glass_out),
            ("glass in", s.glass_in),
        )
        for kind, items in listed:
            for item in items:
                yield common | {"kind": kind, "item": item}
        for words in s.text:
            yield common | {"kind": "do", "text": words}
        for move in s.moves:
            amount = {"distance_mm": move.amount} if move.way is not Way.LEANED else {}
            lean = f", {degrees(move.amount):.0f} degrees" if move.way is Way.LEANED else ""
            yield common | {
                "kind": "move",
                "item": " ".join(move.joints),
                "text": move.way.value + lean,
                **amount,
            }
        for c in s.checks:
            yield common | {
                "kind": "measure",
                "item": c.start,
                "to": c.end,
                "distance_mm": c.distance,
                "crossed_mm": c.twin,
            }
        for words in s.tries:
            yield common | {"kind": "try", "text": words}


def setting_out_table(cage: Cage, out: SettingOut) -> Iterator[dict[str, Cell]]:
    """Rows of ``setting-out.csv``: feet, plates and holes in the car, then each tube's mark list.

    A foot's angle is its lean from plumb, a plate's its slope from level, a hole's that of its
    length from the panel's first edge, a branch's that of the axes, a welded plate's that between
    its plane and the tube.
    """
    for f in out.feet:
        yield {
            "kind": "foot",
            "on": f.place,
            "what": f.member,
            "end": f.end,
            **_place(f.point),
            "angle_deg": degrees(f.lean),
            "note": f"on {f.surface or 'the car'}" + "".join(f", plate {p}" for p in f.plates),
        }
    for p in out.plates:
        x, y, z = (float(v) for v in p.high)
        yield {
            "kind": "plate on the car",
            "on": "car",
            "what": p.plate,
            **_place(p.low),
            "x_to_mm": x,
            "y_to_mm": y,
            "z_to_mm": z,
            "angle_deg": degrees(p.slope),
        }
    for h in out.holes:
        yield {
            "kind": "hole",
            "on": h.panel,
            "what": h.member,
            **_place(h.point),
            "angle_deg": degrees(h.turn),
            "note": (
                f"oval {h.width:.1f} by {h.length:.1f} mm, middle {h.along:.1f} mm from the "
                f"panel's first corner towards the second and {h.across:.1f} mm in from that edge"
            ),
        }
    for member in (*cage.members, *cage.chassis):
        for mark in out.on(member):
            common: dict[str, Cell] = {
                "on": member,
                **_place(mark.point),
                "starts_mm": mark.low,
                "ends_mm": mark.high,
                "clock_deg": mark.clock,
                "round_mm": mark.round,
            }
            if isinstance(mark, BranchMark):
                yield common | {
                    "kind": "branch",
                    "what": mark.branch,
                    "end": mark.end,
                    "joint": mark.joint,
                    "from_a_mm": mark.tape,
                    "angle_deg": degrees(mark.angle),
                    "leans_to": mark.leans,
                    "note": _branch_note(mark, on_frame=member in cage.chassis),
                }
            else:
                yield common | {
                    "kind": mark.kind,
                    "what": mark.plate,
                    "from_a_mm": (mark.low + mark.high) / 2,
                    "angle_deg": degrees(mark.turn),
                }


def _branch_note(mark: BranchMark, *, on_frame: bool) -> str:
    """What is out of the ordinary with a branch's mark."""
    if mark.edges_only:
        return "axes pass beside the edges: mark these; from_a, clock and round are of their middle"
    if mark.in_bend:
        return "lands on a bend"
    return "on the car's own frame: from its start, clock from the top" if on_frame else ""


def inspection_table(cage: Cage) -> Iterator[dict[str, Cell]]:
    """Rows of ``inspection.csv``: nominal sizes, where to measure, and blanks."""
    for n, member in enumerate(cage.members.values(), start=1):
        spot = wall_spot(cage, member)
        yield {
            "number": n,
            "member": member.id,
            "od_mm": member.tube.od,
            "wall_mm": member.tube.wall,
            "material": member.tube.material,
            "measure_from_a_mm": spot.station,
            "clear_mm": spot.clear,
        }


def scrutineer_table(
    found: Iterable[Finding], codes: Iterable[str], units: LengthUnit
) -> Iterator[dict[str, Cell]]:
    """Rows of ``scrutineer.csv``: the table of the shop book, in ``units``, with room to sign."""
    for r in profile_rows(found, codes, units=units):
        yield {
            "code": r.code,
            "subject": r.subject,
            "finding": r.finding,
            "measured": r.measured,
            "limit": r.limit,
            "source": r.source,
            "status": r.status,
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
    return plain_text(str(value))


def plain_text(words: str) -> str:
    """Text that a spreadsheet takes for text: a formula gets the sign that says so in front.

    Names and remarks come from files that somebody else may have written; a number keeps its sign.
    """
    if not words.lstrip().startswith(FORMULA) and not words.startswith(("\t", "\r", "\n")):
        return words
    try:
        float(words)
    except ValueError:
        return f"'{words}"
    return words


def write_table(target: Path, columns: Sequence[str], rows: Iterable[Mapping[str, Cell]]) -> None:
    """Write a table as CSV; columns that a row does not name stay empty.

    Args:
        target: file to write.
        columns: in order.
        rows: by column.
    """
    target.write_text(text(columns, rows), encoding="utf-8", newline="\n")

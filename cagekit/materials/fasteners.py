"""Bolts: stress area, strengths and the holes they take."""

from __future__ import annotations

from functools import cache

from msgspec import Struct

from cagekit.data import Row, rows
from cagekit.errors import NotFoundError
from cagekit.hints import did_you_mean
from cagekit.materials.source import Certainty, certainty
from cagekit.units import INCH, KSI, POUND_FORCE

_LENGTH = {"mm": 1.0, "in": INCH}
_STRESS = {"MPa": 1.0, "ksi": KSI}
_FORCE = {"N": 1.0, "lbf": POUND_FORCE}


class Fastener(Struct, frozen=True, kw_only=True):
    """A bolt of one size and strength grade.

    Args:
        size: e.g. ``"M10"`` or ``"3/8-24"``.
        grade: e.g. ``"8.8"`` or ``"grade-8"``.
        diameter: nominal, mm.
        pitch: of the thread, mm.
        clearance_hole: usual hole, mm.
        across_flats: of the hexagon head, mm.
        stress_area: of the thread in tension, mm2, as printed.
        proof_stress: MPa.
        fy: smallest yield strength, MPa.
        fu: smallest tensile strength, MPa.
        proof_load: N, as printed.
        tensile_load: smallest breaking load in tension, N, as printed.
        source: documents of the row.
        certainty: how sure the strengths are.
        note: what is less sure than that.
    """

    size: str
    grade: str
    diameter: float
    pitch: float
    clearance_hole: float
    across_flats: float
    stress_area: float
    proof_stress: float
    fy: float
    fu: float
    proof_load: float
    tensile_load: float
    source: str
    certainty: Certainty
    note: str


def _fastener(row: Row) -> Fastener:
    length, force = _LENGTH[row["unit"]], _FORCE[row["load_unit"]]
    stress = _STRESS[row["stress_unit"]]
    pitch = float(row["pitch"]) if row["pitch"] else INCH / float(row["threads_per_inch"])
    return Fastener(
        size=row["size"],
        grade=row["grade"],
        diameter=float(row["diameter"]) * length,
        pitch=pitch,
        clearance_hole=float(row["clearance_hole"]) * length,
        across_flats=float(row["across_flats"]) * length,
        stress_area=float(row["stress_area"]) * length**2,
        proof_stress=float(row["proof_stress"]) * stress,
        fy=float(row["fy"]) * stress,
        fu=float(row["fu"]) * stress,
        proof_load=float(row["proof_load"]) * force,
        tensile_load=float(row["tensile_load"]) * force,
        source=row["source"],
        certainty=certainty(row["certainty"]),
        note=row["note"],
    )


@cache
def fasteners() -> tuple[Fastener, ...]:
    """Return every bolt of the table."""
    return tuple(_fastener(row) for row in rows("fasteners"))


def fastener(size: str, grade: str) -> Fastener:
    """Return one bolt, e.g. ``fastener("M10", "8.8")``.

    Raises:
        NotFoundError: no such size, or not in that grade; names what there is.
    """
    of_size = {bolt.grade: bolt for bolt in fasteners() if bolt.size == size}
    if not of_size:
        sizes = {bolt.size for bolt in fasteners()}
        raise NotFoundError(f"bolt {size!r}: not in the table. {did_you_mean(size, sizes)}")
    if grade not in of_size:
        raise NotFoundError(f"bolt {size} {grade!r}: no such grade. {did_you_mean(grade, of_size)}")
    return of_size[grade]

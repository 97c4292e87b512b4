"""Steels for tube and plate: smallest strengths of their standards, stiffness and density."""

from __future__ import annotations

from functools import cache

from msgspec import Struct

from cagekit.data import Row, rows
from cagekit.errors import NotFoundError
from cagekit.hints import did_you_mean
from cagekit.materials.source import Certainty, certainty
from cagekit.units import INCH, KSI, POUND

_ALLOYS = ("4130", "crmo")
_STRESS = {"MPa": 1.0, "ksi": KSI}
_DENSITY = {"kg/m3": 1e-9, "lb/in3": POUND / INCH**3}


class Steel(Struct, frozen=True, kw_only=True):
    """A steel in one condition of delivery.

    Strengths are the smallest that the standard allows, not those of a certificate, and not
    those beside a weld, where cold work and heat treatment are lost.

    Args:
        name: key, e.g. ``"1020-dom"``.
        standard: e.g. ``"ASTM A513 type 5"``.
        grade: the standard's name of the steel.
        condition: of delivery.
        limit: wall or thickness up to which the strengths hold; may be empty.
        fy: yield strength, MPa; None where the standard gives none.
        fu: tensile strength, MPa.
        elongation_pct: after fracture, percent; None where not given.
        e: Young's modulus, MPa.
        density: kg/mm3.
        poisson: Poisson's ratio.
        source: document that the row was taken from.
        certainty: how sure the row is.
        note: what else to know.
    """

    name: str
    standard: str
    grade: str
    condition: str
    limit: str
    fy: float | None
    fu: float
    elongation_pct: float | None
    e: float
    density: float
    poisson: float
    source: str
    certainty: Certainty
    note: str

    @property
    def shear_modulus(self) -> float:
        """Shear modulus of the isotropic material, MPa."""
        return self.e / (2 * (1 + self.poisson))


@cache
def _table() -> dict[str, Steel]:
    return {row["name"]: _steel(row) for row in rows("steels")}


def _steel(row: Row) -> Steel:
    stress = _STRESS[row["strength_unit"]]
    return Steel(
        name=row["name"],
        standard=row["standard"],
        grade=row["grade"],
        condition=row["condition"],
        limit=row["limit"],
        fy=float(row["fy"]) * stress if row["fy"] else None,
        fu=float(row["fu"]) * stress,
        elongation_pct=float(row["elongation_pct"]) if row["elongation_pct"] else None,
        e=float(row["e"]) * _STRESS[row["e_unit"]],
        density=float(row["density"]) * _DENSITY[row["density_unit"]],
        poisson=float(row["poisson"]),
        source=row["source"],
        certainty=certainty(row["certainty"]),
        note=row["note"],
    )


def steels() -> tuple[Steel, ...]:
    """Return every steel of the table."""
    return tuple(_table().values())


def steel(name: str) -> Steel:
    """Return one steel.

    Raises:
        NotFoundError: no steel has that name; names the closest.
    """
    table = _table()
    if name not in table:
        raise NotFoundError(f"steel {name!r}: not in the table. {did_you_mean(name, table)}")
    return table[name]


def family(material: str) -> str:
    """``alloy`` for chromium-molybdenum steel, else ``mild``; by the steel's key and grade."""
    try:
        text = f"{material} {steel(material).grade}".lower()
    except NotFoundError:
        text = material.lower()
    return "alloy" if any(a in text for a in _ALLOYS) else "mild"

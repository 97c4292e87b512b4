"""Round tube: outside diameter, wall and steel, section properties, and sizes that are sold."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import isfinite, pi, sqrt

from cagekit.data import rows
from cagekit.errors import InputError, NotFoundError
from cagekit.hints import did_you_mean
from cagekit.materials.source import Certainty, certainty
from cagekit.units import parse_length


@dataclass(frozen=True, slots=True, kw_only=True)
class Tube:
    """A round tube with a concentric bore.

    Section properties are those of the exact ring, without the corner or seam allowances that
    printed tables may contain. Source: closed forms of the annulus, any handbook of sections.

    Args:
        od: outside diameter, mm.
        wall: wall thickness, mm; thinner than half of ``od``.
        material: key of a steel, see `cagekit.materials.steels`.
        name: what people call the tube; may be empty.

    Raises:
        InputError: a size that is not a tube.
    """

    od: float
    wall: float
    material: str
    name: str = ""

    def __post_init__(self) -> None:
        where = f"tube {self.name}".rstrip()
        for field in ("od", "wall"):
            size = getattr(self, field)
            if not (isfinite(size) and size > 0):
                raise InputError(where, field, size, problem="must be a length above zero.")
        if self.wall >= self.od / 2:
            raise InputError(
                where,
                "wall",
                self.wall,
                problem=f"leaves no bore in a tube of {self.od:g} mm.",
                hint="The wall must be thinner than half of the outside diameter.",
            )

    @property
    def outer_radius(self) -> float:
        """Radius of the outside, mm."""
        return self.od / 2

    @property
    def inner_radius(self) -> float:
        """Radius of the bore, mm."""
        return self.od / 2 - self.wall

    @property
    def area(self) -> float:
        """Area of steel in the cross-section, mm2."""
        return pi * self.wall * (self.od - self.wall)

    @property
    def second_moment(self) -> float:
        """Second moment of area about a diameter, mm4."""
        return pi / 4 * (self.outer_radius**4 - self.inner_radius**4)

    @property
    def section_modulus(self) -> float:
        """Elastic section modulus, mm3."""
        return self.second_moment / self.outer_radius

    @property
    def plastic_modulus(self) -> float:
        """Plastic section modulus, mm3."""
        return 4 / 3 * (self.outer_radius**3 - self.inner_radius**3)

    @property
    def torsion_constant(self) -> float:
        """St Venant torsion constant, mm4: twice the second moment for a ring."""
        return 2 * self.second_moment

    @property
    def torsion_modulus(self) -> float:
        """Torsion constant over the outer radius, mm3."""
        return self.torsion_constant / self.outer_radius

    @property
    def radius_of_gyration(self) -> float:
        """Radius of gyration about a diameter, mm."""
        return sqrt(self.outer_radius**2 + self.inner_radius**2) / 2

    def mass_per_length(self, density: float) -> float:
        """Return kg per mm of tube; ``density`` in kg/mm3, as `Steel.density` gives it."""
        return self.area * density


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeSize:
    """A size that tube is sold in.

    Args:
        name: e.g. ``"dom-1.625x0.134"`` or ``"cds-45x2.5"``.
        od: outside diameter, mm.
        wall: wall thickness, mm.
        standard: key of the standard whose tolerances hold: `cagekit show tolerances`.
        stock_lengths: usual lengths of a stick, mm.
        source: where the size is named.
        certainty: how sure that is.
    """

    name: str
    od: float
    wall: float
    standard: str
    stock_lengths: tuple[float, ...]
    source: str
    certainty: Certainty

    def tube(self, material: str) -> Tube:
        """Return a tube of this size in ``material``."""
        return Tube(od=self.od, wall=self.wall, material=material, name=self.name)


@cache
def tube_sizes() -> tuple[TubeSize, ...]:
    """Return the tube sizes of the table, inch sizes first, then metric ones."""
    return tuple(
        TubeSize(
            name=row["name"],
            od=parse_length(f"{row['od']} {row['unit']}"),
            wall=parse_length(f"{row['wall']} {row['unit']}"),
            standard=row["standard"],
            stock_lengths=tuple(parse_length(text) for text in row["stock_lengths"].split(";")),
            source=row["source"],
            certainty=certainty(row["certainty"]),
        )
        for row in rows("tubes")
    )


def tube_size(name: str) -> TubeSize:
    """Return one size of the table.

    Raises:
        NotFoundError: no size has that name; names the closest.
    """
    known = {size.name: size for size in tube_sizes()}
    if name not in known:
        raise NotFoundError(f"tube size {name!r}: not in the table. {did_you_mean(name, known)}")
    return known[name]

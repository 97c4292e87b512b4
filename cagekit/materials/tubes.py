"""Round tube: outside diameter, wall and steel, section properties, and sizes that are sold."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, pi, sqrt

from cagekit.errors import InputError


@dataclass(frozen=True, kw_only=True)
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

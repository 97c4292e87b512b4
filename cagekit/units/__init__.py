"""Quantities as people write and read them: inches in fractions, feet, millimetres.

Inside cagekit a length is a float in mm, an angle a float in rad, a mass in kg, a force in N.
This room is where text becomes such a float and where it becomes text again.
"""

from __future__ import annotations

from cagekit.units.beside import FORCE, MASS, MOMENT, STRESS, forces_in
from cagekit.units.formats import (
    format_angle,
    format_area,
    format_length,
    format_mass,
)
from cagekit.units.lengths import LengthError, LengthUnit, parse_length
from cagekit.units.scale import INCH, KSI, POUND, POUND_FORCE
from cagekit.units.sentences import lengths_in

__all__ = [
    "FORCE",
    "INCH",
    "KSI",
    "MASS",
    "MOMENT",
    "POUND",
    "POUND_FORCE",
    "STRESS",
    "LengthError",
    "LengthUnit",
    "forces_in",
    "format_angle",
    "format_area",
    "format_length",
    "format_mass",
    "lengths_in",
    "parse_length",
]

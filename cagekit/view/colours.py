"""The cage's colours, where views look for them."""

from __future__ import annotations

from cagekit.cage.colours import (
    BRACE,
    CROSS,
    DIAGONAL,
    DOOR,
    FAMILIES,
    FLOOR,
    GUSSET,
    HOOP,
    LOOP,
    OTHER,
    PART,
    PLATE,
    ROLES,
    Colour,
    linear,
    role_colour,
)

__all__ = [
    "BRACE", "CROSS", "DIAGONAL", "DOOR", "FAMILIES", "FLOOR", "GUSSET", "HOOP", "LOOP", "OTHER",
    "PART", "PLATE", "ROLES", "Colour", "linear", "role_colour",
]  # fmt: skip

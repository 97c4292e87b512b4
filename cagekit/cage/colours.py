"""One colour per role, for every picture, viewer and CAD file.

A family of roles shares a hue, so that a fabricator sees at a glance what belongs together; the
hues keep apart for people who do not tell red from green (lightness differs as well).
"""

from __future__ import annotations

from collections.abc import Mapping

from cagekit.inputs.struts import STRUTS

Colour = tuple[float, float, float]
"""sRGB, each from 0 to 1."""


def _hex(text: str) -> Colour:
    return int(text[0:2], 16) / 255, int(text[2:4], 16) / 255, int(text[4:6], 16) / 255


HOOP, LOOP, BRACE, DIAGONAL, DOOR, CROSS, FLOOR, GUSSET, PLATE, PART, OTHER = map(
    _hex,
    (
        "d1495b",  # main hoop, the one everything hangs on
        "e8963e",  # loops and bars along roof and pillars
        "3f7cac",  # rear braces
        "7a5195",  # diagonals
        "2a9d8f",  # door bars
        "8ab6d6",  # bars across
        "6a994e",  # along the floor
        "c9ada7",  # tube gussets
        "8d99ae",  # plates
        "d9b44a",  # pins, sleeves and washers
        "9a8c98",  # free struts and the rest
    ),
)

FAMILIES: tuple[tuple[str, Colour], ...] = (
    ("main hoop", HOOP),
    ("loops, rails and pillar bars", LOOP),
    ("braces", BRACE),
    ("diagonals", DIAGONAL),
    ("door bars", DOOR),
    ("cross bars", CROSS),
    ("floor bars", FLOOR),
    ("tube gussets", GUSSET),
    ("plates", PLATE),
    ("pins, sleeves, washers", PART),
    ("other", OTHER),
)
"""Families in the order of a legend."""


ROLES: Mapping[str, Colour] = {
    "main_hoop": HOOP,
    "halo": LOOP,
    "front_hoop": LOOP,
    "half_hoop": LOOP,
    "a_pillar_bar": LOOP,
    "windscreen_brace": BRACE,
    "hoop_diagonal": DIAGONAL,
    "roof_diagonal": DIAGONAL,
    "rear_diagonal": DIAGONAL,
    "door_bar": DOOR,
    "harness_bar": CROSS,
    "dash_bar": CROSS,
    "outrigger": FLOOR,
    "rocker_brace": FLOOR,
    "tube_gusset": GUSSET,
    **{kind: dict(FAMILIES)[row.family] for kind, row in STRUTS.items()},
}
"""Colour of each role; what is not named here is ``OTHER``."""


def role_colour(role: str) -> Colour:
    """Return the sRGB colour of a member's role (``door_bar_lower`` counts as ``door_bar``)."""
    if role in ROLES:
        return ROLES[role]
    return next((c for name, c in ROLES.items() if role.startswith(f"{name}_")), OTHER)


def linear(colour: Colour) -> Colour:
    """Return an sRGB colour as linear light, as glTF wants it.

    Source: IEC 61966-2-1 (sRGB), transfer function.
    """

    def one(c: float) -> float:
        return c / 12.92 if c <= 0.04045 else float(((c + 0.055) / 1.055) ** 2.4)

    return one(colour[0]), one(colour[1]), one(colour[2])

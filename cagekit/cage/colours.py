"""One colour per role, for every picture, viewer and CAD file.

A family of roles shares a hue, so that a fabricator sees at a glance what belongs together; the
hues keep apart for people who do not tell red from green (lightness differs as well).
"""

from __future__ import annotations

from collections.abc import Mapping

from cagekit.cage.member import Member
from cagekit.data import tables

Colour = tuple[float, float, float]
"""sRGB, each from 0 to 1."""


def _hex(text: str) -> Colour:
    return int(text[0:2], 16) / 255, int(text[2:4], 16) / 255, int(text[4:6], 16) / 255


HOOP, LOOP, BRACE, DIAGONAL, DOOR, CROSS, FLOOR, GUSSET, PLATE, PART, OTHER, FRAME = map(
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
        "cfd3d8",  # the car's own frame, which is there already
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
    ("the car's own frame", FRAME),
)
"""Families in the order of a legend."""


ROLES: Mapping[str, Colour] = {
    "rear_diagonal": DIAGONAL,
    # the table as it stands, not its models: a colour needs no pydantic, which is slow to load
    **{kind: dict(FAMILIES)[row["family"]] for kind, row in tables("members").items()},
}
"""Colour of each role that has one of its own."""


def member_colour(member: Member) -> Colour:
    """Return the sRGB colour of a member: its role's, its kind's for a role of the user's own."""
    return ROLES.get(member.role, ROLES.get(member.kind, OTHER))


def linear(colour: Colour) -> Colour:
    """Return an sRGB colour as linear light, as glTF wants it.

    Source: IEC 61966-2-1 (sRGB), transfer function.
    """

    def one(c: float) -> float:
        return c / 12.92 if c <= 0.04045 else float(((c + 0.055) / 1.055) ** 2.4)

    return one(colour[0]), one(colour[1]), one(colour[2])

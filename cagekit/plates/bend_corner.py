"""The corner beside a bend, where a folded gusset stands on the straight beyond it."""

from __future__ import annotations

from math import acos

import numpy as np
from msgspec.structs import replace

from cagekit.geometry.centre_line import CentreLine, Line, unit
from cagekit.plates.corner import FLATTEST, SHARPEST, Corner

IN_PLANE = 0.5
"""The bend lies in the corner's plane where the branch passes the straight beyond it by less than
this, mm: what fitting a cheek takes up."""
TURNED = 0.03
"""Directions nearer than this (rad) are parallel."""


def beyond_bend(corner: Corner) -> tuple[Corner, float] | None:
    """The corner between the branch and the parent's straight beyond the bend at the node.

    With it how far from its node the straight begins, mm. None where there is no such straight, or
    where the bend leaves the corner's plane: then no flat cheek lies on both tubes.

    Args:
        corner: whose parent bends at the node.
    """
    pieces = corner.parent_path.pieces
    first = corner.branch_path.pieces[0]
    at = next((p for p in pieces[1:] if isinstance(p, Line)), None)
    if isinstance(pieces[0], Line) or at is None or not isinstance(first, Line):
        return None
    away, arm = first.direction, at.direction
    normal = np.cross(arm, away)
    size = float(np.linalg.norm(normal))
    if size < TURNED:
        return None
    normal = normal / size
    between = first.start - at.start
    if abs(float(between @ normal)) > IN_PLANE:
        return None
    # where the two axes, carried on, meet
    along = float(np.cross(between, away) @ np.cross(arm, away)) / size**2
    node = at.start + along * arm
    angle = acos(float(np.clip(away @ arm, -1.0, 1.0)))
    begins = -along
    if begins < 0 or not SHARPEST <= angle <= FLATTEST:
        return None
    return (
        replace(
            corner,
            node=node,
            along=arm,
            across=unit(away - (away @ arm) * arm),
            angle=angle,
            branch_path=CentreLine((Line(node, first.end), *corner.branch_path.pieces[1:])),
            parent_path=CentreLine((Line(node, at.end),)),
        ),
        begins,
    )

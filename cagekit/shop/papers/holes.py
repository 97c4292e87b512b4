"""Holes in the car's panels for the tubes that pass through them."""

from __future__ import annotations

from math import pi

import numpy as np
from msgspec import Struct

from cagekit.cage.cage import Cage
from cagekit.car.panel import flat_panel, passages
from cagekit.geometry.arrays import Vec
from cagekit.inputs.car import Car
from cagekit.units.tolerance import NEVER_ZERO


class PanelHole(Struct, frozen=True, kw_only=True, eq=False):
    """An oval in a panel through which a tube passes, room all round.

    Attributes:
        panel: the car sheet's word for it.
        member: id of the tube.
        point: middle of the hole, where the tube's axis passes, ``(3,)`` mm in car axes.
        along: middle from the panel's first corner, along the edge to the second, mm.
        across: the same square to that edge, towards the other corners, mm.
        width: of the oval, mm.
        length: of the oval, mm; its width where the tube stands square to the panel.
        turn: of the length from that edge towards the other corners, rad in 0 to pi.
    """

    panel: str
    member: str
    point: Vec
    along: float
    across: float
    width: float
    length: float
    turn: float


def panel_holes(cage: Cage, car: Car) -> tuple[PanelHole, ...]:
    """Every hole in the panels that take one, in the order of the panels.

    Args:
        cage: the cage as it is fitted.
        car: whose panels they are.
    """
    out = []
    for panel in car.panels:
        flat = flat_panel(panel)
        for member in cage.members.values() if panel.holes else ():
            for spot in passages(flat, member.path):
                u, v, w = (float(c) for c in spot.way)
                # the section of a rod that is thicker by the room: so its edge is that far off all
                # round the tube, also at the ends of a long oval
                rod = member.tube.od + 2 * panel.clearance
                out.append(
                    PanelHole(
                        panel=panel.name,
                        member=member.id,
                        point=spot.point,
                        along=float(spot.place[0]),
                        across=float(spot.place[1]),
                        width=rod,
                        length=rod / max(abs(w), NEVER_ZERO),
                        turn=float(np.arctan2(v, u)) % pi,
                    )
                )
    return tuple(out)

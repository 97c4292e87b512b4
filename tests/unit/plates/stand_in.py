"""A small cage to hang plates on: a bent hoop with two branches and feet."""

from __future__ import annotations

import numpy as np

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, Member
from cagekit.geometry.centre_line import CentreLine
from cagekit.materials.tubes import Tube

HOOP_TUBE = Tube(od=45, wall=2.5, material="e235-n")
BRANCH_TUBE = Tube(od=40, wall=2, material="e235-n")


def hoop_cage():
    """Hoop in the plane x = 0; ``brace`` on its straight leg, ``stay`` on its top bend."""
    path = CentreLine.from_polyline([(0, 600, 0), (0, 560, 900), (0, -560, 900), (0, -600, 0)], 150)
    hoop = Member(
        id="main_hoop",
        role="main_hoop",
        tube=HOOP_TUBE,
        path=path,
        a=End.flat((0, 600, 0), (0, 0, 1)),
        b=End.flat((0, -600, 0), (0, 0, 1)),
    )
    leg = path.at_height(600)[0]
    bend = path.spot(path.starts[1] + 120)
    brace = Member(
        id="brace_left",
        role="brace",
        side="left",
        tube=BRANCH_TUBE,
        path=CentreLine.straight(leg.point, (-700, 450, 100)),
        a=End.coped("main_hoop"),
    )
    stay = Member(
        id="stay",
        role="stay",
        tube=BRANCH_TUBE,
        path=CentreLine.straight(bend.point, (-500, 200, 150)),
        a=End.coped("main_hoop"),
    )
    return Cage("stand_in", [hoop, brace, stay])


def axis_gaps(path, points):
    """Distance of points ``(n, 3)`` to a centre line, by dense sampling of it."""
    line = path.points(np.linspace(0, path.length, 40001))
    return np.array([float(np.sqrt(((line - p) ** 2).sum(1).min())) for p in points])

"""Space frames of any number of tubes, for timing only."""

from __future__ import annotations

import numpy as np

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, Member
from cagekit.cage.plate import Hole, Plate
from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.outline import Outline
from cagekit.materials.tubes import Tube

BAY = 420.0
"""Distance from arch to arch, mm."""
HALF = 550.0
HEIGHT = 900.0
BEND = 152.0


PLATE = 150.0
"""Side of a floor plate, mm; it is 4 mm thick and has four holes."""


def frame(count: int, tube: Tube) -> Cage:
    """A tunnel of arches on two rails: ties, cross bars, diagonals, braces, struts and plates.

    Braces stand on the bends of the arches; struts end where an arch stands on a rail, on both.

    Args:
        count: number of tubes, at least 3.
        tube: the tube of every member.
    """
    bays = max(1, (count + 3) // 6)
    length = BAY * (bays + 1)
    members = [
        Member(id=f"rail_{side}", role="sill_bar", tube=tube, side=side,  # type: ignore[arg-type]
               path=CentreLine.straight((-BAY, y, 0), (length, y, 0)))
        for side, y in (("left", HALF), ("right", -HALF))
    ]  # fmt: skip
    for bay in range(bays):
        wanted = _bay(bay)[: count - len(members)]
        members += [
            Member(id=f"{name}_{bay}", role=role, tube=tube, path=path, a=a, b=b)
            for name, role, path, a, b in wanted
        ]
    return Cage(f"frame_{count}", members, plates=[_plate(bay, tube) for bay in range(bays)])


def _bay(bay: int) -> list[tuple[str, str, CentreLine, End, End]]:
    """Name, role, path and ends of the tubes of one bay."""
    x = bay * BAY
    corners = [(x, HALF, 0), (x, HALF - 60, HEIGHT), (x, 60 - HALF, HEIGHT), (x, -HALF, 0)]
    arch = CentreLine.from_polyline(corners, BEND)
    left, right = End.coped("rail_left"), End.coped("rail_right")
    here = End.coped(f"arch_{bay}")
    bend = arch.pieces[1]
    crown = bend.point(np.array(bend.length / 2))
    straight = CentreLine.straight
    out = [
        ("arch", "main_hoop", arch, left, right),
        ("cross", "cross_member", straight((x + 290, HALF, 0), (x + 290, -HALF, 0)), left, right),
        ("diagonal", "rocker_brace",
         straight((x + 60, HALF, 0), (x + BAY - 150, -HALF, 0)), left, right),
        ("brace", "rear_brace", straight(crown, (x + 200, HALF, 0)), here, left),
        ("strut", "rear_brace",
         straight((x, -HALF, 0), (x + 290, -100, 0)), End.coped("rail_right", f"arch_{bay}"),
         End.coped(f"cross_{bay}")),
    ]  # fmt: skip
    if bay:
        tie = straight((x - BAY, 80, HEIGHT), (x, -80, HEIGHT))
        out.insert(1, ("tie", "roof_diagonal", tie, End.coped(f"arch_{bay - 1}"), here))
    return out


def _plate(bay: int, tube: Tube) -> Plate:
    """A floor plate under the left rail."""
    spots = [(x, y) for x in (-50.0, 50.0) for y in (-50.0, 50.0)]
    place = np.eye(4)
    place[:3, 3] = bay * BAY, HALF, -tube.outer_radius
    return Plate(
        id=f"plate_{bay}", kind="floor_plate", thickness=4.0, material=tube.material,
        outline=Outline.rectangle(PLATE, PLATE, 10.0),
        holes=tuple(Hole.circle(c, 11.0) for c in spots), placement=place,
    )  # fmt: skip

"""Space frames of any number of tubes, for timing only."""

from __future__ import annotations

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, Member
from cagekit.geometry.centre_line import CentreLine
from cagekit.materials.tubes import Tube

BAY = 420.0
"""Distance from arch to arch, mm."""
HALF = 550.0
HEIGHT = 900.0
BEND = 152.0


def frame(count: int, tube: Tube) -> Cage:
    """A tunnel of arches on two rails, with ties, cross bars and floor diagonals.

    Args:
        count: number of tubes, at least 3.
        tube: the tube of every member.
    """
    bays = max(1, (count + 1) // 4)
    length = BAY * (bays + 1)
    members = [
        Member(id=f"rail_{side}", role="sill_bar", tube=tube, side=side,  # type: ignore[arg-type]
               path=CentreLine.straight((-BAY, y, 0), (length, y, 0)))
        for side, y in (("left", HALF), ("right", -HALF))
    ]  # fmt: skip
    bay = 0
    while len(members) < count:
        x = bay * BAY
        corners = [(x, HALF, 0), (x, HALF - 60, HEIGHT), (x, 60 - HALF, HEIGHT), (x, -HALF, 0)]
        rails = End.coped("rail_left"), End.coped("rail_right")
        wanted = [
            (f"arch_{bay}", "main_hoop", CentreLine.from_polyline(corners, BEND), *rails),
            (f"cross_{bay}", "cross_member",
             CentreLine.straight((x + BAY / 2, HALF, 0), (x + BAY / 2, -HALF, 0)), *rails),
            (f"diagonal_{bay}", "rocker_brace",
             CentreLine.straight((x + 60, HALF, 0), (x + BAY - 60, -HALF, 0)), *rails),
        ]  # fmt: skip
        if bay:
            ends = End.coped(f"arch_{bay - 1}"), End.coped(f"arch_{bay}")
            tie = CentreLine.straight((x - BAY, 80, HEIGHT), (x, -80, HEIGHT))
            wanted.insert(1, (f"tie_{bay}", "roof_diagonal", tie, *ends))
        for id_, role, path, a, b in wanted[: count - len(members)]:
            members.append(Member(id=id_, role=role, tube=tube, path=path, a=a, b=b))
        bay += 1
    return Cage(f"frame_{count}", members)

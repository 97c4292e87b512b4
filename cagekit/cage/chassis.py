"""Tubes of the frame that the car has already, as parents that a cage is coped to."""

from __future__ import annotations

from collections.abc import Mapping

from cagekit.cage.member import CHASSIS, Member, Side
from cagekit.geometry.centre_line import CentreLine
from cagekit.inputs.car import Car


def chassis_tubes(car: Car) -> Mapping[str, Member]:
    """The tubes of the car's own frame, by id in the order of the car sheet; both ends free."""
    out: dict[str, Member] = {}
    for table in car.chassis.tube:
        for id_, (start, end) in table.axes().items():
            out[id_] = Member(
                id=id_,
                role=CHASSIS,
                tube=table.tube(),
                path=CentreLine.from_polyline([start, end], 0.0, owner=id_),
                side=_side(table.side, id_),
            )
    return out


def _side(said: str, id_: str) -> Side:
    if said == "left" or (said == "both" and id_.endswith("_left")):
        return "left"
    return "centre" if said == "centre" else "right"

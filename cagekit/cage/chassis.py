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
                side=_side((start[1], end[1]), table.od / 2),
            )
    return out


def _side(ys: tuple[float, float], radius: float) -> Side:
    """Where a tube lies: on one side, or across (or in) the centre plane, whatever its name."""
    if min(ys) >= radius:
        return "left"
    return "right" if max(ys) <= -radius else "centre"

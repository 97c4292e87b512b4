"""Who sits where, and what cannot have been measured on a person in that seat.

The ranges are wide: from a go-kart's upright seat to somebody who lies in a single-seater.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from cagekit.inputs.car import Car, Seat
from cagekit.inputs.driver import Driver
from cagekit.inputs.plausible import Fault
from cagekit.units import format_length

LowHigh = tuple[float, float]

FROM_SEAT: Mapping[str, LowHigh] = {
    "x": (-300.0, 300.0),
    "y": (-150.0, 150.0),
    "z": (-250.0, 250.0),
}
"""Measured hip point from that of the seat, mm (from memory)."""
FROM_HIP: Mapping[str, Mapping[str, LowHigh]] = {
    "helmet_top": {"y": (-200.0, 200.0), "x": (-900.0, 250.0), "z": (350.0, 1200.0)},
    "eye": {"y": (-200.0, 200.0), "x": (-850.0, 300.0), "z": (300.0, 1050.0)},
    "shoulder": {"y": (-400.0, 400.0), "x": (-700.0, 200.0), "z": (120.0, 800.0)},
    "elbow": {"y": (-600.0, 600.0), "x": (-500.0, 650.0), "z": (-200.0, 800.0)},
    "knee": {"y": (-450.0, 450.0), "x": (100.0, 850.0), "z": (-350.0, 600.0)},
}
"""Points of a seated person from the hip point, left, forward and up, mm (from memory)."""
FROM_TOP: Mapping[str, LowHigh] = {"y": (-120.0, 120.0), "x": (-120.0, 300.0), "z": (-350.0, -60.0)}
"""Middle between the eyes from the top of the helmet, mm (from memory)."""
WAYS: Mapping[str, tuple[str, str, str]] = {
    "x": ("ahead of", "behind", "x counts forward from the hoop's feet"),
    "y": ("left of", "right of", "y is signed here, left positive"),
    "z": ("above", "below", "z counts up from the tops of the sills"),
}


def in_order(drivers: Sequence[Driver]) -> list[Driver]:
    """The driver first, then the others as named; the first named drives when nobody is said to."""
    return sorted(drivers, key=lambda d: d.role != "driver")


def seats_of(car: Car, drivers: Sequence[Driver]) -> list[tuple[Seat, Driver]]:
    """Everybody's seat: the driver on the driver's, the next on the next.

    People for whom the car sheet has no seat are left out.
    """
    first = car.seats.index(car.driver_seat)
    order = sorted(range(len(car.seats)), key=lambda i: (i != first, i))
    return [(car.seats[s], d) for s, d in zip(order, in_order(drivers), strict=False)]


def sitting_faults(seat: Seat, person: Driver) -> Iterator[Fault]:
    """Points of a person's sheet that lie nowhere near that person's seat."""
    given = person.seated
    if given.hip is not None:
        yield from _off(person, "hip", given.hip, seat.hip, FROM_SEAT, "the seat's hip point")
    hip = seat.hip if given.hip is None else given.hip
    for name, spans in FROM_HIP.items():
        point = getattr(given, name)
        if point is not None:
            yield from _off(person, name, point, hip, spans, "the hip point")
    if given.eye is not None and given.helmet_top is not None:
        top = given.helmet_top
        yield from _off(person, "eye", given.eye, top, FROM_TOP, "the helmet's top")


def _off(
    person: Driver,
    name: str,
    point: tuple[float, float, float],
    hip: tuple[float, float, float],
    spans: Mapping[str, LowHigh],
    what: str,
) -> Iterator[Fault]:
    """The first axis along which a point is not where it can be."""
    for axis, (low, high) in spans.items():
        n = "xyz".index(axis)
        off = point[n] - hip[n]
        if low <= off <= high:
            continue
        more, less, counts = WAYS[axis]
        far, *ends = (
            f"{format_length(abs(v), person.units)} {less if v < 0 else more}"
            for v in (off, low, high)
        )
        yield Fault(
            key=("seated", name),
            problem=f"lies {far} {what} at {axis} {format_length(hip[n], person.units)}.",
            hint=f"It can be from {ends[0]} it to {ends[1]} it; {counts}.",
        )
        return

"""Members of the hoop plane and the roof: harness bar, hoop diagonal, roof diagonal."""

from __future__ import annotations

from collections.abc import Callable
from math import cos

from cagekit.cage.member import Member, Side
from cagekit.inputs.entries import HarnessBarEntry, HoopDiagonalEntry, RoofDiagonalEntry
from cagekit.inputs.places import OnTube
from cagekit.members.site import Site
from cagekit.members.strut import between, crossed, hoop
from cagekit.people.posture import seated

SIDES: tuple[Side, Side] = ("left", "right")
SEAT_TO_SHOULDER = 460.0
"""Hip point to top of the shoulder along the torso, mm, when no driver is given (from memory)."""


def make_harness_bar(site: Site, entry: HarnessBarEntry) -> list[Member]:
    """Make a harness bar between the legs of the main hoop, below the driver's shoulder."""
    if entry.from_ and entry.to:
        return between(site, entry, "harness_bar", entry.from_, entry.to)
    height = shoulder_height(site) - entry.below_shoulder if entry.height is None else entry.height
    start, end = (hoop(site, side).spot("height", height) for side in SIDES)
    return between(site, entry, "harness_bar", start, end)


def shoulder_height(site: Site) -> float:
    """Height of the driver's shoulder above the sill plane, mm."""
    car = site.car
    people = seated(car, site.build.drivers[:1])
    if people:
        return float(people[0].shoulder[2])
    seat = car.driver_seat
    return seat.hip[2] + SEAT_TO_SHOULDER * cos(seat.back_angle)


def make_hoop_diagonal(site: Site, entry: HoopDiagonalEntry) -> list[Member]:
    """Make the hoop diagonal; crossed, the second one is cut and coped to the first."""
    driver = site.car.driver_side
    other = "right" if driver == "left" else "left"
    high, low = (driver, other) if entry.upper == "driver" else (other, driver)

    def ends(top: str, bottom: str) -> tuple[OnTube, OnTube]:
        return (
            hoop(site, top).spot("top bend", move="down", by=entry.drop),
            hoop(site, bottom).spot("foot", move="up", by=entry.rise),
        )

    if entry.style == "crossed":
        return crossed(site, entry, "hoop_diagonal", ends(high, low), ends(low, high))
    return between(site, entry, "hoop_diagonal", *ends(high, low))


def make_roof_diagonal(site: Site, entry: RoofDiagonalEntry) -> list[Member]:
    """Make the roof diagonal: to the driver's front corner, crossed, or V from mid hoop."""
    driver = site.car.driver_side
    other = "right" if driver == "left" else "left"
    front = _front_corner(site, entry)

    def rear(side: str) -> OnTube:
        return hoop(site, side).spot("top bend", move="inboard", by=entry.inset)

    if entry.style != "v":
        first, second = (rear(other), front(driver)), (rear(driver), front(other))
        if entry.style == "crossed":
            return crossed(site, entry, "roof_diagonal", first, second)
        return between(site, entry, "roof_diagonal", *first)
    out: list[Member] = []
    for side in SIDES:
        made = between(
            site, entry, "roof_diagonal", hoop(site).spot("y", 0.0), front(side), side=side
        )
        site.add(made)
        out.extend(made)
    return out


def _front_corner(site: Site, entry: RoofDiagonalEntry) -> Callable[[str], OnTube]:
    """The roof's front corner on the halo, front hoop or half hoop there is, by side."""
    kind, _ = site.first(entry.id, "halo", "front_hoop", "half_hoop")
    at, move = {"halo": ("front bend", "back"), "front_hoop": ("top bend", "inboard")}.get(
        kind, ("top bend", "back")
    )
    return lambda side: site.tube_of(kind, side, ahead=True).spot(at, move=move, by=entry.inset)

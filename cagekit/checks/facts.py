"""Facts about car, crew and cage that a rule's ``when`` may ask for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from msgspec import Struct

from cagekit.checks.finding import Value
from cagekit.checks.quantities.quantity import LAYOUTS, Unit

if TYPE_CHECKING:
    from cagekit.checks.quantities.survey import Survey


class Missing(Struct, frozen=True):
    """A fact that nobody has given; ``what`` says where it would stand."""

    what: str


class Fact(Struct, frozen=True):
    """A fact by name: its unit, what it is and how to get it.

    ``said`` is what a condition on it begins with, or says whole of a yes; ``unsaid`` of a no.
    ``word`` is the unit that is printed after a number, ``words`` are all that a text can be.
    """

    name: str
    unit: Unit
    about: str
    get: Callable[[Survey], Value | Missing]
    said: str = ""
    unsaid: str = ""
    word: str = ""
    words: tuple[str, ...] = ()


def _homologated(s: Survey) -> Value | Missing:
    return s.car.homologated or Missing("the car sheet's `homologated` year")


def _class(s: Survey) -> Value | Missing:
    return s.car.class_ or Missing("the car sheet's `class`")


def _mass(s: Survey) -> Value | Missing:
    return s.car.mass or Missing("the car sheet's `mass`, ready to run without driver")


def _mass_with_driver(s: Survey) -> Value | Missing:
    if s.car.mass is None:
        return Missing("the car sheet's `mass`, ready to run without driver")
    driver = next((d for d in s.drivers if d.role == "driver"), None)
    if driver is None or driver.mass is None:
        return Missing("a driver sheet with `mass`, helmet and suit included")
    return s.car.mass + driver.mass


def _time(s: Survey) -> Value | Missing:
    return s.car.quarter_mile_time or Missing("the car sheet's `quarter_mile_time`")


def _engine(s: Survey) -> Value | Missing:
    if s.car.engine_capacity is None:
        return Missing("the car sheet's `engine_capacity` in cm3, 0 for an electric car")
    return s.car.engine_capacity


_ALL = (
    Fact("body", "text", "closed or open", lambda s: s.car.body, words=("closed", "open")),
    Fact("frame", "text", "unibody or frame", lambda s: s.car.frame, words=("unibody", "frame")),
    Fact("doors", "count", "number of doors", lambda s: s.car.doors),
    Fact("class", "text", "competition class as the car sheet names it", _class),
    Fact("homologated", "year", "year of homologation", _homologated, said="homologated"),
    Fact("mass", "kg", "car ready to run without driver", _mass),
    Fact(
        "mass_with_driver",
        "kg",
        "car ready to run plus driver in suit and helmet",
        _mass_with_driver,
    ),
    Fact("quarter_mile_time", "s", "elapsed time in the quarter mile", _time),
    Fact("engine_capacity", "ratio", "engine capacity, cm3", _engine, word="cm3"),
    Fact(
        "co_driver",
        "flag",
        "whether a co-driver rides along",
        lambda s: s.co_driver,
        said="a co-driver rides along",
        unsaid="no co-driver rides along",
    ),
    Fact(
        "layout",
        "text",
        f"{', '.join(LAYOUTS[:-1])} or {LAYOUTS[-1]}",
        lambda s: s.layout,
        words=LAYOUTS,
    ),
    Fact(
        "pillar_brace",
        "flag",
        "whether each side has a pillar brace",
        lambda s: s.pillar_braced,
        said="each side has a pillar brace",
        unsaid="a side has no pillar brace",
    ),
    Fact(
        "swing_out",
        "flag",
        "whether a door bar swings out",
        lambda s: s.swing_out,
        said="a door bar swings out",
        unsaid="no door bar swings out",
    ),
)
FACTS: Mapping[str, Fact] = {f.name: f for f in _ALL}
"""Every fact by name."""

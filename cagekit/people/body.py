"""The body dimensions of one person, each with where it comes from."""

from __future__ import annotations

from msgspec import Struct

from cagekit.inputs.driver import Driver
from cagekit.people.population import headform_circumference, survey

FOREARM_SHARE = 0.200
"""Elbow to grip over stature. Source: forearm 0.146 and half of hand 0.108 of stature (Drillis
and Contini 1966), from memory."""
DERIVED = ("forearm_grip_length", "head_circumference")
"""Dimensions that are not filled from the population."""
HELMET_SIDES = 104.0
"""Full-face helmet's width over the head's breadth, mm. No standard fixes it; gives about 258 mm
on an average head. Source: common practice, from memory."""
HELMET_ENDS = 140.0
"""Same for its length over the head's length, mm; gives about 340 mm. Source: from memory."""


class Dimensions(Struct, frozen=True, kw_only=True):
    """Body dimensions, mm, as used; see ``cagekit.inputs.driver.Body`` for how each is taken.

    ``origin`` says for every dimension whether it was measured or at which percentile.
    """

    stature: float
    sitting_height: float
    eye_height: float
    shoulder_height: float
    shoulder_breadth: float
    shoulder_joint_breadth: float
    upper_arm_length: float
    forearm_grip_length: float
    hip_breadth: float
    buttock_knee_length: float
    knee_height: float
    thigh_clearance: float
    chest_depth: float
    head_breadth: float
    head_length: float
    eye_spacing: float
    foot_length: float
    helmet_width: float
    helmet_length: float
    helmet_above_crown: float
    origin: dict[str, str]


def dimensions(driver: Driver) -> Dimensions:
    """Fill in every dimension: as measured, else from the driver's population."""
    value: dict[str, float] = {}
    origin: dict[str, str] = {}
    for name in type(driver.body).model_fields:
        own = getattr(driver.body, name)
        if own is not None:
            value[name], origin[name] = own, "measured"
        elif driver.population is not None and name not in DERIVED:
            who = driver.population
            p = who.measures.get(name, who.percentile)  # type: ignore[call-overload]
            value[name] = survey(who.survey)[who.sex, name].value(p)
            origin[name] = f"percentile {p:g}, {who.sex}, {who.survey} (army population)"
    _head(driver, value, origin)
    if "forearm_grip_length" not in value:
        value["forearm_grip_length"] = FOREARM_SHARE * value["stature"]
        origin["forearm_grip_length"] = "0.200 of stature (from memory)"
    _helmet(driver, value, origin)
    return Dimensions(**value, origin=origin)


def _head(driver: Driver, value: dict[str, float], origin: dict[str, str]) -> None:
    """Size the head after its circumference, in the proportions of the population's mean head."""
    around = value.pop("head_circumference", None)
    said = "head circumference"
    origin.pop("head_circumference", None)
    if around is None and driver.helmet.headform is not None:
        around = headform_circumference(driver.helmet.headform)
        said = f"headform {driver.helmet.headform}"
    if around is None or driver.population is None:
        return
    table, sex = survey(driver.population.survey), driver.population.sex
    scale = around / table[sex, "head_circumference"].mean
    for name in ("head_breadth", "head_length"):
        if origin[name] != "measured":
            value[name] = scale * table[sex, name].mean
            origin[name] = f"{said} {around:.0f} mm, proportions of the survey's mean"


def _helmet(driver: Driver, value: dict[str, float], origin: dict[str, str]) -> None:
    guess = {
        "helmet_width": (driver.helmet.width, value["head_breadth"] + HELMET_SIDES),
        "helmet_length": (driver.helmet.length, value["head_length"] + HELMET_ENDS),
    }
    for name, (own, other) in guess.items():
        value[name] = other if own is None else own
        origin[name] = "head and usual shell (from memory)" if own is None else "measured"
    value["helmet_above_crown"] = driver.helmet.above_crown
    given = "above_crown" in driver.helmet.model_fields_set
    origin["helmet_above_crown"] = "measured" if given else "usual shell (from memory)"

"""A small car, people and tubes that tests of several rooms share."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import pytest

from cagekit.assembly.assemble import assemble
from cagekit.cage.cage import Cage
from cagekit.cage.member import Member
from cagekit.fit.cockpit import Cockpit
from cagekit.geometry.centre_line import CentreLine
from cagekit.inputs.build import Build
from cagekit.inputs.car import Car
from cagekit.inputs.driver import Driver
from cagekit.inputs.resolve import load_build
from cagekit.materials.tubes import Tube

TUBE = Tube(od=40.0, wall=2.5, material="mild")


@pytest.fixture
def car() -> Car:
    side = {
        "hoop": {
            "half_width_floor": 650, "half_width_belt": 700, "height_belt": 450,
            "half_width_rail": 540, "height_rail": 950,
        },
        "pillar": {"top": (800, 500, 930), "base": (1250, 660, 540), "width": 60},
        "roof_corner": (850, 520, 940),
        "main_foot": {"point": (0, 610, -90)},
        "front_foot": {"point": (1200, 580, -80)},
        "rear_foot": {"point": (-850, 480, 200)},
        "door": {
            "outline": [(60, 0), (1000, 0), (1060, 480), (760, 820), (160, 840)],
            "y_inner": 650, "y_trim": 690, "quarter_x": 60,
        },
        "sill_top_y": (650, 740),
    }  # fmt: skip
    return Car.model_validate(
        {
            "name": "test-car",
            "side": side,
            "roof": {"height_at_hoop": 1060, "height_at_header": 980, "header_x": 860},
            "floor_z": -90,
            "wheel": {"centre": (800, 350, 450), "diameter": 350, "column_angle": 22},
            "seats": [
                {"hip": (400, y, 40), "back_angle": 18, "side": s, "back_height": 700}
                for s, y in (("left", 350), ("right", -350))
            ],
            "dash": {"face_x": 960, "top_z": 530, "bottom_z": 300, "cowl_x": 1260, "cowl_z": 560},
            "tunnel": {"half_width": 120, "top_z": 110},
            "pedals": {"x": 1290, "z": 60, "heel_z": -80},
        },
        context={"units": "mm"},
    )


@pytest.fixture
def person() -> Callable[..., Driver]:
    def make(sex: str = "male", percentile: float = 50, **more: Any) -> Driver:
        data = {"name": "somebody", "population": {"sex": sex, "percentile": percentile}, **more}
        return Driver.model_validate(data, context={"units": "mm"})

    return make


@pytest.fixture
def bar() -> Callable[..., Member]:
    def make(id_: str, *points: tuple[float, float, float], role: str = "", **more: Any) -> Member:
        radius = more.pop("radius", 120.0)
        path = CentreLine.from_polyline(points, radius)
        return Member(id=id_, role=role or id_, tube=TUBE, path=path, **more)

    return make


@pytest.fixture
def cockpit(car: Car, person: Callable[..., Driver]) -> Callable[..., Cockpit]:
    def make(*members: Member, driver: Driver | None = None, **more: Any) -> Cockpit:
        people = [driver or person(), *more.pop("others", ())]
        return Cockpit.of(more.pop("car", car), people, {m.id: m for m in members}, **more)

    return make


@cache
def _wagon() -> tuple[Build, Cage]:
    build = load_build("sprint-wagon")
    return build, assemble(build)


@pytest.fixture
def wagon() -> tuple[Build, Cage]:
    """The demo with swing-out bars on both sides."""
    return _wagon()

"""A single-seater on a frame of round tubes, and a roll bar that is coped to that frame."""

from __future__ import annotations

from pathlib import Path

from cagekit.inputs.build import Build
from cagekit.inputs.resolve import load_build

CAR = """
kind = "car"
name = "single-seater"
units = "mm"
body = "open"
frame = "frame"
doors = 0
floor_z = -40

[side]
sill_top_y = [340, 380]

[side.hoop]
half_width_floor = 330
half_width_belt = 345
height_belt = 250
half_width_rail = 340
height_rail = 400

[side.main_foot]
point = [0, 268, 60]
tube = "waist_rail"

[side.rear_foot]
point = [-650, 220, 80]
tube = "waist_rail"

[[chassis.tube]]
name = "waist_rail"
side = "both"
start = [-900, 190, 85]
end = [1300, 380, 40]
od = 48.3
wall = 2.6

[[chassis.tube]]
name = "floor_rail"
side = "both"
start = [-900, 250, -40]
end = [1300, 250, -40]
od = 30
wall = 2.0

[[chassis.tube]]
name = "hoop_cross"
start = [2.9, 268, 66.6]
end = [2.9, -268, 66.6]
od = 30
wall = 2.0

[wheel]
centre = [790, 0, 330]
diameter = 280
column_angle = 15

[[seats]]
side = "centre"
hip = [470, 0, 0]
back_angle = 35
half_width = 200
back_thickness = 25
back_height = 600
"""
BUILD = """
kind = "build"
name = "my"
car = "car.toml"
drivers = ["short-driver"]
layout = "four-point"
tube = "cds-45x2.5"
tooling = "metric-shop"
rules = ["common-practice"]

[members.main_hoop]
height = 970
half_width_top = 300

[members.harness_bar]
height = 470
"""


def written(folder: Path, car: str = CAR, build: str = BUILD) -> Path:
    """Write car sheet and build file into a folder; return the build file."""
    (folder / "car.toml").write_text(car)
    path = folder / "my.toml"
    path.write_text(build)
    return path


def loaded(folder: Path, car: str = CAR, build: str = BUILD) -> Build:
    """The build, read from files in this folder."""
    return load_build(str(written(folder, car, build)))

"""Flat panels of the car: distance to them, tubes that pass, the holes that these need."""

from __future__ import annotations

import tomllib
from math import cos, pi, radians, sin
from pathlib import Path
from typing import Any

import demos
import numpy as np
import pytest
from msgspec.structs import replace

from cagekit.cage.kept import Kept
from cagekit.car.panel import HALF, flat_panel, passages
from cagekit.car.shell import surfaces
from cagekit.checks.registry import run
from cagekit.design import Design
from cagekit.errors import InputError
from cagekit.geometry.centre_line import CentreLine
from cagekit.inputs.car import Car
from cagekit.inputs.keepouts import CarPanel
from cagekit.inputs.resolve import load_build
from cagekit.page.shell import volumes
from cagekit.shop.papers.holes import panel_holes
from cagekit.writers.csv import setting_out_table

CORNERS = ((-420.0, 600.0, -60.0), (-420.0, -600.0, -60.0), (-460.0, -560.0, 780.0),
           (-460.0, 560.0, 780.0))  # fmt: skip
SHEET = (Path(__file__).parents[3] / "presets/cars/track-roadster.toml").read_text("utf-8")


def panel(**said: Any) -> CarPanel:
    return CarPanel(name="rear bulkhead", corners=CORNERS, **said)


def car(**said: Any) -> Car:
    return demos.build("track-roadster").car.model_copy(update={"panels": (panel(**said),)})


def design(**said: Any) -> Design:
    return Design(replace(demos.build("track-roadster"), car=car(**said)))


def test_distance_is_that_to_the_nearest_of_many_spots_of_the_sheet() -> None:
    flat = flat_panel(panel())
    u, v = np.meshgrid(np.linspace(0, 1, 401), np.linspace(0, 1, 401))
    a, b, c, d = (np.array(p) for p in CORNERS)
    u, v = u.reshape(-1, 1), v.reshape(-1, 1)
    spots = (1 - v) * ((1 - u) * a + u * b) + v * ((1 - u) * d + u * c)
    rng = np.random.default_rng(5)
    points = rng.uniform((-900, -900, -300), (100, 900, 1100), (60, 3))
    true = np.array([np.linalg.norm(spots - p, axis=1).min() for p in points])
    assert np.abs(flat.gap(points) + HALF - true).max() < 1.2
    assert np.abs(flat.gap(flat.nearest(points))).max() < 1e-9


def test_a_tube_fills_its_hole_but_for_the_room_all_round() -> None:
    """The outline of a leaning tube in the sheet, ray by ray, against the oval that is told."""
    flat = flat_panel(panel())
    way = np.array([-cos(radians(35)), sin(radians(20)), -sin(radians(35))])
    way /= np.linalg.norm(way)
    start = np.array([0.0, 200.0, 700.0])
    (spot,) = passages(flat, CentreLine.straight(start, start + 900 * way))
    across = np.cross(way, [0.2, 0.3, 0.9])
    across /= np.linalg.norm(across)
    other = np.cross(way, across)
    r, n = 22.5, flat.frame[2]
    turn = np.linspace(0, 2 * pi, 72)
    rim = start + r * (np.outer(np.cos(turn), across) + np.outer(np.sin(turn), other))
    rim = rim + np.outer(((flat.origin - rim) @ n) / (way @ n), way)
    (x, y) = (flat.local(rim)[:, :2] - spot.place).T
    u, v, w = spot.way
    lean = np.arctan2(v, u)
    long = (x * np.cos(lean) + y * np.sin(lean)) / (r / abs(w))
    short = (-x * np.sin(lean) + y * np.cos(lean)) / r
    assert np.abs(long**2 + short**2 - 1.0).max() < 1e-6


def test_what_passes_a_panel_with_holes_is_listed_and_no_clash() -> None:
    made = design(holes=True, clearance=4.0)
    holes = panel_holes(made.fitted, made.build.car)
    assert [h.member for h in holes] == ["rear_brace_left", "rear_brace_right"]
    left, right = holes
    assert left.width == pytest.approx(45 + 8)
    assert left.length > left.width
    # the car is even, so are its holes: the first edge is 1,200 long
    assert left.along + right.along == pytest.approx(1200)
    assert left.turn + right.turn == pytest.approx(pi)
    rows = [r for r in setting_out_table(made.fitted, made.setting_out) if r["kind"] == "hole"]
    assert [r["what"] for r in rows] == [h.member for h in holes]
    told = " ".join(t for s in made.steps for t in s.text)
    assert "cut the hole for rear brace left in the rear bulkhead" in told
    found = {f.status.value for f in run(made) if f.code == "car/rear-bulkhead"}
    assert found == {"needs_inspection", "pass"}


def test_the_edge_of_a_hole_is_as_far_from_the_tube_as_the_sheet_says() -> None:
    """A brace that leans 50 degrees had two thirds of its clearance at the ends of the oval."""
    made = design(holes=True, clearance=4.0)
    flat = flat_panel(made.build.car.panels[0])
    for hole in panel_holes(made.fitted, made.build.car):
        around = np.linspace(0, 2 * pi, 90)
        ring = np.stack([hole.length / 2 * np.cos(around), hole.width / 2 * np.sin(around)])
        c, s = cos(hole.turn), sin(hole.turn)
        x, y = np.array([[c, -s], [s, c]]) @ ring
        edge = hole.point + np.outer(x, flat.frame[0]) + np.outer(y, flat.frame[1])
        member = made.fitted.member(hole.member)
        way = (member.path.end - member.path.start) / member.path.length
        off = edge - member.path.start
        gaps = np.linalg.norm(off - np.outer(off @ way, way), axis=1) - member.tube.outer_radius
        assert gaps == pytest.approx(np.full(90, 4.0), abs=1e-6)


def test_what_runs_into_a_panel_without_holes_fails() -> None:
    made = design()
    assert panel_holes(made.fitted, made.build.car) == ()
    (one,) = [f for f in run(made) if f.code == "car/rear-bulkhead"]
    assert one.status.value == "fail"


def test_the_page_shows_the_panel() -> None:
    (body,) = [b for b in volumes(car(), Kept()) if b.name == "rear bulkhead"]
    assert np.ptp(body.mesh.vertices[:, 2]) == pytest.approx(840, abs=2)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("corners = [[-420, 600, -60], [-420, -600, -60]]", "three or more"),
        (
            "corners = [[-420, 600, -60], [-420, -600, -60], [-460, -560, 780], [-360, 560, 780]]",
            "one plane",
        ),
        ("corners = [[-420, 600, -60], [-420, -600, -60], [-420, 0, -60]]", "area"),
    ],
)
def test_a_panel_that_is_none_is_refused_with_its_line(
    change: str, words: str, tmp_path: Path
) -> None:
    text = SHEET + f'\n[[panels]]\nname = "rear bulkhead"\n{change}\n'
    (tmp_path / "car.toml").write_text(text)
    build = (Path(__file__).parents[3] / "presets/builds/track-roadster.toml").read_text("utf-8")
    (tmp_path / "b.toml").write_text(build.replace('car = "track-roadster"', 'car = "car.toml"'))
    with pytest.raises(InputError) as caught:
        load_build(str(tmp_path / "b.toml"))
    assert words in str(caught.value)
    assert "panels" in str(caught.value)
    assert f"{text[: text.index('[[panels]]')].count(chr(10)) + 1}" in str(caught.value)


def test_sides_of_the_tunnel_may_be_unlike() -> None:
    data = tomllib.loads(SHEET)
    data["tunnel"] |= {"half_width": 120, "half_width_left": 150}
    made = Car.model_validate(data, context={"units": "mm"})
    (tunnel,) = [s.solid for s in surfaces(made) if s.name == "tunnel"]
    points = np.array([[100.0, 180.0, 0.0], [100.0, -180.0, 0.0]])
    assert tunnel.gap(points) == pytest.approx([30.0, 60.0])


def test_a_bolted_joint_in_a_panel_is_told_to_move_along_its_tube(tmp_path: Path) -> None:
    sheet = '\n[[panels]]\nname = "rear bulkhead"\nholes = true\nclearance = 4\n'
    (tmp_path / "car.toml").write_text(f"{SHEET}{sheet}corners = {[*map(list, CORNERS)]}\n")
    text = (Path(__file__).parents[3] / "presets/builds/track-roadster.toml").read_text("utf-8")
    text = text.replace('car = "track-roadster"', 'car = "car.toml"')

    def told(fraction: float) -> list[str]:
        at = f"on rear_brace_{{side}} at fraction {fraction}"
        joint = f'\n[[joint]]\nat = "{at}"\nside = "both"\n'
        (tmp_path / "build.toml").write_text(text + joint)
        made = Design(load_build(str(tmp_path / "build.toml")))
        found = [f for f in run(made, ["car"]) if f.code == "car/rear-bulkhead"]
        return [f.cure for f in found if f.status.value == "fail"]

    (cure,) = told(0.55)
    assert cure.startswith("Move the joint (rear_brace_left_sleeve_1) along its tube by its `at`")
    assert told(0.2) == []

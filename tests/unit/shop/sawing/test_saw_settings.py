"""Cut tubes with what the table of saw settings prints, and nothing else, and compare."""

from __future__ import annotations

from math import cos, pi, radians, sin

import numpy as np
import pytest

from cagekit.assembly.assemble import members_only
from cagekit.cage.cage import Cage
from cagekit.cage.member import End, EndName, Member
from cagekit.design import Design
from cagekit.errors import GeometryError
from cagekit.geometry.centre_line import CentreLine
from cagekit.inputs.resolve import load_build
from cagekit.materials.tubes import Tube
from cagekit.shop.sawing.templates import ordinates, saw_setting, template
from cagekit.writers.copes import table

DEMOS = ("sprint-wagon", "hillclimb-coupe", "gravel-hatch", "track-roadster")
STATIONS = 72


def sawn(row: dict[str, float], radius: float) -> np.ndarray:
    """Depths from the tip that a cut of these settings leaves, at STATIONS round the tube.

    The tube's own frame: x to the reference line, z out of the end, the tip at z = 0.
    """
    phi = np.arange(STATIONS) * (2 * pi / STATIONS)
    ring = radius * np.stack([np.cos(phi), np.sin(phi), 0 * phi], axis=1)
    clock, angle = radians(row["clock"]), radians(row["angle"])
    back = np.array([cos(clock) * sin(angle), sin(clock) * sin(angle), -cos(angle)])
    if not row["saw"]:
        # a straight cut: its plane holds ``back`` and the direction square to it and the tube
        normal = np.cross(back, [-sin(clock), cos(clock), 0.0])
        return np.asarray(row["axis"] + ring @ normal / normal[2])
    aside = radians(row["offset_clock"])
    through = np.array([row["offset"] * cos(aside), row["offset"] * sin(aside), -row["axis"]])
    w = ring - through
    flat, up = w - np.outer(w @ back, back), np.array([0, 0, 1.0]) + cos(angle) * back
    a, b, c = up @ up, flat @ up, (flat * flat).sum(axis=1) - (row["saw"] / 2) ** 2
    root = b * b - a * c
    assert (root > -1.0).all(), "the saw misses part of the tube"
    return np.asarray((b + np.sqrt(np.maximum(root, 0.0))) / a)


def exact(cage: Cage, member: str, end: EndName) -> dict[str, float] | None:
    saw = saw_setting(cage, member, end)
    if saw.reason:
        return None
    return {
        "angle": np.degrees(saw.angle),
        "clock": saw.clock,
        "offset": saw.offset,
        "offset_clock": saw.offset_clock,
        "saw": saw.diameter,
        "axis": saw.position,
        "depth": saw.depth,
    }


@pytest.mark.parametrize("name", DEMOS)
def test_the_printed_row_alone_makes_the_cut(name: str) -> None:
    build = load_build(name)
    design = Design(build=build, cage=members_only(build))
    header, rows = table(design)
    tried = 0
    for cells in rows:
        row = dict(zip(header, cells, strict=True))
        if not row["angle_deg"]:
            continue
        tried += 1
        read = {
            "angle": float(row["angle_deg"]),
            "clock": float(row["clock_deg"]),
            "offset": float(row["offset_mm"]),
            "offset_clock": float(row["offset_clock_deg"] or 0),
            "saw": float(row["saw_mm"] or 0),
            "axis": float(row["axis_from_tip_mm"]),
        }
        assert float(row["dial_deg"]) == pytest.approx(90 - read["angle"], abs=0.06)
        member, end = row["member"], row["end"]
        radius = design.fitted.members[member].tube.outer_radius
        (told,) = ordinates(design.fitted, [(member, end)], STATIONS)  # type: ignore[list-item]
        want = np.array(told.depths)
        made = sawn(read, radius)
        # tenths are printed: what is left of the parent's mouth is that, grown by a flat angle
        assert np.abs(made - want).max() < 0.35, (member, end)
        # the tip may lie on the inside of the wall, the deepest spot never far from its clock
        assert float(row["depth_mm"]) >= want.max() - 0.06
        t = template(design.fitted, design.fitted.members[member], end, 0.0)  # type: ignore[arg-type]
        assert t.deepest == pytest.approx(read["clock"], abs=0.06)
    assert tried >= 8


def test_settings_of_random_joints_make_the_cut() -> None:
    rng = np.random.default_rng(20)
    tried = 0
    for _ in range(150):
        axis, way = (v / np.linalg.norm(v) for v in rng.normal(size=(2, 3)))
        if abs(axis @ way) > cos(radians(30)):
            continue
        node = rng.uniform(-5, 5) * np.cross(axis, way)
        parent = Member(
            id="parent",
            role="strut",
            tube=Tube(od=50.0, wall=3.0, material="1020-dom"),
            path=CentreLine.straight(-800 * axis, 800 * axis),
        )
        branch = Member(
            id="branch",
            role="strut",
            tube=Tube(od=float(rng.choice([30.0, 38.0, 45.0])), wall=2.5, material="1020-dom"),
            path=CentreLine.straight(node, node + 500 * way),
            a=End.coped("parent"),
        )
        cage = Cage("tee", [parent, branch])
        try:
            row = exact(cage, "branch", "a")
        except GeometryError:
            continue
        if row is None:
            continue
        tried += 1
        made = sawn(row, branch.tube.outer_radius)
        want = np.array(ordinates(cage, [("branch", "a")], STATIONS)[0].depths)
        assert np.abs(made - want).max() < 0.01
        assert 0 <= row["clock"] < 360
    assert tried > 60


def test_a_plate_that_slopes_is_sawn_on_its_high_side() -> None:
    # the tube stands on end a; the plate rises towards +x, so the tube is cut deepest there
    leg = Member(
        id="leg",
        role="strut",
        tube=Tube(od=40.0, wall=2.5, material="1020-dom"),
        path=CentreLine.straight((0, 0, 0), (0, 0, 600)),
        a=End.flat((0, 0, 0), (-sin(0.3), 0, cos(0.3))),
    )
    cage = Cage("leg", [leg])
    row, cut = exact(cage, "leg", "a"), cage.cut("leg", "a")
    assert row is not None
    assert np.degrees(pi / 2 - radians(row["angle"])) == pytest.approx(np.degrees(0.3))
    deep = cos(radians(row["clock"])) * cut.zero + sin(radians(row["clock"])) * cut.side
    assert deep == pytest.approx([1, 0, 0], abs=1e-9)
    made = sawn(row, 20.0)
    (told,) = ordinates(cage, [("leg", "a")], STATIONS)
    assert made == pytest.approx(np.array(told.depths), abs=0.01)


def test_the_saw_must_reach_through_the_tube_along_its_own_axis() -> None:
    trunk = Member(
        id="trunk",
        role="strut",
        tube=Tube(od=40.0, wall=2.5, material="1020-dom"),
        path=CentreLine.straight((0, -800, 0), (0, 800, 0)),
    )
    branch = Member(
        id="branch",
        role="strut",
        tube=Tube(od=40.0, wall=2.5, material="1020-dom"),
        path=CentreLine.straight((0, 0, 0), (600, 0, 0)),
        a=End.coped("trunk"),
    )
    saw = saw_setting(Cage("tee", [trunk, branch]), "branch", "a")
    # square: right through the branch, though the cope is only a wall's hollow deep
    assert saw.stroke == pytest.approx(40.0, abs=0.05)
    assert saw.depth < saw.stroke

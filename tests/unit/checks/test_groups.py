"""The registry of check groups, and the groups that look at nodes and plates."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import demos
import numpy as np
import pytest

from cagekit.assembly.assemble import assemble
from cagekit.cage.cage import Cage
from cagekit.cage.member import End, EndKind, Member, Plane
from cagekit.cage.plate import Hole, Plate
from cagekit.checks import Finding, Status, run
from cagekit.checks.finding import to_json_text
from cagekit.checks.quantities.survey import Survey
from cagekit.checks.registry import GROUPS
from cagekit.design import Design
from cagekit.errors import InputError
from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.outline import Outline
from cagekit.inputs.resolve import load_build
from cagekit.materials.tubes import Tube

TUBE = Tube(od=40.0, wall=2.0, material="e355-n")
DEMOS = ["sprint-wagon", "hillclimb-coupe", "gravel-hatch", "track-roadster"]


def tube(id_: str, start: Any, stop: Any, a: End | None = None, b: End | None = None) -> Member:
    path = CentreLine.straight(start, stop)
    return Member(id=id_, role="strut", tube=TUBE, path=path, a=a or End(), b=b or End())


def context(*members: Member, plate: tuple[Plate, ...] = ()) -> Design:
    cage = Cage("by hand", members, plates=plate)
    build = SimpleNamespace(tooling=None, entries=())
    return Design(build, cage=cage, name="by hand", units="mm", rules=(), files={})  # type: ignore[arg-type]


def geometry(design: Design) -> tuple[Finding, ...]:
    return run(design, ["geometry"])


FLAT = End.flat((0, 0, 0), (0, 0, 1))
POST = tube("post", (0, 0, 0), (0, 0, 1000), a=FLAT, b=End.flat((0, 0, 1000), (0, 0, -1)))


def by_code(found: Iterable[Finding]) -> dict[str, list[Finding]]:
    out: dict[str, list[Finding]] = {}
    for f in found:
        out.setdefault(f.code, []).append(f)
    return out


@pytest.mark.parametrize("angle", [25.0, 35.0, 90.0])
def test_the_angle_of_a_joint(angle: float) -> None:
    a = np.radians(angle)
    far = (600 * np.sin(a), 0, 500 + 600 * np.cos(a))
    branch = tube("branch", far, (0, 0, 500), b=End.coped("post"))
    (f,) = by_code(geometry(context(POST, branch)))["geometry/joint-angle"]
    assert f.measured == pytest.approx(angle)
    assert f.status is (Status.WARN if angle < 30 else Status.PASS)
    assert f.evidence.members == ("branch", "post")


@pytest.mark.parametrize("aside", [0.0, 3.0])
def test_axes_that_pass_each_other(aside: float) -> None:
    branch = tube("branch", (600, aside, 500), (0, aside, 500), b=End.coped("post"))
    (f,) = by_code(geometry(context(POST, branch)))["geometry/node"]
    assert f.measured == pytest.approx(aside)
    assert f.status is (Status.WARN if aside else Status.PASS)


def test_an_end_that_hangs_in_the_air() -> None:
    branch = tube("branch", (600, 0, 500), (0, 0, 500), b=End.coped("post"))
    rows = by_code(geometry(context(POST, branch)))["geometry/loose-end"]
    assert {f.subject: f.status for f in rows} == {
        "branch end a": Status.WARN,
        "3 parts": Status.PASS,
    }


def test_a_hole_too_near_the_edge() -> None:
    square = Outline.polygon([(0, 0), (60, 0), (60, 60), (0, 60)])
    aside = np.eye(4)
    aside[0, 3] = 500.0
    plate = Plate(
        id="p", kind="tab", thickness=5.0, material="s235", outline=square,
        holes=(Hole.circle((12, 30), 11.0),), placement=aside,
    )  # fmt: skip
    found = by_code(run(context(POST, plate=(plate,)), ["plates"]))
    bad = [
        f for rows in found.values() for f in rows if f.status is Status.WARN and f.evidence.plates
    ]
    assert len(bad) == 1
    assert bad[0].evidence.plates == ("p",)
    assert bad[0].cure
    assert bad[0].certainty.value != "measured"


def test_what_passes_is_told_once_with_the_most_critical() -> None:
    sharp = tube("sharp", (600 * 0.57, 0, 500 + 600 * 0.82), (0, 0, 500), b=End.coped("post"))
    square = tube("square", (-600, 0, 500), (0, 0, 500), b=End.coped("post"))
    (f,) = by_code(geometry(context(POST, sharp, square)))["geometry/joint-angle"]
    assert f.subject == "sharp end b, square end b"
    assert f.measured == pytest.approx(np.degrees(np.arctan2(0.57, 0.82)))
    assert "sharp" in f.evidence.note
    assert f.evidence.members == ("sharp", "post", "square")


# --- the registry -------------------------------------------------------------------------------


def test_an_unknown_group_is_refused() -> None:
    build = load_build("track-roadster")
    with pytest.raises(InputError, match=r"Known: .*rules"):
        run(Design(build), groups=["rulez"])


def test_a_build_without_rulebooks_is_told_so() -> None:
    build = load_build("track-roadster")
    (f,) = run(Design(build), groups=["rules"], rules=[])
    assert f.status is Status.NEEDS_INPUT
    assert "common-practice" in f.cure


@pytest.mark.parametrize("name", DEMOS)
def test_every_group_speaks_in_findings(name: str) -> None:
    build = load_build(name)
    cage = assemble(build)
    for group in GROUPS:
        found = run(Design(build, cage=cage), groups=[group.name])
        for f in found:
            assert f.code.count("/") == 1, f.code
            assert f.status is Status.PASS or f.cure or f.text, f.code
            assert set(f.evidence.members) <= set(cage.members), f.code
            if f.status is Status.FAIL:
                assert f.source, f.code
                assert f.cure, f.code


@pytest.mark.parametrize("name", DEMOS)
def test_a_demo_fails_no_rulebook_that_it_names(name: str) -> None:
    """The demos are believable builds: what they name they keep, as far as a model can tell."""
    build = load_build(name)
    found = run(Design(build), groups=["rules"])
    assert [f.code for f in found if f.status is Status.FAIL] == []


def test_the_stubs_of_a_swing_out_bar_are_no_feet() -> None:
    """Sawn and hung on brackets, they stand on nothing."""
    build = load_build("sprint-wagon")
    survey = Survey(Design(build))
    assert survey.swing_out
    assert {f.member.role for f in survey.feet} == {"main_hoop", "rear_brace", "a_pillar_bar"}
    assert len(survey.feet) == 6
    assert [len(b.pieces) for b in survey.bars("door_bar")] == [3, 3]


def test_same_build_same_bytes() -> None:
    builds = [load_build("gravel-hatch") for _ in range(2)]
    one, two = (to_json_text(run(Design(b))) for b in builds)
    assert one == two
    assert "Infinity" not in one
    assert "NaN" not in one


def test_checks_need_no_kernel() -> None:
    code = (
        "import sys; from cagekit.inputs.resolve import load_build;"
        "from cagekit.design import Design; from cagekit.checks import run;"
        "b = load_build('sprint-wagon'); run(Design(b));"
        "slow = {'OCP', 'cadquery', 'ezdxf', 'matplotlib', 'scipy', 'typst'};"
        "print(sorted(slow & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize(
    ("at", "height", "on", "held"),
    [
        ((-800, 300, 100), 900, "main_hoop", 1),
        ((-800, 300, 100), 500, "across", 1),  # by way of a bar in the hoop's plane
        ((0, 300, 100), 900, "main_hoop", 0),  # a bar in the plane
        (None, 0, "", 0),
    ],
)
def test_a_hoop_that_nothing_holds_fore_and_aft(
    at: tuple[float, ...] | None, height: float, on: str, held: int
) -> None:
    corners = [(0, 500, 0), (0, 500, 900), (0, -500, 900), (0, -500, 0)]
    path = CentreLine.from_polyline(corners, 120)
    feet = [End.flat((0, y, 0), (0, 0, 1)) for y in (500, -500)]
    hoop = Member(id="main_hoop", role="main_hoop", tube=TUBE, path=path, a=feet[0], b=feet[1])
    ends = End.coped("main_hoop"), End.coped("main_hoop")
    members = [hoop, tube("across", (0, 500, 500), (0, -500, 500), *ends)]
    # set back in the middle and home again: it holds nothing
    set_back = CentreLine.from_polyline([(0, 500, 300), (-300, 0, 300), (0, -500, 300)], 120)
    members.append(
        Member(id="behind", role="strut", tube=TUBE, path=set_back, a=ends[0], b=ends[1])
    )
    if at is not None:
        members.append(tube("brace", at, (0, 0, height), b=End.coped(on)))
    (f,) = by_code(geometry(context(*members)))["geometry/hoop-held"]
    assert f.measured == held
    assert f.status is (Status.PASS if held else Status.FAIL)


def test_tubes_that_hang_in_the_air() -> None:
    low, high = (tube(n, (600, 0, z), (900, 0, z)) for n, z in (("low", 500), ("high", 900)))
    tie = tube("tie", (700, 0, 500), (700, 0, 900), End.coped("low"), End.coped("high"))
    held = tube("held", (600, 0, 500), (0, 0, 500), b=End.coped("post"))
    rows = by_code(geometry(context(POST, held, low, high, tie)))["geometry/in-the-air"]
    assert {f.status: set(f.evidence.members) for f in rows} == {
        Status.PASS: {"post", "held"},
        Status.FAIL: {"low", "high", "tie"},
    }
    # a pin hangs a tube on another, and on nothing where there is none
    swung = replace(high, a=End(kind=EndKind.PINNED, plane=Plane.of((600, 0, 900), (1, 0, 0))))
    rows = by_code(geometry(context(POST, held, low, swung, tie)))["geometry/in-the-air"]
    assert [f.status for f in rows] == [Status.FAIL, Status.PASS]
    up = tube("up", (300, 0, 500), (650, 0, 900), End.coped("held"), End.coped("high"))
    rows = by_code(geometry(context(POST, held, low, high, tie, up)))["geometry/in-the-air"]
    assert [f.status for f in rows] == [Status.PASS]


@pytest.mark.parametrize("name", DEMOS)
def test_no_tube_of_a_demo_hangs_in_the_air(name: str) -> None:
    (f,) = by_code(geometry(demos.design(name)))["geometry/in-the-air"]
    assert f.status is Status.PASS
    assert set(f.evidence.members) == set(demos.cage(name).members)

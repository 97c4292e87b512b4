"""A main hoop lands on the outriggers that are to carry it, or is refused."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import assemble, members_only
from cagekit.errors import GeometryError
from cagekit.inputs.resolve import load_build

HERON = Path(__file__).parents[2] / "data" / "heron"


def test_a_hoop_made_before_its_outriggers_is_not_cut_flat_on_a_round_tube() -> None:
    """The layout had the hoop first: its legs were sawn square and nothing told of it."""
    build = load_build("sprint-wagon")
    late = tuple(sorted(build.entries, key=lambda e: e.kind == "outrigger"))
    assert {e.id for e in late} == {e.id for e in build.entries}
    with pytest.raises(
        GeometryError, match="main_hoop end a: would be cut flat on outrigger_left, a round tube"
    ):
        assemble(replace(build, entries=late))


@pytest.mark.parametrize(("x", "lands"), [(0.0, True), (0.5, True), (2.0, False)])
def test_an_outrigger_that_passes_beside_the_foot_does_not_carry_it(
    tmp_path: Path, x: float, lands: bool
) -> None:
    """The hoop's foot was moved over to wherever the outrigger was, however far."""
    folder = tmp_path / "heron"
    shutil.copytree(HERON, folder)
    with (folder / "car.toml").open("a") as car:
        for name, y, out in (("rail", 16, 1), ("sill", 26, -1)):
            car.write(
                f"\n[side.spots.{name}]\npoint = [{x}, {y}, -4.5]\nnormal = [0, {out}, 0]\n"
                'surface = "frame"\nsheet = 0.08\n'
            )
    with (folder / "build.toml").open("a") as build:
        build.write('\n[members.outrigger_left]\nfrom = "car left rail"\nto = "car left sill"\n')
    made = load_build(str(folder / "build.toml"))
    if lands:
        foot = members_only(made).member("main_hoop").path.start
        assert foot[0] == pytest.approx(25.4 * x)
        return
    with pytest.raises(GeometryError, match="axis passes 51 mm beside the foot on the left"):
        members_only(made)


def test_a_foot_stands_where_it_is_measured_on_an_outrigger_that_rises(tmp_path: Path) -> None:
    """It slid down a sloping outrigger to the point of its axis that lies nearest."""
    folder = tmp_path / "heron"
    shutil.copytree(HERON, folder)
    with (folder / "car.toml").open("a") as car:
        for name, y, z, out in (("rail", 16, -9, 1), ("sill", 26, -2, -1)):
            car.write(
                f"\n[side.spots.{name}]\npoint = [0, {y}, {z}]\nnormal = [0, {out}, 0]\n"
                'surface = "frame"\nsheet = 0.08\n'
            )
    with (folder / "build.toml").open("a") as build:
        build.write('\n[members.outrigger_left]\nfrom = "car left rail"\nto = "car left sill"\n')
    cage = members_only(load_build(str(folder / "build.toml")))
    foot = cage.member("main_hoop").path.start
    assert foot[:2] == pytest.approx([0, 24.5 * 25.4], abs=1e-6)
    axis = cage.member("outrigger_left").path
    assert axis.nearest(foot).point == pytest.approx(foot, abs=1e-6)

"""Tubes fused by the kernel with what they stand on: one sound solid that holds what both held.

A coped tube touches its parent in whole faces and shares no steel with it, so the volume of both as
one is the sum of theirs. No tolerance (fuzzy value) is given. The kernel widens the tolerances of
what it is given unless it is told to leave it alone, as here: a tube fused again may then go wrong.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import demos
import pytest
from demos import DEMOS

from cagekit.solids import kernel
from cagekit.solids.bodies import member_body, member_solid
from cagekit.solids.kernel import occ
from cagekit.writers.step import StepPart, part_text

pytestmark = pytest.mark.kernel

WAYS = ("in memory", "from its file")


@cache
def in_memory(demo: str, id_: str) -> Any:
    """A tube as scripts get it."""
    return member_solid(demos.cage(demo), id_).wrapped


def from_its_file(demo: str, id_: str, folder: Path) -> Any:
    """A tube as the kernel reads it from STEP."""
    part = StepPart(
        name=id_, solid=member_body(demos.cage(demo), id_), colour=(0.5, 0.5, 0.5)
    )  # fmt: skip
    path = folder / f"{id_}.step"
    if not path.exists():
        path.write_text(part_text(part), encoding="ascii")
    reader = occ("STEPControl").STEPControl_Reader()
    reader.ReadFile(str(path))
    reader.TransferRoots()
    return reader.OneShape()


def fused(first: Any, second: Any) -> Any:
    """Both as one, the two themselves left as they are."""
    operation = occ("BRepAlgoAPI").BRepAlgoAPI_Fuse()
    one, other = (occ("TopTools").TopTools_ListOfShape() for _ in range(2))
    one.Append(first)
    other.Append(second)
    operation.SetArguments(one)
    operation.SetTools(other)
    operation.SetNonDestructive(True)
    operation.Build()
    return operation.Shape()


def what_is_wrong(way: str, demo: str, branch: str, parent: str, folder: Path) -> str:
    """What a fuse of two tubes of a demo comes to, where it is not what it should be."""
    if way == "in memory":
        two = [in_memory(demo, i) for i in (branch, parent)]
    else:
        two = [from_its_file(demo, i, folder) for i in (branch, parent)]
    whole = fused(*two)
    if whole is None or whole.IsNull():
        return f"{branch} on {parent}: nothing"
    off = kernel.volume(whole) - sum(map(kernel.volume, two))
    if abs(off) < 0.1 and kernel.is_valid(whole) and kernel.count_solids(whole) == 1:
        return ""
    return f"{branch} on {parent}: {off:+.0f} mm3 in {kernel.count_solids(whole)} solids"


@pytest.mark.parametrize(
    ("way", "demo", "branch", "parent"),
    [
        ("in memory", "track-roadster", "harness_bar_1", "main_hoop"),
        ("from its file", "hillclimb-coupe", "header_bar", "half_hoop_left"),
        ("from its file", "gravel-hatch", "door_bar_right_cross_2", "front_hoop"),
    ],
)
def test_a_tube_and_its_parent_become_one(
    way: str, demo: str, branch: str, parent: str, tmp_path: Path
) -> None:
    assert not what_is_wrong(way, demo, branch, parent, tmp_path)


@pytest.mark.study
@pytest.mark.parametrize("demo", DEMOS)
@pytest.mark.parametrize("way", WAYS)
def test_every_joint_of_a_demo_becomes_one(way: str, demo: str, tmp_path: Path) -> None:
    joints = demos.cage(demo).joints
    pairs = [(j.branch, p) for j in joints for p in j.parents]
    assert len(pairs) > 6
    assert not [w for b, p in pairs if (w := what_is_wrong(way, demo, b, p, tmp_path))]

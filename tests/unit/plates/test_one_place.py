"""Plates that share steel are told, with how deep; those that touch or pass are not."""

from __future__ import annotations

import demos
import numpy as np
import pytest

from cagekit.cage.cage import Cage
from cagekit.cage.plate import Hole, Plate
from cagekit.geometry.outline import Outline
from cagekit.plates.one_place import shared

SQUARE = Outline.polygon([(-30, -30), (30, -30), (30, 30), (-30, 30)])


def plate(
    id_: str, at: tuple[float, float, float], *, upright: bool = False, **more: object
) -> Plate:
    """A square of 60 mm, 6 thick; lying, its face at the height of ``at``, or standing along x."""
    placement = np.eye(4)
    if upright:
        placement[:3, :3] = [[1, 0, 0], [0, 0, -1], [0, 1, 0]]
    placement[:3, 3] = at
    given = {"kind": "tab", "thickness": 6.0, "material": "s235", "outline": SQUARE, **more}
    return Plate(id=id_, placement=placement, **given)  # type: ignore[arg-type]


def told(*plates: Plate) -> dict[tuple[str, str], float]:
    cage = Cage("by hand", (), plates=plates)
    return {(s.other, s.plate): s.depth for s in shared(cage, cage.plates)}


@pytest.mark.parametrize(
    ("at", "depth"),
    [
        ((0, 0, 0), 3.0),  # one in the other: half of the thickness
        ((0, 0, 2), 1.0),  # the middle of one lies 1 mm inside the other
        ((0, 0, 6), 0.0),  # one on the other
        ((20, 0, 0), 3.0),
        ((60, 0, 0), 0.0),  # edge to edge
        ((0, 0, 30), 0.0),
    ],
)
def test_two_that_lie_flat(at: tuple[float, float, float], depth: float) -> None:
    found = told(plate("a", (0, 0, 0)), plate("b", at))
    assert found.get(("a", "b"), 0.0) == pytest.approx(depth)


def test_one_that_stands_through_the_other() -> None:
    lying = plate("a", (0, 0, 0))
    assert told(lying, plate("b", (0, 0, 0), upright=True))[("a", "b")] == pytest.approx(3.0, abs=1)
    assert told(lying, plate("b", (0, 0, 40), upright=True)) == {}
    # through a hole with room round it
    holed = plate("a", (0, 0, 0), holes=(Hole.circle((0, 0), 50.0),))
    narrow = Outline.polygon([(-20, -30), (20, -30), (20, 30), (-20, 30)])
    assert told(holed, plate("b", (0, 0, 0), upright=True, outline=narrow)) == {}


def test_plates_under_feet_and_brackets_are_judged_elsewhere() -> None:
    feet = [plate(n, (0, 0, 0), kind="floor_plate") for n in "ab"]
    assert told(*feet) == {}
    assert told(*(plate(n, (0, 0, 0), bar="door_bar_left") for n in "ab")) == {}
    assert ("a", "t") in told(*feet, plate("t", (0, 0, 0)))


@pytest.mark.parametrize("name", ["sprint-wagon", "hillclimb-coupe", "gravel-hatch"])
def test_no_demo_has_any(name: str) -> None:
    cage = demos.cage(name)
    assert list(shared(cage, cage.plates)) == []

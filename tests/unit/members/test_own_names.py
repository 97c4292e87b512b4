"""A file may call its tubes what it likes: what they are for is known from their kind."""

from __future__ import annotations

import demos
import numpy as np
import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import members_only
from cagekit.cage.cage import Cage
from cagekit.checks.engine import _together
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.quantity import Measure
from cagekit.checks.quantities.survey import Survey
from cagekit.inputs.build import spread
from cagekit.inputs.entries import HarnessBarEntry, MemberEntry


def renamed(demo: str, names: dict[str, str]) -> Cage:
    """A demo whose tubes of some kinds have names of the user's own."""
    build = demos.build(demo)
    entries: list[MemberEntry] = []
    for entry in build.entries:
        name = names.get(entry.kind)
        if name is not None:
            side = f"_{entry.side}" if entry.side in ("left", "right") else ""
            entry = entry.model_copy(update={"group": name, "id": f"{name}{side}"})
        entries.append(entry)
    return members_only(replace(build, entries=tuple(entries)))


@pytest.mark.parametrize(
    ("demo", "names"),
    [
        ("sprint-wagon", {"outrigger": "carrier", "a_pillar_bar": "post"}),
        ("hillclimb-coupe", {"half_hoop": "side_loop"}),
        ("hillclimb-coupe", {"main_hoop": "big_loop", "rear_brace": "stay"}),
    ],
)
def test_a_tube_with_a_name_of_its_own_does_its_work(demo: str, names: dict[str, str]) -> None:
    """Before, a main hoop stood beside an outrigger of another name, and sill bars had no post."""
    usual, own = members_only(demos.build(demo)), renamed(demo, names)
    assert len(own.members) == len(usual.members)
    for theirs, ours in zip(usual.members.values(), own.members.values(), strict=True):
        points = np.linspace(0.0, theirs.path.length, 7)
        assert ours.path.points(points) == pytest.approx(theirs.path.points(points), abs=1e-9)
        assert [e.kind for _, e in ours.ends] == [e.kind for _, e in theirs.ends]


def test_both_sides_answer_to_the_name_in_the_file() -> None:
    entries = (
        *spread([HarnessBarEntry(kind="harness_bar", id="belt_left", side="left")]),
        *spread([HarnessBarEntry(kind="harness_bar", id="belt", side="both")]),
    )
    assert [(e.id, e.group) for e in entries] == [
        ("belt_left", "belt_left"),
        ("belt_left", "belt"),
        ("belt_right", "belt"),
    ]


def test_a_pair_is_told_as_one_only_when_it_is_a_pair() -> None:
    """Two tubes are the two sides of one entry by their entry, not by the end of their names."""
    survey = Survey(demos.design("gravel-hatch"))
    both = [
        Measure(subject=f"rear_brace_{side}", evidence=Evidence.of(f"rear_brace_{side}"))
        for side in ("left", "right")
    ]
    assert _together(both, survey.groups) == "rear_brace"
    doors = [Measure(subject=f"door {side}", both="door") for side in ("left", "right")]
    assert _together(doors, survey.groups) == "door"
    alike = [Measure(subject=s) for s in ("shelf_left", "shelf_right")]
    assert _together(alike, survey.groups) == "shelf_left, shelf_right"


def test_plates_tell_what_they_belong_to() -> None:
    from cagekit.parts.plates import PLATE_KINDS
    from cagekit.parts.swing import SWING_KINDS

    def alone(kind: str) -> Cage:
        found = {**PLATE_KINDS, **SWING_KINDS}[kind]
        return found.make(found.read({})).cage

    assert {p.box for p in alone("plinth").plates} == {"plinth"}
    assert {p.box for p in alone("floor_plate").plates} == {""}
    assert {(p.bar, p.joint) for p in alone("latch_bracket").plates} == {("bar", "latch")}

"""Grinding notes: from the build file to the order of work and the template."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from cagekit.design import Design
from cagekit.errors import InputError
from cagekit.inputs.grind import Grind
from cagekit.writers.copes import all_templates, grinding


def with_note(**note: object) -> Design:
    """Door bars that run 0.3 mm into the harness bar, and a note."""
    build = Design.load("gravel-hatch").changed("door_bar", height_rear=426).build
    file = build.file.model_copy(update={"grind": (Grind.model_validate(note),)})
    return Design(replace(build, file=file))


def test_a_note_stands_in_the_order_of_work_and_on_the_template() -> None:
    design = with_note(tube="harness_bar", at="door_bar_left", depth=1.2)
    (step,) = (s for s in design.steps if any("Grind" in t for t in s.text))
    assert "door_bar_left" in step.members  # the later of the two
    assert any("1.2 mm" in t and "harness bar 1" in t for t in step.text)
    noted = {t.member for t in all_templates(design) if t.grind}
    assert noted == {"harness_bar_1"}


@pytest.mark.parametrize(
    ("depth", "units", "told"),
    [(1.25, "mm", "1.25 mm"), (1.5, "mm", "1.5 mm"), (25.4 * 3 / 64, "in", "0.046 in")],
)
def test_no_paper_asks_for_more_than_the_note(depth: float, units: str, told: str) -> None:
    design = with_note(tube="door_bar_left", at="harness_bar", depth=depth)
    (t,) = (t for t in all_templates(design) if t.grind)
    assert grinding(t, units) == f"grind up to {told} off at harness bar 1"  # type: ignore[arg-type]
    said = " ".join(w for s in design.steps_in(units) for w in s.text)  # type: ignore[arg-type]
    assert f"by up to {told} where" in said


def test_the_template_of_an_end_by_the_other_tube_says_it() -> None:
    design = with_note(tube="door_bar_left", at="harness_bar", depth=1.5)
    (t,) = (t for t in all_templates(design) if t.grind)
    assert (t.member, grinding(t, "mm")) == (
        "door_bar_left",
        "grind up to 1.5 mm off at harness bar 1",
    )


def test_a_note_on_a_tube_that_is_not_there_is_refused() -> None:
    with pytest.raises(
        InputError,
        match=r"\[grind entry 1\] at = \"harnes_bar\": there is no such member.*harness_bar",
    ):
        _ = with_note(tube="hoop_diagonal", at="harnes_bar", depth=1).cage


def test_more_than_two_millimetres_are_not_ground() -> None:
    with pytest.raises(ValueError, match="less than or equal to 2"):
        Grind.model_validate({"tube": "a", "at": "b", "depth": 2.5})

"""Points measured on a seated person: what lies nowhere near the seat is refused in words."""

from __future__ import annotations

from pathlib import Path

import pytest

from cagekit.inputs.messages import FileInputError
from cagekit.inputs.presets import shipped_root
from cagekit.inputs.resolve import load_build

SHEET = """kind = "driver"
name = "me"
[population]
sex = "male"
[seated]
{}
"""
# the seat's hip point is at 350, 335, 68
GOOD = [
    "helmet_top = [235, 345, 905]",
    "helmet_top = [-350, 335, 560]",  # lying
    "eye = [330, 340, 780]",
    "shoulder = [220, 540, 480]",
    "elbow = [480, 600, 330]",
    "knee = [800, 480, 300]",
    "hip = [420, 340, 40]",
    "back_angle = 25",
    "helmet_top = [235, 345, 905]\neye = [320, 340, 760]",
]
WRONG = [
    ("helmet_top = [235, -345, 905]", "680.0 mm right of the hip point at y 335.0 mm"),
    ("helmet_top = [235, 345, 405]", "337.0 mm above the hip point at z 68.0 mm"),
    ("helmet_top = [9.2, 13.6, 35.6]", "321.4 mm right of the hip point at y 335.0 mm"),
    ("helmet_top = [905, 345, 905]", "555.0 mm ahead of the hip point at x 350.0 mm"),
    ("eye = [330, 340, 80]", "12.0 mm above the hip point"),
    ("shoulder = [220, 540, 0]", "68.0 mm below the hip point"),
    ("elbow = [480, 960, 330]", "625.0 mm left of the hip point"),
    ("knee = [100, 480, 300]", "250.0 mm behind the hip point at x 350.0 mm"),
    ("knee = [800, 480, 900]", "832.0 mm above the hip point"),
    ("eye = [100, 345, 800]\nhelmet_top = [235, 345, 905]", "135.0 mm behind the helmet's top"),
    ("hip = [350, -335, 68]", "670.0 mm right of the seat's hip point at y 335.0 mm"),
]


def load(folder: Path, said: str, drivers: str = '"me.toml"') -> None:
    (folder / "me.toml").write_text(SHEET.format(said), "utf-8")
    text = (shipped_root() / "builds/hillclimb-coupe.toml").read_text("utf-8")
    own = folder / "own.toml"
    own.write_text(text.replace('drivers = ["short-driver"]', f"drivers = [{drivers}]"), "utf-8")
    assert "me.toml" in own.read_text("utf-8")
    load_build(str(own))


@pytest.mark.parametrize("said", GOOD)
def test_what_can_be_measured_is_taken(said: str, tmp_path: Path) -> None:
    load(tmp_path, said)


@pytest.mark.parametrize(("said", "told"), WRONG)
def test_what_cannot_is_told_with_its_line(said: str, told: str, tmp_path: Path) -> None:
    with pytest.raises(FileInputError) as caught:
        load(tmp_path, said)
    (problem,) = caught.value.problems
    assert f"me.toml:6 [seated] {said.split()[0]} = [" in str(problem)
    assert told in problem.problem
    assert problem.hint.endswith((", left positive.", "hoop's feet.", "tops of the sills."))


def test_everybody_is_held_against_the_own_seat(tmp_path: Path) -> None:
    """The second of the build sits on the other side, where the first cannot have been measured."""
    beside = "helmet_top = [235, -345, 905]"
    load(tmp_path, beside, '"short-driver", "me.toml"')
    with pytest.raises(FileInputError, match="left of the hip point"):
        load(tmp_path, "helmet_top = [235, 345, 905]", '"short-driver", "me.toml"')
    # who drives has the driver's seat, wherever the build names him
    with pytest.raises(FileInputError, match="right of the hip point"):
        load(tmp_path, beside, '"co-driver", "me.toml"')

"""What a build says of swing-out brackets acts at one of their joints, or is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from cagekit.cage.door import JointName
from cagekit.design import Design
from cagekit.errors import CagekitError, InputError
from cagekit.inputs.presets import shipped_root

BRACKET = '[[plate]]\nkind = "swing_bracket"\n'


def checked(folder: Path, plates: str, members: str = "") -> Design:
    path = folder / "own.toml"
    head = (shipped_root() / "builds" / "sprint-wagon.toml").read_text("utf-8").split("[[plate]]")
    path.write_text(f"{head[0]}{members}\n{plates}", "utf-8")
    design = Design.load(str(path))
    assert design.cage.doors
    return design


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ('design = "cheeks"\nfold_radius = 0.2', "flat cheeks have no folds"),
        ('at = "hinge"\ncup = "none"', "stands at the latch"),
        ("cup_wall = 0.15", "there is no half cup"),
        # of several always the same is told
        ('at = "hinge"\ncup_wall = 0.15\ncup = "none"\ncup_overlap = 1', "stands at the latch"),
        ('at = "latch"\npin_grade = "grade-5"', "the pin is no bolt"),
        ('at = "hinge"\npin = "quick-release"\npin_grade = "grade-5"', "the pin is no bolt"),
        ("omit = true", "hangs on its brackets"),
    ],
)
def test_what_acts_at_no_joint_is_refused(tmp_path: Path, said: str, words: str) -> None:
    with pytest.raises(InputError, match=rf"own\.toml:\d+ .*{words}"):
        checked(tmp_path, f"{BRACKET}{said}\n")


@pytest.mark.parametrize(
    ("said", "joint", "field", "value"),
    [
        ('design = "cheeks"\ncup_wall = 0.15', "latch", "cup_wall", 3.81),
        ('pin_grade = "grade-5"', "hinge", "grade", "grade-5"),
        ("fold_radius = 0.2", "hinge", "fold_radius", 5.08),
    ],
)
def test_what_acts_at_one_joint_stays(
    tmp_path: Path, said: str, joint: JointName, field: str, value: object
) -> None:
    (door, *_) = checked(tmp_path, f"{BRACKET}{said}\n").cage.doors
    spec = getattr(door, joint).spec
    assert getattr(spec, field) == (pytest.approx(value) if isinstance(value, float) else value)


def test_brackets_without_a_bar_that_swings_there_are_refused(tmp_path: Path) -> None:
    fixed = "[members.door_bar_right]\nswing_out = false\n"
    checked(tmp_path, f'{BRACKET}side = "left"\near = 0.7\n', fixed)
    with pytest.raises(InputError, match=r"own\.toml:\d+ .*no bar swings out there"):
        checked(tmp_path, f'{BRACKET}side = "right"\near = 0.7\n', fixed)


def test_a_layout_says_of_brackets_what_acts(tmp_path: Path) -> None:
    layout = (shipped_root() / "layouts" / "halo-a-pillar.toml").read_text("utf-8")

    def load(plates: str, members: str = "") -> Design:
        (tmp_path / "mine.toml").write_text(f"{layout}\n{plates}", "utf-8")
        path = tmp_path / "own.toml"
        text = (shipped_root() / "builds" / "sprint-wagon.toml").read_text("utf-8")
        text = text.replace('layout = "halo-a-pillar"', 'layout = "mine.toml"')
        path.write_text(f"{text}\n{members}", "utf-8")
        design = Design.load(str(path))
        assert design.cage.doors
        return design

    with pytest.raises(InputError, match=r"mine\.toml:\d+ .*hangs on its brackets"):
        load(f"{BRACKET}omit = true\n")
    with pytest.raises(InputError, match=r"mine\.toml:\d+ .*stands at the latch"):
        load(f'{BRACKET}at = "hinge"\ncup = "none"\n')
    # for the builds of the layout that swing that bar out
    load(f'{BRACKET}side = "right"\near = 18\n', "[members.door_bar_right]\nswing_out = false\n")


@pytest.mark.parametrize(
    ("said", "line", "words"),
    [
        ("ear = 9", 4, "larger than its ear can hold"),
        ("overlap = 300", 4, "takes 11.81 in of stub"),
        ('pin_size = "M14"', 6, "not in the table"),
    ],
)
def test_brackets_that_cannot_be_made_are_told_with_their_preset(
    tmp_path: Path, said: str, line: int, words: str
) -> None:
    head = 'kind = "plate"\nname = "arms"\nsource = "invented"\n[plate]\n'
    (tmp_path / "arms.toml").write_text(f'{head}kind = "swing_bracket"\n{said}\n', "utf-8")
    with pytest.raises(CagekitError, match=words) as told:
        checked(tmp_path, f'{BRACKET}preset = "arms.toml"\n')
    assert f"arms.toml:{line}" in str(told.value)

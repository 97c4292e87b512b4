"""Brackets and sleeve alone, and brackets asked for in a build file."""

from __future__ import annotations

from pathlib import Path

import pytest
from pieces import shape_key

from cagekit.assembly.assemble import assemble
from cagekit.errors import GeometryError, InputError
from cagekit.inputs.resolve import load_build
from cagekit.parts.swing import SWING_KINDS

WAGON = Path(__file__).parents[3] / "presets" / "builds" / "sprint-wagon.toml"


def kinds(made) -> set[str]:
    return {p.kind for p in (*made.cage.plates, *made.cage.hardware)}


def test_hinge_bracket_comes_with_its_bolt() -> None:
    kind = SWING_KINDS["hinge_bracket"]
    made = kind.make(kind.read({"design": "saddle", "pin_size": "M10", "od": 45}))
    assert kinds(made) == {"hinge_saddle", "sleeve", "spacer", "bolt", "washer", "nut"}
    assert made.made == ()


def test_latch_bracket_comes_with_pin_and_cup() -> None:
    kind = SWING_KINDS["latch_bracket"]
    made = kind.make(kind.read({"design": "cheeks"}))
    assert kinds(made) == {"latch_cheek", "sleeve", "spacer", "pin", "half_cup"}
    assert len(made.cage.plates) == 2


def test_sleeve_is_as_long_as_the_bar_is_thick() -> None:
    kind = SWING_KINDS["sleeve"]
    (sleeve,) = kind.make(kind.read({"od": "1 3/4", "sleeve_stand": 0.02}, "in")).cage.hardware
    assert sleeve.length == pytest.approx((1.75 + 0.04) * 25.4)


def test_inches_and_millimetres_give_the_same_bracket() -> None:
    kind = SWING_KINDS["hinge_bracket"]
    one = kind.make(kind.read({"ear": 0.7, "thickness": 0.25}, "in")).cage.plates[0]
    same = {"pin_size": "3/8", "overlap": 50.8, "reach": 41.275}
    two = kind.make(kind.read({"ear": 17.78, "thickness": 6.35, **same})).cage.plates[0]
    assert shape_key(one) == shape_key(two)


def test_part_that_cannot_be_made_says_why() -> None:
    kind = SWING_KINDS["hinge_bracket"]
    with pytest.raises(GeometryError, match="larger than its ear"):
        kind.make(kind.read({"pin_size": "1/2", "ear": 12}))


def build_with(folder: Path, text: str):
    path = folder / "mine.toml"
    path.write_text(WAGON.read_text(encoding="utf-8") + text, encoding="utf-8")
    return load_build(str(path))


def test_each_end_takes_its_own_bracket(tmp_path: Path) -> None:
    cage = assemble(build_with(tmp_path, """
[[plate]]
kind = "swing_bracket"
preset = "swing-cheeks-3-8in"

[[plate]]
kind = "swing_bracket"
at = "door_bar_right hinge"
design = "saddle"
overlap = 2.5
"""))  # fmt: skip
    found = {p.id: p.kind for p in cage.plates if p.id.startswith("door_bar")}
    assert found["door_bar_right_hinge_saddle"] == "hinge_saddle"
    assert found["door_bar_left_hinge_cheek_upper"] == "hinge_cheek"
    assert found["door_bar_right_latch_cheek_lower"] == "latch_cheek"
    assert cage.doors[1].hinge.spec.overlap == pytest.approx(63.5)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('at = "door_bar_middle"', "no swing-out bar"),
        ('pin_size = "3/4"', "pin_size"),
        ('pin_grade = "12.9"', "pin_grade"),
        ('cup = "latch"', "whose web is the stop already"),
    ],
)
def test_wrong_words_are_named(tmp_path: Path, text: str, words: str) -> None:
    build = build_with(tmp_path, f'\n[[plate]]\nkind = "swing_bracket"\n{text}\n')
    with pytest.raises(InputError, match=words):
        assemble(build)


def test_cut_by_height_and_twice(tmp_path: Path) -> None:
    text = WAGON.read_text(encoding="utf-8")
    high = text.replace("height_front = 12.5", "height_front = 9\ncut_rear_height = 12.5")
    path = tmp_path / "high.toml"
    path.write_text(high, encoding="utf-8")
    cage = assemble(load_build(str(path)))
    for door in cage.doors:
        assert door.latch.stub_face.point[2] == pytest.approx(12.5 * 25.4)
    path.write_text(high.replace("cut_rear_height", "cut_rear = 6\ncut_rear_height"), "utf-8")
    with pytest.raises(GeometryError, match="given twice"):
        assemble(load_build(str(path)))
    path.write_text(high.replace("cut_rear_height = 12.5", "cut_rear_height = 20"), "utf-8")
    with pytest.raises(GeometryError, match="never passes the height"):
        assemble(load_build(str(path)))

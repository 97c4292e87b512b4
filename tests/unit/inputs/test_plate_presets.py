"""Plate presets as they stand when they are asked for."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from cagekit.inputs.messages import FileInputError
from cagekit.inputs.plate import FloorPlateEntry
from cagekit.inputs.plate_presets import plates_of

TEXT = """kind = "plate"
name = "mine"
source = "invented"
[plate]
kind = "floor_plate"
length = {size}
"""


def test_a_preset_changed_by_an_editor_is_read_again(tmp_path: Path) -> None:
    """A session that stays open follows the file."""
    file = tmp_path / "mine.toml"
    entry = FloorPlateEntry.model_validate({"kind": "floor_plate", "preset": "mine.toml"})
    sizes = []
    for i, size in enumerate((150, 160)):
        file.write_text(TEXT.format(size=size), encoding="utf-8")
        os.utime(file, ns=(i, i))
        (found,) = plates_of([entry], tmp_path / "build.toml", tmp_path)
        assert isinstance(found, FloorPlateEntry)
        sizes.append(found.length)
    assert sizes == [150.0, 160.0]


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (
            'at = "rear_foot"',
            r"\[plate\] at = .*belongs to the \[\[plate\]\] that",
        ),
        ('side = "left"', r"\[plate\] side = .*Say it there"),
        ('id = "sole"', r"\[plate\] id = .*Say it there"),
        ("omit = true", r"\[plate\] omit = .*Say it there"),
        ('preset = "floor-150"', r"\[plate\] preset = .*stands on no other preset"),
    ],
)
def test_a_preset_says_nothing_that_only_an_entry_can(
    tmp_path: Path, said: str, words: str
) -> None:
    (tmp_path / "mine.toml").write_text(TEXT.format(size=150) + said + "\n", encoding="utf-8")
    entry = FloorPlateEntry.model_validate({"kind": "floor_plate", "preset": "mine.toml"})
    with pytest.raises(FileInputError, match=rf"mine\.toml:7 {words}"):
        plates_of([entry], tmp_path / "build.toml", tmp_path)

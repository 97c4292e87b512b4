"""Plate presets as they stand when they are asked for."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from cagekit.inputs.messages import FileInputError
from cagekit.inputs.plate import FloorPlateEntry
from cagekit.inputs.plate_presets import plates_of
from cagekit.plates.entries import asked_fields, floor_entry

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


def test_a_preset_that_says_nothing_of_a_size_leaves_what_an_earlier_entry_said(
    tmp_path: Path,
) -> None:
    (tmp_path / "mine.toml").write_text(TEXT.partition("length")[0] + 'fix = "bolted"\n', "utf-8")
    named = {"kind": "floor_plate", "preset": "mine.toml", "width": "120 mm"}
    tables = [{"kind": "floor_plate", "length": "200 mm", "width": "90 mm"}, named]
    entries = plates_of(
        [FloorPlateEntry.model_validate(table) for table in tables],
        tmp_path / "build.toml",
        tmp_path,
    )
    foot = floor_entry(entries, (), "left", "mm")
    assert (foot.length, foot.width, foot.fix) == (200.0, 120.0, "bolted")
    assert asked_fields(entries[1:], (), "left") >= {"width", "fix"}
    assert "length" not in asked_fields(entries[1:], (), "left")


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

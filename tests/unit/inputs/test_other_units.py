"""A file in other units than it says is told in one line, not in one for each of its lengths."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from cagekit.inputs.messages import FileInputError
from cagekit.inputs.presets import load_file, model_for, shipped_root

SLIPS = [
    ("car", "cars/sprint-wagon.toml", 'units = "in"', 'units = "mm"', 'Write units = "in"'),
    ("car", "cars/sprint-wagon.toml", 'units = "in"\n', "", "is missing, which means mm"),
    ("car", "cars/hillclimb-coupe.toml", 'units = "mm"', 'units = "in"', 'Write units = "mm"'),
    ("tooling", "tooling/inch-shop.toml", 'units = "in"', 'units = "mm"', 'Write units = "in"'),
    ("tooling", "tooling/metric-shop.toml", 'units = "mm"', 'units = "in"', 'Write units = "mm"'),
]


@pytest.mark.parametrize(("kind", "file", "old", "new", "told"), SLIPS)
def test_it_is_told_in_one_line(
    kind: str, file: str, old: str, new: str, told: str, tmp_path: Path
) -> None:
    text = (shipped_root() / file).read_text("utf-8")
    assert old in text
    own = tmp_path / "own.toml"
    own.write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(FileInputError) as caught:
        load_file(kind, own, model_for(kind))
    (problem,) = caught.value.problems
    assert problem.field == "units"
    assert told in str(problem)
    line = text[: text.index(old)].count("\n") + 1 if new else 1
    assert problem.line == line
    shown = re.search(r"\(line (\d+), ([\w ]+) = ", problem.problem)
    assert shown is not None
    # it names a line that says so
    assert shown[2].split()[0] in own.read_text("utf-8").splitlines()[int(shown[1]) - 1]


def test_one_length_in_other_units_is_told_by_itself(tmp_path: Path) -> None:
    text = (shipped_root() / "cars/hillclimb-coupe.toml").read_text("utf-8")
    own = tmp_path / "own.toml"
    own.write_text(text.replace("half_width_rail = 525", "half_width_rail = 20.7"), "utf-8")
    with pytest.raises(FileInputError, match=r"half_width_rail = 20\.7.*inches typed as mm"):
        load_file("car", own, model_for("car"))

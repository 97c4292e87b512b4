"""What can be and is probably a slip is told with its line, and goes on."""

from __future__ import annotations

from pathlib import Path

import pytest

from cagekit.inputs.presets import shipped_root
from cagekit.inputs.resolve import load_build

SLIPS = [
    ("cars/sprint-wagon.toml", "cowl_z = 22", "cowl_z = 12", "dash's top at 21.000 in"),
    ("cars/sprint-wagon.toml", "\nz = 3\n", "\nz = -2\n", "1.000 in above the heel"),
    ("drivers/tall-driver.toml", 'name = "tall', 'name = "atll', "nearly the file's name, tall-dr"),
    ("builds/sprint-wagon.toml", 'name = "sprint', 'name = "sprnt', "writes below this name"),
    ("layouts/halo-a-pillar.toml", "foot_plate = 4.7625", "foot_plate = 0.1875", "inches typed as"),
    ("tubes/dom-1.625x0.134.toml", 'od = "1 5/8 in"', "od = 100", "100.0 mm is unusual"),
    ("cars/sprint-wagon.toml", "bottom_z = 10", "bottom_z = 0", "0.000 in is unusual"),
]


@pytest.mark.parametrize(("file", "old", "new", "told"), SLIPS, ids=[s[2].strip() for s in SLIPS])
def test_a_slip_is_told_with_its_line(
    file: str, old: str, new: str, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    text = (shipped_root() / file).read_text("utf-8")
    assert old in text
    target = tmp_path / "presets" / file
    target.parent.mkdir(parents=True)
    target.write_text(text.replace(old, new, 1))
    (remark,) = [r for r in load_build("sprint-wagon").remarks if told in r]
    line = text[: text.index(old) + 1].count("\n") + 1
    assert remark.startswith(f"presets/{file}:{line} "), remark


def test_legs_of_two_people_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    text = (shipped_root() / "drivers/co-driver.toml").read_text("utf-8")
    (tmp_path / "presets/drivers").mkdir(parents=True)
    slip = text.replace("buttock_knee_length = 75", "buttock_knee_length = 7.5")
    (tmp_path / "presets/drivers/co-driver.toml").write_text(slip)
    (remark,) = load_build("gravel-hatch").remarks
    assert "co-driver.toml:13 [population.measures] buttock_knee_length = 7.5" in remark
    assert "knee_height" in remark


def test_the_demos_have_no_doubts_and_no_plate_is_usual() -> None:
    for name in ("sprint-wagon", "hillclimb-coupe", "gravel-hatch", "track-roadster"):
        assert load_build(name).remarks == ()

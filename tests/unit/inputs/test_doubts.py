"""What can be and is probably a slip is told with its line, and goes on."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import pytest

from cagekit.data import rows
from cagekit.inputs.car import Car
from cagekit.inputs.doubts import misfits
from cagekit.inputs.presets import shipped_root
from cagekit.inputs.resolve import load_build

SLIPS = [
    ("cars/sprint-wagon.toml", "cowl_z = 22", "cowl_z = 12", "dash's top at 21.000 in"),
    ("cars/sprint-wagon.toml", "\nz = 3\n", "\nz = -2\n", "1.000 in above the heel"),
    ("drivers/tall-driver.toml", 'name = "tall', 'name = "atll', "nearly the file's name, tall-dr"),
    ("builds/sprint-wagon.toml", 'name = "sprint', 'name = "sprnt', "writes below this name"),
    ("layouts/halo-a-pillar.toml", "foot_plate = 5", "foot_plate = 0.1875", "inches typed as"),
    ("tubes/dom-1.625x0.134.toml", 'od = "1 5/8 in"', "od = 100", "100.0 mm is unusual"),
    ("cars/sprint-wagon.toml", "bottom_z = 10", "bottom_z = 0", "0.000 in is unusual"),
]

SLIPS += [
    ("cars/sprint-wagon.toml", "header_x = 34", "header_x = 44", "11.500 in ahead of the roof's"),
    ("cars/sprint-wagon.toml", "quarter_x = 2.5", "quarter_x = 5", "rear edge is at 2.500 in"),
    ("cars/sprint-wagon.toml", "[42, 19]", "[62, 19]", "ahead of the windscreen pillar's base"),
    ("cars/sprint-wagon.toml", "[28, 33]", "[28, 39]", "reaches above the roof rail"),
    ("cars/sprint-wagon.toml", "hip = [14.8125, -12", "hip = [14.8125, -8", "along y it lies"),
    (
        "cars/sprint-wagon.toml",
        "half_width = 5",
        "half_width = 9.5",
        "reaches below a hip point, 12.125 in",
    ),
    ("layouts/halo-a-pillar.toml", "foot_plate = 5", "foot_plate = 3.6625", "10 ga, 9 ga"),
    ("builds/sprint-wagon.toml", "width = 8", "thickness = 0.208", "next to it are 5 mm, 7/32 in"),
    ("cars/sprint-wagon.toml", "sheet = 0.047", "sheet = 0.47", "0.470 in is unusual"),
    ("layouts/halo-a-pillar.toml", "foot_plate = 5", "foot_plate = 4.725", "no sheet of the"),
    ("layouts/halo-a-pillar.toml", "foot_plate = 5", "foot_plate = 3.7625", "no sheet of the"),
    ("cars/sprint-wagon.toml", "[47, 23.25, -3]", "[47, 23.25, 3]", "6.000 in above its profile"),
    (
        "cars/sprint-wagon.toml",
        "[side.front_foot]\npoint = [47, 23.25, -3]\nprofile = [[17, -3], [24.5, -3]",
        "[side.front_foot]\npoint = [47, 23.25, -3]\nprofile = [[17, -4], [24.5, -2.8]",
        "leans 9.1 degrees against the floor section (`profile`) there, and the plate with it. A "
        "sheet that lies as the section does has normal = [0.0, -0.158, 0.987]",
    ),
    (
        "cars/sprint-wagon.toml",
        'point = [0, 24, -3.5]\nsurface = "outrigger"',
        'point = [0, 24, 3.5]\nsurface = "floor"',
        "7.000 in above its floor at",
    ),
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


def test_a_plate_preset_is_looked_through(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    text = (shipped_root() / "plates/harness-tab.toml").read_text("utf-8")
    (tmp_path / "presets/plates").mkdir(parents=True)
    target = tmp_path / "presets/plates/harness-tab.toml"
    target.write_text(text.replace("width = 56", "width = 5"))
    (remark,) = load_build("hillclimb-coupe").remarks
    assert remark.startswith("presets/plates/harness-tab.toml:13 [plate] width = 5")


FITS = [(row["field"], row["beside"]) for row in rows("usual_fits") if row["file"] == "car"]


@pytest.mark.parametrize(("field", "beside"), FITS, ids=[f"{a} {b}" for a, b in FITS])
def test_two_numbers_of_a_car_that_do_not_fit_are_told(field: str, beside: str) -> None:
    """Each row of the table, just beyond either end and just within."""
    row = next(r for r in rows("usual_fits") if (r["field"], r["beside"]) == (field, beside))
    sheet = tomllib.loads((shipped_root() / "cars/gravel-hatch.toml").read_text("utf-8"))
    sheet["side"] |= {"rear_foot": dict(sheet["side"]["rear_foot"])}
    other = _at(sheet, beside)[0]
    told = []
    for end, step in (("low", -1.0), ("low", 1.0), ("high", -1.0), ("high", 1.0)):
        changed = copy.deepcopy(sheet)
        _, table, key = _at(changed, field)
        table[key] = other + float(row[end]) + step
        car = Car.model_validate(changed, context={"units": "mm"})
        last = [s for s in field.split(".") if not s.isdigit()][-1]
        found = [f for f in misfits(car) if f.key[-1] == last and row["words"] in f.problem]
        told.append(bool(found))
    assert told == [True, False, False, True]


def _at(sheet: Any, dotted: str) -> tuple[float, Any, Any]:
    """The number at a dotted name, the table it stands in and its key there."""
    steps: list[Any] = [int(s) if s.isdigit() else s for s in dotted.split(".")]
    if steps[0] == "seat":
        steps[:1] = ["seats", 0]
    for step in steps[:-1]:
        sheet = sheet[step]
    return sheet[steps[-1]], sheet, steps[-1]


@pytest.mark.parametrize(
    ("keep_out", "told"),
    [
        ({"shape": "box", "low": (-0.7, -0.6, 0), "high": (-0.1, 0.6, 0.3)}, True),
        ({"shape": "box", "low": (-700, -600, 0), "high": (-100, 600, 300)}, False),
        ({"shape": "cylinder", "start": (0, 0, 0), "end": (0, 0, 1.2), "radius": 0.05}, True),
        ({"shape": "cylinder", "start": (0, 0, 0), "end": (0, 0, 12), "radius": 2}, False),
        (
            {"shape": "polygon", "plane": "xy", "span": (0, 300),
             "outline": ((0, 0), (0, 2), (2, 0))},
            False,
        ),
    ],
)  # fmt: skip
def test_a_keep_out_in_metres_is_told(keep_out: dict[str, Any], told: bool) -> None:
    sheet = tomllib.loads((shipped_root() / "cars/hillclimb-coupe.toml").read_text("utf-8"))
    sheet["keepouts"] = [{"name": "bench", **keep_out}]
    found = list(misfits(Car.model_validate(sheet, context={"units": "mm"})))
    assert [f.key for f in found] == ([("keepouts", 0)] if told else [])


LOADS = """kind = "loads"
name = "mine"
title = "mine"
[[case]]
id = "side"
title = "side"
[[case.load]]
at = ["on main_hoop at middle"]
force = [0, "-7 kN", 0]
patch = 150
[[case.load]]
belt = "9 kN"
"""


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('"-7 kN"', "-7", ":9 [case entry 1.load entry 1] force = [0, -7, 0]: is unusual: 7 N in"),
        ('"9 kN"', "9", ":12 [case entry 1.load entry 2] belt = 9: is unusual: 9 N in all"),
        ("patch = 150", "patch = 1500", ":10 [case entry 1.load entry 1] patch = 1500: 1500.0 mm"),
        ('title = "mine"\n', 'title = "mine"\ncrew = 8\n', ":4 crew = 8: 8 kg is unusual"),
        ("kind", "kind", ""),
    ],
)
def test_loads_that_no_cage_feels_are_told_with_the_build(
    old: str, new: str, told: str, tmp_path: Path
) -> None:
    (tmp_path / "loads.toml").write_text(LOADS.replace(old, new, 1), "utf-8")
    text = (shipped_root() / "builds/track-roadster.toml").read_text("utf-8")
    own = tmp_path / "own.toml"
    own.write_text(text.replace("tooling =", 'loads = "loads.toml"\ntooling ='), "utf-8")
    remarks = [r for r in load_build(str(own)).remarks if "loads.toml" in r]
    assert len(remarks) == bool(told)
    assert all(f"loads.toml{told}" in r for r in remarks)


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

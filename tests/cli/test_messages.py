"""What a slip is answered with: the file, line, table and field that were typed, in its units."""

from __future__ import annotations

import re
from itertools import zip_longest
from pathlib import Path

import pytest

from cagekit.cli.main import run
from cagekit.inputs.presets import shipped_root

STRUT = '\n[[strut]]\nid = "x1"\nfrom = "{}"\nto = "on harness_bar at y 1"\n'
IN, MM = "builds/sprint-wagon.toml", "builds/hillclimb-coupe.toml"
TAB = '\n[[plate]]\nkind = "tab"\nat = "on harness_bar at y 900"\n'
SLEEVE = '\n[[joint]]\nat = "on hoop_diagonal at height 20"\n'
SLIPS = [
    (IN, "", SLEEVE, '[joint entry 1] at = "on hoop_diagonal at height 20 in": its sleeve'),
    (IN, "", STRUT.format("on main_hop.left at height 12"), 'main_hop.left at height 12 in": t'),
    (MM, "", STRUT.format("car left nowhere"), "[strut entry 1] from: left.nowhere: the car"),
    (MM, '"hoop_diagonal_cross"]', '"rear_brace"]', "[members.harness_bar] split_by = \"rear"),
    (MM, 'diagonal_cross_1 end b"', 'diagonal_crss end b"', "[plate entry 1] at = \"hoop_dia"),
    (IN, "", "\n[members.dash_bar]\nheight = 15\n", "[members.dash_bar] height = 15: the l"),
    ("cars/hillclimb-coupe.toml", "doors = 2", 'doors = "2"', 'doors = "2": must be a whole numb'),
    ("cars/hillclimb-coupe.toml", "mass = 980", "mass = true", "mass = true: a mass is a numb"),
    ("cars/sprint-wagon.toml", 'units = "in"', 'units = "inch"', 'units = "inch": is not one of'),
    (
        "cars/sprint-wagon.toml",
        "profile = [[17, -3], [24.5, -3], [25.5, 0]]",
        "profile = [[17, -3]]",
        "[side.front_foot] profile = [[17, -3]]: one point is no section",
    ),
    (
        "cars/sprint-wagon.toml",
        "profile = [[17, -3], [24.5, -3], [25.5, 0]]",
        "profile = [[17, -5], [24.5, -5], [25.5, -2]]",
        "[side.front_foot] profile: a_pillar_bar_left end b: the floor section passes 2 in under",
    ),
    ("tubes/dom-1.625x0.134.toml", '"0.134 in"', '"1.34 in"', 'wall = "1.34 in": a wall of 34.0'),
    ("plates/floor-bolted-m10.toml", '"M10"', '"M9"', '[plate] bolt_size = "M9": there is no such'),
    ("rules/common-practice.toml", 'units = "in"', 'units = "mm"', "is no size of a tube or plate"),
    ("rules/common-practice.toml", '"hoop-bends"', '"sill-bars"', 'code = "sill-bars": two rules'),
    ("tooling/inch-shop.toml", 'od = "1 5/8"', "od = 1.7", "[die]: no die takes 1.625 in tube"),
]  # fmt: skip


@pytest.mark.parametrize(("file", "old", "new", "told"), SLIPS, ids=[s[3][:30] for s in SLIPS])
def test_a_slip_is_answered_at_its_place(
    file: str,
    old: str,
    new: str,
    told: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    text = (shipped_root() / file).read_text("utf-8")
    assert old in text
    slip = text.replace(old, new, 1) if old else text + new
    target = tmp_path / "presets" / file
    target.parent.mkdir(parents=True)
    target.write_text(slip)
    build = "hillclimb-coupe" if re.search("hill|m10", file) else "sprint-wagon"
    assert run(["check", build]) == 2
    lines = capsys.readouterr().err.splitlines()
    said = [s for s in lines if not s.endswith(" ...") and not s.startswith("warning")]
    assert told in said[0], said
    assert Path(file).name in said[0]
    assert "None" not in said[0]
    line = re.search(rf"{re.escape(Path(file).name)}:(\d+)", said[0])
    assert "[die]" in told or line, said
    if line and "no size" not in told:  # the line that was typed, or the one its table begins on
        pairs = zip_longest(text.splitlines(), slip.splitlines())
        changed = [n for n, (a, b) in enumerate(pairs, 1) if a != b]
        assert int(line[1]) in range(min(changed) - 3, max(changed) + 1)


def test_a_plate_that_cannot_be_is_told_by_its_own_table(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Not by that of the bar that it sits on, whose name its place says."""
    monkeypatch.chdir(tmp_path)
    text = (shipped_root() / MM).read_text("utf-8")
    (tmp_path / "mine.toml").write_text(text + TAB)
    assert run(["check", "mine.toml"]) == 3
    table = text.count("\n") + 2
    assert f"Written at mine.toml:{table}." in " ".join(capsys.readouterr().out.split())


def test_an_option_given_twice_adds_up_or_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    assert run(["make", "sprint-wagon", "--out", str(out), "--out", str(tmp_path / "b")]) == 2
    assert "--out is given twice" in capsys.readouterr().err
    assert run(["--units", "mm", "check", "track-roadster", "--units", "in"]) == 2
    assert "--units is given twice" in capsys.readouterr().err
    assert run(["make", "sprint-wagon", "--out", str(out), "--only", "json", "--only", "cuts"]) == 0
    assert {p.name for p in out.iterdir()} == {"cage.json", "cuts.csv", "manifest.json"}


def test_the_check_says_which_feet_it_made_fit_and_which_seat_is_empty(
    capsys: pytest.CaptureFixture[str],
) -> None:
    run(["check", "hillclimb-coupe", "--groups", "plates"])
    short = capsys.readouterr().err
    assert "4 foot plates were shifted, folded or resized to fit the car" in short
    assert "nobody of the build sits in seat 2 (right)" in short
    run(["check", "hillclimb-coupe", "--groups", "plates", "--all"])
    told = capsys.readouterr().err
    assert "Foot of main hoop A: moved 27 mm inboard of the foot to clear the car." in told


def test_a_plate_that_the_floor_does_not_let_fold_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In the lengths of the build, by check and make."""
    monkeypatch.chdir(tmp_path)
    text = (shipped_root() / "builds" / "sprint-wagon.toml").read_text("utf-8")
    (tmp_path / "mine.toml").write_text(text.replace("width = 8", "width = 3"))
    for words in ("check mine.toml --groups plates", "make mine.toml --only cuts"):
        run(words.split())
        said = capsys.readouterr().err
        assert "note: foot of A-pillar bar left B: ends " in said
        assert " in short, before a fold of " in said
        assert " mm" not in said


@pytest.mark.parametrize("words", ["make {} --out {}", "place {} dash_bar", "strength {}"])
def test_every_verb_calls_a_tube_as_people_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: str
) -> None:
    """What is to be typed stays as it is typed, and the line that says it is told."""
    path = tmp_path / "my_build.toml"
    text = (shipped_root() / "builds" / "gravel-hatch.toml").read_text("utf-8")
    path.write_text(f"{text}\n[members.hoop_diagonal]\ndrop = 900\n", "utf-8")
    assert run(words.format(path, tmp_path / "out").split()) == 3
    said = capsys.readouterr().err.splitlines()
    (line,) = [one for one in said if one.startswith("cagekit: ") and "..." not in one]
    assert line.startswith(
        "cagekit: harness bar: does not cross hoop diagonal, hoop diagonal cross"
    )
    assert "Take it out of `split_by`" in line
    assert "my_build.toml:" in line
    assert not (tmp_path / "out").exists()


def test_a_part_alone_is_called_as_people_do(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["part", "main_hoop", "--height", "3"]) == 3
    assert "cagekit: main hoop end A: stands on its plate" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("was", "now", "line", "said"),
    [
        ("doors = 2", "doors = 2\ndoors = 2", 9, "this stands in its table twice"),
        ('"left"', '"left', 9, "a text has no quote at its end"),
        ('kind = "car"', 'kind = "car', 2, "a text has no quote at its end"),
    ],
)
def test_slips_of_the_pen_are_told_in_plain_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], was: str, now: str, line: int, said: str
) -> None:
    text = (shipped_root() / "cars" / "track-roadster.toml").read_text("utf-8")
    path = tmp_path / "slip.toml"
    path.write_text(text.replace(was, now, 1), "utf-8")
    build = (shipped_root() / "builds" / "track-roadster.toml").read_text("utf-8")
    own = tmp_path / "own.toml"
    own.write_text(build.replace('car = "track-roadster"', 'car = "slip.toml"'), "utf-8")
    assert run(["check", str(own)]) == 2
    assert f"slip.toml:{line}: is not valid TOML: {said}." in capsys.readouterr().err


def test_a_slip_in_loads_is_told_before_anything_is_made(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    loads = (shipped_root() / "loads" / "screening.toml").read_text("utf-8")
    (tmp_path / "own-loads.toml").write_text(loads.replace("[[case]]\n", "[[case]]\nidd = 1\n", 1))
    build = (shipped_root() / "builds" / "track-roadster.toml").read_text("utf-8")
    own = tmp_path / "own.toml"
    own.write_text(build.replace("tube =", 'loads = "own-loads.toml"\ntube ='), "utf-8")
    assert run(["check", str(own)]) == 2
    assert re.search(r"own-loads.toml:\d+ \[case entry 1\] idd", capsys.readouterr().err)


SOLE = """kind = "plate"
name = "sole"
source = "invented"
[plate]
kind = "floor_plate"
length = 150
fix = "bolted"
"""


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("edge = 60", "no room for 4 x M10 beside the foot"),
        ('bolt_grade = "grade-5"', "bolt M10 'grade-5': no such grade"),
    ],
)
def test_what_a_plate_preset_says_wrong_is_told_with_its_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], said: str, words: str
) -> None:
    (tmp_path / "sole.toml").write_text(f"{SOLE}{said}\n", "utf-8")
    path = tmp_path / "my_build.toml"
    text = (shipped_root() / "builds" / "track-roadster.toml").read_text("utf-8")
    plate = '\n[[plate]]\nkind = "floor_plate"\nat = "main_foot"\npreset = "sole.toml"\n'
    path.write_text(text + plate, "utf-8")
    assert run(["make", str(path), "--out", str(tmp_path / "out"), "--only", "json"]) >= 2
    told = capsys.readouterr().err
    assert words in told
    assert "sole.toml:4" in told
    assert f"my_build.toml:{text.count(chr(10)) + 2}" in told


@pytest.mark.parametrize(
    ("field", "said", "words"),
    [
        ("lead_in", "0.7", "only 0.38 in (the smaller of gap and margin) are waste"),
        ("margin", "30", "leaves nothing of a sheet that is 24 in wide"),
    ],
)
def test_what_a_cutting_table_cannot_keep_is_told_in_the_units_of_its_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], field: str, said: str, words: str
) -> None:
    shop = (shipped_root() / "tooling" / "inch-shop.toml").read_text("utf-8")
    text = re.sub(rf"^{field} = .*$", f"{field} = {said}", shop, flags=re.MULTILINE)
    (tmp_path / "shop.toml").write_text(text, "utf-8")
    build = (shipped_root() / "builds" / "sprint-wagon.toml").read_text("utf-8")
    path = tmp_path / "my_build.toml"
    path.write_text(build.replace('tooling = "inch-shop"', 'tooling = "shop.toml"'), "utf-8")
    assert run(["check", str(path)]) == 2
    told = capsys.readouterr().err
    line = text.splitlines().index(f"{field} = {said}") + 1
    assert f"shop.toml:{line} [table] {field} = {said}: " in told
    assert words in told

"""A part that cannot be made: the check goes on without it, tells all else, and exits with 3."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from cagekit.cli.main import run

ODD = """
[[strut]]
id = "odd"
from = "on main_hoop.left at height 300"
to = "on main_hoop.left at height 420"

[[strut]]
id = "hung"
from = "on odd at fraction 0.5"
to = "on rear_brace_left at fraction 0.4"
"""
PLATE = """
[[plate]]
kind = "gusset"
preset = "gusset-folded"
id = "big"
at = "harness_bar end a"
along_branch = 200
along_parent = 250
"""


@pytest.fixture
def build(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    assert run(["new", "mine", "--from", "track-roadster"]) == 0
    return tmp_path / "mine.toml"


def rows(capsys: pytest.CaptureFixture[str]) -> list[dict[str, object]]:
    out = capsys.readouterr().out
    return list(json.loads(out[out.index("[") :]))


def test_other_findings_stay_and_both_are_named(
    build: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(["check", "mine.toml", "--json"])
    whole = {
        (r["code"], r["subject"], str(r["measured"])) for r in rows(capsys) if r["unit"] == "mm"
    }
    build.write_text(build.read_text() + ODD)
    assert run(["check", "mine.toml", "--json"]) == 3
    now = rows(capsys)
    told = {str(r["code"]): r for r in now if r["status"] == "fail"}
    assert told["geometry/unmakeable"]["subject"] == "odd end a"
    assert told["geometry/unmakeable"]["measured"] == "runs along the axis of main_hoop"
    assert "mine.toml:" in str(told["geometry/unmakeable"]["cure"])
    assert told["geometry/hangs"]["subject"] == "hung"
    assert told["geometry/hangs"]["cure"] == "Mend what it hangs on first."
    assert {
        (r["code"], r["subject"], str(r["measured"])) for r in now if r["unit"] == "mm"
    } == whole


def test_a_slip_beside_what_cannot_be_made_is_told_with_its_line(
    build: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A place that nothing left out would give: it is no fault of the others."""
    tab = '[[plate]]\nkind = "gusset"\nid = "wing"\nat = "hoop_diagonl end a"\n'
    build.write_text(build.read_text() + ODD + tab)
    assert run(["check", "mine.toml", "--json"]) == 3
    found = [r for r in rows(capsys) if r["code"] == "geometry/hangs"]
    told = {str(r["subject"]): str(r["cure"]) for r in found}
    assert told["hung"] == "Mend what it hangs on first."
    assert "It may be a slip of its own: mine.toml:" in told["wing"]
    assert "'hoop_diagonal end a'" in told["wing"]


def test_the_table_says_that_it_went_on(build: Path, capsys: pytest.CaptureFixture[str]) -> None:
    build.write_text(build.read_text() + ODD)
    assert run(["check", "mine.toml"]) == 3
    shown = capsys.readouterr()
    assert "FAIL  cannot be made and was left out: odd end A" in shown.out
    assert "went on without odd, hung" in shown.err
    assert "Traceback" not in shown.err


def test_a_plate_is_left_out_alone(build: Path, capsys: pytest.CaptureFixture[str]) -> None:
    build.write_text(build.read_text() + PLATE)
    assert run(["check", "mine.toml"]) == 3
    shown = capsys.readouterr()
    assert "went on without big" in shown.err
    assert "FAIL  cannot be made and was left out" in shown.out


def test_make_stops_and_leaves_nothing(build: Path, capsys: pytest.CaptureFixture[str]) -> None:
    build.write_text(build.read_text() + ODD)
    assert run(["make", "mine.toml", "--out", "out"]) == 3
    assert "odd" in capsys.readouterr().err
    assert not Path("out").exists()


def test_a_wrong_place_of_a_plate_is_told_with_its_own_line(
    build: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = (
        build.read_text() + PLATE.replace("harness_bar end a", "rear_brace_left end b")
    ).splitlines()
    build.write_text("\n".join(lines))
    assert run(["check", "mine.toml"]) == 2
    line = 1 + next(n for n, text in enumerate(lines) if "rear_brace_left end b" in text)
    assert f"mine.toml:{line}" in capsys.readouterr().err


def test_what_is_left_out_is_named_though_the_tube_it_needs_is_at_fault(
    build: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = build.read_text()
    build.write_text(text.replace("height = 425", "height = 1425"))
    assert run(["check", "mine.toml", "--json"]) == 3
    found = next(r for r in rows(capsys) if r["code"] == "geometry/unmakeable")
    assert found["subject"] == "harness_bar"
    assert str(found["measured"]).startswith("main_hoop has no place at height 1425.0 mm")

"""A member of the layout that the build leaves out: what hangs on it goes with it, and is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from cagekit.cli.main import run
from cagekit.inputs.resolve import load_build


@pytest.fixture
def build(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    text = 'kind = "build"\nname = "mine"\nunits = "mm"\ncar = "gravel-hatch"\n'
    text += 'drivers = ["tall-driver"]\nlayout = "front-hoop-rails"\ntube = "cds-40x2.0"\n'
    text += 'tooling = "metric-shop"\nrules = ["common-practice"]\n'
    path = tmp_path / "mine.toml"
    path.write_text(text)
    return path


def leave_out(path: Path, *names: str) -> None:
    tables = "".join(f"\n[members.{n}]\nomit = true\n" for n in names)
    path.write_text(path.read_text() + tables)


def test_a_bar_is_no_longer_split_by_what_is_left_out(build: Path) -> None:
    leave_out(build, "hoop_diagonal")
    entries = {e.id: e for e in load_build(str(build)).entries}
    assert entries["harness_bar"].split_by == ()
    assert run(["check", str(build), "--groups", "geometry"]) in (0, 1)


def test_struts_between_braces_go_with_them(
    build: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    leave_out(build, "rear_brace")
    loaded = load_build(str(build))
    assert not {e.id for e in loaded.entries} & {"rear_diagonal", "rear_diagonal_cross"}
    assert sum("is left out too" in r for r in loaded.remarks) == 2
    run(["check", str(build), "--groups", "geometry"])
    assert "warning: rear_diagonal is left out too" in capsys.readouterr().err


def test_what_the_build_itself_hangs_there_is_refused_with_its_reason(
    build: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    leave_out(build, "rear_brace")
    build.write_text(
        build.read_text() + '\n[[strut]]\nid = "mine"\nfrom = "on rear_brace_left at end b"\n'
        'to = "on main_hoop.right at height 500"\n'
    )
    assert run(["check", str(build)]) == 2
    said = capsys.readouterr().err
    assert "the build leaves 'rear_brace_left' out" in said
    assert "mine.toml:" in said


def test_braces_without_rails_go_with_them_unless_the_build_asks_for_them(
    build: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    leave_out(build, "roof_rail")
    reason = "hangs on one of halo, roof rail, half hoop"
    assert run(["check", str(build)]) == 0
    said = " ".join(capsys.readouterr().err.split())
    assert f"windscreen brace left is left out too: it {reason}" in said
    build.write_text(build.read_text() + "\n[members.windscreen_brace_left]\nlow = 20\n")
    assert run(["check", str(build)]) == 3
    assert f"windscreen brace left: {reason}" in " ".join(capsys.readouterr().out.split())


def test_a_name_that_another_member_keeps_is_not_left_out(build: Path) -> None:
    leave_out(build, "door_bar_right", "rear_diagonal_cross")
    loaded = load_build(str(build))
    assert "door_bar_right" in loaded.names_left_out
    assert not {"door_bar", "rear_diagonal"} & loaded.names_left_out

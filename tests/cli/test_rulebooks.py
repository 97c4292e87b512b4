"""Rulebooks on the command line: pick them, explain a finding, print a profile, own profiles."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from cagekit.cli.main import run

OWN = """kind = "rules"
name = "mine"
title = "My rules"
certainty = "from memory"

[[rule]]
code = "tall"
quantity = "hoop_above_helmet"
op = ">="
limit = {limit}
text = "The hoop is far above the helmet."
cure = "Raise the hoop."
"""


def own(tmp_path: Path, limit: int) -> str:
    path = tmp_path / "mine.toml"
    path.write_text(OWN.format(limit=limit), encoding="utf-8")
    return str(path)


def check(*more: str) -> int:
    return run(["check", "track-roadster", "--groups", "rules", *more])


@pytest.mark.parametrize(("limit", "code"), [(1, 0), (5000, 1)])
def test_exit_code_is_the_verdict(
    tmp_path: Path, limit: int, code: int, capsys: pytest.CaptureFixture[str]
) -> None:
    assert check("--rules", own(tmp_path, limit)) == code
    out = capsys.readouterr().out
    assert ("FAIL  main hoop above the helmet" in out) is bool(code)
    assert "from memory" in out or not code


def test_several_side_by_side(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    check("--rules", f"scca-gcr,{own(tmp_path, 5000)},common-practice", "--all")
    last = capsys.readouterr().out.strip().splitlines()[-4:]
    assert last[0].split() == ["FAIL", "warn", "input", "look", "pass", "n/a"]
    assert [line.split()[0] for line in last[1:]] == ["common-practice", "mine", "scca-gcr"]


def test_why_explains_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    check("--rules", own(tmp_path, 5000), "--why", "mine/tall")
    out = capsys.readouterr().out
    said = ("The hoop is far above the helmet.", "Raise the hoop.", "My rules", "at least 5000 mm")
    for words in said:
        assert words in out
    assert "nobody has looked it up" in out


def test_why_of_an_unknown_code_names_the_nearest(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert check("--rules", own(tmp_path, 1), "--why", "mine/tal") == 2
    assert "mine/tall" in capsys.readouterr().err


def test_json_gives_the_rows(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    check("--rules", own(tmp_path, 5000), "--json")
    (row,) = json.loads(capsys.readouterr().out)
    assert (row["code"], row["status"], row["limit"]) == ("mine/tall", "fail", 5000.0)
    assert row["certainty"] == "from memory"


def test_a_slip_in_a_profile_is_wrong_input(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = Path(own(tmp_path, 1))
    path.write_text(path.read_text().replace("hoop_above_helmet", "hoop_over_helmet"))
    assert check("--rules", str(path)) == 2
    message = capsys.readouterr().err
    assert "mine.toml:8" in message
    assert "hoop_above_helmet" in message
    assert "Traceback" not in message


def test_show_prints_a_profile_with_its_gaps(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["show", "nasa-ccr"]) == 0
    out = capsys.readouterr().out
    assert "Not in this profile:" in out
    assert "tube-size table" in out


def test_show_lists_the_quantities(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["show", "quantities"]) == 0
    assert "rear_brace_angle [deg]" in capsys.readouterr().out

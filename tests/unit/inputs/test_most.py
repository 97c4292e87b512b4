"""How much a file may hold: too much is refused at once, with its line."""

from __future__ import annotations

import time
from fnmatch import fnmatchcase
from pathlib import Path

import pytest

from cagekit.cli.main import run
from cagekit.data import rows
from cagekit.inputs.most import fits
from cagekit.inputs.presets import list_presets, load_file, model_for, shipped_root

OUTLINE = ", ".join(f"[{n % 900}, {n % 700}]" for n in range(10_000))
STRUT = (
    '\n[[strut]]\nid = "s{n}"\nfrom = "on main_hoop.left at x 0"\nto = "on harness_bar at y 200"\n'
)
TAB = '\n[[plate]]\nkind = "tab"\npreset = "harness-tab"\nid = "t{n}"\nat = "on harness_bar"\n'
DIE = "\n[[die]]\nod = 40\nclr = {n}\nclamp = 60\nstraight = 60\ntail = 90\nmax_angle = 180\n"
ROWS = tuple(rows("most_entries"))


@pytest.mark.parametrize(
    ("file", "old", "new", "told"),
    [
        ("cars/hillclimb-coupe.toml", "outline = [[70, 0]", f"outline = [{OUTLINE}", "[side.door]"),
        ("builds/hillclimb-coupe.toml", "", STRUT * 500, "strut: holds 500 struts"),
        ("builds/hillclimb-coupe.toml", "", TAB * 200, "plate: holds 206 plate tables"),
        ("tooling/metric-shop.toml", "", DIE * 3000, "die: holds 3005 dies"),
    ],
)
def test_too_much_is_refused_at_once_with_its_line(
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
    new = new.replace("{n}", "100")
    text = text.replace(old, new, 1) if old else text + new
    target = tmp_path / "presets" / file
    target.parent.mkdir(parents=True)
    target.write_text(text)
    start = time.process_time()
    assert run(["check", "hillclimb-coupe"]) == 2
    assert time.process_time() - start < 5
    said = capsys.readouterr().err
    assert told in said
    assert f"{Path(file).name}:" in said
    assert "are taken" in said
    assert len(said) < 500


def test_too_many_members_of_both_files_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    text = (shipped_root() / "builds/hillclimb-coupe.toml").read_text("utf-8")
    strut = STRUT.replace("main_hoop.left", "main_hoop.{side}") + 'side = "both"\n'
    both = "".join(strut.replace("{n}", str(n)) for n in range(80))
    (tmp_path / "mine.toml").write_text(text + both)
    assert run(["check", "mine.toml"]) == 2
    said = capsys.readouterr().err
    assert "both sides counted; at most 150" in said
    assert "mine.toml:" in said


def test_no_shipped_file_is_near_its_limit() -> None:
    for one in list_presets():
        load_file(one.kind, one.path, model_for(one.kind))
    assert all(row["source"] and row["certainty"] and int(row["most"]) > 0 for row in ROWS)
    assert ROWS[-1]["file"] == ROWS[-1]["field"] == "*"


def test_patterns_of_the_tables_take_what_the_shell_would_take() -> None:
    """Every pattern on names made of it and of its neighbours, ends too short included."""
    patterns = {r["field"] for table in ("most_entries", "usual_ranges") for r in rows(table)}
    names = {p.replace("*", fill) for p in patterns for fill in ("", "x", "side.hoop", "a.b.x")}
    assert [(n, p) for n in names for p in patterns if fits(n, p) != fnmatchcase(n, p)] == []
    assert not fits("side.x", "side.x*.x")

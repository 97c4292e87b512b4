"""Other people's folders, files and streams: nobody's code runs, no closed pipe loses anything."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from cagekit.cli.main import run
from cagekit.writers.csv import text

ROOT = Path(__file__).parents[2]
TRAP = "from pathlib import Path\nPath(__file__).with_suffix('.ran').touch()\nraise SystemExit(1)\n"


def cagekit(folder: Path, *argv: str, **more: object) -> subprocess.CompletedProcess[str]:
    """Run the command as a shop does, standing in ``folder``."""
    begin = f"import sys; sys.path[:0] = [{str(ROOT)!r}]; from cagekit.cli.main import main"
    return subprocess.run(
        [sys.executable, "-P", "-c", f"{begin}; sys.exit(main())", *argv],
        cwd=folder, capture_output=True, text=True, timeout=120, **more,  # type: ignore[call-overload]
    )  # fmt: skip


@pytest.mark.slow
@pytest.mark.kernel
def test_nothing_that_lies_in_the_working_folder_is_run_or_read(tmp_path: Path) -> None:
    for name in ("queue.py", "pickle.py", "numpy/__init__.py", "cagekit/__init__.py", "ezdxf.py"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(TRAP)
    (tmp_path / "ezdxf.ini").write_text("no settings at all")
    (tmp_path / "matplotlibrc").write_text("no settings at all")
    done = cagekit(tmp_path, "make", "track-roadster", "--only", "step,dxf,png")
    assert done.returncode == 0, done.stderr
    assert list(tmp_path.rglob("*.ran")) == []
    assert (tmp_path / "outputs/track-roadster/cage.step").is_file()


def test_a_formula_in_a_table_is_text() -> None:
    cells = ["=1+1", "@SUM(A1)", "+cmd|x", "-2+3", "-3.5", "\t=1", " =1", "plain", "-"]
    table = text(("a",), [{"a": c} for c in cells])
    got = [row["a"] for row in csv.DictReader(table.splitlines())]
    assert got == ["'=1+1", "'@SUM(A1)", "'+cmd|x", "'-2+3", "-3.5", "'\t=1", "' =1", "plain", "'-"]
    (row,) = csv.DictReader(text(("x_mm",), [{"x_mm": -3.5}]).splitlines())
    assert row["x_mm"] == "-3.5"


def test_a_terminal_shows_what_a_file_wants_it_to_obey(tmp_path: Path) -> None:
    (tmp_path / "x.toml").write_text('kind = "car"\nname = "\\u001b[2J\\u202egone"\n')
    for argv in (["show", "x.toml"], ["check", "\x1b[2J.toml"]):
        done = cagekit(tmp_path, *argv)
        assert "\x1b" not in done.stdout + done.stderr
        assert "\u202e" not in done.stdout + done.stderr
        assert "u001b" in done.stdout + done.stderr or "x1b" in done.stdout + done.stderr


def test_a_letter_that_the_terminal_lacks_is_shown_by_its_number(tmp_path: Path) -> None:
    env = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    done = cagekit(tmp_path, "check", "track-roadster", "--json", env=env)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)
    done = cagekit(tmp_path, "check", "b\u00fcgel", env=env)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("closed", [1, 2])
def test_a_closed_stream_changes_no_exit_code(tmp_path: Path, closed: int) -> None:
    done = cagekit(
        tmp_path, "make", "track-roadster", "--only", "json,bends",
        preexec_fn=lambda: os.close(closed),
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    assert json.loads((tmp_path / "outputs/track-roadster/cage.json").read_text())["members"]


def test_a_reader_that_goes_changes_no_exit_code(tmp_path: Path) -> None:
    for argv, code in ((["check", "no-such"], 2), (["check", "track-roadster"], 0)):
        ends = [os.pipe(), os.pipe()]
        for read, _ in ends:
            os.close(read)
        done = subprocess.run(
            [sys.executable, "-m", "cagekit", *argv],
            cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)},
            stdout=ends[0][1], stderr=ends[1][1],
            preexec_fn=lambda: signal.signal(signal.SIGPIPE, signal.SIG_IGN),
        )  # fmt: skip
        for _, write in ends:
            os.close(write)
        assert done.returncode == code


def test_a_full_disk_behind_the_streams(tmp_path: Path) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "cagekit", "check", "track-roadster"],
            cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)}, text=True,
            stdout=full, stderr=subprocess.PIPE,
        )  # fmt: skip
    assert done.returncode == 2
    assert "No space left" in done.stderr
    assert "Traceback" not in done.stderr


def test_nobody_has_a_home(tmp_path: Path) -> None:
    gone = (
        "import pwd, os; os.environ.pop('HOME', None)\n"
        "def none(*_): raise KeyError('nobody')\n"
        "pwd.getpwuid = none\n"
        f"import sys; sys.path[:0] = [{str(ROOT)!r}]; from cagekit.cli.main import main\n"
        "sys.exit(main())"
    )
    make = ["make", "track-roadster", "--only", "dxf"]
    check, show = ["check", "track-roadster"], ["show", "track-roadster"]
    for argv in (["presets"], check, show, make, ["measure"], ["new", "mine"]):
        done = subprocess.run(
            [sys.executable, "-c", gone, *argv], cwd=tmp_path, capture_output=True, text=True
        )
        assert "fault" not in done.stderr
        assert "Traceback" not in done.stderr
        assert done.returncode in (0, 2), done.stderr


def test_a_library_that_ends_the_program_is_no_failed_check(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def end(*_: object, **__: object) -> None:
        raise SystemExit(1)

    monkeypatch.setattr("cagekit.design.Design.load", end)
    assert run(["check", "track-roadster"]) == 3
    assert "doctor" in capsys.readouterr().err


def test_make_tells_that_checks_fail(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from cagekit.checks.finding import Finding, Status

    bad = Finding(code="fit/x", group="fit", subject="cage", quantity="q", status=Status.FAIL)
    monkeypatch.setattr("cagekit.checks.run", lambda *_: (bad, bad))
    monkeypatch.chdir(tmp_path)
    make = ["make", "track-roadster", "--only", "bends"]
    assert run([*make, "--strict"]) == 1
    assert "2 fail; nothing was written" in capsys.readouterr().out
    assert list(tmp_path.iterdir()) == []
    assert run(make) == 1
    assert "checks: 2 fail: `check` tells them." in capsys.readouterr().out
    assert (tmp_path / "outputs/track-roadster/bends.csv").is_file()
    assert run([*make, "--accept-findings"]) == 0
    capsys.readouterr()
    assert run([*make, "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["checks"]["fail"] == 2


def test_no_message_quotes_a_file_that_is_none_of_ours(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "keys").write_text("secret one = two\n")
    (tmp_path / "login.toml").write_text('secret = "secret"\nname = "secret"\n')
    (tmp_path / "other.toml").write_text('kind = "secret"\nsecret = 3\n')
    (tmp_path / "linked.toml").symlink_to("keys")
    for name in ("./keys", "login.toml", "other.toml", "linked.toml"):
        assert run(["check", name]) == 2
        said = capsys.readouterr().err
        assert name.removeprefix("./") in said or "keys" in said
        assert "secret" not in said, said
    (tmp_path / "torn.toml").write_text('kind = "build"\nname = torn\n')
    assert run(["check", "torn.toml"]) == 2
    assert "name = torn" in capsys.readouterr().err


@pytest.mark.parametrize("number", ["nan", "inf", "-inf", "1e999"])
def test_no_number_of_a_file_is_infinite(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    number: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine.toml").write_text(
        'kind = "rules"\nname = "mine"\ntitle = "t"\n[[rule]]\ncode = "a"\n'
        f'quantity = "tube-wall"\nop = ">="\nlimit = [1, {number}]\ntext = "t"\ncure = "c"\n'
    )
    assert run(["check", "track-roadster", "--rules", "mine.toml"]) == 2
    assert "mine.toml:8 [rule entry 1] limit" in (said := capsys.readouterr().err), said
    assert "finite" in said

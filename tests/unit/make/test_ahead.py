"""The second process of a run, started before there is a design."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import demos
import pytest

from cagekit.cli.main import run as run_command
from cagekit.make import ahead, beside
from cagekit.make.ahead import COPIES, can_be_copied, processes, started
from cagekit.make.beside import Second
from cagekit.make.products import PRODUCTS, chosen
from cagekit.make.run import make
from cagekit.process import OtherProcess

QUICK = ("json", "glb", "bends", "inspection")
HEAVY = ("numpy", "pydantic", "cagekit.design")


@pytest.fixture
def begun(monkeypatch: pytest.MonkeyPatch) -> list[OtherProcess]:
    """The processes that are started ahead, where none is a copy."""
    monkeypatch.setattr(ahead, "COPIES", False)
    seen: list[OtherProcess] = []

    class Noted(OtherProcess):
        def __init__(self, module: str, argument: str) -> None:
            super().__init__(module, argument=argument)
            seen.append(self)

    monkeypatch.setattr(ahead, "OtherProcess", Noted)
    return seen


def ended(process: OtherProcess) -> bool:
    return process._process.returncode is not None


def test_what_starts_it_is_up_at_once() -> None:
    code = f"import sys, cagekit.make.ahead; print([m for m in {HEAVY} if m in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONPATH": str(demos.ROOT)},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.strip() == "[]"


def test_how_many_processes(monkeypatch: pytest.MonkeyPatch) -> None:
    some = chosen(QUICK)
    for number, most in ((1, 1), (2, 2), (64, 2)):
        monkeypatch.setattr(ahead, "cores", lambda number=number: number)
        assert processes(PRODUCTS, (), None) == most
        assert processes(some, QUICK, None) == 1
        assert processes(some, QUICK, 2) == 2
        assert processes(PRODUCTS, (), 1) == 1
        assert processes(some[:1], QUICK[:1], 2) == 1


def test_it_makes_products_of_the_design_that_comes_later(
    tmp_path: Path, begun: list[OtherProcess], monkeypatch: pytest.MonkeyPatch
) -> None:
    handed: list[Second] = []
    files = Second.files
    monkeypatch.setattr(Second, "files", lambda self: (handed.append(self), files(self))[1])
    # nothing else is started for it
    monkeypatch.delattr(beside, "OtherProcess")
    design = demos.design("track-roadster")
    one = make(design, tmp_path / "one", only=QUICK, jobs=1)
    with started(chosen(QUICK), 2) as process:
        two = make(design, tmp_path / "two", only=QUICK, jobs=2, second=process)
    assert begun == [process]
    assert ended(begun[0])
    (second,) = handed
    assert second._files
    assert two.files == one.files
    for path in (tmp_path / "one").rglob("*.*"):
        assert (
            path.read_bytes()
            == (tmp_path / "two" / path.relative_to(tmp_path / "one")).read_bytes()
        )


def test_it_ends_with_what_it_was_started_for(begun: list[OtherProcess]) -> None:
    with pytest.raises(KeyError), started(PRODUCTS, 2):
        raise KeyError
    assert [ended(p) for p in begun] == [True]
    with started(PRODUCTS, 1) as process:
        assert process is None
    assert len(begun) == 1


def test_nothing_is_started_ahead_of_a_copy(
    begun: list[OtherProcess], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ahead, "COPIES", True)
    with started(PRODUCTS, 2) as process:
        assert process is None
    assert not begun


@pytest.mark.skipif(not COPIES, reason="processes are copied on Linux alone")
def test_a_process_with_threads_of_a_library_is_not_copied(monkeypatch: pytest.MonkeyPatch) -> None:
    code = (
        "import threading, time; from cagekit.make.ahead import can_be_copied\n"
        "print(can_be_copied())\n"
        "threading.Thread(target=time.sleep, args=(600,), daemon=True).start()\n"
        "print(can_be_copied())\n"
        "import _thread; _thread.start_new_thread(time.sleep, (600,))\n"
        "time.sleep(0.2); print(can_be_copied())\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONPATH": str(demos.ROOT)},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.split() == ["True", "True", "False"]
    monkeypatch.setattr(ahead, "COPIES", False)
    assert not can_be_copied()


@pytest.mark.parametrize(
    ("words", "code", "number"),
    [
        (["no/such.toml"], 2, 1),
        (["track-roadster", "--only", "jsn"], 2, 0),
        (["track-roadster", "--only", "json"], 0, 0),
        (["track-roadster", "--only", "json", "--jobs", "2"], 0, 0),
        (["track-roadster", "--jobs", "1", "--only", "json,bends"], 0, 0),
        (["track-roadster", "--jobs", "2", "--only", "json,bends"], 0, 1),
    ],
)
def test_a_command_starts_it_for_several_products_and_ends_it(
    words: list[str],
    code: int,
    number: int,
    begun: list[OtherProcess],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(ahead, "cores", lambda: 2)
    assert run_command(["make", *words, "--out", "out", "--accept-findings"]) == code
    assert [ended(p) for p in begun] == [True] * number
    if code:
        assert len(capfd.readouterr().err.splitlines()) == 1
        assert list(tmp_path.iterdir()) == []

"""A copy of a process gives what it worked out, or is told to have ended; what others import."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from importlib.machinery import PathFinder
from pathlib import Path

import pytest

from cagekit import process
from cagekit.process import AnsweringCopy, ProcessCopy, cores

copies = pytest.mark.skipif(not ProcessCopy.can_be, reason="this system copies no process")


@copies
def test_a_copy_hands_over_what_it_works_out_in_another_process() -> None:
    here = {"number": 3}
    copy = ProcessCopy(lambda: (os.getpid(), here["number"] + 1), seconds=20)
    here["number"] = 7
    worker, number = copy.result()
    assert worker != os.getpid()
    assert number == 4


@copies
def test_a_copy_that_is_killed_or_too_slow_gives_no_result() -> None:
    with pytest.raises(EOFError):
        ProcessCopy(lambda: os.kill(os.getpid(), signal.SIGKILL), seconds=20).result()
    start = time.perf_counter()
    with pytest.raises(EOFError):
        ProcessCopy(lambda: time.sleep(30), seconds=1).result()
    assert time.perf_counter() - start < 25


@copies
def test_a_copy_answers_from_what_it_has_and_tells_when_it_has_ended() -> None:
    here = {"number": 3}
    copy = AnsweringCopy(lambda asked: (os.getpid(), here["number"] + asked))
    here["number"] = 7
    try:
        (one, first), (two, second) = copy.ask(1), copy.ask(2)
        assert one == two != os.getpid()
        assert (first, second) == (4, 5)
        copy.kill()
        with pytest.raises((EOFError, OSError)):
            copy.ask(3)
    finally:
        copy.close()
        copy.close()
    with pytest.raises(ChildProcessError):
        os.waitpid(one, 0)


@copies
def test_a_copy_says_nothing_and_ends_with_who_made_it() -> None:
    code = (
        "import os, sys; from cagekit.process import AnsweringCopy\n"
        "print('here', flush=True)\n"
        "copy = AnsweringCopy(lambda asked: (print('copy', flush=True), os.getpid())[1])\n"
        "print(copy.ask(0), flush=True)\n"
        "os.kill(os.getpid(), 9)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=60,
        env={**os.environ, "PYTHONPATH": str(Path(process.__file__).parents[1])},
    )  # fmt: skip
    here, copy = done.stdout.split()
    assert here == "here"
    for _ in range(600):
        if not Path(f"/proc/{copy}/exe").exists():
            return
        time.sleep(0.1)
    pytest.fail("the copy is still there")


def test_there_is_a_core_to_work_on() -> None:
    assert 1 <= cores() <= (os.cpu_count() or 1)


def test_the_package_is_the_callers_and_not_another_release_that_is_installed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "cagekit").mkdir()
    (tmp_path / "cagekit" / "__init__.py").touch()
    own = Path(process.__file__).parents[1]
    monkeypatch.chdir(own)
    monkeypatch.setattr(sys, "path", ["", str(tmp_path)])
    found = PathFinder.find_spec("cagekit", process.search_path())
    assert found is not None
    assert found.origin == str(own / "cagekit" / "__init__.py")

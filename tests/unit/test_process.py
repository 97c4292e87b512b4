"""A copy of a process gives what it worked out, or is told to have ended."""

from __future__ import annotations

import os
import signal
import time

import pytest

from cagekit.process import ProcessCopy, cores

pytestmark = pytest.mark.skipif(not ProcessCopy.can_be, reason="this system copies no process")


def test_a_copy_hands_over_what_it_works_out_in_another_process() -> None:
    here = {"number": 3}
    copy = ProcessCopy(lambda: (os.getpid(), here["number"] + 1), seconds=20)
    here["number"] = 7
    worker, number = copy.result()
    assert worker != os.getpid()
    assert number == 4


def test_a_copy_that_is_killed_or_too_slow_gives_no_result() -> None:
    with pytest.raises(EOFError):
        ProcessCopy(lambda: os.kill(os.getpid(), signal.SIGKILL), seconds=20).result()
    start = time.perf_counter()
    with pytest.raises(EOFError):
        ProcessCopy(lambda: time.sleep(30), seconds=1).result()
    assert time.perf_counter() - start < 25


def test_there_is_a_core_to_work_on() -> None:
    assert 1 <= cores() <= (os.cpu_count() or 1)

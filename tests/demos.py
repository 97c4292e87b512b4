"""The four demo builds and two in strangers' cars, each loaded and worked out once in a process.

Everything here is frozen or only ever adds to what it knows, so tests may share it; a test that
changes a build makes its own with ``replace``.
"""

from __future__ import annotations

import fcntl
import os
import subprocess
import sys
from functools import cache
from pathlib import Path

from cagekit.cage.cage import Cage
from cagekit.design import Design
from cagekit.inputs.build import Build
from cagekit.inputs.resolve import load_build

DEMOS = ("sprint-wagon", "hillclimb-coupe", "gravel-hatch", "track-roadster")
ROOT = Path(__file__).parents[1]
STRANGERS = ("heath", "linnet")
"""Builds in cars that no demo is like, in ``tests/data``."""


@cache
def build(name: str) -> Build:
    """The build as its file says it."""
    own = ROOT / "tests" / "data" / name / "build.toml"
    return load_build(str(own) if name in STRANGERS else name)


@cache
def design(name: str) -> Design:
    """The design of the build, in its own units and against its own rules."""
    return Design(build(name))


def cage(name: str) -> Cage:
    """The cage of the build, whole."""
    return design(name).cage


def make_by_command(name: str, out: Path, seed: int, jobs: int) -> None:
    """Make everything of a demo by a command, whose hashes start from ``seed``, in ``jobs``."""
    done = subprocess.run(
        [sys.executable, "-m", "cagekit", "make", name, "--out", str(out), "--jobs", str(jobs)],
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONHASHSEED": str(seed)},
        capture_output=True, text=True, check=False, cwd=out.parent,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr


def made(name: str, shared: Path) -> Path:
    """Folder with everything that ``make`` makes of a demo, made once for all test processes.

    Args:
        name: of the demo.
        shared: folder that all processes of this run of the tests see.
    """
    folder = shared / "demos"
    folder.mkdir(exist_ok=True)
    out = folder / name
    with (folder / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not out.exists():
            make_by_command(name, out, seed=1, jobs=2)
    return out

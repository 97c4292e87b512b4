"""Products made by two processes: the same files, and the same words when something fails."""

from __future__ import annotations

import hashlib
import os
import pickle
import subprocess
import sys
from collections import deque
from pathlib import Path
from typing import Any

import demos
import pytest

from cagekit.checks import run as run_checks
from cagekit.design import Design
from cagekit.errors import GeometryError
from cagekit.make import run
from cagekit.make.beside import (
    LOADED_BY_BOTH,
    Second,
    StaysHereError,
    packed,
    take,
    work_out_for_both,
)
from cagekit.make.products import PRODUCTS, Product
from cagekit.make.run import make
from cagekit.process import AnsweringCopy, OtherProcess, ProcessCopy

QUICK = ("json", "glb", "bends", "inspection")
WAYS = [
    pytest.param(False, id="started"),
    pytest.param(
        True,
        id="copied",
        marks=pytest.mark.skipif(not ProcessCopy.can_be, reason="this system copies no process"),
    ),
]
"""How the second process comes about."""


def shas(folder: Path) -> dict[str, str]:
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


@pytest.fixture
def design() -> Design:
    return demos.design("track-roadster")


@pytest.fixture
def by_second(monkeypatch: pytest.MonkeyPatch) -> dict[str, tuple[str, ...]]:
    """What the second process made, once it has."""
    made: dict[str, tuple[str, ...]] = {}
    files = Second.files

    def noted(self: Second) -> dict[str, tuple[str, ...]]:
        made.update(files(self))
        return made

    monkeypatch.setattr(Second, "files", noted)
    return made


def fails(design: Design, folder: Path) -> None:
    """Write a product half, then fail."""
    (folder / "half").write_text("x")
    raise GeometryError("hoop", "cannot be made.")


def wrote_bends(self: Product, design: Design, folder: Path) -> tuple[tuple[str, ...], None]:
    """Write what a design has for bends."""
    (folder / self.name).write_text(str(design.bends))
    return (self.name,), None


@pytest.mark.parametrize("copied", WAYS)
def test_two_processes_make_what_one_makes(
    design: Design, tmp_path: Path, by_second: dict[str, tuple[str, ...]], copied: bool
) -> None:
    told: list[str] = []
    one = make(design, tmp_path / "one", only=QUICK, jobs=1)
    assert not by_second
    two = make(design, tmp_path / "two", only=QUICK, jobs=2, copied=copied, progress=told.append)
    assert by_second
    assert two.files == one.files
    assert one.alone == two.alone == ""
    assert list(two.files) == [p.name for p in PRODUCTS if p.name in QUICK]
    assert sorted(told) == sorted(QUICK)
    assert shas(tmp_path / "two") == shas(tmp_path / "one")


def test_what_both_processes_need_is_worked_out_while_there_is_one() -> None:
    design = Design(demos.build("track-roadster"))
    work_out_for_both(design)
    before = len(design.kept)
    cage = design.cage
    assert all("saddle_length" in vars(joint.cut) for joint in cage.joints)
    assert cage.tube_mass() > 0
    assert len(design.kept) == before
    assert set(LOADED_BY_BOTH) <= set(sys.modules)


@pytest.mark.parametrize("name", demos.DEMOS)
def test_a_design_goes_over_and_works_on(name: str) -> None:
    first = demos.design(name)
    found = run_checks(first)  # what a command has worked out before it makes anything
    sent = packed(first)
    second = pickle.loads(sent)
    assert second is not first
    for id_, member in first.cage.members.items():
        assert second.cage.cut_length(id_) == first.cage.cut_length(id_)
        assert second.cage.members[id_].path.length == member.path.length
    assert run_checks(second) == found
    assert second.build.entries == first.build.entries
    assert [b.blank for b in second.bends] == [b.blank for b in first.bends]


def test_what_a_script_hung_on_a_design_is_made_by_one_process(
    tmp_path: Path, by_second: dict[str, tuple[str, ...]]
) -> None:
    design = Design(demos.build("track-roadster"))
    design.once("of a script", lambda d: lambda: d)
    assert packed(design)  # whoever asks for that again has it worked out again
    vars(design)["hung"] = lambda: design
    with pytest.raises(StaysHereError, match=r"'hung' stays here: .*lambda"):
        packed(design)
    made = make(design, tmp_path / "out", only=QUICK, jobs=2)
    assert sorted(made.files) == sorted(QUICK)
    assert "'hung'" in made.alone
    assert not by_second


@pytest.mark.skipif(not ProcessCopy.can_be, reason="this system copies no process")
def test_a_copy_has_what_was_worked_out(
    tmp_path: Path, by_second: dict[str, tuple[str, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    design = Design(demos.build("track-roadster"))
    vars(design)["hung"] = lambda: design  # of a script; nothing has to go over
    vars(design)["bends"] = ()  # what no process would work out
    with monkeypatch.context() as patch:
        patch.setattr(Product, "write", wrote_bends)
        made = make(design, tmp_path / "out", only=QUICK, jobs=2, copied=True)
    assert made.alone == ""
    assert by_second
    assert {(tmp_path / "out" / name).read_text() for name in by_second} == {"()"}


@pytest.mark.parametrize("copied", WAYS)
def test_what_the_second_process_cannot_make_is_told_as_ever(
    design: Design, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, copied: bool
) -> None:
    target = tmp_path / "out"
    make(design, target, only=["json"])
    before = shas(target)
    good = [p for p in PRODUCTS if p.name in QUICK]
    bad = Product("bad", f"{__name__}:fails", "fails")
    load = Product.load
    monkeypatch.setattr(Product, "load", lambda self: fails if self is bad else load(self))
    monkeypatch.setattr(run, "chosen", lambda only: (*good, bad))
    with pytest.raises(GeometryError, match=r"cannot be made"):
        make(design, target, jobs=2, copied=copied)
    assert shas(target) == before
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("answers", [0, 1])
@pytest.mark.parametrize("copied", WAYS)
def test_a_second_process_that_dies_costs_time_alone(
    design: Design,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    by_second: dict[str, tuple[str, ...]],
    answers: int,
    copied: bool,
) -> None:
    asked = 0
    ask = OtherProcess.ask

    def dying(self: OtherProcess, value: object) -> Any:
        nonlocal asked
        if asked == answers:
            self.kill()
        asked += 1
        return ask(self, value)

    make(design, tmp_path / "one", only=QUICK, jobs=1)
    monkeypatch.setattr(AnsweringCopy if copied else OtherProcess, "ask", dying)
    make(design, tmp_path / "two", only=QUICK, jobs=2, copied=copied)
    assert asked
    assert len(by_second) <= answers
    assert shas(tmp_path / "two") == shas(tmp_path / "one")


def test_it_stops_when_told_so_while_it_hands_out(design: Design, tmp_path: Path) -> None:
    def stop(name: str) -> None:
        if name == "inspection":  # the last of them: handed to the second process
            raise KeyError(name)

    with pytest.raises(KeyError, match="inspection"):
        make(design, tmp_path / "out", only=QUICK, jobs=2, progress=stop)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("copied", WAYS)
def test_it_ends_with_this_process(design: Design, tmp_path: Path, copied: bool) -> None:
    """What is left of a run that is broken off: no folder and no process."""
    processes: list[Second] = []

    def interrupted(name: str) -> None:
        if name == "json":
            raise KeyboardInterrupt

    start = Second.__enter__

    def noted(self: Second) -> Second:
        processes.append(self)
        return start(self)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Second, "__enter__", noted)
        with pytest.raises(KeyboardInterrupt):
            make(design, tmp_path / "out", only=QUICK, jobs=2, copied=copied, progress=interrupted)
    assert list(tmp_path.iterdir()) == []
    (second,) = processes
    assert second._process._process.returncode is not None
    assert not second._thread.is_alive()


def test_a_script_needs_no_guard(tmp_path: Path) -> None:
    """A process that is started anew does not run the script again."""
    script = tmp_path / "script.py"
    script.write_text(
        "import cagekit\n"
        "print('once')\n"
        "cagekit.load('track-roadster').make('out', ['json', 'glb', 'bends'], jobs=2)\n"
    )
    done = subprocess.run(
        [sys.executable, str(script)],
        env={**os.environ, "PYTHONPATH": str(demos.ROOT)},
        capture_output=True, text=True, check=False, cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout == "once\n"
    assert (tmp_path / "out/bends.csv").is_file()


def test_taking_from_nothing_is_none() -> None:
    assert take(deque[Product]().pop) is None

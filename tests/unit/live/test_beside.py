"""A second process measures a part of every version: findings are the same with and without it."""

from __future__ import annotations

import pickle
import shutil
import time
from pathlib import Path

import pytest

from cagekit.inputs.resolve import load_build, with_changes
from cagekit.live import beside as room
from cagekit.live.session import Session

BUILDS = Path(__file__).parents[3] / "presets" / "builds"
HEIGHT = "build.members.main_hoop.height"


def wait_for(true, seconds=60.0):
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end
        time.sleep(0.01)


def findings_at(session, height):
    """Findings once the hoop has a height."""
    session.change(HEIGHT, height)
    version = session.version
    wait_for(lambda: session.judged == version)
    return session.findings


@pytest.fixture
def file(tmp_path):
    made = tmp_path / "own.toml"
    shutil.copy(BUILDS / "track-roadster.toml", made)
    return made


@pytest.fixture
def taken(monkeypatch):
    """How many measures were taken over from the second process, one number a version."""
    numbers: list[int] = []
    real = room.SecondProcess.answer

    def answer(self, version, breathe):
        found = real(self, version, breathe)
        numbers.append(len(found))
        return found

    monkeypatch.setattr(room.SecondProcess, "answer", answer)
    return numbers


@pytest.fixture
def helped(file):
    made = Session(str(file), helped=True)
    wait_for(lambda: made._beside is not None and made._beside.answers)
    yield made
    made.close()


@pytest.fixture
def alone(file):
    made = Session(str(file))
    yield made
    made.close()


def test_findings_are_those_that_one_process_finds(helped, alone, taken):
    for height in (900, 915, 931):
        assert findings_at(helped, height) == findings_at(alone, height)
    assert len(taken) == 3
    assert min(taken) > 10


def test_where_the_second_process_is_gone_all_is_measured_in_the_first(helped, alone, taken):
    findings_at(helped, 900)
    helped._beside._process.kill()
    wait_for(lambda: not helped._beside.answers)
    assert findings_at(helped, 915) == findings_at(alone, 915)
    assert len(taken) == 1


def test_files_that_changed_have_a_process_of_their_own(helped, file, taken):
    before = helped._beside
    file.write_text(file.read_text().replace("\nname = ", "\n# seen again\nname = "))
    helped.follow()
    wait_for(lambda: helped._beside is not before and helped._beside.answers)
    assert not before.answers
    findings_at(helped, 900)
    assert taken[-1] > 10


def test_a_session_that_closes_ends_it(helped):
    process = helped._beside._process._process
    helped.close()
    assert process.poll() is not None


def test_a_version_goes_over_as_what_changed():
    base = load_build("gravel-hatch")
    version = with_changes(base, "main_hoop", {"gap": "31 mm"})
    data = room.packed(version, base)
    again = room.unpacked(data, base)
    assert again == version
    assert again != base
    same = [n for n in base.__struct_fields__ if getattr(again, n) is getattr(base, n)]
    assert {"car", "drivers", "tooling", "layout"} <= set(same)
    kept = sum(a is b for a, b in zip(again.entries, base.entries, strict=True))
    assert kept >= len(base.entries) - 2
    strange = pickle.loads(pickle.dumps(base))
    assert len(data) < len(room.packed(version, strange)) / 2

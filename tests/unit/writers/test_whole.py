"""A file is written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path
from typing import IO, Any

import pytest

from cagekit.cli.main import run
from cagekit.writers.whole import write_whole

FULL = Path("/dev/full")


@pytest.fixture
def no_room(monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that is full: the system's own."""
    if not FULL.exists():
        pytest.skip("the system has no device that is always full")

    def full(handle: int, mode: str) -> IO[Any]:
        os.close(handle)
        return FULL.open(mode)

    monkeypatch.setattr("cagekit.writers.whole.fdopen", full)


def names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


@pytest.mark.usefixtures("no_room")
def test_what_cannot_be_written_leaves_what_was_there(tmp_path: Path) -> None:
    target = tmp_path / "own.toml"
    target.write_text("mine", "utf-8")
    with pytest.raises(OSError, match="No space"):
        write_whole(target, b"x" * 5000, over=True)
    assert target.read_text("utf-8") == "mine"
    with pytest.raises(OSError, match="No space"):
        write_whole(tmp_path / "new.toml", b"x" * 5000, over=False)
    assert names(tmp_path) == ["own.toml"]


def test_a_file_that_is_there_is_replaced_only_where_it_may_be(tmp_path: Path) -> None:
    target, link = tmp_path / "own.toml", tmp_path / "link.toml"
    target.write_text("mine", "utf-8")
    target.chmod(0o640)
    link.symlink_to(target)
    with pytest.raises(FileExistsError):
        write_whole(link, b"other", over=False)
    write_whole(link, b"other", over=True)
    assert link.is_symlink()
    assert target.read_bytes() == b"other"
    assert target.stat().st_mode & 0o777 == 0o640
    assert names(tmp_path) == ["link.toml", "own.toml"]
    usual = tmp_path / "usual"
    usual.touch()
    write_whole(tmp_path / "new", b"n", over=False)
    assert (tmp_path / "new").stat().st_mode == usual.stat().st_mode


@pytest.mark.usefixtures("no_room")
@pytest.mark.parametrize(
    ("words", "there"),
    [
        ("new mine --from track-roadster", ""),
        ("measure four-point --toml", "measuring-sheet.pdf"),
        ("place track-roadster harness_bar --over height=400:420:20 --plot p.png", "p.png"),
    ],
)
def test_no_verb_leaves_half_a_file_on_a_full_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
    words: str, there: str,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    if there:
        Path(there).write_text("the last one", "utf-8")
    assert run(words.split()) == 2
    said = capsys.readouterr().err.lower()
    assert "disk is full" in said or "no space" in said
    assert names(tmp_path) == [there] * bool(there)
    assert not there or Path(there).read_text("utf-8") == "the last one"

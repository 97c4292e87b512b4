"""A file that the page saves: comments stay, and it is written whole or not at all."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path
from typing import IO, Any

import pytest
from msgspec import UNSET

from cagekit.errors import InputError, OutputError
from cagekit.live.document import Document

TEXT = "# mine\nname = 'own'  # of the club\n\n[members.dash_bar]\nheight = 480 # up\n"
HEIGHT = ("members", "dash_bar", "height")


def test_a_save_keeps_comments_and_the_link_that_it_went_through(tmp_path: Path) -> None:
    file, link = tmp_path / "own.toml", tmp_path / "link.toml"
    file.write_text(TEXT, "utf-8")
    link.symlink_to(file)
    Document(link).save({HEIGHT: 490})
    assert link.is_symlink()
    assert file.read_text("utf-8") == TEXT.replace("480", "490")


def test_a_full_disk_leaves_the_file_and_nothing_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("the system has no device that is always full")
    file = tmp_path / "own.toml"
    file.write_text(TEXT, "utf-8")

    def no_room(handle: int, mode: str) -> IO[Any]:
        os.close(handle)
        return full.open(mode)

    monkeypatch.setattr("cagekit.writers.whole.fdopen", no_room)
    with pytest.raises(OutputError, match="No space"):
        Document(file).save({HEIGHT: 490})
    assert file.read_text("utf-8") == TEXT
    assert [p.name for p in tmp_path.iterdir()] == ["own.toml"]


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (19.4375, '"19 7/16"'),
        (20.1875, '"20 3/16"'),
        (20, '"20"'),
        (-0.5, '"-1/2"'),
        (19.44, "19.44"),
        ("1' 8\"", '"1\' 8\\""'),
    ],
)
def test_a_fraction_of_an_inch_stays_one_where_nothing_is_lost(
    tmp_path: Path, value: object, written: str
) -> None:
    file = tmp_path / "own.toml"
    text = 'units = "in"\n[members.dash_bar]\nheight = "19 3/8"  # by the tape\nset_back = 1\n'
    file.write_text(text, "utf-8")
    Document(file).save({HEIGHT: value, ("members", "dash_bar", "set_back"): 2.5})
    now = file.read_text("utf-8")
    assert f"height = {written}  # by the tape\nset_back = 2.5\n" in now


def test_a_file_that_is_write_protected_or_cannot_be_read_is_told_as_that(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "own.toml"
    file.write_text(TEXT, "utf-8")
    document = Document(file)
    # root may do all: the system's answer is said, not asked for
    monkeypatch.setattr("cagekit.live.document.access", lambda path, how: False)
    with pytest.raises(InputError, match="write-protected"):
        document.save({HEIGHT: 490})
    assert file.read_text("utf-8") == TEXT

    def locked(path: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", locked)
    with pytest.raises(InputError, match="cannot be read: Permission denied"):
        document.save({HEIGHT: 490})


def test_a_new_key_stands_below_its_table_and_above_remarks_on_the_next(tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    text = (
        "name = 'own'\n\n# feet\n[[plate]]\nkind = 'tab' # of the club\n\n\n# the \"bar\"\n"
        "[members.dash_bar]\nheight = 480\n# in one line\n[[padding]]\nsize = {wall = 3}\n"
    )
    file.write_text(text, "utf-8")
    values = {
        ("plate", 0, "hole"): 11,
        ("members", "dash_bar", "low"): True,
        ("padding", 0, "size", "od"): 40,
        ("units",): "mm",
    }
    Document(file).save(values)
    want = text.replace("'own'\n", "'own'\nunits = \"mm\"\n")
    want = want.replace("club\n", "club\nhole = 11\n").replace("480\n", "480\nlow = true\n")
    assert file.read_text("utf-8") == want.replace("{wall = 3}", "{wall = 3,od = 40}")


def test_what_is_taken_out_goes_with_its_line_and_nothing_else(tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    text = (
        "# mine\nname = 'own'\nunits = 'in'\n\n# the dash\n[members.dash_bar]\n# by the tape\n"
        "height = '19 3/8' # up\nset_back = 1\n\n[seated]  # belted\nhelmet_top = [\n  1, # x\n"
        "  2,\n  3,\n]\nback_angle = 20\n\n[members.halo]\ngap = 1 # last\n"
    )
    file.write_text(text, "utf-8")
    document = Document(file)
    gone = {HEIGHT: UNSET, ("seated", "helmet_top"): UNSET, ("members", "halo", "gap"): UNSET}
    document.save(gone)
    now = file.read_text("utf-8")
    assert [r for r in text.splitlines() if r not in now.splitlines()] == [
        "height = '19 3/8' # up", "helmet_top = [", "  1, # x", "  2,", "  3,", "]",
        "gap = 1 # last",
    ]  # fmt: skip
    assert [r for r in now.splitlines() if r not in text.splitlines()] == []
    assert tomllib.loads(now) == document.changed(gone)
    document.save({}, now.encode())
    assert file.read_text("utf-8") == text  # taken back


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_mark_and_ends_of_lines_stay_as_the_editor_wrote_them(
    tmp_path: Path, mark: bytes, end: str
) -> None:
    file = tmp_path / "own.toml"
    file.write_bytes(mark + TEXT.replace("\n", end).encode())
    Document(file).save({HEIGHT: 490, ("members", "halo", "gap"): 5})
    raw = file.read_bytes()
    assert raw.startswith(mark + b"# mine")
    assert raw.count(b"\xef\xbb\xbf") == bool(mark)
    assert raw.count(b"\n") == raw.count(end.encode()) > TEXT.count("\n")
    assert Document(file).data["members"] == {"dash_bar": {"height": 490}, "halo": {"gap": 5}}

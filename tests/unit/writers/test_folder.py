"""The swap: whole or not at all, the user's own files survive, nothing is left behind."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from cagekit.errors import GeometryError, OutputError
from cagekit.writers.folder import MARK, foreign_files, swapped_in
from cagekit.writers.manifest import manifest, read_manifest, write_manifest

ROOT = Path(__file__).parents[3]


def run(target: Path, **files: str) -> None:
    """One run that writes ``files`` (``__`` for a slash) and its manifest."""
    with swapped_in(target) as fresh:
        made = []
        for name, text in files.items():
            path = fresh / name.replace("__", "/")
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text)
            made.append(path.relative_to(fresh).as_posix())
        content = manifest(fresh, build="b", inputs={}, products={"all": made}, options={})
        write_manifest(fresh, content)


def broken(target: Path, error: BaseException) -> None:
    """A run that fails half way."""
    with swapped_in(target) as fresh:
        (fresh / "cage").write_text("half")
        raise error


def names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def tree(folder: Path) -> dict[str, str]:
    return {
        p.relative_to(folder).as_posix(): p.read_text()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and p.name != "manifest.json"
    }


def test_a_new_folder_with_its_parents(tmp_path: Path) -> None:
    run(tmp_path / "outputs/deep/b", cage="1", members__hoop="2")
    assert tree(tmp_path) == {"outputs/deep/b/cage": "1", "outputs/deep/b/members/hoop": "2"}
    assert names(tmp_path / "outputs/deep") == ["b"]


def test_what_the_last_run_made_goes_and_the_users_files_stay(tmp_path: Path) -> None:
    target = tmp_path / "b"
    run(target, cage="1", members__gone="x")
    (target / "notes.txt").write_text("mine")
    (target / "members/own.step").write_text("mine too")
    (target / "photos").mkdir()
    (target / "link").symlink_to("notes.txt")
    os.utime(target / "notes.txt", (1e9, 1e9))
    run(target, cage="2", plates__p="3")
    assert tree(target) == {
        "cage": "2",
        "plates/p": "3",
        "notes.txt": "mine",
        "members/own.step": "mine too",
        "link": "mine",
    }
    assert (target / "link").is_symlink()
    assert (target / "photos").is_dir()
    assert (target / "notes.txt").stat().st_mtime == 1e9
    assert names(tmp_path) == ["b"]


def test_a_file_of_a_run_that_was_edited_is_the_users(tmp_path: Path) -> None:
    target = tmp_path / "b"
    run(target, cuts="1", cage="1")
    (target / "cuts").write_text("with my marks")
    run(target, cage="2")
    assert tree(target) == {"cage": "2", "cuts": "with my marks"}
    with pytest.raises(OutputError, match=r"cuts: is not from cagekit"):
        run(target, cage="3", cuts="new")
    assert tree(target) == {"cage": "2", "cuts": "with my marks"}


def test_a_file_of_a_run_is_made_anew_by_the_next(tmp_path: Path) -> None:
    target = tmp_path / "b"
    run(target, cuts="1")
    (target / "cuts").write_text("opened and saved again")
    run(target, cuts="2")
    assert tree(target) == {"cuts": "2", "cuts.edited": "opened and saved again"}


def test_a_list_filled_in_by_hand_is_kept_beside_the_new_one(tmp_path: Path) -> None:
    target, said = tmp_path / "b", list[str]()
    columns = ["list.csv", "list.edited.csv", "list.edited-2.csv"]

    def made(text: str) -> None:
        with swapped_in(target, said.append) as fresh:
            (fresh / "list.csv").write_text(text)
            files = {"all": ["list.csv"]}
            write_manifest(fresh, manifest(fresh, build="b", inputs={}, products=files, options={}))

    made("1")
    for n in (2, 3):
        (target / "list.csv").write_text(f"filled in {n}")
        made(str(n))
    assert [(target / c).read_text() for c in columns] == ["3", "filled in 2", "filled in 3"]
    assert [s.rpartition(" ")[2] for s in said] == columns[1:]
    made("4")
    assert len(said) == 2
    assert (target / columns[1]).read_text() == "filled in 2"


def test_a_folder_that_cannot_be_read_stops_the_run(tmp_path: Path) -> None:
    """Root reads everything, so the system's refusal is played."""
    target = tmp_path / "b"
    run(target, cage="1")
    (target / "shut").mkdir()
    (target / "shut/mine").write_text("x")
    scan = os.scandir

    def refuse(path: str) -> object:
        if str(path).endswith("shut"):
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return scan(path)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "scandir", refuse)
        with pytest.raises(OutputError, match=r"shut: cannot be read .*Nothing was changed"):
            run(target, cage="2")
    assert tree(target) == {"cage": "1", "shut/mine": "x"}


@pytest.mark.parametrize("name", [".b.cagekit-new", ".b.cagekit-old"])
def test_a_folder_of_the_users_beside_the_target_is_never_touched(
    tmp_path: Path, name: str
) -> None:
    run(tmp_path / "b", cage="1")
    for other in (".b.old", ".b.new", ".b.lock"):
        (tmp_path / other).mkdir()
        (tmp_path / other / "mine").write_text("x")
    run(tmp_path / "b", cage="2")
    (tmp_path / name).mkdir()
    (tmp_path / name / "mine").write_text("x")
    with pytest.raises(OutputError, match=r"is not from cagekit"):
        run(tmp_path / "b", cage="3")
    kept = {k: v for k, v in tree(tmp_path).items() if k.endswith("mine")}
    assert len(kept) == 4
    assert tree(tmp_path / "b") == {"cage": "2"}


def test_a_link_to_itself_is_refused(tmp_path: Path) -> None:
    (tmp_path / "b").symlink_to("b")
    with pytest.raises(OutputError, match=r"leads nowhere"):
        run(tmp_path / "b", cage="1")


@pytest.mark.parametrize(
    "row",
    ["text", {"path": 3}, {"path": "../out", "product": "all"}, {"path": "/etc/passwd"}, {}, None],
)
def test_an_odd_manifest_is_no_way_out_of_the_folder(tmp_path: Path, row: object) -> None:
    target = tmp_path / "b"
    run(target, cage="1")
    if isinstance(row, dict):
        row = {"sha256": "0" * 64, "product": "all", **row}
    content = {"schema": 1, "files": [row], "inputs": [], "options": {}, "versions": {}}
    (target / "manifest.json").write_text(json.dumps(content))
    assert read_manifest(target)["files"] == []
    (target / "cage").unlink()
    run(target, cage="2")
    assert tree(tmp_path) == {"b/cage": "2"}


def test_a_users_file_is_never_overwritten(tmp_path: Path) -> None:
    target = tmp_path / "b"
    target.mkdir()
    (target / "cage").write_text("mine")
    with pytest.raises(OutputError, match=r"would be overwritten"):
        run(target, cage="1")
    assert tree(target) == {"cage": "mine"}
    assert names(tmp_path) == ["b"]


@pytest.mark.parametrize("existed", [False, True])
def test_a_failed_run_changes_nothing(tmp_path: Path, existed: bool) -> None:
    target = tmp_path / "outputs/b"
    if existed:
        run(target, cage="1")
        (target / "notes").write_text("mine")
    before = {p: p.stat().st_ino for p in tmp_path.rglob("*")}
    with pytest.raises(GeometryError):
        broken(target, GeometryError("hoop", "cannot be made."))
    assert {p: p.stat().st_ino for p in tmp_path.rglob("*")} == before


def test_stopping_by_hand_changes_nothing(tmp_path: Path) -> None:
    with pytest.raises(KeyboardInterrupt):
        broken(tmp_path / "b", KeyboardInterrupt())
    assert names(tmp_path) == []


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EACCES, "may not write"),
        (errno.EROFS, "read-only"),
    ],
)
def test_the_systems_refusals_in_words(tmp_path: Path, code: int, words: str) -> None:
    run(tmp_path / "b", cage="1")
    with pytest.raises(OutputError, match=words), swapped_in(tmp_path / "b"):
        raise OSError(code, os.strerror(code))
    assert tree(tmp_path / "b") == {"cage": "1"}
    assert names(tmp_path) == ["b"]


def test_a_fault_of_our_own_is_not_taken_for_the_disks(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError), swapped_in(tmp_path / "b"):
        (tmp_path / "absent").read_text()


def test_a_full_disk_for_real() -> None:
    """Writing to the full device is refused by the system and told in words."""
    if not Path("/dev/full").exists():
        pytest.skip("this system has no full device")
    folder = Path.cwd() / "never-made"

    def fill() -> None:
        with swapped_in(folder) as fresh:
            (fresh / "cage").symlink_to("/dev/full")
            (fresh / "cage").write_text("x" * 100_000)

    with pytest.raises(OutputError, match=r"the disk is full"):
        fill()
    assert not folder.exists()


def test_targets_that_cannot_be(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("mine")
    with pytest.raises(OutputError, match=r"is a file"):
        run(tmp_path / "file")
    with pytest.raises(OutputError, match=r"is a file|not a folder"):
        run(tmp_path / "file/b")
    (tmp_path / "in").mkdir()
    monkeypatch.chdir(tmp_path / "in")
    for here in (Path(), Path(".."), tmp_path):
        with pytest.raises(OutputError, match=r"the folder you stand in"):
            run(here)
    assert tree(tmp_path) == {"file": "mine"}


def test_a_link_to_a_folder_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    run(tmp_path / "link", cage="1")
    assert (tmp_path / "link").is_symlink()
    assert tree(tmp_path / "real") == {"cage": "1"}


def test_the_folders_permissions_stay(tmp_path: Path) -> None:
    target = tmp_path / "b"
    run(target, cage="1")
    target.chmod(0o750)
    run(target, cage="2")
    assert target.stat().st_mode & 0o777 == 0o750


def test_what_a_killed_run_left_is_put_right(tmp_path: Path) -> None:
    run(tmp_path / "b", cage="1")
    # killed while writing
    (tmp_path / ".b.cagekit-new").mkdir()
    (tmp_path / ".b.cagekit-new/half").write_text("x")
    (tmp_path / ".b.cagekit-new" / MARK).write_text("")
    (tmp_path / ".b.cagekit-lock").write_text("")
    run(tmp_path / "b", cage="2")
    assert names(tmp_path) == ["b"]
    # killed in the swap, between the two renames
    (tmp_path / "b/notes").write_text("mine")
    (tmp_path / "b" / MARK).write_text("")
    (tmp_path / "b").rename(tmp_path / ".b.cagekit-old")
    run(tmp_path / "b", cage="3")
    assert tree(tmp_path / "b") == {"cage": "3", "notes": "mine"}
    assert names(tmp_path) == ["b"]


def test_a_file_saved_while_the_run_swaps_survives(tmp_path: Path) -> None:
    target = tmp_path / "b"
    run(target, cage="1")
    rename = Path.rename

    def late(self: Path, to: Path) -> Path:
        if self.name == "b":  # the user saves just before the folder moves away
            (self / "late").write_text("mine")
        return rename(self, to)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Path, "rename", late)
        run(target, cage="2")
    assert tree(target) == {"cage": "2", "late": "mine"}


def test_a_failed_swap_puts_the_old_folder_back(tmp_path: Path) -> None:
    target = tmp_path / "b"
    run(target, cage="1")
    rename = Path.rename

    def refused(self: Path, to: Path) -> Path:
        if self.name == ".b.cagekit-new":
            raise OSError(errno.EACCES, "no")
        return rename(self, to)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Path, "rename", refused)
        with pytest.raises(OutputError, match=r"may not write"):
            run(target, cage="2")
    assert tree(target) == {"cage": "1"}
    assert names(tmp_path) == ["b"]


def test_two_runs_do_not_mix(tmp_path: Path) -> None:
    """A second process is refused while the first writes, and free to go afterwards."""
    hold = (
        "import sys; from pathlib import Path; from cagekit.writers.folder import swapped_in\n"
        "with swapped_in(Path(sys.argv[1])) as fresh:\n"
        "    (fresh / 'cage').write_text('first'); print('in', flush=True); sys.stdin.readline()\n"
    )
    target = tmp_path / "b"
    first = subprocess.Popen(
        [sys.executable, "-c", hold, str(target)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT,
    )  # fmt: skip
    with first:
        assert first.stdout is not None
        assert first.stdout.readline() == "in\n"
        with pytest.raises(OutputError, match=r"another run is writing"):
            run(target, cage="second")
        first.communicate("\n", timeout=120)
    assert tree(target) == {"cage": "first"}
    with pytest.raises(OutputError, match=r"overwritten"):
        run(target, cage="second")  # the first run wrote no manifest, so its file is nobody's


def test_a_killed_process_leaves_no_lock(tmp_path: Path) -> None:
    hold = (
        "import os, sys; from pathlib import Path; from cagekit.writers.folder import swapped_in\n"
        "with swapped_in(Path(sys.argv[1])) as fresh:\n"
        "    (fresh / 'cage').write_text('half'); os.kill(os.getpid(), 9)\n"
    )
    target = tmp_path / "b"
    subprocess.run([sys.executable, "-c", hold, str(target)], cwd=ROOT, check=False)
    run(target, cage="1")
    assert tree(target) == {"cage": "1"}
    assert names(tmp_path) == ["b"]


def test_foreign_files_are_found_and_torn_manifests_are_no_trouble(tmp_path: Path) -> None:
    target = tmp_path / "b"
    run(target, cage="1")
    (target / "manifest.json").write_text('{"schema": 1, "files": [{"pa')
    assert [p.as_posix() for p in foreign_files(target)] == ["cage"]
    with pytest.raises(OutputError, match=r"overwritten"):
        run(target, cage="2")
    for n in range(300):
        (target / f"{n}.txt").write_text("")
    assert len(foreign_files(target)) == 301

"""A run's folder: written beside the target, swapped in when it is whole.

What the last run made (its manifest tells) is replaced; every other file in the target is the
user's own and survives, one of ours that was filled in or edited since too: it is kept beside the
new one. A failed run leaves the target as it was and nothing beside it. Two runs cannot write the
same target at the same time.
"""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from cagekit.errors import CagekitError, OutputError
from cagekit.writers.manifest import MANIFEST, listed_files, unchanged_files

MOST_FOREIGN = 20_000
"""Files of the user's own in the target; more means that the target is no folder of ours."""

MARK = ".cagekit-run"
"""File that tells a folder of a run from one of the user's that has the same name."""

_WORDS = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk quota is used up",
    errno.EACCES: "you may not write there",
    errno.EPERM: "you may not write there",
    errno.EROFS: "the disk is read-only",
    errno.EEXIST: "a part of the path is a file, not a folder",
    errno.ENOTDIR: "a part of the path is a file, not a folder",
    errno.ENAMETOOLONG: "the name is too long",
}


@contextmanager
def swapped_in(target: Path, remark: Callable[[str], None] = lambda text: None) -> Iterator[Path]:
    """Give a new empty folder to write into; put it in place of ``target`` at the end.

    Args:
        target: the folder to replace.
        remark: told of every file of the last run that was edited since: where it is kept.

    Raises:
        OutputError: the target is a file, the folder one stands in, not writable or in use; the
            disk is full; or a new file would replace one of the user's own.
    """
    target = _checked(target)
    made = _parents(target)
    try:
        with _lock(target):
            fresh = target.with_name(f".{target.name}.cagekit-new")
            old = target.with_name(f".{target.name}.cagekit-old")
            _tidy(target, fresh, old)
            foreign_files(target)  # what cannot be read is told before the work is done
            try:
                fresh.mkdir()
                _mark(fresh)
                yield fresh
                _take_along(target, fresh, remark)
                _swap(target, fresh, old)
            except BaseException:
                shutil.rmtree(fresh, ignore_errors=True)
                raise
            shutil.rmtree(old, ignore_errors=True)
    except CagekitError:
        _forget(made)
        raise
    except OSError as error:
        _forget(made)
        if error.errno not in _WORDS:
            raise
        raise output_error(error, target) from error
    except BaseException:
        _forget(made)
        raise


def output_error(error: OSError, target: Path) -> OutputError:
    """Return an error of the system in words a builder reads."""
    problem = _WORDS.get(error.errno or 0, error.strerror or str(error))
    return OutputError(f"{target}: {problem}. Nothing was changed.")


def foreign_files(target: Path) -> list[Path]:
    """Return what in ``target`` is the user's own, relative: files and empty folders.

    A file of the last run that was edited since is the user's own too.

    Raises:
        OutputError: there are too many to carry over.
    """
    ours = unchanged_files(target)
    found: list[Path] = []
    for folder, names, files in os.walk(target, onerror=_unreadable):
        here = Path(folder)
        links = [n for n in names if (here / n).is_symlink()]
        names[:] = sorted(set(names) - set(links))
        found += [here / n for n in (*links, *files)]
        if not names and not files and not links and here != target:
            found.append(here)
        if len(found) > MOST_FOREIGN:
            raise OutputError(
                f"{target}: holds more than {MOST_FOREIGN} files of your own. "
                "Give the run a folder of its own with --out."
            )
    relative = sorted(p.relative_to(target) for p in found)
    return [
        p for p in relative if p.as_posix() not in ours and p.as_posix() not in (MANIFEST, MARK)
    ]


def _unreadable(error: OSError) -> None:
    """Stop: what a run cannot see into it cannot bring along."""
    if error.errno == errno.ENOENT:
        return  # there is no target yet, or a folder went meanwhile
    raise OutputError(
        f"{error.filename}: cannot be read ({error.strerror}), so a run could lose what is in it. "
        "Allow it or move it away. Nothing was changed."
    )


def _mark(folder: Path) -> None:
    (folder / MARK).write_text("A run of cagekit makes and removes this folder.\n", "utf-8")


def _checked(target: Path) -> Path:
    target = Path(os.path.abspath(target))  # noqa: PTH100 (resolve would follow the last link)
    if target.is_symlink():
        try:
            target = target.resolve()
            if target.is_symlink():
                raise OSError(errno.ELOOP, "a link to itself")
        except (OSError, RuntimeError):  # a link that leads to itself
            raise OutputError(
                f"{target}: is a link that leads nowhere. Name a folder. Nothing was changed."
            ) from None
    if target.exists() and not target.is_dir():
        raise OutputError(f"{target}: is a file; a folder is needed. Nothing was changed.")
    here = Path.cwd().resolve()
    if target.resolve() in (here, *here.parents):
        raise OutputError(
            f"{target}: is the folder you stand in (or above it), which cannot be swapped. "
            "Name a folder below: --out ./cage."
        )
    return target


def _parents(target: Path) -> list[Path]:
    """Make the folders above the target; return those that were made, the lowest first."""
    missing = [p for p in target.parents if not p.exists()]
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        _forget(missing)
        raise output_error(error, target) from error
    return missing


def _forget(folders: list[Path]) -> None:
    for folder in folders:
        with suppress(OSError):
            folder.rmdir()


def _tidy(target: Path, fresh: Path, old: Path) -> None:
    """Clear what a run left that was killed; put the target back if it died in the swap."""
    for left in (fresh, old):
        if os.path.lexists(left) and (left.is_symlink() or not (left / MARK).is_file()):
            if left.is_dir() and not left.is_symlink() and not any(left.iterdir()):
                left.rmdir()  # killed before it was marked
                continue
            raise OutputError(
                f"{left}: is not from cagekit, but a run needs that name. Move it away."
            )
    if old.is_dir() and not target.exists():
        old.rename(target)
    for left in (fresh, old):
        if left.is_dir():
            shutil.rmtree(left)


def _take_along(target: Path, fresh: Path, remark: Callable[[str], None]) -> None:
    """Bring the user's own files into the new folder, as links so that nothing is copied."""
    if not target.is_dir():
        return
    listed = listed_files(target)
    foreign = foreign_files(target)
    taken = {*foreign, *map(Path, _tree(fresh))}
    for path in foreign:
        source, place = target / path, fresh / path
        if os.path.lexists(place):
            if _same(source, place):
                continue  # made anew by this run
            if path.as_posix() in listed and source.is_file():
                kept = _beside(path, taken)
                taken.add(kept)
                _link(source, fresh / kept)
                remark(f"{path} was edited since the last run: yours is kept as {kept}")
                continue
            raise OutputError(
                f"{source}: is not from cagekit and would be overwritten. Move it away, or write "
                "to another folder with --out. Nothing was changed."
            )
        if any((fresh / p).is_file() for p in path.parents):
            raise OutputError(f"{source}: stands where a file of the run goes. Move it away.")
        place.parent.mkdir(parents=True, exist_ok=True)
        if source.is_dir() and not source.is_symlink():
            place.mkdir(exist_ok=True)
            continue
        _link(source, place)
    shutil.copymode(target, fresh)


def _tree(folder: Path) -> list[str]:
    """Every file below ``folder``, relative."""
    return [p.relative_to(folder).as_posix() for p in folder.rglob("*") if not p.is_dir()]


def _beside(path: Path, taken: set[Path]) -> Path:
    """A free name for an edited file: ``inspection.edited.csv``."""
    kept, n = path.with_suffix(f".edited{path.suffix}"), 1
    while kept in taken:
        n += 1
        kept = path.with_suffix(f".edited-{n}{path.suffix}")
    return kept


def _link(source: Path, place: Path) -> None:
    try:
        os.link(source, place, follow_symlinks=False)
    except OSError:
        shutil.copy2(source, place, follow_symlinks=False)


def _same(one: Path, two: Path) -> bool:
    return one.is_file() and two.is_file() and one.read_bytes() == two.read_bytes()


def _swap(target: Path, fresh: Path, old: Path) -> None:
    if not target.exists():
        fresh.rename(target)
        (target / MARK).unlink()
        return
    _mark(target)
    target.rename(old)
    try:
        fresh.rename(target)
    except BaseException:
        old.rename(target)
        (target / MARK).unlink()
        raise
    (target / MARK).unlink()
    # what the user saved into the old folder since its files were brought along
    for path in foreign_files(old):
        place = target / path
        if not os.path.lexists(place):
            place.parent.mkdir(parents=True, exist_ok=True)
            (old / path).rename(place)


@contextmanager
def _lock(target: Path) -> Iterator[None]:
    """Hold the target for this run; the system lets go of it should the run die."""
    path = target.with_name(f".{target.name}.cagekit-lock")
    while True:
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            _claim(handle)
        except OSError:
            os.close(handle)
            raise OutputError(
                f"{target}: another run is writing there. Wait until it is done."
            ) from None
        # the run before may have removed the file between our opening and locking it
        with suppress(OSError):
            if os.path.samestat(os.fstat(handle), path.stat()):
                break
        os.close(handle)
    try:
        yield
    finally:
        with suppress(OSError):
            path.unlink()
        os.close(handle)


def _claim(handle: int) -> None:
    """Lock an open file or raise OSError at once."""
    try:
        import fcntl
    except ImportError:
        import msvcrt

        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        return
    fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)

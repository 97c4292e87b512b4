"""A single file that is written whole or not at all."""

from __future__ import annotations

import tempfile
from contextlib import suppress
from os import fdopen
from pathlib import Path


def write_whole(target: Path, content: bytes, *, over: bool) -> None:
    """Write a file beside its place and put it there when it is whole.

    What stands there stays as it is until then, and where the writing fails; a link goes on
    leading to its file, which keeps its permissions.

    Args:
        target: the file.
        content: all of it.
        over: in place of a file that is there.

    Raises:
        FileExistsError: the file is there and is not to be replaced.
        OSError: it cannot be written.
    """
    target = target.resolve()
    taken = _taken(target, over=over)
    name = ""
    try:
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        with fdopen(handle, "wb") as out:
            out.write(content)
        with suppress(OSError):
            Path(name).chmod(target.stat().st_mode & 0o777)
        Path(name).replace(target)
    except BaseException:
        for left in (name, str(target) if taken else ""):
            if left:
                Path(left).unlink(missing_ok=True)
        raise


def _taken(target: Path, *, over: bool) -> bool:
    """Whether the name was free and is held now by an empty file, with the usual permissions."""
    try:
        target.open("xb").close()
    except FileExistsError:
        if not over:
            raise
        return False
    return True

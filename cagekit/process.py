"""A process beside this one that answers what it is asked, one thing at a time.

It is an interpreter of its own that takes nothing from the folder somebody works in, and it ends
when this process does. The script that is run here is not run there again, so a script needs no
guard round what it does, on any system.
"""

from __future__ import annotations

import os
import pickle
import signal
import struct
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from math import ceil
from pathlib import Path
from typing import IO, Any, NoReturn

_SIZE = struct.Struct("<Q")
_BEGIN = (
    "import sys; from importlib import import_module; module, serve, argument, *sys.path = "
    "sys.argv[1:]; getattr(import_module(module), serve)(argument)"
)
"""What the isolated interpreter runs: the search path is the caller's, and nobody else's."""
_MOST_FILES = 1024
"""Files that a process may have open, at most."""


class OtherProcess:
    """A process that has started.

    Args:
        module: what it imports.
        serve: name of the module's function that it runs; :func:`answer_all` in the end.
        argument: what that function is given.
        folder: where it works; the caller's folder when left out.
    """

    def __init__(
        self, module: str, serve: str = "serve", argument: str = "", folder: Path | None = None
    ) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-I", "-c", _BEGIN, module, serve, argument, *search_path()],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
            cwd=folder,
        )

    def ask(self, value: object) -> Any:
        """Send something and wait for the answer.

        Raises:
            OSError: the process has ended.
            EOFError: it ended before it answered.
        """
        self.send(value)
        return self.receive()

    def send(self, value: object) -> None:
        """Send something; what it answers is received later.

        Raises:
            OSError: the process has ended.
        """
        assert self._process.stdin is not None
        send(self._process.stdin, value)

    def receive(self) -> Any:
        """Wait for the next answer.

        Raises:
            EOFError: the process ended before it answered.
        """
        assert self._process.stdout is not None
        return _receive(self._process.stdout)

    def kill(self) -> None:
        """End it at once; whoever waits for an answer gets an error."""
        self._process.kill()

    def close(self) -> None:
        """End it, and let go of its streams."""
        self._process.kill()
        self._process.wait()
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                with suppress(OSError):
                    stream.close()


class ProcessCopy:
    """Work done in a copy of this process, which has everything loaded already.

    Args:
        work: what is done there; its result is handed over.
        seconds: the copy ends when it takes longer.
    """

    can_be = hasattr(os, "fork")
    """Whether this system copies processes."""

    def __init__(self, work: Callable[[], Any], *, seconds: float) -> None:
        back, forth = os.pipe()
        self._back, self._id = back, os.fork()
        if self._id == 0:
            self._go(work, forth, ceil(seconds))
        os.close(forth)

    @staticmethod
    def _go(work: Callable[[], Any], forth: int, seconds: int) -> None:
        """Do the work in the copy, which ends with it."""
        try:
            # whoever waits for the first process must not wait for its copy
            os.closerange(3, forth)
            os.closerange(forth + 1, _MOST_FILES)
            signal.alarm(seconds)
            with os.fdopen(forth, "wb") as out:
                send(out, work())
        finally:
            os._exit(0)

    def result(self) -> Any:
        """Wait for the work's result.

        Raises:
            EOFError: the copy ended without one.
        """
        try:
            with os.fdopen(self._back, "rb") as pipe:
                return _receive(pipe)
        finally:
            os.waitpid(self._id, 0)


def cores() -> int:
    """How many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def search_path() -> list[str]:
    """Where the process looks for modules: the caller's places without the working folder.

    What lies in the folder that somebody works in may be a stranger's: a module there must not
    take the place of one of the library's. The package itself comes from where the caller has it,
    the working folder too, and from no other release that is installed.
    """
    here = Path.cwd() if _has_folder() else None
    known = [p for p in sys.path if Path(p).is_absolute() and Path(p) != here]
    root = str(Path(__file__).parents[1])
    return known if root in known else [root, *known]


def _has_folder() -> bool:
    """Whether the working folder still exists."""
    try:
        Path.cwd()
    except OSError:
        return False
    return True


def answers_to_caller() -> IO[bytes]:
    """Where the process sends its answers; what it prints from now on goes nowhere."""
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    return answers


def answer_all(answers: IO[bytes], answer: Callable[[Any], object]) -> NoReturn:
    """Answer what the caller asks until it goes, then end the process."""
    hear_from_caller(lambda asked: send(answers, answer(asked)))


def hear_from_caller(hear: Callable[[Any], object]) -> NoReturn:
    """Hand over what the caller sends until it goes, then end the process."""
    while True:
        try:
            said = _receive(sys.stdin.buffer)
        except EOFError:
            os._exit(0)
        hear(said)


def send(stream: IO[bytes], value: object) -> None:
    """Write something for the process at the other end of a pipe."""
    data = pickle.dumps(value)
    stream.write(_SIZE.pack(len(data)) + data)
    stream.flush()


def _receive(stream: IO[bytes]) -> Any:
    head = stream.read(_SIZE.size)
    if len(head) < _SIZE.size:
        raise EOFError
    return pickle.loads(stream.read(_SIZE.unpack(head)[0]))

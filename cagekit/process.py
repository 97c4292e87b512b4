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
from typing import IO, Any, NoReturn, TypeVar

T = TypeVar("T")
P = TypeVar("P")
Packing = tuple[Callable[[list[T]], P], Callable[[P], list[T]]]
"""What packs things in one process, and what unpacks them in another."""

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
        self._process: subprocess.Popen[bytes] | _Copied = subprocess.Popen(
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


class _Copied:
    """A copy of this process that does ``work``, with what is open of it as of one that started.

    Args:
        work: gets what the caller writes and what the caller reads; the copy ends with it.
    """

    def __init__(self, work: Callable[[IO[bytes], IO[bytes]], object]) -> None:
        asked, stdin = os.pipe()
        stdout, answers = os.pipe()
        self.returncode: int | None = None
        self._id = os.fork()
        if self._id == 0:
            _go(work, asked, answers)
        os.close(asked)
        os.close(answers)
        self.stdin, self.stdout = os.fdopen(stdin, "wb"), os.fdopen(stdout, "rb")

    def kill(self) -> None:
        """End it at once."""
        if self.returncode is None:
            os.kill(self._id, signal.SIGKILL)

    def wait(self) -> None:
        """Wait until it has ended."""
        if self.returncode is None:
            self.returncode = os.waitstatus_to_exitcode(os.waitpid(self._id, 0)[1])


def _go(work: Callable[[IO[bytes], IO[bytes]], object], asked: int, answers: int) -> NoReturn:
    """Do the work in the copy, which ends with it; what it prints goes nowhere."""
    try:
        nowhere = os.open(os.devnull, os.O_RDWR)
        for stream in range(3):
            os.dup2(nowhere, stream)
        # whoever waits for the first process must not wait for its copy
        first, last = sorted((asked, answers))
        for low, high in ((3, first), (first + 1, last), (last + 1, _MOST_FILES)):
            os.closerange(low, high)
        with os.fdopen(asked, "rb") as stdin, os.fdopen(answers, "wb") as stdout:
            work(stdin, stdout)
    finally:
        os._exit(0)


class AnsweringCopy(OtherProcess):
    """A copy of this process, which has all that is loaded and worked out in it.

    Threads are not copied, nor is what they hold ever let go of in it: so a process makes no copy
    of itself while another thread is at work.

    Args:
        answer: what it answers when it is asked something.
    """

    def __init__(self, answer: Callable[[Any], object]) -> None:
        def serve(asked: IO[bytes], answers: IO[bytes]) -> None:
            with suppress(EOFError):
                while True:
                    send(answers, answer(_receive(asked)))

        self._process = _Copied(serve)


class ProcessCopy:
    """Work done in a copy of this process, which has everything loaded already.

    Args:
        work: what is done there; its result is handed over.
        seconds: the copy ends when it takes longer.
    """

    can_be = hasattr(os, "fork")
    """Whether this system copies processes."""

    def __init__(self, work: Callable[[], Any], *, seconds: float) -> None:
        def once(_: IO[bytes], answers: IO[bytes]) -> None:
            signal.alarm(ceil(seconds))
            send(answers, work())

        self._process = _Copied(once)

    def result(self) -> Any:
        """Wait for the work's result.

        Raises:
            EOFError: the copy ended without one.
        """
        try:
            with self._process.stdin, self._process.stdout:
                return _receive(self._process.stdout)
        finally:
            self._process.wait()

    def stop(self) -> None:
        """End it without a result."""
        self._process.kill()
        with self._process.stdin, self._process.stdout:
            self._process.wait()


LONGEST = 3600.0
"""A copy that works on its half longer than this (s) hangs, and is not waited for."""


def made_by_two(
    make: Callable[[slice], list[T]],
    count: int,
    pays: int,
    packing: Callable[[list[T]], Packing[T, Any]] = lambda _: (list, list),
) -> list[T]:
    """What ``make`` gives of so many things, in order, the later half made in a copy.

    One process makes all where this system copies none, or has one core, or there are too few;
    this one makes the half of a copy that ends early, too.

    Args:
        make: makes some of them.
        count: how many there are.
        pays: so many are worth a second process.
        packing: gets the first, and gives how those of the copy come back.
    """
    if count < pays or cores() < 2 or not ProcessCopy.can_be:
        return make(slice(0, count))
    # what all have in common is loaded and worked out before there are two
    first, middle = make(slice(0, 1)), count // 2 + 1
    pack, unpack = packing(first)
    theirs = slice(middle, count)
    copy = ProcessCopy(lambda: pack(make(theirs)), seconds=LONGEST)
    try:
        mine = make(slice(1, middle))
    except BaseException:
        copy.stop()
        raise
    try:
        rest = unpack(copy.result())
    except EOFError:
        rest = make(theirs)
    return [*first, *mine, *rest]


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
        hear(heard())


def heard() -> Any:
    """What the caller sends next; ends the process when it has gone."""
    try:
        return _receive(sys.stdin.buffer)
    except EOFError:
        os._exit(0)


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

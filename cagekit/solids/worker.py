"""The kernel in a process of its own, with limits on memory and time.

The process starts at once and loads the kernel while the caller goes on; what it is asked it
does in turn. A job that takes too long or too much memory ends the process, not the caller.
"""

from __future__ import annotations

import os
import pickle
import queue
import struct
import subprocess
import sys
import threading
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import IO, Any

from cagekit.errors import CagekitError, KernelError

MEMORY = 4 * 2**30
"""Address space of the process, bytes; the kernel alone takes about a third of it."""
SECONDS = 120.0
"""Time for one job."""

_SIZE = struct.Struct("<Q")
_BEGIN = (
    "import sys; memory, *sys.path = sys.argv[1:]; "
    "from cagekit.solids.worker import serve; serve(int(memory))"
)
"""What the isolated interpreter runs: the search path is the caller's, and nobody else's."""


def search_path() -> list[str]:
    """Where the process looks for modules: the caller's places without the working folder.

    What lies in the folder that somebody works in may be a stranger's: a module there must not
    take the place of one of the library's.
    """
    here = Path.cwd() if _has_folder() else None
    known = [p for p in sys.path if Path(p).is_absolute() and Path(p) != here]
    root = str(Path(__file__).parents[2])
    return known if root in known else [*known, root]


def _has_folder() -> bool:
    """Whether the working folder still exists."""
    try:
        Path.cwd()
    except OSError:
        return False
    return True


def _send(stream: IO[bytes], value: object) -> None:
    data = pickle.dumps(value)
    stream.write(_SIZE.pack(len(data)) + data)
    stream.flush()


def _receive(stream: IO[bytes]) -> Any:
    head = stream.read(_SIZE.size)
    if len(head) < _SIZE.size:
        raise EOFError
    return pickle.loads(stream.read(_SIZE.unpack(head)[0]))


class KernelWorker:
    """A running kernel process; use it in a ``with`` statement.

    Args:
        memory: limit of its address space, bytes (where the system knows such limits).
        seconds: limit for each job.
    """

    def __init__(self, *, memory: int = MEMORY, seconds: float = SECONDS) -> None:
        self.memory, self.seconds = memory, seconds
        self._jobs: queue.SimpleQueue[tuple[str, tuple[Any, ...], Future[Any]] | None]
        self._jobs = queue.SimpleQueue()
        self._closed = False
        self._process: subprocess.Popen[bytes] | None = None
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._start()
        self._thread.start()

    def __enter__(self) -> KernelWorker:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the process; jobs that still wait fail."""
        self._closed = True
        self._jobs.put(None)
        self._stop()
        self._thread.join(timeout=5.0)

    def submit(self, job: str, *args: Any) -> Future[Any]:
        """Queue a job (a name in :data:`JOBS`); its result or KernelError comes with the future."""
        future: Future[Any] = Future()
        self._jobs.put((job, args, future))
        return future

    def call(self, job: str, *args: Any) -> Any:
        """Do a job and wait for it.

        Raises:
            KernelError: it failed, took too long or took too much memory.
        """
        return self.submit(job, *args).result()

    # -- the caller's side ---------------------------------------------------------------------

    def _start(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-I", "-c", _BEGIN, str(self.memory), *search_path()],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
            cwd=Path(__file__).parent,
        )

    def _stop(self) -> None:
        process = self._process
        self._process = None
        if process is None:
            return
        process.kill()
        process.wait()
        for stream in (process.stdin, process.stdout):
            if stream is not None:
                with suppress(OSError):
                    stream.close()

    def _serve(self) -> None:
        while (task := self._jobs.get()) is not None:
            job, args, future = task
            try:
                future.set_result(self._do(job, args))
            except CagekitError as error:
                future.set_exception(error)
            except Exception as error:
                future.set_exception(KernelError(f"the CAD kernel's process failed ({error})."))

    def _do(self, job: str, args: tuple[Any, ...]) -> Any:
        if self._closed:
            raise KernelError("the CAD kernel's process was ended.")
        if self._process is None:
            self._start()
        process = self._process
        assert process is not None
        assert process.stdin is not None
        assert process.stdout is not None
        late = threading.Timer(self.seconds, process.kill)
        late.start()
        try:
            _send(process.stdin, (job, args))
            good, value = _receive(process.stdout)
        except (EOFError, OSError):
            timed_out = not late.is_alive()
            self._stop()
            limit = f"{self.seconds:g} s" if timed_out else f"{self.memory / 2**30:.1f} GiB"
            raise KernelError(
                f"the CAD kernel's process ended ({job}); it may use {limit} at most."
            ) from None
        finally:
            late.cancel()
        if not good:
            raise KernelError(value)
        return value


# -- the kernel's side ---------------------------------------------------------------------------


def _boolean(*args: Any) -> Any:
    from cagekit.solids.fallback import boolean_tube

    return boolean_tube(*args)


def _read(path: str, measured: tuple[str, ...] | None = None) -> Any:
    from cagekit.solids.kernel_step import read_step

    return read_step(Path(path), measured=measured)


def _judge(solids: dict[str, Any]) -> Any:
    from cagekit.solids.kernel import count_solids, is_valid, to_shape
    from cagekit.solids.kernel_step import ReadPart

    out = []
    for name, record in solids.items():
        shape = to_shape(record)
        out.append(
            ReadPart(path=(name,), solids=count_solids(shape), volume=None, valid=is_valid(shape))
        )
    return tuple(out)


def _load() -> None:
    from cagekit.solids.kernel import occ

    occ("gp")


def _hog(megabytes: int) -> int:
    return len(bytearray(megabytes * 2**20))


def _sleep(seconds: float) -> None:
    import time

    time.sleep(seconds)


JOBS: dict[str, Callable[..., Any]] = {
    "boolean": _boolean,
    "read": _read,
    "judge": _judge,
    "load": _load,
    "hog": _hog,
    "sleep": _sleep,
}
"""What the process can be asked: a coped tube, a STEP file read back, whether solids are sound; the
last two test its limits."""


def _limit(memory: int) -> None:
    try:
        import resource
    except ImportError:
        return
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    most = memory if hard == resource.RLIM_INFINITY else min(memory, hard)
    resource.setrlimit(resource.RLIMIT_AS, (most, hard))


def serve(memory: int) -> None:
    """Answer jobs from standard input until it closes."""
    _limit(memory)
    # whatever the kernel prints must not get between the answers
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    with suppress(CagekitError):
        _load()
    while True:
        try:
            job, args = _receive(sys.stdin.buffer)
        except EOFError:
            os._exit(0)
        try:
            answer = (True, JOBS[job](*args))
        except CagekitError as error:
            answer = (False, str(error))
        except MemoryError:
            answer = (False, f"the CAD kernel ran out of memory ({job}).")
        except Exception as error:
            answer = (False, f"the CAD kernel failed ({job}: {type(error).__name__}: {error}).")
        _send(answers, answer)

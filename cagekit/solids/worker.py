"""The kernel in a process of its own, with limits on memory and time.

The process starts at once and loads the kernel while the caller goes on; what it is asked it
does in turn. A job that takes too long or too much memory ends the process, not the caller.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from cagekit.errors import CagekitError, KernelError
from cagekit.process import OtherProcess, ProcessCopy, answer_all, answers_to_caller, cores

if TYPE_CHECKING:
    from concurrent.futures import Future

    from cagekit.solids.plain import PlainSolid

MEMORY = 4 * 2**30
"""Address space of the process, bytes; the kernel alone takes about a third of it."""
SECONDS = 120.0
"""Time for one job."""
SHARED = 12
"""Number of solids from which two processes judge them: a copy of one costs as much as a few."""
REST = "rest"


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
        self._process: OtherProcess | None = None
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
        from concurrent.futures import Future  # loads what only a job asked for needs

        future: Future[Any] = Future()
        self._jobs.put((job, args, future))
        return future

    def rest(self) -> None:
        """Let the process go when all that is queued is done; another job starts a new one."""
        self.submit(REST)

    def call(self, job: str, *args: Any) -> Any:
        """Do a job and wait for it.

        Raises:
            KernelError: it failed, took too long or took too much memory.
        """
        return self.submit(job, *args).result()

    # -- the caller's side ---------------------------------------------------------------------

    def _start(self) -> None:
        self._process = OtherProcess(
            __name__, argument=str(self.memory), folder=Path(__file__).parent
        )

    def _stop(self) -> None:
        process = self._process
        self._process = None
        if process is not None:
            process.close()

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
        if job == REST:
            self._stop()
            return None
        if self._process is None:
            self._start()
        process = self._process
        assert process is not None
        late = threading.Timer(self.seconds, process.kill)
        late.start()
        try:
            good, value = process.ask((job, args))
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


def _judge(solids: dict[str, PlainSolid]) -> Any:
    """Verdicts on solids; of many the other half is judged in a second process, side by side.

    Raises:
        KernelError: the second process ended.
    """
    if len(solids) < SHARED or cores() < 2 or not ProcessCopy.can_be:
        return _verdicts(solids)
    by_size = sorted(solids, key=lambda name: len(solids[name].edges))
    here, there = ({name: solids[name] for name in by_size[k::2]} for k in (0, 1))
    other = ProcessCopy(lambda: _verdicts(there), seconds=SECONDS)
    try:
        found = (*_verdicts(here), *other.result())
    except EOFError:
        limit = f"{SECONDS:g} s"
        raise KernelError(f"the CAD kernel's second process ended; it may use {limit}.") from None
    order = {name: i for i, name in enumerate(solids)}
    return tuple(sorted(found, key=lambda part: order[part.name]))


def _verdicts(solids: dict[str, PlainSolid]) -> tuple[Any, ...]:
    from cagekit.solids.kernel import built, count_solids, is_valid
    from cagekit.solids.kernel_step import ReadPart

    return tuple(
        ReadPart(path=(name,), solids=count_solids(shape), volume=None, valid=is_valid(shape))
        for name, shape in zip(solids, map(built, solids.values()), strict=True)
    )


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


def serve(memory: str) -> None:
    """Load the kernel and do jobs until the caller goes; ``memory`` in bytes."""
    _limit(int(memory))
    # whatever the kernel prints must not get between the answers
    answers = answers_to_caller()
    with suppress(CagekitError):
        _load()
    answer_all(answers, _answer)


def _answer(asked: tuple[str, tuple[Any, ...]]) -> tuple[bool, Any]:
    """Whether a job was done, and what came of it or why not."""
    job, args = asked
    try:
        return True, JOBS[job](*args)
    except CagekitError as error:
        return False, str(error)
    except MemoryError:
        return False, f"the CAD kernel ran out of memory ({job})."
    except Exception as error:
        return False, f"the CAD kernel failed ({job}: {type(error).__name__}: {error})."

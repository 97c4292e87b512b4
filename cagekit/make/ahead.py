"""The second process of ``make``, started before there is a design to hand it.

This process reads a build, cuts the cage and checks it alone, on one core; the second loads what
it will need meanwhile. So this module and what it imports are up at once: neither numpy nor the
models of the files.

Where processes can be copied safely nothing is started ahead: a copy of this process, when it has
the design, loads nothing again and works nothing out again that is there.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path

from cagekit.make.products import Product
from cagekit.process import OtherProcess, cores

COPIES = sys.platform == "linux"
"""Whether the second process of a command is a copy of the first; elsewhere a library of the system
may not outlive being copied."""


def processes(products: Sequence[Product], only: Sequence[str], jobs: int | None) -> int:
    """How many processes make products: ``jobs``, or as fits run and machine when that is None."""
    if len(products) < 2:
        return 1
    if jobs is None:
        # some products alone are made before a second process is up
        return 1 if only else min(cores(), 2)
    return jobs


def can_be_copied() -> bool:
    """Whether a copy of this process works on: no library has threads of its own, which it lacks.

    Those of Python alone, which tell of the wait, hold nothing that it needs.
    """
    if not COPIES:
        return False
    try:
        return len(list(Path("/proc/self/task").iterdir())) <= threading.active_count()
    except OSError:
        return False


@contextmanager
def started(products: Sequence[Product], number: int) -> Iterator[OtherProcess | None]:
    """A second process that loads what it will make, until the end of the ``with`` statement.

    Whatever ends the statement, a build that is refused for one, ends the process without a word.

    Args:
        products: of the run.
        number: of :func:`processes`; None comes of one, and where processes are copied.
    """
    if number < 2 or COPIES:
        yield None
        return
    theirs = ",".join(p.name for p in products[len(products) // 2 :])
    with closing(OtherProcess("cagekit.make.beside", argument=theirs)) as process:
        yield process

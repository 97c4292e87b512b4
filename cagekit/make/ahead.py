"""The second process of ``make``, started before there is a design to hand it.

This process reads a build, cuts the cage and checks it alone, on one core; the second loads what
it will need meanwhile. So this module and what it imports are up at once: neither numpy nor the
models of the files.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager

from cagekit.make.products import Product
from cagekit.process import OtherProcess, cores


def processes(products: Sequence[Product], only: Sequence[str], jobs: int | None) -> int:
    """How many processes make products: ``jobs``, or as fits run and machine when that is None."""
    if len(products) < 2:
        return 1
    if jobs is None:
        # some products alone are made before a second process is up
        return 1 if only else min(cores(), 2)
    return jobs


@contextmanager
def started(products: Sequence[Product], number: int) -> Iterator[OtherProcess | None]:
    """A second process that loads what it will make, until the end of the ``with`` statement.

    Whatever ends the statement, a build that is refused for one, ends the process without a word.

    Args:
        products: of the run.
        number: of :func:`processes`; None comes of one.
    """
    if number < 2:
        yield None
        return
    theirs = ",".join(p.name for p in products[len(products) // 2 :])
    with closing(OtherProcess("cagekit.make.beside", argument=theirs)) as process:
        yield process

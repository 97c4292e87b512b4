"""What a script waits for, side by side: ``python -m cagekit.benchmarks.scripts``.

The import of the package beyond numpy's, a build read and put together again by a process that has
all imported, and a part's solid in ratio to the same made by hand with CadQuery's sweep and cut.
CPU seconds, everything in turn and the least of each: what else the machine does only adds.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from msgspec import Struct

from cagekit.benchmarks.ways import by_hand
from cagekit.face.design import load
from cagekit.face.kinds import make
from cagekit.face.tube_part import TubePart
from cagekit.units.tolerance import NEGLIGIBLE

IMPORTS: Mapping[str, str] = {
    "cagekit": "import cagekit",
    "cagekit.strut": "import cagekit; cagekit.strut",
    "cagekit.load": "import cagekit; cagekit.load",
}
"""Statements that are timed after numpy was imported."""
KINDS = ("strut", "main_hoop", "halo", "a_pillar_bar", "half_hoop")


class TimedPart(Struct, frozen=True, kw_only=True):
    """CPU seconds of one part's solid by this package and by hand, and both volumes, mm3.

    ``integral`` is the volume that path and cuts give without any solid.
    """

    kind: str
    ours: float
    hand: float
    volume: float
    hand_volume: float
    integral: float


def least(call: Callable[[], Any], rounds: int) -> float:
    """Least CPU seconds of a call.

    Args:
        call: what is timed.
        rounds: how often.
    """
    times = []
    for _ in range(rounds):
        start = time.process_time()
        call()
        times.append(time.process_time() - start)
    return min(times)


def timed_part(kind: str, rounds: int) -> TimedPart:
    """Time a part from its arguments to its solid, and the same by sweep and cut.

    Args:
        kind: name of a kind of tube.
        rounds: how often each is made.
    """
    part = make(kind, {})
    assert isinstance(part, TubePart)
    ours = least(lambda: make(kind, {}).solid(), rounds)
    hand = least(lambda: by_hand(part.cage, part.member, {}), rounds)
    return TimedPart(
        kind=kind,
        ours=ours,
        hand=hand,
        volume=part.solid().Volume(NEGLIGIBLE),
        hand_volume=by_hand(part.cage, part.member, {}).val().Volume(NEGLIGIBLE),
        integral=part.volume,
    )


def import_seconds(statement: str, rounds: int) -> float:
    """Least CPU seconds of a statement in a new process that has imported numpy.

    Args:
        statement: of Python.
        rounds: how often.
    """
    clock = "time.process_time()"
    code = f"import numpy, time; t = {clock}; {statement}; print({clock} - t)"
    command = [sys.executable, "-c", code]
    env = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    return min(
        float(subprocess.run(command, capture_output=True, text=True, check=True, env=env).stdout)
        for _ in range(rounds)
    )


def imports_table(spent: Mapping[str, float]) -> str:
    """CPU of each statement, ms."""
    rows = [f"  {name:<16}{1000 * s:>8.1f} ms" for name, s in spent.items()]
    return "\n".join(["import beyond numpy:", *rows])


def parts_table(rows: Sequence[TimedPart]) -> str:
    """Times, their ratio, and how far both volumes are from the integral."""
    head = f"{'part':<14}{'ours s':>9}{'by hand s':>11}{'ratio':>8}{'volume':>12}{'by hand':>12}"
    lines = [head, "-" * len(head)]
    lines += [
        f"{r.kind:<14}{r.ours:>9.3f}{r.hand:>11.3f}{r.hand / r.ours:>8.1f}"
        f"{r.volume / r.integral - 1:>12.1e}{r.hand_volume / r.integral - 1:>12.1e}"
        for r in rows
    ]
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        prog="python -m cagekit.benchmarks.scripts", description=__doc__
    )
    parser.add_argument("--builds", default="gravel-hatch", help="builds to load")
    parser.add_argument("--kinds", default=",".join(KINDS), help="parts to make")
    parser.add_argument("--rounds", type=int, default=5, help="how often each is run")
    given = parser.parse_args(arguments)
    spent = {name: import_seconds(code, given.rounds + 1) for name, code in IMPORTS.items()}
    print(imports_table(spent))
    for name in filter(None, given.builds.split(",")):
        first = least(lambda n=name: load(n).cage, 1)  # type: ignore[misc]
        warm = least(lambda n=name: load(n).cage, given.rounds)  # type: ignore[misc]
        print(f"load {name}: first {first:.3f} s, warm {warm:.3f} s")
    print(parts_table([timed_part(k, given.rounds) for k in filter(None, given.kinds.split(","))]))


if __name__ == "__main__":
    main()

"""Run the ways side by side and print their ratios."""

from __future__ import annotations

import argparse
import os
import pickle
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from msgspec import Struct

from cagekit.assembly.assemble import members_only
from cagekit.benchmarks.frames import frame
from cagekit.cage.cage import Cage
from cagekit.inputs.resolve import load_build
from cagekit.materials.tubes import Tube

WAYS = ("cagekit", "checked", "plain", "floor")
SECONDS = 240.0
"""A way that takes longer is given up."""


class Spent(Struct, frozen=True):
    """Seconds on the clock and of all processors together."""

    wall: float
    cpu: float


class TimedCage(Struct, frozen=True, kw_only=True):
    """Least seconds per way for one cage; None for a way that failed.

    ``wrong`` tells how many of the plain way's solids are unsound or off by more than 1e-5 of
    their volume, or why it failed.
    """

    name: str
    tubes: int
    cagekit: Spent | None
    checked: Spent | None
    plain: Spent | None
    floor: Spent | None
    wrong: str


def run(way: str, cage: Path, out: Path) -> tuple[Spent | None, str]:
    """Go one way in a fresh process: what it took, and what it said on standard error.

    Args:
        way: which way, see ``WAYS``.
        cage: file with the cage.
        out: folder to write to.
    """
    command = [sys.executable, "-m", "cagekit.benchmarks.ways", way, str(cage), str(out)]
    env = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    start, before = time.perf_counter(), os.times()
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=SECONDS, env=env)
    except subprocess.TimeoutExpired:
        return None, "too slow"
    if done.returncode != 0:
        last = done.stderr.strip().splitlines()[-1:] or ["killed"]
        return None, "out of memory" if "emory" in last[0] else last[0][:60]
    after = os.times()
    cpu = after.children_user + after.children_system
    cpu -= before.children_user + before.children_system
    return Spent(time.perf_counter() - start, cpu), done.stderr.strip()


def row(name: str, cage: Cage, rounds: int, *, plain: bool) -> TimedCage:
    """Time all ways in turn, ``rounds`` times, so that a busy moment hits each alike.

    Args:
        name: its name.
        cage: what is made.
        rounds: how often.
        plain: whether the plain script is run too.
    """
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder)
        file = out / "cage"
        file.write_bytes(pickle.dumps((cage.name, tuple(cage.members.values()), cage.plates)))
        run("finish", file, out)
        ways = [w for w in WAYS if plain or w != "plain"]
        times: dict[str, list[Spent]] = {w: [] for w in WAYS}
        wrong = "-"
        for _ in range(rounds):
            for way in list(ways):
                spent, said = run(way, file, out)
                if spent is None:
                    wrong = said if way == "plain" else wrong
                    ways.remove(way)
                    continue
                times[way].append(spent)
                if way == "plain" and wrong == "-":
                    wrong = run("volumes", file, out)[1]
    least = {w: _least(t) for w, t in times.items()}
    return TimedCage(
        name=name, tubes=len(cage.members), cagekit=least["cagekit"], checked=least["checked"],
        plain=least["plain"], floor=least["floor"], wrong=wrong,
    )  # fmt: skip


def _least(times: Sequence[Spent]) -> Spent | None:
    """The least of each: whatever else the machine does only adds."""
    if not times:
        return None
    return Spent(min(t.wall for t in times), min(t.cpu for t in times))


def _seconds(value: Spent | None) -> str:
    return "-" if value is None else f"{value.wall:.2f}"


def _ratio(top: Spent | None, bottom: Spent | None) -> str:
    if top is None or bottom is None:
        return "-"
    return f"{top.wall / bottom.wall:.2f} ({top.cpu / bottom.cpu:.2f})"


def table(rows: Sequence[TimedCage]) -> str:
    """Rows as text: seconds by the clock; ratios by the clock and, in brackets, of CPU time."""
    head = (
        f"{'cage':<14}{'tubes':>6}{'cagekit s':>11}{'checked s':>11}{'plain s':>9}{'floor s':>9}"
        f"{'plain/cagekit':>16}{'plain/checked':>16}{'checked/floor':>16}  wrong of plain"
    )
    lines = [head, "-" * len(head)]
    for r in rows:
        lines.append(
            f"{r.name:<14}{r.tubes:>6}{_seconds(r.cagekit):>11}{_seconds(r.checked):>11}"
            f"{_seconds(r.plain):>9}{_seconds(r.floor):>9}{_ratio(r.plain, r.cagekit):>16}"
            f"{_ratio(r.plain, r.checked):>16}{_ratio(r.checked, r.floor):>16}  {r.wrong}"
        )
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m cagekit.benchmarks", description=__doc__)
    parser.add_argument("--builds", default="sprint-wagon,gravel-hatch", help="builds to time")
    parser.add_argument("--sizes", default="10,30,60,120", help="tubes of the growing frame")
    parser.add_argument("--rounds", type=int, default=3, help="how often each way is run")
    parser.add_argument("--no-plain", action="store_true", help="leave the plain script out")
    given = parser.parse_args(arguments)
    plain = not given.no_plain
    rows = []
    for name in filter(None, given.builds.split(",")):
        rows.append(row(name, members_only(load_build(name)), given.rounds, plain=plain))
        print(f"{name} done", file=sys.stderr)
    tube = Tube(od=41.28, wall=3.4, material="frame")
    for size in (int(s) for s in filter(None, given.sizes.split(","))):
        rows.append(row(f"frame of {size}", frame(size, tube), given.rounds, plain=plain))
        print(f"frame of {size} done", file=sys.stderr)
    print(table(rows))


if __name__ == "__main__":
    main()

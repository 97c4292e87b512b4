"""Run the ways side by side and print their ratios."""

from __future__ import annotations

import argparse
import os
import pickle
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath

from cagekit.benchmarks.frames import frame
from cagekit.build.resolve import load_build
from cagekit.cage.assemble import members_only
from cagekit.cage.cage import Cage
from cagekit.materials.tubes import Tube

SECONDS = 240.0
"""A way that takes longer is given up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """Median seconds per way for one cage; None for a way that failed."""

    name: str
    tubes: int
    cagekit: float | None
    plain: float | None
    floor: float | None
    wrong: str


def run(way: str, cage: FilePath, out: FilePath) -> tuple[float | None, str]:
    """Wall-clock seconds of one way in a fresh process, and what it said on standard error."""
    command = [sys.executable, "-m", "cagekit.benchmarks.ways", way, str(cage), str(out)]
    env = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    start = time.perf_counter()
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=SECONDS, env=env)
    except subprocess.TimeoutExpired:
        return None, "too slow"
    if done.returncode != 0:
        last = done.stderr.strip().splitlines()[-1:] or ["killed"]
        return None, "out of memory" if "emory" in last[0] else last[0][:60]
    return time.perf_counter() - start, done.stderr.strip()


def row(name: str, cage: Cage, rounds: int, *, plain: bool) -> Row:
    """Time all ways in turn, ``rounds`` times, so that a busy moment hits each alike."""
    with tempfile.TemporaryDirectory() as folder:
        out = FilePath(folder)
        file = out / "cage"
        file.write_bytes(pickle.dumps((cage.name, tuple(cage.members.values()))))
        run("finish", file, out)
        ways = ["cagekit", "plain", "floor"] if plain else ["cagekit", "floor"]
        times: dict[str, list[float]] = {w: [] for w in ("cagekit", "plain", "floor")}
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
    middle = {w: statistics.median(t) if t else None for w, t in times.items()}
    return Row(
        name=name, tubes=len(cage.members), cagekit=middle["cagekit"], plain=middle["plain"],
        floor=middle["floor"], wrong=wrong,
    )  # fmt: skip


def _seconds(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"


def _ratio(top: float | None, bottom: float | None) -> str:
    return "-" if top is None or bottom is None else f"{top / bottom:.2f}"


def table(rows: Sequence[Row]) -> str:
    """Rows as text: seconds, then ratios."""
    head = (
        f"{'cage':<18}{'tubes':>6}{'cagekit s':>11}{'plain s':>9}{'floor s':>9}"
        f"{'plain/cagekit':>15}{'cagekit/floor':>15}  wrong solids of plain"
    )
    lines = [head, "-" * len(head)]
    for r in rows:
        lines.append(
            f"{r.name:<18}{r.tubes:>6}{_seconds(r.cagekit):>11}{_seconds(r.plain):>9}"
            f"{_seconds(r.floor):>9}{_ratio(r.plain, r.cagekit):>15}"
            f"{_ratio(r.cagekit, r.floor):>15}  {r.wrong}"
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

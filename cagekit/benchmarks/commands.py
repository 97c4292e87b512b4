"""How much CPU the commands take, side by side: ``python -m cagekit.benchmarks.commands``.

A machine that is shared makes seconds worthless, so `check` of every build is told as a multiple
of two things timed in turn with it: a process that imports numpy, and a fixed loop of plain
Python. Then the products of `make`, each with the CPU it took in one run.

All processes share a folder of compiled modules that is filled by a first run, which is not
counted: otherwise a checkout whose modules were never compiled measures Python's compiler.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

NUMPY = (sys.executable, "-c", "import numpy")
LOOP = (sys.executable, "-c", "x = 0\nfor i in range(5_000_000): x += i * i")


def cpu(command: Sequence[str], env: Mapping[str, str]) -> float:
    """CPU seconds of one process and all that it started."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, capture_output=True, env=env, check=False)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def in_turn(
    commands: Mapping[str, Sequence[str]], rounds: int, env: Mapping[str, str]
) -> dict[str, float]:
    """Median CPU seconds of each command, all run in turn ``rounds`` times after a first run.

    Args:
        commands: argument lists by name.
        rounds: how often each is timed.
        env: environment of the processes.
    """
    times: dict[str, list[float]] = {name: [] for name in commands}
    for n in range(rounds + 1):
        for name, command in commands.items():
            spent = cpu(command, env)
            if n:
                times[name].append(spent)
    return {name: statistics.median(t) for name, t in times.items()}


def products(build: str) -> dict[str, float]:
    """CPU seconds of this process for each product of a build, imports included."""
    from cagekit.assembly.assemble import assemble
    from cagekit.design import Design
    from cagekit.inputs.resolve import load_build
    from cagekit.make.products import PRODUCTS

    start = time.process_time()
    loaded = load_build(build)
    design = Design(build=loaded, cage=assemble(loaded), units=loaded.units)
    out = {"cage": time.process_time() - start}
    with tempfile.TemporaryDirectory() as folder:
        for product in PRODUCTS:
            start = time.process_time()
            check = product.load()(design, Path(folder))
            out[product.name] = time.process_time() - start
            if check is not None:
                # reading back goes on in a process of its own, whose time is not this one's
                try:
                    check.result()
                finally:
                    check.close()
    return out


def checks_table(spent: Mapping[str, float]) -> str:
    """CPU of each check beyond the interpreter's start, and over numpy's import and the loop."""
    head = f"{'check':<18}{'CPU s':>8}{'beyond start s':>16}{'/ numpy':>10}{'/ loop':>9}"
    lines = [head, "-" * len(head)]
    for name, s in spent.items():
        if name in ("start", "numpy", "loop"):
            continue
        lines.append(
            f"{name:<18}{s:>8.2f}{s - spent['start']:>16.2f}"
            f"{s / spent['numpy']:>10.1f}{s / spent['loop']:>9.2f}"
        )
    lines.append(
        f"start {spent['start']:.3f} s, numpy {spent['numpy']:.3f} s, loop {spent['loop']:.3f} s"
    )
    return "\n".join(lines)


def products_table(build: str, spent: Mapping[str, float]) -> str:
    """CPU of each product and its share of all, the longest first."""
    total = sum(spent.values())
    lines = [f"make {build}: {total:.2f} s CPU"]
    for name, s in sorted(spent.items(), key=lambda row: -row[1]):
        lines.append(f"  {name:<12}{s:>7.2f}{s / total:>7.0%}")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        prog="python -m cagekit.benchmarks.commands", description=__doc__
    )
    parser.add_argument(
        "--builds", default="gravel-hatch,sprint-wagon,hillclimb-coupe,track-roadster"
    )
    parser.add_argument("--make", default="gravel-hatch", help="builds whose products are timed")
    parser.add_argument("--rounds", type=int, default=5, help="how often each check is run")
    parser.add_argument("--products", metavar="BUILD", help=argparse.SUPPRESS)
    given = parser.parse_args(arguments)
    if given.products:
        print(json.dumps(products(given.products)))
        return
    with tempfile.TemporaryDirectory() as compiled:
        env = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
        env.pop("PYTHONDONTWRITEBYTECODE", None)
        env["PYTHONPYCACHEPREFIX"] = compiled
        commands: dict[str, Sequence[str]] = {
            "start": (sys.executable, "-c", "pass"),
            "numpy": NUMPY,
            "loop": LOOP,
        }
        for name in filter(None, given.builds.split(",")):
            commands[name] = (sys.executable, "-m", "cagekit", "check", name)
        print(checks_table(in_turn(commands, given.rounds, env)))
        for name in filter(None, given.make.split(",")):
            command = [sys.executable, "-m", "cagekit.benchmarks.commands", "--products", name]
            done = subprocess.run(command, capture_output=True, text=True, env=env, check=True)
            print("\n" + products_table(name, json.loads(done.stdout)))


if __name__ == "__main__":
    main()

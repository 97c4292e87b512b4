"""How quick many versions of one cage are: ``python -m cagekit.benchmarks.variants``.

A seeded draw moves dimensions as measuring errors would, and every version gets its tubes and its
copes: all side by side, and one by one from nothing. Side by side a plain cope is looked at all
round only when it is asked for; what it takes to ask for all of them is told too. What is told are
ratios of CPU in one run, and both over a process that imports numpy, as seconds on a shared machine
mean little.
"""

from __future__ import annotations

import argparse
import gc
import os
import random
import time
from collections.abc import Callable, Sequence
from functools import partial
from typing import TypeVar

from cagekit.assembly.assemble import members_only, variants
from cagekit.benchmarks.commands import NUMPY, cpu
from cagekit.cage.cage import Cage
from cagekit.errors import CagekitError
from cagekit.inputs.build import Build
from cagekit.inputs.resolve import load_build, with_changes

T = TypeVar("T")

MOVES = "dash_bar.set_back,harness_bar.height,door_bar.height_rear,main_hoop.gap"
"""Dimensions that are moved, one after the other."""
ERROR = 3.0
"""Spread of the draw, mm: what a tape measures a shell to (common practice)."""


def drawn(build: Build, member: str, field: str, count: int, seed: int) -> list[Build]:
    """Versions of a build with one dimension moved by normal errors.

    Args:
        build: what they are versions of.
        member: id or kind of a member.
        field: a length of it, in mm.
        count: how many.
        seed: of the draw.
    """
    entry = next((e for e in build.entries if member in e.names), None)
    value, dice = getattr(entry, field, None), random.Random(seed)
    if not isinstance(value, float):
        raise SystemExit(f"{build.name} does not say {member}.{field}: give others by --move.")
    moved = (value + dice.gauss(0.0, ERROR) for _ in range(count))
    return [with_changes(build, member, {field: f"{v:.4f} mm"}) for v in moved]


def spent(work: Callable[[], T]) -> tuple[float, T]:
    """CPU seconds of this process, and what came of them."""
    start = time.process_time()
    done = work()
    return time.process_time() - start, done


def shared(builds: Sequence[Build]) -> tuple[float, float, float]:
    """CPU of this process and of its copy, and the clock, when they make versions; seconds."""
    start, before = time.perf_counter(), os.times()
    variants(builds, copied=True)
    after = os.times()
    here = after.user + after.system - before.user - before.system
    there = after.children_user + after.children_system
    there -= before.children_user + before.children_system
    return here, there, time.perf_counter() - start


def scanned(made: Sequence[Cage | CagekitError]) -> None:
    """Look at all copes of cages all round."""
    for cage in made:
        if isinstance(cage, Cage):
            for m in cage.members.values():
                for name, _ in m.ends:
                    _ = cage.cut(m.id, name).deepest


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        prog="python -m cagekit.benchmarks.variants", description=__doc__
    )
    parser.add_argument("--build", default="gravel-hatch")
    parser.add_argument("--move", default=MOVES)
    parser.add_argument("--count", type=int, default=100, help="versions of each")
    parser.add_argument("--alone", type=int, default=10, help="of these made one by one")
    given = parser.parse_args(arguments)
    gc.set_threshold(250_000, 20, 50)  # as the command line has it
    build = load_build(given.build)
    members_only(build)  # nothing is imported within what is timed
    numpy = min(cpu(NUMPY, {}) for _ in range(3))
    print(f"{given.build}: ms CPU of one version; numpy's import {1e3 * numpy:.0f} ms")
    for name in given.move.split(","):
        member, _, field = name.partition(".")
        builds = drawn(build, member, field, given.count, 1)
        together, made = spent(partial(variants, builds))
        whole = (together + spent(partial(scanned, made))[0]) / len(builds)
        together /= len(builds)
        few = builds[: given.alone]
        alone = sum(spent(partial(members_only, b))[0] for b in few) / len(few)
        print(
            f"  {name:<32} side by side {1e3 * together:6.1f} ({together / numpy:.2f} numpy), "
            f"every cope scanned {1e3 * whole:6.1f}, "
            f"alone {1e3 * alone:6.1f}: {alone / together:.1f} times"
        )
        del made
        here, there, clock = (1e3 * t / len(builds) for t in shared(builds))
        print(f"  {'':<32} by two {here:6.1f} here, {there:6.1f} in the copy, clock {clock:6.1f}")


if __name__ == "__main__":
    main()

"""How long strength takes, as ratios in one run: ``python -m cagekit.benchmarks.strength``.

Elastic work of all cases of a build against PyNite (dev extra) on the same frame; the collapse of
each case; what remains to be done when one wall changes; growth with the number of tubes; the
whole command over a process that imports numpy.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from msgspec.structs import replace

from cagekit.benchmarks.commands import NUMPY, in_turn
from cagekit.benchmarks.frames import frame as tunnel
from cagekit.design import Design
from cagekit.inputs.resolve import load_build
from cagekit.materials.tubes import Tube
from cagekit.structure.collapse import PlasticFrame
from cagekit.structure.frame import Frame
from cagekit.structure.model import Model, model_of
from cagekit.structure.solve import Loads, Solver
from cagekit.structure.strength import COARSE, StrengthResult, strengths

COUNTS = (75, 150, 300, 600)
"""Tubes of the frames whose growth is measured."""
STRIDE = 2100.0
"""Distance of the feet of those frames, mm."""
TUBE = Tube(od=41.28, wall=3.4, material="1020-dom")


def least(work: Callable[[], object], rounds: int) -> float:
    """Least CPU seconds of a piece of work: whatever else the machine does only adds."""
    spent = []
    for _ in range(rounds):
        start = time.process_time()
        work()
        spent.append(time.process_time() - start)
    return min(spent)


def elastic(frame: Frame, cases: Sequence[Loads]) -> None:
    """Assemble and factor a frame, and solve all cases."""
    solver = Solver(frame)
    for case in cases:
        solver.solve(case)


def pynite(data: Mapping[str, Any]) -> None:
    """The same in PyNite."""
    from cagekit.benchmarks.pynite_frame import pynite_model

    pynite_model(data).analyze_linear(check_stability=False)


def of_build(design: Design, rounds: int) -> dict[str, float]:
    """CPU seconds of the parts of a build's strength."""
    from cagekit.writers.strength import frame_data

    result = design.strength
    assert result.model is not None
    frame = result.model.frame
    cases = [r.loads for r in result.results.values()]
    data = frame_data(result)
    out = {"elastic": np.inf, "pynite": np.inf, "wall": np.inf}
    for _ in range(rounds):  # in turn, so that a busy moment hits each alike
        out["elastic"] = min(out["elastic"], least(lambda: elastic(frame, cases), 1))
        out["pynite"] = min(out["pynite"], least(lambda: pynite(data), 1))
        out["wall"] = min(out["wall"], least(lambda: _wall(result, cases), 1))
    out["collapse"] = max(_collapses(design, result, rounds))
    return out


def _wall(result: StrengthResult, cases: Sequence[Loads]) -> None:
    """One tube with a heavier wall: everything elastic anew."""
    assert result.model is not None
    f, own = result.model.frame, list(result.model.beams_of("main_hoop"))
    more = {n: getattr(f, n).copy() for n in ("area", "inertia", "torsion", "shear_area")}
    for values in more.values():
        values[own] *= 1.2
    elastic(replace(f, **more), cases)


def _collapses(design: Design, result: StrengthResult, rounds: int) -> list[float]:
    """Of each case, the frame made ready once for all."""
    from cagekit.structure.cases import loads_on

    assert result.coarse is not None
    coarse = result.coarse
    folding = PlasticFrame(coarse.frame, strengths(coarse, design.cage))
    return [
        least(lambda r=r: folding.collapse(loads_on(coarse, r.case, design.cage)), rounds)  # type: ignore[misc]
        for r in result.results.values()
    ]


def grown(count: int, rounds: int) -> tuple[int, float, float]:
    """Of a frame of ``count`` tubes: beams, CPU seconds of its elastic work and of a collapse.

    Elastic: model, five cases and buckling. Collapse: its finer model and a push on every arch.
    """
    cage = tunnel(count, TUBE)
    _ = cage.joints
    arches = [i for i in cage.members if i.startswith("arch_")]
    beams = 0

    def straight() -> None:
        nonlocal beams
        model, frame = _held(model_of(cage))
        beams = len(frame.ends)
        solver = Solver(frame)
        for n in range(5):
            loads = Loads.none(frame)
            loads.at_nodes[model.node_at(arches[n % len(arches)], 1000.0), 2] = -1000.0
            response = solver.solve(loads)
        solver.critical(response)

    def folded() -> None:
        model, frame = _held(model_of(cage, chord=COARSE, longest=np.inf))
        loads = Loads.none(frame)
        for name in arches:
            loads.at_nodes[model.node_at(name, 1000.0), :3] = (-200.0, 300.0, -1000.0)
        found = PlasticFrame(frame, strengths(model, cage)).collapse(loads)
        assert found is not None

    elastic_time = least(straight, rounds)
    return beams, elastic_time, least(folded, rounds)


def _held(model: Model) -> tuple[Model, Frame]:
    """With both rails held at their ends and every ``STRIDE`` mm, as a long cage stands on feet."""
    fixed = model.frame.fixed.copy()
    for side in ("left", "right"):
        last = model.nodes_of[f"rail_{side}"][-1][0]
        for station in np.linspace(0.0, last, 1 + round(last / STRIDE)):
            fixed[model.node_at(f"rail_{side}", float(station))] = True
    return model, replace(model.frame, fixed=fixed)


def table(
    build: str,
    parts: Mapping[str, float],
    whole: Mapping[str, float],
    growth: Sequence[tuple[int, int, float, float]],
) -> str:
    """What was measured as text, with what it is to be."""  # fmt: skip
    lines = [
        f"{build}, CPU",
        f"  elastic, all cases    {parts['elastic'] * 1e3:8.1f} ms   PyNite / ours "
        f"{parts['pynite'] / parts['elastic']:.0f} (at least 20)",
        f"  one wall changed      {parts['wall'] * 1e3:8.1f} ms   (under 10)",
        f"  collapse, worst case  {parts['collapse'] * 1e3:8.1f} ms   (under 200)",
        f"  whole command         {whole['strength']:8.2f} s    over numpy's import "
        f"{whole['strength'] / whole['numpy']:.1f} (under 1.5 s on a quiet machine)",
        "tubes  beams  elastic s  exponent   collapse s  exponent   (at most 1.5)",
    ]
    before: tuple[int, int, float, float] | None = None
    for row in growth:
        powers = ["", ""]
        if before is not None:
            wider = np.log(row[0] / before[0])
            powers = [f"{np.log(row[k] / before[k]) / wider:.2f}" for k in (2, 3)]
        elastic_part = f"{row[0]:5d}  {row[1]:5d}  {row[2]:9.2f}  {powers[0]:>8}"
        lines.append(f"{elastic_part}   {row[3]:10.2f}  {powers[1]:>8}")
        before = row
    if len(growth) > 1:
        first, last = growth[0], growth[-1]
        wider = np.log(last[0] / first[0])
        whole_range = [float(np.log(last[k] / first[k]) / wider) for k in (2, 3)]
        lines.append(
            f"{first[0]} to {last[0]}: elastic n^{whole_range[0]:.2f}, collapse "
            f"n^{whole_range[1]:.2f} (a doubling alone also tells how many steps a search took)"
        )
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        prog="python -m cagekit.benchmarks.strength", description=__doc__
    )
    parser.add_argument("--build", default="gravel-hatch")
    parser.add_argument("--rounds", type=int, default=5)
    given = parser.parse_args(arguments)
    env = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    with tempfile.TemporaryDirectory() as compiled:
        env["PYTHONPYCACHEPREFIX"] = compiled
        command = (sys.executable, "-m", "cagekit", "strength", given.build)
        whole = in_turn({"numpy": NUMPY, "strength": command}, given.rounds, env)
    parts = of_build(Design(load_build(given.build)), given.rounds)
    growth = [(n, *grown(n, 2)) for n in COUNTS]
    print(table(given.build, parts, whole, growth))


if __name__ == "__main__":
    main()

"""Frames against printed worked examples, closed forms and an independent solver.

The rows with source and tolerance stand in tests/data/frame_examples.csv; examples keep the units
of their books (kip, in).
"""

from __future__ import annotations

import csv
from math import pi
from pathlib import Path

import frames
import numpy as np
import pytest

from cagekit.structure.frame import Frame
from cagekit.structure.solve import Loads, MechanismError, Solver

DATA = Path(__file__).parents[1] / "data"
ROWS = list(csv.DictReader((DATA / "frame_examples.csv").read_text("utf-8").splitlines()))


def rows(example: str) -> dict[str, tuple[float, float]]:
    """Expected value and tolerance by quantity."""
    return {
        f"{r['case']} {r['quantity']}".strip(): (float(r["expected"]), float(r["tolerance"]))
        for r in ROWS
        if r["id"] == example
    }


def require(example: str, got: dict[str, float]) -> None:
    expected = rows(example)
    assert set(expected) == set(got)
    for name, (value, tolerance) in expected.items():
        assert got[name] == pytest.approx(value, abs=tolerance), name


def test_space_frame_of_logan() -> None:
    f = frames.frame(
        [(0, 0, 0), (-100, 0, 0), (0, 0, -100), (0, -100, 0)], [(1, 0), (2, 0), (3, 0)],
        young=30000, shear=10000, area=10, inertia=100, torsion=50, fixed=(1, 2, 3),
    )  # fmt: skip
    moved = Solver(f).solve(frames.loads(f, at={0: [0, -50, 0, -1000, 0, 0]})).moved[0]
    names = ("uX", "uY", "uZ", "rX", "rY", "rZ")
    require("L58", {f"joint 1 {n}": v for n, v in zip(names, moved, strict=True)})


def test_plane_frame_of_weaver_and_gere() -> None:
    f = frames.frame(
        [(100, 75, 0), (0, 75, 0), (200, 0, 0), (150, 37.5, 0)], [(1, 0), (0, 3), (3, 2)],
        young=10000, area=10, inertia=1000, fixed=(1, 2), flat=True,
    )  # fmt: skip
    at = {0: [0, -10, 0, 0, 0, -1000], 3: [0, -20, 0, 0, 0, 0]}
    r = Solver(f).solve(frames.loads(f, at=at, on={0: [0, -0.24, 0]}))
    got = {"uX": r.moved[0, 0], "uY": r.moved[0, 1], "rZ": r.moved[0, 5]}
    for node, name in ((1, "R2"), (2, "R3")):
        got |= {f"{name} {q}": r.reactions[node, i] for q, i in (("FX", 0), ("FY", 1), ("MZ", 5))}
    require("WG243", got)


STEEL = {"young": 29000.0, "inertia": 484.0, "area": 1e6}


def test_beam_column_under_uniform_load() -> None:
    length, pieces = 28 * 12.0, 16
    f = frames.column(pieces, length, **STEEL)
    f.fixed[0, [0, 1]] = f.fixed[-1, 1] = True
    got = {}
    for p in (0, 150, 300, 450):
        on = {i: [0, -0.2 / 12, 0] for i in range(pieces)}
        r = Solver(f).second_order(frames.loads(f, at={pieces: [-p, 0, 0, 0, 0, 0]}, on=on))
        assert r is not None
        got |= {
            f"P={p} kip Mmid": abs(r.forces[pieces // 2, 5]),
            f"P={p} kip dmid": abs(r.moved[pieces // 2, 1]),
        }
    require("AISC-C1", got)


def test_cantilever_column_under_a_side_load() -> None:
    length, pieces = 28 * 12.0, 16
    f = frames.column(pieces, length, **STEEL)
    f.fixed[0] = True
    got = {}
    for p in (0, 100, 150, 200):
        r = Solver(f).second_order(frames.loads(f, at={pieces: [-p, 1.0, 0, 0, 0, 0]}))
        assert r is not None
        got |= {
            f"P={p} kip Mbase": abs(r.forces[0, 5]),
            f"P={p} kip dtip": abs(r.moved[pieces, 1]),
        }
    require("AISC-C2", got)


@pytest.mark.parametrize(
    ("held_a", "held_b", "times"),
    [((0, 1), (1,), 1.0), (range(6), (), 0.25), (range(6), (1, 5), 4.0), (range(6), (1,), 2.0457)],
    ids=["pinned", "cantilever", "fixed", "propped"],
)
def test_euler_columns(held_a: tuple[int, ...], held_b: tuple[int, ...], times: float) -> None:
    """Euler's factors; the propped column's from tan x = x."""
    length, pieces = 1000.0, 8
    f = frames.column(pieces, length, young=2e5, inertia=7e4, area=400)
    f.fixed[0, list(held_a)] = True
    f.fixed[-1, list(held_b)] = True
    one = frames.loads(f, at={pieces: [-1.0, 0, 0, 0, 0, 0]})
    s = Solver(f)
    assert s.critical(s.solve(one)) == pytest.approx(
        times * pi**2 * 2e5 * 7e4 / length**2, rel=2e-3
    )


def test_nothing_settles_beyond_the_critical_load() -> None:
    f = frames.column(8, 1000.0, young=2e5, inertia=7e4, area=400)
    f.fixed[0] = True
    euler = pi**2 * 2e5 * 7e4 / 4 / 1000.0**2
    for share, settles in ((0.95, True), (1.05, False)):
        case = frames.loads(f, at={8: [-share * euler, 1.0, 0, 0, 0, 0]})
        assert (Solver(f).second_order(case) is not None) == settles


def test_a_short_beam_shears() -> None:
    f = frames.frame(
        [(0, 0, 0), (200, 0, 0)], [(0, 1)], young=2e5, shear=8e4, inertia=7e4,
        area=400, torsion=1.4e5, shear_area=210, fixed=(0,),
    )  # fmt: skip
    tip = Solver(f).solve(frames.loads(f, at={1: [0, 0, 1000.0, 0, 0, 0]})).moved[1, 2]
    assert tip == pytest.approx(1000 * 200**3 / 3 / 2e5 / 7e4 + 1000 * 200 / 8e4 / 210, rel=1e-12)


def random_frame(seed: int) -> tuple[Frame, np.random.Generator]:
    """A connected frame of tubes with a release, a spring and five more nodes than its tree."""
    rng = np.random.default_rng(seed)
    n = 8
    nodes = rng.uniform(-1000, 1000, (n, 3))
    ends = [(int(rng.integers(0, i)), i) for i in range(1, n)]
    ends += [tuple(rng.choice(n, 2, replace=False).tolist()) for _ in range(5)]
    f = frames.frame(
        nodes.tolist(), ends, young=2.1e5, shear=8.1e4, area=424, inertia=7.8e4,
        torsion=1.56e5, fixed=(0,), released={2: (10, 11)},
    )  # fmt: skip
    f.spring[n - 1, :3] = (500.0, 700.0, 900.0)
    return f, rng


def random_loads(f: Frame, rng: np.random.Generator) -> Loads:
    out = Loads.none(f)
    out.at_nodes[:] = rng.normal(0, 1e3, out.at_nodes.shape) * [1, 1, 1, 100, 100, 100]
    out.on_beams[:] = rng.normal(0, 1.0, out.on_beams.shape)
    return out


@pytest.mark.parametrize("seed", range(6))
def test_ground_carries_what_is_put_on(seed: int) -> None:
    f, rng = random_frame(seed)
    case = random_loads(f, rng)
    r = Solver(f).solve(case)
    beams = case.on_beams * f.lengths[:, None]
    middle = f.nodes[f.ends].mean(axis=1)
    force = case.at_nodes[:, :3].sum(0) + beams.sum(0) + r.reactions[:, :3].sum(0)
    turn = (
        (case.at_nodes + r.reactions)[:, 3:].sum(0)
        + np.cross(f.nodes, (case.at_nodes + r.reactions)[:, :3]).sum(0)
        + np.cross(middle, beams).sum(0)
    )
    assert np.abs(force).max() < 1e-6
    assert np.abs(turn).max() < 1e-3


@pytest.mark.parametrize("seed", range(6))
def test_work_of_one_case_on_another_is_mutual(seed: int) -> None:
    f, rng = random_frame(seed)
    one, two = random_loads(f, rng), random_loads(f, rng)
    s = Solver(f)
    first = s.right_side(one) @ s.solve(two).moved.ravel()
    assert first == pytest.approx(s.right_side(two) @ s.solve(one).moved.ravel(), rel=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_turned_and_mirrored_frames_do_the_same(seed: int) -> None:
    from msgspec.structs import replace

    f, rng = random_frame(seed)
    f.spring[:] = 0.0
    f = replace(f, released=np.zeros_like(f.released))
    case = random_loads(f, rng)
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    spin = turn * np.linalg.det(turn)  # moments are turned, not mirrored
    g = replace(f, nodes=f.nodes @ turn.T)
    at = np.hstack([case.at_nodes[:, :3] @ turn.T, case.at_nodes[:, 3:] @ spin.T])
    moved = Solver(f).solve(case).moved
    got = Solver(g).solve(Loads(at_nodes=at, on_beams=case.on_beams @ turn.T)).moved
    want = np.hstack([moved[:, :3] @ turn.T, moved[:, 3:] @ spin.T])
    assert np.abs(got - want).max() < 1e-9 * np.abs(want).max()


def test_inches_and_pounds_give_the_same() -> None:
    from msgspec.structs import replace

    f, rng = random_frame(1)
    case = random_loads(f, rng)
    inch, pound = 25.4, 4.4482216152605
    stress = pound / inch**2
    g = replace(
        f, nodes=f.nodes / inch, area=f.area / inch**2, inertia=f.inertia / inch**4,
        torsion=f.torsion / inch**4, young=f.young / stress, shear=f.shear / stress,
        spring=f.spring / (pound / inch),
    )  # fmt: skip
    at = case.at_nodes / pound / [1, 1, 1, inch, inch, inch]
    moved = Solver(g).solve(Loads(at_nodes=at, on_beams=case.on_beams / pound * inch)).moved
    assert moved[:, :3] * inch == pytest.approx(Solver(f).solve(case).moved[:, :3], rel=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_pynite_finds_the_same(seed: int) -> None:
    from other_solver import displacements

    f, rng = random_frame(seed)
    case = random_loads(f, rng)
    ours = Solver(f).solve(case).moved
    theirs = displacements(f, case)
    assert np.abs(ours - theirs).max() < 1e-8 * np.abs(ours).max()


def test_a_frame_that_moves_freely_is_refused_with_its_motion() -> None:
    f = frames.frame(
        [(0, 0, 0), (500, 0, 0), (500, 0, 400)], [(0, 1), (1, 2)], young=2e5, shear=8e4,
        area=400, inertia=7e4, torsion=1.4e5, fixed=(0,), released={1: (4,)},
    )  # fmt: skip
    with pytest.raises(MechanismError) as told:
        Solver(f).solve(frames.loads(f, at={2: [1, 1, 1, 0, 0, 0]}))
    motion = told.value.motion
    assert np.abs(motion[2, :3]).max() == pytest.approx(1.0)
    assert np.abs(motion[:2, :3]).max() < 1e-6

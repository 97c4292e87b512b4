"""Plastic collapse against textbook frames, an upper bound by mechanism and a linear programme.

Textbook factors stand in tests/data/strength_examples.csv. Tubes there are given a bending
strength alone: normal force, torsion and shear are made strong, as the books do.
"""

from __future__ import annotations

import csv
from pathlib import Path

import demos
import frames
import numpy as np
import pytest

from cagekit.structure.collapse import PlasticFrame, with_second_order
from cagekit.structure.frame import Frame
from cagekit.structure.interior import Found, _Search
from cagekit.structure.model import model_of
from cagekit.structure.sections import Capacity, gauge
from cagekit.structure.solve import Loads
from cagekit.structure.strength import COARSE, strengths

DATA = Path(__file__).parents[1] / "data"
ROWS = {
    r["id"]: float(r["expected"])
    for r in csv.DictReader((DATA / "strength_examples.csv").read_text("utf-8").splitlines())
}
MP = 1e6
BENDS = Capacity(normal=3e6, bending=MP, torsion=1e9, shear=3e6)
GAP = 0.001


def factor(f: Frame, case: Loads) -> float:
    found = PlasticFrame(f, [(BENDS, BENDS)] * len(f.ends)).collapse(case)
    assert found is not None
    assert found.factor <= found.bound <= (1 + GAP) * found.factor
    assert sum(h.share for h in found.hinges) == pytest.approx(1, abs=0.03)
    return found.factor


def portal(height: float, span: float, across: float, down: float) -> float:
    """Factor of a fixed portal in units of its own height and plastic moment."""
    h, w = 1000 * height, 1000 * span
    f = frames.frame(
        [(0, 0, 0), (0, h, 0), (w / 2, h, 0), (w, h, 0), (w, 0, 0)],
        [(0, 1), (1, 2), (2, 3), (3, 4)], fixed=(0, 4), flat=True,
    )  # fmt: skip
    case = frames.loads(f, at={1: [across, 0, 0, 0, 0, 0], 2: [0, -down, 0, 0, 0, 0]})
    return factor(f, case) * 1000 / MP


@pytest.mark.parametrize(
    ("name", "height", "span", "across", "down"),
    [("PORTAL1", 1, 2, 1, 1), ("PORTAL2", 1, 2, 0.2, 1), ("PORTAL3", 1, 2, 1, 0.3)],
)
def test_portals(name: str, height: float, span: float, across: float, down: float) -> None:
    """Just below the textbook's factor, which is the lowest of its mechanisms."""
    got = portal(height, span, across, down)
    mechanisms = {
        "beam": 4 / (down * span / 2),
        "sway": 4 / (across * height),
        "both": 6 / (across * height + down * span / 2),
    }
    assert min(mechanisms.values()) == pytest.approx(ROWS[name], abs=1e-9)
    assert (1 - GAP) * ROWS[name] <= got <= ROWS[name]


def beam(pieces: int, *, propped: bool) -> Frame:
    f = frames.column(pieces, 1000.0)
    f.fixed[0] = True
    f.fixed[-1, :3] = True
    f.fixed[-1, 5] = not propped
    return f


def test_fixed_beam_with_a_load_in_the_middle() -> None:
    f = beam(2, propped=False)
    got = factor(f, frames.loads(f, at={1: [0, -1.0, 0, 0, 0, 0]})) * 1000 / MP
    assert (1 - GAP) * ROWS["BEAMP"] <= got <= ROWS["BEAMP"]


@pytest.mark.parametrize(("name", "propped"), [("BEAMP2", True), ("BEAMP3", False)])
def test_beams_under_a_uniform_load(name: str, propped: bool) -> None:
    """Hinges may form where a section is looked at: every 25 mm of a metre."""
    f = beam(20, propped=propped)
    got = factor(f, frames.loads(f, on={i: [0, -1.0, 0] for i in range(20)})) * 1e6 / MP
    assert got == pytest.approx(ROWS[name], rel=GAP)


def test_normal_force_takes_from_bending_as_in_a_thin_ring() -> None:
    assert gauge([0, 1, 0.5], [1, 0, np.cos(np.pi / 4)]) == pytest.approx([1, 1, 1], abs=1e-9)
    tube = Capacity(normal=1e5, bending=MP, torsion=1e9, shear=3e6)
    f = frames.column(1, 100.0)
    f.fixed[0] = True
    case = frames.loads(f, at={1: [-0.5e5, 0, 0, 0, 0, np.cos(np.pi / 4) * MP]})
    found = PlasticFrame(f, [(tube, tube)]).collapse(case)
    assert found is not None
    assert found.factor == pytest.approx(1, rel=GAP)


def balanced(fold: PlasticFrame, case: Loads) -> tuple[np.ndarray, np.ndarray]:
    """Rows of equilibrium of the free freedoms, by all unknowns, and what they have to be."""
    f = fold.frame
    full = np.zeros((f.fixed.size, 6 * len(f.ends)))
    for i, block in enumerate(fold.blocks):
        full[fold.equations.freedoms[i], 6 * i : 6 * i + 6] += block
    free = fold.equations.free
    return full[free], case.at_nodes.ravel()[free] * fold.scale


@pytest.mark.parametrize("seed", range(3))
def test_a_linear_programme_finds_the_same(seed: int) -> None:
    """Random frames in space, bending alone held by a polygon of 32 sides from outside."""
    from scipy.optimize import linprog

    rng = np.random.default_rng(seed)
    nodes = rng.uniform(-800, 800, (7, 3))
    ends = [(0, 1), (1, 2), (2, 3), (3, 4), (4, 5), (5, 6), (0, 3), (1, 5), (2, 6)]
    f = frames.frame(nodes.tolist(), ends, fixed=(0, 6))
    case = Loads.none(f)
    case.at_nodes[1:6, :3] = rng.normal(0, 1, (5, 3))
    fold = PlasticFrame(f, [(BENDS, BENDS)] * len(ends))
    found = fold.collapse(case)
    assert found is not None
    balance, wanted = balanced(fold, case)
    turns = 2 * np.pi * np.arange(32) / 32
    rows = np.zeros((len(ends) * 2 * 32, 6 * len(ends) + 1))
    for i in range(len(ends)):
        for end in (0, 2):
            at = (2 * i + end // 2) * 32
            rows[at : at + 32, 6 * i + 2 + end] = np.cos(turns)
            rows[at : at + 32, 6 * i + 3 + end] = np.sin(turns)
    done = linprog(
        [0.0] * (6 * len(ends)) + [-1e-3], A_ub=rows, b_ub=np.ones(len(rows)),
        A_eq=np.column_stack([balance, -wanted]), b_eq=np.zeros(len(wanted)),
        bounds=[(None, None)] * (6 * len(ends)) + [(0, None)],
    )  # fmt: skip
    assert done.status == 0
    # the polygon lies outside by at most 1 / cos(pi / 32)
    assert found.factor <= done.x[-1] <= 1.0049 * found.bound


def cone_factor(fold: PlasticFrame, case: Loads) -> float:
    """The factor by a cone programme of another package: moments by their norm, |N| by its end.

    Torsion, shear and the curve of normal force and bending are left out.
    """
    clarabel = pytest.importorskip("clarabel")
    from scipy.sparse import csc_matrix

    m = len(fold.strength)
    balance, wanted = balanced(fold, case)
    rows, right, cones = [np.column_stack([balance, -wanted])], [np.zeros(len(wanted))], []
    cones.append(clarabel.ZeroConeT(len(wanted)))
    held = np.flatnonzero(fold.released.ravel())
    for at in held:
        rows.append(np.eye(6 * m + 1)[[at]])
        right.append(np.zeros(1))
        cones.append(clarabel.ZeroConeT(1))
    for i, ends in enumerate(fold.strength):
        if ends is None:
            continue
        for end, c in enumerate(ends):
            block = np.zeros((5, 6 * m + 1))
            block[0, 6 * i], block[1, 6 * i] = 1.0, -1.0
            for axis in (0, 1):
                block[3 + axis, 6 * i + 2 + 2 * end + axis] = -1.0
            rows.append(block)
            unit = fold.unit[i]
            right.append(np.array([c.normal / unit[0]] * 2 + [c.bending / unit[2], 0, 0]))
            cones += [clarabel.NonnegativeConeT(2), clarabel.SecondOrderConeT(3)]
    scale = 1.0 / np.abs(case.at_nodes).max() * fold.unit[:, 2].max() / 1000.0
    matrix = np.concatenate(rows)
    matrix[:, -1] *= scale
    goal = np.zeros(6 * m + 1)
    goal[-1] = -1.0
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    solver = clarabel.DefaultSolver(
        csc_matrix((len(goal), len(goal))), goal, csc_matrix(matrix), np.concatenate(right),
        cones, settings,
    )  # fmt: skip
    done = solver.solve()
    assert str(done.status) == "Solved"
    return float(done.x[-1]) * scale


@pytest.mark.parametrize("seed", range(4))
def test_a_cone_programme_finds_the_same(seed: int) -> None:
    """Random frames in space whose tubes fail in bending alone: the exact norm on both sides."""
    rng = np.random.default_rng(seed)
    nodes = rng.uniform(-800, 800, (8, 3))
    ends = [(0, 1), (1, 2), (2, 3), (3, 4), (4, 5), (5, 6), (6, 7), (0, 3), (1, 5), (2, 6), (4, 7)]
    f = frames.frame(nodes.tolist(), ends, fixed=(0, 7), released={4: (5,)})
    case = Loads.none(f)
    case.at_nodes[1:7, :3] = rng.normal(0, 1, (6, 3))
    fold = PlasticFrame(f, [(BENDS, BENDS)] * len(ends))
    found = fold.collapse(case)
    assert found is not None
    exact = cone_factor(fold, case)
    assert found.factor * (1 - 1e-6) <= exact <= found.bound * (1 + 1e-6)
    assert found.gap < GAP


@pytest.mark.parametrize("name", ["track-roadster", "hillclimb-coupe"])
def test_no_cage_is_told_stronger_than_by_its_bending_alone(name: str) -> None:
    """The cone programme leaves out what takes strength away, so that it lies above."""
    design = demos.design(name)
    coarse = model_of(design.cage, chord=COARSE, longest=np.inf)
    fold = PlasticFrame(coarse.frame, strengths(coarse, design.cage))
    case = Loads.none(coarse.frame)
    top = coarse.node_at("main_hoop", design.cage.member("main_hoop").path.length / 2)
    case.at_nodes[top, :3] = (2000.0, 6000.0, -20000.0)
    found = fold.collapse(case)
    assert found is not None
    above = cone_factor(fold, case)
    assert 0.5 * above < found.factor <= above


def test_a_stronger_beam_helps_as_much_as_is_told() -> None:
    """The multipliers against the factor worked out anew with all beams stronger by a fifth."""
    f = frames.frame(
        [(0, 0, 0), (0, 1000, 0), (1000, 1000, 0), (2000, 1000, 0), (2000, 0, 0)],
        [(0, 1), (1, 2), (2, 3), (3, 4)], fixed=(0, 4), flat=True,
    )  # fmt: skip
    case = frames.loads(f, at={1: [1, 0, 0, 0, 0, 0], 2: [0, -1, 0, 0, 0, 0]})
    strength = [(BENDS, BENDS)] * 4
    base = PlasticFrame(f, strength).collapse(case)
    assert base is not None
    more = Capacity(normal=3.6e6, bending=1.2 * MP, torsion=1.2e9, shear=3.6e6)
    stronger = PlasticFrame(f, [(more, more)] * 4).collapse(case)
    assert stronger is not None
    assert base.by_beam.sum() == pytest.approx(base.factor, rel=0.01)
    assert stronger.factor == pytest.approx(1.2 * base.factor, rel=0.01)


@pytest.mark.parametrize("seed", range(20))
def test_the_end_is_found_of_any_frame_and_its_forces_balance(seed: int) -> None:
    """The search never gives up, and what it ends with is in balance, whatever it went through."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(5, 14))
    ends = [(i, i + 1) for i in range(count - 1)]
    ends += [(i, j) for i in range(count) for j in range(i + 2, count) if rng.random() < 0.25]
    f = frames.frame(
        rng.uniform(-800, 800, (count, 3)).tolist(), ends, fixed=(0, count - 1),
        released={len(ends) - 1: (int(rng.integers(3, 6)),)},
    )  # fmt: skip
    case = frames.loads(f, on={i: rng.normal(0, 1, 3).tolist() for i in range(len(ends))})
    case.at_nodes[1:-1] = rng.normal(0, [10, 10, 1000] * 2, (count - 2, 6))
    bears = [
        Capacity(normal=1e5 * k, bending=MP * k, torsion=1.2 * MP * k, shear=4e4 * k)
        for k in rng.uniform(0.3, 3, len(ends))
    ]
    fold = PlasticFrame(f, [(c, c) for c in bears])
    found = fold.collapse(case)
    assert found is not None
    assert found.factor <= found.bound <= (1 + GAP) * found.factor
    assert sum(h.share for h in found.hinges) == pytest.approx(1, abs=0.15)
    rows, wanted = balanced(fold, case)
    half = case.on_beams * f.lengths[:, None] / 2
    for end in (0, 1):
        at_nodes = np.zeros_like(case.at_nodes)
        np.add.at(at_nodes[:, :3], f.ends[:, end], half)
        wanted = wanted + at_nodes.ravel()[fold.equations.free] * fold.scale
    sums = rows @ (found.forces / fold.unit).ravel()
    assert np.abs(sums - found.factor * wanted).max() < 1e-8 * np.abs(found.factor * wanted).max()


@pytest.mark.parametrize("seed", range(3))
def test_no_step_of_the_search_is_bounded_too_low(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Wherever it stands, from its first step on, the end lies below what it says is the most."""
    seen: list[Found] = []
    find = _Search._found

    def noted(search: _Search) -> Found:
        seen.append(find(search))
        return seen[-1]

    monkeypatch.setattr(_Search, "_found", noted)
    rng = np.random.default_rng(seed)
    ends = [(0, 1), (1, 2), (2, 3), (3, 4), (0, 2), (1, 4)]
    f = frames.frame(rng.uniform(-800, 800, (5, 3)).tolist(), ends, fixed=(0, 4))
    at = {i: rng.normal(0, [10, 10, 10, 100, 100, 100]).tolist() for i in (1, 2, 3)}
    end = factor(f, frames.loads(f, at=at))
    assert len(seen) > 5
    assert all(found.factor <= end * (1 + GAP) for found in seen)
    assert min(found.factor + found.above for found in seen) >= end


def test_second_order_takes_off() -> None:
    assert with_second_order(2.0, 18.0) == pytest.approx(1.8)

"""What a strict checker of the kernel says of every part's file and of the whole cage's.

It looks for the largest distance between an edge and its curve on each face (the exact method,
not at a few places), and for faces and edges of one solid that run into each other.
``pytest -s -m study tests/kernel/test_strict_readers.py`` prints the counts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from demos import DEMOS
from scipy.interpolate import CubicSpline

from cagekit.geometry.arrays import Array
from cagekit.solids.brep import CylinderSurface
from cagekit.solids.kernel import occ
from cagekit.solids.readable import least_nodes, places
from cagekit.solids.spline import Fit, interpolant
from cagekit.units.tolerance import READ_CURVE

pytestmark = pytest.mark.kernel

SMALL = "track-roadster"
LONG = [pytest.mark.slow, pytest.mark.study]
every_demo = pytest.mark.parametrize(
    "name", [pytest.param(n, marks=[] if n == SMALL else LONG) for n in DEMOS]
)


def parts(folder: Path) -> list[Path]:
    """The files of single parts."""
    return sorted(p for d in ("members", "plates", "parts") for p in (folder / d).glob("*.step"))


def load(path: Path) -> Any:
    """What the kernel makes of a file by itself."""
    reader = occ("STEPControl").STEPControl_Reader()
    reader.ReadFile(str(path))
    reader.TransferRoots()
    return reader.OneShape()


def pieces(shape: Any, kind: str) -> Iterator[Any]:
    """Faces or edges of a shape, as often as they are used."""
    walk = occ("TopExp").TopExp_Explorer(shape, getattr(occ("TopAbs"), f"TopAbs_{kind}"))
    cast = getattr(occ("TopoDS").TopoDS, f"{kind.capitalize()}_s")
    while walk.More():
        yield cast(walk.Current())
        walk.Next()


def faults(shape: Any) -> list[str]:
    """What runs into itself, is too small or leaves its surface, in the kernel's words."""
    look = occ("BOPAlgo").BOPAlgo_ArgumentAnalyzer()
    look.SetShape1(shape)
    look.ArgumentTypeMode = True
    look.SelfInterMode = True
    look.SmallEdgeMode = True
    look.ContinuityMode = True
    look.CurveOnSurfaceMode = True
    look.Perform()
    return [str(r.GetCheckStatus()) for r in look.GetCheckResult()] if look.HasFaulty() else []


@dataclass
class Uses:
    """Counts over edges on their faces."""

    every: int = 0
    beyond: int = 0
    worst: float = 0.0
    loosest: float = 0.0

    def add(self, shape: Any) -> None:
        tool = occ("BRep").BRep_Tool
        for face in pieces(shape, "FACE"):
            on = occ("GeomAdaptor").GeomAdaptor_Surface(tool.Surface_s(face))
            for edge in pieces(face, "EDGE"):
                curve = occ("BRepAdaptor").BRepAdaptor_Curve(edge)
                ends = curve.FirstParameter(), curve.LastParameter()
                flat = tool.CurveOnSurface_s(edge, face, 0.0, 0.0)
                if flat is None:  # a plane needs none
                    continue
                image = occ("Geom2dAdaptor").Geom2dAdaptor_Curve(flat, *ends)
                lifted = occ("Adaptor3d").Adaptor3d_CurveOnSurface(image, on)
                exact = occ("BRepLib").BRepLib_ValidateEdge(curve, lifted, True)
                exact.SetExactMethod(True)
                exact.Process()
                allowed = tool.Tolerance_s(edge)
                self.every += 1
                self.beyond += not exact.CheckTolerance(allowed)
                self.worst = max(self.worst, exact.GetMaxDistance())
                self.loosest = max(self.loosest, allowed)


@every_demo
def test_every_edge_lies_on_its_faces_within_its_tolerance(
    name: str, made: Callable[[str], Path]
) -> None:
    uses = Uses()
    files = parts(made(name))
    invalid = []
    for path in files:
        shape = load(path)
        analyzer = occ("BRepCheck").BRepCheck_Analyzer(shape, True, False, True)
        if not analyzer.IsValid():
            invalid.append(path.stem)
        uses.add(shape)
    print(f"{name}: {len(files)} parts, invalid: {invalid}, {uses}")  # noqa: T201
    assert invalid == []
    assert uses.every > 40 * len(files) / 2
    assert uses.beyond == 0
    assert uses.loosest <= 1.001e-7


@every_demo
def test_the_whole_cage_is_as_clean_as_its_parts(name: str, made: Callable[[str], Path]) -> None:
    folder = made(name)
    shape = load(folder / "cage.step")
    solids = list(pieces(shape, "SOLID"))
    check = occ("BRepCheck").BRepCheck_Analyzer
    unsound = [k for k, s in enumerate(solids) if not check(s, True, False, True).IsValid()]
    uses = Uses()
    uses.add(shape)
    print(f"{name}: {len(solids)} solids, unsound: {unsound}, {uses}")  # noqa: T201
    assert len(solids) == len(parts(folder))
    assert check(shape, True, False, True).IsValid()
    assert unsound == []
    assert uses.every > 40 * len(solids) / 2
    assert uses.beyond == 0
    assert uses.loosest <= 1.001e-7


@every_demo
def test_no_part_runs_into_itself(name: str, made: Callable[[str], Path]) -> None:
    found = {path.stem: faults(load(path)) for path in parts(made(name))}
    assert {k: v for k, v in found.items() if v} == {}


def _cope(u: Array) -> Array:
    """A quarter of a cope's rim on a round tube of 20 mm about z, three quarters as wide."""
    phi = 0.5 * np.pi * u
    s = 15.0 * np.sqrt(1.0 - (0.97 * np.sin(phi)) ** 2)
    return np.stack([15.0 * np.cos(phi), 15.0 * np.sin(phi), s], axis=1)


def _fit(n: int) -> Fit:
    tool = interpolant(n)
    samples = _cope(tool.all_nodes)
    poles, off = tool.fit(samples)
    return Fit(tool, poles, off, samples)


def reader_off(n: int) -> float:
    """How far another library's cubic through a reader's places leaves the rim, mm."""
    t = np.linspace(0.0, 1.0, places(n))

    def flat(u: Array) -> Array:
        p = _cope(u)
        return np.stack([15.0 * np.arctan2(p[:, 1], p[:, 0]), p[:, 2]], axis=1)

    first = np.array([-11 / 6, 3.0, -1.5, 1 / 3]) * (len(t) - 1)
    knots = flat(t)
    slopes = first @ knots[:4], -first @ knots[::-1][:4]
    cubic = CubicSpline(t, knots, bc_type=((1, slopes[0]), (1, slopes[1])))
    fine = np.linspace(0.0, 1.0, 20 * len(t))
    return float(np.hypot(*(cubic(fine) - flat(fine)).T).max())


def test_an_edge_gets_the_nodes_that_a_readers_cubic_needs() -> None:
    """The number of nodes is neither too small nor much larger than a reader needs."""
    z = np.array([0.0, 0.0, 1.0])
    wall = CylinderSurface(np.zeros(3), z, np.array([1.0, 0.0, 0.0]), 15.0)
    n = least_nodes(_fit(61), (wall,))
    assert reader_off(n) <= 1.1 * READ_CURVE
    assert reader_off(max(16, int(0.8 * n))) > READ_CURVE

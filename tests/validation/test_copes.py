"""Copes against closed forms of crossing cylinders and against an independent root finder.

Closed forms and their sources: tests/data/copes.csv. The root finder knows a parent only as a
polyline with rounded corners: it walks each ray of the branch down the signed distance to the
parents' centre lines and halves the last step until it has the spot; it shares no formula with the
package.
"""

from __future__ import annotations

import csv
import itertools
from dataclasses import dataclass
from math import acos, cos, pi, radians, sin, sqrt, tan
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad

from cagekit.geometry.centre_line import CentreLine, perpendicular, rotate, unit
from cagekit.geometry.cope import EndCut, Parent, cut_end
from cagekit.geometry.volume import end_moments, wall_volume

Array = NDArray[np.float64]
DATA = Path(__file__).parents[1] / "data" / "copes.csv"
ROWS = list(
    csv.DictReader(r for r in DATA.read_text("utf-8").splitlines() if not r.startswith("#"))
)
ORDINATE = 0.02
"""Cope ordinates must be right to this (mm)."""


# --- closed forms --------------------------------------------------------------------------


def crossing(parent: float, branch: float, angle_deg: float, *, wall: float) -> EndCut:
    """A branch whose axis meets a straight parent's at the origin; phi = 0 on the obtuse side."""
    through = CentreLine.straight([0, 0, -900], [0, 0, 900])
    d = np.array([sin(radians(angle_deg)), 0.0, cos(radians(angle_deg))])
    side = np.cross(np.cross(d, [0, 0, 1]), d) if angle_deg < 90 else np.array([0.0, 0.0, 1.0])
    return cut_end(
        CentreLine.straight([0, 0, 0], 800 * d),
        "a",
        branch,
        branch - wall,
        parents=[Parent("parent", through, parent)],
        zero=-side,
    )


def rows(quantity: str) -> list[dict[str, str]]:
    return [r for r in ROWS if r["quantity"] == quantity]


@pytest.mark.parametrize("row", [*rows("saddle"), *rows("ellipse")])
def test_saddle_length(row: dict[str, str]) -> None:
    r = float(row["branch"])
    cut = crossing(float(row["parent"]), r, float(row["angle_deg"]), wall=0.1 * r)
    assert cut.saddle_length == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("row", rows("saddle"))
def test_ordinates(row: dict[str, str]) -> None:
    r = float(row["branch"])
    cut = crossing(float(row["parent"]), r, float(row["angle_deg"]), wall=3.0)
    phi = np.radians(np.arange(0, 181, 30))
    expected = [float(v) for v in row["ordinates"].split()]
    assert cut.trim(phi, r) == pytest.approx(expected, abs=6e-5)
    assert cut.trim(-phi, r) == pytest.approx(expected, abs=6e-5)


@pytest.mark.parametrize("row", rows("bicylinder"))
def test_bicylinder_volume(row: dict[str, str]) -> None:
    # the part of a solid bar between parent's axis and surface is half of the common volume
    r = float(row["branch"])
    cut = crossing(float(row["parent"]), r, float(row["angle_deg"]), wall=r)
    volume = 2.0 * end_moments(cut, r, 0.0).volume
    assert volume == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


def test_equal_tubes_at_right_angles_meet_in_two_half_ellipses() -> None:
    r = 20.65
    cut = crossing(r, r, 90.0, wall=3.4)
    phi = np.linspace(0, 2 * pi, 97)
    assert cut.trim(phi, r) == pytest.approx(np.abs(r * np.cos(phi)), abs=1e-9)
    assert cut.corners == pytest.approx([pi / 2, 3 * pi / 2])


@pytest.mark.parametrize("angle_deg", [90, 60, 30, 20])
@pytest.mark.parametrize(
    ("parent", "outer", "offset"),
    [(22.225, 19.05, 0.0), (20.65, 20.65, 0.0), (20.65, 20.65, 1e-6), (20.65, 20.6499, 0.0),
     (20.65, 20.65, 4.0), (25.0, 19.0, 7.3), (25.4, 15.9, 9.5)],
)  # fmt: skip
def test_end_volume_of_offset_branches(
    parent: float, outer: float, offset: float, angle_deg: int
) -> None:
    # the wall's section cut in strips parallel to both axes: one integral, elliptic in nature
    inner = outer - 3.0
    th = radians(angle_deg)

    def strip(v: float) -> float:
        chord = sqrt(max(outer**2 - v * v, 0.0)) - sqrt(max(inner**2 - v * v, 0.0))
        return 2.0 * chord * sqrt(max(parent**2 - (v - offset) ** 2, 0.0))

    inside = [p for p in (-inner, inner, offset - parent, offset + parent) if -outer < p < outer]
    cuts = [-outer, *sorted(inside), outer]
    parts = itertools.pairwise(cuts)
    expected = sum(quad(strip, a, b, epsabs=1e-9, limit=200)[0] for a, b in parts) / sin(th)
    d = np.array([sin(th), 0.0, cos(th)])
    cut = cut_end(
        CentreLine.straight([0, offset, 0], np.array([0, offset, 0]) + 800 * d),
        "a",
        outer,
        inner,
        parents=[Parent("parent", CentreLine.straight([0, 0, -900], [0, 0, 900]), parent)],
    )
    assert end_moments(cut, outer, inner).volume == pytest.approx(expected, rel=1e-6)


# --- independent root finder ---------------------------------------------------------------


@dataclass(frozen=True)
class Round:
    """A tube known by the corners of its polyline and one bend radius."""

    corners: Array
    clr: float
    radius: float

    def distance(self, p: Array) -> Array:
        """Signed distance of points ``(n, 3)`` from the outside; ends go on for ever."""
        c = self.corners
        step = np.diff(c, axis=0)
        u = step / np.linalg.norm(step, axis=1)[:, None]
        best = np.full(len(p), np.inf)
        starts, ends = [c[0] - 1e6 * u[0]], []
        for i in range(1, len(c) - 1):
            turn = acos(float(u[i - 1] @ u[i]))
            tail = self.clr * tan(turn / 2)
            bisector = (u[i] - u[i - 1]) / np.linalg.norm(u[i] - u[i - 1])
            centre = c[i] + self.clr / cos(turn / 2) * bisector
            ends.append(c[i] - tail * u[i - 1])
            starts.append(c[i] + tail * u[i])
            z = np.cross(u[i - 1], u[i]) / sin(turn)
            w = p - centre
            height = w @ z
            flat = w - np.outer(height, z)
            ring = np.linalg.norm(flat, axis=1)
            within = -(flat @ bisector) >= ring * cos(turn / 2) - 1e-9
            to_ring = np.hypot(ring - self.clr, height)
            best = np.minimum(best, np.where(within, to_ring, np.inf))
        ends.append(c[-1] + 1e6 * u[-1])
        for a, b, d in zip(starts, ends, u, strict=True):
            along = (p - a) @ d
            within = (along >= -1e-9) & (along <= (b - a) @ d + 1e-9)
            away = np.linalg.norm(np.cross(p - (a if abs(a).max() < 1e5 else b), d), axis=1)
            best = np.minimum(best, np.where(within, away, np.inf))
        return best - self.radius

    def parent(self, name: str) -> Parent:
        return Parent(name, CentreLine.from_polyline(self.corners, self.clr), self.radius)


def union(tubes: list[Round], p: Array) -> Array:
    return np.asarray(np.min([t.distance(p) for t in tubes], axis=0))


def clear_station(tubes: list[Round], point: Array, back: Array, radius: float) -> float:
    """Where the branch, walked from its end, is first clear of all parents, mm."""
    s = np.arange(0.0, 700.0, 0.5)
    free = union(tubes, point + s[:, None] * back) >= radius
    return float(s[int(np.argmax(free))])


def first_touches(tubes: list[Round], origins: Array, back: Array, top: float) -> Array:
    """First contact of each ray ``(n, 3)`` coming down from ``top``; nan where it passes all."""
    outside = inside = np.full(len(origins), top)
    f = union(tubes, origins + inside[:, None] * back)
    assert (f >= 0.0).all(), "the walk must start outside"
    while (goes_on := (f >= 0.0) & (inside > -300.0)).any():
        outside = np.where(goes_on, inside, outside)
        # a step of the free distance cannot jump through a surface
        inside = np.where(goes_on, inside - np.maximum(f, 0.5), inside)
        f = union(tubes, origins + inside[:, None] * back)
    met = f < 0.0
    for _ in range(40):
        middle = (inside + outside) / 2
        free = union(tubes, origins + middle[:, None] * back) >= 0.0
        inside, outside = np.where(free, inside, middle), np.where(free, middle, outside)
    return np.where(met, outside, np.nan)


def assert_ordinates(cut: EndCut, tubes: list[Round], *, count: int = 20) -> None:
    """Every ray of the cut against the root finder, outside and inside."""
    phi = np.arange(count) * 2 * pi / count + 0.013
    top = clear_station(tubes, cut.point, -cut.out, cut.outer_radius)
    for rho in (cut.outer_radius, cut.inner_radius):
        contact = cut.contact(phi, rho)
        origins = cut.origins(phi, rho)
        touches = first_touches(tubes, origins, -cut.out, top)
        for o, s, ok, touch in zip(origins, contact.s, contact.ok, touches, strict=True):
            if not ok:
                assert np.isnan(touch)
            elif np.isnan(touch):
                # only a tangent ray may slip between the walk's steps
                assert abs(union(tubes, (o - s * cut.out)[None, :])[0]) < 1e-3
            else:
                assert s == pytest.approx(touch, abs=ORDINATE)


HOOP = np.array([[0, -610, 0], [0, -540, 950], [-60, -430, 1050], [-60, 430, 1050], [0, 600, 0.0]])
JOINTS = [
    # station on the hoop, angle_deg, roll_deg, parent radius, branch radius, offset
    (300.0, 90, 0, 20.65, 20.65, 0.0),
    (300.0, 45, 130, 20.65, 17.5, 0.0),
    (300.0, 22, 200, 20.65, 20.65, 0.0),
    (300.0, 60, 70, 20.65, 20.65, 1e-6),
    (300.0, 60, 70, 20.65, 20.65, 3.0),
    (300.0, 35, 250, 25.4, 19.05, 6.0),
    (1400.0, 70, 10, 22.225, 19.05, -4.0),
]


def joint(
    station: float, angle_deg: float, roll_deg: float, big: float, small: float, offset: float
) -> tuple[EndCut, list[Round]]:
    hoop = Round(HOOP, 150.0, big)
    parent = hoop.parent("hoop")
    spot = parent.path.spot(station)
    square = rotate(perpendicular(spot.tangent), spot.tangent, radians(roll_deg))
    back = cos(radians(angle_deg)) * spot.tangent + sin(radians(angle_deg)) * square
    node = spot.point + offset * unit(np.cross(back, spot.tangent))
    cut = cut_end(
        CentreLine.straight(node, node + 900 * back), "a", small, small - 2.5, parents=[parent],
        owner="branch",
    )  # fmt: skip
    return cut, [hoop]


@pytest.mark.parametrize("case", JOINTS)
def test_on_straights(case: tuple[float, ...]) -> None:
    cut, tubes = joint(*case)
    assert {type(q).__name__ for q in cut.on} == {"CylinderPiece"}
    assert_ordinates(cut, tubes)


@pytest.mark.parametrize("angle_deg", [90, 50, 25])
@pytest.mark.parametrize("roll_deg", [40, 110, 250, 290])
@pytest.mark.parametrize("along", [-12.0, 0.0, 6.0, 45.0])
def test_on_bends_and_across_tangent_points(
    along: float, roll_deg: float, angle_deg: float
) -> None:
    start = float(Round(HOOP, 150.0, 20.65).parent("hoop").path.starts[5])
    cut, tubes = joint(start + along, angle_deg, roll_deg, 20.65, 20.65, 0.0)
    assert {"TorusPiece"} & {type(q).__name__ for q in cut.on}
    assert_ordinates(cut, tubes, count=12)


@pytest.mark.parametrize("seed", range(12))
def test_two_parents_at_one_node(seed: int) -> None:
    rng = np.random.default_rng(seed)
    hoop = Round(HOOP, 150.0, 20.65)
    spot = hoop.parent("hoop").path.spot(float(rng.uniform(200, 2200)))
    turn = rotate(perpendicular(spot.tangent), spot.tangent, rng.uniform(0, 2 * pi))
    back = unit(turn + rng.uniform(-0.8, 0.8) * spot.tangent)
    across = unit(np.cross(back, spot.tangent) + 0.6 * turn + rng.uniform(-0.5, 0.5) * back)
    far = rng.choice([0.0, 4.0])
    node = spot.point + far * unit(np.cross(across, back))
    second = Round(np.array([node - 500 * across, node + 500 * across]), 1.0, 19.05)
    cut = cut_end(
        CentreLine.straight(spot.point, spot.point + 900 * back), "a", 19.05, 16.0,
        parents=[hoop.parent("hoop"), second.parent("second")],
    )  # fmt: skip
    assert len(cut.corners) >= 2
    assert set(cut.parents) == {"hoop", "second"}
    assert_ordinates(cut, [hoop, second])


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(60))
def test_many_joints(seed: int) -> None:
    rng = np.random.default_rng(1000 + seed)
    big = float(rng.choice([19.05, 20.65, 22.225]))
    small = big * float(rng.choice([1.0, rng.uniform(0.6, 1.0)]))
    length = Round(HOOP, 150.0, big).parent("hoop").path.length
    offset = float(rng.choice([0.0, 1e-6, rng.normal(0, 2)]))
    cut, tubes = joint(
        rng.uniform(80, length - 80), rng.uniform(25, 90), rng.uniform(0, 360), big, small, offset
    )
    assert_ordinates(cut, tubes)


# --- volume --------------------------------------------------------------------------------


def marched_volume(cut: EndCut, tubes: list[Round]) -> float:
    """Integral of s over the wall's section from bisection on the signed distance, mm^3."""
    nodes, weights = np.polynomial.legendre.leggauss(8)
    ro, ri = cut.outer_radius, cut.inner_radius
    t = (nodes + 1) / 2
    rho = ro - (ro - ri) * t * t
    weight = weights * (ro - ri) * t * rho
    phi = (np.arange(240) + 0.5) * 2 * pi / 240
    origins = cut.origins(phi[None, :], rho[:, None]).reshape(-1, 3)
    s = np.full(len(origins), clear_station(tubes, cut.point, -cut.out, ro))
    # sphere tracing: a step of the free distance can never jump through a surface
    for _ in range(400):
        f = union(tubes, origins - s[:, None] * cut.out)
        s = s - np.maximum(f, 0.0)
        if f.max() < 1e-7:
            break
    return float((s.reshape(len(rho), -1).sum(axis=1) * weight).sum() * 2 * pi / 240)


@pytest.mark.parametrize(
    ("along", "angle_deg", "small"),
    [(-12.0, 70.0, 20.65), (5.0, 40.0, 17.5), (60.0, 60.0, 20.65), (90.0, 90.0, 19.0)],
)
def test_volume_on_a_bend(along: float, angle_deg: float, small: float) -> None:
    start = float(Round(HOOP, 150.0, 20.65).parent("hoop").path.starts[5])
    cut, tubes = joint(start + along, angle_deg, 100.0, 20.65, small, 0.0)
    path = CentreLine.straight(cut.point, cut.point - 500 * cut.out)
    square = cut_end(path, "b", small, small - 2.5)
    expected = pi * (small**2 - (small - 2.5) ** 2) * path.length - marched_volume(cut, tubes)
    assert wall_volume(path, small, small - 2.5, cut, square) == pytest.approx(expected, rel=2e-6)


@pytest.mark.parametrize("seed", [2, 5])
def test_volume_at_a_node_of_two_parents(seed: int) -> None:
    rng = np.random.default_rng(seed)
    hoop = Round(HOOP, 150.0, 20.65)
    spot = hoop.parent("hoop").path.spot(float(rng.uniform(200, 2200)))
    turn = rotate(perpendicular(spot.tangent), spot.tangent, rng.uniform(0, 2 * pi))
    across = unit(np.cross(turn, spot.tangent) + 0.6 * turn)
    second = Round(np.array([spot.point - 500 * across, spot.point + 500 * across]), 1.0, 19.05)
    path = CentreLine.straight(spot.point, spot.point + 500 * turn)
    cut = cut_end(path, "a", 19.05, 16.0, parents=[hoop.parent("hoop"), second.parent("second")])
    square = cut_end(path, "b", 19.05, 16.0)
    whole = pi * (19.05**2 - 16.0**2) * path.length
    expected = whole - marched_volume(cut, [hoop, second])
    # the plain sum over rays is itself only this good across a ridge
    assert wall_volume(path, 19.05, 16.0, cut, square) == pytest.approx(expected, rel=1e-5)

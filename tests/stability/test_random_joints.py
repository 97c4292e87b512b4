"""A seeded sweep over random joints: whatever is written down is right, the rest is refused.

Every joint gets a tag:

- WRITTEN: closed, edges on their surfaces, and of the volume of path and cut;
- REFUSED: left to the kernel's boolean, said so;
- NO_CUT: there is no sensible cut, said so;
- WRONG: written down, but open, off its surfaces or of the wrong volume;
- CRASHED: anything else.

Branches lean by at least 30 degrees from their parents, half of the nodes lie on or near a bend,
a fifth of them beside the axis, diameters are equal or smaller.
"""

from __future__ import annotations

from collections import Counter
from math import cos, pi, sin

import numpy as np
import pytest
from joints import RO, WALL, random_joint
from sweeps import size

from cagekit.errors import GeometryError
from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.cope import Parent, cut_end
from cagekit.geometry.volume import wall_volume
from cagekit.solids.creases import Refused
from cagekit.solids.measure import measure
from cagekit.solids.tube import tube_record


def tag(path: CentreLine, parents: list[Parent], ro: float) -> str:
    """Make one joint and judge it."""
    try:
        a = cut_end(path, "a", ro, ro - WALL, parents=parents)
        b = cut_end(path, "b", ro, ro - WALL)
        record = tube_record("tube", path, a, b)
    except Refused:
        return "REFUSED"
    except GeometryError:
        return "NO_CUT"
    except Exception as error:
        return f"CRASHED {type(error).__name__}"
    found = measure(record)
    wanted = wall_volume(path, ro, ro - WALL, a, b)
    sound = not record.closure_errors(tol=1e-3) and found.gap < 1e-3
    return "WRITTEN" if sound and abs(found.volume / wanted - 1) < 1e-5 else "WRONG"


def sweep(seed: int, parents: int, joints: int) -> Counter[str]:
    """Tags of a number of random joints with so many parents."""
    rng = np.random.default_rng([seed, parents])
    return Counter(tag(*random_joint(rng, parents)) for _ in range(joints))


MORE = (7, 2024)


@pytest.mark.parametrize(("parents", "least"), [(1, 0.9), (2, 0.9), (3, 0.9)])
def test_random_joints_are_right_or_refused(parents: int, least: float) -> None:
    tags = sweep(7, parents, 20)
    assert set(tags) <= {"WRITTEN", "REFUSED", "NO_CUT"}, tags
    assert tags["WRITTEN"] >= least * 20, tags


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, *[pytest.param(n, marks=pytest.mark.study) for n in MORE]])
@pytest.mark.parametrize(("parents", "least"), [(1, 0.9), (2, 0.9), (3, 0.9)])
def test_many_random_joints_are_right_or_refused(seed: int, parents: int, least: float) -> None:
    count = size(20, 100)
    tags = sweep(seed, parents, count)
    assert set(tags) <= {"WRITTEN", "REFUSED", "NO_CUT"}, tags
    assert tags["WRITTEN"] >= least * count, tags


@pytest.mark.slow
@pytest.mark.study
def test_equal_tubes_at_every_station_and_angle() -> None:
    """Equal diameters are where kernels fail: walk across a tangent point in small steps."""
    hoop = CentreLine.from_polyline([(0, -400, 0), (0, -400, 800), (0, 400, 800)], 152.0)
    parent = Parent("hoop", hoop, RO)
    tags: Counter[str] = Counter()
    for station in (*np.linspace(600, 700, 21), 648.0, 648.0 + 1e-6, 648.0 - 1e-6):
        node = hoop.spot(float(station)).point
        for turn in np.linspace(0, 2 * pi, 7)[:-1]:
            way = np.array([cos(turn), 0.7 * sin(turn), 0.5 * sin(turn)])
            tags[tag(CentreLine.straight(node, node + 300 * way), [parent], RO)] += 1
    assert set(tags) <= {"WRITTEN", "REFUSED", "NO_CUT"}, tags
    assert tags["WRITTEN"] >= 0.95 * tags.total(), tags

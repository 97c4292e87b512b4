"""A hole through a tube: its volume against two independent integrals."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from scipy.integrate import quad

from cagekit.geometry.drill import Drill

RO, RI = 20.65, 17.25


def drill(radius: float) -> Drill:
    return Drill(
        point=np.array([10.0, 5.0, -3.0]), axis=np.array([0.0, 0.0, 1.0]),
        along=np.array([1.0, 0.0, 0.0]), radius=radius,
    )  # fmt: skip


@pytest.mark.parametrize("radius", [1.0, 8.0, 15.9])
def test_volume_is_that_of_the_two_caps(radius: float) -> None:
    def strip(y: float) -> float:
        chord = 2 * np.sqrt(radius**2 - y**2)
        return 2 * chord * (np.sqrt(RO**2 - y**2) - np.sqrt(RI**2 - y**2))

    wanted, _ = quad(strip, -radius, radius, epsabs=1e-9, epsrel=1e-12, limit=400)
    assert drill(radius).volume(RO, RI) == pytest.approx(wanted, rel=1e-9)


def test_a_narrow_hole_takes_its_section_times_both_walls() -> None:
    assert drill(0.1).volume(RO, RI) == pytest.approx(2 * pi * 0.01 * (RO - RI), rel=1e-5)


@pytest.mark.parametrize("wall", [RO, RI])
def test_the_edge_lies_on_both_cylinders(wall: float) -> None:
    d = drill(8.0)
    for way in d.ways:
        w = d.edge(way, wall, np.linspace(0, 2 * pi, 50)) - d.point
        assert np.hypot(w[:, 1], w[:, 2]) == pytest.approx(np.full(50, wall))
        assert np.hypot(w[:, 0], w[:, 1]) == pytest.approx(np.full(50, 8.0))
        assert (w @ way > 0).all()

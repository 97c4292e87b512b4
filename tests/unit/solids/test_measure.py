"""Volumes measured on the boundary against closed forms."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from scipy.integrate import quad

from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.cope import Parent, cut_end
from cagekit.solids.brep import Record
from cagekit.solids.measure import measure, measures
from cagekit.solids.tube import tube_record

RO, RI = 20.64, 17.24


def _tube(
    path: CentreLine, parents: tuple[Parent, ...] = (), ro: float = RO, ri: float = RI
) -> Record:
    a = cut_end(path, "a", ro, ri, parents=parents)
    return tube_record("tube", path, a, cut_end(path, "b", ro, ri))


def test_straight_tube_is_a_ring_times_its_length() -> None:
    record = _tube(CentreLine.straight((10, 20, 30), (10, 320, 430)))
    assert record.closure_errors() == []
    assert measure(record).volume == pytest.approx(pi * (RO**2 - RI**2) * 500.0, rel=1e-12)


def test_bent_tube_obeys_pappus() -> None:
    corners = [(0, -500, 0), (0, -450, 900), (100, 450, 900), (0, 500, 0)]
    path = CentreLine.from_polyline(corners, 152.0)
    record = _tube(path)
    assert record.closure_errors() == []
    assert measure(record).volume == pytest.approx(pi * (RO**2 - RI**2) * path.length, rel=1e-10)


@pytest.mark.parametrize("ro", [20.64, 16.0])
def test_square_joint_loses_the_bicylinder_integral(ro: float) -> None:
    """A branch square to its parent ends at sqrt(R^2 - y^2): integrate that over its wall."""
    ri = ro - 3.4
    parent = Parent("p", CentreLine.straight((-300, 0, 0), (300, 0, 0)), RO)
    record = _tube(CentreLine.straight((0, 0, 0), (0, 0, 250)), (parent,), ro, ri)

    def lost(r: float) -> float:
        # over a full disc of radius r: integral of sqrt(R^2 - y^2) with chords across the parent
        top = quad(lambda t: (RO**2 - (r * np.sin(t)) ** 2) ** 0.5 * 2 * (r * np.cos(t)) ** 2,
                   -pi / 2, pi / 2, epsabs=1e-9)  # fmt: skip
        return float(top[0])

    wanted = pi * (ro**2 - ri**2) * 250.0 - (lost(ro) - lost(ri))
    assert measure(record).volume == pytest.approx(wanted, rel=1e-7)


def test_turning_a_face_inside_out_is_noticed() -> None:
    record = _tube(CentreLine.straight((0, 0, 0), (0, 0, 100)))
    face = record.faces[-1]
    record.faces[-1] = type(face)(face.surface, not face.same_sense, face.loops, face.lower)
    assert record.closure_errors()


def test_leaving_a_face_out_is_noticed() -> None:
    record = _tube(CentreLine.straight((0, 0, 0), (0, 0, 100)))
    record.faces.pop()
    assert any("walked 1 times" in e for e in record.closure_errors())


def test_solids_measured_together_are_each_solid_alone() -> None:
    bent = CentreLine.from_polyline([(0, -500, 0), (0, -450, 900), (100, 450, 900)], 152.0)
    parent = Parent("p", CentreLine.straight((-300, 0, 0), (300, 0, 0)), 25.0)
    records = [
        _tube(CentreLine.straight((10, 20, 30), (10, 320, 430))),
        _tube(bent),
        _tube(CentreLine.straight((0, 0, 0), (0, 90, 250)), (parent,)),
    ]
    for record, found in zip(records, measures(records), strict=True):
        alone = measure(record)
        assert found.volume == pytest.approx(alone.volume, rel=1e-13)
        assert found.gap == pytest.approx(alone.gap, abs=1e-12)
    assert measures([]) == []

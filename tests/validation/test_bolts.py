"""Bolt table against the definitions of the thread standards.

Stress area of ISO 898-1 (9.1.6.1) and ASME B1.1, Appendix B: a circle whose diameter is the mean
of pitch and minor diameter, that is d - 0.9382 P for metric and D - 0.9743 / n for inch threads.
Loads: ISO 898-1 Tables 4 and 5 and SAE J429 Table 1 print area times stress.
"""

from __future__ import annotations

from math import pi

import pytest

from cagekit.materials.fasteners import Fastener, fasteners
from cagekit.units import POUND_FORCE


@pytest.mark.parametrize("bolt", fasteners(), ids=lambda bolt: f"{bolt.size} {bolt.grade}")
def test_stress_area(bolt: Fastener) -> None:
    metric = bolt.size.startswith("M")
    area = pi / 4 * (bolt.diameter - (0.9382 if metric else 0.9743) * bolt.pitch) ** 2
    # Inch areas are printed to four decimals, and 0.0580 for 5/16-24 is cut, not rounded.
    last_digit = 0.05 if metric else 0.0001 * 25.4**2
    assert bolt.stress_area == pytest.approx(area, abs=last_digit)


@pytest.mark.parametrize("bolt", fasteners(), ids=lambda bolt: f"{bolt.size} {bolt.grade}")
def test_loads_are_area_times_stress(bolt: Fastener) -> None:
    # ISO prints three digits, some cut, not rounded; inch loads are printed to the pound.
    last_digit = 100.0 if bolt.size.startswith("M") else POUND_FORCE
    assert bolt.proof_load == pytest.approx(bolt.stress_area * bolt.proof_stress, abs=last_digit)
    assert bolt.tensile_load == pytest.approx(bolt.stress_area * bolt.fu, abs=last_digit)

"""The benchmark of strength: its pieces run, its table tells ratios and exponents."""

from __future__ import annotations

import demos
import numpy as np
import pytest

from cagekit.benchmarks.strength import grown, of_build, table


def test_parts_of_a_small_build_are_timed() -> None:
    parts = of_build(demos.design("track-roadster"), 1)
    assert set(parts) == {"elastic", "pynite", "wall", "collapse"}
    assert all(np.isfinite(v) and v >= 0 for v in parts.values())
    assert parts["pynite"] > 5 * parts["elastic"]


def test_frames_that_grow_are_solved() -> None:
    few, *_ = grown(20, 1)
    more, *_ = grown(40, 1)
    assert more > 1.8 * few


def test_table_tells_ratios_and_exponents() -> None:
    parts = {"elastic": 0.01, "pynite": 0.4, "wall": 0.005, "collapse": 0.1}
    growth = [(10, 50, 1.0, 3.0), (20, 100, 2.0, 12.0), (40, 200, 4.0, 24.0)]
    text = table("one", parts, {"strength": 1.2, "numpy": 0.1}, growth)
    assert "PyNite / ours 40 " in text
    assert "import 12.0 " in text
    doubled = text.splitlines()[-3].split()
    assert doubled[:2] == ["20", "100"]
    assert [float(doubled[3]), float(doubled[5])] == [pytest.approx(1.0), pytest.approx(2.0)]
    assert "10 to 40: elastic n^1.00, collapse n^1.50" in text.splitlines()[-1]

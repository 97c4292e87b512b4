"""Drawings of one tube: they fill the field, and a twisted tube gets a second view to scale."""

from __future__ import annotations

import re

import numpy as np
import pytest

from cagekit.geometry.centre_line import CentreLine
from cagekit.view.member_drawing import member_drawings

FIELD = (150.0, 55.0)


def loop(lift: float) -> CentreLine:
    """A roof loop whose right front corner lies higher by ``lift``."""
    corners = [(0, 500, 900), (900, 480, 850), (900, -480, 850 + lift), (0, -500, 900)]
    return CentreLine.from_polyline(np.array(corners, float), [150.0, 150.0], owner="loop")


def drawings(path: CentreLine):  # type: ignore[no-untyped-def]
    return member_drawings(path, 45.0, *FIELD, "mm", 16)


def test_a_flat_tube_is_drawn_once() -> None:
    (drawing,) = drawings(loop(0.0))
    assert drawing.width <= FIELD[0] + 1e-9
    assert drawing.height <= FIELD[1] + 1e-9


@pytest.mark.parametrize("lift", [20.0, -60.0, 250.0])
def test_a_twisted_tube_is_drawn_twice_at_one_scale(lift: float) -> None:
    plan, edge = drawings(loop(lift))
    assert edge.scale == plan.scale > 0.02
    assert edge.width == pytest.approx(plan.width)
    for drawing in (plan, edge):
        found = re.search(r'width="([-.0-9]+)mm" height="([-.0-9]+)mm"', drawing.svg)
        assert found
        assert float(found[1]) > 50
        assert float(found[2]) > 12


def test_the_second_view_holds_the_whole_tube() -> None:
    _, edge = drawings(loop(250.0))
    axis = re.search(r'<path d="([^"]+)"[^>]*stroke-dasharray', edge.svg)
    assert axis
    points = np.array(re.findall(r"[ML](-?[.0-9]+) (-?[.0-9]+)", axis[1]), float)
    assert points.min() > 0
    assert points[:, 0].max() < edge.width
    assert points[:, 1].max() < edge.height

"""The ring, and the sizes in the table."""

from __future__ import annotations

import math
from dataclasses import FrozenInstanceError

import numpy as np
import pytest

from cagekit.errors import InputError, NotFoundError
from cagekit.materials.steels import steel
from cagekit.materials.tubes import Tube, TubeSize, tube_size, tube_sizes


def test_ring_equals_its_integral() -> None:
    """Cut the ring into strips parallel to the neutral axis and add them up."""
    tube = Tube(od=41.275, wall=3.4036, material="1020-dom")
    edges = np.linspace(-tube.outer_radius, tube.outer_radius, 400_001)
    y = (edges[1:] + edges[:-1]) / 2
    inside = np.sqrt(np.clip(tube.inner_radius**2 - y**2, 0, None))
    strip = 2 * (np.sqrt(tube.outer_radius**2 - y**2) - inside) * np.diff(edges)
    assert strip.sum() == pytest.approx(tube.area, rel=1e-6)
    assert (strip * y**2).sum() == pytest.approx(tube.second_moment, rel=1e-6)
    assert (strip * np.abs(y)).sum() == pytest.approx(tube.plastic_modulus, rel=1e-6)
    assert tube.section_modulus == pytest.approx(tube.second_moment / (41.275 / 2))
    assert tube.radius_of_gyration == pytest.approx(math.sqrt(tube.second_moment / tube.area))
    assert tube.torsion_constant == pytest.approx(2 * tube.second_moment)


def test_mass_of_a_metre() -> None:
    # EN 10305-1 gives 2.62 kg/m for 45 x 2.5 (from memory); 0.0246615 (D - t) t by hand agrees.
    tube = Tube(od=45.0, wall=2.5, material="e355-n")
    assert 1000 * tube.mass_per_length(steel("e355-n").density) == pytest.approx(2.62, abs=0.005)


@pytest.mark.parametrize(
    ("od", "wall", "field"),
    [
        (0.0, 1.0, "od"),
        (-40.0, 1.0, "od"),
        (math.nan, 1.0, "od"),
        (math.inf, 1.0, "od"),
        (40.0, 0.0, "wall"),
        (40.0, -1.0, "wall"),
        (40.0, math.nan, "wall"),
        (40.0, 20.0, "wall"),
        (40.0, 25.0, "wall"),
    ],
)
def test_what_is_no_tube_is_refused(od: float, wall: float, field: str) -> None:
    with pytest.raises(InputError) as caught:
        Tube(od=od, wall=wall, material="1020-dom", name="odd")
    assert caught.value.field == field
    assert "tube odd" in str(caught.value)


def test_tube_is_frozen() -> None:
    tube = Tube(od=40.0, wall=2.0, material="e355-n")
    with pytest.raises(FrozenInstanceError):
        tube.od = 41.0  # type: ignore[misc]


def test_names_in_the_table_are_unique() -> None:
    names = [size.name for size in tube_sizes()]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("size", tube_sizes(), ids=lambda size: size.name)
def test_every_size_is_what_its_name_says(size: TubeSize) -> None:
    _, _, dimensions = size.name.partition("-")
    od, wall = (float(text) for text in dimensions.split("x"))
    unit = 1.0 if size.standard == "en10305-1" else 25.4
    assert size.od == pytest.approx(od * unit, abs=1e-9)
    assert size.wall == pytest.approx(wall * unit, abs=1e-9)
    assert size.tube("1020-dom").inner_radius > 0
    assert size.source
    assert all(3000 <= length <= 8000 for length in size.stock_lengths)


def test_size_by_name() -> None:
    assert tube_size("cds-45x2.5").tube("e355-n") == Tube(
        od=45.0, wall=2.5, material="e355-n", name="cds-45x2.5"
    )


def test_unknown_size_names_the_closest() -> None:
    with pytest.raises(NotFoundError, match=r"Did you mean 'dom-1.625x0.134'"):
        tube_size("dom1.625x.134")

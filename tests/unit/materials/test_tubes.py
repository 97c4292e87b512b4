"""The ring, and the sizes in the table."""

from __future__ import annotations

import math
from dataclasses import FrozenInstanceError

import numpy as np
import pytest

from cagekit.data import rows
from cagekit.errors import InputError
from cagekit.materials.steels import steel
from cagekit.materials.tubes import Tube
from cagekit.units import parse_length


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
    assert 1000 * tube.area * steel("e355-n").density == pytest.approx(2.62, abs=0.005)


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
    names = [row["name"] for row in rows("tubes")]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("row", rows("tubes"), ids=lambda row: row["name"])
def test_every_size_is_what_its_name_says(row: dict[str, str]) -> None:
    _, _, dimensions = row["name"].partition("-")
    od, wall = (parse_length(f"{row[key]} {row['unit']}") for key in ("od", "wall"))
    unit = 1.0 if row["standard"] == "en10305-1" else 25.4
    assert [od, wall] == pytest.approx([float(x) * unit for x in dimensions.split("x")], abs=1e-9)
    assert Tube(od=od, wall=wall, material="1020-dom").inner_radius > 0
    assert row["source"]
    assert all(3000 <= parse_length(text) <= 8000 for text in row["stock_lengths"].split(";"))

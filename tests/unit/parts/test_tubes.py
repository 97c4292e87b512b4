"""Every member kind made alone: closed forms, typed dimensions, refusals."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from pydantic import ValidationError

from cagekit.errors import CopeError, GeometryError
from cagekit.members.registry import GENERATORS
from cagekit.parts.tubes import KINDS, Part


def made(kind: str, **values: object) -> Part:
    return KINDS[kind].make(KINDS[kind].read(values))


def test_every_member_kind_can_be_made_alone() -> None:
    assert set(KINDS) == set(GENERATORS)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_the_defaults_make_a_whole_part(kind: str) -> None:
    part = made(kind)
    assert part.made
    for id_ in part.made:
        assert part.cage.cut_length(id_) > 0
        assert part.cage.mass(id_) > 0


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_dimension_is_explained(kind: str) -> None:
    for name, field in KINDS[kind].dims.model_fields.items():
        assert field.description, name


def test_a_tube_between_two_equal_tubes_ends_a_saddle_short_of_each_axis() -> None:
    # equal diameters at 90 degrees: the saddle's sides reach the axis, so the blank is full length
    part = made("harness_bar", length=1000, od=40, wall=2, parent_od_a=40, parent_od_b=40)
    assert part.cage.cut_length("harness_bar") == pytest.approx(1000, abs=1e-6)


def test_a_tube_on_a_larger_tube_stops_at_the_chord() -> None:
    part = made("strut", length=1000, od=40, wall=2, parent_od_a=60, parent_od_b=60)
    # the sides of the saddle touch the parent at sqrt(30^2 - 20^2) from its axis
    assert part.cage.cut_length("strut") == pytest.approx(
        1000 - 2 * (30**2 - 20**2) ** 0.5, abs=1e-6
    )


def test_a_flat_cut_tube_has_the_volume_of_a_sheared_ring() -> None:
    part = made(
        "strut", length=500, od=40, wall=2, end_a="flat", end_b="flat", angle_a=90, angle_b=60
    )
    assert part.cage.volume("strut") == pytest.approx(pi * (20**2 - 18**2) * 500, rel=1e-9)


def test_a_hoop_has_the_size_that_was_typed() -> None:
    part = made(
        "main_hoop", width_foot=1200, width_belt=1300, width_top=1000, height=1100, bend_radius=150
    )
    path = part.cage.members["main_hoop"].path
    assert path.start == pytest.approx([0, 600, 0])
    assert path.end == pytest.approx([0, -600, 0])
    assert path.points(np.linspace(0, path.length, 999))[:, 2].max() == pytest.approx(1100)
    assert len(path.bends) == 4


def test_dimensions_may_be_typed_in_inches() -> None:
    kind = KINDS["harness_bar"]
    assert kind.read({"length": "48 1/2 in"}).length == pytest.approx(1231.9)  # type: ignore[attr-defined]
    assert kind.read({"length": 48.5}, units="in").length == pytest.approx(1231.9)  # type: ignore[attr-defined]


def test_unknown_and_impossible_dimensions_are_refused() -> None:
    with pytest.raises(ValidationError):
        KINDS["harness_bar"].read({"lenght": 3})
    with pytest.raises(GeometryError, match="available"):
        made("main_hoop", bend_radius=900)
    with pytest.raises(CopeError, match="degrees"):
        made("strut", angle_a=5).cage.cut_length("strut")

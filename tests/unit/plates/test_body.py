"""What is kept by a plate's metal alone reads nothing else of it."""

from __future__ import annotations

from dataclasses import replace as with_fields

import numpy as np
import pytest
from msgspec.structs import replace

from cagekit.cage.plate import NO_METAL, Plate
from cagekit.design import Design
from cagekit.plates.in_car import contact_share, ground_of
from cagekit.plates.points import plate_points
from cagekit.view.plate_mesh import plate_mesh


class _Unread:
    """Stands where nothing may be read."""


@pytest.fixture(scope="module")
def design() -> Design:
    return Design.load("sprint-wagon")


@pytest.fixture(scope="module")
def made(design: Design) -> list[Plate]:
    plates = list(design.cage.plates)
    assert any(p.folds for p in plates)
    assert any(p.holes for p in plates)
    return plates


def bare(plate: Plate) -> Plate:
    """A plate of which nothing is left but its metal."""
    out = object.__new__(Plate)
    out.__dict__.update(plate.__dict__ | {name: _Unread() for name in NO_METAL})
    out.__dict__.pop("body", None)
    out.__dict__.pop("sheet", None)
    return out


def test_points_and_mesh_hang_on_the_metal_alone(made: list[Plate]) -> None:
    for plate in made:
        only = bare(plate)
        assert only.body == plate.body
        assert plate_points(only).tobytes() == plate_points(plate).tobytes()
        mine, its = plate_mesh(only), plate_mesh(plate)
        assert mine.vertices.tobytes() == its.vertices.tobytes()
        assert mine.normals.tobytes() == its.normals.tobytes()


def test_what_lies_on_the_floor_hangs_on_the_metal_alone(design: Design, made: list[Plate]) -> None:
    for plate in made:
        below = ground_of(design.cage.kept, design.build.car).floor_below(plate)
        assert contact_share(bare(plate), below, "floor") == contact_share(plate, below, "floor")


def test_a_plate_with_another_foot_on_it_is_the_same_metal(made: list[Plate]) -> None:
    plate = next(p for p in made if p.folds and p.marks)
    other = with_fields(plate, notes=("another",), welds=(), marks=plate.marks[1:])
    assert other.body == plate.body
    assert other.folded is plate.folded


@pytest.mark.parametrize("field", ["thickness", "outline", "folds", "placement"])
def test_other_metal_is_another_body(made: list[Plate], field: str) -> None:
    plate = next(p for p in made if p.folds and not p.holes)
    first = plate.folds[0]
    least = 1e-9
    other = {
        "thickness": plate.thickness + least,
        "outline": plate.outline.moved((least, 0.0)),
        "folds": (replace(first, angle=first.angle + least), *plate.folds[1:]),
        "placement": plate.placement + least * np.eye(4, k=3),
    }[field]
    assert with_fields(plate, **{field: other}).body != plate.body

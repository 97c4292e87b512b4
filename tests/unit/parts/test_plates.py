"""Plates alone: every kind is made from its defaults and answers to its dimensions."""

from __future__ import annotations

import pytest
from pieces import shape_key

from cagekit.errors import GeometryError
from cagekit.inputs.plate import Gusset, Tab
from cagekit.inputs.plate_dims import GussetDims, TabDims
from cagekit.parts.plates import PLATE_KINDS


def made(name, **values):
    kind = PLATE_KINDS[name]
    return kind.make(kind.read(values)).cage.plates


@pytest.mark.parametrize("name", PLATE_KINDS)
def test_every_kind_is_made_from_its_defaults(name):
    plates = made(name)
    assert plates
    assert all(p.volume > 0 for p in plates)
    assert len({p.id for p in plates}) == len(plates)


@pytest.mark.parametrize("name", PLATE_KINDS)
def test_thickness_in_inches(name):
    kind = PLATE_KINDS[name]
    plates = kind.make(kind.read({"thickness": "1/8 in"})).cage.plates
    assert plates[0].thickness == pytest.approx(3.175)


def test_a_leaning_tube_prints_an_ellipse():
    """Section of a cylinder by a plane: area over the cosine of the lean."""
    from math import cos, pi, radians

    (p,) = made("floor_plate", lean=40.0)
    foot = next(m for m in p.marks if m.kind == "foot")
    assert foot.line.area == pytest.approx(pi * 22.5**2 / cos(radians(40)), rel=1e-5)
    assert foot.line.size[0] == pytest.approx(45 / cos(radians(40)), rel=1e-4)


def test_a_fold_beside_the_foot():
    (p,) = made("floor_plate", fold_at=50, fold_angle=80.0, width=170)
    assert len(p.folds) == 1
    assert p.car_points([[0, p.outline.box[1][1] - 1]], 0)[0, 2] > 20


@pytest.mark.parametrize("angle", [40.0, 60.0, 75.0, 90.0, 110.0, 130.0])
@pytest.mark.parametrize("ods", [(40, 45), (45, 45), (32, 50)])
def test_saddles_of_many_corners_clear_both_tubes(angle, ods):
    import numpy as np

    (p,) = made(
        "folded_gusset", angle=angle, od_branch=ods[0], od_parent=ods[1], along_branch=110,
        along_parent=110,
    )  # fmt: skip
    a = np.radians(angle)
    axes = {"branch": np.array([np.cos(a), np.sin(a), 0]), "parent": np.array([1.0, 0, 0])}
    edge = p.outline.flat_points(0.2)
    for z in (0.0, -p.thickness):
        q = p.car_points(edge, z)
        for (name, d), od in zip(axes.items(), ods, strict=True):
            gap = np.linalg.norm(np.cross(q, d), axis=1) - od / 2
            assert gap.min() > 0.9, name


def test_a_tab_alone_is_the_tab_of_a_build():
    from cagekit.assembly.assemble import members_only
    from cagekit.inputs.places import OnTube
    from cagekit.inputs.plate import TabEntry
    from cagekit.inputs.resolve import load_build
    from cagekit.plates.tab import make

    build = load_build("track-roadster")
    at = OnTube(member="rear_brace", side="left", at="middle")
    in_cage = make(build, members_only(build), TabEntry(kind="tab", at=at), "test")
    alone = made("tab")
    assert [shape_key(p) for p in alone] == [shape_key(p) for p in in_cage]


@pytest.mark.parametrize(("dims", "size"), [(TabDims, Tab), (GussetDims, Gusset)])
def test_sizes_are_declared_once(dims, size):
    """What a file may say and what may be typed have the same defaults, from one class."""
    own = {"thickness", "material", "fold_radius"}
    for name, field in size.model_fields.items():
        if name not in own:
            assert dims.model_fields[name].default == field.default, name


def test_refusals_reach_the_user_with_numbers():
    with pytest.raises(GeometryError, match=r"hangs 7\.5 mm over the edge"):
        made("floor_plate", width=30)
    with pytest.raises(GeometryError, match="leaves"):
        made("gusset", hole=90)

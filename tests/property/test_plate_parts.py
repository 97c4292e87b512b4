"""Plates from any numbers: made whole or refused in words, never a traceback.

What is made is judged by closed measures: areas of flats and bend zones add up, the pattern is
simple, folding moves no point of a flat relative to another.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from cagekit.errors import CagekitError
from cagekit.parts.plates import PLATE_KINDS
from cagekit.shop.nesting.plate_drawing import CutOptions, plate_drawing
from cagekit.writers.dxf import DxfOptions, dxf_bytes

SIZES = st.one_of(
    st.floats(1, 400),
    st.sampled_from([0.0, 1e-9, -5.0, 1e9, 0.5, 3.0, 45.0, float("nan"), float("inf")]),
)
ANGLES = st.one_of(st.floats(0, 180), st.sampled_from([0.0, -30.0, 90.0, 179.9, 360.0]))


def values(kind):
    """Typed values for some of a kind's dimensions."""
    fields = {}
    for name, info in kind.dims.model_fields.items():
        annotation = str(info.annotation)
        if name in ("material", "bolt_size", "bolt_grade"):
            continue
        if name == "style":
            fields[name] = st.sampled_from(["flat", "folded"])
        elif name == "fix":
            fields[name] = st.sampled_from(["welded", "bolted"])
        elif "int" in annotation and "float" not in annotation:
            fields[name] = st.integers(-1, 14)
        elif name == "k":
            fields[name] = st.floats(-0.1, 0.7)
        elif name in ("angle", "lean", "fold_angle"):
            fields[name] = ANGLES
        else:
            fields[name] = SIZES
    return st.fixed_dictionaries({}, optional=fields)


def judged(plate):
    assert np.isfinite(plate.outline.vertices).all()
    assert plate.area > 0
    assert plate.outline.is_simple()
    whole = sum(f.loop.area for f in plate.facets) + sum(b.loop.area for b in plate.bends)
    assert whole == pytest.approx(plate.outline.area, rel=1e-6)
    for facet in plate.facets:
        flat = facet.loop.vertices
        space = plate.car_points(flat)
        a = np.linalg.norm(flat[:, None] - flat[None], axis=2)
        b = np.linalg.norm(space[:, None] - space[None], axis=2)
        assert b == pytest.approx(a, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("name", PLATE_KINDS)
@settings(max_examples=30)
@given(data=st.data())
def test_made_whole_or_refused_in_words(name, data):
    kind = PLATE_KINDS[name]
    given_values = data.draw(values(kind))
    try:
        plates = kind.make(kind.read(given_values)).cage.plates
        for p in plates:
            judged(p)
            dxf_bytes(plate_drawing(p, CutOptions(letter_height=0, check_bar=0)), DxfOptions())
    except (CagekitError, ValidationError) as error:
        assert len(str(error)) > 20

"""What is done with one vector or one row of steps is what numpy's general way does, to the bit."""

from __future__ import annotations

import numpy as np
import pytest

from cagekit.geometry.arrays import cross3, even, size3
from cagekit.geometry.centre_line import rotate


@pytest.mark.parametrize("number", [2, 3, 7, 12, 240])
def test_even_steps_are_those_of_numpy(number: int) -> None:
    lengths = np.random.default_rng(number).uniform(0.0, 4000.0, 400)
    for length in [0.0, 1e-9, *lengths.tolist()]:
        assert even(length, number).tobytes() == np.linspace(0.0, length, number).tobytes()


def test_one_vector_is_crossed_measured_and_turned_as_many_are() -> None:
    rng = np.random.default_rng(5)
    for a, b, angle in zip(*rng.normal(size=(2, 400, 3)), rng.normal(size=400), strict=True):
        assert cross3(a, b).tobytes() == np.cross(a, b).tobytes()
        assert size3(a) == np.linalg.norm(a)
        axis = a / size3(a)
        assert rotate(b, axis, angle) == pytest.approx(rotate(np.array([b]), axis, angle)[0])

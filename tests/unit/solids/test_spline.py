"""The interpolation tool against what every B-spline must do."""

from __future__ import annotations

import numpy as np
import pytest

from cagekit.solids.spline import LADDER, basis, interpolant


@pytest.mark.parametrize("n", LADDER)
def test_basis_sums_to_one_and_is_never_negative(n: int) -> None:
    tool = interpolant(n)
    full = np.repeat(tool.knots, tool.multiplicities)
    table = basis(np.linspace(0.0, 1.0, 301), full, 5)
    np.testing.assert_allclose(table.sum(axis=1), 1.0, atol=1e-12)
    assert table.min() > -1e-12


@pytest.mark.parametrize("n", LADDER)
def test_a_quintic_is_met_everywhere(n: int) -> None:
    tool = interpolant(n)
    coefficients = np.array([[3.0, -1.0], [2.0, 5.0], [-7.0, 0.5], [1.0, 1.0], [4.0, -2.0], [2, 3]])
    samples = np.stack([np.polynomial.Polynomial(c)(tool.all_nodes) for c in coefficients.T], 1)
    poles, off = tool.fit(samples)
    assert poles.shape == (n, 2)
    assert off < 1e-10


def test_the_error_of_a_circle_falls_with_the_nodes() -> None:
    offs = []
    for n in LADDER[:4]:
        tool = interpolant(n)
        angle = 3.0 * tool.all_nodes
        offs.append(tool.fit(np.stack([np.cos(angle), np.sin(angle)], axis=1))[1])
    assert offs == sorted(offs, reverse=True)
    assert offs[-1] < 1e-9

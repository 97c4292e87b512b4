"""The interpolation tool against what every B-spline must do."""

from __future__ import annotations

import numpy as np
import pytest

from cagekit.geometry.arrays import Array
from cagekit.solids.spline import DEGREE, LADDER, basis, fitted, interpolant


@pytest.mark.parametrize("n", LADDER)
def test_basis_sums_to_one_and_is_never_negative(n: int) -> None:
    tool = interpolant(n)
    full = np.repeat(tool.knots, tool.multiplicities)
    table = basis(np.linspace(0.0, 1.0, 301), full, DEGREE)
    np.testing.assert_allclose(table.sum(axis=1), 1.0, atol=1e-12)
    assert table.min() > -1e-12


@pytest.mark.parametrize("n", LADDER)
def test_a_polynomial_of_its_degree_is_met_everywhere(n: int) -> None:
    tool = interpolant(n)
    coefficients = np.random.default_rng(n).uniform(-7.0, 7.0, (DEGREE + 1, 2))
    samples = np.stack([np.polynomial.Polynomial(c)(tool.all_nodes) for c in coefficients.T], 1)
    poles, off = tool.fit(samples)
    assert poles.shape == (n, 2)
    assert off < 1e-10


def test_the_error_of_a_circle_falls_with_the_nodes() -> None:
    offs = []
    for n in LADDER[:3]:
        tool = interpolant(n)
        angle = 3.0 * tool.all_nodes
        offs.append(tool.fit(np.stack([np.cos(angle), np.sin(angle)], axis=1))[1])
    assert offs == sorted(offs, reverse=True)
    assert offs[-1] < 1e-9


@pytest.mark.parametrize("close", [1e-3, 2e-5, 1e-7])
@pytest.mark.parametrize("turns", [0.2, 1.0])
def test_a_fit_takes_hardly_more_nodes_than_it_needs(close: float, turns: float) -> None:
    def ring(u: Array) -> Array:
        angle = 2 * np.pi * turns * u
        return np.stack([20 * np.cos(angle), 20 * np.sin(angle), 5 * np.cos(2 * angle)], axis=1)

    fit = fitted(ring, close)
    assert fit.off < close
    fewer = [n for n in LADDER if n < len(fit.poles)][:-2]
    for n in fewer:
        tool = interpolant(n)
        assert tool.fit(ring(tool.all_nodes))[1] > close
    between = np.linspace(0.0, 1.0, 1001)
    full = np.repeat(fit.tool.knots, fit.tool.multiplicities)
    off = np.linalg.norm(basis(between, full, DEGREE) @ fit.poles - ring(between), axis=1)
    assert off.max() < 3 * close

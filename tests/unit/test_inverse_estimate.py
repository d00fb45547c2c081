"""Smooth curves, evidence, Gauss-Newton: on problems with a known answer."""

from __future__ import annotations

import numpy as np
import pytest

from heatq.inverse.estimate import STRENGTHS, SmoothCurve, autocorrelation, estimate, noise_of


def test_basis_sums_to_one_and_is_constant_beyond_the_ends():
    curve = SmoothCurve(np.array([0.0, 1.0, 3.0, 10.0]))
    matrix = curve.basis(np.array([-5.0, 0.0, 2.2, 10.0, 50.0]))
    assert matrix.sum(axis=1) == pytest.approx(np.ones(5))
    assert matrix[0] == pytest.approx(matrix[1])
    assert matrix[3] == pytest.approx(matrix[4], abs=1e-9)


def test_straight_line_costs_only_the_weak_prior():
    curve = SmoothCurve(np.linspace(0.0, 1.0, 9))
    line = np.linspace(-1.0, 1.0, curve.count)
    bent = line**2
    tight = curve.precision(1e-3)
    assert line @ tight @ line < 1.0
    assert bent @ tight @ bent > 100.0


def test_noise_of_a_smooth_record():
    rng = np.random.default_rng(0)
    t = np.linspace(0.0, 5.0, 1000)
    found = [noise_of(850.0 * np.exp(-t) + rng.normal(0.0, s, t.size)) for s in (0.3, 2.0)]
    assert found == pytest.approx([0.3, 2.0], rel=0.1)


def test_autocorrelation():
    rng = np.random.default_rng(0)
    white = rng.normal(size=4000)
    walk = np.convolve(white, [1.0, 0.5])  # rho = 0.5/1.25
    assert autocorrelation([white]) == pytest.approx(0.0, abs=0.05)
    assert autocorrelation([walk, walk]) == pytest.approx(0.4, abs=0.05)


def smoothing(truth, noise, seed, count=200, nodes=25):
    """Posterior of plain smoothing, for which the linearisation is exact."""
    rng = np.random.default_rng(seed)
    x = np.linspace(0.0, 1.0, count)
    curve = SmoothCurve(np.linspace(0.0, 1.0, nodes))
    matrix = curve.basis(x)
    data = truth(x) + rng.normal(0.0, noise, count)

    def model(theta, with_jacobian):
        return matrix @ theta, matrix if with_jacobian else None

    zero = np.zeros(curve.count)
    return x, matrix, estimate(model, data, zero, curve.precision, zero, guess=noise, largest_step=100.0)


def test_smoothing_finds_noise_and_covers_the_truth():
    def truth(x):
        return np.sin(6.0 * x) + 0.5 * np.exp(-(((x - 0.6) / 0.08) ** 2))

    covered = []
    for seed in range(20):
        x, matrix, found = smoothing(truth, 0.1, seed)
        assert found.is_converged
        assert found.noise == pytest.approx(0.1, rel=0.25)
        spread = np.sqrt(np.einsum("ij,jk,ik->i", matrix, found.covariance, matrix))
        covered.append(np.abs(matrix @ found.mean - truth(x)) < 1.645 * spread)
    assert 0.85 < np.mean(covered) < 0.97


def test_a_straight_truth_gets_few_effective_parameters():
    _, _, straight = smoothing(lambda x: 2.0 * x, 0.1, 1)
    _, _, wavy = smoothing(lambda x: np.sin(25.0 * x), 0.1, 1)
    assert straight.freedom < 4.0 < 10.0 < wavy.freedom
    assert straight.strength < wavy.strength


def test_strength_is_averaged_over():
    _, _, found = smoothing(np.sin, 0.1, 2)
    assert found.strength_weights.shape == STRENGTHS.shape
    assert found.strength_weights.sum() == pytest.approx(1.0)
    assert (found.strength_weights > 0.01).sum() > 2


def test_correlated_residuals_widen_the_band():
    x = np.linspace(0.0, 1.0, 400)
    curve = SmoothCurve(np.linspace(0.0, 1.0, 6))
    matrix = curve.basis(x)
    rng = np.random.default_rng(4)
    walk = np.empty(400)
    walk[0] = rng.normal()
    for n in range(1, 400):
        walk[n] = 0.8 * walk[n - 1] + 0.6 * rng.normal()

    def model(theta, with_jacobian):
        return matrix @ theta, matrix if with_jacobian else None

    zero = np.zeros(curve.count)
    found = estimate(model, x + walk, zero, curve.precision, zero, largest_step=100.0)
    assert found.inflation == pytest.approx(9.0, rel=0.4)  # (1 + 0.8)/(1 - 0.8)


def test_nonlinear_problem_with_a_nuisance():
    """y = exp(c) (1 + 0.1 eta) with eta known to +-1: the data cannot separate them, the band must hold both."""
    x = np.linspace(0.0, 1.0, 50)
    curve = SmoothCurve(np.linspace(0.0, 1.0, 4))
    matrix = curve.basis(x)
    data = np.full(50, np.exp(1.0))

    def model(theta, with_jacobian):
        value = np.exp(matrix @ theta[:-1]) * (1.0 + 0.1 * theta[-1])
        if not with_jacobian:
            return value, None
        return value, np.column_stack([value[:, None] * matrix, 0.1 * np.exp(matrix @ theta[:-1])])

    def precision(strength):
        out = np.eye(curve.count + 1)
        out[:-1, :-1] = curve.precision(strength)
        return out

    zero = np.zeros(curve.count + 1)
    found = estimate(model, data, zero, precision, zero, noise=0.01)
    assert (matrix @ found.mean[:-1])[25] == pytest.approx(1.0, abs=0.05)
    spread = np.sqrt(matrix[25] @ found.covariance[:-1, :-1] @ matrix[25])
    assert spread == pytest.approx(0.1, rel=0.15)

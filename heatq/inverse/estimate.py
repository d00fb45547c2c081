"""Bayesian least squares with a smoothness prior whose strength the data choose: arrays in, arrays out, no physics.

Unknowns are ``theta = [c, eta]``: B-spline coefficients ``c`` of a curve, and nuisance parameters ``eta`` in units of
their own standard deviation (position of a couple, lag, calibration). Data are ``y = f(theta) + noise``.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.errors import SolverError

__all__ = ["Posterior", "SmoothCurve", "autocorrelation", "estimate", "noise_of"]

Array = npt.NDArray[np.float64]

#: Standard deviation of the mean of the unknown curve about the start guess, and of its change from end to end: a
#: factor of 10 for a logarithm. Weak on purpose: it only keeps the prior proper.
#: Gain in twice the log posterior below which the search stops.
LEAST_GAIN = 0.5
#: Share of the misfit that the first steps take for noise.
ANNEAL = 0.3
LEVEL = np.log(10.0)
#: Candidates for the strength: standard deviation of the second differences of the coefficients. The roughest one lets a
#: coefficient turn from growing threefold to falling threefold between three nodes: a peak of boiling water at nodes every 30 K.
STRENGTHS = np.geomspace(1e-3, 1.0, 19)


@dataclasses.dataclass(frozen=True)
class SmoothCurve:
    """A cubic P-spline over a coordinate: uniform B-splines, second differences penalised (Eilers & Marx 1996).

    Parameters
    ----------
    nodes : array
        Rising values of the coordinate (degC or s). Between them the spline's own coordinate is linear, so that
        nodes that lie closer allow the curve to change faster there.

    Notes
    -----
    Eilers & Marx, Statistical Science 11 (1996) 89: a generous number of equally spaced B-splines, smoothness by a
    penalty on differences of neighbouring coefficients. Read as a Gaussian prior, the penalty is a discrete integrated
    random walk, and the band of the posterior covers across the function (Wahba, J. R. Statist. Soc. B 45 (1983) 133;
    Nychka, J. Am. Statist. Assoc. 83 (1988) 1134). References from memory.

    Examples
    --------
    >>> curve = SmoothCurve(np.linspace(0.0, 10.0, 6))
    >>> curve.count
    8
    >>> float(curve.basis(np.array([3.3])).sum())
    1.0
    """

    nodes: Array

    @property
    def count(self) -> int:
        """Number of coefficients."""
        return len(self.nodes) + 2

    def basis(self, coordinate: Array) -> Array:
        """Matrix (len(coordinate), count): curve = basis @ coefficients; constant beyond the ends."""
        from scipy.interpolate import BSpline

        last = len(self.nodes) - 1
        position = np.interp(coordinate, self.nodes, np.arange(last + 1.0))
        knots = np.arange(-3.0, last + 4.0)
        return BSpline.design_matrix(np.clip(position, 0.0, last * (1 - 1e-12)), knots, 3).toarray()

    def precision(self, strength: float) -> Array:
        """Prior precision of the coefficients (before their mean is taken off)."""
        differences = np.diff(np.eye(self.count), n=2, axis=0)
        mean = np.full(self.count, 1.0 / self.count)
        slope = np.zeros(self.count)
        slope[0], slope[-1] = -1.0, 1.0
        weak = (np.outer(mean, mean) + np.outer(slope, slope) / 4.0) / LEVEL**2
        return differences.T @ differences / strength**2 + weak


@dataclasses.dataclass(frozen=True)
class Posterior:
    """Mean and covariance of all unknowns; the smoothness is averaged over, not merely chosen."""

    mean: Array
    covariance: Array
    prior_covariance: Array
    """With the same averaging over the strength."""
    noise: float
    """Standard deviation of one reading, K."""
    inflation: float
    """Factor on the noise variance for residuals that hang together in time."""
    strength: float
    """The most likely strength of the smoothness prior."""
    strength_weights: Array
    """Probability of each of `STRENGTHS`."""
    freedom: float
    """Effective number of parameters, trace of the influence matrix."""
    resolution: Array
    """Diagonal of the resolution matrix, one per coefficient: 1 seen by the data alone, 0 by the prior alone."""
    fitted: Array
    iterations: int
    is_converged: bool


def noise_of(readings: Array) -> float:
    """Standard deviation of white noise in a smooth record, from its third differences.

    The third difference of white noise has variance 20 sigma^2; a smooth course adds little to it. The median of the
    absolute values is used, so that a fast stretch does not count.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> record = 800.0 * np.exp(-np.linspace(0.0, 3.0, 2000)) + rng.normal(0.0, 1.0, 2000)
    >>> bool(0.9 < noise_of(record) < 1.1)
    True
    """
    if readings.size < 8:
        return float("nan")
    return float(np.median(np.abs(np.diff(readings, n=3))) / (0.6744897501960817 * np.sqrt(20.0)))


def autocorrelation(residuals: list[Array]) -> float:
    """Correlation of neighbouring residuals, over all channels."""
    above = float(sum((r[1:] * r[:-1]).sum() for r in residuals))
    below = float(sum((r**2).sum() for r in residuals))
    return above / below if below > 0 else 0.0


def _evidence(
    normal: Array, gradient: Array, square: float, count: int, prior: Array, offset: Array, noise: float | None
) -> tuple[float, float, Array, Any]:
    """Log evidence of the linearised problem, noise, step from the linearisation point, covariance.

    The misfit is |r - J d|^2, the prior (d - offset)' P (d - offset). Where the noise is not given it is found by
    MacKay's fixed point sigma^2 = |r - J d|^2/(n - gamma), gamma the effective number of parameters (MacKay, Neural
    Computation 4 (1992) 415, from memory).
    """
    variance: float = noise**2 if noise is not None else float(np.maximum(square / count, 1e-12))
    for _ in range(1 if noise is not None else 12):
        precision = normal / variance + prior
        covariance = np.linalg.inv(precision)
        step = covariance @ (gradient / variance + prior @ offset)
        misfit = float(np.maximum(square - 2.0 * gradient @ step + step @ normal @ step, 1e-12))
        if noise is None:
            freedom = float(np.trace(covariance @ normal)) / variance
            renewed = misfit / max(count - freedom, 1.0)
            if abs(renewed / variance - 1.0) < 1e-3:
                break
            variance = float(renewed)
    miss = step - offset
    log_evidence = -0.5 * (
        count * np.log(variance)
        + misfit / variance
        + miss @ prior @ miss
        + np.linalg.slogdet(precision)[1]
        - np.linalg.slogdet(prior)[1]
    )
    return float(log_evidence), float(np.sqrt(variance)), step, covariance


def _shortened(step: Array, covariance: Array, largest: float) -> Array:
    """A step no unknown of which moves by more than ``largest``: damped, so that the well known ones keep theirs (Levenberg)."""
    if np.abs(step).max() <= largest:
        return step
    precision = np.linalg.inv(covariance)
    slope = precision @ step
    scale = float(np.median(np.diag(precision)))
    for damping in np.geomspace(1e-6, 1e4, 31):
        damped = np.linalg.solve(precision + damping * scale * np.eye(len(step)), slope)
        if np.abs(damped).max() <= largest:
            return damped
    return step * largest / np.abs(step).max()


def estimate(
    model: Callable[[Array, bool], tuple[Array, Array | None]],
    readings: Array,
    start: Array,
    precision: Callable[[float], Array],
    centre: Array,
    *,
    strengths: Array = STRENGTHS,
    noise: float | None = None,
    guess: float = 1.0,
    channels: list[slice] | None = None,
    most_iterations: int = 25,
    largest_step: float = 1.0,
    tolerance: float = 1.0,
) -> Posterior:
    """Find the unknowns and how well they are known.

    Parameters
    ----------
    model : callable
        ``model(theta, with_jacobian) -> (predicted readings, Jacobian or None)``.
    readings : array
        Data.
    start : array
        First guess of all unknowns.
    precision : callable
        Prior precision of all unknowns for a strength.
    centre : array
        Prior mean of all unknowns.
    strengths : array
        Candidates for the strength, equally likely beforehand.
    noise : float, optional
        Standard deviation of one reading; found from the data if left out.
    guess : float
        What it may be about, for the first steps.
    channels : list of slice, optional
        Which readings belong to one couple, in order of time.
    most_iterations : int
        Gauss-Newton steps.
    largest_step : float
        Limit of one step of any unknown.
    tolerance : float
        Converged when the squared length of a step, in standard deviations of the posterior, is below this.

    Returns
    -------
    Posterior

    Notes
    -----
    Gauss-Newton with a step limit and step halving. After each step the strength and the noise are those of the
    highest marginal likelihood of the linearised problem. At the end the posterior is averaged over all strengths by
    their marginal likelihood (a Laplace approximation for each): where the data cannot tell how rough the curve is,
    the band becomes wide, instead of as narrow as the smoothest explanation would have it. Residuals that hang
    together in time inflate the noise variance by (1 + rho)/(1 - rho), rho the correlation of neighbours: that many
    fewer independent readings there are in a first-order autoregressive record.
    """
    channels = channels if channels is not None else [slice(0, readings.size)]
    theta = start.copy()
    predicted, jacobian = model(theta, True)
    strength = float(strengths[len(strengths) // 3])
    is_converged = False
    iterations = 0
    while iterations < most_iterations:
        iterations += 1
        assert jacobian is not None
        residual = readings - predicted
        normal, gradient, square = jacobian.T @ jacobian, jacobian.T @ residual, float(residual @ residual)
        # far from the answer the linearisation errs by a share of the misfit: count that as noise, and stay smooth
        rough = ANNEAL * np.sqrt(square / readings.size)
        floor = noise if noise is not None else guess
        used = rough if rough > floor else noise
        found = [
            _evidence(normal, gradient, square, readings.size, precision(s), centre - theta, used) for s in strengths
        ]
        best = int(np.argmax([entry[0] for entry in found]))
        strength = float(strengths[best])
        _, sigma, step, covariance = found[best]
        prior = precision(strength)

        def cost(misfit: float, at: Array, sigma: float = sigma, prior: Array = prior) -> float:
            return misfit / sigma**2 + float((at - centre) @ prior @ (at - centre))

        now = cost(square, theta)
        # Newton decrement: the squared length of the step in standard deviations, all unknowns together
        decrement = float(step @ np.linalg.solve(covariance, step))
        is_converged = decrement < tolerance and rough <= max(floor, sigma)
        step = _shortened(step, covariance, largest_step)
        share = 1.0
        for _ in range(8):
            trial, _ = model(theta + share * step, False)
            reached = cost(float(((readings - trial) ** 2).sum()), theta + share * step)
            if reached <= now * (1.0 + 1e-9):
                break
            share *= 0.5
        else:
            is_converged = is_converged or decrement < 1.0
            break  # no step lowers the cost: as good as the runs can tell
        theta = theta + share * step
        if used == noise and now - reached < LEAST_GAIN:
            is_converged = True  # what is left is below what the runs can tell
        if is_converged:  # the Jacobian would hardly change
            predicted = trial
            break
        predicted, jacobian = model(theta, True)
    if not np.isfinite(theta).all():
        raise SolverError(
            "the inverse problem diverged: some unknown is not finite. Check the readings and the places."
        )
    assert jacobian is not None
    residual = readings - predicted
    correlation = autocorrelation([residual[part] for part in channels])
    threshold = 2.0 / np.sqrt(readings.size)
    rho = min(max(correlation, 0.0), 0.98) if correlation > threshold else 0.0
    inflation = (1.0 + rho) / (1.0 - rho)
    return _average(
        jacobian, residual, theta, centre, precision, strengths, noise, inflation, predicted, iterations, is_converged
    )


def _average(
    jacobian: Array,
    residual: Array,
    theta: Array,
    centre: Array,
    precision: Callable[[float], Array],
    strengths: Array,
    noise: float | None,
    inflation: float,
    predicted: Array,
    iterations: int,
    is_converged: bool,
) -> Posterior:
    """Posterior averaged over the strengths."""
    # an inflated variance for all is the same as that many fewer readings
    thin = 1.0 / np.sqrt(inflation)
    jacobian, residual = jacobian * thin, residual * thin
    count = residual.size / inflation
    normal, gradient, square = jacobian.T @ jacobian, jacobian.T @ residual, float(residual @ residual)
    found = [
        _evidence(normal, gradient, square, int(round(count)), precision(s), centre - theta, noise) for s in strengths
    ]
    logs = np.array([entry[0] for entry in found])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    steps = np.array([entry[2] for entry in found])
    # far from the best strength the linearised step may leave the range of the linearisation
    steps = np.clip(steps, -1.0, 1.0)
    mean_step = weights @ steps
    covariance = np.einsum("s,sij->ij", weights, np.array([entry[3] for entry in found]))
    off = steps - mean_step
    covariance = covariance + np.einsum("s,si,sj->ij", weights, off, off)
    prior = np.einsum("s,sij->ij", weights, np.array([np.linalg.inv(precision(s)) for s in strengths]))
    best = int(np.argmax(logs))
    sigma = float(weights @ np.array([entry[1] for entry in found]))
    influence = found[best][3] @ normal / found[best][1] ** 2
    return Posterior(
        mean=theta + mean_step,
        covariance=covariance,
        prior_covariance=prior,
        noise=sigma,
        inflation=inflation,
        strength=float(strengths[best]),
        strength_weights=weights,
        freedom=float(np.trace(influence)),
        resolution=np.diag(influence).copy(),
        fitted=predicted,
        iterations=iterations,
        is_converged=is_converged,
    )

r"""The integral S of the law of Li et al. 1998 and its inverse: from a sum of rates to a transformed fraction.

S(X) = integral from 0 to X of dx / (x^(0.4 (1 - x)) (1 - x)^(0.4 x)) is the same for every phase and temperature, so that
y = integral of k dt adds up along any path and X = S^-1(y); see `heatq.transformation.rates`.
"""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError

__all__ = ["S_COMPLETE", "s_integral", "s_inverse", "s_inverse_table"]

Array = npt.NDArray[np.float64]


def _s_half(fraction: Array) -> Array:
    """S(X) for X <= 0.5 by Gauss-Legendre in v, x = v**5, which makes the integrand smooth at 0."""
    nodes, weights = np.polynomial.legendre.leggauss(40)
    end = np.power(fraction, 0.2)[..., np.newaxis]
    v = 0.5 * end * (nodes + 1.0)
    return 0.5 * end[..., 0] * np.sum(weights * _s_slope(v), axis=-1)


def _s_slope(v: Array) -> Array:
    """dS/dv with x = v**5: 5 v**4 x**(-0.4(1 - x)) (1 - x)**(-0.4 x)."""
    x = v**5
    return 5.0 * np.power(v, 2.0 + 2.0 * x) * np.exp(-0.4 * x * np.log1p(-x))


def s_integral(fraction: npt.ArrayLike) -> Array:
    """S(X) = integral from 0 to X of dx / [x^(0.4 (1 - x)) (1 - x)^(0.4 x)], accurate to 1e-12.

    Finite at X = 1 (2.0518); symmetric, S(X) + S(1 - X) = S(1). The integrand is singular at both ends: the
    substitution x = v^5 removes that at 0, the symmetry that at 1.

    Parameters
    ----------
    fraction : array_like
        Normalised fraction, 0 to 1.

    Examples
    --------
    >>> [round(float(s_integral(x)), 4) for x in (0.001, 0.01, 0.1, 0.5, 0.9, 0.99, 1.0)]
    [0.0264, 0.1043, 0.4012, 1.0259, 1.6506, 1.9474, 2.0518]
    """
    x = np.asarray(fraction, dtype=float)
    if np.any(x < 0.0) or np.any(x > 1.0):
        raise InputError(f"fraction = {fraction!r} is outside 0 to 1. It is the normalised fraction, not a percentage.")
    upper = x > 0.5
    half = _s_half(np.where(upper, 1.0 - x, x))
    return np.where(upper, S_COMPLETE - half, half)


#: S(1) = 2 S(0.5): the accumulated y at which a transformation is complete.
S_COMPLETE = 2.0 * float(_s_half(np.array([0.5]))[0])


def s_inverse(y: npt.ArrayLike) -> Array:
    """Normalised fraction X = S^-1(y); 0 for y <= 0, 1 for y >= S(1).

    By Newton's method in v, X = v^5 (y is close to 5/3 v^3 near zero), so it is accurate down to the smallest y.

    Examples
    --------
    >>> round(float(s_inverse(0.1043)), 4)
    0.01
    """
    held: Array = np.clip(np.asarray(y, dtype=float), 0.0, S_COMPLETE)
    upper = held > 0.5 * S_COMPLETE
    target = np.where(upper, S_COMPLETE - held, held)
    v = np.clip(np.cbrt(0.6 * target), 1e-30, 0.5**0.2)
    for _ in range(20):
        step = np.where(target > 0.0, (_s_half(v**5) - target) / _s_slope(v), 0.0)
        v = np.clip(v - step, 1e-30, 0.5**0.2)
        if np.all(np.abs(step) <= 1e-9 * v):  # quadratic: the next error is below round-off
            break
    x = np.where(target > 0.0, v**5, 0.0)
    return np.where(upper, 1.0 - x, x)


@functools.lru_cache(maxsize=8)
def s_inverse_table(n: int = 4097) -> Array:
    """X on a uniform grid of n points in y from 0 to S(1), for linear interpolation in a kernel.

    Grid spacing S_COMPLETE / (n - 1). X starts as (0.6 y)^(5/3), whose curvature is unbounded but weak, so a uniform
    grid is good: the largest error of linear interpolation is 2.5e-7 for n = 4097 and 2.5e-6 for n = 1025 (in the
    first and last cell); for n = 4097 it is below 1 % of X from X = 1.2e-5 on.

    Returns
    -------
    numpy.ndarray
        float64, strictly increasing, X[0] = 0, X[-1] = 1. Read-only (it is cached).
    """
    if n < 3:
        raise InputError(f"n = {n} must be at least 3: a table needs three points.")
    table = s_inverse(np.linspace(0.0, S_COMPLETE, n))
    table[0], table[-1] = 0.0, 1.0
    table.setflags(write=False)
    return table

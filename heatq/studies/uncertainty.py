"""What a sampled study says: percentiles and probabilities, each with its own standard error.

A percentile of 100 cases is itself uncertain. Its error follows from the order of the cases alone, whatever the
distribution is; where the cases come in independent replicates (`heatq.studies.sampling.sample` with ``replicates``),
from how far those differ.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq._version import __version__
from heatq.errors import InputError, check_name, check_number

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["ok_cases", "percentile_error", "summary", "wilson_interval"]

Array = npt.NDArray[np.float64]

#: Standard errors are taken from replicates where there are at least so many.
FEWEST_REPLICATES = 4


def wilson_interval(hits: npt.ArrayLike, count: npt.ArrayLike, level: float = 0.95) -> tuple[Array, Array]:
    """Interval of a probability from counted cases.

    Parameters
    ----------
    hits, count : int or array
        Cases that hit, and all cases.
    level : float
        Probability that the interval holds the true one.

    Returns
    -------
    (low, high)

    Notes
    -----
    (k + z2/2 -+ z sqrt(k (n - k)/n + z2/4)) / (n + z2): within 0 and 1 even for no hit at all, where the textbook's
    p -+ z sqrt(p (1 - p)/n) has no width. E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209 (formula from memory; checked
    against `scipy.stats.binomtest`).

    Examples
    --------
    >>> low, high = wilson_interval(0, 64)
    >>> round(float(low), 3), round(float(high), 3)
    (0.0, 0.057)
    """
    from scipy.special import ndtri

    return _wilson(hits, count, float(ndtri(0.5 + 0.5 * level)))


def _wilson(hits: npt.ArrayLike, count: npt.ArrayLike, z: float) -> tuple[Array, Array]:
    """Wilson's interval, z standard deviations either way."""
    k, n = np.asarray(hits, dtype=float), np.asarray(count, dtype=float)
    with np.errstate(invalid="ignore", divide="ignore"):
        half = z * np.sqrt(k * (n - k) / n + 0.25 * z**2)
        low, high = (k + 0.5 * z**2 - half) / (n + z**2), (k + 0.5 * z**2 + half) / (n + z**2)
    low, high = np.where(k == 0, 0.0, low), np.where(k == n, 1.0, high)
    return np.where(n > 0, low, np.nan), np.where(n > 0, high, np.nan)


def percentile_error(values: npt.ArrayLike, levels: Sequence[float]) -> Array:
    """Standard error of percentiles of independent cases.

    Parameters
    ----------
    values : array
        Cases along the first axis.
    levels : sequence of float
        Percentiles, 0 to 100.

    Returns
    -------
    array
        Levels in front of the other axes.

    Notes
    -----
    The share of all that lies below the m-th of n cases has a beta distribution, so the percentile p is the m-th case
    with the weight w_m = I(m/n; a, b) - I((m-1)/n; a, b), a = p (n+1), b = (1-p) (n+1); its variance is sum w x2 -
    (sum w x)2. J. S. Maritz and R. G. Jarrett, J. Am. Stat. Assoc. 73 (1978) 194, with the weights of F. E. Harrell
    and C. E. Davis, Biometrika 69 (1982) 635 (both from memory; checked on normal samples, whose error is known, in
    the tests).

    Examples
    --------
    The median of 400 cases of a normal distribution, sqrt(pi/2/400) = 0.063 of its standard deviation:

    >>> import numpy as np
    >>> from scipy.special import ndtri
    >>> round(float(percentile_error(ndtri((np.arange(400) + 0.5) / 400), [50.0])[0]), 3)
    0.063
    """
    from scipy.special import betainc

    ordered = np.sort(np.asarray(values, dtype=float), axis=0)
    n = len(ordered)
    result = []
    for level in levels:
        share = level / 100.0
        edges = betainc(share * (n + 1), (1.0 - share) * (n + 1), np.arange(n + 1) / n)
        weights = np.diff(edges)
        centre = np.tensordot(weights, ordered, axes=(0, 0))
        square = np.tensordot(weights, (ordered - centre) ** 2, axes=(0, 0))
        result.append(np.sqrt(square))
    return np.array(result)


def ok_cases(study: xr.Dataset) -> npt.NDArray[np.bool_]:
    """Which cases of a sampled study came to an end: one boolean per case; all without a ``status``.

    Parameters
    ----------
    study : xarray.Dataset
        Of `heatq.study` over a sample or a list of points.

    Examples
    --------
    >>> import xarray as xr
    >>> ok_cases(xr.Dataset({"status": ("case", ["ok", "failed"])})).tolist()
    [True, False]
    """
    if not hasattr(study, "data_vars") or "case" not in study.dims:
        raise InputError(
            "study has no dimension 'case': pass what heatq.study() returned for a sample or a list of points; "
            "a grid of a full factorial is no sample."
        )
    if "status" not in study:
        return np.ones(study.sizes["case"], dtype=bool)
    return np.asarray(study["status"].values.astype(str) == "ok")


def enough_cases(study: xr.Dataset) -> npt.NDArray[np.bool_]:
    """Which cases came to an end, if at least two did; else an error with the reason of the first."""
    done = ok_cases(study)
    if done.sum() < 2:
        told = str(study["message"].values[np.argmin(done)]) if "message" in study else ""
        why = f" The first that did not: {told}" if told else ""
        raise InputError(f"study: {int(done.sum())} of {len(done)} cases came to an end; nothing can be said.{why}")
    return done


def chosen_variables(study: xr.Dataset, variables: str | Sequence[str] | None) -> list[str]:
    """Variables to work on: those named, or all numbers over ``case``."""
    numeric = [
        str(name)
        for name, variable in study.data_vars.items()
        if "case" in variable.dims and variable.dtype.kind in "fiub" and name not in ("status", "message")
    ]
    if variables is None:
        if not numeric:
            raise InputError("study holds no numeric variable over 'case'.")
        return numeric
    wanted = [variables] if isinstance(variables, str) else [str(name) for name in variables]
    for name in wanted:
        check_name("variables", name, numeric, what="variable of the study")
    return wanted


def _replicates(study: xr.Dataset, replicates: int | None) -> Array | None:
    """Number of the replicate of every case, or None where there are too few."""
    count = int(study.attrs.get("replicates", 1)) if replicates is None else replicates
    if isinstance(count, bool) or not isinstance(count, int) or count < 1 or study.sizes["case"] % count:
        raise InputError(
            f"replicates = {count!r} do not divide the {study.sizes['case']} cases of the study; give the number of the "
            "sample(), with all of its cases, or replicates=1."
        )
    if count < FEWEST_REPLICATES:
        return None
    return np.repeat(np.arange(count, dtype=float), study.sizes["case"] // count)


def _shrink(below: Array, replicate: Array | None, share: Array) -> Array:
    """Standard error of a share against that of independent cases, from replicates; 1 without.

    ``below``: cases in front, 0 or 1. A replicate counts whole cases, so an error smaller than the rounding to one case
    (uniform, 1/sqrt(12)) cannot be seen and is not claimed.
    """
    if replicate is None:
        return np.ones(below.shape[1:])
    groups = [below[replicate == number] for number in np.unique(replicate)]
    groups = [group for group in groups if len(group)]
    if len(groups) < FEWEST_REPLICATES:
        return np.ones(below.shape[1:])
    n = float(np.mean([len(group) for group in groups]))
    variance = np.var([group.mean(axis=0) for group in groups], axis=0, ddof=1)
    variance = np.maximum(variance, 1.0 / 12.0 / n**2)
    independent = np.maximum(share * (1.0 - share), 1e-12) / n
    return np.sqrt(variance / independent)


def _below_scale(units: str) -> bool:
    """HRC is missing below 20: there a missing value of a finished case is a low one."""
    return units == "HRC"


def summary(
    study: xr.Dataset,
    levels: Sequence[float] = (5.0, 50.0, 95.0),
    *,
    variables: str | Sequence[str] | None = None,
    at_least: Mapping[str, float] | None = None,
    replicates: int | None = None,
    confidence: float = 0.95,
) -> xr.Dataset:
    """Percentiles, mean and the probability to meet a requirement, over the cases of a sampled study.

    Parameters
    ----------
    study : xarray.Dataset
        Of `heatq.study` over a sample; dimension ``case``.
    levels : sequence of float
        Percentiles, between 0 and 100.
    variables : str or sequence of str, optional
        The default takes every number over ``case``.
    at_least : dict, optional
        Variable -> requirement in its unit; adds the probability that a case reaches it.
    replicates : int, optional
        Of the sample, if it was drawn in replicates; by default what the attribute of that name says, or else 1.
    confidence : float
        Of the intervals.

    Returns
    -------
    xarray.Dataset
        Per variable ``x``: ``x_percentile(level, ...)``, ``x_percentile_error`` (one standard error) and
        ``x_percentile_interval(bound, ...)``; ``x_mean``, ``x_mean_error``, ``x_deviation``; ``x_cases``, how many
        cases it stands on; with ``at_least`` also ``x_probability``, ``x_probability_error`` and
        ``x_probability_interval``. Attributes: ``cases``, ``failed`` and the reasons in ``failures``.

    Notes
    -----
    Failed cases are left out and counted: where they fail for a reason that has to do with the result, what is left
    is not the whole. HRC is missing below 20; a finished case without HRC counts as lower than all others, a
    percentile that falls among them is missing, and so are mean and deviation (take HV for those).

    Percentiles are median-unbiased (Hyndman and Fan 1996, type 8). Interval of a percentile: the cases whose numbers
    hold it with the given confidence (binomial), missing where so few cases bound it on one side only. Of a
    probability: :func:`wilson_interval`. With four replicates or more, both are narrowed or widened by the ratio of
    the spread of the replicates to that of independent cases, with Student's quantile.

    Examples
    --------
    >>> import numpy as np, xarray as xr
    >>> cases = xr.Dataset({"hardness_hv": ("case", np.random.default_rng(0).normal(500.0, 20.0, 400), {"units": "HV"})})
    >>> told = summary(cases, at_least={"hardness_hv": 480.0})
    >>> print(f"{float(told.hardness_hv_probability):.2f} +- {float(told.hardness_hv_probability_error):.2f}")
    0.82 +- 0.02
    """
    import xarray as xr

    check_number("confidence", confidence, low=0.5, high=0.9999, unit="1", hint="0.95, not 95.")
    asked = [levels] if isinstance(levels, int | float) else list(levels)
    asked = [
        check_number("levels", level, low=0.0, high=100.0, unit="%", hint="Percentiles: 5, not 0.05.", low_open=True)
        for level in asked
    ]
    if not asked or max(asked) >= 100.0:
        raise InputError(f"levels = {levels!r}: percentiles between 0 and 100, at least one, such as (5, 50, 95).")
    done = enough_cases(study)
    names = chosen_variables(study, variables)
    required = dict(at_least or {})
    for name in required:
        check_name("at_least", name, names, what="variable of the study")
    replicate = _replicates(study, replicates)
    result = xr.Dataset()
    result.coords["level"] = ("level", np.array(asked), {"units": "%", "long_name": "percentile"})
    result.coords["bound"] = (
        "bound",
        ["low", "high"],
        {"units": "1", "long_name": f"bound of the {100 * confidence:g} % interval"},
    )
    for name in names:
        data = study[name].transpose("case", ...)
        rest = data.dims[1:]
        for dim in rest:
            if dim in study.coords:
                result.coords[dim] = study[dim]
        _describe(result, name, data, done, asked, confidence, replicate, required.get(name))
    for coordinate in study.coords:  # distance(probe) and the like
        if "case" not in study[coordinate].dims and set(study[coordinate].dims) <= set(result.dims):
            result.coords[coordinate] = study[coordinate]
    failures: dict[str, int] = {}
    if "message" in study:
        for text in study["message"].values[~done]:
            reason = str(text) or "missing"
            failures[reason] = failures.get(reason, 0) + 1
    by_replicates = replicate is not None
    result.attrs = {
        "heatq_version": __version__,
        "cases": len(done),
        "failed": int((~done).sum()),
        "failures": json.dumps(failures),
        "confidence": float(confidence),
        "standard_errors": "spread of replicates" if by_replicates else "order of independent cases",
        "sampling": str(study.attrs.get("sampling", "unknown")),
        "at_least": json.dumps(required),
    }
    return result


def _describe(
    result: xr.Dataset,
    name: str,
    data: xr.DataArray,
    done: npt.NDArray[np.bool_],
    levels: list[float],
    confidence: float,
    replicate: Array | None,
    required: float | None,
) -> None:
    """Add everything about one variable to the summary."""
    units = str(data.attrs.get("units", "1"))
    long_name = str(data.attrs.get("long_name", name.replace("_", " ")))
    values = np.asarray(data.values, dtype=float)
    flat = values.reshape(len(values), -1)
    known = np.repeat(done[:, None], flat.shape[1], axis=1)
    if _below_scale(units):
        flat = np.where(np.isnan(flat), -np.inf, flat)
    else:
        known &= np.isfinite(flat)
    shape, dims = values.shape[1:], tuple(data.dims[1:])
    columns = [
        _column(
            flat[known[:, k], k], None if replicate is None else replicate[known[:, k]], levels, confidence, required
        )
        for k in range(flat.shape[1])
    ]

    def put(suffix: str, key: str, front: tuple[str, ...], unit: str, words: str) -> None:
        array = np.stack([column[key] for column in columns], axis=-1)
        array = array.reshape((*array.shape[: len(front)], *shape))
        result[f"{name}_{suffix}"] = ((*front, *dims), array, {"units": unit, "long_name": words})

    put("percentile", "percentile", ("level",), units, f"percentiles of {long_name}")
    put("percentile_error", "percentile_error", ("level",), units, f"standard error of the percentiles of {long_name}")
    put(
        "percentile_interval", "percentile_interval", ("bound", "level"), units, f"percentiles of {long_name}, interval"
    )
    put("mean", "mean", (), units, f"mean of {long_name}")
    put("mean_error", "mean_error", (), units, f"standard error of the mean of {long_name}")
    put("deviation", "deviation", (), units, f"standard deviation of {long_name}")
    put("cases", "cases", (), "1", f"cases behind {long_name}")
    if required is not None:
        words = f"probability that {long_name} is at least {required:g} {units}"
        put("probability", "probability", (), "1", words)
        put("probability_error", "probability_error", (), "1", f"standard error of the {words}")
        put("probability_interval", "probability_interval", ("bound",), "1", f"{words}, interval")


def _mean(values: Array, replicate: Array | None) -> tuple[float, float, float]:
    """Mean, its standard error, standard deviation."""
    if not np.isfinite(values).all():
        return np.nan, np.nan, np.nan
    mean, deviation = float(values.mean()), float(values.std(ddof=1))
    if replicate is not None:
        means = [values[replicate == number].mean() for number in np.unique(replicate)]
        if len(means) >= FEWEST_REPLICATES:
            return mean, float(np.std(means, ddof=1) / np.sqrt(len(means))), deviation
    return mean, deviation / float(np.sqrt(len(values))), deviation


def _column(
    values: Array, replicate: Array | None, levels: list[float], confidence: float, required: float | None
) -> dict[str, Any]:
    """Everything about one variable at one place, from its finished cases (-inf: below the scale)."""
    from scipy.special import ndtri
    from scipy.stats import binom, t

    n = len(values)
    tail = 0.5 - 0.5 * confidence
    z = float(ndtri(1.0 - tail)) if replicate is None else float(t.ppf(1.0 - tail, len(np.unique(replicate)) - 1))
    count = len(levels)
    if n < 2:
        nothing = np.full(count, np.nan)
        empty: dict[str, Any] = {"percentile": nothing, "percentile_error": nothing, "cases": n}
        empty |= {"percentile_interval": np.full((2, count), np.nan), "probability_interval": np.full(2, np.nan)}
        return empty | dict.fromkeys(("mean", "mean_error", "deviation", "probability", "probability_error"), np.nan)
    shares = np.array(levels) / 100.0
    ordered = np.sort(values)
    with np.errstate(invalid="ignore"):
        percentile = np.quantile(ordered, shares, method="median_unbiased")
    on_scale = ordered[np.isfinite(ordered)]
    error = np.full(count, np.nan)
    if len(on_scale):  # cases below the scale count as its lowest one
        error = percentile_error(np.maximum(ordered, on_scale[0]), levels)
    error = np.where(np.isfinite(percentile), error, np.nan)
    padded = np.concatenate([[-np.inf], ordered, [np.inf]])  # the k-th case is padded[k]
    if replicate is None:
        first = binom.ppf(tail, n, shares).astype(int)
        last = binom.ppf(1.0 - tail, n, shares).astype(int) + 1
        interval = np.stack([padded[first], padded[np.minimum(last, n + 1)]])
    else:
        below = (values[:, None] <= percentile).astype(float)
        error = error * _shrink(below, replicate, shares)
        wide = z * error
        interval = np.stack([percentile - wide, percentile + wide])
    found: dict[str, Any] = {
        "percentile": np.where(np.isfinite(percentile), percentile, np.nan),
        "percentile_error": error,
        "percentile_interval": np.where(np.isfinite(interval), interval, np.nan),
        "cases": n,
    }
    found["mean"], found["mean_error"], found["deviation"] = _mean(values, replicate)
    if required is not None:
        hit = (values >= required).astype(float)
        reached = float(hit.mean())
        times = float(_shrink(hit[:, None], replicate, np.array([reached]))[0])
        # as many independent cases as would have this error
        effective = n / times**2 if 0.0 < reached < 1.0 else float(n)
        spread = z if 0.0 < reached < 1.0 else float(ndtri(1.0 - tail))  # all alike: replicates tell nothing
        low, high = _wilson(reached * effective, effective, spread)
        agresti = (reached * effective + 1.0) / (effective + 2.0)  # not zero for no hit at all
        found |= {
            "probability": reached,
            "probability_error": float(np.sqrt(agresti * (1.0 - agresti) / (effective + 2.0))),
            "probability_interval": np.array([low, high]),
        }
    return found

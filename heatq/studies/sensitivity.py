"""Which quantity the result hangs on: Sobol' indices of first order and total, from one study.

The first-order index is the share of the variance that would vanish if this quantity alone were known; the total
index the share that would remain if all others were. Their difference is what the quantity does together with others.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq._version import __version__
from heatq.errors import InputError, check_number
from heatq.studies.distributions import CorrelatedNormals, Distribution, names_of
from heatq.studies.sampling import check_count, dataset_of, draw
from heatq.studies.uncertainty import chosen_variables, enough_cases, ok_cases

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["estimate_indices", "indices_of", "saltelli_sample", "sobol_indices"]

Array = npt.NDArray[np.float64]

#: Resamples of the bootstrap.
RESAMPLES = 400


def estimate_indices(first: Array, second: Array, mixed: Array) -> tuple[Array, Array]:
    """Sobol' indices of first order and total, from runs of two samples and their mixtures.

    Parameters
    ----------
    first, second : array
        Results of two independent samples A and B; cases along the first axis.
    mixed : array
        Results of A with one quantity taken from B: quantities along the first axis, then cases.

    Returns
    -------
    (first_order, total)
        Quantities along the first axis.

    Notes
    -----
    S_i = mean(f_B (f_ABi - f_A)) / V (A. Saltelli et al., Comput. Phys. Commun. 181 (2010) 259, Table 2 b, with the
    mean taken off f first, which changes nothing but the noise), ST_i = mean((f_A - f_ABi)2) / (2 V) (M. J. W.
    Jansen, Comput. Phys. Commun. 117 (1999) 35). V over A and B together. Formulas from memory; checked against
    `scipy.stats.sobol_indices`, which has the same, and the exact indices of Ishigami's function, in the tests.

    Examples
    --------
    The sum x + 2 y of two equal distributions: y has four fifths of the variance.

    >>> import numpy as np
    >>> a, b = np.random.default_rng(0).random((2, 4000, 2))
    >>> run = lambda x: x[:, 0] + 2.0 * x[:, 1]
    >>> mixed = np.stack([run(np.stack([b[:, 0], a[:, 1]], 1)), run(np.stack([a[:, 0], b[:, 1]], 1))])
    >>> first_order, total = estimate_indices(run(a), run(b), mixed)
    >>> [round(float(share), 1) for share in first_order]
    [0.2, 0.8]
    """
    both = np.concatenate([first, second])
    centre, variance = both.mean(axis=0), both.var(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        main = np.mean((second - centre) * (mixed - first), axis=1) / variance
        total = 0.5 * np.mean((first - mixed) ** 2, axis=1) / variance
    # a result that does not vary hangs on nothing
    still = variance <= 1e-20 * np.maximum(centre**2, 1e-300)
    return np.where(still, 0.0, main), np.where(still, 0.0, total)


def saltelli_sample(distributions: Mapping[str, Distribution], count: int, *, seed: int = 0) -> xr.Dataset:
    """Sample for :func:`indices_of`: two Sobol' samples of ``count`` points and their mixtures, one per quantity.

    Parameters
    ----------
    distributions : dict
        Name -> independent `Distribution`.
    count : int
        Points, a power of two; the sample has ``count * (quantities + 2)`` cases.
    seed : int
        The same seed gives the same sample.

    Returns
    -------
    xarray.Dataset
        As of `heatq.studies.sampling.sample`.

    Examples
    --------
    >>> points = saltelli_sample({"a": Distribution.uniform(0.0, 1.0), "b": Distribution.uniform(0.0, 1.0)}, 8)
    >>> points.sizes["case"]
    32
    """
    names = names_of(distributions)
    if len(names) < 2:
        raise InputError(
            f"distributions: only {names[0]!r} varies, so all of the variance is its own; give at least two."
        )
    for name, distribution in distributions.items():
        if isinstance(distribution, CorrelatedNormals):
            raise InputError(
                f"distributions: {name!r} is correlated; Sobol' indices share out the variance among independent "
                "quantities. Give each its own Distribution, or use a sample and its summary()."
            )
    count = check_count(count, "sobol")
    points = draw(2 * len(names), count, "sobol", seed)
    first, second = points[:, : len(names)], points[:, len(names) :]
    blocks = [first, second]
    for k in range(len(names)):
        mixed = first.copy()
        mixed[:, k] = second[:, k]
        blocks.append(mixed)
    attrs = {"sampling": "saltelli", "seed": int(seed), "count": count, "replicates": 1}
    return dataset_of(distributions, np.concatenate(blocks), attrs)


def indices_of(
    study: xr.Dataset,
    parameters: Sequence[str] | None = None,
    *,
    variables: str | Sequence[str] | None = None,
    confidence: float = 0.95,
    seed: int = 0,
) -> xr.Dataset:
    """Sobol' indices from a finished study over a :func:`saltelli_sample`.

    Parameters
    ----------
    study : xarray.Dataset
        Of `heatq.study` over that sample, its cases in their order.
    parameters : sequence of str, optional
        The quantities in the order of the sample; by default what the attribute ``parameters`` says.
    variables : str or sequence of str, optional
        The default takes every number over ``case``.
    confidence : float
        Of the intervals.
    seed : int
        Of the bootstrap.

    Returns
    -------
    xarray.Dataset
        Per variable ``x``: ``x_first_order(parameter, ...)``, ``x_total(parameter, ...)``, each with
        ``_interval(bound, ...)`` in front, ``x_variance`` and ``x_points``, the points that came to an end in all
        their mixtures.

    Notes
    -----
    Intervals by bootstrap over the points (percentiles of 400 resamples). The points are Sobol', more even than the
    random ones that the bootstrap stands for, so the intervals are on the wide side. A point of which one mixture
    failed is left out. Indices may come out slightly below 0 or above 1; they are not cut.

    Examples
    --------
    >>> import xarray as xr
    >>> points = saltelli_sample({"a": Distribution.uniform(0.0, 1.0), "b": Distribution.uniform(0.0, 1.0)}, 64)
    >>> points["x"] = ("case", points.a.values + 2.0 * points.b.values, {"units": "1"})
    >>> indices_of(points).x_total.values.round(1).tolist()
    [0.2, 0.8]
    """
    import xarray as xr

    check_number("confidence", confidence, low=0.5, high=0.9999, unit="1", hint="0.95, not 95.")
    names = _parameters(study, parameters)
    blocks = len(names) + 2
    cases = study.sizes["case"]
    if cases % blocks:
        raise InputError(
            f"study has {cases} cases, which are not {blocks} blocks of equal size for the {len(names)} parameters "
            f"{', '.join(names)}; indices need the whole of a saltelli_sample()."
        )
    count = cases // blocks
    done = enough_cases(study)
    result = xr.Dataset(
        coords={
            "parameter": ("parameter", names, {"units": "1", "long_name": "quantity that varies"}),
            "bound": (
                "bound",
                ["low", "high"],
                {"units": "1", "long_name": f"bound of the {100 * confidence:g} % interval"},
            ),
        }
    )
    tail = 0.5 - 0.5 * confidence
    generator = np.random.default_rng(seed)
    for name in chosen_variables(study, variables):
        data = study[name].transpose("case", ...)
        values = np.asarray(data.values, dtype=float)
        shape, dims = values.shape[1:], data.dims[1:]
        flat = values.reshape(cases, -1)
        whole = (np.isfinite(flat).all(axis=1) & done).reshape(blocks, count).all(axis=0)
        finished = done.reshape(blocks, count).all(axis=0)
        if data.attrs.get("units") == "HRC" and whole.sum() < finished.sum():
            raise InputError(
                f"variables: {name!r} is below 20 HRC, where that scale ends, in {int((finished & ~whole).sum())} of "
                f"{int(finished.sum())} points; take the hardness in HV."
            )
        points = int(whole.sum())
        if points < 4:
            raise InputError(f"study: only {points} of {count} points came to an end in all their mixtures.")
        runs = flat.reshape(blocks, count, -1)[:, whole]
        main, total = estimate_indices(runs[0], runs[1], runs[2:])
        drawn = []
        for _ in range(RESAMPLES):
            picked = runs[:, generator.integers(0, points, points)]
            drawn.append(estimate_indices(picked[0], picked[1], picked[2:]))
        spread = np.quantile(np.array(drawn), [tail, 1.0 - tail], axis=0)  # bound, kind, parameter, place
        told = str(data.attrs.get("long_name", name.replace("_", " ")))
        for k, (kind, words, value) in enumerate(
            (("first_order", "first-order Sobol' index of", main), ("total", "total Sobol' index of", total))
        ):
            attrs = {"units": "1", "long_name": f"{words} {told}"}
            result[f"{name}_{kind}"] = (("parameter", *dims), value.reshape(len(names), *shape), attrs)
            result[f"{name}_{kind}_interval"] = (
                ("bound", "parameter", *dims),
                spread[:, k].reshape(2, len(names), *shape),
                {"units": "1", "long_name": f"{words} {told}, interval"},
            )
        variance = np.concatenate([runs[0], runs[1]]).var(axis=0).reshape(shape)
        units = str(data.attrs.get("units", "1"))
        result[f"{name}_variance"] = (
            dims,
            variance,
            {"units": "1" if units == "1" else f"{units}2", "long_name": f"variance of {told}"},
        )
        result[f"{name}_points"] = ((), points, {"units": "1", "long_name": f"points behind the indices of {told}"})
        for coordinate in data.coords:
            if "case" not in data[coordinate].dims:
                result.coords[coordinate] = data[coordinate]
    labels = {n: str(study[n].attrs.get("long_name", n.replace("_", " "))) for n in names}
    result.attrs = {
        "heatq_version": __version__,
        "points": count,
        "cases": cases,
        "failed": int((~done).sum()),
        "confidence": float(confidence),
        "long_names": json.dumps(labels),
        "distributions": str(study.attrs.get("distributions", "{}")),
    }
    return result


def _parameters(study: xr.Dataset, parameters: Sequence[str] | None) -> list[str]:
    ok_cases(study)
    if parameters is None:
        told = study.attrs.get("parameters")
        if not isinstance(told, str):
            raise InputError(
                "parameters is not given and the study does not name them: pass the names in the order of the "
                "saltelli_sample()."
            )
        parameters = json.loads(told)
    names = [str(name) for name in parameters]
    for name in names:
        if name not in study.coords:
            raise InputError(
                f"parameters: the study has no coordinate {name!r}; it has {', '.join(map(str, study.coords))}."
            )
    return names


def sobol_indices(
    build: Callable[..., Any],
    distributions: Mapping[str, Distribution],
    count: int = 128,
    *,
    variables: str | Sequence[str] | None = None,
    confidence: float = 0.95,
    seed: int = 0,
    **options: Any,
) -> xr.Dataset:
    """Sobol' indices of first order and total, with intervals, in one call.

    Parameters
    ----------
    build : callable
        As in `heatq.study`.
    distributions : dict
        Name -> independent `Distribution`.
    count : int
        Points, a power of two; ``count * (quantities + 2)`` cases are run.
    variables : str or sequence of str, optional
        Of the results; the default takes every number.
    confidence : float
        Of the intervals.
    seed : int
        Of the sample.
    **options
        Passed on to `heatq.study`: ``reduce``, ``store`` (to resume a killed run), ``executor``, ``progress`` and so
        on.

    Returns
    -------
    xarray.Dataset
        As of :func:`indices_of`.

    Examples
    --------
    How the time constant of a lumped bar hangs on h and on its diameter:

    >>> import xarray as xr
    >>> def build(h, diameter):
    ...     return xr.Dataset({"time_constant": ((), 7700.0 * 600.0 * diameter / 4.0 / h, {"units": "s"})})
    >>> told = sobol_indices(build, {"h": Distribution.lognormal(500.0, 1.12, units="W/m2K"),
    ...                              "diameter": Distribution.normal(0.025, 0.0002, units="m")}, 64, progress=False)
    >>> bool(told.time_constant_total.sel(parameter="h") > 0.98)
    True
    """
    from heatq.studies.run import study

    points = saltelli_sample(distributions, count, seed=seed)
    done = study(build, points, **options)
    return indices_of(done, names_of(distributions), variables=variables, confidence=confidence, seed=seed)

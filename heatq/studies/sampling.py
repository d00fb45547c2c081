"""Samples of named quantities from distributions with units.

Points are taken in the unit cube (Sobol', Latin hypercube or random, `scipy.stats.qmc`) and sent through the inverse
distribution function of each quantity, so that a sample keeps the evenness of its points whatever the distributions
are.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq._version import __version__
from heatq.errors import InputError, check_name
from heatq.studies.distributions import CorrelatedNormals, Distribution, heat_distributions, names_of

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["METHODS", "CorrelatedNormals", "Distribution", "draw", "heat_distributions", "sample"]

Array = npt.NDArray[np.float64]

METHODS = ("sobol", "latin hypercube", "random")
#: Points are kept this far from 0 and 1 (half a step of the 30-bit points of scipy), where a normal distribution has no
#: value.
_EDGE = 2.0**-31


def draw(dimensions: int, count: int, method: str, seed: Any) -> Array:
    """Points in the unit cube, (count, dimensions), never on its edge."""
    from scipy.stats import qmc

    generator = np.random.default_rng(seed)
    if method == "random":
        points = generator.random((count, dimensions))
    else:
        kind = qmc.Sobol if method == "sobol" else qmc.LatinHypercube
        try:
            engine = kind(dimensions, rng=generator)
        except TypeError:  # before scipy 1.15
            engine = kind(dimensions, seed=generator)
        points = engine.random(count)
    return np.clip(np.asarray(points, dtype=float), _EDGE, 1.0 - _EDGE)


def check_count(count: Any, method: str, replicates: int = 1) -> int:
    """Check the size of a sample; for Sobol' points a power of two, in every replicate."""
    whole = isinstance(count, int | np.integer) and not isinstance(count, bool)
    if not whole or count < 2:
        raise InputError(f"count = {count!r} must be a whole number of cases, at least 2.")
    if not isinstance(replicates, int) or replicates < 1 or count % replicates or count // replicates < 2:
        raise InputError(
            f"replicates = {replicates!r} must divide count = {count} into whole samples of at least two cases."
        )
    each = int(count) // replicates
    if method == "sobol" and each & (each - 1):
        below = 2 ** int(np.log2(each))
        raise InputError(
            f"count = {count}: Sobol' points are even only for powers of two"
            f"{'' if replicates == 1 else ' in each replicate'}; take {below * replicates} or "
            f"{2 * below * replicates}, or method='latin hypercube'."
        )
    return int(count)


def values_of(distributions: Mapping[str, Any], points: Array) -> dict[str, Array]:
    """Value of every quantity at points of the unit cube."""
    values: dict[str, Array] = {}
    column = 0
    for name, distribution in distributions.items():
        if isinstance(distribution, CorrelatedNormals):
            width = len(distribution.mean)
            both = distribution.at(points[:, column : column + width])
            values.update({str(n): both[:, k] for k, n in enumerate(distribution.mean)})
            column += width
        else:
            values[str(name)] = distribution.at(points[:, column])
            column += 1
    return values


def _labels(distributions: Mapping[str, Any], name: str) -> dict[str, str]:
    for key, distribution in distributions.items():
        if isinstance(distribution, Distribution) and key == name:
            return {"units": distribution.units, "long_name": distribution.long_name or name.replace("_", " ")}
        if isinstance(distribution, CorrelatedNormals) and name in distribution.mean:
            units = distribution.units if isinstance(distribution.units, str) else distribution.units.get(name, "1")
            return {"units": units, "long_name": name.replace("_", " ")}
    raise KeyError(name)


def dataset_of(distributions: Mapping[str, Any], points: Array, attrs: Mapping[str, Any]) -> xr.Dataset:
    """Dataset of a sample: a coordinate per quantity over ``case``."""
    import xarray as xr

    coords: dict[str, Any] = {
        "case": ("case", np.arange(len(points)), {"units": "1", "long_name": "number of the case"})
    }
    for name, value in values_of(distributions, points).items():
        coords[name] = ("case", value, _labels(distributions, name))
    told = {str(name): distribution.told for name, distribution in distributions.items()}
    return xr.Dataset(
        coords=coords,
        attrs={
            "heatq_version": __version__,
            "parameters": json.dumps(names_of(distributions)),
            "distributions": json.dumps(told),
            **attrs,
        },
    )


def sample(
    distributions: Mapping[str, Distribution | CorrelatedNormals],
    count: int,
    method: str = "sobol",
    *,
    seed: int = 0,
    replicates: int = 1,
) -> xr.Dataset:
    """Sample of named quantities, ready for `heatq.study`.

    Parameters
    ----------
    distributions : dict
        Name -> `Distribution`; correlated quantities as `CorrelatedNormals` under any label.
    count : int
        Cases in all; a power of two for Sobol' points (in each replicate).
    method : {"sobol", "latin hypercube", "random"}
        Scrambled Sobol' points and Latin hypercubes spread more evenly than random ones, and their means and
        percentiles converge faster.
    seed : int
        The same seed gives the same sample, so that a study can be resumed.
    replicates : int
        Independent samples of ``count / replicates`` cases, one after the other. With four or more,
        `heatq.studies.uncertainty.summary` takes its standard errors from how far they differ, which is the only honest
        way for Sobol' points and Latin hypercubes; with one it uses those of random points, which are too large for
        both.

    Returns
    -------
    xarray.Dataset
        A coordinate per quantity over ``case``, with units; distributions, method and seed in the attributes.

    Examples
    --------
    >>> points = sample({"velocity": Distribution.uniform(5.0, 20.0, units="m/s")}, 8)
    >>> points.sizes["case"], points.velocity.attrs["units"]
    (8, 'm/s')
    >>> bool(abs(float(points.velocity.mean()) - 12.5) < 0.5)
    True
    """
    names = names_of(distributions)
    check_name("method", method, METHODS, what="method of sampling")
    count = check_count(count, method, replicates)
    if isinstance(seed, bool) or not isinstance(seed, int | np.integer) or seed < 0:
        raise InputError(f"seed = {seed!r} must be a whole number of at least 0.")
    seeds = [seed] if replicates == 1 else np.random.SeedSequence(int(seed)).spawn(replicates)
    points = np.concatenate([draw(len(names), count // replicates, method, one) for one in seeds])
    return dataset_of(
        distributions, points, {"sampling": method, "seed": int(seed), "replicates": replicates, "count": count}
    )

"""Hardenability band of a grade predicted from its chemistry range, beside the published one."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from heatq.boundaries import Radiation, StillAir, WaterJet
from heatq.errors import InputError
from heatq.specimens import EndQuenchBar
from heatq.steels import grade, h_band, list_grades, list_h_bands
from heatq.studies.distributions import CorrelatedNormals, Distribution, heat_distributions
from heatq.studies.sampling import sample
from heatq.studies.uncertainty import summary
from heatq.transformation.options import DEFAULT

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["EndQuench", "predicted_band"]

#: Percentiles of a predicted band: 93 to 95 % of heats are said to lie inside a published one (from memory).
LEVELS = (3.0, 50.0, 97.0)


@dataclasses.dataclass(frozen=True)
class EndQuench:
    """Arguments of an end-quench trial in water for a steel whose chemistry and grain size vary; ``build`` of a study.

    Parameters
    ----------
    steel : Steel
        What does not vary.
    water_temperature : float
        degC.
    probes : sequence
        Places.
    accuracy : float
        Of the histories, K.
    kinetics : str or Kinetics
        As in `heatq.trial`.

    Examples
    --------
    >>> import heatq as hq
    >>> EndQuench(hq.grade("4140"))(C=0.40)["steel"].C
    0.4
    """

    steel: Any
    water_temperature: float = 24.0
    probes: Any = None
    accuracy: float = 1.0
    kinetics: Any = DEFAULT

    def __call__(self, **values: float) -> dict[str, Any]:
        """Arguments of one trial."""
        air = StillAir(25.0) + Radiation(0.3, 25.0)
        return {
            "specimen": EndQuenchBar(),
            "steel": self.steel.replace(**{name: float(value) for name, value in values.items()}),
            "boundaries": {"jet": WaterJet(self.water_temperature), "side": air, "top": air},
            "probes": self.probes,
            "accuracy": self.accuracy,
            "kinetics": self.kinetics,
        }


def hardness_only(result: xr.Dataset) -> xr.Dataset:
    """Hardness of a trial and nothing else; ``reduce`` of a study."""
    return result[["hardness_hv", "hardness_hrc"]]


def predicted_band(
    name: str,
    count: int = 128,
    *,
    levels: Sequence[float] = LEVELS,
    distributions: Mapping[str, Distribution | CorrelatedNormals] | None = None,
    kinetics: Any = DEFAULT,
    accuracy: float = 1.0,
    seed: int = 0,
    replicates: int = 8,
    **options: Any,
) -> xr.Dataset:
    """End-quench curves over the chemistry range of a grade, as a band beside the published H-band.

    Parameters
    ----------
    name : str
        Grade, such as "4140" or "4140H"; where the H grade is known its ranges count, which are a little wider.
    count : int
        Trials, a power of two in each replicate.
    levels : sequence of float
        Percentiles; the first and the last are the limits of the band.
    distributions : dict, optional
        Elements and ``grain_size`` -> distributions of your own, such as the covariance of your heats; by default
        `heat_distributions` of the grade.
    kinetics, accuracy
        As in `heatq.trial`.
    seed, replicates
        As in `heatq.studies.sampling.sample`.
    **options
        Passed on to `heatq.study`: ``store``, ``executor``, ``progress``, ``threads`` and so on.

    Returns
    -------
    xarray.Dataset
        ``hardness_hrc_percentile(level, probe)`` with its error and interval, ``distance(probe)``, and where a band
        is published ``published(bound, probe)`` and ``deviation(bound, probe)`` in HRC: predicted less published
        limit, missing where either is below 20 HRC or not given. Attributes ``deviation_low``, ``deviation_high`` and
        ``deviation_middle``: root mean square over the ``compared_low``, ... places where both have a number;
        ``published_source``.

    Notes
    -----
    Chemistry and grain size vary as `heat_distributions` says (independent; the range is two standard deviations either
    way). Residuals do not vary, nor do bar, water and hardness test, so that real bands are wider, above all near the
    quenched end; and mills make a grade to its hardenability (low in one element, high in another), so that they are
    narrower further away. The error of the model moves the band and is not in its width. The published bands are from
    memory (`heatq.h_band`).

    Measured with 128 trials (published kinetics, nothing fitted to bands), root mean square in HRC, lower limit,
    upper limit, middle: 4140H 2.1, 1.8, 0.9 (other samples of 128: up to 0.6 more or less); 4340H 2.3, 2.6, 0.9;
    8620H 1.7 (5 places), 3.2 (11 places), 0.6 (5 places): from 12/16 in on even its upper limit is predicted below 20
    HRC where 22 to 26 are published.

    Examples
    --------
    >>> band = predicted_band("4140", 8, accuracy=4.0, replicates=1, progress=False)      # 128 cases for real work
    >>> bool(45 < band.hardness_hrc_percentile.sel(level=50, probe="J4") < 60)
    True
    """
    steel = grade(f"{name}H" if f"{name}H" in list_grades() else name)
    published = next((band for band in (f"{steel.name}", f"{steel.name}H") if band in list_h_bands()), None)
    limits = h_band(published) if published else None
    if len(tuple(levels)) < 2:
        raise InputError(f"levels = {levels!r}: a band needs two percentiles at least, such as (3, 50, 97).")
    probes = None if limits is None else [f"J{j:g}" for j in limits["distance_sixteenths"]]
    from heatq.studies.run import study

    points = sample(
        heat_distributions(steel) if distributions is None else distributions, count, seed=seed, replicates=replicates
    )
    build = EndQuench(steel, probes=probes, accuracy=accuracy, kinetics=kinetics)
    cases = study(build, points, **{"reduce": hardness_only, **options})
    cases.attrs.update(points.attrs)
    result = summary(cases, levels, variables=["hardness_hrc", "hardness_hv"])
    if "distance" not in result.coords:
        distance = [probe.z for probe in EndQuenchBar().resolve_probes(probes)]
        result.coords["distance"] = ("probe", distance, {"units": "m", "long_name": "distance from the quenched end"})
    result.attrs |= {"grade": steel.name, "chemistry": str(points.attrs["distributions"]), "kinetics": str(kinetics)}
    if limits is not None:
        result["published"] = (
            ("bound", "probe"),
            np.stack([limits["low"], limits["high"]]),
            {"units": "HRC", "long_name": f"published band of {published}"},
        )
        outer = result["hardness_hrc_percentile"].values[[0, -1]]
        difference = outer - result["published"].values
        result["deviation"] = (
            ("bound", "probe"),
            difference,
            {"units": "HRC", "long_name": "limit of the predicted band less that of the published one"},
        )
        both = [*difference, difference.mean(axis=0)]
        for word, values in zip(("low", "high", "middle"), both, strict=True):
            known = values[np.isfinite(values)]
            result.attrs[f"compared_{word}"] = len(known)
            result.attrs[f"deviation_{word}"] = float(np.sqrt(np.mean(known**2))) if len(known) else float("nan")
        result.attrs["published_source"] = str(limits["source"])
    return result

"""The independent predictor for histories: fractions from the cooling rate at 700 degC by critical velocities."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from heatq._version import __version__
from heatq.errors import check_name, collect_validity
from heatq.history import check_history, cooling_rate
from heatq.transformation.critical import critical_temperatures
from heatq.transformation.critical_velocity import fractions_from_rate, in_published_range
from heatq.transformation.kinetics import PHASES
from heatq.transformation.rates import ferrite_limit

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["fractions_by_critical_velocity"]


def fractions_by_critical_velocity(history: xr.Dataset, steel: Any, *, out_of_range: str = "nan") -> xr.Dataset:
    """Fractions along histories by Maynier, Dollet and Bastien 1978; result as `heatq.transform` returns it.

    Parameters
    ----------
    history : xarray.Dataset
        ``temperature(time, probe)`` in degC. Only its rate at 700 degC counts: holds, stages and recalescence do not
        exist for this method.
    steel : Steel
        Its chemistry and austenitizing temperature.
    out_of_range : {"nan", "compute"}
        What to return for a steel outside the published range: NaN, or the number with a validity note.

    Returns
    -------
    xarray.Dataset
        ``fraction(phase, probe)``, ``ferrite_pearlite(probe)``, ``formation_temperature(phase, probe)`` (NaN: the method
        knows none), ``cooling_rate_700(probe)`` and ``is_in_range()``; the attribute ``reason`` says why not. The method
        gives ferrite + pearlite as one figure; they are split here by the lever rule at Ae1, which is not part of it.
        A probe that never passes 700 degC gets NaN.

    Notes
    -----
    A good cross-check of the kinetics inside the range. Against effect-of-mass tables (0.5 to 10 K/s) the regressions fail
    above 0.5 % C and come out too martensitic for 4340-, 3140-, 8650- and 4820-type steels; accuracy on end-quench bars
    is in `heatq.transformation.critical_velocity`.

    Examples
    --------
    >>> import numpy as np, xarray as xr, heatq as hq
    >>> time = np.linspace(0.0, 40.0, 400)
    >>> history = xr.Dataset({"temperature": (("time", "probe"), 850.0 - 14.0 * time[:, None])},
    ...                      coords={"time": time, "probe": ["a"]})
    >>> heat = hq.Steel(C=0.37, Mn=0.77, Si=0.25, Cr=0.98, Mo=0.21)
    >>> round(float(fractions_by_critical_velocity(history, heat).fraction.sel(phase="martensite")[0]), 1)
    0.5
    """
    import xarray as xr

    check_history(history)
    check_name("out_of_range", out_of_range, ("nan", "compute"))
    trusted, reason = in_published_range(steel)
    rate = cooling_rate(history, 700.0)
    known = np.isfinite(rate.values) & (rate.values > 0.0)
    parts = np.full((5, rate.size), np.nan)
    together = np.full(rate.size, np.nan)
    if known.any() and (trusted or out_of_range == "compute"):
        with collect_validity():
            found = fractions_from_rate(steel, rate.values[known])
            ae1 = critical_temperatures(steel).ae1
            share = float(ferrite_limit(steel, ae1))
        ferrite = np.minimum(found.ferrite_pearlite, share * (1.0 - found.martensite - found.bainite))
        pearlite = found.ferrite_pearlite - ferrite
        together[known] = found.ferrite_pearlite
        parts[:, known] = [ferrite, pearlite, found.bainite, found.martensite, np.zeros(int(known.sum()))]
    unit = {"units": "1", "long_name": "phase fraction"}
    return xr.Dataset(
        {
            "fraction": (("phase", "probe"), parts, unit),
            "ferrite_pearlite": ("probe", together, {"units": "1", "long_name": "ferrite and pearlite together"}),
            "formation_temperature": (
                ("phase", "probe"),
                np.full(parts.shape, np.nan),
                {"units": "degC", "long_name": "mean temperature of formation"},
            ),
            "cooling_rate_700": rate.drop_vars("probe"),
            "is_in_range": ((), trusted, {"long_name": "the steel lies inside the published range"}),
        },
        coords={
            **rate.coords,
            "phase": ("phase", list(PHASES), {"units": "1", "long_name": "phase"}),
        },
        attrs={
            "heatq_version": __version__,
            "steel": repr(steel),
            "kinetics": "critical velocities, Maynier, Dollet and Bastien 1978",
            "reason": reason,
        },
    )

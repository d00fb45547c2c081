"""`hardness_of`: hardness from phase fractions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError
from heatq.hardness.conversion import hrc_from_hv
from heatq.hardness.mixture import mixture_hardness
from heatq.history import cooling_rate
from heatq.steels.steel import check_steel
from heatq.transformation.kinetics import kinetic_tables

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["hardness_of", "hardness_variables", "mean_or_local", "rate_for_hardness"]

Array = npt.NDArray[np.float64]

#: Window of the mean rate that stands for Maynier's rate at 700 degC, degC.
RATE_WINDOW = (800.0, 700.0)


def rate_for_hardness(fractions: xr.Dataset) -> Array:
    """Cooling rate (K/s, per probe) that goes into the hardness regressions: the mean from 800 to 700 degC.

    Maynier's regressions take the rate at 700 degC of a specimen that cools undisturbed. The local slope there is that of a
    place already held up by its own heat of transformation (0.1 K/s in a normalized round that cools at 1.7 K/s), so the
    mean over the 100 K before is used. Where the history starts below 800 degC it is the rate at 700 degC itself.

    Parameters
    ----------
    fractions : xarray.Dataset
        With ``cooling_rate_800_700(probe)``, or ``temperature(time, probe)`` to take it from, or ``cooling_rate_700(probe)``.
    """
    local: Array = fractions["cooling_rate_700"].values
    if "cooling_rate_800_700" in fractions:
        mean = fractions["cooling_rate_800_700"].values
    elif "temperature" in fractions and fractions.sizes.get("time", 0) > 1:
        upper, lower = RATE_WINDOW
        mean = cooling_rate(fractions, 0.5 * (upper + lower), window=0.5 * (upper - lower)).values
    else:
        return local
    return mean_or_local(mean, local)


def mean_or_local(mean: Array, local: Array) -> Array:
    """The mean rate from 800 to 700 degC; where there is none, the rate at 700 degC."""
    return np.where(np.isfinite(mean), mean, local)


def hardness_variables(
    fraction: Array, formation_temperature: Array, rate: Array, steel: Any
) -> dict[str, tuple[str, Array, dict[str, str]]]:
    """Variables of :func:`hardness_of` by name: dimension, values, attributes; no Dataset yet.

    Parameters
    ----------
    fraction, formation_temperature : array, shape (5, probes)
        Of the phases, degC.
    rate : array, shape (probes,)
        :func:`rate_for_hardness`, K/s.
    steel : Steel
        The heat.
    """
    carbon = float(kinetic_tables(steel).scalars[2])
    hv = mixture_hardness(fraction, formation_temperature, rate, steel, carbon=carbon)
    return {
        "hardness_hv": ("probe", hv, {"units": "HV", "long_name": "hardness"}),
        "hardness_hrc": ("probe", np.asarray(hrc_from_hv(hv)), {"units": "HRC", "long_name": "hardness"}),
    }


def hardness_of(fractions: xr.Dataset, steel: Any) -> xr.Dataset:
    """Hardness of the structures in a Dataset of fractions.

    Parameters
    ----------
    fractions : xarray.Dataset
        ``fraction(phase, probe)``, ``formation_temperature(phase, probe)`` in degC and ``cooling_rate_700(probe)`` in
        K/s, as `heatq.transform` and `heatq.simulate` return them; the mean rate from 800 to 700 degC is taken from
        ``temperature(time, probe)`` or ``cooling_rate_800_700(probe)`` where one is there (:func:`rate_for_hardness`).
    steel : Steel
        The heat.

    Returns
    -------
    xarray.Dataset
        ``hardness_hv(probe)`` and ``hardness_hrc(probe)``; HRC is NaN below 20 HRC (238 HV), where its scale ends.

    Raises
    ------
    InputError
        If a variable is missing.

    Notes
    -----
    Martensite (with the austenite it retains) from the carbon dissolved in austenite less its auto-tempering, pearlite from
    its formation temperature, carbon and alloying, bainite and the floor of ferrite and pearlite from published regressions
    on the cooling rate at 700 degC; mixed linearly in HV; see `heatq.hardness.mixture`.

    Examples
    --------
    >>> import numpy as np, xarray as xr, heatq as hq
    >>> time = np.linspace(0.0, 20.0, 400)
    >>> history = xr.Dataset({"temperature": (("time", "probe"), 850.0 - 40.0 * time[:, None])},
    ...                      coords={"time": time, "probe": ["fast"]})
    >>> steel = hq.grade("4340")
    >>> round(float(hq.hardness_of(hq.transform(history, steel), steel).hardness_hrc[0]))
    55
    """
    import xarray as xr

    check_steel(steel)
    for name in ("fraction", "formation_temperature", "cooling_rate_700"):
        if name not in getattr(fractions, "variables", ()):
            raise InputError(
                f"fractions has no variable {name!r}; pass the result of transform(), simulate() or trial()."
            )
    parts = fractions["fraction"].transpose("phase", "probe").values
    formed = fractions["formation_temperature"].transpose("phase", "probe").values
    found = hardness_variables(parts, formed, rate_for_hardness(fractions), steel)
    return xr.Dataset(found, coords=fractions["cooling_rate_700"].coords)

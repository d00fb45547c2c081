"""`hardness_of`: hardness from phase fractions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from heatq.errors import InputError
from heatq.hardness.conversion import hrc_from_hv
from heatq.hardness.mixture import mixture_hardness
from heatq.transformation.kinetics import kinetic_tables

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["hardness_of"]


def hardness_of(fractions: xr.Dataset, steel: Any) -> xr.Dataset:
    """Hardness of the structures in a Dataset of fractions.

    Parameters
    ----------
    fractions : xarray.Dataset
        ``fraction(phase, probe)``, ``formation_temperature(phase, probe)`` in degC and ``cooling_rate_700(probe)`` in
        K/s, as `heatq.transform` and `heatq.simulate` return them.
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
    Martensite (with the austenite it retains) from the carbon dissolved in austenite, pearlite from its formation
    temperature, bainite and the floor of ferrite and pearlite from published regressions on the cooling rate at 700 degC;
    mixed linearly in HV; see `heatq.hardness.mixture`.

    Examples
    --------
    >>> import numpy as np, xarray as xr, heatq as hq
    >>> time = np.linspace(0.0, 20.0, 400)
    >>> history = xr.Dataset({"temperature": (("time", "probe"), 850.0 - 40.0 * time[:, None])},
    ...                      coords={"time": time, "probe": ["fast"]})
    >>> steel = hq.grade("4340")
    >>> round(float(hq.hardness_of(hq.transform(history, steel), steel).hardness_hrc[0]))
    56
    """
    import xarray as xr

    for name in ("fraction", "formation_temperature", "cooling_rate_700"):
        if name not in fractions:
            raise InputError(
                f"fractions has no variable {name!r}; pass the result of transform(), simulate() or trial()."
            )
    parts = fractions["fraction"].transpose("phase", "probe").values
    formed = fractions["formation_temperature"].transpose("phase", "probe").values
    rate = fractions["cooling_rate_700"].values
    hv = mixture_hardness(parts, formed, rate, steel, carbon=float(kinetic_tables(steel).scalars[2]))
    return xr.Dataset(
        {
            "hardness_hv": ("probe", hv, {"units": "HV", "long_name": "hardness"}),
            "hardness_hrc": ("probe", np.asarray(hrc_from_hv(hv)), {"units": "HRC", "long_name": "hardness"}),
        },
        coords=fractions["cooling_rate_700"].coords,
    )

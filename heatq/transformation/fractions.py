"""`transform`: phase fractions from any temperature history, simulated, measured or typed in."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq._version import __version__
from heatq.errors import check_number
from heatq.history import RATE_WINDOW, check_history, rates_of
from heatq.steels.steel import check_steel
from heatq.transformation.kinetics import PHASES, kinetic_tables
from heatq.transformation.options import DEFAULT, Kinetics, kinetics_named

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["PHASE_COORDINATE", "fraction_variables", "rate_variables", "transform"]

Array = npt.NDArray[np.float64]

#: Largest temperature change of one sub-step, K; 0.7 to 3 K gives 0.4 to 1 % of X.
LARGEST_CHANGE = 1.0
#: Temperatures at which cooling rates are read for the hardness regressions, degC, and half the window around each, K.
RATE_LEVELS, RATE_WINDOWS = (700.0, 750.0), (RATE_WINDOW, 50.0)


def transform(
    history: xr.Dataset,
    steel: Any,
    *,
    kinetics: str | Kinetics = DEFAULT,
    largest_change: float = LARGEST_CHANGE,
) -> xr.Dataset:
    """Phase fractions along temperature histories.

    Parameters
    ----------
    history : xarray.Dataset
        ``temperature(time, probe)`` in degC over ``time`` in s, starting in austenite.
    steel : Steel
        Its chemistry and grain size set the kinetics.
    kinetics : {"published", "calibrated"} or Kinetics
        Rates as published (nothing fitted), calibrated, or with factors of your own; see
        `heatq.transformation.options`.
    largest_change : float
        Largest temperature change of one sub-step, K.

    Returns
    -------
    xarray.Dataset
        ``fraction(phase, probe)`` at the end, ``fraction_history(phase, time, probe)``,
        ``formation_temperature(phase, probe)`` in degC (mean over what formed; NaN where nothing did) and
        ``cooling_rate_700(probe)`` and ``cooling_rate_800_700(probe)`` in K/s, which the hardness regressions need.

    Notes
    -----
    The rates are isokinetic, dX/dt = k(T) g(X), so additivity is exact: y = integral of k dt is accumulated and X is
    read back as S^-1(y) (Li et al., Metall. Mater. Trans. B 29, 1998, 661). Ferrite is a share of the lever-rule limit;
    martensite follows Koistinen and Marburger (Acta Metall. 7, 1959, 59) with Ms lowered by the carbon ferrite rejected.
    Reheating into austenite is not modelled: fractions never shrink.

    Examples
    --------
    >>> import numpy as np, xarray as xr, heatq as hq
    >>> time = np.linspace(0.0, 40.0, 400)
    >>> history = xr.Dataset({"temperature": (("time", "probe"), 850.0 - 20.0 * time[:, None])},
    ...                      coords={"time": time, "probe": ["fast"]})
    >>> fractions = hq.transform(history, hq.grade("4340"))
    >>> bool(fractions.fraction.sel(phase=["martensite", "austenite"]).sum() > 0.95)
    True
    """
    import xarray as xr

    temperature = check_history(history)
    check_steel(steel)
    check_number("largest_change", largest_change, low=0.01, high=50.0, unit="K")
    time = np.ascontiguousarray(history["time"].values, dtype=float)
    return xr.Dataset(
        fraction_variables(time, temperature.values, steel, kinetics, largest_change),
        coords={**history["temperature"].coords, "phase": PHASE_COORDINATE},
        attrs={
            "heatq_version": __version__,
            "steel": repr(steel),
            "settings": json.dumps({"largest_change": largest_change, "kinetics": kinetics_named(kinetics).name}),
        },
    )


#: The phases as a coordinate: dimension, values, attributes.
PHASE_COORDINATE = ("phase", np.array(PHASES), {"units": "1", "long_name": "phase"})
PHASE_COORDINATE[1].setflags(write=False)  # shared by all results


def fraction_variables(
    time: Array,
    temperature: Array,
    steel: Any,
    kinetics: str | Kinetics = DEFAULT,
    largest_change: float = LARGEST_CHANGE,
) -> dict[str, tuple[Any, Array, dict[str, str]]]:
    """Variables of :func:`transform` by name: dimensions, values, attributes; no Dataset yet.

    Parameters
    ----------
    time : array
        s, increasing.
    temperature : array, shape (times, probes)
        degC, without gaps.
    steel, kinetics, largest_change
        See :func:`transform`.
    """
    from heatq import _kernels

    tables = kinetic_tables(steel, kinetics)
    count = temperature.shape[1]
    parts = np.zeros((5, len(time), count))
    formation = np.full((5, count), np.nan)
    for n in range(count):
        values = np.ascontiguousarray(temperature[:, n], dtype=float)
        fractions, sums = np.zeros((4, len(time))), np.zeros(3)
        _kernels.transform_history(time, values, float(largest_change), *tables, fractions, sums)
        parts[:4, :, n] = fractions
        formed = fractions[:3, -1]
        some = formed > 1e-9
        formation[:3, n][some] = sums[some] / formed[some]
    parts[4] = np.clip(1.0 - parts[:4].sum(axis=0), 0.0, 1.0)
    unit = {"units": "1", "long_name": "phase fraction"}
    formed_at = {"units": "degC", "long_name": "mean temperature of formation"}
    found: dict[str, tuple[Any, Array, dict[str, str]]] = {
        "fraction": (("phase", "probe"), parts[:, -1], unit),
        "fraction_history": (("phase", "time", "probe"), parts, dict(unit)),
        "formation_temperature": (("phase", "probe"), formation, formed_at),
    }
    return found | rate_variables(time, temperature)


def rate_variables(time: Array, temperature: Array) -> dict[str, tuple[Any, Array, dict[str, str]]]:
    """The cooling rates that the hardness regressions read, by name: dimension, values, attributes.

    Parameters
    ----------
    time : array
        s, increasing.
    temperature : array, shape (times, probes)
        degC.
    """
    rates = rates_of(time, temperature, RATE_LEVELS, RATE_WINDOWS)
    return {
        name: ("probe", rate, {"units": "K/s", "long_name": f"cooling rate at {level:.0f} degC"})
        for name, level, rate in zip(("cooling_rate_700", "cooling_rate_800_700"), RATE_LEVELS, rates, strict=True)
    }

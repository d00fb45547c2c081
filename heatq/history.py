"""What is read off a temperature history: cooling rates, cooling times.

Every function takes a Dataset with ``temperature(time, probe)``, simulated, measured or typed in.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from scipy.interpolate import PchipInterpolator

from heatq.errors import InputError, check_number
from heatq.units import degF

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["RATE_TEMPERATURE", "check_history", "cooling_rate", "cooling_time", "crossing_time"]

Array = npt.NDArray[np.float64]

#: The trade reads cooling rates at 1300 degF (704.4 degC).
RATE_TEMPERATURE = degF(1300.0)


def check_history(history: xr.Dataset) -> xr.DataArray:
    """Temperature (time, probe) of a history, or an `InputError` that says what is missing."""
    temperature = history.get("temperature") if hasattr(history, "data_vars") else None
    if temperature is None or set(temperature.dims) != {"time", "probe"}:
        raise InputError(
            "history needs a variable temperature(time, probe) in degC, as simulate() and read_log() return it; "
            f"got {type(history).__name__}" + (f" with {list(history.data_vars)}." if hasattr(history, "data_vars") else ".")
        )
    if temperature.sizes["time"] < 2:
        raise InputError("history holds fewer than two times.")
    if (np.diff(history["time"].values) <= 0).any():
        raise InputError("history: time must increase strictly.")
    return temperature.transpose("time", "probe")


def _first_crossing(time: Array, values: Array, level: float) -> float:
    """First time at which a history falls to ``level``; NaN if it never does or starts below."""
    below = np.flatnonzero(values <= level)
    if below.size == 0 or below[0] == 0:
        return np.nan
    k = int(below[0])
    part = slice(max(k - 3, 0), min(k + 3, len(time)))
    curve = PchipInterpolator(time[part], values[part])
    low, high = time[k - 1], time[k]
    for _ in range(50):  # bisection on a monotone cubic: exact to round-off
        middle = 0.5 * (low + high)
        if curve(middle) > level:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def crossing_time(history: xr.Dataset, temperature: float) -> xr.DataArray:
    """Time (s) at which each probe first falls to a temperature (degC); NaN where it never does.

    Examples
    --------
    >>> import numpy as np, xarray as xr
    >>> time = np.linspace(0.0, 10.0, 101)
    >>> history = xr.Dataset({"temperature": (("time", "probe"), 850.0 - 50.0 * time[:, None])},
    ...                      coords={"time": time, "probe": ["a"]})
    >>> float(crossing_time(history, 600.0)[0])
    5.0
    """
    import xarray as xr

    values = check_history(history)
    check_number("temperature", temperature, "temperature")
    time = history["time"].values.astype(float)
    crossings = [_first_crossing(time, values.values[:, n], temperature) for n in range(values.sizes["probe"])]
    return xr.DataArray(
        crossings,
        dims="probe",
        coords={"probe": history["probe"]},
        name="crossing_time",
        attrs={"units": "s", "long_name": f"time to {temperature:g} degC"},
    )


def cooling_rate(history: xr.Dataset, temperature: float = RATE_TEMPERATURE, window: float = 6.0) -> xr.DataArray:
    """Cooling rate (K/s, positive when cooling) at a temperature, over ``temperature`` +- ``window`` (K).

    Parameters
    ----------
    history : xarray.Dataset
        ``temperature(time, probe)``.
    temperature : float
        degC; the default is 704.4 degC (1300 degF), where the trade compares end-quench bars.
    window : float
        Half width of the band over which the mean slope is taken, K.

    Examples
    --------
    >>> import numpy as np, xarray as xr
    >>> time = np.linspace(0.0, 10.0, 101)
    >>> history = xr.Dataset({"temperature": (("time", "probe"), 850.0 - 50.0 * time[:, None])},
    ...                      coords={"time": time, "probe": ["a"]})
    >>> float(cooling_rate(history)[0])
    50.0
    """
    check_number("window", window, low=0.0, high=200.0, unit="K", low_open=True)
    early = crossing_time(history, temperature + window)
    late = crossing_time(history, temperature - window)
    rate = 2.0 * window / (late - early)
    rate.attrs = {"units": "K/s", "long_name": f"cooling rate at {temperature:.0f} degC"}
    return rate.rename("cooling_rate")


def cooling_time(history: xr.Dataset, upper: float = 800.0, lower: float = 500.0) -> xr.DataArray:
    """Time (s) to cool from ``upper`` to ``lower`` (degC); the default is t8/5.

    Examples
    --------
    >>> import numpy as np, xarray as xr
    >>> time = np.linspace(0.0, 10.0, 101)
    >>> history = xr.Dataset({"temperature": (("time", "probe"), 850.0 - 50.0 * time[:, None])},
    ...                      coords={"time": time, "probe": ["a"]})
    >>> float(cooling_time(history)[0])
    6.0
    """
    check_number("lower", lower, low=-200.0, high=upper, unit="degC", hint="lower must lie below upper.")
    span = crossing_time(history, lower) - crossing_time(history, upper)
    span.attrs = {"units": "s", "long_name": f"cooling time {upper:g} to {lower:g} degC"}
    return span.rename("cooling_time")

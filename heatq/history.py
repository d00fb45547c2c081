"""What is read off a temperature history: cooling rates, cooling times.

Every function takes a Dataset with ``temperature(time, probe)``, simulated, measured or typed in.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

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
            "history needs a variable temperature(time, probe) in degC, as simulate() returns it; "
            f"got {type(history).__name__}"
            + (f" with {list(history.data_vars)}." if hasattr(history, "data_vars") else ".")
        )
    if "time" not in history.coords or history["time"].dtype.kind not in "iuf":
        got = f"it is {history['time'].dtype}" if "time" in history.coords else "it is missing"
        raise InputError(f"history needs a coordinate time in seconds, as plain numbers; {got}.")
    if temperature.sizes["time"] < 2:
        raise InputError("history holds fewer than two times.")
    if not (np.diff(history["time"].values) > 0).all():  # also catches NaN
        raise InputError("history: time must increase strictly.")
    temperature = temperature.transpose("time", "probe")
    gaps = np.flatnonzero(~np.isfinite(temperature.values).all(axis=0))
    if gaps.size:
        raise InputError(
            f"history: temperature of probe {str(history['probe'].values[gaps[0]])!r} holds gaps (NaN); "
            "fill them first, for instance with history.interpolate_na('time')."
        )
    return temperature


def _crossings(time: Array, values: Array, level: float) -> Array:
    """First times at which the columns of ``values`` fall to ``level``; NaN where one never does or starts below.

    Between the two samples around the crossing, time over temperature is a monotone cubic (Fritsch-Carlson slopes);
    where the neighbours are not monotone it is linear. A history that starts at the level crosses it there.
    """
    below = values <= level
    after = below.argmax(axis=0)
    found = below.any(axis=0) & ~below[0]
    k = np.clip(after, 1, len(time) - 1)
    columns = np.arange(values.shape[1])
    t0, t1 = time[k - 1], time[k]
    y0, y1 = values[k - 1, columns], values[k, columns]
    with np.errstate(divide="ignore", invalid="ignore"):
        chord = (t1 - t0) / (y1 - y0)
        first, last = np.clip(k - 2, 0, None), np.clip(k + 1, None, len(time) - 1)
        before = np.where(k >= 2, (t0 - time[first]) / (y0 - values[first, columns]), chord)
        behind = np.where(k < len(time) - 1, (time[last] - t1) / (values[last, columns] - y1), chord)
        slope0 = np.where(before < 0, 2.0 * before * chord / (before + chord), chord)
        slope1 = np.where(behind < 0, 2.0 * behind * chord / (behind + chord), chord)
        s = (level - y0) / (y1 - y0)
        width = y1 - y0
        cubic = (
            (1 + 2 * s) * (1 - s) ** 2 * t0
            + s**2 * (3 - 2 * s) * t1
            + s * (1 - s) ** 2 * width * slope0
            - s**2 * (1 - s) * width * slope1
        )
    return np.where(values[0] == level, time[0], np.where(found, cubic, np.nan))


def rates_of(time: Array, values: Array, temperature: float, window: float) -> Array:
    """Cooling rate (K/s) of the columns of ``values`` over ``temperature`` +- ``window``; see `cooling_rate`."""
    late = _crossings(time, values, temperature - window)
    return 2.0 * window / (late - _crossings(time, values, temperature + window))


def crossing_time(history: xr.Dataset, temperature: float) -> xr.DataArray:
    """Time (s) at which each probe first falls to a temperature; NaN where it never does.

    Parameters
    ----------
    history : xarray.Dataset
        ``temperature(time, probe)``.
    temperature : float
        degC.

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
    return xr.DataArray(
        _crossings(time, values.values, temperature),
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
    import xarray as xr

    values = check_history(history)
    check_number("temperature", temperature, "temperature")
    return xr.DataArray(
        rates_of(history["time"].values.astype(float), values.values, temperature, window),
        dims="probe",
        coords={"probe": history["probe"]},
        name="cooling_rate",
        attrs={"units": "K/s", "long_name": f"cooling rate at {temperature:.0f} degC"},
    )


def cooling_time(history: xr.Dataset, upper: float = 800.0, lower: float = 500.0) -> xr.DataArray:
    """Time (s) to cool from one temperature to another; the default is t8/5, 800 to 500 degC.

    Parameters
    ----------
    history : xarray.Dataset
        ``temperature(time, probe)``.
    upper, lower : float
        degC. NaN where a probe starts below ``upper`` or never reaches ``lower``.

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
    import xarray as xr

    values = check_history(history)
    check_number("upper", upper, "temperature")
    time = history["time"].values.astype(float)
    return xr.DataArray(
        _crossings(time, values.values, lower) - _crossings(time, values.values, upper),
        dims="probe",
        coords={"probe": history["probe"]},
        name="cooling_time",
        attrs={"units": "s", "long_name": f"cooling time {upper:g} to {lower:g} degC"},
    )

"""What is read off a temperature history: cooling rates, cooling times.

Every function takes a Dataset with ``temperature(time, probe)``, simulated, measured or typed in.
"""

from __future__ import annotations

from collections.abc import Sequence
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
#: Half width of the window over which they are taken, K. Own choice.
RATE_WINDOW = 6.0


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


def crossings(time: Array, values: Array, levels: Sequence[float]) -> Array:
    """First times at which the columns of ``values`` fall to each level (level, column); see `crossing_time`."""
    from heatq import _kernels

    plain = [np.ascontiguousarray(array, float) for array in (time, values, levels)]
    return _kernels.crossings(*plain)


def rates_of(time: Array, values: Array, temperatures: Sequence[float], windows: Sequence[float]) -> list[Array]:
    """Cooling rates (K/s) of the columns of ``values`` over each temperature +- its window, one array each; see `cooling_rate`."""
    pairs = list(zip(temperatures, windows, strict=True))
    times = crossings(time, values, [level for t, window in pairs for level in (t - window, t + window)])
    return [2.0 * window / (times[2 * n] - times[2 * n + 1]) for n, (_, window) in enumerate(pairs)]


def crossing_time(history: xr.Dataset, temperature: float) -> xr.DataArray:
    """Time (s) at which each probe first falls to a temperature; NaN where it never does or starts below.

    Between the two samples around the crossing, time over temperature is a monotone cubic (Fritsch-Carlson slopes); where the
    neighbours are not monotone it is linear.

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
        crossings(time, values.values, [temperature])[0],
        dims="probe",
        coords={"probe": history["probe"]},
        name="crossing_time",
        attrs={"units": "s", "long_name": f"time to {temperature:g} degC"},
    )


def cooling_rate(
    history: xr.Dataset, temperature: float = RATE_TEMPERATURE, window: float = RATE_WINDOW
) -> xr.DataArray:
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
        rates_of(history["time"].values.astype(float), values.values, [temperature], [window])[0],
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
    late, early = crossings(time, values.values, [lower, upper])
    return xr.DataArray(
        late - early,
        dims="probe",
        coords={"probe": history["probe"]},
        name="cooling_time",
        attrs={"units": "s", "long_name": f"cooling time {upper:g} to {lower:g} degC"},
    )

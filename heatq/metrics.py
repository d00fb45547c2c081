"""Metrics of a history, measured or simulated: rates over temperature, times between temperatures, spread of places."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from heatq.errors import check_number
from heatq.history import RATE_TEMPERATURE, check_history, cooling_rate, cooling_time, crossing_time
from heatq.units import in_words, shown

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["history_metrics", "metrics_table"]

Array = npt.NDArray[np.float64]

#: Temperatures (degC) at which rates are tabulated: down from austenitizing to below Ms.
LEVELS = (850.0, 800.0, 750.0, RATE_TEMPERATURE, 650.0, 600.0, 550.0, 500.0, 400.0, 300.0, 200.0)


def history_metrics(
    history: xr.Dataset, temperatures: Sequence[float] | Array = LEVELS, window: float = 6.0
) -> xr.Dataset:
    """Metrics of a history, measured or simulated: rates over temperature, cooling times, spread between places.

    Parameters
    ----------
    history : xarray.Dataset
        ``temperature(time, probe)`` without gaps.
    temperatures : sequence of float
        degC, at which the cooling rate is tabulated.
    window : float
        Half width of the band over which a rate is taken, K.

    Returns
    -------
    xarray.Dataset
        ``cooling_rate(level, probe)`` in K/s, ``time_to(level, probe)`` in s, ``cooling_rate_704(probe)``,
        ``cooling_time_800_500(probe)``; ``spread(time)``: hottest less coldest place, K; ``rate_spread(level)``:
        fastest over slowest rate; attributes ``largest_spread`` (K) and ``largest_spread_time`` (s).

    Examples
    --------
    >>> import numpy as np, xarray as xr
    >>> time = np.linspace(0.0, 100.0, 201)
    >>> history = xr.Dataset({"temperature": (("time", "probe"), 850.0 - time[:, None] * [6.0, 4.0])},
    ...                      coords={"time": time, "probe": ["skin", "core"]})
    >>> metrics = history_metrics(history, [700.0, 600.0])
    >>> metrics.cooling_rate.values[0], metrics.attrs["largest_spread"]
    (array([6., 4.]), 200.0)
    """
    import xarray as xr

    values = check_history(history).values
    levels = np.array([check_number("temperatures", t, "temperature") for t in np.atleast_1d(temperatures)])
    rate = np.stack([cooling_rate(history, float(t), window).values for t in levels])
    reach = np.stack([crossing_time(history, float(t)).values for t in levels])
    spread = np.ptp(values, axis=1)
    with np.errstate(all="ignore"):
        whole = np.isfinite(rate).all(axis=1)
        between = np.where(whole, rate.max(axis=1) / rate.min(axis=1), np.nan)
    fast, times = cooling_rate(history, window=window), cooling_time(history)
    return xr.Dataset(
        {
            "cooling_rate": (("level", "probe"), rate, {"units": "K/s", "long_name": "cooling rate"}),
            "time_to": (("level", "probe"), reach, {"units": "s", "long_name": "time to temperature"}),
            "cooling_rate_704": ("probe", fast.values, dict(fast.attrs)),
            "cooling_time_800_500": ("probe", times.values, dict(times.attrs)),
            "spread": ("time", spread, {"units": "K", "long_name": "hottest less coldest place"}),
            "rate_spread": ("level", between, {"units": "1", "long_name": "fastest over slowest rate"}),
        },
        coords={
            "level": ("level", levels, {"units": "degC", "long_name": "temperature"}),
            "probe": history["probe"],
            "time": history["time"],
        },
        attrs={
            "largest_spread": float(spread.max()),
            "largest_spread_time": float(history["time"].values[spread.argmax()]),
            "window": window,
            "cleaning": history.attrs.get("cleaning", "[]"),
        },
    )


def metrics_table(metrics: xr.Dataset) -> str:
    """The result of :func:`history_metrics` as text, in the units of `heatq.plot.units`: one line per temperature."""
    names = [str(name) for name in metrics["probe"].values]
    width = max(10, *(len(name) + 2 for name in names))
    head = f"{'':<20}" + "".join(f"{name:>{width}}" for name in names)
    lines = [head + f"{'max/min':>10}"]
    for n, level in enumerate(metrics["level"].values):
        at, degree = shown(level, "degC")
        label = f"rate at {at:.0f} {degree}"
        rates, unit = shown(metrics["cooling_rate"].values[n], "K/s")
        row = "".join(_cell(float(v), ".4g", width) for v in rates)
        lines.append(f"{label:<15} {unit:<4}" + row + _cell(float(metrics["rate_spread"].values[n]), ".3g", 10))
    row = "".join(_cell(float(v), ".4g", width) for v in metrics["cooling_time_800_500"].values)
    lines.append(f"{in_words('t 800-500 °C'):<15} s   " + row)
    if len(names) > 1:
        spread, unit = shown(metrics.attrs["largest_spread"], "K")
        lines.append(
            f"largest spread between places {spread:.1f} {unit} at {metrics.attrs['largest_spread_time']:.4g} s"
        )
    return "\n".join(lines)


def _cell(value: float, form: str, width: int) -> str:
    return (format(value, form) if np.isfinite(value) else "-").rjust(width)

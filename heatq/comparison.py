"""Measured against predicted histories: errors in K, in time and in rate, channel by channel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, check_name, check_number
from heatq.history import RATE_TEMPERATURE, check_history, cooling_rate, crossing_time
from heatq.units import shown, unit_text

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["LEVELS", "compare_histories", "comparison_table"]

Array = npt.NDArray[np.float64]

#: Temperatures (degC) at which times and rates are compared.
LEVELS = (800.0, RATE_TEMPERATURE, 600.0, 500.0, 400.0, 300.0, 200.0)


def compare_histories(
    measured: xr.Dataset,
    predicted: xr.Dataset,
    *,
    probes: Mapping[str, str] | None = None,
    align: float | str | None = None,
    temperatures: Sequence[float] = LEVELS,
    window: float = 6.0,
) -> xr.Dataset:
    """Compare a measured history (or any other) with a predicted one.

    Parameters
    ----------
    measured, predicted : xarray.Dataset
        ``temperature(time, probe)`` without gaps.
    probes : mapping, optional
        Measured channel -> predicted probe. Left out: those of the same name.
    align : float or "best", optional
        None: both clocks start at the same moment. A temperature (degC): the measured clock is shifted so that on the
        mean over the channels both fall through it at the same time. ``"best"``: by the shift with the least rms error.
        One shift for all channels; it is stated in the result, and takes away what it may not be able to tell from an
        error in h at the beginning.
    temperatures : sequence of float
        degC, at which times and rates are compared.
    window : float
        Half width of the band over which a rate is taken, K.

    Returns
    -------
    xarray.Dataset
        ``measured(time, probe)``, ``predicted(time, probe)`` and ``error(time, probe)``, predicted less measured, over
        the measured times that both cover; ``rms_error``, ``mean_error``, ``largest_error`` (the one of largest
        size, with its sign), ``largest_error_time`` per probe; and over ``level``: ``time_measured``,
        ``time_predicted``, ``time_error`` (s), ``relative_time_error``, ``rate_measured``, ``rate_predicted``,
        ``rate_error`` (K/s), ``relative_rate_error``. Times to a temperature count from the beginning of the
        predicted clock. Attribute ``time_shift``: seconds taken off the measured clock.

    Examples
    --------
    >>> import numpy as np, xarray as xr
    >>> def history(rate, start):
    ...     time = np.linspace(0.0, 100.0, 201)
    ...     return xr.Dataset({"temperature": (("time", "probe"), 850.0 - rate * (time - start)[:, None])},
    ...                       coords={"time": time, "probe": ["core"]})
    >>> result = compare_histories(history(5.0, 0.0), history(5.5, 0.0), temperatures=[600.0])
    >>> result.time_error.values[0], result.relative_rate_error.values[0]
    (array([-4.545]), array([0.1]))
    """
    import xarray as xr

    check_history(predicted)
    check_history(measured)
    known = [str(name) for name in predicted["probe"].values]
    channels = [str(name) for name in measured["probe"].values]
    if probes is None:
        pairs = {name: name for name in channels if name in known}
        if not pairs:
            raise InputError(
                f"no channel has the name of a predicted probe: measured {', '.join(channels)}; predicted "
                f"{', '.join(known)}. Say which belongs to which: probes={{measured: predicted}}."
            )
    else:
        pairs = {
            check_name("probes", str(name), channels, what="measured channel"): check_name(
                "probes", str(other), known, what="predicted probe"
            )
            for name, other in probes.items()
        }
        if not pairs:
            raise InputError("probes is empty: name at least one measured channel and its predicted probe.")
    left = measured[["temperature"]].sel(probe=list(pairs))
    right = predicted[["temperature"]].sel(probe=list(pairs.values())).assign_coords(probe=list(pairs))
    levels = np.array([check_number("temperatures", t, "temperature") for t in np.atleast_1d(temperatures)])
    own = left["time"].values.astype(float)
    other = right["time"].values.astype(float)
    reading = left["temperature"].transpose("time", "probe").values
    curve = _through(other, right["temperature"].transpose("time", "probe").values)
    shift = _shift(align, left, right, own, other, reading, curve)
    at = own - shift
    inside = (at >= other[0]) & (at <= other[-1])
    if inside.sum() < 2:
        raise InputError(
            f"measured ({at[0]:.4g} to {at[-1]:.4g} s) and predicted ({other[0]:.4g} to {other[-1]:.4g} s) histories do "
            "not overlap in time; check the clocks, or align them."
        )
    model = curve(at[inside])
    error = model - reading[inside]
    biggest = np.abs(error).argmax(axis=0)
    columns = np.arange(error.shape[1])
    shifted = left.assign_coords(time=at)
    times = [np.stack([crossing_time(h, float(t)).values for t in levels]) for h in (shifted, right)]
    rates = [np.stack([cooling_rate(h, float(t), window).values for t in levels]) for h in (shifted, right)]
    # a relative error in time refers to the time since the predicted start
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = np.where(times[0] > other[0], (times[1] - times[0]) / (times[0] - other[0]), np.nan)
    both, per = ("level", "probe"), ("time", "probe")
    return xr.Dataset(
        {
            "measured": (per, reading[inside], {"units": "degC", "long_name": "measured temperature"}),
            "predicted": (per, model, {"units": "degC", "long_name": "predicted temperature"}),
            "error": (per, error, {"units": "K", "long_name": "predicted less measured temperature"}),
            "rms_error": ("probe", np.sqrt((error**2).mean(axis=0)), {"units": "K", "long_name": "rms error"}),
            "mean_error": ("probe", error.mean(axis=0), {"units": "K", "long_name": "mean error"}),
            "largest_error": ("probe", error[biggest, columns], {"units": "K", "long_name": "largest error"}),
            "largest_error_time": (
                "probe",
                at[inside][biggest],
                {"units": "s", "long_name": "time of the largest error"},
            ),
            "time_measured": (both, times[0], {"units": "s", "long_name": "measured time to temperature"}),
            "time_predicted": (both, times[1], {"units": "s", "long_name": "predicted time to temperature"}),
            "time_error": (both, times[1] - times[0], {"units": "s", "long_name": "error in time to temperature"}),
            "relative_time_error": (both, relative, {"units": "1", "long_name": "relative error in time"}),
            "rate_measured": (both, rates[0], {"units": "K/s", "long_name": "measured cooling rate"}),
            "rate_predicted": (both, rates[1], {"units": "K/s", "long_name": "predicted cooling rate"}),
            "rate_error": (both, rates[1] - rates[0], {"units": "K/s", "long_name": "error in cooling rate"}),
            "relative_rate_error": (
                both,
                rates[1] / rates[0] - 1.0,
                {"units": "1", "long_name": "relative error in rate"},
            ),
        },
        coords={
            "time": ("time", at[inside], {"units": "s", "long_name": "time"}),
            "probe": ("probe", list(pairs), {"units": "1", "long_name": "probe"}),
            "predicted_probe": ("probe", list(pairs.values()), {"units": "1", "long_name": "predicted probe"}),
            "level": ("level", levels, {"units": "degC", "long_name": "temperature"}),
        },
        attrs={
            "time_shift": shift,
            "align": "none" if align is None else str(align),
            "not_compared": ", ".join(name for name in channels if name not in pairs),
            "rows_outside": int((~inside).sum()),
            "cleaning": str(measured.attrs.get("cleaning", "[]")),
            "source": str(measured.attrs.get("source", "")),
        },
    )


def _through(time: Array, values: Array) -> Any:
    """Monotone cubic through the predicted history, so that coarse output does not add an error of its own."""
    from scipy.interpolate import PchipInterpolator

    return PchipInterpolator(time, values, axis=0)


def _shift(
    align: float | str | None,
    left: xr.Dataset,
    right: xr.Dataset,
    own: Array,
    other: Array,
    reading: Array,
    curve: Any,
) -> float:
    """Seconds to take off the measured clock."""
    if align is None:
        return 0.0
    if align == "best":
        return _best_shift(own, other, reading, curve)
    if isinstance(align, str):
        raise InputError(f"align = {align!r}: None, 'best', or a temperature in degC.")
    check_number("align", align, "temperature")
    apart = crossing_time(left, align).values - crossing_time(right, align).values
    if not np.isfinite(apart).any():
        raise InputError(f"align = {align:g} degC: no channel falls through it in both histories.")
    return float(np.nanmean(apart))


def _best_shift(own: Array, other: Array, reading: Array, curve: Any) -> float:
    """Shift with the least rms error: a coarse scan, then the bracket refined."""
    from scipy.optimize import minimize_scalar

    span = min(own[-1] - own[0], other[-1] - other[0])

    def rms(shift: float) -> float:
        at = own - shift
        inside = (at >= other[0]) & (at <= other[-1])
        if 2 * inside.sum() < min(len(own), 4):
            return np.inf
        return float(np.sqrt(np.mean((curve(at[inside]) - reading[inside]) ** 2)))

    middle = own[0] - other[0]
    # a shift that leaves less than half of the common span is no alignment any more
    scan = middle + np.linspace(-0.5, 0.5, 201) * span
    errors = np.array([rms(float(s)) for s in scan])
    k = int(np.clip(errors.argmin(), 1, len(scan) - 2))
    found = minimize_scalar(
        rms, bounds=(scan[k - 1], scan[k + 1]), method="bounded", options={"xatol": 1e-4 * span / 200}
    )
    return float(found.x) if found.fun <= errors[k] else float(scan[k])


def comparison_table(result: xr.Dataset) -> str:
    """The result of :func:`compare_histories` as text, in the units of `heatq.plot.units`."""

    def value(what: str, *index: int) -> float:
        return float(shown(result[what].values[index], str(result[what].attrs["units"]))[0])

    kelvin = unit_text("K")
    names = [str(name) for name in result["probe"].values]
    width = max(8, *(len(name) for name in names))
    shift = float(result.attrs["time_shift"])
    lines = [
        "predicted less measured; "
        + ("clocks as they are" if result.attrs["align"] == "none" else f"measured clock shifted by {-shift:+.4g} s")
        + (f" (aligned: {result.attrs['align']})" if result.attrs["align"] != "none" else ""),
        f"{'channel':<{width}}     rms    mean  largest   at time",
        f"{'':<{width}}{kelvin:>8}{kelvin:>8}{kelvin:>9}         s",
    ]
    for n, name in enumerate(names):
        lines.append(
            f"{name:<{width}}{value('rms_error', n):>8.2f}{value('mean_error', n):>+8.2f}{value('largest_error', n):>+9.2f}"
            f"{value('largest_error_time', n):>10.4g}"
        )
    lines += [
        f"{'channel':<{width}}    level   time to   error         rate at   error",
        f"{'':<{width}}{unit_text('degC'):>9}         s       s       %{unit_text('K/s'):>10}{unit_text('K/s'):>8}       %",
    ]
    for n, name in enumerate(names):
        for k, level in enumerate(result["level"].values):
            if np.isnan(result["time_measured"].values[k, n]) and np.isnan(result["time_predicted"].values[k, n]):
                continue
            lines.append(
                f"{name:<{width}}{shown(level, 'degC')[0]:>9.0f}"
                + _cell(result["time_measured"].values[k, n], ".4g", 10)
                + _cell(result["time_error"].values[k, n], "+.3g", 8)
                + _cell(100.0 * result["relative_time_error"].values[k, n], "+.1f", 8)
                + _cell(value("rate_measured", k, n), ".4g", 10)
                + _cell(value("rate_error", k, n), "+.3g", 8)
                + _cell(100.0 * result["relative_rate_error"].values[k, n], "+.1f", 8)
            )
    if result.attrs["not_compared"]:
        lines.append(f"not compared: {result.attrs['not_compared']}")
    if result.attrs["rows_outside"]:
        lines.append(f"{result.attrs['rows_outside']} measured rows lie outside the predicted times")
    return "\n".join(lines)


def _cell(value: float, form: str, width: int) -> str:
    return (format(value, form) if np.isfinite(value) else "-").rjust(width)

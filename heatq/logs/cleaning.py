"""Cleaning of logs. Each function does one thing that was asked for, and writes it down in ``attrs["cleaning"]``."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, check_name, check_number
from heatq.logs.diagnostics import check_log, is_spike, log_report, start_of_quench

if TYPE_CHECKING:
    import xarray as xr

__all__ = [
    "align_starts",
    "cut_log",
    "drop_dead_channels",
    "fill_gaps",
    "join_logs",
    "remove_spikes",
    "resample_log",
    "smooth_log",
]

Array = npt.NDArray[np.float64]


def _noted(log: xr.Dataset, step: str, **facts: Any) -> xr.Dataset:
    """Write a step down."""
    done = json.loads(log.attrs.get("cleaning", "[]"))
    log.attrs["cleaning"] = json.dumps([*done, {"step": step, **facts}], ensure_ascii=False)
    return log


def _with_values(log: xr.Dataset, time: Array, values: Array) -> xr.Dataset:
    """The log with other times and temperatures; variables that depend on time go, they would no longer fit."""
    import xarray as xr

    keep = {name: coord for name, coord in log.coords.items() if "time" not in coord.dims}
    return xr.Dataset(
        {"temperature": (("time", "probe"), values, dict(log["temperature"].attrs))},
        coords={"time": ("time", time, dict(log["time"].attrs)), **keep},
        attrs=dict(log.attrs),
    )


def _counts(log: xr.Dataset, numbers: Sequence[int] | Array) -> dict[str, int]:
    return {str(name): int(number) for name, number in zip(log["probe"].values, numbers, strict=True)}


def drop_dead_channels(log: xr.Dataset, channels: Sequence[str] | None = None) -> xr.Dataset:
    """Leave out channels that :func:`log_report` calls dead, or those named.

    Parameters
    ----------
    log : xarray.Dataset
        As `read_log` returns it.
    channels : sequence of str, optional
        Names to leave out; the default is what the report calls dead.

    Examples
    --------
    >>> import numpy as np
    >>> from heatq.logs import log_dataset
    >>> time = np.arange(0.0, 60.0)
    >>> log = log_dataset(time, np.column_stack([850.0 - 10.0 * time, 0.0 * time + 25.0]), ["core", "loose"])
    >>> clean = drop_dead_channels(log)
    >>> clean.probe.values.tolist(), clean.attrs["cleaning"]
    (['core'], '[{"step": "drop_dead_channels", "dropped": {"loose": "does not move"}}]')
    """
    check_log(log)
    known = [str(name) for name in log["probe"].values]
    if channels is None:
        report = log_report(log)
        dropped = {name: str(why) for name, why in zip(known, report["state"].values, strict=True) if why != "ok"}
    else:
        named = [channels] if isinstance(channels, str) else channels
        dropped = {check_name("channels", str(name), known): "named" for name in named}
    if len(dropped) == len(known):
        raise InputError("drop_dead_channels: no channel would be left; log_report() says why each is dead.")
    out = log.isel(probe=[n for n, name in enumerate(known) if name not in dropped])
    out.attrs = dict(log.attrs)
    return _noted(out, "drop_dead_channels", dropped=dropped)


def remove_spikes(log: xr.Dataset, threshold: float, width: int = 5) -> xr.Dataset:
    """Turn spikes into gaps: readings more than ``threshold`` (K) off the median of ``width`` readings around them.

    A run of more than ``width // 2`` wrong readings is not found, nor is one among the first and last ``width // 2``.

    Parameters
    ----------
    log : xarray.Dataset
        As `read_log` returns it.
    threshold : float
        K.
    width : int
        Readings in the running median, odd.

    Examples
    --------
    >>> from heatq.logs import log_dataset
    >>> log = log_dataset(range(7), [[850.0], [840.0], [830.0], [999.0], [810.0], [800.0], [790.0]], ["core"])
    >>> remove_spikes(log, 20.0).temperature.values[:, 0]
    array([850., 840., 830.,  nan, 810., 800., 790.])
    """
    check_number("threshold", threshold, low=0.0, low_open=True, high=1000.0, unit="K")
    if width not in (3, 5, 7, 9, 11):
        raise InputError(f"width = {width!r} must be 3, 5, 7, 9 or 11 readings.")
    time, values = check_log(log)
    spikes = np.column_stack([is_spike(column, threshold, width) for column in values.T])
    out = _with_values(log, time, np.where(spikes, np.nan, values))
    return _noted(out, "remove_spikes", threshold=threshold, width=width, removed=_counts(log, spikes.sum(axis=0)))


def fill_gaps(log: xr.Dataset, longest: float, method: str = "monotone") -> xr.Dataset:
    """Fill gaps of at most ``longest`` seconds (between the readings on both sides); longer ones, and open ends, stay.

    ``method``: ``monotone`` (monotone cubic through the readings, Fritsch and Carlson 1980) or ``linear``.

    Parameters
    ----------
    log : xarray.Dataset
        As `read_log` returns it.
    longest : float
        Longest gap to fill, s.
    method : {"monotone", "linear"}
        How to fill.

    Examples
    --------
    >>> from heatq.logs import log_dataset
    >>> log = log_dataset(range(4), [[850.0], [float("nan")], [830.0], [820.0]], ["core"])
    >>> fill_gaps(log, 2.0).temperature.values[:, 0]
    array([850., 840., 830., 820.])
    """
    check_number("longest", longest, "duration", low_open=True)
    check_name("method", method, ("monotone", "linear"))
    time, values = check_log(log)
    out = values.copy()
    filled, left = np.zeros(values.shape[1], int), np.zeros(values.shape[1], int)
    for n, column in enumerate(values.T):
        good = np.flatnonzero(np.isfinite(column))
        gaps = np.flatnonzero(~np.isfinite(column))
        left[n] = gaps.size
        if good.size < 2 or not gaps.size:
            continue
        after = np.searchsorted(good, gaps)
        inside = (after > 0) & (after < good.size)
        width = np.full(gaps.size, np.inf)
        width[inside] = time[good[after[inside]]] - time[good[after[inside] - 1]]
        fill = gaps[width <= longest * (1 + 1e-12)]
        out[fill, n] = _through(time[good], column[good], method)(time[fill])
        filled[n], left[n] = fill.size, gaps.size - fill.size
    return _noted(
        _with_values(log, time, out),
        "fill_gaps",
        longest=longest,
        method=method,
        filled=_counts(log, filled),
        left=_counts(log, left),
    )


def _through(time: Array, values: Array, method: str) -> Callable[[Array], Array]:
    """Interpolant through readings, NaN outside."""
    if method == "monotone" and len(time) > 2:
        from scipy.interpolate import PchipInterpolator

        curve: Callable[[Array], Array] = PchipInterpolator(time, values, extrapolate=False)
        return curve
    return lambda at: np.interp(at, time, values, left=np.nan, right=np.nan)


def align_starts(
    log: xr.Dataset, *, temperature: float | None = None, drop: float = 5.0, shifts: Mapping[str, float] | None = None
) -> xr.Dataset:
    """Shift each channel in time so that all start the quench at time 0; for recorders that were not synchronised.

    Parameters
    ----------
    log : xarray.Dataset
        As `read_log` returns it.
    temperature : float, optional
        Time 0 is where the channel falls through this temperature (degC). Left out: its apparent start of the quench
        (`start_of_quench` with ``drop``).
    drop : float
        K, for the apparent start.
    shifts : mapping, optional
        Seconds to take off each channel's time, where the true starts are known.

    Returns
    -------
    xarray.Dataset
        On the first channel's times; the others interpolated onto them (monotone cubic), gaps where they have no
        reading near by. Couples at different depths do not start to fall at the same moment: aligning by their own
        curves wipes that difference out. Use known shifts where there are any.

    Examples
    --------
    >>> import numpy as np
    >>> from heatq.logs import log_dataset
    >>> time = np.arange(0.0, 60.0)
    >>> curve = lambda start: np.where(time < start, 850.0, 850.0 - 10.0 * (time - start))
    >>> log = align_starts(log_dataset(time, np.column_stack([curve(5.0), curve(9.0)]), ["a", "b"]))
    >>> log.temperature.sel(time=10.0).values
    array([750., 750.])
    """
    time, values = check_log(log)
    names = [str(name) for name in log["probe"].values]
    if shifts is not None:
        for name in names:
            if name not in shifts:
                raise InputError(
                    f"shifts: channel {name!r} is missing; give the seconds to take off each channel's time."
                )
        begin = np.array([check_number(f"shifts[{name!r}]", shifts[name], unit="s") for name in names])
    elif temperature is None:
        begin = start_of_quench(log, drop).values
    else:
        check_number("temperature", temperature, "temperature")
        begin = np.array([_falls_through(time, column, temperature) for column in values.T])
    for name, start in zip(names, begin, strict=True):
        if not np.isfinite(start):
            raise InputError(
                f"align_starts: channel {name!r} shows no start of a quench; drop it first, or give shifts."
            )
    own = time - begin[0]
    out = np.full_like(values, np.nan)
    for n, column in enumerate(values.T):
        out[:, n] = _onto(own, time - begin[n], column)
    stay = np.isfinite(out).any(axis=1)
    return _noted(
        _with_values(log, own[stay], out[stay]),
        "align_starts",
        by="shifts" if shifts is not None else "start of quench" if temperature is None else f"{temperature:g} degC",
        shift={name: round(float(start), 6) for name, start in zip(names, begin, strict=True)},
    )


def _falls_through(time: Array, column: Array, level: float) -> float:
    good = np.isfinite(column)
    t, y = time[good], column[good]
    down = np.flatnonzero((y[:-1] > level) & (y[1:] <= level))
    if not down.size:
        return np.nan
    n = down[0]
    return float(t[n] + (y[n] - level) / (y[n] - y[n + 1]) * (t[n + 1] - t[n]))


def _onto(at: Array, time: Array, column: Array) -> Array:
    """One channel at other times; a gap where it has one there, or none beside it."""
    good = np.isfinite(column)
    if good.sum() < 2:
        return np.full(len(at), np.nan)
    out = np.asarray(_through(time[good], column[good], "monotone")(at))
    holed = np.interp(at, time, (~good).astype(float), left=1.0, right=1.0) > 1e-9
    return np.where(holed, np.nan, out)


def cut_log(
    log: xr.Dataset, start: float | None = None, end: float | None = None, *, rezero: bool = True
) -> xr.Dataset:
    """The rows from ``start`` to ``end`` (s); time counts from ``start`` afterwards unless ``rezero`` is False.

    ``start`` falls between two rows: the later row is the first.

    Parameters
    ----------
    log : xarray.Dataset
        As `read_log` returns it.
    start, end : float, optional
        s.
    rezero : bool
        Whether time counts from ``start`` afterwards.
    """
    time, values = check_log(log)
    low = time[0] if start is None else check_number("start", start, low=-1e7, high=1e7, unit="s")
    high = time[-1] if end is None else check_number("end", end, low=low, high=1e7, unit="s", low_open=True)
    stay = (time >= low) & (time <= high)
    if stay.sum() < 2:
        raise InputError(
            f"cut_log: fewer than two rows lie between {low:g} and {high:g} s; the log has {time[0]:g} to {time[-1]:g} s."
        )
    out = _with_values(log, time[stay] - (low if rezero else 0.0), values[stay])
    return _noted(
        out, "cut_log", start=float(low), end=float(high), rows_left_out=int((~stay).sum()), rezero=bool(rezero)
    )


def resample_log(log: xr.Dataset, interval: float, by: str = "interpolation") -> xr.Dataset:
    """The log at a fixed interval (s) from its first time on.

    ``by="interpolation"`` (monotone cubic; gaps stay gaps) or ``"mean"``: mean of the readings within half an interval
    on both sides, which lowers noise where the new interval is longer.

    Parameters
    ----------
    log : xarray.Dataset
        As `read_log` returns it.
    interval : float
        s.
    by : {"interpolation", "mean"}
        How readings become one.
    """
    check_number("interval", interval, "duration", low_open=True)
    check_name("by", by, ("interpolation", "mean"))
    time, values = check_log(log)
    count = int(np.floor((time[-1] - time[0]) / interval * (1 + 1e-12))) + 1
    if not 2 <= count <= 10_000_000:
        raise InputError(
            f"interval = {interval:g} s gives {count} rows of the log's {time[-1] - time[0]:g} s; 2 to 1e7 are allowed."
        )
    grid = time[0] + interval * np.arange(count)
    if by == "interpolation":
        out = np.column_stack([_onto(grid, time, column) for column in values.T])
    else:
        place = np.floor((time - time[0]) / interval + 0.5).astype(int)
        out = np.full((count, values.shape[1]), np.nan)
        for n, column in enumerate(values.T):
            good = np.isfinite(column) & (place < count)
            number = np.bincount(place[good], minlength=count)
            total = np.bincount(place[good], weights=column[good], minlength=count)
            out[number > 0, n] = total[number > 0] / number[number > 0]
    result = _with_values(log, grid, out)
    return _noted(result, "resample_log", interval=interval, by=by, rows_before=len(time), rows_after=count)


def smooth_log(log: xr.Dataset, window: float, order: int = 2) -> xr.Dataset:
    """Smooth by a polynomial of ``order`` through the readings within ``window`` (s), centred (Savitzky and Golay 1964).

    Needs a fixed interval and no gaps: `resample_log`, `fill_gaps`. It rounds off what is shorter than the window, the
    start of the quench above all; the result states the window, and by which factor white noise shrinks.

    Parameters
    ----------
    log : xarray.Dataset
        As `read_log` returns it.
    window : float
        s.
    order : int
        Degree of the polynomial.

    Examples
    --------
    >>> import numpy as np
    >>> from heatq.logs import log_dataset
    >>> time = np.arange(0.0, 20.0)
    >>> smooth = smooth_log(log_dataset(time, 850.0 - time[:, None] ** 2, ["core"]), 5.0)
    >>> round(float(smooth.temperature[7, 0]), 6)
    801.0
    """
    from scipy.signal import savgol_coeffs, savgol_filter

    check_number("window", window, "duration", low_open=True)
    if order not in (1, 2, 3):
        raise InputError(f"order = {order!r} must be 1, 2 or 3.")
    time, values = check_log(log)
    steps = np.diff(time)
    step = float(np.median(steps))
    if np.abs(steps - step).max() > 0.01 * step:
        raise InputError("smooth_log: the interval is not fixed; resample_log() first.")
    if not np.isfinite(values).all():
        raise InputError("smooth_log: the log has gaps; fill_gaps() first.")
    width = 2 * int(window / step / 2.0 + 1e-9) + 1
    if width <= order + 1:
        raise InputError(f"window = {window:g} s spans {width} readings; order {order} needs at least {order + 2}.")
    if width > len(time):
        raise InputError(f"window = {window:g} s is longer than the log ({time[-1] - time[0]:g} s).")
    noise = float(np.sqrt((savgol_coeffs(width, order) ** 2).sum()))
    out = _with_values(log, time, savgol_filter(values, width, order, axis=0, mode="interp"))
    return _noted(out, "smooth_log", window=window, readings=width, order=order, noise_factor=round(noise, 4))


def join_logs(logs: Sequence[xr.Dataset], starts: Sequence[float] | None = None) -> xr.Dataset:
    """Channels of several recorders in one log, on the union of their times; gaps where a recorder has no row.

    Parameters
    ----------
    logs : sequence of Dataset
        With channel names that differ.
    starts : sequence of float, optional
        Time of each log's zero on the common clock, s. Left out: taken from the attribute ``start`` if all have one.
    """
    import datetime

    if not isinstance(logs, Sequence) or len(logs) < 2:
        raise InputError("join_logs needs at least two logs, in a list.")
    for log in logs:
        check_log(log)
    if starts is None:
        stamps = [str(log.attrs.get("start", "")) for log in logs]
        if not all(stamps):
            raise InputError(
                "join_logs: not every log knows its date and time; give starts=[…], seconds of each on a common clock."
            )
        moments = [datetime.datetime.fromisoformat(stamp) for stamp in stamps]
        starts = [(moment - min(moments)).total_seconds() for moment in moments]
    if len(starts) != len(logs):
        raise InputError(f"join_logs: {len(starts)} starts for {len(logs)} logs.")
    names = [str(name) for log in logs for name in log["probe"].values]
    for name in names:
        if names.count(name) > 1:
            raise InputError(
                f"join_logs: channel {name!r} stands in more than one log; rename it when reading, channels={{…}}."
            )
    times = [np.round(log["time"].values + float(begin), 9) for log, begin in zip(logs, starts, strict=True)]
    union = np.unique(np.concatenate(times))
    columns = []
    for log, at in zip(logs, times, strict=True):
        block = np.full((len(union), log.sizes["probe"]), np.nan)
        block[np.searchsorted(union, at)] = log["temperature"].transpose("time", "probe").values
        columns.append(block)
    from heatq.logs.reading import log_dataset

    out = log_dataset(union - union[0], np.concatenate(columns, axis=1), names)
    if all({"r", "z"} <= set(log.coords) for log in logs):
        out = out.assign_coords(
            {k: ("probe", np.concatenate([log[k].values for log in logs]), dict(logs[0][k].attrs)) for k in ("r", "z")}
        )
    out.attrs["source"] = "; ".join(str(log.attrs.get("source", "")) for log in logs)
    earlier = [json.loads(log.attrs.get("cleaning", "[]")) for log in logs]
    return _noted(out, "join_logs", starts=[float(s) for s in starts], earlier_steps=earlier)

"""Figures of recorder logs: readings, measured against predicted, specification windows, cooling rates."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from heatq.errors import InputError
from heatq.history import check_history
from heatq.logs.diagnostics import check_log, start_of_quench
from heatq.plot_style import (
    LINES,
    MARKERS,
    axes_or_new,
    chosen_names,
    enough,
    legend,
    quiet,
    shown,
    title,
    two_axes,
    unit_text,
)
from heatq.units import in_words
from heatq.windows import CurveWindow, RateWindow, TimeWindow

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

__all__ = ["log_readings", "measured_and_predicted", "rate_curves", "window_curves"]

#: Most measured points drawn as marks per channel; every row is drawn as a line in `log_readings`.
MARKS = 60


def _names(data: xr.Dataset, probes: Sequence[str] | str | None) -> list[str]:
    """Which channels are drawn; refused where lines would look alike."""
    names = chosen_names(probes, data["probe"].values)
    enough(len(names), "channels", "name some with probes=[…]")
    return names


def log_readings(log: xr.Dataset, *, probes: Sequence[str] | None = None, ax: Axes | None = None) -> Axes:
    """The readings of a log as they are, gaps left open, with the apparent start of the quench marked on each channel.

    Parameters
    ----------
    log : Dataset
        As `heatq.logs.read_log` returns it.
    probes : list of str, optional
        Which channels, at most seven.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    time, _ = check_log(log)
    names = _names(log, probes)
    ax = axes_or_new(ax, (6.8, 4.2))
    starts = start_of_quench(log)
    for name, (colour, style) in zip(names, LINES, strict=False):
        values, _ = shown(log["temperature"].sel(probe=name).values, "degC")
        ax.plot(time, values, color=colour, linestyle=style, linewidth=1.3, label=name)
        start = float(starts.sel(probe=name))
        if np.isfinite(start):
            level = values[np.searchsorted(time, start)]
            ax.plot([start], [level], color=colour, marker="v", markersize=7, markerfacecolor="white", linestyle="none")
    ax.plot(
        [], [], color="0.3", marker="v", markerfacecolor="white", linestyle="none", label="apparent start of quench"
    )
    ax.set(xlabel="time, s", ylabel=f"temperature, {unit_text('degC')}")
    quiet(ax)
    legend(ax)
    return ax


def measured_and_predicted(
    comparison: xr.Dataset, *, probes: Sequence[str] | None = None, axes: Sequence[Axes] | None = None
) -> tuple[Axes, Axes]:
    """Measured points on predicted curves, and below them predicted less measured.

    Parameters
    ----------
    comparison : Dataset
        As `heatq.comparison.compare_histories` returns it.
    probes : list of str, optional
        Which channels, at most seven.
    axes : two matplotlib Axes, optional
        Where to draw temperature and error.
    """
    if not hasattr(comparison, "data_vars") or not {"measured", "predicted", "error"} <= set(comparison.data_vars):
        raise InputError("measured_and_predicted needs the result of compare_histories().")
    names = _names(comparison, probes)
    upper, lower = two_axes(axes, 2, 1, (6.8, 5.8), sharex=True, height_ratios=[5, 2])
    time = comparison["time"].values
    every = max(1, len(time) // MARKS)
    for name, mark, (colour, style) in zip(names, MARKERS, LINES, strict=False):
        one = comparison.sel(probe=name)
        rms, kelvin = shown(one["rms_error"].values, "K")
        predicted, _ = shown(one["predicted"].values, "degC")
        label = f"{name}, rms {rms:.1f} {kelvin}"
        upper.plot(time, predicted, color=colour, linestyle=style, linewidth=1.5, label=label)
        measured, _ = shown(one["measured"].values[::every], "degC")
        look: dict[str, Any] = {"marker": mark, "linestyle": "none", "markersize": 4, "markerfacecolor": "white"}
        upper.plot(time[::every], measured, color=colour, **look)
        lower.plot(time, shown(one["error"].values, "K")[0], color=colour, linestyle=style, linewidth=1.3)
    upper.plot(
        [], [], color="0.35", marker="o", linestyle="none", markerfacecolor="white", markersize=4, label="measured"
    )
    lower.axhline(0.0, color="0.4", linewidth=0.8)
    upper.set_ylabel(f"temperature, {unit_text('degC')}")
    lower.set(xlabel="time, s", ylabel=f"predicted less\nmeasured, {unit_text('K')}")
    if comparison.attrs.get("align", "none") != "none":
        title(upper, f"measured clock shifted by {-float(comparison.attrs.get('time_shift', 0.0)):+.3g} s")
    quiet(upper)
    quiet(lower)
    legend(upper)
    return upper, lower


def window_curves(
    history: xr.Dataset, windows: Any, *, probes: Sequence[str] | None = None, ax: Axes | None = None
) -> Axes:
    """Histories with the limits of specification windows.

    Rate and time windows are drawn for each channel as the straight line from where it passes the upper temperature
    to where it would have to be at the lower one; a curve from where the channel passes its first temperature. The marks
    point to the allowed side.

    Parameters
    ----------
    history : Dataset
        ``temperature(time, probe)`` without gaps.
    windows : window or list
        As for `heatq.windows.check_windows`.
    probes : list of str, optional
        Which channels, at most seven.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    from heatq.history import crossing_time

    check_history(history)
    names = _names(history, probes)
    chosen = list(windows) if isinstance(windows, (list, tuple)) else [windows]
    if not chosen:
        raise InputError("windows is empty: give at least one RateWindow, TimeWindow or CurveWindow.")
    for window in chosen:
        if not isinstance(window, (RateWindow, TimeWindow, CurveWindow)):
            raise InputError(f"windows: {window!r} is no window; give RateWindow, TimeWindow or CurveWindow objects.")
    ax = axes_or_new(ax, (6.8, 4.2))
    time = history["time"].values.astype(float)
    for name, (colour, style) in zip(names, LINES, strict=False):
        ax.plot(
            time,
            shown(history["temperature"].sel(probe=name).values, "degC")[0],
            color=colour,
            linestyle=style,
            linewidth=1.4,
            label=name,
        )
    fills = ("full", "none", "left", "right")
    for number, window in enumerate(chosen):
        if isinstance(window, CurveWindow):
            upper, duration = float(window.temperature[0]), None
            level = np.asarray(window.temperature)
            relative = np.asarray(window.time) - (0.0 if window.from_start else window.time[0])
            lowest = window.no_faster
        else:
            upper, lower = float(window.upper), float(window.lower)
            level = np.array([upper, lower])
            duration = window.required if window.unit == "s" else (upper - lower) / window.required
            relative = np.array([0.0, duration])
            # slowest allowed: more than this rate, or less than this time
            lowest = (window.unit == "s") == (window.at_least is not None)
        look: dict[str, Any] = {"linewidth": 0.9, "marker": "^" if lowest else "v", "markersize": 4}
        look["fillstyle"] = fills[number % len(fills)]
        ax.plot([], [], color="0.35", label=in_words(window.label), **look)
        if isinstance(window, CurveWindow) and window.from_start:
            ax.plot(time[0] + relative, shown(level, "degC")[0], color="0.35", **look)
            continue
        passed = crossing_time(history.sel(probe=names), upper).values
        for start, (colour, _) in zip(passed, LINES, strict=False):
            if np.isfinite(start):
                ax.plot(start + relative, shown(level, "degC")[0], color=colour, **look)
    ax.set(xlabel="time, s", ylabel=f"temperature, {unit_text('degC')}", xlim=(time[0], time[-1]))
    quiet(ax)
    legend(ax, title="marks point to the allowed side", title_fontsize="x-small", alignment="left")
    return ax


def rate_curves(metrics: xr.Dataset, *, probes: Sequence[str] | None = None, ax: Axes | None = None) -> Axes:
    """Cooling rate against temperature.

    Parameters
    ----------
    metrics : Dataset
        As `heatq.metrics.history_metrics` returns it; give it closely spaced temperatures.
    probes : list of str, optional
        Which places, at most seven.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    if not hasattr(metrics, "data_vars") or "cooling_rate" not in metrics or "level" not in metrics.coords:
        raise InputError("rate_curves needs the result of history_metrics().")
    names = _names(metrics, probes)
    ax = axes_or_new(ax)
    for name, (colour, style) in zip(names, LINES, strict=False):
        rate, _ = shown(metrics["cooling_rate"].sel(probe=name).values, "K/s")
        ax.plot(
            shown(metrics["level"].values, "degC")[0], rate, color=colour, linestyle=style, linewidth=1.4, label=name
        )
    ax.set(xlabel=f"temperature, {unit_text('degC')}", ylabel=f"cooling rate, {unit_text('K/s')}")
    ax.set_ylim(bottom=0.0)
    quiet(ax)
    legend(ax)
    return ax

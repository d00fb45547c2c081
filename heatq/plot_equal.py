"""Figures of equal quenches: lines of equal settings, and the gas end-quench curve against the water one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from heatq.errors import InputError, check_number
from heatq.plot_style import (
    LINES,
    axes_or_new,
    enough,
    legend,
    plain_ticks,
    quenched_end_axis,
    quenched_end_distance,
    quiet,
    shown,
    title,
)
from heatq.units import in_words

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

__all__ = ["endquench_match_chart", "equal_settings_chart"]

#: Setting -> its unit in the Dataset, and the label of its axis.
_AXES = {"pressure": ("Pa", "pressure, bar absolute"), "velocity": ("m/s", "velocity of the gas, m/s")}


def equal_settings_chart(result: xr.Dataset, *, ax: Axes | None = None) -> Axes:
    """Lines of settings that all do what the reference does, one for each gas, with the range from the uncertainty of h.

    Parameters
    ----------
    result : Dataset
        Of `equal_settings`.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    what = str(getattr(result, "attrs", {}).get("searched", ""))
    if not {"pressure", "velocity", "gas"} <= set(getattr(result, "variables", ())) or what not in _AXES:
        raise InputError("result is not a line of settings: pass what equal_settings() returned.")
    other = "velocity" if what == "pressure" else "pressure"
    enough(result.sizes["gas"], "gases", "select some")
    ax = axes_or_new(ax)
    unit, words = _AXES[what]
    across, along = _AXES[other]
    x, _ = shown(result[other].values, across)
    limits, _ = shown([result.attrs["lowest"], result.attrs["highest"]], unit)
    for n, gas in enumerate(result["gas"].values):
        colour, style = LINES[n]
        row = result.sel(gas=gas)
        y, _ = shown(row[what].values, unit)
        known = np.isfinite(y)
        label = str(gas) if known.any() else f"{gas}: {_reason(row)}"
        ax.plot(x, y, color=colour, linestyle=style, linewidth=1.4, marker=".", label=label)
        if n == 0:
            low, high = shown(row[f"{what}_interval"].values, unit)[0].T
            # an open end of the range is drawn to the limit of the search
            low = np.where(np.isfinite(low), low, limits[0])
            high = np.where(np.isfinite(high), high, limits[1])
            if np.isfinite(row[f"{what}_interval"].values).any():
                ax.fill_between(
                    x,
                    low,
                    high,
                    where=known,
                    color="0.85",
                    zorder=0,
                    linewidth=0,
                    label=f"{gas}: range from h (2 st. dev.)",
                )
    ax.set_xscale("log")
    ax.set_yscale("log")
    plain_ticks(ax.xaxis)
    plain_ticks(ax.yaxis)
    ax.set_ylim(0.9 * limits[0], 1.1 * limits[1])
    ax.set_xlabel(along)
    ax.set_ylabel(words)
    title(ax, in_words(f"same {result.attrs['by']} as {result.attrs['reference']}"))
    quiet(ax)
    legend(ax)
    return ax


def _reason(row: xr.Dataset) -> str:
    return str(row["status"].values.flat[0])


def endquench_match_chart(result: xr.Dataset, *, settings: Any = None, ax: Axes | None = None) -> Axes:
    """Hardness over the distance from the quenched end: water with a band, and the gas jets.

    Parameters
    ----------
    result : Dataset
        Of `match_endquench`.
    settings : list of float, optional
        Which of the settings run to draw (the nearest are taken); default up to five, evenly spread.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    if "water_hardness" not in getattr(result, "data_vars", {}) or "gas_hardness" not in result:
        raise InputError("result is not an end-quench comparison: pass what match_endquench() returned.")
    what = str(result.attrs["searched"])
    unit, _ = _AXES[what]
    if settings is None:
        chosen = result[what].values[np.unique(np.linspace(0, result.sizes[what] - 1, 5).round().astype(int))]
    else:
        wanted = [check_number("settings", setting, what) for setting in np.ravel(settings).tolist()]
        chosen = np.unique(result[what].sel({what: wanted}, method="nearest").values)
    enough(len(chosen) + 1, "curves", "select some")
    ax = axes_or_new(ax)
    x, water = quenched_end_distance(result["distance"].values), result["water_hardness"].values
    within = float(result.attrs["within"])
    ax.fill_between(
        x, water - within, water + within, color="0.87", linewidth=0, label=f"water ± {within:g} HRC; dots: inside"
    )
    ax.plot(x, water, color=LINES[0][0], linestyle=LINES[0][1], linewidth=2.0, label="water jet")
    for n, setting in enumerate(chosen, start=1):
        colour, style = LINES[n]
        row = result.sel({what: setting})
        value, text = shown(setting, unit)
        ax.plot(
            x, row["gas_hardness"].values, color=colour, linestyle=style, linewidth=1.3,
            label=f"{result.attrs['gas']} {value:.3g} {text}",
        )  # fmt: skip
        inside = row["is_matched"].values
        ax.plot(
            x[inside], row["gas_hardness"].values[inside], color=colour, linestyle="none", marker="o", markersize=3.5
        )
    ax.set_ylabel("hardness, HRC")
    low, high = ax.get_ylim()
    ax.set_ylim(low, high + 0.3 * (high - low))  # room for the legend
    quenched_end_axis(ax)
    fixed = "pressure" if what == "velocity" else "velocity"
    value, text = shown(float(result.attrs[fixed]), _AXES[fixed][0])
    title(ax, f"{result.attrs['steel']}, {result.attrs['gas']} jet, {value:.3g} {text}")
    quiet(ax)
    legend(ax, loc="upper right")
    return ax

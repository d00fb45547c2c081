"""Figures of equal quenches: lines of equal settings, and the gas end-quench curve against the water one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.constants import bar, milli

from heatq.errors import InputError
from heatq.plot import LINES

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

__all__ = ["endquench_match_chart", "equal_settings_chart"]

_AXES = {
    "pressure": (bar, "pressure, bar absolute", "bar"),
    "velocity": (1.0, "velocity of the gas, m/s", "m/s"),
}


def _axes(ax: Axes | None) -> Axes:
    if ax is not None:
        return ax
    from matplotlib.figure import Figure

    return Figure(figsize=(6.4, 4.2), layout="constrained").subplots()


def _quiet(ax: Axes) -> None:
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    ax.grid(visible=True, color="0.88", linewidth=0.6)
    ax.set_axisbelow(True)


def _plain_ticks(axis: Any) -> None:
    """1, 2, 5, 10 instead of powers of ten on a logarithmic axis."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axis.set_minor_formatter(NullFormatter())


def _few(count: int, what: str) -> None:
    if count > len(LINES):
        raise InputError(f"{count} {what} in one figure: at most {len(LINES)} stay apart; select some.")


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
    if what not in _AXES or "gas" not in getattr(result, "dims", ()):
        raise InputError("result is not a line of settings: pass what equal_settings() returned.")
    other = "velocity" if what == "pressure" else "pressure"
    _few(result.sizes["gas"], "gases")
    ax = _axes(ax)
    scale, words, _ = _AXES[what]
    across, along, _ = _AXES[other]
    x = result[other].values / across
    for n, gas in enumerate(result["gas"].values):
        colour, style = LINES[n]
        row = result.sel(gas=gas)
        y = row[what].values / scale
        known = np.isfinite(y)
        label = str(gas) if known.any() else f"{gas}: {_reason(row)}"
        ax.plot(x, y, color=colour, linestyle=style, linewidth=1.4, marker=".", label=label)
        if n == 0:
            low, high = (row[f"{what}_interval"].values / scale).T
            # an open end of the range is drawn to the limit of the search
            low = np.where(np.isfinite(low), low, result.attrs["lowest"] / scale)
            high = np.where(np.isfinite(high), high, result.attrs["highest"] / scale)
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
    _plain_ticks(ax.xaxis)
    _plain_ticks(ax.yaxis)
    ax.set_ylim(0.9 * result.attrs["lowest"] / scale, 1.1 * result.attrs["highest"] / scale)
    ax.set_xlabel(along)
    ax.set_ylabel(words)
    ax.set_title(f"same {result.attrs['by']} as {result.attrs['reference']}", fontsize="medium")
    _quiet(ax)
    ax.legend(fontsize="small", edgecolor="none", framealpha=0.7)
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
    scale, _, unit = _AXES[what]
    if settings is None:
        chosen = result[what].values[np.unique(np.linspace(0, result.sizes[what] - 1, 5).round().astype(int))]
    else:
        chosen = result[what].sel({what: list(settings)}, method="nearest").values
    _few(len(chosen) + 1, "curves")
    ax = _axes(ax)
    x, water = result["distance"].values / milli, result["water_hardness"].values
    within = float(result.attrs["within"])
    ax.fill_between(x, water - within, water + within, color="0.87", linewidth=0, label=f"water +- {within:g} HRC")
    ax.plot(x, water, color=LINES[0][0], linestyle=LINES[0][1], linewidth=2.0, label="water jet")
    for n, setting in enumerate(chosen, start=1):
        colour, style = LINES[n]
        row = result.sel({what: setting})
        ax.plot(
            x, row["gas_hardness"].values, color=colour, linestyle=style, linewidth=1.3,
            label=f"{result.attrs['gas']} {setting / scale:.3g} {unit}",
        )  # fmt: skip
        inside = row["is_matched"].values
        ax.plot(
            x[inside], row["gas_hardness"].values[inside], color=colour, linestyle="none", marker="o", markersize=3.5
        )
    ax.set_xlim(0.0, None)
    ax.set_xlabel("distance from the quenched end, mm (dots: within the band)")
    ax.set_ylabel("hardness, HRC")
    fixed = (
        f"{float(result.attrs['pressure']) / bar:.3g} bar"
        if what == "velocity"
        else f"{float(result.attrs['velocity']):.3g} m/s"
    )
    ax.set_title(f"{result.attrs['steel']}, {result.attrs['gas']} jet, {fixed}", fontsize="medium")
    _quiet(ax)
    ax.legend(fontsize="small", edgecolor="none", framealpha=0.7)
    return ax

"""Figures of a load in a furnace: gas and pieces row by row, motor load over pressure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from heatq.errors import InputError, check_name
from heatq.plot_style import LINES, MARKERS, axes_or_new, enough, legend, quiet, round_ticks, shown, unit_text
from heatq.units import in_words

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

__all__ = ["load_courses", "load_rows", "motor_load_chart"]


def _need(data: Any, names: tuple[str, ...], source: str) -> None:
    if not hasattr(data, "data_vars") or any(name not in data.variables for name in names):
        raise InputError(f"this figure needs what {source}() returned.")


def _place(result: xr.Dataset, probe: str | None) -> str:
    """The probe asked for, or the first."""
    known = [str(name) for name in result["probe"].values]
    return known[0] if probe is None else check_name("probe", probe, known)


def load_courses(result: xr.Dataset, *, probe: str | None = None, column: str = "mean", ax: Axes | None = None) -> Axes:
    """Pieces of the first and the last row and the gas around them over time.

    Parameters
    ----------
    result : Dataset
        Of `heatq.quench_load`.
    probe : str, optional
        By default the first, usually the centre.
    column : str
        "mean", "slowest" or "fastest".
    ax : Axes, optional
        Where to draw.
    """
    _need(result, ("gas_before", "gas_after", "temperature"), "quench_load")
    place = _place(result, probe)
    one = result.sel(column=check_name("column", column, result["column"].values))
    ax = axes_or_new(ax)
    time = one["time"].values
    first, last = int(one["row"].values[0]), int(one["row"].values[-1])
    for n, row in enumerate(dict.fromkeys((first, last))):
        colour, style = LINES[n]
        part = one.sel(row=row)
        values, _ = shown(part["temperature"].sel(probe=place).values, "degC")
        ax.plot(time, values, color=colour, linestyle=style, label=f"{in_words(place)}, row {row}")
    for n, (name, row, text) in enumerate((("gas_before", first, "gas before"), ("gas_after", last, "gas after"))):
        colour, style = LINES[2 + n]
        values, _ = shown(one[name].sel(row=row).values, "degC")
        ax.step(time, values, where="pre", color=colour, linestyle=style, label=f"{text} row {row}")
    ax.set_xscale("symlog", linthresh=10.0)
    ax.set_xlim(0.0, float(time[-1]))
    ticks = [t for t in (0, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000) if t <= time[-1]]
    ax.set_xticks(ticks, [f"{t:g}" for t in ticks])
    ax.set_xlabel("time, s (linear to 10 s)")
    ax.set_ylabel(f"temperature, {unit_text('degC')}")
    quiet(ax)
    legend(ax)
    return ax


def load_rows(
    result: xr.Dataset, variable: str = "hardness_hv", *, probe: str | None = None, ax: Axes | None = None
) -> Axes:
    """One number of the pieces over the rows, a line per column of the work zone.

    Parameters
    ----------
    result : Dataset
        Of `heatq.quench_load`.
    variable : str
        Over ``column``, ``row`` and ``probe``: ``hardness_hv``, ``hardness_hrc``, ``cooling_time_800_500``, ``cooling_rate_704``.
    probe : str, optional
        By default the first, usually the centre.
    ax : Axes, optional
        Where to draw.
    """
    _need(result, ("gas_before", "temperature"), "quench_load")
    over = {"column", "row", "probe"}
    check_name("variable", variable, [str(name) for name, array in result.data_vars.items() if set(array.dims) == over])
    place = _place(result, probe)
    ax = axes_or_new(ax)
    rows = result["row"].values
    told = result[variable].attrs
    for n, column in enumerate(result["column"].values):
        colour, style = LINES[n]
        values, _ = shown(result[variable].sel(probe=place, column=column).values, told.get("units", ""))
        ax.plot(rows, values, color=colour, linestyle=style, marker=MARKERS[n], markersize=4, label=f"{column} column")
    ax.set_xticks(rows if len(rows) <= 20 else np.linspace(rows[0], rows[-1], 10).astype(int))
    ax.margins(y=0.25)  # room for the legend
    ax.set_xlabel("row in flow direction")
    ax.set_ylabel(f"{in_words(told.get('long_name', variable))}, {in_words(place)}, {unit_text(told.get('units', ''))}")
    quiet(ax)
    if result.sizes["column"] > 1:
        legend(ax, loc="upper center", ncols=result.sizes["column"])
    return ax


def motor_load_chart(*loads: xr.Dataset, ax: Axes | None = None) -> Axes:
    """Shaft power over the rated power of the motor against the pressure; above 1 the motor is overloaded.

    Parameters
    ----------
    *loads : Dataset
        Of `heatq.motor_load`, one line each: gases, furnaces or speeds.
    ax : Axes, optional
        Where to draw.
    """
    if not loads:
        raise InputError("motor_load_chart needs at least one result of motor_load().")
    enough(len(loads), "lines")
    ax = axes_or_new(ax)
    for n, load in enumerate(loads):
        _need(load, ("motor_load", "pressure"), "motor_load")
        colour, style = LINES[n]
        label = (
            f"{load.attrs['gas']}, {load.attrs['furnace']}, {load.attrs['speed'] * load.attrs['full_velocity']:.3g} m/s"
        )
        ax.plot(
            shown(load["pressure"].values, "Pa")[0],
            load["motor_load"].values,
            color=colour,
            linestyle=style,
            label=label,
        )
    ax.axhline(1.0, color="0.4", linewidth=0.8)
    ax.annotate(
        "rated power",
        (0.01, 1.0),
        xycoords=("axes fraction", "data"),
        xytext=(0, 3),
        textcoords="offset points",
        fontsize="small",
    )
    round_ticks(ax.xaxis)
    ax.set_xlabel("pressure, bar absolute")
    ax.set_ylabel("shaft power over rated power")
    ax.set_ylim(bottom=0.0)
    quiet(ax)
    legend(ax)
    return ax

"""Figures of thermocouple places: the map over the section, and the ranking with the parts of each error."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.constants import milli

from heatq.errors import InputError, check_number
from heatq.plot import _axes, _quiet

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

__all__ = ["place_map", "place_ranking"]

#: Steps of the map as multiples of ``within``.
STEPS = (0.5, 1.0, 2.0, 4.0, 8.0)
GREYS = ("1.0", "0.93", "0.85", "0.77", "0.69", "0.61")
#: Places marked with a number in the map, and bars in the ranking.
MARKED = 8
#: Parts of the error in the ranking: colour (Okabe and Ito 2008) and hatch, so that they stay apart in greyscale.
PARTS = {
    "representation": ("#0072B2", ""),
    "lag": ("#E69F00", "///"),
    "position": ("#009E73", "..."),
    "calibration": ("#999999", ""),
    "well": ("#D55E00", "\\\\\\"),
    "stem": ("#CC79A7", "xxx"),
}


def _check(result: xr.Dataset) -> None:
    if "error_temperature" not in getattr(result, "data_vars", ()):
        raise InputError("result has no error_temperature; pass what place_thermocouples() returned.")


def place_map(result: xr.Dataset, within: float = 5.0, *, count: int = MARKED, ax: Axes | None = None) -> Axes:
    """Map over the (r, z) section: where the metal is within x K of the point of interest, and the best places.

    Parameters
    ----------
    result : xarray.Dataset
        From `heatq.place_thermocouples`.
    within : float
        x, K: root mean square difference over the window; a line marks it, grey half to eight times of it.
    count : int
        Best places to mark; more of the result than that are not drawn. Thin it first with `heatq.distinct_places`.
    ax : matplotlib Axes, optional
        Where to draw.

    Returns
    -------
    Axes
        Half the section: z to the right, upwards if the piece is short. For the purpose "calibrate h", which has no point, the map
        shows the cooling rate. A piece without length is a line over r.
    """
    _check(result)
    check_number("within", within, low=0.0, high=1000.0, unit="K", low_open=True)
    r, z = result["section_r"].values / milli, result["section_z"].values / milli
    named = "section_difference" in result
    values = result["section_difference" if named else "section_rate"].values
    places = result.isel(place=slice(count))
    if len(z) == 1:
        return _line(places, r, values[0], within if named else None, _axes(ax))
    lying = z[-1] > 2.0 * r[-1]
    ax = _axes(ax, (7.6, 3.2) if lying else (4.4, 6.4))
    x, y, shown = (z, r, values.T) if lying else (r, z, values)
    if named:
        levels = [0.0, *(step * within for step in STEPS)]
        filled = ax.contourf(x, y, shown, levels, colors=GREYS, extend="max")
        ax.contour(x, y, shown, [within], colors="#0072B2", linewidths=1.6)
        ax.plot([], [], color="#0072B2", label=f"within {within:g} K")
        label = "difference, K"
    else:
        filled = ax.contourf(x, y, shown, 10, cmap="Greys_r", vmin=2.0 * shown.min() - shown.max())
        label = "mean cooling rate, K/s"
    figure: Any = ax.figure
    figure.colorbar(filled, ax=ax, label=label)
    numbers = range(1, places.sizes["place"] + 1)
    for number, radius, height in zip(numbers, places["r"].values / milli, places["z"].values / milli, strict=True):
        where = (height, radius) if lying else (radius, height)
        ax.plot(*where, "o", color="#D55E00", markersize=5, markeredgecolor="white", clip_on=False, zorder=3)
        ax.annotate(
            str(number), where, xytext=(4, 4), textcoords="offset points", fontsize="small", zorder=4,
            bbox={"boxstyle": "round,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.8},
        )  # fmt: skip
    if named:
        point = np.array([result.attrs["point_r"], result.attrs["point_z"]]) / milli
        ax.plot(
            *(point[::-1] if lying else point), "s", color="none", markersize=11, markeredgecolor="#0072B2", markeredgewidth=1.6,
            clip_on=False, zorder=4, label="point of interest",
        )  # fmt: skip
    names = ("z, mm", "r, mm") if lying else ("r, mm", "z, mm")
    ax.set(xlabel=names[0], ylabel=names[1], xlim=(x[0], x[-1]), ylim=(y[0], y[-1]))
    if not lying:
        ax.set_aspect("equal")
    if named:
        ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2, frameon=False, fontsize="small")
    return ax


def _line(places: xr.Dataset, r: Any, values: Any, within: float | None, ax: Axes) -> Axes:
    """Section of a long piece: a curve over the radius."""
    ax.plot(r, values, color="black")
    at_places = np.interp(places["r"].values / milli, r, values)
    ax.plot(places["r"].values / milli, at_places, "o", color="#D55E00", clip_on=False)
    for number, (radius, value) in enumerate(zip(places["r"].values / milli, at_places, strict=True), 1):
        ax.annotate(str(number), (radius, value), xytext=(4, 5), textcoords="offset points", fontsize="small")
    if within is not None:
        ax.axhline(within, color="#0072B2", linestyle="--", label=f"{within:g} K")
        ax.legend(frameon=False)
    name = "mean cooling rate, K/s" if within is None else "difference to the point of interest, K"
    ax.set(xlabel="r, mm", ylabel=name, xlim=(r[0], r[-1]))
    _quiet(ax)
    return ax


def place_ranking(result: xr.Dataset, *, of: str = "temperature", count: int = MARKED, ax: Axes | None = None) -> Axes:
    """Bars: the best places and the parts of their error.

    Parameters
    ----------
    result : xarray.Dataset
        From `heatq.place_thermocouples`.
    of : {"temperature", "rate"}
        Error in K or in K/s.
    count : int
        Places drawn, the best on top. Thin the result first with `heatq.distinct_places`.
    ax : matplotlib Axes, optional
        Where to draw.

    Returns
    -------
    Axes
        Bars are as long as the combined error; within a bar each part has its share of the sum of squares, since parts are
        put in quadrature and do not add up.
    """
    _check(result)
    if of not in ("temperature", "rate"):
        raise InputError(f"of = {of!r}: 'temperature' or 'rate'.")
    places = result.isel(place=slice(count))
    total = places[f"combined_{of}"].values
    squares = places[f"error_{of}"].values ** 2
    with np.errstate(invalid="ignore", divide="ignore"):
        shares = np.where(total > 0.0, squares / total, 0.0)  # of the length of the bar
    rows = np.arange(len(total))
    ax = _axes(ax, (7.2, 0.7 + 0.42 * len(rows) + 1.0))
    left = np.zeros(len(total))
    for name, share in zip(places["component"].values, shares, strict=True):
        colour, hatch = PARTS[str(name)]
        ax.barh(
            rows,
            share,
            left=left,
            height=0.66,
            color=colour,
            hatch=hatch,
            edgecolor="white",
            linewidth=0.4,
            label=str(name),
        )
        left = left + share
    labels = [f"{n + 1}  {name}" for n, name in enumerate(places["place"].values)]
    ax.set_yticks(rows, labels)
    ax.invert_yaxis()
    ax.set_xlabel("error of the reading, K" if of == "temperature" else "error of the mean cooling rate, K/s")
    ax.legend(loc="lower center", bbox_to_anchor=(0.4, 1.0), ncols=3, frameon=False, fontsize="small")
    _quiet(ax)
    ax.grid(visible=False, axis="y")
    return ax

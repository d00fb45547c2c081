"""Figures of thermocouple places: the map over the section, and the ranking with the parts of each error."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from heatq.errors import InputError, check_number
from heatq.plot_style import axes_or_new, check_count, ink, legend, quiet, shown, unit_text
from heatq.units import in_words

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
#: Mark of one of the best places.
_BEST: dict[str, Any] = {
    "color": "#D55E00",
    "marker": "o",
    "markersize": 5,
    "markeredgecolor": "white",
    "linestyle": "none",
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
    r, z = shown(result["section_r"].values, "m")[0], shown(result["section_z"].values, "m")[0]
    named = "section_difference" in result
    values, unit = shown(result["section_difference" if named else "section_rate"].values, "K" if named else "K/s")
    limit, _ = shown(within, "K")
    places = result.isel(place=slice(check_count("count", count)))
    if len(z) == 1:
        return _line(places, r, values[0], limit if named else None, unit, axes_or_new(ax))
    lying = z[-1] > 2.0 * r[-1]
    ax = axes_or_new(ax, (7.6, 3.2) if lying else (4.4, 6.4))
    x, y, drawn = (z, r, values.T) if lying else (r, z, values)
    if named:
        levels = [0.0, *(step * limit for step in STEPS)]
        filled = ax.contourf(x, y, drawn, levels, colors=GREYS, extend="max")
        ax.contour(x, y, drawn, [limit], colors="#0072B2", linewidths=1.6)
        ax.plot([], [], color="#0072B2", label=f"within {limit:g} {unit}")
        label = f"difference, {unit}"
    else:
        filled = ax.contourf(x, y, drawn, 10, cmap="Greys_r", vmin=2.0 * drawn.min() - drawn.max())
        label = f"mean cooling rate, {unit}"
    figure: Any = ax.figure
    ink(figure.colorbar(filled, ax=ax, label=label).ax)
    numbers = range(1, places.sizes["place"] + 1)
    radii, heights = shown(places["r"].values, "m")[0], shown(places["z"].values, "m")[0]
    ax.plot([], [], **_BEST, label="best places")
    for number, radius, height in zip(numbers, radii, heights, strict=True):
        where = (height, radius) if lying else (radius, height)
        ax.plot(*where, **_BEST, clip_on=False, zorder=3)
        ax.annotate(
            str(number), where, xytext=(4, 4), textcoords="offset points", fontsize="small", zorder=4,
            bbox={"boxstyle": "round,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.8},
        )  # fmt: skip
    if named:
        point, _ = shown([result.attrs["point_r"], result.attrs["point_z"]], "m")
        ax.plot(
            *(point[::-1] if lying else point), "s", color="none", markersize=11, markeredgecolor="#0072B2", markeredgewidth=1.6,
            clip_on=False, zorder=4, label="point of interest",
        )  # fmt: skip
    names = [f"{name}, {unit_text('m')}" for name in (("length z", "radius r") if lying else ("radius r", "length z"))]
    ax.set(xlabel=names[0], ylabel=names[1], xlim=(x[0], x[-1]), ylim=(y[0], y[-1]))
    if not lying:
        ax.set_aspect("equal")
    quiet(ax)
    ax.grid(visible=False)
    legend(ax, loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3 if lying else 2)
    return ax


def _line(places: xr.Dataset, r: Any, values: Any, limit: float | None, unit: str, ax: Axes) -> Axes:
    """Section of a long piece: a curve over the radius."""
    ax.plot(r, values, color="black")
    radii, _ = shown(places["r"].values, "m")
    at_places = np.interp(radii, r, values)
    ax.plot(radii, at_places, "o", color="#D55E00", clip_on=False)
    for number, (radius, value) in enumerate(zip(radii, at_places, strict=True), 1):
        ax.annotate(str(number), (radius, value), xytext=(4, 5), textcoords="offset points", fontsize="small")
    if limit is not None:
        ax.axhline(limit, color="#0072B2", linestyle="--", label=f"{limit:g} {unit}")
    name = "mean cooling rate" if limit is None else "difference to the point of interest"
    ax.set(xlabel=f"radius r, {unit_text('m')}", ylabel=f"{name}, {unit}", xlim=(r[0], r[-1]))
    quiet(ax)
    legend(ax)
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
    places = result.isel(place=slice(check_count("count", count)))
    total = places[f"combined_{of}"].values
    squares = places[f"error_{of}"].values ** 2
    with np.errstate(invalid="ignore", divide="ignore"):
        shares = np.where(total > 0.0, squares / total, 0.0)  # of the length of the bar
    shares, unit = shown(shares, "K" if of == "temperature" else "K/s")
    rows = np.arange(len(total))
    ax = axes_or_new(ax, (7.2, 0.7 + 0.42 * len(rows) + 1.0))
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
    labels = [f"{n + 1}  {in_words(str(name))}" for n, name in enumerate(places["place"].values)]
    ax.set_yticks(rows, labels)
    ax.invert_yaxis()
    ax.set_xlabel(f"error of the {'reading' if of == 'temperature' else 'mean cooling rate'}, {unit}")
    quiet(ax)
    ax.grid(visible=False, axis="y")
    legend(ax, loc="lower center", bbox_to_anchor=(0.4, 1.0), ncols=3)
    return ax

"""Figures from Datasets: labelled axes with units, safe for colour-blind readers and in greyscale.

Every function draws into ``ax`` (or a new figure) and returns the axes. The look, empty axes in it, and the units of
lengths and temperatures (`units`) come from `heatq.plot_style`; they serve for figures of your own too.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from heatq.errors import InputError
from heatq.history import check_history
from heatq.plot_style import (
    LINES,
    axes_or_new,
    chosen_names,
    enough,
    legend,
    new_axes,
    quenched_end_axis,
    quenched_end_distance,
    quiet,
    shown,
    unit_text,
    units,
)
from heatq.units import in_words

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

__all__ = ["LINES", "end_quench_curve", "histories", "legend", "new_axes", "quiet", "units"]


def _chemistry(result: xr.Dataset) -> Any:
    """Hardness from chemistry alone, or None where there is none."""
    hardness = result.get("hardness_hrc_chemistry")
    return hardness.values if hardness is not None and np.isfinite(hardness.values).any() else None


def end_quench_curve(
    results: xr.Dataset | Mapping[str, xr.Dataset],
    *,
    measured: xr.Dataset | None = None,
    with_chemistry: bool = True,
    ax: Axes | None = None,
) -> Axes:
    """Hardness against distance from the quenched end, in mm and in sixteenths of an inch.

    Parameters
    ----------
    results : Dataset or mapping label -> Dataset
        Trials of end-quench bars.
    measured : Dataset, optional
        A traverse as `heatq.hardness.read_traverse` returns it.
    with_chemistry : bool
        Also draw the second opinion from chemistry alone, for the first result that it reaches.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    if hasattr(results, "data_vars"):  # a Dataset, which is itself a Mapping
        results = {"prediction": cast("xr.Dataset", results)}
    results = cast("Mapping[str, xr.Dataset]", results)
    if not hasattr(results, "items") or not len(results):
        raise InputError(f"results = {results!r}: give the trial() of an EndQuenchBar, or a mapping label -> trial.")
    enough(len(results), "results")
    if measured is not None and not {"distance", "measured_hrc"} <= set(getattr(measured, "variables", ())):
        raise InputError("measured is not a traverse: pass what read_traverse() returned.")
    for label, result in results.items():
        if not {"distance", "hardness_hrc"} <= set(getattr(result, "variables", ())):
            raise InputError(
                f"result {label!r} has no distance from a quenched end or no hardness_hrc: "
                "pass the trial() of an EndQuenchBar."
            )
    ax = axes_or_new(ax)
    for (label, result), (colour, style) in zip(results.items(), LINES, strict=False):
        x = quenched_end_distance(result["distance"].values)
        ax.plot(x, result["hardness_hrc"].values, color=colour, linestyle=style, linewidth=1.6, label=label)
    reached = [key for key, result in results.items() if _chemistry(result) is not None] if with_chemistry else []
    if reached:
        chosen = results[reached[0]]
        also = f": {reached[0]}" if len(results) > 1 else ""
        ax.plot(
            quenched_end_distance(chosen["distance"].values),
            _chemistry(chosen),
            color="0.45",
            linestyle="none",
            marker="x",
            markersize=4,
            label=f"from chemistry alone (ASTM A255){also}",
        )
    if measured is not None:
        ax.plot(
            quenched_end_distance(measured["distance"].values),
            measured["measured_hrc"].values,
            color="#000000",
            linestyle="none",
            marker="o",
            markerfacecolor="white",
            markersize=5,
            label="measured",
        )
    ax.set_ylabel("hardness, HRC")
    low, high = ax.get_ylim()
    ax.set_ylim(min(20.0, low), max(60.0, high))
    quenched_end_axis(ax)
    quiet(ax)
    legend(ax)
    return ax


def histories(history: xr.Dataset, *, probes: Any = None, logarithmic: bool = True, ax: Axes | None = None) -> Axes:
    """Temperature against time at the probes of a history.

    Parameters
    ----------
    history : Dataset
        ``temperature(time, probe)``, simulated or measured.
    probes : list of str, optional
        Which probes; by default at most seven, spread over what there is.
    logarithmic : bool
        Logarithmic time axis.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    names = chosen_names(probes, check_history(history)["probe"].values)
    if probes is not None:
        enough(len(names), "probes")
    ax = axes_or_new(ax)
    if len(names) > len(LINES):
        picks = np.unique(np.linspace(0, len(names) - 1, len(LINES)).round().astype(int))
        names = [names[k] for k in picks]
    for name, (colour, style) in zip(names, LINES, strict=False):
        line, _ = shown(history["temperature"].sel(probe=name).values, "degC")
        ax.plot(history["time"].values, line, color=colour, linestyle=style, linewidth=1.4, label=in_words(name))
    if logarithmic:
        ax.set_xscale("log")
        positive = history["time"].values[history["time"].values > 0]
        ax.set_xlim(max(positive[0], positive[-1] * 1e-5, 1e-2), positive[-1])
    ax.set_xlabel("time, s")
    ax.set_ylabel(f"temperature, {unit_text('degC')}")
    quiet(ax)
    legend(ax)
    return ax

"""Figures from Datasets: labelled axes with units, safe for colour-blind readers and in greyscale.

Every function draws into ``ax`` (or a new figure) and returns the axes.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from scipy.constants import inch, milli

from heatq.errors import InputError, check_name
from heatq.history import check_history

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

__all__ = ["LINES", "end_quench_curve", "histories"]

#: Colour and line style go together, so that lines stay apart in greyscale. Colours: Okabe & Ito (2008), whose set was
#: made for colour-blind readers, without its yellow; black first.
LINES = (
    ("#000000", "-"),
    ("#0072B2", "--"),
    ("#D55E00", "-."),
    ("#009E73", (0, (5, 1, 1, 1, 1, 1))),
    ("#CC79A7", (0, (8, 2))),
    ("#56B4E9", ":"),
    ("#E69F00", (0, (3, 1, 1, 1))),
)


def _axes(ax: Axes | None, size: tuple[float, float] = (6.4, 4.2)) -> Axes:
    if ax is not None:
        return ax
    from matplotlib.figure import Figure

    figure = Figure(figsize=size, layout="constrained")
    return figure.subplots()


def _enough(count: int, what: str) -> None:
    """More lines than there are distinct styles would look alike in greyscale, or get lost."""
    if count > len(LINES):
        raise InputError(
            f"{count} {what} in one figure: at most {len(LINES)} stay apart; draw fewer, or several figures."
        )


def _legend(ax: Axes) -> None:
    """Where it covers least, in two columns if it is long; what it does cover stays visible behind it."""
    columns = 2 if len(ax.get_legend_handles_labels()[0]) > 4 else 1
    ax.legend(fontsize="small", ncols=columns, edgecolor="none", framealpha=0.7, borderpad=0.2)


def _chemistry(result: xr.Dataset) -> Any:
    """Hardness from chemistry alone, or None where there is none."""
    hardness = result.get("hardness_hrc_chemistry")
    return hardness.values if hardness is not None and np.isfinite(hardness.values).any() else None


def _quiet(ax: Axes) -> None:
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    ax.grid(visible=True, color="0.88", linewidth=0.6)
    ax.set_axisbelow(True)


def end_quench_curve(
    results: xr.Dataset | Mapping[str, xr.Dataset],
    *,
    measured: xr.Dataset | None = None,
    with_chemistry: bool = True,
    ax: Axes | None = None,
) -> Axes:
    """Hardness against distance from the quenched end, in mm below and in sixteenths of an inch above.

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
    from matplotlib.ticker import MultipleLocator

    _enough(len(results), "results")
    for label, result in results.items():
        if "distance" not in result.coords or "hardness_hrc" not in result:
            raise InputError(
                f"result {label!r} has no distance from a quenched end or no hardness_hrc: "
                "pass the trial() of an EndQuenchBar."
            )
    ax = _axes(ax)
    for (label, result), (colour, style) in zip(results.items(), LINES, strict=False):
        x = result["distance"].values / milli
        ax.plot(x, result["hardness_hrc"].values, color=colour, linestyle=style, linewidth=1.6, label=label)
    reached = [key for key, result in results.items() if _chemistry(result) is not None] if with_chemistry else []
    if reached:
        chosen = results[reached[0]]
        also = f": {reached[0]}" if len(results) > 1 else ""
        ax.plot(
            chosen["distance"].values / milli,
            _chemistry(chosen),
            color="0.45",
            linestyle="none",
            marker="x",
            markersize=4,
            label=f"from chemistry alone (ASTM A255){also}",
        )
    if measured is not None:
        ax.plot(
            measured["distance"].values / milli,
            measured["measured_hrc"].values,
            color="#000000",
            linestyle="none",
            marker="o",
            markerfacecolor="white",
            markersize=5,
            label="measured",
        )
    ax.set_xlabel("distance from quenched end, mm")
    ax.set_ylabel("hardness, HRC")
    ax.set_xlim(left=0.0)
    low, high = ax.get_ylim()
    ax.set_ylim(min(20.0, low), max(60.0, high))
    _quiet(ax)
    top = ax.secondary_xaxis("top", functions=(lambda mm: mm * milli / (inch / 16), lambda j: j * inch / 16 / milli))
    top.set_xlabel("distance from quenched end, 1/16 in")
    top.xaxis.set_major_locator(MultipleLocator(4))
    _legend(ax)
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
    known = [str(name) for name in check_history(history)["probe"].values]
    names = known if probes is None else [str(name) for name in ([probes] if isinstance(probes, str) else probes)]
    for name in names:
        check_name("probe", name, known)
    if probes is not None:
        _enough(len(names), "probes")
    ax = _axes(ax)
    if len(names) > len(LINES):
        picks = np.unique(np.linspace(0, len(names) - 1, len(LINES)).round().astype(int))
        names = [names[k] for k in picks]
    for name, (colour, style) in zip(names, LINES, strict=False):
        line = history["temperature"].sel(probe=name)
        ax.plot(history["time"].values, line.values, color=colour, linestyle=style, linewidth=1.4, label=name)
    if logarithmic:
        ax.set_xscale("log")
        positive = history["time"].values[history["time"].values > 0]
        ax.set_xlim(max(positive[0], positive[-1] * 1e-5, 1e-2), positive[-1])
    ax.set_xlabel("time, s")
    ax.set_ylabel("temperature, °C")
    _quiet(ax)
    _legend(ax)
    return ax

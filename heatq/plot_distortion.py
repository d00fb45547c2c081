"""Figure of a quench as the piece feels it: temperatures and their difference with Ms, and the stress index."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from heatq.errors import InputError
from heatq.plot_style import LINES, legend, quiet, shown, two_axes, unit_text

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

__all__ = ["distortion_history"]


def distortion_history(figures: xr.Dataset, *, axes: Sequence[Axes] | None = None) -> tuple[Axes, Axes]:
    """Temperatures of surface and core with their difference and Ms, and below the elastic stress index.

    Parameters
    ----------
    figures : xarray.Dataset
        From `heatq.distortion.distortion_figures`.
    axes : two matplotlib Axes, optional
        Where to draw temperatures and stress.

    Returns
    -------
    (Axes, Axes)
        Of temperature (degC and K) and of axial stress at surface and core, MPa: thermal alone and with the
        transformation. Time is linear, up to where the core is 50 K above its last temperature.
    """
    if not {"difference", "core_temperature"} <= set(getattr(figures, "data_vars", ())):
        raise InputError("figures has no difference; pass what distortion_figures() returned.")
    above, below = two_axes(axes, 2, 1, (6.4, 6.4), sharex=True)
    time, core = figures["time"].values, figures["core_temperature"].values
    for name, (colour, style) in zip(("surface", "core", "difference"), LINES, strict=False):
        if name == "difference":
            values, unit = shown(figures["difference"].values, "K")
        else:
            values, unit = shown(figures[f"{name}_temperature"].values, "degC")
        label = f"core less surface, {unit}" if name == "difference" else name
        above.plot(time, values, color=colour, linestyle=style, label=label)
    ms, degree = shown(float(figures.attrs["ms"]), "degC")
    if np.isfinite(ms):
        above.axhline(ms, color="0.5", linewidth=0.8)
        above.annotate("Ms", (1.0, ms), xycoords=("axes fraction", "data"), ha="right", va="bottom", color="0.35")
        for place in ("surface", "core"):
            moment = float(figures[f"{place}_ms_time"])
            if np.isfinite(moment):
                above.plot(moment, ms, "o", color="#D55E00", markersize=5)
                for ax in (above, below):
                    ax.axvline(moment, color="0.75", linewidth=0.8, zorder=0)
    above.set_ylabel(f"temperature, {degree}; difference, {unit_text('K')}")
    if "stress" in figures:
        drawn = iter(LINES)
        for part in ("thermal", "total"):
            for node, name in ((-1, "surface"), (0, "bore" if float(figures["radius"][0]) > 0.0 else "axis")):
                colour, style = next(drawn)
                values = figures["stress"].sel(part=part, direction="axial")[:, node].values / 1e6
                if np.isfinite(values).any():
                    label = f"{name}, {'thermal alone' if part == 'thermal' else 'with transformation'}"
                    below.plot(time, values, color=colour, linestyle=style, label=label)
        below.axhline(0.0, color="0.5", linewidth=0.8)
    else:
        below.text(0.5, 0.5, "no stress: too few probes over the radius", transform=below.transAxes, ha="center")
    below.set(xlabel="time, s", ylabel="axial stress, elastic index, MPa")
    late = np.flatnonzero(core <= core[-1] + 50.0)
    below.set_xlim(time[0], time[late[0]] if late.size and late[0] > 0 else time[-1])
    for ax in (above, below):
        quiet(ax)
        legend(ax)
    return above, below

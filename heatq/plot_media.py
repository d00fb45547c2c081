"""Figures of media: heat-transfer coefficient and heat flux over the surface temperature."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from heatq.errors import InputError, check_number, hold_validity
from heatq.plot_style import LEGEND, LINES, enough, legend, new_axes, quiet, shown, unit_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["medium_curves"]

#: Smallest difference between surface and fluid (K) at which q/(Ts - T_fluid) is drawn.
NEAREST = 10.0


def medium_curves(
    media: Mapping[str, tuple[float, Any]],
    *,
    low: float = 50.0,
    high: float = 900.0,
    axes: Sequence[Axes] | None = None,
) -> tuple[Axes, Axes]:
    """Heat-transfer coefficient and heat flux of several media over the surface temperature.

    Parameters
    ----------
    media : mapping label -> (fluid_temperature, boundary)
        As `heatq.boundaries.media.media` returns it; at most seven, else lines would look alike in greyscale. The
        fluid's temperature, degC, is the one that h = q/(Ts - T_fluid) is referred to.
    low, high : float
        Range of the surface temperature, degC. Each curve starts 10 K above its fluid.
    axes : two matplotlib Axes, optional
        Where to draw h and q.

    Returns
    -------
    (Axes, Axes)
        Of h in W/m2K and of q in kW/m2, both logarithmic.
    """
    if not media:
        raise InputError("media is empty: give at least one label -> (fluid_temperature, boundary).")
    enough(len(media), "media")
    check_number("low", low, "temperature")
    check_number("high", high, "temperature", low=low, low_open=True)
    left, right = new_axes(1, 2, size=(9.6, 4.8), sharex=True) if axes is None else axes
    for (label, (fluid, boundary)), (colour, style) in zip(media.items(), LINES, strict=False):
        surface = np.linspace(max(low, fluid + NEAREST), high, 400)
        with hold_validity():
            flux = np.asarray(boundary.heat_flux(surface))
        look: dict[str, Any] = {"color": colour, "linestyle": style, "linewidth": 1.5, "label": label}
        across, _ = shown(surface, "degC")
        left.plot(across, flux / (surface - fluid), **look)
        right.plot(across, flux / 1e3, **look)
    for ax, name in ((left, "heat-transfer coefficient, W/m²K"), (right, "heat flux, kW/m²")):
        ax.set_yscale("log")
        ax.set(xlabel=f"surface temperature, {unit_text('degC')}", ylabel=name, xlim=shown([low, high], "degC")[0])
        quiet(ax)
    if axes is None:
        handles, labels = left.get_legend_handles_labels()
        left.figure.legend(handles, labels, **(LEGEND | {"loc": "outside lower center", "ncols": 2}))
    else:
        legend(left)
    return left, right

"""Figures of media: heat-transfer coefficient and heat flux over the surface temperature."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from heatq.errors import InputError, check_number, hold_validity
from heatq.plot import LINES

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
    if len(media) > len(LINES):
        raise InputError(f"{len(media)} media in one figure: at most {len(LINES)} stay apart; draw fewer.")
    check_number("low", low, "temperature")
    check_number("high", high, "temperature", low=low, low_open=True)
    if axes is None:
        from matplotlib.figure import Figure

        figure = Figure(figsize=(9.6, 4.8), layout="constrained")
        axes = figure.subplots(1, 2, sharex=True)
        own: Any = figure
    else:
        own = None
    left, right = axes
    for (label, (fluid, boundary)), (colour, style) in zip(media.items(), LINES, strict=False):
        surface = np.linspace(max(low, fluid + NEAREST), high, 400)
        with hold_validity():
            flux = np.asarray(boundary.heat_flux(surface))
        look: dict[str, Any] = {"color": colour, "linestyle": style, "linewidth": 1.5, "label": label}
        left.plot(surface, flux / (surface - fluid), **look)
        right.plot(surface, flux / 1e3, **look)
    for ax, name in ((left, "heat-transfer coefficient, W/m²K"), (right, "heat flux, kW/m²")):
        ax.set_yscale("log")
        ax.set(xlabel="surface temperature, °C", ylabel=name, xlim=(low, high))
        for side in ("top", "right"):
            ax.spines[side].set_visible(False)
        ax.grid(visible=True, color="0.88", linewidth=0.6)
        ax.set_axisbelow(True)
    if own is not None:
        handles, labels = left.get_legend_handles_labels()
        own.legend(handles, labels, loc="outside lower center", ncols=2, frameon=False)
    else:
        left.legend(frameon=False)
    return left, right

"""Figures of media: heat-transfer coefficient and heat flux over the surface temperature."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from heatq.boundaries.timeline import check_boundary
from heatq.errors import InputError, check_number, hold_validity
from heatq.plot_style import LEGEND, LINES, enough, legend, plain_ticks, quiet, shown, two_axes, unit_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["medium_curves"]

#: Smallest difference between surface and fluid (K) at which q/(Ts - T_fluid) is drawn.
NEAREST = 10.0


def _check_media(media: Any, high: float) -> None:
    if not isinstance(media, Mapping) or hasattr(media, "data_vars"):
        raise InputError(f"media = {type(media).__name__}: give a mapping label -> (fluid_temperature, boundary).")
    if not media:
        raise InputError("media is empty: give at least one label -> (fluid_temperature, boundary).")
    enough(len(media), "media")
    for label, pair in media.items():
        if not isinstance(pair, (tuple, list)) or len(pair) != 2:
            raise InputError(f"media[{label!r}] = {pair!r} is no pair (fluid_temperature, boundary).")
        check_number(f"the fluid's temperature of {label!r}", pair[0], "temperature", high=high - NEAREST)
        check_boundary(f"media[{label!r}]", pair[1])


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
    check_number("low", low, "temperature")
    check_number("high", high, "temperature", low=low, low_open=True)
    _check_media(media, high)
    left, right = two_axes(axes, 1, 2, (9.6, 4.8), sharex=True)
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
        lowest, highest = ax.get_ylim()
        plain_ticks(ax.yaxis, (1.0, 2.0, 5.0) if highest < 1e3 * lowest else (1.0,))
        quiet(ax)
    if axes is None:
        handles, labels = left.get_legend_handles_labels()
        left.figure.legend(handles, labels, **(LEGEND | {"loc": "outside lower center", "ncols": 2}))
    else:
        legend(left)
    return left, right

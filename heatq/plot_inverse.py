"""Figures of inverse fits: the boundary with its band, the residuals, the factors of a calibrated furnace."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.constants import bar

from heatq.errors import InputError
from heatq.inverse.laws import calibrated_factor
from heatq.plot import LINES

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

__all__ = ["calibration_factors", "fitted_curve", "residuals"]


def _axes(ax: Axes | None, size: tuple[float, float] = (6.4, 4.2)) -> Axes:
    if ax is not None:
        return ax
    from matplotlib.figure import Figure

    return Figure(figsize=size, layout="constrained").subplots()


def _quiet(ax: Axes) -> None:
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    ax.grid(visible=True, color="0.88", linewidth=0.6)
    ax.set_axisbelow(True)


def _runs_of(mask: Any) -> list[slice]:
    """Stretches in which a mask is true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(int)))
    return [slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def fitted_curve(fit: xr.Dataset, *, reference: Any = None, ax: Axes | None = None) -> Axes:
    """Fitted coefficient or flux with its band; where the couples have not seen it, dotted.

    Parameters
    ----------
    fit : Dataset
        Of `heatq.fit_boundary`.
    reference : boundary, optional
        Drawn for comparison over surface temperature, such as a correlation or another fit's `fitted_boundary`.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    variable = next((name for name in ("coefficient", "heat_flux") if hasattr(fit, "data_vars") and name in fit), None)
    if variable is None or f"{variable}_interval" not in fit:
        raise InputError("fit is not the result of fit_boundary(): it holds neither coefficient nor heat_flux.")
    ax = _axes(ax)
    coordinate = str(fit[variable].dims[0])
    x = fit[coordinate].values
    scale, unit = (1e-3, "kW/m²") if variable == "heat_flux" else (1.0, "W/m²K")
    value = scale * fit[variable].values
    low, high = scale * fit[f"{variable}_interval"].values
    seen = fit["is_seen"].values.astype(bool)
    percent = f"{100 * float(fit.attrs['level']):g} %"
    ax.plot(
        x, value, color="0.4", linestyle=":", linewidth=1.2, label=None if seen.all() else "not seen by the couples"
    )
    for n, part in enumerate(_runs_of(seen)):
        first = n == 0
        ax.fill_between(
            x[part], low[part], high[part], color="0.82", linewidth=0, label=f"{percent} band" if first else None
        )
        ax.plot(x[part], value[part], color=LINES[0][0], linewidth=1.6, label="fitted" if first else None)
    if reference is not None:
        if coordinate != "surface_temperature":
            raise InputError("reference is drawn over surface temperature; this fit is over time.")
        flux = np.asarray(reference.heat_flux(x))
        above = x - float(fit.attrs["fluid_temperature"])
        ax.plot(x, flux / above, color=LINES[1][0], linestyle=LINES[1][1], linewidth=1.4, label="reference")
    shown = high[seen] if seen.any() else value
    top = 1.15 * float(max(shown.max(), value[seen].max() if seen.any() else value.max()))
    ax.set_ylim(min(0.0, float(low[seen].min()) if seen.any() else 0.0), top)
    ax.set_xlim(float(x[0]), float(x[-1]))
    name = "heat flux" if variable == "heat_flux" else "heat-transfer coefficient"
    ax.set_ylabel(f"{name}, {unit}")
    ax.set_xlabel("surface temperature, °C" if coordinate == "surface_temperature" else "time from the start, s")
    _quiet(ax)
    ax.legend(fontsize="small", edgecolor="none", framealpha=0.7)
    return ax


def residuals(fit: xr.Dataset, *, ax: Axes | None = None) -> Axes:
    """Measured minus fitted over time, with twice the noise as lines.

    Parameters
    ----------
    fit : Dataset
        Of `heatq.fit_boundary`.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    if not hasattr(fit, "data_vars") or "residual" not in fit:
        raise InputError("fit is not the result of fit_boundary(): it holds no residual.")
    names = [str(name) for name in fit["probe"].values]
    if len(names) > len(LINES):
        raise InputError(
            f"{len(names)} channels in one figure: at most {len(LINES)} stay apart; select some with fit.sel."
        )
    ax = _axes(ax, (6.4, 3.2))
    markers = "osv^D<>"
    for name, (colour, _), marker in zip(names, LINES, markers, strict=False):
        miss = fit["residual"].sel(probe=name).values
        ax.plot(
            fit["time"].values,
            miss,
            color=colour,
            linestyle="none",
            marker=marker,
            markersize=2.5,
            markerfacecolor="none",
            markeredgewidth=0.6,
            label=name,
        )
    noise = float(fit.attrs["noise"])
    for level in (-2.0 * noise, 2.0 * noise):
        ax.axhline(level, color="0.4", linewidth=0.9, linestyle="--")
    ax.set_xlabel("time from the start, s")
    ax.set_ylabel("measured minus fitted, K")
    _quiet(ax)
    ax.legend(fontsize="small", ncols=min(len(names), 4), edgecolor="none", framealpha=0.7)
    return ax


def calibration_factors(calibration: xr.Dataset, *, ax: Axes | None = None) -> Axes:
    """Ratio of h to the correlation in every run, and the law with its range for the next run, over pressure times velocity.

    Parameters
    ----------
    calibration : Dataset
        Of `heatq.calibrate`.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    if not hasattr(calibration, "data_vars") or "run_factor" not in calibration:
        raise InputError("calibration is not the result of calibrate(): it holds no run_factor.")
    ax = _axes(ax)
    pressure, velocity = calibration["pressure"].values, calibration["velocity"].values
    percent = f"{100 * float(calibration.attrs['level']):g} %"
    separate = calibration.attrs["law"] == "separate exponents"
    product = pressure * velocity / bar
    mean_velocity = float(np.exp(np.log(velocity).mean()))
    grid = np.geomspace(product.min() / 1.5, product.max() * 2.5, 60)
    law = np.array([calibrated_factor(calibration, x * bar / mean_velocity, mean_velocity) for x in grid])
    ax.fill_between(grid, law[:, 0], law[:, 2], color="0.85", linewidth=0, label=f"next run, {percent}")
    label = f"law at {mean_velocity:.3g} m/s" if separate else "law"
    ax.plot(grid, law[:, 1], color=LINES[0][0], linewidth=1.5, label=label)
    value = calibration["run_factor"].values
    low, high = calibration["run_factor_interval"].values
    ax.errorbar(
        product,
        value,
        yerr=[value - low, high - value],
        color=LINES[1][0],
        linestyle="none",
        marker="o",
        markersize=4,
        capsize=3,
        label="runs",
    )
    for x, y, name in zip(product, value, calibration["run"].values, strict=True):
        ax.annotate(str(name), (x, y), textcoords="offset points", xytext=(6, -12), fontsize="small")
    ax.set_xscale("log")
    ticks = [t for t in (5, 10, 20, 30, 50, 100, 200, 300, 500, 1000, 2000) if grid[0] <= t <= grid[-1]]
    ax.set_xticks(ticks, [f"{t:g}" for t in ticks])
    ax.minorticks_off()
    ax.set_xlabel("pressure times velocity, bar m/s")
    ax.set_ylabel("h over correlation")
    _quiet(ax)
    ax.legend(fontsize="small", edgecolor="none", framealpha=0.7)
    return ax

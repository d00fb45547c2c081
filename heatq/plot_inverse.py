"""Figures of inverse fits: the boundary with its band, the residuals, the factors of a calibrated furnace."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.constants import bar

from heatq.boundaries.timeline import check_boundary
from heatq.errors import InputError
from heatq.inverse.laws import calibrated_factor
from heatq.plot_style import LINES, MARKERS, axes_or_new, enough, legend, quiet, shown

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

__all__ = ["calibration_factors", "fitted_curve", "residuals"]


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
    ax = axes_or_new(ax)
    coordinate = str(fit[variable].dims[0])
    over_temperature = coordinate == "surface_temperature"
    at = fit[coordinate].values
    x, degree = shown(at, "degC" if over_temperature else "s")
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
        if not over_temperature:
            raise InputError("reference is drawn over surface temperature; this fit is over time.")
        flux = np.asarray(check_boundary("reference", reference).heat_flux(at))
        above = at - float(fit.attrs["fluid_temperature"])
        ax.plot(x, flux / above, color=LINES[1][0], linestyle=LINES[1][1], linewidth=1.4, label="reference")
    highest = high[seen] if seen.any() else value
    top = 1.15 * float(max(highest.max(), value[seen].max() if seen.any() else value.max()))
    ax.set_ylim(min(0.0, float(low[seen].min()) if seen.any() else 0.0), top)
    ax.set_xlim(float(x[0]), float(x[-1]))
    name = "heat flux" if variable == "heat_flux" else "heat-transfer coefficient"
    ax.set_ylabel(f"{name}, {unit}")
    ax.set_xlabel(f"surface temperature, {degree}" if over_temperature else "time from the start, s")
    quiet(ax)
    legend(ax)
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
    enough(len(names), "channels", "select some with fit.sel")
    ax = axes_or_new(ax, (6.4, 3.2))
    for name, (colour, _), marker in zip(names, LINES, MARKERS, strict=False):
        miss, _ = shown(fit["residual"].sel(probe=name).values, "K")
        ax.plot(
            fit["time"].values,
            miss,
            color=colour,
            linestyle="none",
            marker=marker,
            markersize=3.0,
            markerfacecolor="none",
            markeredgewidth=0.6,
            label=name,
        )
    noise, unit = shown(float(fit.attrs["noise"]), "K")
    for level, label in ((-2.0 * noise, None), (2.0 * noise, f"twice the noise of {noise:.2g} {unit}")):
        ax.axhline(level, color="0.4", linewidth=0.9, linestyle="--", label=label)
    ax.set_xlabel("time from the start, s")
    ax.set_ylabel(f"measured minus fitted, {unit}")
    quiet(ax)
    legend(ax, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=min(len(names) + 1, 4), markerscale=2.0)
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
    ax = axes_or_new(ax)
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
    quiet(ax)
    legend(ax)
    return ax

"""Figures of decisions: margin over the setting searched for, gases side by side, section charts, the decision table."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np

from heatq.errors import InputError
from heatq.plot_style import (
    LINES,
    MARKERS,
    axes_or_new,
    enough,
    label_contours,
    legend,
    plain_ticks,
    quiet,
    round_ticks,
    shown,
    title,
    unit_text,
)
from heatq.units import in_words

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

__all__ = ["answers_chart", "decision_chart", "margin_curve", "section_lines", "section_map"]

#: Setting -> its unit in the Dataset.
_UNITS = {"pressure": "Pa", "velocity": "m/s", "diameter": "m"}


def _words(what: str) -> str:
    """Label of an axis of settings."""
    named = {"pressure": "pressure, bar absolute", "velocity": "velocity of the gas, m/s"}
    return named.get(what) or f"{what}, {unit_text(_UNITS[what])}"


def _answer(result: xr.Dataset) -> str:
    if not {"judged_at", "margin", "status"} <= set(getattr(result, "data_vars", ())):
        raise InputError(
            "result is not an answer: pass what least_pressure(), enough_quench() or largest_section() gave."
        )
    return str(result.attrs["searched"])


def _dimension(result: xr.Dataset) -> str | None:
    return next((str(d) for d in result["status"].dims), None)


def margin_curve(result: xr.Dataset, *, ax: Axes | None = None) -> Axes:
    """Margin at every setting that was run, the answer, and its range; a line for each gas.

    Parameters
    ----------
    result : Dataset
        Of `least_pressure`, `least_velocity`, `enough_quench` or `largest_section`.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    what = _answer(result)
    dimension = _dimension(result)
    rows = [result] if dimension is None else [result.isel({dimension: n}) for n in range(result.sizes[dimension])]
    enough(len(rows), "cases", "select some")
    ax = axes_or_new(ax)
    factor, unit = (100.0, "%") if result["margin"].attrs["units"] == "1" else (1.0, result["margin"].attrs["units"])
    settings = _UNITS[what]
    ax.axhline(0.0, color="0.3", linewidth=0.9)
    for n, row in enumerate(rows):
        colour, style = LINES[n]
        named = next((name for name in ("gas", "case") if name in row.coords), None)
        label = str(row[named].values) if named else "runs"
        x, y = shown(row[f"tried_{what}"].values, settings)[0], factor * row["tried_margin"].values
        known = np.isfinite(x)
        ax.plot(
            x[known], y[known], color=colour, linestyle=style, linewidth=1.2, marker=MARKERS[n], markersize=4,
            label=label,
        )  # fmt: skip
        at, _ = shown(row[what].values, settings)
        if np.isfinite(at):
            low, high = shown(row[f"{what}_interval"].values, settings)[0]
            if len(rows) == 1 and np.isfinite(low) | np.isfinite(high):
                edges = (low if np.isfinite(low) else x[known].min(), high if np.isfinite(high) else x[known].max())
                ax.axvspan(*edges, color="0.9", zorder=0, label="range of the answer")
            ax.axvline(at, color=colour, linestyle=style, linewidth=0.8)
    ax.set_xscale("log")
    plain_ticks(ax.xaxis)
    ax.set_xlabel(_words(what))
    found = "least" if what in ("pressure", "velocity") else "largest"
    ax.plot([], [], color="0.35", linewidth=0.8, label=f"upright: {found} {what}")
    ax.set_ylabel(f"margin to {in_words(result.attrs['requirement'])}, {unit}")
    quiet(ax)
    legend(ax)
    return ax


def answers_chart(result: xr.Dataset, *, ax: Axes | None = None) -> Axes:
    """Least pressure or velocity of several gases with its range; where it is not reachable, in words.

    Parameters
    ----------
    result : Dataset
        Of `enough_quench`.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    what = _answer(result)
    dimension = _dimension(result)
    if dimension is None:
        raise InputError("result holds one case; use margin_curve, or pass what enough_quench() returned.")
    settings = _UNITS[what]
    names = [str(name) for name in result[dimension].values]
    ax = axes_or_new(ax, (6.4, 0.9 + 0.5 * len(names)))
    left, right = shown([result.attrs["lowest"], result.attrs["highest"]], settings)[0]
    confidence = float(result.attrs["confidence"])
    for n in range(len(names)):
        row = result.isel({dimension: n})
        at, _ = shown(row[what].values, settings)
        low, high = shown(row[f"{what}_interval"].values, settings)[0]
        if not np.isfinite(at):
            ax.text(right, n, "not reachable ", ha="right", va="center", fontsize="small")
            continue
        if np.isfinite(confidence) and row["probability"].notnull().all():
            start = low if np.isfinite(low) else left
            ax.plot(
                [start, high if np.isfinite(high) else right], [n, n], color="0.6", linewidth=2.2, solid_capstyle="butt"
            )
            if not np.isfinite(high):
                ax.plot([right], [n], marker=">", color="0.6", markersize=7, clip_on=False)
        ax.plot([at], [n], marker="o", color=LINES[0][0], markersize=6)
        ax.annotate(f"{at:.3g}", (at, n), xytext=(0, 6), textcoords="offset points", ha="center", fontsize="small")
    ax.set_xscale("log")
    ax.set_xlim(left, right)
    plain_ticks(ax.xaxis)
    ax.set_yticks(range(len(names)), names)
    ax.set_ylim(len(names) - 0.5, -0.6)
    grey = (
        f"; grey: met with {100 - 100 * confidence:.0f} to {100 * confidence:.0f} %" if np.isfinite(confidence) else ""
    )
    ax.set_xlabel(_words(what))
    title(ax, f"{in_words(result.attrs['requirement'])}{grey}")
    quiet(ax)
    return ax


def section_map(chart: xr.Dataset, *, ax: Axes | None = None) -> Axes:
    """Largest section over pressure and velocity, as lines of equal diameter in mm.

    Parameters
    ----------
    chart : Dataset
        Of `section_chart`.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    if (
        not hasattr(chart, "data_vars")
        or "diameter" not in chart
        or set(chart["diameter"].dims) != {"pressure", "velocity"}
    ):
        raise InputError("chart is not of section_chart(): it has no diameter over pressure and velocity.")
    diameter, unit = shown(chart["diameter"].transpose("velocity", "pressure").values, "m")
    p, v = shown(chart["pressure"].values, "Pa")[0], chart["velocity"].values
    if min(diameter.shape) < 2 or not np.isfinite(diameter).any():
        raise InputError("chart: lines of equal diameter need at least two pressures, two velocities and one diameter.")
    ax = axes_or_new(ax)
    known = np.ma.masked_invalid(diameter)
    drawn = ax.contour(p, v, known, levels=_levels(known), colors=LINES[0][0], linewidths=1.1)
    for axis, scale in ((ax.xaxis, ax.set_xscale), (ax.yaxis, ax.set_yscale)):
        scale("log")
        plain_ticks(axis)
    label_contours(ax, drawn, f"%g {unit}")
    missing = ~np.isfinite(diameter)
    if missing.any():
        at_v, at_p = np.nonzero(missing)
        ax.plot(p[at_p], v[at_v], "x", color="0.6", markersize=5, label=_not_even(chart))
        legend(ax)
    ax.set_xlabel(_words("pressure"))
    ax.set_ylabel(_words("velocity"))
    title(ax, f"largest diameter with {in_words(chart.attrs['requirement'])}")
    quiet(ax)
    return ax


def _not_even(chart: xr.Dataset) -> str:
    smallest, unit = shown(float(chart.attrs["smallest"]), "m")
    return f"not even {smallest:.3g} {unit}"


def _levels(diameter: Any) -> Any:
    """About eight round diameters, evenly apart in the logarithm."""
    low, high = float(diameter.min()), float(diameter.max())
    nice = np.array([b * 10.0**e for e in range(-2, 4) for b in (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8)])
    inside = nice[(nice > low) & (nice < high)]
    return inside if inside.size else np.array([0.5 * (low + high)])


def section_lines(chart: xr.Dataset, *, ax: Axes | None = None) -> Axes:
    """Largest section against pressure, a line for each steel.

    Parameters
    ----------
    chart : Dataset
        Of `sections_against_pressure`.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    if (
        not hasattr(chart, "data_vars")
        or "diameter" not in chart
        or set(chart["diameter"].dims) != {"steel", "pressure"}
    ):
        raise InputError("chart is not of sections_against_pressure(): it has no diameter over steel and pressure.")
    names = [str(name) for name in chart["steel"].values]
    enough(len(names), "steels", "select some")
    ax = axes_or_new(ax)
    for n, name in enumerate(names):
        colour, style = LINES[n]
        y, _ = shown(chart["diameter"].sel(steel=name).values, "m")
        label = name if np.isfinite(y).any() else f"{name}: {_not_even(chart)}"
        ax.plot(
            shown(chart["pressure"].values, "Pa")[0], y, color=colour, linestyle=style, linewidth=1.4, marker=MARKERS[n],
            markersize=4, label=label,
        )  # fmt: skip
    ax.set_ylim(bottom=0.0)
    round_ticks(ax.xaxis)
    ax.set_xlabel(_words("pressure"))
    ax.set_ylabel(f"largest {_words('diameter')}")
    velocity = chart.attrs.get("fixed_velocity")
    title(ax, f"{in_words(chart.attrs['requirement'])}{'' if velocity is None else f', {velocity:g} m/s'}")
    quiet(ax)
    legend(ax)
    return ax


def decision_chart(table: xr.Dataset, *, ax: Axes | None = None) -> Axes:
    """Hardness with its interval at every place of every alternative, in the order of the table.

    Parameters
    ----------
    table : Dataset
        Of `decision_table`.
    ax : matplotlib Axes, optional
        Where to draw.

    Notes
    -----
    In HV, where every place has a value; the HRC scale stands above.
    """
    if not hasattr(table, "data_vars") or "least_margin" not in table:
        raise InputError("table is not a decision table: pass what decision_table() returned.")
    from heatq.hardness.conversion import hrc_from_hv, hv_from_hrc

    labels = [in_words(str(name)) for name in table["alternative"].values]
    places = [str(name) for name in table["probe"].values]
    enough(len(places), "places", "select some with table.sel")
    ax = axes_or_new(ax, (7.6, 1.6 + 0.55 * len(labels)))
    step = 0.6 / max(len(places), 1)
    for k, place in enumerate(places):
        y = np.arange(len(labels)) + (k - 0.5 * (len(places) - 1)) * step
        one = table.sel(probe=place)
        hv = one["hardness_hv"].values
        low, high = one["hardness_interval_hv"].transpose("bound", "alternative").values
        ax.errorbar(
            hv, y, xerr=[hv - low, high - hv], fmt=MARKERS[k], color=LINES[k][0], markersize=4.5, linewidth=1.1,
            capsize=0, label=in_words(place),
        )  # fmt: skip
    ends = []
    for row in range(len(labels)):
        chance, verdict = float(table["probability"].values[row]), str(table["verdict"].values[row])
        ends.append(verdict if np.isnan(chance) else f"{verdict} ({100 * chance:.0f} %)")
    for row, words in enumerate(ends):
        ax.text(1.01, row, words, transform=ax.get_yaxis_transform(), va="center", fontsize="small")
    required = _required(table)
    if required is not None:
        ax.axvline(required, color="0.3", linewidth=1.0, linestyle=(0, (4, 2)))
    ax.set_yticks(range(len(labels)), labels)
    ax.set_ylim(len(labels) + 0.1, -0.5)  # room for the legend below the last row
    ax.set_xlabel(f"hardness, HV, with {100 * float(table.attrs['level']):g} % interval")
    above = ax.secondary_xaxis(
        "top",
        functions=(
            lambda hv: hrc_from_hv(np.clip(hv, 0.0, 940.0), extrapolate=True),
            lambda hrc: hv_from_hrc(np.clip(hrc, -30.0, 68.0), extrapolate=True),
        ),
    )
    above.set_ticks([20, 30, 40, 45, 50, 55, 60, 65])
    above.set_xlabel(f"HRC; {in_words(table.attrs['requirement'])}")
    quiet(ax)
    legend(ax, loc="lower center", ncols=len(places))
    return ax


def _required(table: xr.Dataset) -> float | None:
    """Hardness asked for in HV, or None."""
    text = json.loads(table.attrs.get("required_hv", "null"))
    return None if text is None else float(text)

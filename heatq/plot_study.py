"""Figures of studies: lines, contours, percentile bands, cumulative curves, sensitivities; all labels from the Dataset.

Pressures are drawn in bar, lengths and temperatures as `heatq.plot.units` says; everything else in the unit that the
Dataset states.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.constants import milli

from heatq.errors import InputError, check_name, check_number
from heatq.plot_style import (
    LEGEND,
    LINES,
    axes_or_new,
    enough,
    label_contours,
    legend,
    quenched_end_axis,
    quenched_end_distance,
    quiet,
    shown,
    title,
)
from heatq.units import in_words

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

__all__ = ["sensitivity_tornado", "study_band", "study_contours", "study_cumulative", "study_lines"]

#: Line of a requirement: among contours, and among lines that use up the colours.
_REQUIREMENT = "#D55E00"
_REQUIRED, _DASHES = "0.35", (0, (8, 3))
_SPREAD = ("#0072B2", "0.80")


def _variable(data: xr.Dataset, name: str | None) -> str:
    """The variable to draw: named, or the only one, or hardness."""
    if not hasattr(data, "data_vars"):
        raise InputError(f"study = {type(data).__name__} is no Dataset: pass what heatq.study() returned.")
    numeric = [str(n) for n, v in data.data_vars.items() if v.dtype.kind in "fiu" and n not in ("status", "message")]
    if name is not None:
        return check_name("variable", name, numeric, what="variable of the study")
    if len(numeric) == 1:
        return numeric[0]
    for usual in ("hardness_hrc", "hardness_hv"):
        if usual in numeric:
            return usual
    raise InputError(f"variable is not given; the study has {', '.join(numeric) or 'none'}.")


def _is_axis(data: xr.Dataset, dim: str) -> bool:
    return dim in data.coords and data[dim].dtype.kind in "fiu"


def _scaled(array: xr.DataArray) -> tuple[Any, str]:
    """Values and axis label of a labelled array."""
    values, unit = shown(array.values, str(array.attrs.get("units", "")))
    name = in_words(str(array.attrs.get("long_name") or array.name or "").replace("_", " "))
    return values, f"{name}, {unit}" if unit else name


def _told(coordinate: xr.DataArray, value: Any) -> str:
    """One value of a coordinate as the label of a line."""
    if np.asarray(value).dtype.kind not in "fiu":
        return in_words(str(value))
    number, unit = shown(value, str(coordinate.attrs.get("units", "")))
    digits = 3 if unit == "in" else 4
    return f"{number:.{digits}g} {unit}".strip()


def _whole(array: xr.DataArray, keep: Sequence[str], what: str) -> xr.DataArray:
    """The array with only the dimensions to be drawn, or an error that says what to select."""
    rest = [str(dim) for dim in array.dims if dim not in keep and array.sizes[dim] > 1]
    if rest:
        examples = ", ".join(f"{dim}={_example(array, dim)}" for dim in rest)
        raise InputError(
            f"{what}: {array.name} also runs over {', '.join(rest)}; choose one, such as study.sel({examples})."
        )
    return array.squeeze([dim for dim in array.dims if dim not in keep])


def _example(array: xr.DataArray, dim: str) -> str:
    value = array[dim].values[-1] if dim in array.coords else array.sizes[dim] - 1
    return repr(value.item() if hasattr(value, "item") else value)


def _require(ax: Axes, value: float, array: xr.DataArray, upright: bool = False) -> None:
    number, unit = shown(check_number("at_least", value), str(array.attrs.get("units", "")))
    label = f"required: {number:.4g} {unit}".strip()
    draw = ax.axvline if upright else ax.axhline
    draw(number, color=_REQUIRED, linewidth=1.2, linestyle=_DASHES, label=label)


def study_lines(
    study: xr.Dataset,
    variable: str | None = None,
    *,
    x: str | None = None,
    lines: str | None = None,
    at_least: float | None = None,
    ax: Axes | None = None,
) -> Axes:
    """A result over one parameter, one line per value of another.

    Parameters
    ----------
    study : xarray.Dataset
        Of `heatq.study` over a grid.
    variable : str, optional
        What to draw; by default the only variable, else the hardness.
    x : str, optional
        Parameter along the axis; by default the numeric one with most values.
    lines : str, optional
        Dimension with a line per value (a parameter, or ``probe``); by default what is left.
    at_least : float, optional
        Requirement in the variable's unit, drawn across.
    ax : matplotlib Axes, optional
        Where to draw.

    Examples
    --------
    >>> import xarray as xr
    >>> grid = xr.Dataset({"hardness_hv": (("velocity", "probe"), [[300.0, 400.0], [350.0, 420.0]],
    ...                    {"units": "HV", "long_name": "hardness"})},
    ...                   {"velocity": ("velocity", [5.0, 10.0], {"units": "m/s"}), "probe": ["centre", "surface"]})
    >>> study_lines(grid).get_xlabel()
    'velocity, m/s'
    """
    array = study[_variable(study, variable)]
    axes = [str(dim) for dim in array.dims if _is_axis(study, str(dim)) and dim != "case"]
    if not axes:
        raise InputError(f"study_lines: {array.name} has no numeric dimension; a sample is drawn by study_band().")
    x = max(axes, key=lambda dim: study.sizes[dim]) if x is None else check_name("x", x, axes, what="numeric dimension")
    others = [str(dim) for dim in array.dims if dim != x and array.sizes[dim] > 1]
    if lines is not None:
        check_name("lines", lines, others, what="dimension")
    elif len(others) == 1:
        lines = others[0]
    array = _whole(array, [x, lines] if lines else [x], "study_lines")
    across, label = _scaled(study[x])
    values, named = _scaled(array.transpose(x, *([lines] if lines else [])))
    values = values.reshape(len(across), -1)
    enough(values.shape[1], "lines")
    ax = axes_or_new(ax)
    order = np.argsort(across)
    for k, (colour, style) in zip(range(values.shape[1]), LINES, strict=False):
        told = _told(study[lines], study[lines].values[k]) if lines and lines in study.coords else None
        ax.plot(across[order], values[order, k], color=colour, linestyle=style, linewidth=1.6, marker=".", label=told)
    if at_least is not None:
        _require(ax, at_least, array)
    ax.set_xlabel(label)
    ax.set_ylabel(named)
    quiet(ax)
    about = None
    if lines and lines in study.coords and lines != "probe":
        about = str(study[lines].attrs.get("long_name", lines)).replace("_", " ")
    legend(ax, title=about, title_fontsize="small")
    return ax


def study_contours(
    study: xr.Dataset,
    variable: str | None = None,
    *,
    x: str | None = None,
    y: str | None = None,
    at_least: float | None = None,
    ax: Axes | None = None,
) -> Axes:
    """A result over two parameters, with the line of the requirement; failed cases are crosses.

    Parameters
    ----------
    study : xarray.Dataset
        Of `heatq.study` over a grid.
    variable : str, optional
        What to draw; by default the only variable, else the hardness.
    x, y : str, optional
        Parameters along the axes; by default the two numeric ones.
    at_least : float, optional
        Requirement in the variable's unit: a thick line, and grey where it is not met.
    ax : matplotlib Axes, optional
        Where to draw.

    Examples
    --------
    >>> import numpy as np, xarray as xr
    >>> grid = xr.Dataset({"hardness_hv": (("pressure", "velocity"), 300.0 + np.add.outer([0.0, 50.0, 80.0], [0.0, 40.0]),
    ...                    {"units": "HV", "long_name": "hardness"})},
    ...                   {"pressure": ("pressure", [2e5, 6e5, 10e5], {"units": "Pa"}),
    ...                    "velocity": ("velocity", [5.0, 10.0], {"units": "m/s"})})
    >>> study_contours(grid, at_least=350.0).get_xlabel()
    'pressure, bar'
    """
    array = study[_variable(study, variable)]
    axes = [str(dim) for dim in array.dims if _is_axis(study, str(dim)) and dim != "case" and array.sizes[dim] > 1]
    for given, name in ((x, "x"), (y, "y")):
        if given is not None:
            check_name(name, given, axes, what="numeric dimension")
    left = [dim for dim in axes if dim not in (x, y)]
    if len(left) < (x is None) + (y is None):
        raise InputError(
            f"study_contours: {array.name} has the numeric dimensions {', '.join(axes) or 'none'}; contours need two with "
            "at least two values each. One is drawn by study_lines()."
        )
    x = left.pop(0) if x is None else x
    y = left.pop(0) if y is None else y
    array = _whole(array, [x, y], "study_contours").transpose(y, x).sortby([y, x])
    across, x_label = _scaled(array[x])
    up, y_label = _scaled(array[y])
    values, label = _scaled(array)
    if not np.isfinite(values).any():
        raise InputError(f"study_contours: {array.name} has no value at all: every case failed or is below the scale.")
    ax = axes_or_new(ax)
    figure: Any = ax.figure
    limit = (
        None if at_least is None else shown(check_number("at_least", at_least), str(array.attrs.get("units", "")))[0]
    )
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    if low < high:
        if limit is not None and low < limit:
            ax.contourf(across, up, values, [low - 1.0, min(limit, high)], colors=["0.90"])
        from matplotlib.ticker import MaxNLocator

        levels = [
            level
            for level in MaxNLocator(8).tick_values(low, high)
            if limit is None or abs(level - limit) > 1e-9 * abs(limit)
        ]
        drawn = ax.contour(across, up, values, levels, colors="#0072B2", linewidths=1.0)
        label_contours(ax, drawn, "%g")
        if limit is not None and low < limit < high:
            ax.contour(across, up, values, [limit], colors=[_REQUIREMENT], linewidths=2.2)
    if limit is not None:
        units = label.rpartition(", ")[2]
        met = "met everywhere" if low >= limit else "met nowhere" if high < limit else "grey: not met"
        ax.plot([], [], label=f"required: {limit:.4g} {units} ({met})", color=_REQUIREMENT, linewidth=2.2)
    grid_x, grid_y = np.meshgrid(across, up)
    ax.plot(grid_x.ravel(), grid_y.ravel(), ".", color="0.45", markersize=3, label="computed", clip_on=False)
    where = np.isnan(values)
    if where.any():
        words = "failed, or below 20 HRC" if array.attrs.get("units") == "HRC" else "failed"
        ax.plot(grid_x[where], grid_y[where], "x", color="0.35", markersize=5, label=words, clip_on=False)
    ax.set_xlabel(x_label)
    ax.set_ylabel(y_label)
    title(ax, label)
    quiet(ax)
    ax.grid(visible=False)
    figure.legend(*ax.get_legend_handles_labels(), **(LEGEND | {"loc": "outside lower center", "ncols": 2}))
    return ax


def _places(data: xr.Dataset, dim: str) -> str:
    """Numeric coordinate along a dimension: its own values, or distance, r or z of probes."""
    if _is_axis(data, dim):
        return dim
    for name in ("distance", "r", "z"):
        if name in data.coords and data[name].dims == (dim,) and len(np.unique(data[name].values)) > 1:
            return name
    raise InputError(f"study_band: {dim!r} has no numeric coordinate (distance, r or z) to draw along.")


def study_band(
    told: xr.Dataset,
    variable: str | None = None,
    *,
    at_least: float | None = None,
    with_published: bool = True,
    ax: Axes | None = None,
) -> Axes:
    """Percentiles over a distance (or another numeric dimension) as a band, beside the published one if there is one.

    Parameters
    ----------
    told : xarray.Dataset
        Of `heatq.studies.uncertainty.summary` or `heatq.studies.bands.predicted_band`.
    variable : str, optional
        Name before ``_percentile``; the default is the hardness, HRC first.
    at_least : float, optional
        Requirement in the variable's unit.
    with_published : bool
        Also draw the published hardenability band if ``told`` has one.
    ax : matplotlib Axes, optional
        Where to draw.

    Examples
    --------
    >>> import numpy as np, xarray as xr
    >>> from heatq.studies.uncertainty import summary
    >>> cases = 500.0 + np.random.default_rng(0).normal(size=(60, 3)) * [5.0, 20.0, 30.0]
    >>> study = xr.Dataset({"hardness_hv": (("case", "distance"), cases, {"units": "HV", "long_name": "hardness"})},
    ...                    {"distance": ("distance", [0.002, 0.01, 0.02], {"units": "m", "long_name": "distance"})})
    >>> study_band(summary(study)).get_xlabel()
    'distance from quenched end, mm'
    """
    have = _percentiles(told, "study_band")
    variable = have[0] if variable is None else check_name("variable", variable, have, what="variable of the summary")
    array = told[f"{variable}_percentile"]
    dims = [str(dim) for dim in array.dims if dim != "level" and array.sizes[dim] > 1]
    if len(dims) != 1:
        raise InputError(
            f"study_band: {variable} runs over {', '.join(dims) or 'nothing but cases'}; a band needs one dimension. Choose "
            "with told.sel(...), or draw study_cumulative()."
        )
    place = _places(told, dims[0])
    across, x_label = _scaled(told[place])
    with_sixteenths = place == "distance" and float(told[place].max()) < 80.0 * milli
    if with_sixteenths:
        across = quenched_end_distance(told[place].values)
    order = np.argsort(across)
    values, label = _scaled(
        array.squeeze([dim for dim in array.dims if dim not in ("level", dims[0])]).transpose("level", dims[0])
    )
    values, across = values[:, order], across[order]
    percent = [float(level) for level in told["level"].values]
    ranked = [int(k) for k in np.argsort(percent)]
    ax = axes_or_new(ax)
    low, high = values[ranked[0]], values[ranked[-1]]
    if len(percent) > 1:
        # where the lower limit has left the scale the band goes on to the foot of the scale
        foot = 20.0 if array.attrs.get("units") == "HRC" else np.nan
        below = np.where(np.isfinite(low), low, np.where(np.isfinite(high), foot, np.nan))
        words = f"predicted, {percent[ranked[0]]:g} to {percent[ranked[-1]]:g} % of cases"
        ax.fill_between(across, below, high, color=_SPREAD[1], linewidth=0, label=words)
    middle = ranked[len(ranked) // 2]
    ax.plot(across, values[middle], color=LINES[0][0], linewidth=1.6, label=f"predicted, {percent[middle]:g} %")
    if with_published and variable == "hardness_hrc" and "published" in told:
        limits = told["published"].transpose("bound", dims[0]).values[:, order]
        for bound, line in zip(told["bound"].values, limits, strict=True):
            first = bound == told["bound"].values[0]
            ax.plot(
                across,
                line,
                color=_SPREAD[0],
                linestyle="--",
                linewidth=1.4,
                label=str(told["published"].attrs["long_name"]) if first else None,
            )
    if at_least is not None:
        _require(ax, at_least, array)
    ax.set_xlabel(x_label)
    ax.set_ylabel(label.removeprefix("percentiles of "))
    if with_sixteenths:
        quenched_end_axis(ax)
    elif place == "distance":
        ax.set_xlim(left=0.0)
    quiet(ax)
    legend(ax)
    return ax


def _percentiles(told: xr.Dataset, what: str) -> list[str]:
    names = [str(n) for n in getattr(told, "data_vars", ()) if str(n).endswith("_percentile")]
    if not names:
        raise InputError(f"{what} needs the result of summary() or predicted_band(): this has no percentiles.")
    names = [name.removesuffix("_percentile") for name in names]
    return sorted(names, key=lambda name: (name != "hardness_hrc", name != "hardness_hv"))


def study_cumulative(
    study: xr.Dataset,
    variable: str | None = None,
    *,
    at_least: float | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Share of the cases of a sample that stay below a value, one line per place.

    Parameters
    ----------
    study : xarray.Dataset
        Of `heatq.study` over a sample.
    variable : str, optional
        What to draw; by default the only variable, else the hardness.
    at_least : float, optional
        Requirement in the variable's unit, drawn upright.
    ax : matplotlib Axes, optional
        Where to draw.

    Examples
    --------
    >>> import xarray as xr
    >>> study = xr.Dataset({"hardness_hv": ("case", [480.0, 500.0, 510.0], {"units": "HV", "long_name": "hardness"})})
    >>> study_cumulative(study).get_ylabel()
    'share of the cases below, %'
    """
    from heatq.studies.uncertainty import ok_cases

    done = ok_cases(study)
    array = study[_variable(study, variable)]
    if "case" not in array.dims:
        raise InputError(f"study_cumulative: {array.name} does not run over 'case'.")
    others = [str(dim) for dim in array.dims if dim != "case" and array.sizes[dim] > 1]
    array = _whole(array, ["case", *others[:1]], "study_cumulative")
    values, label = _scaled(array.transpose("case", ...))
    values = values[done].reshape(int(done.sum()), -1)
    enough(values.shape[1], "lines")
    ax = axes_or_new(ax)
    for k, (colour, style) in zip(range(values.shape[1]), LINES, strict=False):
        column = np.sort(np.where(np.isnan(values[:, k]), -np.inf, values[:, k]))
        share = 100.0 * (np.arange(len(column)) + 0.5) / len(column)
        on = np.isfinite(column)
        name = _told(study[others[0]], study[others[0]].values[k]) if others and others[0] in study.coords else None
        ax.plot(column[on], share[on], color=colour, linestyle=style, linewidth=1.6, label=name)
    if at_least is not None:
        _require(ax, at_least, array, upright=True)
    ax.set_xlabel(label)
    ax.set_ylabel("share of the cases below, %")
    ax.set_ylim(0.0, 100.0)
    quiet(ax)
    legend(ax)
    return ax


def sensitivity_tornado(indices: xr.Dataset, variable: str | None = None, *, ax: Axes | None = None) -> Axes:
    """Sobol' indices as bars, the largest on top: total, and of it the first order; lines are the intervals.

    Parameters
    ----------
    indices : xarray.Dataset
        Of `heatq.studies.sensitivity.sobol_indices`, at one place (``indices.sel(probe="centre")``).
    variable : str, optional
        Name before ``_total``; the default is the only one, else the hardness in HV.
    ax : matplotlib Axes, optional
        Where to draw.

    Examples
    --------
    >>> from heatq.studies.sampling import Distribution
    >>> from heatq.studies.sensitivity import indices_of, saltelli_sample
    >>> points = saltelli_sample({"a": Distribution.uniform(0.0, 1.0), "b": Distribution.uniform(0.0, 1.0)}, 64)
    >>> points["x"] = ("case", points.a.values + 2.0 * points.b.values, {"units": "K", "long_name": "result"})
    >>> [label.get_text() for label in sensitivity_tornado(indices_of(points)).get_yticklabels()]
    ['b', 'a']
    """
    names = [str(n).removesuffix("_total") for n in getattr(indices, "data_vars", ()) if str(n).endswith("_total")]
    if not names or "parameter" not in indices.dims:
        raise InputError("indices is not the result of sobol_indices() or indices_of(): it holds no total indices.")
    if variable is not None:
        check_name("variable", variable, names, what="variable of the indices")
    elif len(names) == 1 or "hardness_hv" in names:
        variable = names[0] if len(names) == 1 else "hardness_hv"
    else:
        raise InputError(f"variable is not given; the indices are of {', '.join(names)}.")
    rest = [dim for dim in indices[f"{variable}_total"].dims if dim != "parameter"]
    if any(indices.sizes[dim] > 1 for dim in rest):
        examples = ", ".join(f"{dim}={_example(indices[f'{variable}_total'], str(dim))}" for dim in rest)
        raise InputError(
            f"sensitivity_tornado: {variable} also runs over {', '.join(map(str, rest))}; choose one, such as indices.sel({examples})."
        )
    total = indices[f"{variable}_total"].squeeze(rest)
    main = indices[f"{variable}_first_order"].squeeze(rest)
    order = np.argsort(total.values)[::-1]
    labels = json.loads(str(indices.attrs.get("long_names", "{}")))
    named = [labels.get(str(name), str(name)) for name in indices["parameter"].values[order]]
    ax = axes_or_new(ax, (6.4, 1.4 + 0.42 * len(named)))
    height = np.arange(len(named), dtype=float)
    for kind, array, shift, colour, hatch in (
        ("total", total, -0.19, "0.82", "////"),
        ("first order, alone", main, 0.19, "#0072B2", ""),
    ):
        values = array.values[order]
        stem = "total" if kind == "total" else "first_order"
        bounds = indices[f"{variable}_{stem}_interval"].squeeze(rest).transpose("bound", "parameter").values[:, order]
        ax.barh(height + shift, values, 0.36, color=colour, hatch=hatch, edgecolor="0.35", linewidth=0.6, label=kind)
        ax.hlines(height + shift, bounds[0], bounds[1], color="black", linewidth=1.0)
    ax.set_yticks(height, named)
    ax.set_ylim(len(named) + 0.1, -0.5)  # room for the legend below the last row
    ax.axvline(0.0, color="0.3", linewidth=0.8)
    about = str(total.attrs.get("long_name", variable)).removeprefix("total Sobol' index of ")
    here = [
        _told(indices[dim], indices[dim].values.item())
        for dim in ("probe",)
        if dim in indices.coords and indices[dim].size == 1
    ]
    title(ax, ", ".join([about, *here]))
    ax.set_xlabel("share of the variance (Sobol' index)")
    quiet(ax)
    ax.grid(visible=False, axis="y")
    legend(ax, loc="lower right", ncols=2)
    return ax

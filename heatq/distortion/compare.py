"""Several quenches of one piece side by side: ranking and table."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from heatq.distortion.figures import SCALARS
from heatq.errors import InputError

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["compare_distortion", "distortion_table"]


def compare_distortion(figures: Mapping[str, xr.Dataset], by: str = "largest_difference") -> xr.Dataset:
    """Figures of several quenches of one piece side by side, the mildest first.

    Parameters
    ----------
    figures : mapping label -> Dataset
        From `distortion_figures`.
    by : str
        What to rank by: a name of `SCALARS` or of the tensions below. NaN comes last.

    Returns
    -------
    xarray.Dataset
        Over ``quench``: all scalars, and ``thermal_tension_surface``, ``total_tension_surface``, ``total_tension_core``
        (the larger of hoop and axial, Pa).

    Examples
    --------
    >>> import numpy as np, xarray as xr, heatq as hq
    >>> from heatq.distortion import distortion_figures
    >>> time = np.linspace(0.0, 60.0, 61)
    >>> logs = {rate: xr.Dataset({"temperature": (("time", "probe"), 850.0 - time[:, None] * [rate, 10.0])},
    ...                          coords={"time": time, "probe": ["skin", "core"]}) for rate in (14.0, 12.0)}
    >>> both = {f"{rate:g} K/s": distortion_figures(log, hq.RoundBar(diameter=0.05), ms=300.0, surface="skin", core="core")
    ...         for rate, log in logs.items()}
    >>> compare_distortion(both).quench.values.tolist()
    ['12 K/s', '14 K/s']
    """
    import xarray as xr

    if not isinstance(figures, Mapping):
        raise InputError(
            f"figures = {type(figures).__name__} must be a mapping label -> result of distortion_figures()."
        )
    if not figures:
        raise InputError("figures is empty: give at least one label -> result of distortion_figures().")
    rows = []
    for label, one in figures.items():
        if "largest_difference" not in getattr(one, "data_vars", ()):
            raise InputError(f"figures[{label!r}] has no largest_difference; pass what distortion_figures() returned.")
        row = {name: float(one[name]) for name in SCALARS}
        for name, part, place in _TENSIONS:
            row[name] = float("nan")
            if "tension" in one:
                row[name] = float(one["tension"].sel(part=part, direction=["hoop", "axial"])[:, place].max())
        rows.append(row)
    if by not in rows[0]:
        raise InputError(f"by = {by!r}: one of {', '.join(rows[0])}.")
    order = np.argsort([row[by] for row in rows], kind="stable")
    labels = list(figures)
    data = xr.Dataset(coords={"quench": ("quench", [labels[k] for k in order], {"units": "1", "long_name": "quench"})})
    for name in rows[0]:
        unit, about = SCALARS.get(name, ("Pa", name.replace("_", " ") + ", elastic index"))
        data[name] = ("quench", np.array([rows[k][name] for k in order]), {"units": unit, "long_name": about})
    data.attrs = {"by": by}
    return data


_TENSIONS = (
    ("thermal_tension_surface", "thermal", -1),
    ("total_tension_surface", "total", -1),
    ("total_tension_core", "total", 0),
)


def distortion_table(comparison: xr.Dataset) -> str:
    """Result of :func:`compare_distortion` as text, one column per quench.

    Parameters
    ----------
    comparison : xarray.Dataset
        From `compare_distortion`.
    """
    if not hasattr(comparison, "data_vars") or "quench" not in comparison.dims:
        raise InputError("comparison is not what compare_distortion() returned.")
    names = [str(name) for name in comparison["quench"].values]
    width = max(12, *(len(name) + 2 for name in names))
    lines = [" " * 68 + "".join(f"{name:>{width}}" for name in names)]
    for row in comparison.data_vars.values():
        scale, unit = (1e-6, "MPa") if row.attrs["units"] == "Pa" else (1.0, row.attrs["units"])
        cells = (f"{value * scale:.4g}" if np.isfinite(value) else "-" for value in row.values)
        label = row.attrs["long_name"] + ("" if unit == "1" else f", {unit}")
        lines.append(f"{label:<68}" + "".join(f"{cell:>{width}}" for cell in cells))
    return "\n".join(lines)

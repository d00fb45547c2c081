"""`grid_convergence`: is the grid, and are the time steps, fine enough?"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from heatq.conduction.run import simulate
from heatq.errors import InputError, check_number

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["grid_convergence"]


def grid_convergence(
    specimen: Any,
    steel: Any,
    boundaries: Mapping[str, Any],
    *,
    initial_temperature: float,
    end_time: float,
    accuracies: Sequence[float] = (4.0, 2.0, 1.0, 0.5, 0.25),
    probes: Any = None,
    coupled: bool = True,
    times: int = 200,
) -> xr.Dataset:
    """Repeat a run with finer and finer grid and time steps and compare each with the finest.

    Parameters
    ----------
    specimen, steel, boundaries, initial_temperature, end_time, probes, coupled
        As in `heatq.simulate`.
    accuracies : sequence of float
        Working accuracies, K, from coarse to fine; at least three. The last one is the reference of the others.
    times : int
        Number of times, spaced evenly in the logarithm, at which histories are compared.

    Returns
    -------
    xarray.Dataset
        Over ``accuracy``: ``difference`` (largest difference to the finest run over all probes and times, K; NaN for the finest
        itself), ``cells_radial``, ``cells_axial``, ``steps``, ``seconds``. A run is as accurate as it claims where ``difference`` is
        below ``accuracy``.

    Raises
    ------
    InputError
        If the accuracies are fewer than three or do not fall.

    Examples
    --------
    >>> import heatq as hq
    >>> metal = hq.Material.constant(conductivity=30.0, density=7700.0, specific_heat=600.0)
    >>> bath = hq.Convection(coefficient=2000.0, fluid_temperature=20.0)
    >>> table = hq.grid_convergence(hq.RoundBar(diameter=0.025), metal, {"side": bath}, initial_temperature=850.0, end_time=60.0)
    >>> bool((table.difference[:-1] < table.accuracy[:-1]).all())
    True
    """
    import xarray as xr

    levels = [check_number("accuracies", value, "accuracy") for value in accuracies]
    if len(levels) < 3 or (np.diff(levels) >= 0).any():
        raise InputError(
            f"accuracies = {list(accuracies)} must be at least three numbers (K) that fall, such as (2.0, 1.0, 0.5)."
        )
    end_time = check_number("end_time", end_time, "end_time")
    instants = np.geomspace(end_time * 1e-4, end_time, int(check_number("times", times, low=2, high=1e5)))
    runs = [
        simulate(
            specimen,
            steel,
            boundaries,
            initial_temperature=initial_temperature,
            end_time=end_time,
            output_times=instants,
            probes=probes,
            accuracy=level,
            coupled=coupled,
            estimate_error=False,
            progress=False,
        )
        for level in levels
    ]
    finest = runs[-1]["temperature"].values
    difference = [float(np.abs(run["temperature"].values - finest).max()) for run in runs[:-1]]
    cells = np.array([json.loads(run.attrs["settings"])["cells"] for run in runs])
    data = xr.Dataset(
        {
            "difference": (
                "accuracy",
                [*difference, np.nan],
                {"units": "K", "long_name": "difference to the finest run"},
            ),
            "cells_radial": ("accuracy", cells[:, 0], {"units": "1", "long_name": "cells across the radius"}),
            "cells_axial": ("accuracy", cells[:, 1], {"units": "1", "long_name": "cells along the length"}),
            "steps": ("accuracy", [run.attrs["n_steps"] for run in runs], {"units": "1", "long_name": "time steps"}),
            "seconds": (
                "accuracy",
                [run.attrs["solve_seconds"] for run in runs],
                {"units": "s", "long_name": "solver time"},
            ),
        },
        coords={"accuracy": ("accuracy", levels, {"units": "K", "long_name": "working accuracy"})},
    )
    data.attrs = {
        name: runs[-1].attrs[name] for name in ("heatq_version", "created", "settings", "sources", "warnings")
    }
    return data

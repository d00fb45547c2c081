"""From the arrays of a run to the labelled result."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq.history import rates_of
from heatq.transformation.kinetics import PHASES

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["between_steps", "dataset_of"]

Array = npt.NDArray[np.float64]


def between_steps(rows: Array, times: Array, knots: Array) -> Array:
    """Rows (time first) at other times: monotone cubics through the accepted steps, broken at the knots of the boundaries."""
    from scipy.interpolate import PchipInterpolator

    t = rows[:, 0]
    out = np.empty((len(times), rows.shape[1]))
    inner = np.unique(knots[(knots > t[0]) & (knots < t[-1])])
    edges = [t[0], *inner, t[-1]]
    for low, high in itertools.pairwise(edges):
        steps = (t >= low) & (t <= high)
        here = (times >= low) & (times <= high)
        if not here.any():
            continue
        part = rows[steps]
        if len(part) < 2:
            out[here] = rows[np.searchsorted(t, times[here]).clip(0, len(t) - 1)]
        else:
            out[here] = PchipInterpolator(part[:, 0], part, axis=0)(times[here])
    out[:, 0] = times
    return out


def dataset_of(
    state: Any,
    specimen: Any,
    places: list,
    wanted: Array | None,
    field_times: Array | None,
    end_time: float,
) -> xr.Dataset:
    """The labelled result."""
    import xarray as xr

    rows = np.concatenate(state.records)
    t = rows[:, 0]
    count = len(places)
    if wanted is not None:
        if t[-1] < end_time:
            wanted = wanted[wanted <= t[-1]]
        rows = between_steps(rows, wanted, state.tables.knot_time) if len(t) > 1 else rows[:0]
        t = wanted
    temperature = rows[:, 5 : 5 + count]
    one = {"units": "1"}
    coords: dict[str, Any] = {
        "time": ("time", t, {"units": "s", "long_name": "time"}),
        "probe": ("probe", [p.label for p in places], {**one, "long_name": "probe"}),
        "r": ("probe", np.array([p.r for p in places]), {"units": "m", "long_name": "radius"}),
        "z": ("probe", np.array([p.z for p in places]), {"units": "m", "long_name": "height above the bottom face"}),
    }
    variables: dict[str, Any] = {
        "temperature": (("time", "probe"), temperature, {"units": "degC", "long_name": "temperature"})
    }
    if "jet" in specimen.faces:
        about = {"units": "m", "long_name": "distance from the quenched end"}
        coords["distance"] = ("probe", np.array([p.z for p in places]), about)
    if state.transforms:
        last = state.records[-1][-1, 5 + count :] if len(state.records[-1]) else rows[-1, 5 + count :]
        final = last.reshape(4, count)
        history = rows[:, 5 + count :].reshape(len(t), 4, count).transpose(1, 0, 2)
        share = {**one, "long_name": "phase fraction"}
        coords["phase"] = ("phase", list(PHASES), {**one, "long_name": "phase"})
        variables["fraction"] = (("phase", "probe"), _with_austenite(final), share)
        variables["fraction_history"] = (("phase", "time", "probe"), _with_austenite(history), share)
        about = {"units": "degC", "long_name": "mean temperature of formation"}
        variables["formation_temperature"] = (("phase", "probe"), _formation(state, final), about)
        if len(t) > 1:
            for name, level, window in (("cooling_rate_700", 700.0, 6.0), ("cooling_rate_800_700", 750.0, 50.0)):
                about = {"units": "K/s", "long_name": f"cooling rate at {level:.0f} degC"}
                variables[name] = ("probe", rates_of(t, temperature, level, window), about)
    faces = [name for side in ("bottom", "top", "outer", "bore") for name, s in specimen.faces.items() if s == side]
    index = [("bottom", "top", "outer", "bore").index(specimen.faces[name]) for name in faces]
    coords["face"] = ("face", faces, {**one, "long_name": "face"})
    per_length = {
        "units": "J" if specimen.length is not None else "J/m",
        "long_name": "heat removed through the face",
    }
    variables["heat_removed"] = (("face", "time"), rows[:, [1 + k for k in index]].T, per_length)
    data = xr.Dataset(variables, coords)
    if field_times is not None and state.fields:
        _add_fields(data, state)
    return data


def _with_austenite(fractions: Array) -> Array:
    austenite = np.clip(1.0 - fractions.sum(axis=0, keepdims=True), 0.0, 1.0)
    return np.concatenate([fractions, austenite])


def _formation(state: Any, final: Array) -> Array:
    """Mean formation temperature of ferrite, pearlite and bainite at the probes; NaN where none formed."""
    linear = state.probe_tables[4]
    out = np.full((5, final.shape[1]), np.nan)
    j0, j1, i0, i1 = linear[:, :4].astype(int).T
    wj, wi = linear[:, 4], linear[:, 5]

    def at_probes(field: Array) -> Array:
        low = field[i0, j0] + wi * (field[i1, j0] - field[i0, j0])
        high = field[i0, j1] + wi * (field[i1, j1] - field[i0, j1])
        return low + wj * (high - low)

    for phase in range(3):
        formed = at_probes(state.fractions[phase])
        some = formed > 1e-9
        out[phase, some] = at_probes(state.formation[phase])[some] / formed[some]
    return out


def _add_fields(data: xr.Dataset, state: Any) -> None:
    times = np.array([t for t, _, _ in state.fields])
    data.coords["field_time"] = (
        "field_time",
        times,
        {"units": "s", "long_name": "time"},
    )
    data.coords["cell_z"] = (
        "cell_z",
        state.grid.z,
        {"units": "m", "long_name": "height above the bottom face"},
    )
    data.coords["cell_r"] = (
        "cell_r",
        state.grid.r,
        {"units": "m", "long_name": "radius"},
    )
    dims = ("field_time", "cell_z", "cell_r")
    data["temperature_field"] = (
        dims,
        np.array([f.T for _, f, _ in state.fields]),
        {"units": "degC", "long_name": "temperature"},
    )
    if state.transforms:
        parts = np.array([_with_austenite(f) for _, _, f in state.fields]).transpose(1, 0, 3, 2)
        data["fraction_field"] = (
            ("phase", *dims),
            parts,
            {"units": "1", "long_name": "phase fraction"},
        )

"""From the arrays of a run to the labelled result."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.transformation.fractions import PHASE_COORDINATE, rate_variables

__all__ = ["NAMES", "Variables", "between_steps", "variables_of"]

Array = npt.NDArray[np.float64]
#: Name -> dimensions, values, attributes.
Variables = dict[str, tuple[Any, npt.NDArray[Any], dict[str, str]]]
#: Every variable and coordinate that a result may have.
NAMES = (
    *(
        "temperature",
        "fraction",
        "fraction_history",
        "formation_temperature",
        "cooling_rate_700",
        "cooling_rate_800_700",
    ),
    *("heat_removed", "temperature_field", "fraction_field"),
    *("time", "probe", "r", "z", "distance", "phase", "face", "field_time", "cell_z", "cell_r"),
)


def between_steps(rows: Array, times: Array, knots: Array, columns: tuple[int, int] | None = None) -> Array:
    """Rows (time first) at other, increasing times: monotone cubics through the accepted steps, broken at the boundaries' knots.

    ``columns`` are the first and the end of those that are wanted, without the time; by default the whole rows.
    """
    from heatq.conduction._probe_kernels import monotone_cubics

    first, last = (0, rows.shape[1]) if columns is None else columns
    t, times = rows[:, 0], np.ascontiguousarray(times)
    out = np.empty((len(times), last - first))
    breaks = np.unique(knots[(knots > t[0]) & (knots < t[-1])]).tolist() if len(knots) > 1 else []
    for low, high in itertools.pairwise([t[0], *breaks, t[-1]]):
        here, part = slice(None), rows
        if breaks:
            here = slice(times.searchsorted(low), times.searchsorted(high, side="right"))
            part = rows[t.searchsorted(low) : t.searchsorted(high, side="right")]
        if len(part) < 2:
            out[here] = rows[t.searchsorted(times[here]).clip(0, len(t) - 1), first:last]
        else:
            monotone_cubics(part, first, last, times[here], out[here])
    if first == 0:
        out[:, 0] = times
    return out


def variables_of(
    state: Any,
    specimen: Any,
    places: list,
    wanted: Array | None,
    end_time: float,
) -> tuple[Variables, Variables]:
    """Variables and coordinates of the result by name: dimensions, values, attributes, as `xarray.Dataset` takes them.

    No Dataset yet: making one costs as much as a long bar's whole quench, and a batch has no need of it.
    """
    from heatq.conduction._probe_kernels import formation_temperatures, phase_fractions

    rows = state.rows()
    t = rows[:, 0]
    count = len(places)
    final = rows[-1:]
    if wanted is not None:
        if t[-1] < end_time:
            wanted = wanted[wanted <= t[-1]]
        rows = between_steps(rows, wanted, state.tables.knot_time) if len(t) > 1 else rows[:0]
        t = wanted
    temperature = rows[:, 5 : 5 + count]
    one = {"units": "1"}
    coords: Variables = {
        "time": ("time", t, {"units": "s", "long_name": "time"}),
        "probe": ("probe", np.array([p.label for p in places]), {**one, "long_name": "probe"}),
        "r": ("probe", np.array([p.r for p in places]), {"units": "m", "long_name": "radius"}),
        "z": ("probe", np.array([p.z for p in places]), {"units": "m", "long_name": "height above the bottom face"}),
    }
    variables: Variables = {
        "temperature": (("time", "probe"), temperature, {"units": "degC", "long_name": "temperature"})
    }
    if "jet" in specimen.faces:
        about = {"units": "m", "long_name": "distance from the quenched end"}
        coords["distance"] = ("probe", np.array([p.z for p in places]), about)
    if state.transforms:
        share = {**one, "long_name": "phase fraction"}
        coords["phase"] = PHASE_COORDINATE
        variables["fraction"] = (("phase", "probe"), phase_fractions(final, 5 + count, count)[:, 0], share)
        history = phase_fractions(rows, 5 + count, count)
        variables["fraction_history"] = (("phase", "time", "probe"), history, dict(share))
        about = {"units": "degC", "long_name": "mean temperature of formation"}
        formed = formation_temperatures(state.formation, final[0, 5 + count :].reshape(4, count), state.probe_tables[4])
        variables["formation_temperature"] = (("phase", "probe"), formed, about)
        if len(t) > 1:
            variables |= rate_variables(t, temperature)
    faces = [name for side in ("bottom", "top", "outer", "bore") for name, s in specimen.faces.items() if s == side]
    index = [("bottom", "top", "outer", "bore").index(specimen.faces[name]) for name in faces]
    coords["face"] = ("face", np.array(faces), {**one, "long_name": "face"})
    per_length = {
        "units": "J" if specimen.length is not None else "J/m",
        "long_name": "heat removed through the face",
    }
    variables["heat_removed"] = (("face", "time"), rows[:, [1 + k for k in index]].T, per_length)
    if state.fields:
        _add_fields(variables, coords, state)
    return variables, coords


def _with_austenite(fractions: Array) -> Array:
    return np.concatenate([fractions, np.clip(1.0 - fractions.sum(axis=0, keepdims=True), 0.0, 1.0)])


def _add_fields(variables: Variables, coords: Variables, state: Any) -> None:
    height = {"units": "m", "long_name": "height above the bottom face"}
    times = np.array([t for t, _, _ in state.fields])
    coords["field_time"] = ("field_time", times, {"units": "s", "long_name": "time"})
    coords["cell_z"] = ("cell_z", state.grid.z, height)
    coords["cell_r"] = ("cell_r", state.grid.r, {"units": "m", "long_name": "radius"})
    dims = ("field_time", "cell_z", "cell_r")
    field = np.array([f.T for _, f, _ in state.fields])
    variables["temperature_field"] = (dims, field, {"units": "degC", "long_name": "temperature"})
    if state.transforms:
        parts = np.array([_with_austenite(f) for _, _, f in state.fields]).transpose(1, 0, 3, 2)
        variables["fraction_field"] = (("phase", *dims), parts, {"units": "1", "long_name": "phase fraction"})

"""What a log shows before anything is done to it: sampling, gaps, spikes, dead channels, resolution, start of the quench."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, check_number
from heatq.units import shown, unit_text

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["check_log", "is_spike", "log_report", "log_report_text", "start_of_quench"]

Array = npt.NDArray[np.float64]

#: A channel that moves less than this (K) while another moves `ALIVE` K is dead.
DEAD = 2.0
ALIVE = 50.0


def check_log(log: Any) -> tuple[Array, Array]:
    """Time (s) and temperature (time, channel) of a log, which may hold gaps; or an `InputError`."""
    temperature = log.get("temperature") if hasattr(log, "data_vars") else None
    if temperature is None or set(temperature.dims) != {"time", "probe"} or "time" not in log.coords:
        raise InputError(f"log needs temperature(time, probe), as read_log() returns it; got {type(log).__name__}.")
    time = log["time"].values
    if time.dtype.kind not in "iuf" or len(time) < 2 or not (np.diff(time) > 0).all():
        raise InputError("log needs at least two times in seconds, increasing strictly.")
    return time.astype(float), temperature.transpose("time", "probe").values.astype(float)


def is_spike(column: Array, threshold: float, width: int = 5) -> npt.NDArray[np.bool_]:
    """Where a reading differs by more than ``threshold`` (K) from the median of ``width`` readings around it.

    On a curve that only falls the median of the neighbours is the reading itself, so that a steep quench is no spike.
    Gaps are passed over; the first and last ``width // 2`` readings are not judged.
    """
    out = np.zeros(len(column), dtype=bool)
    good = np.flatnonzero(np.isfinite(column))
    if len(good) < width:
        return out
    values = column[good]
    half = width // 2
    median = values.copy()  # at the ends nothing is judged: there the median lies to one side of a falling curve
    median[half : len(values) - half] = np.median(np.lib.stride_tricks.sliding_window_view(values, width), axis=1)
    out[good] = np.abs(values - median) > threshold
    return out


def _running_median(values: Array, width: int = 5) -> Array:
    if len(values) < width:
        return values
    padded = np.pad(values, width // 2, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1))


def start_of_quench(log: xr.Dataset, drop: float = 5.0) -> xr.DataArray:
    """Apparent start of the quench (s) of each channel.

    The last time at which it stood less than ``drop`` below its hold temperature, which is the highest running median
    of five readings; NaN where it never falls 50 K below that. It lags behind the true start by the response of the
    couple and of the metal above it, and is known to one sampling interval at best.

    Parameters
    ----------
    log : xarray.Dataset
        ``temperature(time, probe)``, gaps allowed.
    drop : float
        K.

    Examples
    --------
    >>> import numpy as np
    >>> from heatq.logs import log_dataset
    >>> time = np.arange(0.0, 60.0)
    >>> log = log_dataset(time, np.where(time < 20.0, 850.0, 850.0 - 10.0 * (time - 20.0))[:, None], ["core"])
    >>> start_of_quench(log).values
    array([20.])
    """
    import xarray as xr

    check_number("drop", drop, low=0.0, low_open=True, high=200.0, unit="K")
    time, values = check_log(log)
    found = np.full(values.shape[1], np.nan)
    for n, column in enumerate(values.T):
        good = np.isfinite(column)
        smooth, at = _running_median(column[good]), time[good]
        if smooth.size == 0:
            continue
        peak = int(smooth.argmax())
        if smooth[peak] - smooth[peak:].min() < 50.0:
            continue
        after = np.flatnonzero(smooth >= smooth[peak] - drop)
        found[n] = at[after[-1]]
    return xr.DataArray(
        found,
        dims="probe",
        coords={"probe": log["probe"]},
        name="start_of_quench",
        attrs={"units": "s", "long_name": "apparent start of the quench"},
    )


def log_report(log: xr.Dataset, *, spike: float = 10.0) -> xr.Dataset:
    """What is in a log, channel by channel; nothing is changed.

    Parameters
    ----------
    log : xarray.Dataset
        As :func:`heatq.logs.read_log` returns it.
    spike : float
        A reading that differs by more than this (K) from the median of the five around it counts as a spike.

    Returns
    -------
    xarray.Dataset
        Per ``probe``: ``gaps`` (missing readings), ``longest_gap`` (s), ``spikes``, ``resolution`` (smallest step
        between different readings, K), ``noise`` (K, from second differences: what is left of a smooth curve),
        ``lowest``, ``highest`` (degC), ``start_of_quench`` (s), ``state`` ("ok", or why the channel is dead).
        Attributes: ``interval`` (median, s), ``interval_shortest``, ``interval_longest``, ``missing_rows`` (JSON: places
        where the rows are more than 1.5 median intervals apart).

    Examples
    --------
    >>> import numpy as np
    >>> from heatq.logs import log_dataset
    >>> time = np.arange(0.0, 60.0)
    >>> log = log_dataset(time, np.column_stack([850.0 - 10.0 * time, 0.0 * time + 25.0]), ["core", "loose"])
    >>> log_report(log).state.values.tolist()
    ['ok', 'does not move']
    """
    import xarray as xr

    check_number("spike", spike, low=0.0, low_open=True, high=500.0, unit="K")
    time, values = check_log(log)
    steps = np.diff(time)
    middle = float(np.median(steps))
    wide = np.flatnonzero(steps > 1.5 * middle)
    count = values.shape[1]
    missing = ~np.isfinite(values)
    seen = [column[np.isfinite(column)] for column in values.T]
    highest = np.array([column.max() if column.size else np.nan for column in seen])
    lowest = np.array([column.min() if column.size else np.nan for column in seen])
    moves = highest - lowest
    alive = bool(np.nanmax(moves, initial=0.0) > ALIVE)
    columns: dict[str, tuple[Any, str, str]] = {
        "gaps": (missing.sum(axis=0), "1", "missing readings"),
        "longest_gap": (np.array([_longest(time, gap) for gap in missing.T]), "s", "longest gap"),
        "spikes": (np.array([is_spike(column, spike).sum() for column in values.T]), "1", f"spikes above {spike:g} K"),
        "resolution": (np.array([_resolution(column) for column in values.T]), "K", "smallest step of the readings"),
        "noise": (np.array([_noise(column) for column in values.T]), "K", "noise (standard deviation)"),
        "lowest": (lowest, "degC", "lowest reading"),
        "highest": (highest, "degC", "highest reading"),
        "start_of_quench": (start_of_quench(log).values, "s", "apparent start of the quench"),
        "state": (np.array([_state(values[:, n], moves[n], alive, values) for n in range(count)]), "1", "state"),
    }
    return xr.Dataset(
        {name: ("probe", data, {"units": unit, "long_name": text}) for name, (data, unit, text) in columns.items()},
        coords={"probe": log["probe"].copy()},
        attrs={
            "interval": middle,
            "interval_shortest": float(steps.min()),
            "interval_longest": float(steps.max()),
            "rows": len(time),
            "missing_rows": json.dumps([{"from": float(time[n]), "to": float(time[n + 1])} for n in wide]),
            "source": log.attrs.get("source", ""),
            "reading": log.attrs.get("reading", "{}"),
            "cleaning": log.attrs.get("cleaning", "[]"),
        },
    )


def _longest(time: Array, gap: npt.NDArray[np.bool_]) -> float:
    """Longest time between two readings that have a missing one between them; an open end counts to the last row."""
    if not gap.any():
        return 0.0
    longest, begin = 0.0, 0
    n, size = 0, len(time)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], gap.astype(int), [0]])))
    for begin, n in zip(edges[::2], edges[1::2], strict=True):
        longest = max(longest, float(time[min(n, size - 1)] - time[max(begin - 1, 0)]))
    return longest


def _resolution(column: Array) -> float:
    steps = np.diff(np.unique(column[np.isfinite(column)]))
    steps = steps[steps > 1e-7]  # closer ones are round-off of the conversion from degF or K
    return float(steps.min()) if steps.size else np.nan


def _noise(column: Array) -> float:
    """Standard deviation from second differences by their median: of white noise sigma they have sigma sqrt(6)."""
    values = column[np.isfinite(column)]
    if len(values) < 5:
        return np.nan
    return float(1.4826 * np.median(np.abs(np.diff(values, 2))) / np.sqrt(6.0))


def _state(column: Array, moves: float, alive: bool, values: Array) -> str:
    good = np.isfinite(column)
    if not good.any():
        return "no readings"
    if not alive:
        return "ok"
    if moves < DEAD:
        return "does not move"
    last = np.flatnonzero(good)[-1]
    stuck = np.flatnonzero(column[good] != column[last])[-1] + 1 if moves > 0 else 0
    begin = np.flatnonzero(good)[stuck]
    if last - begin < 4:
        return "ok"
    # a couple that has cooled down rests too; stuck is one that rests high above others that go on falling
    others = [c[np.isfinite(c)] for c in values[begin : last + 1].T]
    if any(c.size and np.ptp(c) > ALIVE and c.min() < column[last] - ALIVE for c in others):
        return f"stuck at {column[last]:g} degC"
    return "ok"


_MARKS = {",": "commas", ";": "semicolons", "tab": "tabs"}


def log_report_text(report: xr.Dataset) -> str:
    """The report as a table in the units of `heatq.plot.units`, with how the file was understood and what was done to it."""
    reading = json.loads(report.attrs.get("reading", "{}"))
    lines = []
    if reading:
        times = "; ".join(f"{t['column']} ({t['kind']})" for t in reading["time"])
        lines.append(
            f"{report.attrs['source']}: {report.attrs['rows']} rows, encoding {reading['encoding']}, cells separated by "
            f"{_MARKS.get(reading['delimiter'], reading['delimiter'])}, decimal {'comma' if reading['decimal'] == ',' else 'point'}, header on line "
            f"{reading['header_line']}; time: {times}"
        )
        if midnights := max(t["midnights"] for t in reading["time"]):
            lines.append(f"the clock passes midnight {midnights} time(s)")
        if reading["time_offset"]:
            lines.append(f"times count from {reading['time_offset']:g} s, the first row")
        lines += [f"left aside: {name} ({why})" for name, why in reading["skipped_columns"].items()]
        for cell in reading["bad_cells"][:10]:
            lines.append(f"line {cell['line']}, column {cell['column']}: {cell['text']!r} {cell['reason']}")
        if len(reading["bad_cells"]) > 10:
            lines.append(f"... and {len(reading['bad_cells']) - 10} more bad cells (attribute reading)")
        if reading["left_out_lines"]:
            first = ", ".join(map(str, reading["left_out_lines"][:10]))
            lines.append(f"lines left out: {first}{', ...' if len(reading['left_out_lines']) > 10 else ''}")
    a = report.attrs
    lines.append(
        f"interval {a['interval']:g} s (shortest {a['interval_shortest']:g}, longest {a['interval_longest']:g})"
        + (f"; rows missing at {len(json.loads(a['missing_rows']))} place(s)" if a["missing_rows"] != "[]" else "")
    )
    width = max(8, *(len(str(name)) for name in report["probe"].values))
    kelvin, degree = unit_text("K"), unit_text("degC")
    lines.append(
        f"{'channel':<{width}}    gaps  longest  spikes  resolution   noise   lowest  highest   quench  state\n"
        f"{'':<{width}}{'s':>17}{kelvin:>20}{kelvin:>8}{degree:>9}{degree:>9}{'from, s':>9}"
    )
    for n, name in enumerate(report["probe"].values):
        one = {key: report[key].values[n] for key in report.data_vars}
        one |= {key: shown(one[key], "K")[0] for key in ("resolution", "noise")}
        one |= {key: shown(one[key], "degC")[0] for key in ("lowest", "highest")}
        lines.append(
            f"{name!s:<{width}}{one['gaps']:>8d}{one['longest_gap']:>9.4g}{one['spikes']:>8d}{_cell(one['resolution'], '.3g'):>12}"
            f"{_cell(one['noise'], '.2f'):>8}{_cell(one['lowest'], '.1f'):>9}{_cell(one['highest'], '.1f'):>9}"
            f"{_cell(one['start_of_quench'], '.5g'):>9}  {one['state']}"
        )
    for step in json.loads(a["cleaning"]):
        lines.append("done: " + ", ".join(f"{key} {value}" for key, value in step.items()))
    return "\n".join(lines)


def _cell(value: float, form: str) -> str:
    return format(value, form) if np.isfinite(value) else "-"

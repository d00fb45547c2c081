"""Recorder logs in: delimited text with several channels, as any recorder or spreadsheet writes it."""

from __future__ import annotations

import json
import os
import pathlib
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import numpy.typing as npt

from heatq._version import __version__
from heatq.errors import LIMITS, DataError, InputError, check_name, check_number
from heatq.files import Row, decode, number_in, read_bytes, split_rows
from heatq.logs.headers import (
    MISSING,
    Column,
    find_channels,
    find_column,
    find_decimal,
    find_header,
    find_mark,
    find_time,
    is_unit,
    split_header,
)
from heatq.logs.times import TIME_UNITS, Times, fits, parse_times, settle_repeats
from heatq.specimens import Probe
from heatq.units import degF, kelvin

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["log_dataset", "read_log"]

Array = npt.NDArray[np.float64]


def read_log(
    path: str | os.PathLike[str],
    *,
    time: str | int | tuple[str | int, str | int] | Mapping[str, str | int] | None = None,
    channels: Sequence[str | int] | Mapping[str, str] | None = None,
    units: str | Mapping[str, str] | None = None,
    places: Mapping[str, Any] | None = None,
    time_unit: str | None = None,
    time_format: str | None = None,
    interval: float | None = None,
    header: int | None = None,
    delimiter: str | None = None,
    decimal: str | None = None,
    encoding: str | None = None,
    missing: Sequence[str] = (),
    on_bad: str = "raise",
    on_repeat: str = "raise",
) -> xr.Dataset:
    r"""Read a recorder log into the same form as a simulated history.

    Parameters
    ----------
    path : path
        Text with one row per time; tab, semicolon, bar, comma or blanks between the columns.
    time : column, pair or mapping, optional
        Header text or number (from 1) of the time column; ``(date, clock)`` where these are two columns; a mapping
        channel -> time column where each channel has its own. Left out: the column that is called time, date,
        timestamp, elapsed, t ... or states a unit of time.
    channels : list or mapping, optional
        Which columns are temperatures, by header text or number; a mapping header -> name renames them. Left out: all
        columns that state a temperature unit or, with ``units``, no unit; what is left aside is listed in the result.
    units : str or mapping, optional
        ``degC``, ``degF`` or ``K`` of the columns whose header states none; a mapping column -> unit overrides the
        header. Never guessed.
    places : mapping, optional
        Channel -> `Probe` or (r, z) in m; gives the result the coordinates r and z.
    time_unit : str, optional
        ``ms``, ``s``, ``min``, ``h`` or ``d`` of times that are plain numbers, where the header does not say.
    time_format : str, optional
        Format of the times as in `datetime.datetime.strptime`, for instance ``"%d/%m/%Y %H:%M:%S"``.
    interval : float, optional
        Seconds between rows, for a log without times.
    header : int, optional
        Line number of the header; 0: there is none. Left out: the last line above the first row of numbers that names
        a time or a temperature unit.
    delimiter, decimal, encoding : str, optional
        Override what is found: the mark between cells, ``.`` or ``,``, and a Python encoding (found: UTF-8, UTF-16 with
        byte-order mark, else Windows-1252).
    missing : sequence of str
        Further words that mean "no reading", besides blank, ``-``, ``nan``, ``open``, ``over``, ``fault`` and the like.
    on_bad : str
        ``raise`` (default), or ``gap``: a cell that cannot be read becomes a gap and is listed; a row whose time cannot
        be read, or which has too many cells, is left out and listed.
    on_repeat : str
        Rows with the same time: ``raise``, ``first`` (keep the first) or ``spread`` (a recorder faster than its clock's
        resolution: set them apart evenly).

    Returns
    -------
    xarray.Dataset
        ``temperature(time, probe)`` in degC, time in s from the first row. Gaps are NaN, to be filled by
        :func:`heatq.logs.fill_gaps`. Attributes: ``source``, ``start`` (date and time of the first row, if known),
        ``reading`` (JSON: how the file was understood, everything skipped, missing or bad) and ``cleaning`` (JSON list,
        empty: nothing has been cleaned).

    Raises
    ------
    DataError
        Naming file, line and column of what cannot be read or may mean two things.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> file = pathlib.Path(tempfile.mkdtemp(), "run.csv")
    >>> _ = file.write_text("time;core [°C];skin [°F]\n23:59:59;850,5;1562\n00:00:01;849,0;1400\n")
    >>> log = read_log(file)
    >>> log.temperature.values
    array([[850.5, 850. ],
           [849. , 760. ]])
    >>> log.time.values
    array([0., 2.])
    """
    check_name("on_bad", on_bad, ("raise", "gap"))
    raw = read_bytes(path)
    name = str(pathlib.Path(path))
    text, used = decode(raw, name, encoding=encoding, fallback="cp1252")
    words = MISSING | {str(word).strip().casefold() for word in missing}
    rows, mark, aside = _rows(text, name, delimiter)
    least = 2 if interval is None else 1
    begin, names = find_header(rows, name, header, words, least, lambda cell: fits(cell, time_format))
    header_line = rows[begin - 1].line if begin else 0
    names, data, units_line = _units_row(names, rows[begin:])
    columns = [split_header(n, cell) for n, cell in enumerate(names)]
    blank = [row.line for row in data if not any(row.cells)]
    data = [row for row in data if any(row.cells)]
    if not data:
        raise DataError(f"{name} has a header (line {header_line}) but no data row below it.")
    bad = _Bad(name, on_bad, names)
    data = bad.check_width(data, mark)
    point = find_decimal(data, name, decimal)
    groups = _time_groups(time, columns, data, name, header_line, interval)
    of_time = {column.place for group in groups for column in group.columns}
    picked, skipped = find_channels(columns, of_time, data, name, header_line, channels, units)
    series: dict[str, tuple[Array, Array]] = {}
    found: list[Times] = []
    for group in groups:
        members = [channel for channel in picked if group.channels is None or channel in group.channels]
        if not members:
            raise InputError(f"time: no channel belongs to {group.label!r}; channels: {', '.join(picked)}.")
        times, kept = _times(group, data, name, bad, point, time_unit, time_format, interval, len(groups) > 1)
        seconds, stay = settle_repeats(times.seconds, [row.line for row in kept], name, group.label, on_repeat)
        found.append(times)
        bad.left_out += [row.line for row, s in zip(kept, stay, strict=True) if not s]
        kept, seconds = [row for row, s in zip(kept, stay, strict=True) if s], seconds[stay]
        for channel in members:
            column, unit = picked[channel]
            series[channel] = seconds, _values(column, unit, kept, bad, point, words)
    kinds = {times.kind for times in found}
    if len(kinds) > 1:
        raise DataError(
            f"{name}: the time columns are of different kinds ({', '.join(sorted(kinds))}) and have no common zero."
        )
    lost = [channel for channel in picked if channel not in series]
    if lost:
        raise InputError(f"time: no time column is given for channel {lost[0]!r}; name one for every channel.")
    dataset, zero = _merged({channel: series[channel] for channel in picked}, name)
    reading = {
        "encoding": used,
        "delimiter": {"\t": "tab", " ": "blanks"}.get(mark, mark),
        "decimal": point,
        "header_line": header_line,
        "units_line": units_line,
        "before_header": [" ".join(row.cells) for row in rows[: max(begin - 1, 0)]],
        "comments": aside,
        "blank_rows": len(blank),
        "time": [
            {"column": g.label, "kind": t.kind, "midnights": t.midnights} for g, t in zip(groups, found, strict=True)
        ],
        "time_offset": zero if found[0].kind in ("elapsed", "duration") else 0.0,
        "units": {channel: unit for channel, (_, unit) in picked.items()},
        "skipped_columns": skipped,
        "missing": {n: int(np.isnan(dataset["temperature"].values[:, k]).sum()) for k, n in enumerate(picked)},
        "bad_cells": bad.listed,
        "left_out_lines": sorted(set(bad.left_out)),
    }
    dataset.attrs = {
        "heatq_version": __version__,
        "source": name,
        "start": min(t.start for t in found),
        "reading": json.dumps(reading, ensure_ascii=False),
        "cleaning": "[]",
    }
    return dataset if places is None else _with_places(dataset, places)


class _Bad:
    """What to do with cells and rows that cannot be read; nothing is dropped without being listed."""

    def __init__(self, path: str, mode: str, names: Sequence[str]) -> None:
        self.path, self.mode, self.names = path, mode, names
        self.listed: list[dict[str, Any]] = []
        self.left_out: list[int] = []

    def note(self, line: int, column: str, text: str, reason: str) -> None:
        """Raise, or list the cell."""
        if self.mode == "raise":
            again = " The header stands there again; was the recorder restarted?" if text and text in self.names else ""
            raise DataError(
                f"{self.path}, line {line}, column {column}: {text[:60]!r} {reason}.{again} "
                "on_bad='gap' makes a gap of it."
            )
        self.listed.append({"line": line, "column": column, "text": text[:60], "reason": reason})

    def check_width(self, rows: list[Row], mark: str) -> list[Row]:
        """Rows with as many cells as the header; short ones filled, long ones refused or left out."""
        width = len(self.names)
        out = []
        for row in rows:
            if any(row.cells[width:]):
                hint = " For decimal commas separate the columns by semicolons or tabs." if mark in ", " else ""
                if self.mode == "raise":
                    raise DataError(
                        f"{self.path}, line {row.line} has {len(row.cells)} cells, the header has {width}: column "
                        f"{width + 1} has no name.{hint}"
                    )
                self.left_out.append(row.line)
                self.listed.append({"line": row.line, "column": "", "text": "", "reason": "more cells than the header"})
                continue
            if len(row.cells) < width:
                lacking = self.names[len(row.cells)]
                if self.mode == "raise":
                    raise DataError(
                        f"{self.path}, line {row.line} has {len(row.cells)} cells, the header has {width}: it ends before "
                        f"column {lacking}. on_bad='gap' makes gaps of the rest."
                    )
                self.listed.append(
                    {"line": row.line, "column": lacking, "text": "", "reason": "the row ends before it"}
                )
                row = Row(row.line, row.cells + [""] * (width - len(row.cells)))
            out.append(row)
        if not out:
            raise DataError(f"{self.path}: no row has as many cells as the header ({width}).")
        return out


class _Group(NamedTuple):
    """Channels that share one time column (None: all of them)."""

    columns: list[Column]
    channels: list[str] | None

    @property
    def label(self) -> str:
        return " + ".join(column.header for column in self.columns) or "interval"


def _rows(text: str, path: str, delimiter: str | None) -> tuple[list[Row], str, int]:
    """Rows, the mark between cells, and how many comment lines were skipped."""
    lines = [line for line in text.replace("\r\n", "\n").replace("\r", "\n").split("\n") if line.strip()]
    plain = [line for line in lines if not line.lstrip().startswith("#")]
    if delimiter is not None and (not isinstance(delimiter, str) or len(delimiter) != 1 or delimiter in '"\r\n'):
        raise InputError(f"delimiter = {delimiter!r} must be one character, such as ';' or '\\t'.")
    mark = find_mark(plain) if delimiter is None and plain else delimiter
    rows, mark = split_rows(text, path, mark)
    return rows, mark, len(lines) - len(plain)


def _units_row(names: list[str], below: list[Row]) -> tuple[list[str], list[Row], int]:
    """Header with the units of a second header line taken in, if there is one."""
    names = list(names)
    while names and not names[-1] and not any(len(r.cells) >= len(names) and r.cells[len(names) - 1] for r in below):
        names.pop()
    if not below or not any(below[0].cells) or not all(map(is_unit, below[0].cells)):
        return names, below, 0
    units = below[0].cells
    if not any(unit.strip("-") for unit in units):  # dashes: a row without readings
        return names, below, 0
    names = [
        f"{cell} [{unit.strip('[]()')}]" if unit.strip("-") and not split_header(0, cell).unit else cell
        for cell, unit in zip(names, [*units, *[""] * len(names)], strict=False)
    ]
    return names, below[1:], below[0].line


def _time_groups(
    time: Any, columns: list[Column], rows: list[Row], path: str, line: int, interval: float | None
) -> list[_Group]:
    if interval is not None:
        check_number("interval", interval, low=0.0, low_open=True, high=1e6, unit="s")
        if time is not None:
            raise InputError("time and interval are both given: rows have times, or a fixed interval, not both.")
        return [_Group([], None)]
    if time is None:
        return [_Group(find_time(columns, rows, path, line), None)]
    if isinstance(time, Mapping):
        by_column: dict[int, list[str]] = {}
        for channel, wanted in time.items():
            by_column.setdefault(find_column(wanted, columns, path, "time").place, []).append(str(channel))
        return [_Group([columns[index]], members) for index, members in by_column.items()]
    pair = time if isinstance(time, (tuple, list)) else (time,)
    if not 1 <= len(pair) <= 2:
        raise InputError(f"time = {time!r}: one column, a pair (date, clock), or a mapping channel -> column.")
    return [_Group([find_column(wanted, columns, path, "time") for wanted in pair], None)]


def _times(
    group: _Group,
    rows: list[Row],
    path: str,
    bad: _Bad,
    decimal: str,
    time_unit: str | None,
    time_format: str | None,
    interval: float | None,
    several: bool,
) -> tuple[Times, list[Row]]:
    """Times of the rows that have one, and these rows."""
    if interval is not None:
        return Times(np.arange(len(rows), dtype=np.float64) * float(interval), "interval", "", 0), rows
    cells = [(row.line, " ".join(row.cells[c.place] for c in group.columns).strip()) for row in rows]
    if several:  # each channel has its own times, and its own end
        pairs = [(cell, row) for cell, row in zip(cells, rows, strict=True) if cell[1]]
        cells, rows = [cell for cell, _ in pairs], [row for _, row in pairs]
    unit = TIME_UNITS.get(group.columns[-1].unit.casefold())
    if time_unit is not None:
        stated = TIME_UNITS[check_name("time_unit", time_unit, TIME_UNITS)]
        if unit is not None and unit != stated:
            raise DataError(
                f"{path}, column {group.label}: the header says {group.columns[-1].unit}, the argument time_unit "
                f"{time_unit}; mend one of them."
            )
        unit = stated
    times = parse_times(cells, path, group.label, unit=unit, time_format=time_format, decimal=decimal)
    good = np.isfinite(times.seconds)
    for n in np.flatnonzero(~good):
        line, text = cells[n]
        bad.note(
            line, group.label, text, "is not a time like those above it" if text else "is empty where a time is needed"
        )
        bad.left_out.append(line)
    kept = [row for row, g in zip(rows, good, strict=True) if g]
    if len(kept) < 2:
        last = rows[-1].line if rows else 0
        raise DataError(
            f"{path}, line {last}, column {group.label}: {len(kept)} row with a time; a log needs at least two."
        )
    return times._replace(seconds=times.seconds[good]), kept


def _values(column: Column, unit: str, rows: list[Row], bad: _Bad, decimal: str, missing: frozenset[str]) -> Array:
    """Temperatures of one channel, degC."""
    values = np.full(len(rows), np.nan)
    converters: dict[str, Callable[[float], float]] = {"degC": float, "degF": degF, "K": kelvin}
    convert = converters[unit]
    low, high = LIMITS["temperature"].low, LIMITS["temperature"].high
    for n, row in enumerate(rows):
        text = row.cells[column.place]
        if text.casefold() in missing:
            continue
        number = number_in(text, decimal)
        if np.isnan(number):
            bad.note(row.line, column.header, text, "is not a number")
            continue
        value = convert(number)
        if not low <= value <= high:
            bad.note(row.line, column.header, text, f"({unit}) is outside {low:g} to {high:g} degC")
            continue
        values[n] = value
    return values


def _merged(series: Mapping[str, tuple[Array, Array]], path: str) -> tuple[xr.Dataset, float]:
    """Channels on the union of their times, from the first on."""
    time = np.unique(np.concatenate([seconds for seconds, _ in series.values()]))
    values = np.full((len(time), len(series)), np.nan)
    for n, (seconds, column) in enumerate(series.values()):
        values[np.searchsorted(time, seconds), n] = column
    zero = float(time[0])
    span = np.round(time - zero, 9)
    if not (len(span) > 1 and (np.diff(span) > 0).all()):
        raise DataError(f"{path}: the times do not differ from row to row.")
    if span[-1] > LIMITS["end_time"].high:
        raise DataError(f"{path}: the times span {span[-1]:.4g} s, more than 1e7 s; is the unit of time right?")
    return log_dataset(span, values, list(series)), zero


def log_dataset(time: Array, temperature: Array, channels: Sequence[str]) -> xr.Dataset:
    """A log typed in: time (s), temperature (time, channel) in degC, names of the channels.

    Examples
    --------
    >>> log_dataset([0.0, 1.0], [[850.0], [840.0]], ["core"]).sizes
    Frozen({'time': 2, 'probe': 1})
    """
    import xarray as xr

    return xr.Dataset(
        {
            "temperature": (
                ("time", "probe"),
                np.asarray(temperature, float),
                {"units": "degC", "long_name": "temperature"},
            )
        },
        coords={
            "time": ("time", np.asarray(time, float), {"units": "s", "long_name": "time"}),
            "probe": ("probe", [str(name) for name in channels], {"units": "1", "long_name": "probe"}),
        },
        attrs={"cleaning": "[]"},
    )


def _with_places(log: xr.Dataset, places: Mapping[str, Any]) -> xr.Dataset:
    """The log with r and z of every channel."""
    names = [str(name) for name in log["probe"].values]
    for name in places:
        check_name("places", str(name), names, what="channel in places:")
    found = []
    for name in names:
        if name not in places:
            raise InputError(f"places: channel {name!r} is missing; give Probe(r=, z=) or (r, z) in metres for each.")
        place = places[name]
        if not isinstance(place, Probe):
            try:
                r, z = place
            except (TypeError, ValueError):
                raise InputError(f"places[{name!r}] = {place!r}: give Probe(r=, z=) or (r, z) in metres.") from None
            place = Probe(r, z)
        found.append(place)
    return log.assign_coords(
        r=("probe", np.array([p.r for p in found]), {"units": "m", "long_name": "radius"}),
        z=("probe", np.array([p.z for p in found]), {"units": "m", "long_name": "height above the bottom face"}),
    )

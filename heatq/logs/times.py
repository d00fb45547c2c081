"""Times as recorders write them: seconds, clock, date and clock; midnight; repeated stamps."""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.constants import day, hour, milli, minute

from heatq.errors import DataError, check_name
from heatq.files import number_in

__all__ = ["TIME_UNITS", "Times", "fits", "looks_like_time", "parse_times", "settle_repeats"]

Array = npt.NDArray[np.float64]

#: Seconds in a unit of time, by the ways it is written.
TIME_UNITS = (
    dict.fromkeys(("s", "sec", "secs", "second", "seconds", "sek", "sekunden"), 1.0)
    | dict.fromkeys(("ms", "msec", "millisecond", "milliseconds"), milli)
    | dict.fromkeys(("min", "mins", "minute", "minutes", "minuten"), minute)
    | dict.fromkeys(("h", "hr", "hrs", "hour", "hours", "stunden"), hour)
    | dict.fromkeys(("d", "day", "days"), day)
)

_CLOCK = re.compile(r"(\d{1,3}):(\d{2}):(\d{2})(?:[.,](\d+))?(?: ?([ap])\.?m\.?)?", re.ASCII | re.IGNORECASE)
_SHORT = re.compile(r"(\d{1,3}):(\d{2})(?: ?([ap])\.?m\.?)?", re.ASCII | re.IGNORECASE)
_MINUTES = re.compile(r"(\d{1,3}):(\d{2})[.,](\d+)", re.ASCII)
_DATED = re.compile(r"(\S*\d\S*?|\d{1,2}[ -][A-Za-z]{3}[ -]\d{4})(?:[T ]|, ?)(\d{1,2}:\d{2}.*)", re.ASCII)
_ZONE = re.compile(r" ?(?:Z|([+-])(\d{2}):?(\d{2}))$", re.ASCII)
_DATE = re.compile(r"(\d{1,4})([-/.])(\d{1,2})\2(\d{1,4})", re.ASCII)
_NAMED = re.compile(r"(\d{1,2})[ -]([A-Za-z]{3})[ -](\d{4})", re.ASCII)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_HALF_DAY = day / 2.0


class Times(NamedTuple):
    """Seconds per row (NaN where unreadable), and what was found out on the way."""

    seconds: Array
    kind: str
    start: str
    midnights: int


def looks_like_time(text: str) -> bool:
    """Whether a cell is a clock time or a date, complete or not."""
    return bool(
        _CLOCK.fullmatch(text)
        or _SHORT.fullmatch(text)
        or _MINUTES.fullmatch(text)
        or (_DATE.fullmatch(text) and not re.fullmatch(r"\d{1,3}(\.\d{3})+", text))
        or _NAMED.fullmatch(text)
        or ((match := _DATED.fullmatch(text)) and (_DATE.fullmatch(match[1]) or _NAMED.fullmatch(match[1])))
    )


def fits(text: str, time_format: str | None) -> bool:
    """Whether a cell looks like a time, or like (part of) one in the format that was given."""
    if looks_like_time(text):
        return True
    if time_format is None:
        return False
    return any(_moment(text, part) is not None for part in (time_format, *time_format.split()))


def _moment(text: str, time_format: str) -> datetime.datetime | None:
    """The moment in UTC where a zone is stated, None where the text does not fit."""
    try:
        moment = datetime.datetime.strptime(text, time_format)
        return moment.astimezone(datetime.UTC).replace(tzinfo=None) if moment.tzinfo else moment
    except (ValueError, OverflowError, re.error):
        return None


def parse_times(
    cells: Sequence[tuple[int, str]],
    path: str,
    column: str,
    *,
    unit: float | None,
    time_format: str | None,
    decimal: str,
) -> Times:
    """Seconds of the cells (line, text) of a time column; NaN where a cell cannot be read.

    ``unit`` is the number of seconds in one unit of a plain number; None: not stated.
    """
    first_line, first = next(((line, text) for line, text in cells if text), (0, ""))
    where = f"{path}, line {first_line}, column {column}"
    if not first:
        raise DataError(f"{path}, column {column}: the time column is empty.")
    if time_format is not None:
        return _by_format(cells, time_format, where)
    if _DATED.fullmatch(first) and looks_like_time(first):
        return _dated(cells, path, column)
    if _MINUTES.fullmatch(first):
        return Times(np.array([_minutes(text) for _, text in cells]), "clock, minutes and seconds", "", 0)
    if _CLOCK.fullmatch(first):
        seconds = np.array([_clock(text) for _, text in cells])
        if np.nanmax(seconds, initial=0.0) >= day:  # not a time of day but a duration
            return Times(seconds, "duration", "", 0)
        seconds, midnights = _over_midnight(seconds)
        return Times(seconds, "clock", "", midnights)
    if _SHORT.fullmatch(first):
        raise DataError(
            f"{where}: {first!r} may be hours and minutes or minutes and seconds; "
            "say which: time_format='%H:%M' or '%M:%S'."
        )
    if looks_like_time(first):
        raise DataError(
            f"{where}: {first!r} is a date without a time of day; name both columns, time=('date', 'time')."
        )
    numbers = np.array([number_in(text, decimal) for _, text in cells])
    if not np.isfinite(numbers).any():
        raise DataError(
            f"{where}: {first!r} is neither a number nor a time that is recognised; give time_format, for instance "
            "'%d.%m.%Y %H:%M:%S'."
        )
    if unit is None:
        raise DataError(
            f"{where}: the times are plain numbers and the header states no unit; give time_unit='s', 'min' or 'h'."
        )
    return Times(numbers * unit, "elapsed", "", 0)


def _clock(text: str) -> float:
    """Seconds since midnight, or NaN."""
    match = _CLOCK.fullmatch(text)
    if not match:
        return np.nan
    hours, minutes, seconds, decimals, half = match.groups()
    if int(minutes) > 59 or int(seconds) > 60 or (half and not 1 <= int(hours) <= 12):
        return np.nan
    full = int(hours) % 12 + (12 if half.lower() == "p" else 0) if half else int(hours)
    return full * hour + int(minutes) * minute + int(seconds) + (float(f"0.{decimals}") if decimals else 0.0)


def _minutes(text: str) -> float:
    match = _MINUTES.fullmatch(text)
    if not match or int(match[2]) > 59:
        return np.nan
    return int(match[1]) * minute + int(match[2]) + float(f"0.{match[3]}")


def _over_midnight(seconds: Array) -> tuple[Array, int]:
    """Clock times with a day added at each step back by more than half a day."""
    good = np.isfinite(seconds)
    steps = np.diff(seconds[good], prepend=seconds[good][:1])
    back = np.cumsum(steps < -_HALF_DAY)
    out = seconds.copy()
    out[good] += back * day
    return out, int(back[-1]) if back.size else 0


def _by_format(cells: Sequence[tuple[int, str]], time_format: str, where: str) -> Times:
    seconds = np.full(len(cells), np.nan)
    zero = datetime.datetime(1900, 1, 1)
    for n, (_, text) in enumerate(cells):
        moment = _moment(text, time_format)
        if moment is None:
            continue
        seconds[n] = (moment - zero).total_seconds()
    good = np.isfinite(seconds)
    if not good.any():
        raise DataError(f"{where}: no time fits time_format = {time_format!r}.")
    if seconds[good].max() < day and "%d" not in time_format and "%j" not in time_format:
        turned, midnights = _over_midnight(seconds) if "%H" in time_format or "%I" in time_format else (seconds, 0)
        return Times(turned, f"clock, {time_format}", "", midnights)
    start = zero + datetime.timedelta(seconds=float(seconds[good][0]))
    return Times(seconds, f"date and clock, {time_format}", start.isoformat(" "), 0)


def _dated(cells: Sequence[tuple[int, str]], path: str, column: str) -> Times:
    """Seconds of full date-times; the day's order is taken from all rows together, never guessed."""
    parts = [match.groups() if (match := _DATED.fullmatch(text)) else ("", "") for _, text in cells]
    order = _date_order([(line, date) for (line, _), (date, _) in zip(cells, parts, strict=True)], path, column)
    zoned = bool(_ZONE.search(next(clock for _, clock in parts if clock)))
    known: dict[str, float] = {}
    seconds = np.full(len(cells), np.nan)
    for n, (date, clock) in enumerate(parts):
        if not clock:
            continue
        if date not in known:
            known[date] = _days(date, order)
        zone = _ZONE.search(clock)
        if bool(zone) != zoned:
            continue
        shift = 0.0
        if zone:
            clock = clock[: zone.start()]
            if zone[1]:
                shift = (int(zone[2]) * hour + int(zone[3]) * minute) * (1 if zone[1] == "+" else -1)
        short = _SHORT.fullmatch(clock)  # beside a date, 12:03 can only be hours and minutes
        of_day = _clock(f"{short[1]}:{short[2]}:00" + (f" {short[3]}m" if short[3] else "")) if short else _clock(clock)
        if not of_day < day + 1.0:
            continue
        seconds[n] = known[date] * day + of_day - shift
    good = np.flatnonzero(np.isfinite(seconds))
    if not good.size:
        raise DataError(
            f"{path}, column {column}: no date and time in it can be read; give time_format, for instance "
            "'%d.%m.%Y %H:%M:%S'."
        )
    start = datetime.datetime(1, 1, 1) + datetime.timedelta(days=-1, seconds=float(seconds[good[0]]))
    return Times(seconds, "date and clock" + (", UTC" if zoned else ""), start.isoformat(" "), 0)


def _date_order(dates: Sequence[tuple[int, str]], path: str, column: str) -> str:
    """``ymd``, ``dmy``, ``mdy`` or ``named``, as the dates of all rows together show."""
    day_first = month_first = 0
    for line, text in dates:
        match = _DATE.fullmatch(text)
        if not match:
            if _NAMED.fullmatch(text):
                return "named"
            continue
        if len(match[1]) == 4:
            return "ymd"
        if match[2] == ".":  # with dots the day stands first, in every country that writes dots
            return "dmy"
        day_first = day_first or (line if int(match[1]) > 12 else 0)
        month_first = month_first or (line if int(match[3]) > 12 else 0)
    if day_first and month_first:
        raise DataError(
            f"{path}, column {column}: on line {day_first} the day must stand first, on line {month_first} the month; "
            "mend the file, or give time_format."
        )
    if not (day_first or month_first):
        line, text = next((line, text) for line, text in dates if text)
        raise DataError(
            f"{path}, line {line}, column {column}: {text!r} may be day/month or month/day; say which: "
            "time_format='%d/%m/%Y %H:%M:%S' or '%m/%d/%Y %H:%M:%S', spelt as in the file."
        )
    return "dmy" if day_first else "mdy"


def _days(text: str, order: str) -> float:
    """Day number of a date, NaN if there is no such day."""
    try:
        if order == "named":
            match = _NAMED.fullmatch(text)
            if not match or match[2].lower() not in _MONTHS:
                return np.nan
            return datetime.date(int(match[3]), _MONTHS.index(match[2].lower()) + 1, int(match[1])).toordinal()
        match = _DATE.fullmatch(text)
        if not match:
            return np.nan
        a, b, c = int(match[1]), int(match[3]), int(match[4])
        year, month, of_month = {"ymd": (a, b, c), "dmy": (c, b, a), "mdy": (c, a, b)}[order]
        year = year + 2000 if year < 100 else year
        return datetime.date(year, month, of_month).toordinal() if 1900 <= year < 2200 else np.nan
    except (ValueError, OverflowError):
        return np.nan


def settle_repeats(seconds: Array, lines: Sequence[int], path: str, column: str, on_repeat: str) -> tuple[Array, Array]:
    """Times that increase strictly, and which rows stay; or a `DataError` naming the line where they do not.

    ``on_repeat``: ``raise``; ``first`` keeps the first row of each time; ``spread`` sets the rows that share one stamp
    apart evenly up to the next stamp (a recorder that is faster than its clock's resolution).
    """
    check_name("on_repeat", on_repeat, ("raise", "first", "spread"))
    steps = np.diff(seconds)
    backward = np.flatnonzero(steps < 0)
    if backward.size:
        n = int(backward[0])
        hint = " The clock was set back one hour, as at the end of summer time." if abs(steps[n] + hour) < 120.0 else ""
        raise DataError(
            f"{path}, line {lines[n + 1]}, column {column}: the time runs backwards by {-steps[n]:g} s "
            f"(after line {lines[n]}).{hint} Mend the file; rows are not sorted silently."
        )
    same = np.flatnonzero(steps == 0)
    stay = np.ones(len(seconds), dtype=bool)
    if not same.size:
        return seconds, stay
    if on_repeat == "raise":
        n = int(same[0])
        raise DataError(
            f"{path}, line {lines[n + 1]}, column {column}: the same time as on line {lines[n]} ({same.size} such rows); "
            "on_repeat='spread' sets them apart evenly, on_repeat='first' keeps the first."
        )
    stamps, begin, count = np.unique(seconds, return_index=True, return_counts=True)
    if on_repeat == "first":
        stay[:] = False
        stay[begin] = True
        return seconds, stay
    if len(stamps) < 2:
        raise DataError(f"{path}, column {column}: all rows have the same time; there is nothing to spread them over.")
    width = np.diff(stamps, append=stamps[-1] + np.median(np.diff(stamps)))
    inside = np.concatenate([np.arange(k) / k for k in count])
    return np.repeat(stamps, count) + inside * np.repeat(width, count), stay

"""The header of a log: which line it is, what each column holds, which mark stands before the decimals."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from heatq.errors import DataError, InputError, check_name
from heatq.files import Row
from heatq.logs.times import TIME_UNITS, looks_like_time

__all__ = [
    "MISSING",
    "Column",
    "find_channels",
    "find_decimal",
    "find_header",
    "find_mark",
    "find_time",
    "split_header",
]

#: How recorders write that there is no reading; further words by the argument ``missing``.
MISSING = frozenset(
    ("", "-", "--", "---", "----", "-----", "nan", "na", "n/a", "#n/a", "null", "none", "ol", "o.l.", "over", "under")
    + ("+over", "-over", "overflow", "overrange", "open", "err", "error", "fault", "burnout", "b.out", "invalid", "bad")
)

_TEMPERATURE_UNITS = (
    dict.fromkeys(("°c", "degc", "deg c", "deg. c", "cel", "celsius", "c", "grad c"), "degC")
    | dict.fromkeys(("°f", "degf", "deg f", "deg. f", "fahrenheit", "f"), "degF")
    | dict.fromkeys(("k", "kelvin"), "K")
)
_LONG_UNIT = re.compile(r"(.*?)[\s_,/]*(°\s?[CF]|deg\.?\s?[CF]|celsius|fahrenheit|kelvin)", re.IGNORECASE)
_SHORT_UNIT = re.compile(r"(.*\S)(?:\s*[,/]\s*|\s+in\s+|_)([CFK]|s|sec|ms|min|h)", re.ASCII)
_BRACKETS = re.compile(r"([^\[\]()]*?)\s*[\[(]\s*([^\[\]()]*?)\s*[\])]")
_TIME_WORDS = frozenset(
    ("time", "date", "datetime", "timestamp", "stamp", "clock", "elapsed", "zeit", "datum", "uhrzeit", "t", "hms")
    + ("seconds", "sec", "s", "minutes", "min", "hours", "h", "ms")
)
_BESIDE = frozenset(
    (
        "relative",
        "absolute",
        "rel",
        "abs",
        "log",
        "of",
        "day",
        "local",
        "utc",
        "and",
        "sample",
        "scan",
        "since",
        "start",
    )
)
_NO_CHANNEL = frozenset(
    ("no", "nr", "number", "index", "scan", "record", "sample", "alarm", "event", "comment", "comments", "remark")
    + ("remarks", "status", "note", "notes", "marker", "#", "id")
)
#: Parts of units that are no temperatures; what stands in other brackets, as in TC2 (type K), belongs to the name.
_OTHER = frozenset(
    (
        "bar",
        "mbar",
        "pa",
        "kpa",
        "mpa",
        "psi",
        "torr",
        "v",
        "mv",
        "a",
        "ma",
        "ω",
        "ohm",
        "%",
        "ppm",
        "m",
        "mm",
        "cm",
        "in",
    )
    + ("l", "kg", "g", "rpm", "hz", "w", "kw", "1", "s", "ms", "min", "h", "-", "rh", "nm", "vol", "gauge", "abs")
)
_NUMBERISH = re.compile(r"[+-]?[\d., '\u00a0\u202f]*\d[.,]?(?:[eE][+-]?\d+)?", re.ASCII)


class Column(NamedTuple):
    """One column: its place, the text of its header, the name and the unit in it (as written; empty: none)."""

    place: int
    header: str
    name: str
    unit: str

    @property
    def temperature_unit(self) -> str:
        """``degC``, ``degF``, ``K``, or nothing."""
        return _TEMPERATURE_UNITS.get(self.unit.casefold(), "")

    @property
    def is_time(self) -> bool:
        """Whether name or unit say that times stand here."""
        if self.temperature_unit:
            return False
        words = [word for word in re.split(r"[\s_/\-.:&]+", self.name) if word]
        named = all(word == "t" or word.casefold() in (_TIME_WORDS - {"t"}) | _BESIDE for word in words)
        return (bool(words) and named and not set(map(str.casefold, words)) <= _BESIDE) or (
            self.unit.casefold() in TIME_UNITS
        )


def split_header(index: int, text: str) -> Column:
    """Name and unit in the header of a column.

    Examples
    --------
    >>> split_header(1, "TC1 [°F]")[2:], split_header(0, "Time (s)")[2:], split_header(2, "core_degC")[2:]
    (('TC1', '°F'), ('Time', 's'), ('core', 'degC'))
    >>> split_header(3, "type K").temperature_unit
    ''
    """
    plain = re.sub("[º˚]", "°", text.strip())
    if (match := _BRACKETS.fullmatch(plain)) and _known(match[2].casefold()):
        return Column(index, text, match[1] or plain, match[2])
    for pattern in (_LONG_UNIT, _SHORT_UNIT):
        if match := pattern.fullmatch(plain):
            return Column(index, text, match[1] or plain, match[2])
    return Column(index, text, plain, plain if plain.casefold() in TIME_UNITS else "")


def _known(unit: str) -> bool:
    """Whether the text in brackets is a unit, or a pattern such as hh:mm:ss."""
    parts = [part.strip("23²³") for part in re.split(r"[/*·. ]+", unit)]
    return (
        unit in _TEMPERATURE_UNITS
        or unit in TIME_UNITS
        or all(part in _OTHER for part in parts)
        or re.fullmatch(r"[hmsdyf:./\- ]{3,}", unit) is not None
    )


def is_unit(text: str) -> bool:
    """Whether a cell holds nothing but a unit."""
    plain = re.sub("[º˚]", "°", text.strip().strip("[]()")).casefold()
    return plain in _TEMPERATURE_UNITS or plain in TIME_UNITS or plain in ("hh:mm:ss", "h:m:s", "-", "")


def find_mark(lines: Sequence[str]) -> str:
    """What separates the cells: tab, semicolon, bar, comma, or blanks; a blank line of the file is not in ``lines``."""

    def most(found: int) -> bool:
        return 2 * found >= len(lines)

    for mark in "\t;|":
        if most(sum(mark in line for line in lines)):
            return mark
    parts = [line.split() for line in lines]
    if most(sum(len(p) > 1 and all(re.fullmatch(r"[+-]?\d+([.,]\d+)?", cell) for cell in p) for p in parts)):
        return " "
    if most(sum("," in line for line in lines)):
        return ","
    return " " if most(sum(len(p) > 1 for p in parts)) else ","


def _is_data(row: Row, missing: frozenset[str], least: int, is_time: Callable[[str], bool]) -> bool:
    """Whether a row holds numbers and times only, and at least one number."""
    filled = [cell for cell in row.cells if cell]
    number = [bool(_NUMBERISH.fullmatch(cell)) for cell in filled]
    return (
        len(filled) >= least
        and any(number)
        and all(n or cell.casefold() in missing or is_time(cell) for n, cell in zip(number, filled, strict=True))
    )


def find_header(
    rows: Sequence[Row],
    path: str,
    header: int | None,
    missing: frozenset[str],
    least: int,
    is_time: Callable[[str], bool] = looks_like_time,
) -> tuple[int, list[str]]:
    """Index of the first row below the header, and the header's cells.

    The header is the last line above the first row of numbers that names a time or a temperature unit, else the line
    just above. ``header`` is its line number instead; 0: there is none.
    """
    if header is not None:
        if header == 0:
            width = max(len(row.cells) for row in rows)
            return 0, [f"column {n}" for n in range(1, width + 1)]
        for n, row in enumerate(rows):
            if row.line == header:
                return n + 1, row.cells
        raise InputError(f"header = {header}: {path} has no such line, or it is blank or a comment.")
    first = next((n for n, row in enumerate(rows) if _is_data(row, missing, least, is_time)), None)
    if first is None:
        raise DataError(
            f"{path}, line {rows[0].line}: no row of numbers follows, column 1 reads {rows[0].cells[0][:40]!r}; "
            "is it a log, and are its columns separated by tab, semicolon, comma or blanks?"
        )
    if first == 0:
        raise DataError(
            f"{path}, line {rows[0].line} already holds numbers, column 1 reads {rows[0].cells[0][:40]!r}: there is no "
            "header. Write header=0; the columns are then called 'column 1', 'column 2', ..."
        )
    fallback = first - 1
    for n in range(first - 1, -1, -1):
        cells = [cell for cell in rows[n].cells if cell]
        columns = [split_header(0, cell) for cell in cells]
        if (
            len(cells) >= least
            and not all(map(is_unit, cells))
            and not any(looks_like_time(c) or re.search(r"^[+-]?\d+[.,]\d+$", c) for c in cells)
            and any(column.is_time or column.temperature_unit for column in columns)
        ):
            return n + 1, rows[n].cells
    return fallback + 1, rows[fallback].cells


def find_decimal(rows: Sequence[Row], path: str, decimal: str | None) -> str:
    """The mark before the decimals, as all cells together show; refused where ``1,234`` may be either."""
    if decimal is not None:
        return check_name("decimal", decimal, (".", ","))
    comma: tuple[int, str] | None = None
    point: tuple[int, str] | None = None
    either: tuple[int, str] | None = None
    for row in rows:
        for cell in row.cells:
            if ("," not in cell and "." not in cell) or not _NUMBERISH.fullmatch(cell) or looks_like_time(cell):
                continue
            seen = (row.line, cell)
            if "," not in cell:
                point = point or (seen if cell.count(".") == 1 else None)
            elif "." in cell:
                comma, point = (comma or seen, point) if cell.rfind(",") > cell.rfind(".") else (comma, point or seen)
            elif cell.count(",") > 1:
                point = point or seen
            elif re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", cell):
                either = either or seen
            else:
                comma = comma or seen
    if comma and point:
        raise DataError(
            f"{path}: line {comma[0]} has a decimal comma ({comma[1]!r}), line {point[0]} a decimal point "
            f"({point[1]!r}); say which it is: decimal=',' or decimal='.'."
        )
    if either and not comma and not point:
        raise DataError(
            f"{path}, line {either[0]}: {either[1]!r} may have a decimal comma or set thousands apart; "
            "say which: decimal=',' or decimal='.'."
        )
    return "," if comma else "."


def find_column(wanted: str | int, columns: Sequence[Column], path: str, argument: str) -> Column:
    """The column of that header, name, or number (from 1)."""
    if isinstance(wanted, int) and not isinstance(wanted, bool):
        if not 1 <= wanted <= len(columns):
            raise InputError(f"{argument} = {wanted}: {path} has the columns 1 to {len(columns)}.")
        return columns[wanted - 1]
    text = str(wanted).strip()
    for key in ("header", "name"):
        for same in (str, str.casefold):
            found = [column for column in columns if same(getattr(column, key).strip()) == same(text)]
            if len(found) == 1:
                return found[0]
    known = [column.header for column in columns]
    if text not in known:
        try:
            check_name(argument, text, known, what=f"column in {argument}:", error=DataError)
        except DataError as error:
            raise DataError(f"{path}: {error}") from None
    raise DataError(f"{path}: {argument} = {text!r} names several columns; give the number of the column, from 1.")


def find_time(columns: Sequence[Column], rows: Sequence[Row], path: str, line: int) -> list[Column]:
    """The column of times, or those of date and clock, that the header shows."""
    found = [column for column in columns if column.is_time]
    if len(found) == 1:
        return found
    if len(found) == 2:

        def first(column: Column) -> str:
            return next(
                (r.cells[column.place] for r in rows if column.place < len(r.cells) and r.cells[column.place]), ""
            )

        dates = [column for column in found if looks_like_time(first(column)) and ":" not in first(column)]
        if len(dates) == 1:
            return [dates[0], next(column for column in found if column is not dates[0])]
    names = ", ".join(column.header for column in (found or columns))
    if found:
        raise DataError(f"{path}, line {line}: which column is the time? {names} may be; say time='…'.")
    raise DataError(
        f"{path}, line {line}: no column is called time or states a unit of time, among {names}; "
        "say time='…', or interval= in seconds for a log without times."
    )


def find_channels(
    columns: Sequence[Column],
    times: set[int],
    rows: Sequence[Row],
    path: str,
    line: int,
    channels: Sequence[str | int] | Mapping[str, str] | None,
    units: str | Mapping[str, str] | None,
) -> tuple[dict[str, tuple[Column, str]], dict[str, str]]:
    """Name -> (column, unit) of the channels, and header -> reason of the columns left aside; ``times``: places of times."""
    rest = [column for column in columns if column.place not in times]
    given = units if isinstance(units, str) else None
    override = {}
    for key, unit in units.items() if isinstance(units, Mapping) else ():
        override[find_column(key, columns, path, "units").place] = _checked(unit)
    stated = _checked(given) if given is not None else ""
    skipped: dict[str, str] = {}
    if channels is None:
        picked = []
        for column in rest:
            reason = _no_channel(column, rows, column.place in override)
            if reason:
                skipped[column.header or f"column {column.place + 1}"] = reason
            else:
                picked.append((column.name, column))
    elif isinstance(channels, Mapping):
        picked = [(str(name), find_column(key, columns, path, "channels")) for key, name in channels.items()]
    else:
        entries = [channels] if isinstance(channels, (str, int)) else list(channels)
        found = [find_column(entry, columns, path, "channels") for entry in entries]
        picked = [(column.name, column) for column in found]
    if channels is not None:
        taken = {column.place for _, column in picked}
        skipped = {c.header or f"column {c.place + 1}": "not asked for" for c in rest if c.place not in taken}
    out: dict[str, tuple[Column, str]] = {}
    for name, column in picked:
        if column.place in times:
            raise InputError(f"channels: column {column.header!r} is the time column.")
        header = column.temperature_unit
        unit = override.get(column.place, header or stated)
        if not unit:
            raise DataError(
                f"{path}, line {line}, column {column.header}: the unit is not stated; write units='degC', 'degF' or 'K', "
                "or name the temperature columns with channels=[…]."
            )
        if header and stated and header != stated and column.place not in override:
            raise DataError(
                f"{path}, line {line}, column {column.header}: the header says {header}, the argument units {stated}; "
                f"if the header is wrong: units={{{column.header!r}: {stated!r}}}."
            )
        if name in out:
            raise DataError(
                f"{path}, line {line}: two channels are called {name!r}; pick and name them with channels={{header: name}}."
            )
        out[name] = (column, unit)
    if not out:
        raise DataError(f"{path}, line {line}: no temperature column; left aside: {skipped or 'nothing'}.")
    return out, skipped


def _checked(unit: str) -> str:
    known = _TEMPERATURE_UNITS.get(str(unit).strip().casefold())
    return known or check_name("units", unit, ("degC", "degF", "K"))


def _no_channel(column: Column, rows: Sequence[Row], wanted: bool) -> str:
    """Why a column is no temperature channel; empty if it may be one."""
    if wanted or column.temperature_unit:
        return ""
    if column.unit:
        return f"unit {column.unit}"
    if not any(column.place < len(row.cells) and row.cells[column.place] for row in rows):
        return "empty" if not column.header else ""
    if not column.header:
        return "neither name nor unit"
    words = set(re.split(r"[\s_.]+", column.name.casefold()))
    if words & _NO_CHANNEL:
        return "by its name no temperature"
    if not any(column.place < len(row.cells) and _NUMBERISH.fullmatch(row.cells[column.place]) for row in rows):
        return "no numbers in it"
    return ""

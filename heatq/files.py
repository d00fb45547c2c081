"""Delimited text files in, with line numbers for the error messages; results out.

The one reader of delimited text: certificates, boundary tables, hardness traverses and recorder logs are cut into rows
and cells, and their numbers read, by the functions here.
"""

from __future__ import annotations

import contextlib
import csv
import io
import json
import math
import os
import pathlib
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

from heatq.errors import DataError, InputError

if TYPE_CHECKING:
    import xarray as xr

__all__ = [
    "Row",
    "Table",
    "decode",
    "find_delimiter",
    "number_in",
    "parse_number",
    "read_bytes",
    "read_rows",
    "read_text",
    "save_netcdf",
    "split_rows",
]

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_BLANKS = re.compile(r"\s+(?![\[(])")  # not between a name and its unit, as in T (degC)
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:([ \u00a0\u202f',.])\d{3})(?:\1\d{3})*(?:[.,]\d+)?", re.ASCII)


class Row(NamedTuple):
    """One data row: its line number in the file and its cells."""

    line: int
    cells: list[str]


class Table(NamedTuple):
    """Header and rows of a delimited file; ``delimiter`` says how the cells were cut."""

    path: str
    header: list[str]
    header_line: int
    rows: list[Row]
    delimiter: str

    def column(self, index: int, row: Row) -> float:
        """Read the number in a cell, or raise a `DataError` that names file, line and column."""
        text = row.cells[index].strip() if index < len(row.cells) else ""
        return parse_number(text, f"{self.path}, line {row.line}, column {self.header[index]}", self.delimiter)


def number_in(text: str, decimal: str = ".") -> float:
    """Number in a cell, or NaN if there is none; ``decimal`` is the mark before the decimals.

    Groups of three digits may be set apart by a blank, an apostrophe, or by the other mark of ``.`` and ``,``.

    Examples
    --------
    >>> number_in("850,5", ","), number_in("1.234,5", ","), number_in("1,234.5")
    (850.5, 1234.5, 1234.5)
    >>> number_in("1_000"), number_in("12,5")
    (nan, nan)
    """
    cleaned = text.strip()
    plain = cleaned if decimal == "." else cleaned.replace(",", ".") if "." not in cleaned else ""
    if not (plain.count(",") == 0 and _NUMBER.fullmatch(plain)):
        groups = _GROUPED.fullmatch(cleaned)
        if not groups or groups[1] == decimal:
            return math.nan
        plain = cleaned.replace(groups[1], "")
        if decimal == ",":
            plain = plain.replace(",", ".")
        if not _NUMBER.fullmatch(plain):
            return math.nan
    number = float(plain)
    return number if math.isfinite(number) else math.nan


def parse_number(text: str, where: str, delimiter: str = ",") -> float:
    """Read a number with a decimal point, or with a decimal comma where the comma does not separate cells."""
    cleaned = text.strip()
    if delimiter != "," and cleaned.count(",") == 1 and "." not in cleaned:
        cleaned = cleaned.replace(",", ".")
    if not cleaned:
        raise DataError(f"{where}: the cell is empty; a number is needed.")
    number = float(cleaned) if _NUMBER.fullmatch(cleaned) else math.nan
    if not math.isfinite(number):
        raise DataError(f"{where}: {text.strip()!r} is not a number.")
    return number


def read_bytes(path: str | os.PathLike[str]) -> bytes:
    """Bytes of a file, or a `DataError` if it is missing, a folder, or empty."""
    where = pathlib.Path(path)
    try:
        raw = where.read_bytes()
    except FileNotFoundError:
        raise DataError(f"{where}: there is no such file.") from None
    except IsADirectoryError:
        raise DataError(f"{where} is a folder, not a file.") from None
    except OSError as error:
        raise DataError(f"{where} cannot be read: {error.strerror}.") from None
    except ValueError as error:  # a zero byte in the name
        raise DataError(f"{str(where)!r} cannot be read: {error}.") from None
    if not raw.strip():
        raise DataError(f"{where} is empty.")
    return raw


def decode(
    raw: bytes, path: str | os.PathLike[str], *, encoding: str | None = None, fallback: str | None = None
) -> tuple[str, str]:
    """Text in the bytes of a file, and the encoding it was read with.

    Without ``encoding``: UTF-16 where a byte-order mark says so, else UTF-8 with or without one, else ``fallback``.

    Examples
    --------
    >>> decode("T (°C)".encode("cp1252"), "old.csv", fallback="cp1252")
    ('T (°C)', 'cp1252')
    """
    utf16 = raw.startswith((b"\xff\xfe", b"\xfe\xff"))
    if encoding is not None:
        try:
            return raw.decode(encoding).removeprefix("\ufeff"), encoding
        except (LookupError, ValueError) as error:
            if isinstance(error, UnicodeDecodeError):
                line = raw[: error.start].count(b"\n") + 1
                raise DataError(
                    f"{path}, line {line}: not {encoding} text; leave encoding out, or name another."
                ) from None
            raise InputError(
                f"encoding = {encoding!r} is not known; for instance 'utf-8', 'utf-16' or 'cp1252'."
            ) from None
    if b"\0" in raw[:4096] and not utf16:
        raise DataError(f"{path} is not a text file (it holds zero bytes); save it as CSV with UTF-8 encoding.")
    name = "utf-16" if utf16 else "utf-8-sig"
    try:
        return raw.decode(name), "utf-16" if utf16 else "utf-8"
    except UnicodeDecodeError as error:
        if fallback is not None and not utf16:
            with contextlib.suppress(UnicodeDecodeError):
                return raw.decode(fallback), fallback
        line = raw[: error.start].count(b"\n") + 1
        kind = "UTF-16" if utf16 else "UTF-8"
        raise DataError(f"{path}, line {line}: not {kind} text; save the file with UTF-8 encoding.") from None


def read_text(path: str | os.PathLike[str]) -> str:
    """Text of a file; UTF-8, with or without byte-order mark, or UTF-16 with one.

    Raises
    ------
    DataError
        If the file is missing, a folder, empty, or not text.
    """
    return decode(read_bytes(path), pathlib.Path(path))[0]


def find_delimiter(line: str) -> str:
    """Tab or semicolon where the header holds one, else comma."""
    return next((mark for mark in "\t;" if mark in line), ",")


def _lines(text: str) -> Iterable[tuple[int, str]]:
    """Line number and text of every line, numbered as an editor does; without blank lines and those after ``#``."""
    for number, line in enumerate(io.StringIO(text, newline=None), 1):
        if line.strip() and not line.lstrip().startswith("#"):
            yield number, line.rstrip("\n")


def split_rows(text: str, path: str | os.PathLike[str], delimiter: str | None = None) -> tuple[list[Row], str]:
    """Rows of a delimited text, and the mark between their cells; blank lines and lines after ``#`` are skipped.

    ``delimiter`` None takes what the first line shows; a blank stands for any run of blanks.
    """
    lines = list(_lines(text))
    if not lines:
        raise DataError(f"{path} is empty: it holds only comments and blank lines.")
    mark = find_delimiter(lines[0][1]) if delimiter is None else delimiter
    rows = []
    for number, line in lines:
        try:
            cells = (
                _BLANKS.split(line.strip()) if mark == " " else next(csv.reader([line], delimiter=mark, strict=True))
            )
        except csv.Error as error:
            raise DataError(f"{path}, line {number}: {error}; the line cannot be split into cells.") from None
        rows.append(Row(number, [cell.strip() for cell in cells]))
    return rows, mark


def read_rows(path: str | os.PathLike[str]) -> Table:
    """Header and rows of a comma-, semicolon- or tab-separated file; blank lines and lines after ``#`` are skipped.

    Raises
    ------
    DataError
        If there is no header, or no data row below it.
    """
    rows, delimiter = split_rows(read_text(path), path)
    header = rows.pop(0)
    width = len(header.cells)
    for row in rows:
        if any(row.cells[width:]):
            hint = " For decimal commas separate the columns by semicolons or tabs." if delimiter == "," else ""
            raise DataError(f"{path}, line {row.line} has {len(row.cells)} cells, the header has {width}.{hint}")
    if not rows:
        raise DataError(f"{path} has a header (line {header.line}) but no data row below it.")
    return Table(str(path), header.cells, header.line, rows, delimiter)


def save_netcdf(dataset: xr.Dataset, path: str | os.PathLike[str]) -> None:
    """Write a result as NetCDF (version 3, scipy engine); settings and notes stay readable in its attributes.

    Examples
    --------
    >>> import tempfile, pathlib, xarray as xr
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder, "a.nc")
    ...     save_netcdf(xr.Dataset({"a": ("x", [1.0, 2.0])}), path)
    ...     float(xr.load_dataset(path, engine="scipy").a.sum())
    3.0
    """
    ready = dataset.copy()
    for name, value in list(ready.attrs.items()):
        if isinstance(value, (bool, dict, type(None))):
            ready.attrs[name] = json.dumps(value)
    target = pathlib.Path(path)
    part = target.with_name(target.name + ".part")
    ready.to_netcdf(part, engine="scipy")
    os.replace(part, target)
